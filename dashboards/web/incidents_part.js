// Incidents: alarms of one cause. What the daemon did, who was told and when, and one answer for all of them.
import { make_alarm_row } from "./alarm_row.js";
import { ask, text_field } from "./forms.js";
import { by_urgency } from "./bench_view.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { local_time, priority_words } from "./words.js";

const DID_SHOWN = 8;
const TOLD_SHOWN = 4;
const UNFOLDED_MAX = 3;
const SLACK_MS = 30000;  // between the reading that counts and the incident that is made of it

const weight = { highest: 0, high: 1, medium: 2, low: 3 };
const MARKS = { highest: "!!", high: "!", medium: "\u2022", low: "\u00b7" };
const PURPOSES = { alarm: "first word", repeat: "again", escalation: "called in as well", changed: "has grown", over: "it is over", morning: "morning sheet", test: "test" };
const TOLD_STATES = { delivered: "\u2713 delivered", waiting: "\u2026 waiting", failing: "\u2717 failing, tried again", given_up: "\u2717 given up: nobody gets it this way" };

function answer_dialog(incident) {
  const note = text_field("Note", { name: "note", rows: 3, placeholder: "what you saw or did; may stay empty" });
  const count = incident.alarms.length;
  ask({
    title: `Acknowledge: ${incident.title}`, text: incident.text,
    caution: `This says that you know, of ${count === 1 ? "its alarm" : `all ${count} of its alarms`}: nobody is called again for them. It switches nothing, and it mends nothing.`,
    fields: [note.node], action: "Acknowledge", address: `/api/v1/incidents/${incident.id}/acknowledge`, body: (who) => ({ who, note: note.value() }),
  });
}

const is_refused = (one) => ["failing", "given_up"].includes(one.state);

/** Loud, and by every way refused: said in the open, not only in a list. */
const nobody_has_it = (incident) => incident.told.length > 0 && incident.told.every(is_refused);

const plain_row = (spec) => () => {
  const node = el(spec);
  return { node, update: (item) => set_text(node, item.text) };
};

function told_items(told) {
  const items = told.map((one, index) => ({ index, state: one.state, text: `${one.person || one.route}${one.person ? ` by ${one.route}` : ""} \u00b7 ${PURPOSES[one.purpose] ?? one.purpose} \u00b7 ${local_time(one.utc)} \u00b7 ${TOLD_STATES[one.state] ?? one.state}` }));
  const newest = items.length - TOLD_SHOWN + 1;
  const is_shown = (item) => item.index === 0 || item.index >= newest || is_refused(item);
  const hidden = items.filter((item) => !is_shown(item)).length;
  const shown = items.filter(is_shown);
  if (hidden) shown.splice(1, 0, { index: "more", text: `and ${hidden} more in between` });
  return shown;
}

/** Of all the incidents of a unit, the one that a deed belongs to: what is done is done within seconds of what it is done for. */
function incident_of(deed, unit, incidents) {
  const at = Date.parse(deed.utc);
  const away = (incident) => Math.abs(Date.parse(incident.opened_utc) - at);
  return incidents.filter((one) => one.units.includes(unit) && Date.parse(one.opened_utc) - SLACK_MS <= at)
    .sort((a, b) => away(a) - away(b) || (weight[a.priority] ?? 4) - (weight[b.priority] ?? 4))[0];
}

/** did: {unit: [{utc, text}]} of the morning sheet. Each deed stands in one incident only. */
function did_items(incident, did, incidents) {
  const all = incident.units.flatMap((unit) => (did.get(unit) ?? []).map((one) => ({ ...one, unit })));
  return all.filter((one) => !one.text.startsWith("verdict proposed") && incident_of(one, one.unit, incidents)?.id === incident.id).sort((a, b) => Date.parse(a.utc) - Date.parse(b.utc)).slice(0, DID_SHOWN)
    .map((one, index) => ({ index, text: `${local_time(one.utc)} \u00b7 ${incident.units.length > 1 ? `${one.unit}: ` : ""}${one.text}` }));
}

function block(heading) {
  const list = el("ul");
  const none = el("p.meta");
  const node = el("div.block", {}, el("h4", {}, heading), list, none);
  return {
    node,
    update(items, none_text) {
      keep_list(list, items, (item) => item.index, plain_row("li"));
      set_text(none, none_text);
      show(none, items.length === 0);
    },
  };
}

