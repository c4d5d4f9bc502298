// One alarm: what it says, in which state it is, and what a person may do about it.
import { unit_address } from "./api.js";
import { acknowledge_dialog } from "./dialogs.js";
import { el, set_attribute, set_text, show } from "./dom.js";
import { ask, select_field, text_field } from "./forms.js";
import { live } from "./live.js";
import { severity_tag } from "./pieces.js";
import { alarm_state_words, duration, kind_words, local_time, priority_words, run_clock, waits_for_a_person } from "./words.js";

const SHELVE_MINUTES = [[15, "15 minutes"], [30, "30 minutes"], [60, "1 hour"], [240, "4 hours"], [720, "12 hours, the longest"]];

const act_on = (alarm, more) => (who) => ({ who, alarm: alarm.id, ...more });
const acts_address = (alarm) => `${unit_address(alarm.unit)}/acts`;

function shelve_dialog(alarm) {
  const minutes = select_field("For", SHELVE_MINUTES, 30, { name: "minutes" });
  const why = text_field("Why", { name: "why", placeholder: "whoever reads it later wants the reason" });
  ask({
    title: "Put this alarm aside for a time", text: alarm.message,
    caution: "Nobody is told of it meanwhile. It is still judged, its limits still cut, and it comes back by itself when the time is over.",
    fields: [minutes.node, why.node], action: "Put it aside", address: acts_address(alarm),
    body: (who) => (why.value() ? { who, kind: "shelve", alarm: alarm.id, minutes: Number(minutes.value()), why: why.value() } : "A reason is needed."),
  });
}

function service_dialog(alarm, is_out) {
  const why = text_field("Why", { name: "why", placeholder: is_out ? "such as: sensor is being repaired" : "may stay empty" });
  ask({
    title: is_out ? "Take this alarm out of service" : "Put this alarm back into service", text: alarm.message,
    caution: is_out ? "Nobody is told of it until somebody puts it back. Whatever it watches is then watched by nobody: stay near." : null,
    fields: [why.node], action: is_out ? "Take it out of service" : "Put it back", tone: is_out ? "grave" : null, address: acts_address(alarm),
    body: (who) => (is_out && !why.value() ? "A reason is needed." : { ...act_on(alarm, { kind: is_out ? "out_of_service" : "into_service" })(who), ...(why.value() ? { why: why.value() } : {}) }),
  });
}

function unshelve_dialog(alarm) {
  ask({ title: "Take it back", text: alarm.message, action: "Take it back now", address: acts_address(alarm), body: act_on(alarm, { kind: "unshelve" }) });
}

function reset_dialog(alarm) {
  ask({ title: "Reset what is held", text: `${alarm.message} It is over and was answered, and is held so that it is not overlooked.`, caution: "This only clears the list. It unlocks no outlet.", action: "Reset", address: acts_address(alarm), body: act_on(alarm, { kind: "reset" }) });
}

export function make_alarm_row(first) {
  const now = { alarm: first, title: first.unit };
  const tag = severity_tag();
  const state = el("strong.alarm-state");
  const where = el("a");
  const what = el("span");
  const message = el("p.message");
  const since = el("p.meta");
  const by = el("p.meta");
  const button = (spec, text, onclick) => el(spec, { type: "button", onclick }, text);
  const answer = button("button", "Acknowledge", () => acknowledge_dialog(now.alarm, now.title));
  const quiet = "button.plain.small-button";
  const shelve = button(quiet, "Put aside\u2026", () => shelve_dialog(now.alarm));
  const unshelve = button(quiet, "Take it back\u2026", () => unshelve_dialog(now.alarm));
  const out = button(quiet, "Out of service\u2026", () => service_dialog(now.alarm, true));
  const back = button(quiet, "Back into service\u2026", () => service_dialog(now.alarm, false));
  const reset = button(quiet, "Reset\u2026", () => reset_dialog(now.alarm));
  const node = el("li.alarm", {}, el("div.alarm-head", {}, tag.node, el("span.grow", {}, where, " \u00b7 ", what), state), message, since, by,
    el("div.buttons.alarm-buttons", {}, shelve, unshelve, out, back, reset, answer));
  return {
    node,
    update(alarm) {
      const unit = live.bench?.units.find((u) => u.name === alarm.unit);
      now.alarm = alarm;
      now.title = unit?.title ?? alarm.unit;
      tag.update(alarm.severity);
      set_text(state, alarm_state_words(alarm.state));
      set_attribute(where, "href", unit ? `#/unit/${encodeURIComponent(alarm.unit)}` : "#/bench");
      set_text(where, now.title || "the bench");
      set_text(what, [kind_words(alarm.kind), alarm.priority ? priority_words(alarm.priority) : ""].filter(Boolean).join(" \u00b7 "));
      set_text(message, alarm.message);
      const ago = unit?.run ? `, ${duration(unit.run.time_s - alarm.raised_s)} ago in run time` : "";
      const over = alarm.cleared_s === null ? "" : `; over at ${run_clock(alarm.cleared_s)}`;
      set_text(since, unit ? `since ${run_clock(alarm.raised_s)} of the run (${local_time(alarm.raised_utc)})${ago}${over}` : `since ${local_time(alarm.raised_utc)}`);
      const parts = [alarm.acknowledged_by ? `acknowledged by ${alarm.acknowledged_by}` : "",
        alarm.state === "shelved" && typeof alarm.shelved_until_s === "number" ? `aside until ${run_clock(alarm.shelved_until_s)} of the run` : "",
        ["shelved", "out_of_service"].includes(alarm.state) && alarm.changed_by ? `by ${alarm.changed_by}` : "", alarm.why ?? ""];
      set_text(by, parts.filter(Boolean).join(" \u00b7 "));
      show(by, by.textContent !== "");
      // Only a daemon that knows priorities knows the acts on an alarm; those of the bench itself can only be acknowledged.
      const can_act = Boolean(alarm.priority && unit);
      const is_aside = alarm.state === "shelved";
      const is_out = alarm.state === "out_of_service";
      show(answer, waits_for_a_person(alarm));
      show(shelve, can_act && !is_aside && !is_out);
      show(unshelve, can_act && is_aside);
      show(out, can_act && !is_out && !is_aside);
      show(back, can_act && is_out);
      show(reset, can_act && alarm.state === "latched_acknowledged");
      for (const one of [answer, shelve, unshelve, out, back, reset]) set_attribute(one, "aria-label", `${one.textContent.replace("\u2026", "")}: ${alarm.message}`);
      node.dataset.waits = waits_for_a_person(alarm) ? "yes" : "no";
      node.dataset.active = alarm.is_active ? "yes" : "no";
    },
  };
}
