// The cautions, in short. SAFETY.md in the sources says more, with where each line comes from.
import { get } from "./api.js";
import { el } from "./dom.js";
import { ask, check_field } from "./forms.js";

const CAUTIONS = [
  ["Lethal voltages", "A tube amplifier carries several hundred volts, and its capacitors keep them after switch-off. Measure before you touch. Clips go on while the unit is cold and discharged. Many heatsinks are live."],
  ["Heat and fire", "Parts under test and dummy loads run hot. Nothing that burns within a metre, a metal tray below, a smoke alarm above."],
  ["Mains that nobody watches", "No unattended run before an attended one, and none for a unit that smelt, smoked or tripped. Local code, landlord or insurer may forbid it altogether."],
  ["This software is not a safety device", "It is a program on an ordinary computer. It can hang, lose its network, read a clip that fell off, or order a relay whose contacts have welded. Fuse, RCD or GFCI, thermal cut-out and smoke alarm must each do their work with the computer off."],
  ["\u201cOff\u201d is what was measured, not what was ordered", "Only a current that has fallen to nothing proves it, and even then capacitors stay charged."],
  ["Switching on is done at the bench", "By a person who has looked at the unit. Nothing here does it by itself, and nobody should do it from elsewhere."],
  ["If there is smoke", "Leave, and call the fire service."],
];

export function cautions_view() {
  return {
    node: el("div.cautions-view", {},
      el("h1.sentence", {}, "Before you connect anything"),
      el("dl", {}, ...CAUTIONS.flatMap(([head, text]) => [el("dt", {}, head), el("dd", {}, text)])),
      el("p.meta", {}, "These lines repeat what a licensed person would expect. They are not advice to do the work. Local electrical code and licensed practice decide in every case.")),
  };
}

/** The daemon's own list: each in full, each ticked, accepted by name. */
export async function cautions_dialog(bench_name, done) {
  let cautions = [];
  try {
    ({ cautions } = await get("/api/v1/cautions"));
  } catch {
    return location.assign("#/cautions");
  }
  const boxes = cautions.map((caution) => ({ key: caution.key, ...check_field(caution.sentence, { required: true }) }));
  ask({
    title: "The cautions",
    text: "Read each, and tick it. They are accepted by your name, for a time; the list of what must be so before one leaves asks for it.",
    fields: [el("div.caution-boxes", {}, ...boxes.map((box) => box.node))],
    action: "I have read them and accept them", address: `/api/v1/benches/${encodeURIComponent(bench_name)}/cautions`, done,
    body: (who) => (boxes.every((box) => box.value()) ? { who, accepted: boxes.map((box) => box.key) } : "Each has its own box: tick what you have read."),
  });
}
