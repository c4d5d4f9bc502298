// "While you slept": half a page per bench, read in a minute on a telephone, each item to tick.
import { get, post } from "./api.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { keep_name, kept_name, name_input, name_problem } from "./forms.js";
import { live } from "./live.js";
import { duration, local_time, priority_words, spoken } from "./words.js";

const UNFOLDED_MAX = 3;
const AGAIN_MS = 20000;

function lines(heading) {
  const list = el("ul");
  const summary = el("summary");
  const node = el("details.lines", { hidden: true }, summary, list);
  let is_new = true;
  return {
    node,
    update(texts) {
      show(node, texts.length > 0);
      set_text(summary, texts.length > UNFOLDED_MAX ? `${heading} (${texts.length})` : heading);
      if (is_new && texts.length) {
        is_new = false;
        node.open = texts.length <= UNFOLDED_MAX;
      }
      keep_list(list, texts.map((text, index) => ({ text, index })), (item) => item.index, () => {
        const row = el("li");
        return { node: row, update: (item) => set_text(row, item.text) };
      });
    },
  };
}

function make_item(tick) {
  const now = { item: null };
  const box = el("input", { type: "checkbox" });
  const text = el("span.item-text");
  const meta = el("span.meta");
  const node = el("li.morning-item", {}, el("label", {}, box, el("span", {}, text, " ", meta)));
  box.addEventListener("change", () => tick(now.item, box));
  return {
    node,
    update(item) {
      now.item = item;
      box.checked = item.is_ticked;
      box.disabled = item.is_ticked;
      set_text(text, item.text);
      node.dataset.ticked = item.is_ticked ? "yes" : "no";
      set_text(meta, item.is_ticked ? `\u2713 ${item.ticked_by}` : item.priority && item.priority !== "low" ? `(${priority_words(item.priority)})` : "");
    },
  };
}

function make_unit(tick) {
  const title = el("a");
  const headline = el("p.headline");
  const counted = el("p.meta");
  const gaps = lines("Gaps");
  const did = lines("What the daemon did");
  const slopes = lines("Where its figures are going");
  const items = el("ul.morning-items");
  const node = el("article.panel.morning-unit", {}, el("h3", {}, title), headline, counted, items, gaps.node, did.node, slopes.node);
  return {
    node,
    update(unit) {
      title.href = `#/unit/${encodeURIComponent(unit.name)}`;
      set_text(title, unit.title);
      set_text(headline, unit.headline);
      set_text(counted, `${duration(unit.since_counted_s)} counted in this time; ${duration(unit.counted_s)}${typeof unit.planned_s === "number" ? ` of ${duration(unit.planned_s)}` : ""} in all`);
      gaps.update(unit.gaps);
      did.update(unit.did.map((one) => `${local_time(one.utc)} \u00b7 ${one.text}`));
      const points = live.bench?.units.find((one) => one.name === unit.name)?.points ?? [];
      slopes.update(unit.slopes.map((slope) => `${spoken(points.find((point) => point.name === slope.point) ?? { name: slope.point, uom: "" })}: ${slope.text}`));
      const open_first = [...unit.items].sort((a, b) => Number(a.is_ticked) - Number(b.is_ticked));
      keep_list(items, open_first, (item) => item.id, () => make_item(tick));
      set_attribute(node, "data-open", unit.items.some((item) => !item.is_ticked) ? "yes" : "no");
    },
  };
}

function make_bench(tick) {
  const head = el("h2");
  const units = el("div.morning-units");
  return {
    node: el("section.morning-bench", {}, head, units),
    update(group) {
      set_text(head, group.name);
      show(head, group.name !== "");
      keep_list(units, group.units, (unit) => unit.name, () => make_unit(tick));
    },
  };
}

/** Units by the bench they stand at; those with something to look at first. */
function by_bench(units) {
  const groups = new Map();
  for (const unit of units) {
    const name = live.bench?.units.find((one) => one.name === unit.name)?.bench ?? "";
    groups.set(name, [...(groups.get(name) ?? []), unit]);
  }
  const open = (unit) => unit.items.filter((item) => !item.is_ticked).length;
  return [...groups].map(([name, list]) => ({ name, units: list.sort((a, b) => Number(open(b) > 0) - Number(open(a) > 0)) }));
}

export function morning_view() {
  const sentence = el("h1.sentence", {}, "While you slept");
  const when = el("p.meta");
  const shop = lines("The benches themselves");
  const groups = el("div");
  const who = name_input();
  who.value = kept_name();
  const problem = el("p.problem", { role: "alert", hidden: true });
  const ticker = el("label.inline-name", {}, "Your name, for what you tick", who);
  const controller = new AbortController();

  function complain(message) {
    set_text(problem, message);
    show(problem, message !== "");
  }

  async function tick(item, box) {
    const name = who.value.trim();
    box.checked = false;  // until the daemon has it
    if (name_problem(name)) {
      complain(name_problem(name));
      return who.focus();
    }
    box.disabled = true;
    try {
      await post("/api/v1/morning/tick", { who: name, id: item.id });
      keep_name(name);
      complain("");
      await load();
    } catch (error) {
      box.disabled = false;
      complain(`Not ticked: ${error.message}`);
    }
  }

  async function load() {
    try {
      const sheet = await get("/api/v1/morning", controller.signal);
      const all = sheet.units.flatMap((unit) => unit.items);
      const open = all.filter((item) => !item.is_ticked).length;
      set_text(sentence, open ? `While you slept: ${open} ${open === 1 ? "thing" : "things"} to look at.` : all.length ? "While you slept: everything is ticked." : "While you slept: nothing to look at.");
      set_text(when, `${local_time(sheet.from_utc)} to ${local_time(sheet.to_utc)}`);
      shop.update(sheet.bench);
      show(ticker, open > 0);
      keep_list(groups, by_bench(sheet.units), (group) => group.name, () => make_bench(tick));
    } catch (error) {
      if (!controller.signal.aborted) set_text(sentence, `The sheet could not be read: ${error.message}`);
    }
  }
  const timer = setInterval(() => !document.hidden && load(), AGAIN_MS);
  let is_loaded = false;
  return {
    node: el("div.morning-view", {}, sentence, when, shop.node, ticker, problem, groups),
    update() {
      if (!is_loaded) load();
      is_loaded = true;
    },
    leave() {
      controller.abort();
      clearInterval(timer);
    },
  };
}
