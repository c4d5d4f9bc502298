// The frame round the views: which one is shown, the banners, the age of what is shown, and new alarms said aloud.
import { alarms_view } from "./alarms_view.js";
import { bench_view } from "./bench_view.js";
import { card_view } from "./card_view.js";
import { clips_view } from "./clips_view.js";
import { cautions_view } from "./cautions_view.js";
import { morning_view } from "./morning_view.js";
import { el, keep_list, set_attribute, set_class, set_text, show } from "./dom.js";
import { age_ms, is_stale, listen, live, start } from "./live.js";
import { run_view } from "./run_view.js";
import { unit_view } from "./unit_view.js";
import { units_view } from "./units_view.js";
import { wiring_view } from "./wiring_view.js";
import { duration, severity_words, waits_for_a_person } from "./words.js";

const content = document.getElementById("content");
const heard = document.getElementById("heard");
const banners = document.getElementById("banners");
let view = null;
let known_alarms = null;

const VIEWS = {
  bench: { title: "Bench", make: bench_view },
  unit: { title: "Unit", make: unit_view },
  alarms: { title: "Alarms", make: alarms_view },
  morning: { title: "Morning", make: morning_view },
  units: { title: "Units", make: units_view },
  card: { title: "Card", make: card_view, is_of: "units" },
  run: { title: "Run", make: run_view, is_of: "units" },
  wiring: { title: "Wiring", make: wiring_view },
  clips: { title: "Clips", make: clips_view, is_of: "wiring" },
  cautions: { title: "Cautions", make: cautions_view },
};

/** "#/unit/brindlecombe35" -> ["unit", "brindlecombe35"]. */
function place() {
  const [name, ...rest] = location.hash.replace(/^#\/?/, "").split("/");
  let argument = rest.join("/");
  try {
    argument = decodeURIComponent(argument);
  } catch {
    // Left as it was typed: no unit has such a name.
  }
  return VIEWS[name] ? [name, argument] : ["bench", ""];
}

function show_view({ is_first = false } = {}) {
  const [name, argument] = place();
  view?.leave?.();
  view = VIEWS[name].make(argument);
  view.title ??= VIEWS[name].title;
  content.replaceChildren(view.node);
  for (const link of document.querySelectorAll("nav [data-view]")) set_attribute(link, "aria-current", link.dataset.view === (VIEWS[name].is_of ?? name) ? "page" : null);
  if (live.bench) view.update?.(live.bench);
  name_page();
  if (is_first) return;
  scrollTo(0, 0);
  content.focus({ preventScroll: true });
}

function waiting_alarms() {
  return live.bench ? live.bench.alarms.filter(waits_for_a_person) : [];
}

function name_page() {
  const waiting = waiting_alarms().length;
  document.title = `${waiting ? `(${waiting}) ` : ""}${view?.title ?? "Bench"} \u2013 Steadyglow${is_stale() && live.bench ? " (old)" : ""}`;
}

function show_age() {
  const age = age_ms();
  const old = is_stale();
  set_class(document.body, "is-old", old && live.bench);
  set_class(heard, "old", old);
  if (age === null) set_text(heard, "nothing heard yet");
  else set_text(heard, old ? `last heard ${duration(age / 1000)} ago` : "live");
  show_banners();
  name_page();
}

function banner_list() {
  const list = [];
  const bench = live.bench;
  const age = age_ms();
  if (is_stale() && (bench || performance.now() > 5000))
    list.push({
      key: "old", tone: "trouble",
      text: age === null ? "The daemon has not answered yet. Nothing is known about the bench." : `Last heard ${duration(age / 1000)} ago. Every value here is old: look at the bench itself.`,
    });
  if (!bench) return list;
  if (bench.is_accelerated)
    list.push({ key: "fast", tone: "demo", text: `Demo: this clock runs ${bench.clock_rate} times faster than real time, on simulated units.` });
  if (bench.store.state !== "ok")
    list.push({ key: "store", tone: "trouble", text: `Readings are not being stored${bench.store.reason ? `: ${bench.store.reason}` : ""}. Guarding goes on; the record will have a hole.` });
  for (const supply of bench.benches ?? []) {
    if (supply.smoke === "smoke") list.push({ key: `smoke ${supply.name}`, tone: "trouble", text: `SMOKE OR HEAT at ${supply.name}. Leave, and call the fire service. Do not go in alone.` });
    if (supply.contactor?.is_defective) list.push({ key: `contactor ${supply.name}`, tone: "trouble", text: `The contactor of ${supply.name} did not obey: what is behind it may be live. Use the red button.` });
    if (supply.watchdog?.state === "held") list.push({ key: `watchdog ${supply.name}`, tone: "trouble", text: `The hardware watchdog of ${supply.name} is not fed${supply.watchdog.reason ? `: ${supply.watchdog.reason}` : ""}.` });
  }
  for (const bus of bench.buses) {
    const silent = bus.meters.filter((meter) => meter.state !== "ok").map((meter) => meter.name);
    if (bus.state !== "ok") list.push({ key: `bus ${bus.name}`, tone: "trouble", text: `Bus ${bus.name} (${bus.where}) is silent: no meter on it answers.` });
    else if (silent.length) list.push({ key: `bus ${bus.name}`, tone: "trouble", text: `On bus ${bus.name} ${silent.length === 1 ? "meter" : "meters"} ${silent.join(", ")} ${silent.length === 1 ? "does" : "do"} not answer.` });
  }
  return list;
}

function make_banner() {
  const node = el("p.banner");
  return {
    node,
    update(item) {
      node.className = `banner ${item.tone}`;
      set_text(node, item.text);
    },
  };
}

function show_banners() {
  keep_list(banners, banner_list(), (item) => item.key, make_banner);
}

/** Alarms that were not there before are said once: a trip at once, others when the reader pauses. */
function announce(bench) {
  const waiting = waiting_alarms();
  const count = document.getElementById("alarm-count");
  show(count, waiting.length > 0);
  set_text(count.firstElementChild, String(waiting.length));
  const keys = new Set(bench.alarms.filter(waits_for_a_person).map((alarm) => alarm.id));
  const fresh = known_alarms ? waiting.filter((alarm) => !known_alarms.has(alarm.id)) : [];
  known_alarms = keys;
  if (!fresh.length) return;
  const said = fresh.map((alarm) => `New ${severity_words(alarm.severity)}, ${unit_title(bench, alarm.unit)}: ${alarm.message}`).join(" ");
  set_text(document.getElementById(fresh.some((alarm) => alarm.severity === "trip") ? "urgent" : "announcer"), said);
}

function unit_title(bench, name) {
  return bench.units.find((unit) => unit.name === name)?.title ?? name;
}

listen(({ type, data }) => {
  if (type === "bench") {
    view?.update?.(data);
    announce(data);
  } else if (type !== "age") {
    view?.heard?.(type, data);
  }
  view?.tick?.();
  show_age();
});
addEventListener("hashchange", () => show_view());
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  content.focus();
});
show_view({ is_first: true });
start();
