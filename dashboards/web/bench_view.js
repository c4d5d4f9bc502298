// Every unit at a glance.
import { bench_part } from "./bench_part.js";
import { severity_tag, outlet_mark } from "./pieces.js";
import { hours_bar, limit_scale } from "./bars.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { outlet_words, stage_words, verdict_sentence, waits_for_a_person } from "./words.js";

const ALARMS_ON_A_CARD = 2;

/** What a run is doing: {head, rest}. */
export function run_words(unit) {
  const run = unit.run;
  if (!run) return { head: "No run yet", rest: "" };
  if (run.state === "ended") return { head: "Run ended", rest: run.stage === "done" ? "the plan is done" : `in ${stage_words(run.stage).toLowerCase()}` };
  const rest = run.not_counting_because ? `not counting: ${run.not_counting_because}` : "counting";
  return { head: stage_words(run.stage), rest };
}

function bench_sentence(bench) {
  const counting = bench.units.filter((unit) => unit.run?.state === "running" && !unit.run.not_counting_because).length;
  const waiting = bench.alarms.filter(waits_for_a_person).length;
  const doubtful = bench.units.filter((unit) => outlet_words(unit.outlet).tone === "trouble").map((unit) => unit.title);
  const parts = [`${bench.units.length} ${bench.units.length === 1 ? "unit" : "units"}, ${counting} counting.`];
  if (doubtful.length) parts.push(`${doubtful.join(", ")}: NOT proven off.`);
  parts.push(waiting ? `${waiting} ${waiting === 1 ? "alarm waits" : "alarms wait"} for an answer.` : "No alarm waits for an answer.");
  return parts.join(" ");
}

function make_card(first) {
  const id = `unit-${first.name}`;
  const title = el("a", { href: `#/unit/${encodeURIComponent(first.name)}`, id });
  const meta = el("p.meta");
  const head = el("strong");
  const rest = el("span");
  const hours = hours_bar();
  const scale = limit_scale();
  const outlet = outlet_mark();
  const verdict = el("p.verdict");
  const alarms = el("ul.card-alarms");
  const more = el("p.meta");
  const node = el("article.card", { "aria-labelledby": id },
    el("header", {}, el("h2", {}, title), meta),
    outlet.node,
    el("p.doing", {}, head, " ", rest),
    hours.node, scale.node, verdict, alarms, more);
  return {
    node,
    update({ unit, alarms: own }) {
      set_text(title, unit.title);
      set_text(meta, [unit.bench, unit.serial].filter(Boolean).join(" \u00b7 "));
      const words = run_words(unit);
      set_text(head, words.head);
      set_text(rest, words.rest);
      hours.update(unit.run);
      scale.update(unit);
      outlet.update(unit.outlet);
      show(verdict, Boolean(unit.run?.verdict));
      if (unit.run?.verdict) {
        set_text(verdict, verdict_sentence(unit.run));
        verdict.dataset.word = unit.run.signature?.word ?? unit.run.verdict.word;
      }
      keep_list(alarms, own.slice(0, ALARMS_ON_A_CARD), (alarm) => alarm.id, make_card_alarm);
      show(alarms, own.length > 0);
      show(more, own.length > ALARMS_ON_A_CARD);
      set_text(more, `and ${own.length - ALARMS_ON_A_CARD} more`);
      set_attribute(node, "data-tone", outlet_words(unit.outlet).tone);
    },
  };
}

function make_card_alarm() {
  const tag = severity_tag();
  const text = el("a", { href: "#/alarms" });
  const answered = el("span.meta", {}, "acknowledged: ");
  return {
    node: el("li", {}, tag.node, " ", answered, text),
    update(alarm) {
      tag.update(alarm.severity);
      show(answered, !waits_for_a_person(alarm));
      set_text(text, alarm.message);
      set_attribute(text, "title", alarm.message);
    },
  };
}

/** Unanswered first, then the graver, then the newer. */
export function by_urgency(a, b) {
  const rank = { trip: 0, warn: 1, note: 2 };
  return Number(waits_for_a_person(b)) - Number(waits_for_a_person(a)) || (rank[a.severity] ?? 3) - (rank[b.severity] ?? 3) || b.id - a.id;
}

export function bench_view() {
  const sentence = el("h1.sentence", {}, "Waiting for the daemon");
  const cards = el("div.cards");
  const supplies = bench_part();
  return {
    node: el("div", {}, sentence, supplies.node, cards),
    update(bench) {
      set_text(sentence, bench_sentence(bench));
      supplies.update(bench);
      const items = bench.units.map((unit) => ({ unit, alarms: bench.alarms.filter((alarm) => alarm.unit === unit.name).sort(by_urgency) }));
      keep_list(cards, items, (item) => item.unit.name, (item) => make_card(item.unit));
    },
  };
}
