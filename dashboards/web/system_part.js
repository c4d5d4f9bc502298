// How the alarm system itself behaves against its targets, and the ways to people: routes, the sign of life, a test.
import { ask } from "./forms.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { duration, local_time } from "./words.js";

export function test_dialog(done) {
  ask({ title: "Send a test message", text: "One message goes out by every route. It counts only when it comes: look at the telephone.", action: "Send it", address: "/api/v1/notify/test", body: (who) => ({ who }), done });
}

const ROUTE_STATES = { ok: "\u2713 works", failing: "\u2717 FAILING", untested: "? never used yet" };
const HEARTBEAT = {
  sent: "\u2713 A sign of life is sent to somebody outside: if it stays away, they call.",
  held: "\u2717 The sign of life is held back, so that somebody outside notices",
  failing: "\u2717 The sign of life cannot be sent",
  none: "\u2013 No sign of life is sent to anybody outside: if this computer dies, nobody is told.",
};

/** What the figures are held against. The figures that the standard has as targets; its "average per hour" is 6 to 12 per operator. */
function figure_rows(f) {
  const all = f.split.low + f.split.medium + f.split.high + f.split.highest;
  const share = (count) => (all ? `${Math.round((100 * count) / all)}` : "0");
  return [
    { what: "Alarms in an hour", now: f.per_hour.toFixed(2), target: "6, at most 12", is_bad: f.per_hour > 12 },
    { what: "Alarms in ten minutes", now: f.per_10_min.toFixed(2), target: "1, at most 2", is_bad: f.per_10_min > 2 },
    { what: "Most in ten minutes", now: String(f.most_in_10_min), target: "10 or fewer", is_bad: f.most_in_10_min > 10 },
    { what: "Ten-minute periods with more than 10", now: `${(100 * f.flood_share).toFixed(1)}\u202f%${f.flood ? ", a flood now" : ""}`, target: "under 1\u202f%", is_bad: f.flood || f.flood_share >= 0.01 },
    { what: "Standing for more than 24 h", now: String(f.standing_over_24_h), target: "under 5", is_bad: f.standing_over_24_h >= 5 },
    { what: "Come and go again and again", now: f.chattering.length ? f.chattering.join(", ") : "none", target: "none", is_bad: f.chattering.length > 0 },
    { what: "Low / medium / high / highest", now: all ? `${[f.split.low, f.split.medium, f.split.high, f.split.highest].map(share).join(" / ")}\u202f% of ${all}` : "none yet", target: "about 80 / 15 / 5\u202f%, highest under 1\u202f%", is_bad: false },
    { what: "Put aside now", now: String(f.shelved), target: "few, each for a time", is_bad: false },
  ];
}

function make_figure_row() {
  const what = el("th", { scope: "row" });
  const now = el("td.value");
  const target = el("td.meta");
  const node = el("tr", {}, what, now, target);
  return {
    node,
    update(row) {
      node.dataset.bad = row.is_bad ? "yes" : "no";
      set_text(what, row.what);
      set_text(now, row.is_bad ? `\u2717 ${row.now}` : row.now);
      set_text(target, row.target);
    },
  };
}

function figures_part() {
  const body = el("tbody");
  const over = el("p.meta");
  const table = el("table.figures-table", {}, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Figure"), el("th", { scope: "col" }, "Now"), el("th", { scope: "col" }, "Target"))), body);
  const node = el("section", { "aria-labelledby": "figures-head" }, el("h2", { id: "figures-head" }, "How the alarms themselves behave"), over, table,
    el("p.meta", {}, "Figures and targets after ANSI/ISA-18.2-2016, 16.4. A target is for one person at a time; a small bench should stay far below."));
  return {
    node,
    update(figures) {
      show(node, Boolean(figures));
      if (!figures) return;
      set_text(over, typeof figures.hours === "number" ? `Over ${duration(3600 * figures.hours)} of the bench.` : "");
      keep_list(body, figure_rows(figures), (row) => row.what, make_figure_row);
    },
  };
}

function make_route() {
  const state = el("strong.route-state");
  const name = el("span");
  const more = el("p.meta");
  const node = el("li.route", {}, state, el("div", {}, name, more));
  return {
    node,
    update(route) {
      node.dataset.state = route.state;
      set_text(state, ROUTE_STATES[route.state] ?? route.state);
      set_text(name, route.name);
      const parts = [`${route.kind}, ${route.where}`, route.reason, route.waiting ? `${route.waiting} waiting` : "", route.last_delivered_utc ? `last delivered ${local_time(route.last_delivered_utc)}` : "nothing delivered yet"];
      set_text(more, parts.filter(Boolean).join(" \u00b7 "));
    },
  };
}

function routes_part() {
  const list = el("ul.routes");
  const heartbeat = el("p");
  const test = el("button.plain", { type: "button", onclick: () => test_dialog(() => set_text(sent, "Sent. Within a minute each route says above what became of it; the telephone says more.")) }, "Send a test\u2026");
  const sent = el("p.meta", { role: "status" });
  const none = el("p.none-told", {}, "Nobody is told of anything: no route is configured. The page is all there is.");
  const node = el("section", { "aria-labelledby": "routes-head" }, el("h2", { id: "routes-head" }, "Ways to people"), none, list, heartbeat, el("div.buttons.left", {}, test), sent);
  return {
    node,
    update(notify) {
      show(node, Boolean(notify));
      if (!notify) return;
      const has_routes = notify.routes.length > 0;
      show(none, !has_routes);
      show(test, has_routes);
      keep_list(list, notify.routes, (route) => route.name, make_route);
      show(heartbeat, Boolean(notify.heartbeat));
      if (notify.heartbeat) set_text(heartbeat, [HEARTBEAT[notify.heartbeat.state] ?? notify.heartbeat.state, notify.heartbeat.reason].filter(Boolean).join(": "));
    },
  };
}

export function system_part() {
  const routes = routes_part();
  const figures = figures_part();
  return {
    node: el("div.system", {}, routes.node, figures.node),
    update(bench) {
      routes.update(bench.notify);
      figures.update(bench.alarm_figures);
    },
  };
}
