// Switching on, switching off, answering: what stands on more than one view.
import { unit_address } from "./api.js";
import { el } from "./dom.js";
import { ask, check_field, text_field } from "./forms.js";
import { policy_fields } from "./policy.js";

const LIVE_CAUTION = "Lethal voltages follow at once. Clips on, covers as in use, nothing that burns near it, nobody touching it.";
const START_CAUTION = `${LIVE_CAUTION} Fuse, RCD or GFCI, thermal cut-out and smoke alarm must work without this computer. Local electrical code decides.`;
const LEAVE_CAUTION = "Fuse, RCD or GFCI, thermal cut-out and smoke alarm must work with this computer switched off. Local electrical code, insurer and landlord decide whether it may be left at all. The list does not replace your judgement.";
export const OFF_CAUTION = "An order is not proof: wait for \u201cOff, proven\u201d. Capacitors stay charged after that. Measure before you touch.";

const at_the_bench = (text) => check_field(text, { name: "at_the_bench", required: true });

/** How long such units take to fail, in one line, where somebody decides to begin. */
const advice_line = (advice) => (advice ? el("p.advice", {}, `How long to soak: ${advice}`) : null);

/** `bench`: the daemon's whole view. `advice`: the line of the shop's memory, or "". An attended start of a daemon without policies is what it always was. */
export function start_dialog(unit, bench, advice) {
  const box = at_the_bench("I am at the bench and it is safe to power this unit");
  const policy = Array.isArray(bench?.benches) ? policy_fields(unit, bench) : null;
  const supply = bench?.benches?.find((one) => one.name === unit.bench);
  ask({
    title: policy ? `Start ${unit.title}, attended` : `Start ${unit.title}`,
    text: `The outlet is switched on and a new run begins.${supply?.contactor.state === "open" ? " The bench contactor is open: it closes first." : ""}${policy ? " You stay near it, and the record says so." : ""}`,
    caution: START_CAUTION,
    fields: [advice_line(advice), policy ? el("details.fold", {}, el("summary", {}, "What may happen meanwhile (nothing comes back by itself unless you say so here)"), policy.node) : null, box.node].filter(Boolean),
    action: "Switch on and start", tone: "grave", address: `${unit_address(unit.name)}/start`,
    body(who) {
      if (!box.value()) return "Only a person at the bench may switch on: tick the box there.";
      if (!policy?.is_touched()) return { who, at_the_bench: true };
      const chosen = policy.value();
      return typeof chosen === "string" ? chosen : { who, at_the_bench: true, policy: { is_unattended: false, ...chosen } };
    },
  });
}

export function start_unattended_dialog(unit, bench, advice) {
  const box = at_the_bench("I am at the bench, it is safe to power this unit, and it may be left");
  const policy = policy_fields(unit, bench);
  ask({
    title: `Start ${unit.title}, unattended`,
    text: "The outlet is switched on and a new run begins. Nobody stays, and the record says so.",
    caution: el("div.dialog-caution", {}, el("p", {}, LIVE_CAUTION), el("p", {}, LEAVE_CAUTION)),
    fields: [advice_line(advice), policy.node, box.node].filter(Boolean),
    action: "Switch on, and leave it", tone: "grave", address: `${unit_address(unit.name)}/start`,
    body(who) {
      if (!box.value()) return "Only a person at the bench may switch on: tick the box there.";
      const chosen = policy.value();
      return typeof chosen === "string" ? chosen : { who, at_the_bench: true, policy: { is_unattended: true, ...chosen } };
    },
  });
}

export function leave_dialog(unit, bench) {
  const policy = policy_fields(unit, bench, unit.run.is_unattended ? unit.run.policy : undefined);
  ask({
    title: `Leave ${unit.title} unattended`,
    text: "The run goes on. From now on nobody is near it, and the record says so.",
    caution: LEAVE_CAUTION, fields: [policy.node], action: "Leave it", address: `${unit_address(unit.name)}/leave`,
    body(who) {
      const chosen = policy.value();
      return typeof chosen === "string" ? chosen : { who, policy: { is_unattended: true, ...chosen } };
    },
  });
}

export function stop_dialog(unit) {
  const why = text_field("Why", { name: "why", placeholder: "may stay empty" });
  ask({
    title: `Stop ${unit.title}`,
    text: "The outlet is ordered off and the run ends. What was read is kept.",
    caution: OFF_CAUTION, fields: [why.node],
    action: "Switch off and stop", tone: "grave", address: `${unit_address(unit.name)}/stop`,
    body: (who) => ({ who, why: why.value() }),
  });
}

export function acknowledge_dialog(alarm, title) {
  const note = text_field("Note", { name: "note", rows: 3, placeholder: "what you saw or did; may stay empty" });
  ask({
    title: `Acknowledge: ${title}`,
    text: alarm.message,
    caution: "This says that you know. It switches nothing, and it mends nothing.",
    fields: [note.node],
    action: "Acknowledge", address: `/api/v1/alarms/${alarm.id}/acknowledge`,
    body: (who) => ({ who, note: note.value() }),
  });
}
