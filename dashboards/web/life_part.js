// What a person does to a run: pause, a screwdriver, a part, a remark, a signature; and what became of its time.
import { unit_address } from "./api.js";
import { ask } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { duration, run_clock, spoken } from "./words.js";

const NOTE = { name: "why", placeholder: "for the record" };

function act_dialog(unit, { kind, title, text, caution, fields = [], action, tone, more = () => ({}), needs_why = false }) {
  const why = el("input", NOTE);
  ask({
    title, text, caution, action, tone, fields: [...fields, el("label", {}, needs_why ? "What" : "Why", why)], address: `${unit_address(unit.name)}/acts`,
    body: (who) => {
      const fields_sent = more();
      if (typeof fields_sent === "string") return fields_sent;
      if (needs_why && !why.value.trim()) return "Say it in a few words.";
      return { who, kind, ...(why.value.trim() ? { why: why.value.trim() } : {}), ...fields_sent };
    },
  });
}

function points_field(unit) {
  const boxes = unit.points.map((point) => [point.name, el("input", { type: "checkbox" }), spoken(point)]);
  return { node: el("fieldset.point-boxes", {}, el("legend", {}, "Points that it moves"), ...boxes.map(([, box, words]) => el("label.check", {}, box, el("span", {}, words)))), chosen: () => boxes.filter(([, box]) => box.checked).map(([name]) => name) };
}

const DOES = {
  pause: (unit) => act_dialog(unit, { kind: "pause", title: `Pause ${unit.title}`, text: "The outlet is ordered off; the run waits and its hours stand still.", caution: "An order is not proof: wait for \u201cOff, proven\u201d. Capacitors stay charged.", action: "Switch off and wait" }),
  go_on: (unit) => act_dialog(unit, { kind: "go_on", title: `Go on with ${unit.title}`, text: "The outlet is closed and the run goes on. After more than ten minutes off it warms up again, uncounted.", caution: "Lethal voltages follow at once. Covers on, nobody\u2019s hands inside.", action: "Switch on and go on", tone: "grave" }),
  touch: (unit) => {
    const points = points_field(unit);
    const control = el("input", { required: true, placeholder: "bias trimmer V3" });
    const before = el("input", { inputmode: "decimal" });
    const after = el("input", { inputmode: "decimal" });
    const figure = (input) => (input.value.trim() === "" ? undefined : Number(input.value.replace(",", ".")));
    act_dialog(unit, {
      kind: "touch", title: "A screwdriver was used", text: "These points begin a new segment with a baseline of their own; the others keep their hours. More than 10 %, or a second trim of the same control, starts their hours again.",
      fields: [points.node, el("label", {}, "Which control", control), el("label", {}, "The first point before", before), el("label", {}, "and now", after)], action: "Enter",
      more: () => {
        if (!points.chosen().length || !control.value.trim()) return "Name the control and at least one point.";
        if (Number.isNaN(figure(before)) || Number.isNaN(figure(after))) return "Before and after are figures.";
        return { points: points.chosen(), control: control.value.trim(), before: figure(before), after: figure(after) };
      },
    });
  },
  replace_part: (unit) => {
    const part = el("input", { required: true });
    act_dialog(unit, { kind: "replace_part", title: "A part was replaced", text: "The unit starts its hours again.", fields: [el("label", {}, "Which part", part)], action: "Enter", more: () => (part.value.trim() ? { control: part.value.trim() } : "Name the part.") });
  },
  remark: (unit) => act_dialog(unit, { kind: "remark", title: "A remark", action: "Enter", needs_why: true }),
  sign: (unit) => {
    const word = el("select", {}, ...["pass", "pass_with_remarks", "incomplete", "fail"].map((w) => el("option", { value: w, selected: unit.run.verdict?.word === w }, w.replaceAll("_", " "))));
    act_dialog(unit, { kind: "sign", title: `Sign for ${unit.title}`, text: `Proposed: ${unit.run.verdict?.word.replaceAll("_", " ")}. Your name stands under it.`, fields: [el("label", {}, "Verdict", word)], action: "Sign", more: () => ({ word: word.value }) });
  },
};

export function life_part() {
  const now = { unit: null };
  const button = (kind, label) => [kind, el("button.plain", { type: "button", onclick: () => DOES[kind](now.unit) }, label)];
  const buttons = [button("pause", "Pause\u2026"), button("go_on", "Go on\u2026"), button("touch", "Screwdriver\u2026"), button("replace_part", "Part replaced\u2026"), button("remark", "Remark\u2026"), button("sign", "Sign\u2026")];
  const bleed = el("p.bleed");
  const policy = el("p.meta");
  const gaps = el("ul.life-list");
  const row = () => {
    const node = el("li");
    return { node, update: (item) => set_text(node, item.text) };
  };
  const node = el("section.life", { "aria-label": "This run" }, bleed, el("div.buttons.left", {}, ...buttons.map(([, b]) => b)), policy, gaps);
  return {
    node,
    update(unit) {
      now.unit = unit;
      const run = unit.run;
      show(node, Boolean(run?.power));
      if (!run?.power) return;
      const waits = ["paused", "lost", "bench_open"].includes(run.power);
      const is_open = run.state === "running";
      const shown = { pause: run.power === "on" && is_open, go_on: waits, touch: is_open, replace_part: is_open, remark: true, sign: Boolean(run.verdict) };
      for (const [kind, b] of buttons) show(b, shown[kind]);
      set_text(bleed, unit.outlet.bleed_text ? `Still charged: ${unit.outlet.bleed_text}` : "");
      show(bleed, Boolean(unit.outlet.bleed_text));
      const p = run.policy;
      const words = [run.is_unattended ? `Left unattended by ${p.set_by}` : "Attended", waits ? { paused: "paused", lost: "lost its supply and waits", bench_open: "stopped with its bench" }[run.power] : "",
        p.on_forecast === "cut" ? "cut before a limit is reached" : "", p.after_mains === "staged" ? "switched on again after a power cut" : ""];
      set_text(policy, words.filter(Boolean).join(" \u00b7 "));
      const items = [
        ...run.interruptions.map((gap, i) => ({ key: `gap ${i}`, at: gap.from_s, text: `${run_clock(gap.from_s)} ${gap.is_planned ? "off" : "interrupted"}${gap.to_s === null ? " since then" : ` for ${duration(gap.to_s - gap.from_s)}`}: ${gap.why}` })),
        ...run.segments.map((segment) => ({ key: `segment ${segment.number}`, at: segment.from_s, text: `${run_clock(segment.from_s)} segment ${segment.number}${segment.points.length ? ` of ${segment.points.join(", ")}` : ""}: ${segment.why}` })),
      ].sort((a, b) => a.at - b.at);
      keep_list(gaps, items, (item) => item.key, row);
    },
  };
}
