// What feeds the units: the contactor of each bench, its watchdog, its load; and what a person may do there.
import { post } from "./api.js";
import { cautions_dialog } from "./cautions_view.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { ask, check_field, kept_name, select_field, text_field } from "./forms.js";
import { refresh } from "./live.js";
import { local_time } from "./words.js";

const bench_address = (name) => `/api/v1/benches/${encodeURIComponent(name)}`;
const NOBODY_NAMED = "somebody at the page";  // off is not held up by a question
const OFF_CAUTION = "An order is not proof: only the current falling to nothing is. Capacitors stay charged. With smoke: leave, call the fire service, do not go in alone.";

export function close_bench_dialog(bench) {
  const box = check_field("I stand at the bench and have looked at every unit on it", { name: "at_the_bench", required: true });
  ask({
    title: `Close the contactor of ${bench.name}`,
    text: bench.contactor.reason ? `It was opened: ${bench.contactor.reason}.` : null,
    caution: "The outlets get their supply again. A unit whose own relay has welded comes on at once, with lethal voltages. Nobody\u2019s hands in anything; the cause is found first.",
    fields: [box.node], action: "Close the contactor", tone: "grave", address: `${bench_address(bench.name)}/close`,
    body: (who) => (box.value() ? { who, at_the_bench: true } : "Only a person at the bench may do this: tick the box there."),
  });
}

export function rehearse_dialog(bench, view, unit_name, done) {
  const units = view.units.filter((unit) => unit.bench === bench.name);
  const running = units.filter((unit) => unit.outlet.state === "on");
  const unit = select_field("With which unit; it must be drawing power", units.map((one) => [one.name, one.title]), unit_name ?? running[0]?.name ?? units[0]?.name, { name: "unit" });
  ask({
    title: `Rehearse the trip at ${bench.name}`,
    text: `The unit\u2019s relay opens and closes again${bench.contactor.state === "none" ? "" : ", then the bench contactor"}. Only the current counts as proof. Anything else at this bench is paused first.`,
    caution: "Stay beside it. The unit goes off and comes on again by itself: nobody\u2019s hands inside. If it fails, pull the plug.",
    fields: [unit.node], action: "Rehearse", tone: "grave", address: `${bench_address(bench.name)}/rehearse`, body: (who) => ({ who, unit: unit.value() }), done,
  });
}

export function replaced_dialog(address, what, done) {
  const note = text_field("What was done, and by whom", { name: "note" });
  ask({
    title: `Replaced: ${what}`,
    text: "It was marked as one that does not obey. It may be used again after this, and the next rehearsal must prove it before anything is left alone with it.",
    caution: "Contacts in mains wiring are replaced by a qualified person, with the supply locked off and proven dead. Local electrical code decides.",
    fields: [note.node], action: "It was replaced", tone: "grave", address, done,
    body: (who) => (note.value() ? { who, note: note.value() } : "Say what was done."),
  });
}

/** Off is always allowed, at once: one press, and one more that says the same. */
function cut_part(now) {
  const problem = el("p.problem", { role: "alert", hidden: true });
  const text = el("p");
  const sure = el("button.grave", { type: "button", onclick: () => cut() });
  const keep = el("button.plain", { type: "button", onclick: () => fold(false) }, "Leave it on");
  const box = el("div.sure", { role: "group", "aria-label": "Cut the whole bench: sure?", hidden: true }, text, el("p.dialog-caution", {}, OFF_CAUTION), problem, el("div.buttons.left", {}, sure, keep));
  const first = el("button.cut", { type: "button", "aria-expanded": "false", onclick: () => fold(box.hidden) });
  function fold(is_open) {
    show(box, is_open);
    first.setAttribute("aria-expanded", String(is_open));
    show(problem, false);
    (is_open ? sure : first).focus();
  }
  async function cut() {
    sure.disabled = true;
    try {
      await post(`${bench_address(now.bench.name)}/cut`, { who: kept_name() || NOBODY_NAMED, why: "" });
      fold(false);
      refresh();
    } catch (error) {
      set_text(problem, `Not done: ${error.message}. Use the red button of the bench, or pull the plug if that is safe.`);
      show(problem, true);
    } finally {
      sure.disabled = false;
    }
  }
  return {
    first, box,
    update(bench) {
      set_text(first, "Cut the whole bench");
      first.setAttribute("aria-label", `Cut the whole of ${bench.name}`);
      set_text(sure, `Yes, cut ${bench.name} now`);
      set_text(text, bench.contactor.state === "none"
        ? `${bench.name} has no contactor: every outlet on it is ordered off, one by one, and the runs end.`
        : `The contactor of ${bench.name} opens: everything on it loses its supply at once. The runs wait, and nothing comes back by itself.`);
    },
  };
}

const CONTACTOR = { closed: ["\u25cf", "closed"], open: ["\u25cb", "open"], unknown: ["?", "not known: treat it as closed"], none: ["\u2013", "none"] };
const WATCHDOG = { fed: ["\u2713", "fed"], held: ["\u2717", "not fed"], none: ["\u2013", "none"] };
const SMOKE = { quiet: ["\u2713", "quiet"], smoke: ["!", "SMOKE OR HEAT"], unreadable: ["?", "cannot be read"] };
const REHEARSAL = { none: ["\u2013", "never"], running: ["\u2026", "under way"], passed: ["\u2713", "passed"], failed: ["\u2717", "FAILED"] };

