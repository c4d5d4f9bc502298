// What needs a person.
import { by_urgency } from "./bench_view.js";
import { acknowledge_dialog } from "./dialogs.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { incidents_part } from "./incidents_part.js";
import { live } from "./live.js";
import { severity_tag } from "./pieces.js";
import { alarm_state_words, duration, kind_words, local_time, run_clock, waits_for_a_person } from "./words.js";

function make_row(first) {
  const tag = severity_tag();
  const state = el("strong.alarm-state");
  const where = el("a");
  const what = el("span");
  const message = el("p.message");
  const since = el("p.meta");
  const by = el("p.meta");
  const answer = el("button", { type: "button", onclick: () => acknowledge_dialog(now.alarm, now.title) }, "Acknowledge");
  const now = { alarm: first, title: first.unit };
  const node = el("li.alarm", {}, el("div.alarm-head", {}, tag.node, el("span.grow", {}, where, " \u00b7 ", what), state), message, since, by, answer);
  return {
    node,
    update(alarm) {
      const bench = live.bench;
      const unit = bench?.units.find((u) => u.name === alarm.unit);
      now.alarm = alarm;
      now.title = unit?.title ?? alarm.unit;
      tag.update(alarm.severity);
      set_text(state, alarm_state_words(alarm.state));
      set_attribute(where, "href", `#/unit/${encodeURIComponent(alarm.unit)}`);
      set_text(where, now.title);
      set_text(what, kind_words(alarm.kind));
      set_text(message, alarm.message);
      const ago = unit?.run ? `, ${duration(unit.run.time_s - alarm.raised_s)} ago in run time` : "";
      const over = alarm.cleared_s === null ? "" : `; over at ${run_clock(alarm.cleared_s)}`;
      set_text(since, `since ${run_clock(alarm.raised_s)} of the run (${local_time(alarm.raised_utc)})${ago}${over}`);
      show(by, alarm.acknowledged_by !== "");
      set_text(by, `acknowledged by ${alarm.acknowledged_by}`);
      show(answer, waits_for_a_person(alarm));
      set_attribute(answer, "aria-label", `Acknowledge: ${alarm.message}`);
      node.dataset.waits = waits_for_a_person(alarm) ? "yes" : "no";
      node.dataset.active = alarm.is_active ? "yes" : "no";
    },
  };
}

export function alarms_view() {
  const sentence = el("h1.sentence", {}, "Waiting for the daemon");
  const waiting = el("ul.alarms");
  const answered = el("ul.alarms");
  const incidents = incidents_part();
  const waiting_head = el("h2", {}, "Every alarm that waits");
  const answered_head = el("h2", {}, "Answered, not yet back to normal");
  return {
    node: el("div.alarms-view", {}, sentence, incidents.head, waiting_head, waiting, answered_head, answered, incidents.node),
    update(bench) {
      const open = bench.alarms.filter(waits_for_a_person).sort(by_urgency);
      const rest = bench.alarms.filter((alarm) => !waits_for_a_person(alarm)).sort(by_urgency);
      set_text(sentence, open.length ? `${open.length} ${open.length === 1 ? "alarm waits" : "alarms wait"} for an answer.` : "No alarm waits for an answer.");
      keep_list(waiting, open, (alarm) => alarm.id, make_row);
      keep_list(answered, rest, (alarm) => alarm.id, make_row);
      show(answered_head, rest.length > 0);
      show(waiting_head, open.length > 0);
      incidents.update(bench);
    },
  };
}
