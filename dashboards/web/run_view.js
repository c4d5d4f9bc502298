// One run, over or not: what became of it, and the pages and the sealed record to take away, and a look beside another run.
import { get } from "./api.js";
import { compare_part } from "./compare_part.js";
import { el, set_text, show } from "./dom.js";
import { live } from "./live.js";
import { card_href, find_card, outcome, run_list, span_of } from "./runs.js";

const PAGES = [
  { end: "page.pdf?paper=a4", name: "PDF, A4", what: "one side for the buyer; behind it what the next technician needs" },
  { end: "page.pdf?paper=letter", name: "PDF, Letter", what: "the same on the other paper" },
  { end: "page.html", name: "Page for a browser", what: "one file that needs nothing else" },
  { end: "page.png", name: "Picture", what: "the buyer\u2019s side, to show it for sale" },
];

function take_away(id) {
  const item = ({ end, name, what }) => el("li", {}, el("a.button", { href: `/api/v1/runs/${id}/${end}`, target: "_blank", rel: "noopener" }, name), el("span.meta", {}, what));
  const early = el("p.meta");
  const record = item({ end: "record.zip", name: "Sealed record", what: "pages, readings, events and their digests, signed: what a stranger can check" });
  const code = el("dd");
  const key = el("dd");
  const seal = el("dl.seal", {}, el("dt", {}, "Short code of the record"), code, el("dt", {}, "Fingerprint of the shop\u2019s key"), key);
  const check = el("p.meta", {}, "Whoever has the record checks it with ", el("code", {}, "steadyglow verify"), ".");
  show(seal, false);
  const node = el("section.panel", { "aria-labelledby": "take-head" }, el("h2", { id: "take-head" }, "To take away"), early, el("ul.take-away", {}, ...PAGES.map(item), record), seal, check);
  return {
    node,
    update(run) {
      const is_over = run.state !== "running";
      show(early, !is_over);
      set_text(early, `${run.verdict ? "It has its verdict, and how it cools down is still being recorded" : "The run is still going on"}. A page made now says how far it has come; the sealed record is made when it is over.`);
      show(record, is_over);
      show(check, is_over);
    },
    update_seal(sealed) {
      show(seal, Boolean(sealed));
      set_text(code, sealed?.code ?? "");
      set_text(key, sealed?.key_fingerprint ?? "");
    },
  };
}

export function run_view(argument) {
  const id = Number(argument);
  const title = el("h1");
  const meta = el("p.meta");
  const verdict = el("p.verdict");
  const card = el("a", { hidden: true }, "Its card: what it is, and what was done to it");
  const bench = el("a", {}, "Its place on the bench, live");
  const absent = el("p.sentence", { role: "status" }, "Reading the run");
  const pages = take_away(id);
  const beside = compare_part();
  const links = run_list("");
  const others = el("section", { "aria-labelledby": "others-head" }, el("h2", { id: "others-head" }, "Other runs of this unit"), links.node);
  const body = el("div.record", { hidden: true }, el("div.unit-head", {}, el("div", {}, title, meta)), verdict, el("p.places", {}, card, bench), pages.node, beside.node, others);
  const controller = new AbortController();
  const now = { run: null };

  function take(runs) {
    const run = runs.find((one) => one.id === id);
    show(absent, !run);
    show(body, Boolean(run));
    if (!run) return set_text(absent, "No run has this number.");
    now.run = run;
    set_text(title, `${run.title}, run ${run.id}`);
    set_text(meta, [run.serial, run.plan, span_of(run)].filter(Boolean).join(" \u00b7 "));
    verdict.dataset.word = run.verdict || "none";
    set_text(verdict, outcome(run));
    bench.href = `#/unit/${encodeURIComponent(run.unit)}`;
    pages.update(run);
    const rest = runs.filter((one) => one.id !== id && one.unit === run.unit && one.serial === run.serial);
    links.update(rest);
    beside.update(run, [...rest, ...runs.filter((one) => one.title === run.title && one.serial !== run.serial)]);
    show(others, rest.length > 0);
    if (live.bench) show_bench(live.bench);
  }

  async function load_card(run) {
    const found = await find_card({ name: run.unit, serial: run.serial, title: run.title }, controller.signal);
    show(card, Boolean(found));
    if (found) card.href = card_href(found.name);
  }

  function show_bench(view) {
    show(bench, Boolean(now.run) && view.units.some((unit) => unit.run?.id === now.run.id));
  }

  async function load() {
    try {
      take((await get("/api/v1/runs", controller.signal)).runs);
      if (now.run && now.run.state !== "running") get(`/api/v1/runs/${id}/seal`, controller.signal).then(pages.update_seal, () => pages.update_seal(null));
      if (now.run) await load_card(now.run);
    } catch (error) {
      if (controller.signal.aborted || now.run) return;  // without its card the page is whole all the same
      set_text(absent, `The runs could not be read: ${error.message}`);
    }
  }
  load();
  return {
    node: el("div.run-view", {}, el("p.back", {}, el("a", { href: "#/units" }, "\u2190 Units")), absent, body),
    title: `Run ${argument}`,
    update: show_bench,
    leave() {
      controller.abort();
      beside.leave();
    },
  };
}
