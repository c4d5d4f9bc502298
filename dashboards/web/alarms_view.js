// What needs a person: incidents first, then alarms that stand alone, then how the alarm system itself is.
import { make_alarm_row } from "./alarm_row.js";
import { get } from "./api.js";
import { by_urgency } from "./bench_view.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { incidents_part } from "./incidents_part.js";
import { live } from "./live.js";
import { system_part } from "./system_part.js";
import { waits_for_a_person } from "./words.js";

const DID_EVERY_MS = 10000;

function sentence_of(bench) {
  const waiting = bench.alarms.filter(waits_for_a_person).length;
  const open = (bench.incidents ?? []).filter((incident) => !incident.is_acknowledged).length;
  if (!waiting && !open) return "No alarm waits for an answer.";
  const alarms = `${waiting} ${waiting === 1 ? "alarm" : "alarms"}`;
  if (open) return `${open} ${open === 1 ? "incident waits" : "incidents wait"} for an answer${waiting ? `, with ${alarms}` : ""}.`;
  return `${alarms} ${waiting === 1 ? "waits" : "wait"} for an answer.`;
}

export function alarms_view() {
  const sentence = el("h1.sentence", {}, "Waiting for the daemon");
  const waiting = el("ul.alarms");
  const answered = el("ul.alarms");
  const incidents = incidents_part();
  const system = system_part();
  const waiting_head = el("h2", {}, "Alarms that wait by themselves");
  const answered_head = el("h2", {}, "Answered, not yet back to normal");
  const controller = new AbortController();
  let did = new Map();
  let asked_at = -Infinity;
  let asked_key = "";

  /** What was done stands in the morning sheet, from the oldest incident that is still open. */
  async function load_did(bench) {
    const open = (bench.incidents ?? []).filter((incident) => incident.units.length && (incident.is_standing || !incident.is_acknowledged));
    const key = `${open.map((incident) => incident.id).join()} ${bench.units.map((unit) => `${unit.outlet.proof}${unit.run?.power}`).join()}`;
    if (!open.length || (key === asked_key && performance.now() - asked_at < DID_EVERY_MS)) return;
    asked_at = performance.now();
    asked_key = key;
    const oldest = open.map((incident) => incident.opened_utc).reduce((a, b) => (Date.parse(a) < Date.parse(b) ? a : b));
    const from = new Date(Date.parse(oldest) - 60000).toISOString().replace(/\.\d+Z$/, "Z");
    try {
      const sheet = await get(`/api/v1/morning?from_utc=${encodeURIComponent(from)}`, controller.signal);
      did = new Map(sheet.units.map((unit) => [unit.name, unit.did]));
      if (live.bench) show_all(live.bench);
    } catch {
      // The rest of the view does not hang on it.
    }
  }

  function show_all(bench) {
    const grouped = incidents.take(bench, did);
    const alone = bench.alarms.filter((alarm) => !grouped.has(alarm.id)).sort(by_urgency);
    const open = alone.filter(waits_for_a_person);
    const rest = alone.filter((alarm) => !waits_for_a_person(alarm));
    set_text(sentence, sentence_of(bench));
    set_text(waiting_head, Array.isArray(bench.incidents) ? "Alarms that wait by themselves" : "Waiting");
    keep_list(waiting, open, (alarm) => alarm.id, make_alarm_row);
    keep_list(answered, rest, (alarm) => alarm.id, make_alarm_row);
    show(waiting_head, open.length > 0);
    show(answered_head, rest.length > 0);
    system.update(bench);
  }

  return {
    node: el("div.alarms-view", {}, sentence, incidents.node, waiting_head, waiting, answered_head, answered, system.node),
    update(bench) {
      show_all(bench);
      load_did(bench);
    },
    leave: () => controller.abort(),
  };
}