function make_incident(first) {
  const now = { incident: first.incident };
  const id = `incident-${first.incident.id}`;
  const mark = el("span.priority-mark", { "aria-hidden": "true" });
  const priority = el("strong");
  const since = el("span.meta");
  const title = el("h3", { id });
  const text = el("p.message");
  const did = block("What the daemon did");
  const told = block("Who was told");
  const unheard = el("p.problem", {}, "Every way to people has refused it: nobody knows of this yet.");
  const seen = el("p.seen");
  const answer = el("button", { type: "button", onclick: () => answer_dialog(now.incident) }, "Acknowledge\u2026");
  const summary = el("summary");
  const members = el("ul.alarms");
  const fold = el("details.members", {}, summary, members);
  const node = el("li.incident", { "aria-labelledby": id },
    el("p.incident-head", {}, mark, priority, since), title, text, el("div.blocks", {}, did.node, told.node), unheard, el("div.answer", {}, seen, answer), fold);
  fold.open = first.alarms.length <= UNFOLDED_MAX && !first.incident.is_acknowledged;
  return {
    node,
    update({ incident, incidents, alarms, did: all_did }) {
      now.incident = incident;
      node.dataset.waits = incident.is_acknowledged ? "no" : "yes";
      node.dataset.priority = incident.priority;
      set_text(mark, MARKS[incident.priority] ?? "");
      set_text(priority, priority_words(incident.priority));
      set_text(since, ` \u00b7 ${incident.is_standing ? "stands" : "over"} \u00b7 since ${local_time(incident.opened_utc)}`);
      set_text(title, incident.title);
      set_text(text, incident.text);
      show(text, incident.text !== incident.title);
      did.update(did_items(incident, all_did, incidents), incident.units.length ? "Nothing was switched." : "Nothing: it watches on.");
      const is_loud = ["high", "highest"].includes(incident.priority);
      told.update(told_items(incident.told), is_loud ? "Nobody yet." : incident.priority === "low" ? "Nobody: it can wait for the morning." : "Nobody.");
      show(unheard, !incident.is_acknowledged && nobody_has_it(incident));
      set_text(seen, incident.is_acknowledged ? `\u2713 Acknowledged by ${incident.acknowledged_by || "somebody"}` : "Nobody has answered.");
      show(answer, !incident.is_acknowledged);
      set_attribute(answer, "aria-label", `Acknowledge: ${incident.title}`);
      keep_list(members, alarms, (alarm) => alarm.id, make_alarm_row);
      const gone = incident.alarms.length - alarms.length;
      set_text(summary, `${incident.alarms.length} ${incident.alarms.length === 1 ? "alarm" : "alarms"}${gone > 0 ? `, ${gone} back to normal` : ""}`);
      set_attribute(fold, "data-empty", alarms.length ? null : "");
      set_attribute(fold, "data-same", alarms.length === 1 && alarms[0].message === incident.text ? "" : null);
    },
  };
}

const is_past = (incident) => incident.is_acknowledged && !incident.is_standing;

/** `take(bench, did)` returns the ids of the alarms that stand in an incident. */
export function incidents_part() {
  const list = el("ul.incidents");
  const past = el("ul.incidents");
  const past_summary = el("summary");
  const past_fold = el("details.past", {}, past_summary, past);
  const none = el("p.meta", {}, "No incident since the daemon began to keep them.");
  const node = el("section", { "aria-label": "Incidents" }, list, none, past_fold);
  return {
    node,
    take(bench, did) {
      const is_served = Array.isArray(bench.incidents);
      show(node, is_served);
      if (!is_served) return new Set();
      const items = bench.incidents.map((incident) => ({ incident, incidents: bench.incidents, did, alarms: bench.alarms.filter((alarm) => incident.alarms.includes(alarm.id)).sort(by_urgency) }));
      const order = (a, b) => Number(a.incident.is_acknowledged) - Number(b.incident.is_acknowledged) || (weight[a.incident.priority] ?? 4) - (weight[b.incident.priority] ?? 4) || b.incident.id - a.incident.id;
      const current = items.filter((item) => !is_past(item.incident)).sort(order);
      const over = items.filter((item) => is_past(item.incident));
      keep_list(list, current, (item) => item.incident.id, make_incident);
      keep_list(past, over, (item) => item.incident.id, make_incident);
      show(none, items.length === 0);
      show(past_fold, over.length > 0);
      set_text(past_summary, `${over.length} earlier, over and answered`);
      return new Set(bench.incidents.flatMap((incident) => incident.alarms));
    },
  };
}
