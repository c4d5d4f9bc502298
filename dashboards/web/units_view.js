// Every unit that the shop has had, found by what is written on it; every run, newest first; and what the shop has learned from them.
import { get, post } from "./api.js";
import { entry_fields, KINDS } from "./card_entries.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { ask } from "./forms.js";
import { memory_part } from "./memory_part.js";
import { card_address, card_href, run_list } from "./runs.js";

const SETTLE_MS = 250;   // after a key, before it is looked for
const RUNS_SHOWN = 12;
const STATES = { in_shop: "in the shop", sold: "sold", returned: "came back" };
const FOUND_IN = { serial: "serial number", model: "model", title: "title", tube: "tube", stock_number: "stock number", maker: "maker", kind: "kind", name: "name" };

const squeezed = (text) => text.toLowerCase().replace(/[\s-]/g, "");
/** A name for a card, of what is written on the unit. */
const name_for = (fields) => [fields.model ?? fields.title, fields.serial].filter(Boolean).join("-").toLowerCase().replace(/[^a-z0-9._-]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 64);

async function is_there(name) {
  const { cards } = await get(`/api/v1/cards?find=${encodeURIComponent(name)}`);
  return cards.some((card) => card.name === name);
}

function new_card_dialog() {
  const fields = entry_fields("unit");
  let name = "";
  ask({
    title: "A unit that is not here yet", text: KINDS.unit.text, fields: fields.nodes, action: "Make its card",
    body(who) {
      const values = fields.values();
      if (typeof values === "string") return values;
      if (!values.serial && !values.title && !values.model) return "Say what tells it from others: its serial number, or its model.";
      name = name_for(values);
      if (!name) return "Its serial number or model needs a letter or a figure of the Latin alphabet.";
      return { who, kind: "unit", fields: values };
    },
    async deliver(sent) {
      if (await is_there(name)) throw new Error(`there is a card \u201c${name}\u201d already: look for it, and correct it there`);
      return post(`${card_address(name)}/entries`, sent);
    },
    done: () => location.assign(card_href(name)),
  });
}

function make_card() {
  const link = el("a");
  const meta = el("span.meta");
  const state = el("p");
  const why = el("p.meta");
  return {
    node: el("li.found", {}, el("p", {}, link, meta), state, why),
    update(card) {
      link.href = card_href(card.name);
      set_text(link, card.title || card.name);
      set_text(meta, [[card.maker, card.model].filter(Boolean).join(" "), card.serial].filter(Boolean).join(" \u00b7 "));
      set_text(state, `${STATES[card.state] ?? card.state}, ${card.runs === 1 ? "1 run" : `${card.runs} runs`}`);
      set_text(why, (card.found_by ?? []).map((one) => `${FOUND_IN[one.field] ?? one.field.replaceAll("_", " ")}: ${one.text}`).join(" \u00b7 "));
      show(why, why.textContent !== "");
    },
  };
}

export function units_view() {
  const input = el("input", { type: "search", name: "find", autocomplete: "off", spellcheck: "false" });
  const said = el("p.meta", { role: "status" });
  const cards = el("ul.found-list");
  const runs = run_list("No run.", { has_title: true });
  const more = el("button.plain", { type: "button", onclick: () => { is_all = true; show_runs(); } });
  const memory = memory_part({ has_kinds: true });
  const controller = new AbortController();
  let all_runs = [];
  let is_all = false;
  let settle = null;
  let asked = 0;

  function show_runs() {
    const wanted = squeezed(input.value);
    const fitting = all_runs.filter((run) => squeezed(`${run.title} ${run.serial} ${run.unit}`).includes(wanted));
    const shown = is_all ? fitting : fitting.slice(0, RUNS_SHOWN);
    runs.update(shown);
    set_text(more, `Show all ${fitting.length}`);
    show(more, shown.length < fitting.length);
  }

  async function find() {
    const wanted = input.value.trim();
    const mine = (asked += 1);
    show_runs();
    try {
      const { cards: found, left_out } = await get(`/api/v1/cards${wanted ? `?find=${encodeURIComponent(wanted)}` : ""}`, controller.signal);
      if (mine !== asked) return;  // a later question is on its way
      keep_list(cards, found, (card) => card.name, make_card);
      const count = found.length + (left_out ?? 0);
      set_text(said, `${wanted ? `${count} ${count === 1 ? "unit fits" : "units fit"}` : `${count} ${count === 1 ? "unit" : "units"}, the newest first`}${left_out ? `; the first ${found.length} are shown` : ""}`);
    } catch (error) {
      if (!controller.signal.aborted && mine === asked) set_text(said, `The cards could not be read: ${error.message}`);
    }
  }

  async function load_runs() {
    try {
      all_runs = (await get("/api/v1/runs", controller.signal)).runs;
      show_runs();
    } catch (error) {
      if (!controller.signal.aborted) runs.update([], `The runs could not be read: ${error.message}`);
    }
  }
  input.addEventListener("input", () => {
    clearTimeout(settle);
    settle = setTimeout(find, SETTLE_MS);
  });
  find();
  load_runs();
  memory.ask({});
  const section = (id, heading, ...children) => el("section", { "aria-labelledby": id }, el("h2", { id }, heading), ...children);
  return {
    node: el("div.units-view", {}, el("h1.sentence", {}, "Every unit that this shop has had"),
      el("div.find-row", {}, el("label.find", {}, "Serial number, model, title, tube or stock number", input), el("button.plain", { type: "button", onclick: new_card_dialog }, "A new unit\u2026")), said, cards,
      section("runs-head", "Runs, newest first", runs.node, more), memory.node),
    leave() {
      controller.abort();
      clearTimeout(settle);
      memory.leave();
    },
  };
}