/** What stands in the strip: [{label, mark, text, is_bad}]; what the daemon does not tell is left out. */
function facts_of(bench) {
  const facts = [];
  const add = (label, [mark, text], more, is_bad) => facts.push({ label, mark, text: [text, more].filter(Boolean).join(": "), is_bad: Boolean(is_bad) });
  const { contactor, watchdog, rehearsal } = bench;
  if (contactor) {
    const words = contactor.is_defective ? ["\u2717", `DOES NOT OBEY (${contactor.state})`] : CONTACTOR[contactor.state] ?? ["?", contactor.state];
    add("Contactor", words, contactor.state === "none" ? "nothing stands behind a welded relay" : contactor.state === "closed" && !contactor.is_defective ? "" : contactor.reason, contactor.is_defective || contactor.state === "unknown");
  }
  if (watchdog) add("Hardware watchdog", WATCHDOG[watchdog.state] ?? ["?", watchdog.state], watchdog.reason, watchdog.state === "held");
  if (typeof bench.amperes === "number") {
    const allowed = bench.allowed_amperes ?? null;
    const is_over = allowed !== null && bench.amperes > allowed;
    add("Branch load", [is_over ? "\u2717" : "", `${bench.amperes.toFixed(2)}\u202fA${allowed === null ? "" : ` of ${allowed.toFixed(1)}\u202fA allowed`}`], is_over ? "move a unit to another branch" : "", is_over);
  }
  if (bench.smoke && bench.smoke !== "none") add("Smoke contact", SMOKE[bench.smoke] ?? ["?", bench.smoke], "", bench.smoke !== "quiet");
  if (bench.person_on_call) add("On call", ["", bench.person_on_call]);
  if (rehearsal) {
    const by = rehearsal.state === "none" ? "" : [rehearsal.unit, rehearsal.who, rehearsal.utc && rehearsal.state !== "running" ? local_time(rehearsal.utc) : ""].filter(Boolean).join(", ");
    add("Trip rehearsal", REHEARSAL[rehearsal.state] ?? ["?", rehearsal.state], [by, rehearsal.state === "none" || rehearsal.state === "passed" ? "" : rehearsal.text].filter(Boolean).join("; "), rehearsal.state === "failed");
  }
  return facts;
}

/** What stands in one line when the rest is folded. */
function contactor_sentence(bench) {
  const contactor = bench.contactor && bench.contactor.state !== "none" ? `Contactor ${bench.contactor.is_defective ? "does not obey" : CONTACTOR[bench.contactor.state]?.[1] ?? bench.contactor.state}` : "No contactor";
  const watchdog = { fed: "watchdog fed", held: "watchdog NOT fed" }[bench.watchdog?.state] ?? "no watchdog";
  const allowed = typeof bench.allowed_amperes === "number" ? ` of ${bench.allowed_amperes.toFixed(1)}` : "";
  const load = typeof bench.amperes === "number" ? `${bench.amperes.toFixed(2)}${allowed}\u202fA` : "";
  return [contactor, watchdog, load].filter(Boolean).join(", ");
}

function make_fact() {
  const label = el("dt");
  const mark = el("span.fact-mark", { "aria-hidden": "true" });
  const text = el("span");
  const node = el("div.fact", {}, label, el("dd", {}, mark, text));
  return {
    node,
    update(fact) {
      node.dataset.bad = fact.is_bad ? "yes" : "no";
      set_text(label, fact.label);
      set_text(mark, fact.mark);
      show(mark, fact.mark !== "");
      set_text(text, fact.text);
    },
  };
}

function bench_row(first) {
  const now = { bench: first.bench, view: first.view };
  const id = `bench-${first.bench.name.replace(/[^\w-]/g, "_")}`;
  const name = el("h2", { id });
  const facts = el("dl.facts");
  const cut = cut_part(now);
  const button = (text, onclick) => el("button.plain.small-button", { type: "button", onclick }, text);
  const close = button("Close the contactor\u2026", () => close_bench_dialog(now.bench));
  const replaced = button("The contactor was replaced\u2026", () => replaced_dialog(`${bench_address(now.bench.name)}/repaired`, `the contactor of ${now.bench.name}`));
  const rehearse = button("Rehearse the trip\u2026", () => rehearse_dialog(now.bench, now.view));
  const cautions = button("Cautions\u2026", () => cautions_dialog(now.bench.name));
  const summary = el("summary");
  const fold = el("details", {}, summary, el("div.supply-more", {}, facts, el("div.buttons", {}, close, replaced, rehearse, cautions)));
  const node = el("section.supply", { "aria-labelledby": id }, el("div.supply-head", {}, name, fold, cut.first), cut.box);
  return {
    node,
    update({ bench, view }) {
      now.bench = bench;
      now.view = view;
      set_text(name, bench.name);
      const list = facts_of(bench);
      keep_list(facts, list, (fact) => fact.label, make_fact);
      const bad = list.filter((fact) => fact.is_bad);
      // Whoever looks because of it finds its reason, and what can be done, unfolded.
      const tone = bad.length ? "trouble" : bench.contactor?.state === "open" ? "open" : "calm";
      if (tone !== "calm" && tone !== node.dataset.tone) fold.open = true;
      node.dataset.tone = tone;
      set_text(summary, contactor_sentence(bench));
      cut.update(bench);
      show(close, bench.contactor?.state === "open" && !bench.contactor.is_defective);
      show(replaced, Boolean(bench.contactor?.is_defective));
      show(rehearse, Boolean(bench.rehearsal) && bench.rehearsal.state !== "running");
    },
  };
}

export function bench_part() {
  const node = el("div.supplies");
  return { node, update: (view) => keep_list(node, (view.benches ?? []).map((bench) => ({ bench, view })), (item) => item.bench.name, bench_row) };
}
