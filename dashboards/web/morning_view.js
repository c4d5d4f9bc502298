// "While you slept": half a page, read in a minute, each item to tick.
import { get } from "./api.js";
import { ask } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { duration, local_time } from "./words.js";

function lines(heading) {
  const list = el("ul");
  const head = el("h3", {}, heading);
  const node = el("div", {}, head, list);
  return {
    node,
    update(texts) {
      show(node, texts.length > 0);
      keep_list(list, texts.map((text, index) => ({ text, index })), (item) => item.index, () => {
        const row = el("li");
        return { node: row, update: (item) => set_text(row, item.text) };
      });
    },
  };
}

function item_row(reload) {
  const now = { item: null };
  const text = el("span");
  const by = el("span.meta");
  const button = el("button.plain", { type: "button", onclick: () => ask({ title: "Dealt with?", text: now.item.text, action: "Tick", address: "/api/v1/morning/tick", body: (who) => ({ who, id: now.item.id }), done: reload }) }, "Tick\u2026");
  const node = el("li.morning-item", {}, el("p", {}, text, " ", by), button);
  return {
    node,
    update(item) {
      now.item = item;
      set_text(text, item.text);
      node.dataset.ticked = item.is_ticked ? "yes" : "no";
      set_text(by, item.is_ticked ? `\u2713 ${item.ticked_by}` : "");
      show(button, !item.is_ticked);
    },
  };
}

function unit_block(reload) {
  const title = el("a");
  const headline = el("p.headline");
  const counted = el("p.meta");
  const gaps = lines("Gaps");
  const did = lines("What the daemon did");
  const slopes = lines("Where figures are going");
  const items = el("ul.morning-items");
  const node = el("section.panel.morning-unit", {}, el("h2", {}, title), headline, counted, items, gaps.node, did.node, slopes.node);
  return {
    node,
    update(unit) {
      title.href = `#/unit/${encodeURIComponent(unit.name)}`;
      set_text(title, unit.title);
      set_text(headline, unit.headline);
      set_text(counted, `${duration(unit.since_counted_s)} counted since then`);
      gaps.update(unit.gaps);
      did.update(unit.did.map((one) => `${local_time(one.utc)} ${one.text}`));
      slopes.update(unit.slopes.map((slope) => `${slope.point}: ${slope.text}`));
      keep_list(items, unit.items, (item) => item.id, () => item_row(reload));
    },
  };
}

export function morning_view() {
  const sentence = el("h1.sentence", {}, "While you slept");
  const when = el("p.meta");
  const bench = lines("The bench");
  const units = el("div.morning-units");
  async function load() {
    try {
      const sheet = await get("/api/v1/morning");
      const open = sheet.units.flatMap((unit) => unit.items).filter((item) => !item.is_ticked).length;
      set_text(sentence, open ? `While you slept: ${open} ${open === 1 ? "thing" : "things"} to look at.` : "While you slept: nothing to look at.");
      set_text(when, `from ${local_time(sheet.from_utc)} to ${local_time(sheet.to_utc)}`);
      bench.update(sheet.bench);
      keep_list(units, sheet.units, (unit) => unit.name, () => unit_block(load));
    } catch (error) {
      set_text(sentence, `The sheet could not be read: ${error.message}`);
    }
  }
  load();
  const timer = setInterval(load, 20000);
  return { node: el("div.morning-view", {}, sentence, when, bench.node, units), leave: () => clearInterval(timer) };
}
