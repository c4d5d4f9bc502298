// Incidents: alarms of one cause, who was told of them; how the alarm system itself behaves; how the routes are.
import { ask } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { local_time } from "./words.js";

const PRIORITIES = { low: "for the morning", medium: "told silently", high: "wakes one person", highest: "rings until answered" };

function incident_row(first) {
  const now = { incident: first };
  const title = el("strong");
  const state = el("span");
  const text = el("p.message");
  const told = el("p.meta");
  const seen = el("button", { type: "button", onclick: () => answer(now.incident) }, "I have seen it\u2026");
  const node = el("li.incident", {}, el("p", {}, title, " ", state), text, told, seen);
  return {
    node,
    update(incident) {
      now.incident = incident;
      set_text(title, incident.title);
      set_text(state, ` \u00b7 ${PRIORITIES[incident.priority] ?? incident.priority} \u00b7 ${incident.alarms.length} ${incident.alarms.length === 1 ? "alarm" : "alarms"} \u00b7 ${incident.is_standing ? "stands" : "over"}, since ${local_time(incident.opened_utc)}`);
      set_text(text, incident.text);
      const by = incident.told.map((one) => `${one.person} by ${one.route} (${one.purpose}, ${one.state})`);
      const more = by.length > 4 ? `, and ${by.length - 4} times more` : "";
      set_text(told, incident.is_acknowledged ? `seen by ${incident.acknowledged_by || "somebody"}` : by.length ? `told: ${by.slice(-4).join("; ")}${more}` : "nobody was told: it can wait for the morning");
      show(seen, !incident.is_acknowledged);
      node.dataset.waits = incident.is_acknowledged ? "no" : "yes";
    },
  };
}

function answer(incident) {
  const note = el("input", { placeholder: "may stay empty" });
  ask({ title: incident.title, text: incident.text, caution: "This says that you know, of all of its alarms. It switches nothing, and it mends nothing.", fields: [el("label", {}, "Note", note)], action: "I have seen it",
    address: `/api/v1/incidents/${incident.id}/acknowledge`, body: (who) => ({ who, note: note.value.trim() }) });
}

function figures_table() {
  const body = el("tbody");
  const node = el("table.figures", {}, el("caption", {}, "The alarm system itself (targets: ANSI/ISA-18.2-2016, 16.4)"), el("thead", {}, el("tr", {}, el("th", {}, "figure"), el("th", {}, "now"), el("th", {}, "target"))), body);
  return {
    node,
    update(f) {
      show(node, Boolean(f));
      if (!f) return;
      const all = f.split.low + f.split.medium + f.split.high + f.split.highest || 1;
      const share = (count) => `${Math.round((100 * count) / all)} %`;
      const rows = [
        ["alarms per hour", f.per_hour.toFixed(2), "6 are acceptable, 12 the most"],
        ["most in ten minutes", String(f.most_in_10_min), "10"],
        ["ten-minute periods above 10", `${(100 * f.flood_share).toFixed(1)} %${f.flood ? ", flood now" : ""}`, "under 1 %"],
        ["standing for over 24 h", String(f.standing_over_24_h), "under 5"],
        ["chattering", f.chattering.length ? f.chattering.join(", ") : "none", "none"],
        ["low / medium / high / highest", [f.split.low, f.split.medium, f.split.high, f.split.highest].map(share).join(" / "), "about 80 / 15 / 5 %, highest under 1 %"],
        ["put aside now", String(f.shelved), "few, and for a time"],
      ];
      keep_list(body, rows.map(([what, value, target]) => ({ what, value, target })), (row) => row.what, () => {
        const cells = [el("td"), el("td.value"), el("td.meta")];
        return { node: el("tr", {}, ...cells), update: (row) => [row.what, row.value, row.target].forEach((text, i) => set_text(cells[i], text)) };
      });
    },
  };
}

export function incidents_part() {
  const list = el("ul.incidents");
  const none = el("p.meta", {}, "No incident since the daemon began to keep them.");
  const routes = el("ul.routes");
  const heartbeat = el("p.meta");
  const test = el("button.plain", { type: "button", onclick: () => ask({ title: "Send a test message", text: "One message goes out by every route. See that it comes.", action: "Send", address: "/api/v1/notify/test", body: (who) => ({ who }) }) }, "Send a test\u2026");
  const figures = figures_table();
  const routes_head = el("h2", {}, "Ways to people");
  const head = el("div", {}, el("h2", {}, "Told to people, by cause"), list, none);
  const node = el("div", {}, routes_head, routes, heartbeat, test, figures.node);
  return {
    head,
    node,
    update(bench) {
      const has_any = Array.isArray(bench.incidents);
      show(node, has_any);
      show(head, has_any);
      if (!has_any) return;
      keep_list(list, bench.incidents, (incident) => incident.id, incident_row);
      show(none, bench.incidents.length === 0);
      keep_list(routes, bench.notify.routes, (route) => route.name, () => {
        const row = el("li");
        return { node: row, update: (r) => set_text(row, `${r.name} (${r.kind}, ${r.where}): ${r.state}${r.reason ? `: ${r.reason}` : ""}${r.waiting ? `, ${r.waiting} waiting` : ""}`) };
      });
      show(test, bench.notify.routes.length > 0);
      if (!bench.notify.routes.length) set_text(heartbeat, "Nobody is told of anything: no route is configured.");
      else set_text(heartbeat, bench.notify.heartbeat.state === "none" ? "No sign of life is sent to anything outside." : `Sign of life: ${bench.notify.heartbeat.state}${bench.notify.heartbeat.reason ? `: ${bench.notify.heartbeat.reason}` : ""}`);
      figures.update(bench.alarm_figures);
    },
  };
}
