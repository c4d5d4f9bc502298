// A window of registers, read again and again: every way to take it for a number, and which of them is what one's own meter shows.
import { copy_box } from "./copy_box.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { select_field, text_field } from "./forms.js";
import { bus_text, instrument_text, plain_number, QUANTITIES, type_words, way_words } from "./wiring_words.js";

const FILE = "found-module";
const COLUMNS = ["Register", "As it came", "One register", "Two registers: whole", "Two registers: float", "Reads as"];
const is_one = (way) => ["int16", "uint16", "bit"].includes(way.type);

function ways_text(ways) {
  return ways.map((way) => `${plain_number(way.value)} ${type_words(way)}`).join("\n");
}

function make_row() {
  const address = el("span.register-number");
  const manual = el("span.meta");
  const cells = COLUMNS.slice(1).map((label) => el("td", { "data-label": label }));
  const node = el("tr", {}, el("th", { scope: "row" }, address, " ", manual), ...cells);
  return {
    node,
    update({ row, here }) {
      set_text(address, String(row.address));
      set_text(manual, `manual: ${row.manual}${row.is_edge ? ", beside the window" : ""}`);
      set_text(cells[0], row.word === null ? "refused" : `${row.word}  0x${row.word.toString(16).padStart(4, "0")}`);
      set_text(cells[1], ways_text(row.ways.filter(is_one)));
      set_text(cells[2], ways_text(row.ways.filter((way) => !is_one(way) && !way.type.startsWith("float"))));
      set_text(cells[3], ways_text(row.ways.filter((way) => way.type.startsWith("float"))));
      const guess = row.guesses[0];
      set_text(cells[4], here ? `here: ${way_words(here.way)}` : guess ? `perhaps ${guess.likeness}: ${way_words(guess.way)}` : "");
      node.dataset.here = here ? "yes" : "no";
      for (const cell of cells) set_attribute(cell, "data-empty", cell.textContent === "" ? "" : null);
    },
  };
}

/** `changed()` when somebody typed what changes the question. */
export function registers_part(changed) {
  const expect = text_field("What your own meter or the module\u2019s display shows now", { name: "expect", inputmode: "decimal", autocomplete: "off", placeholder: "6.31" });
  const name = text_field("Name of the channel", { name: "channel", pattern: "[a-z0-9_]+", required: true, title: "a-z, 0-9 and _ only", autocomplete: "off" });
  name.input.value = "ch1";
  const quantity = select_field("Quantity", QUANTITIES.map(([word, text]) => [word, text]), "voltage", { name: "quantity" });
  const uom = select_field("Unit of measure", [], "", { name: "uom" });
  const uoms = () => QUANTITIES.find(([word]) => word === quantity.value())[2];
  function fill_uoms() {
    uom.select.replaceChildren(...uoms().map((symbol) => el("option", { value: symbol }, symbol)));
  }
  fill_uoms();
  quantity.select.addEventListener("change", () => {
    fill_uoms();
    changed();
  });
  for (const input of [expect.input, name.input, uom.select]) input.addEventListener("input", changed);

  const told = el("p.sentence.here", { role: "status" });
  const matches = el("ul.matches");
  const body = el("tbody");
  const table = el("table.registers", {}, el("thead", {}, el("tr", {}, ...COLUMNS.map((text) => el("th", { scope: "col" }, text)))), body);
  const age = el("p.meta");
  const taken = [];
  const file = copy_box(`Save as instruments/${FILE}.toml`);
  const bus = copy_box("Save as bus.toml (or add it to the configuration of a bench that there is)");
  const steps = copy_box("Then, for a new bench, in that folder", 4);
  const begun_anew = el("p.problem", { role: "status" });
  const result = el("div.taken", { hidden: true }, el("h3", {}, "To take away"), el("p.meta"), begun_anew, file.node, bus.node, steps.node);
  let search = null;
  let taken_of = null;  // the search in which they were found: one file is for one module
  const module_of = (one) => JSON.stringify([one.place_lines, one.address]);

  function take(match) {
    if (!name.input.reportValidity()) return;
    const is_other = taken.length > 0 && module_of(taken_of) !== module_of(search);
    if (is_other) taken.length = 0;
    set_text(begun_anew, is_other ? "Begun anew: the channels before were of another module, and need a file of their own." : "");
    taken_of = search;
    taken.push(match.lines);
    const number = /^(.*?)(\d+)$/.exec(name.value());
    name.input.value = number ? `${number[1]}${Number(number[2]) + 1}` : `${name.value()}_2`;
    expect.input.value = "";
    show_taken();
    for (const one of matches.querySelectorAll("button")) one.disabled = true;
    changed();
    expect.input.focus();
  }
  function undo() {
    taken.pop();
    show_taken();
  }
  const undo_button = el("button.plain.small-button", { type: "button", onclick: undo }, "Leave out the last channel");
  result.append(el("div.buttons.left", {}, undo_button));

  function show_taken() {
    show(result, taken.length > 0);
    if (!taken.length) return;
    set_text(result.querySelector("p"), `${taken.length} ${taken.length === 1 ? "channel" : "channels"}. Nothing was changed on the bench: a configuration is for a person to write.`);
    file.update(instrument_text("module whose registers were found", taken));
    bus.update(bus_text(taken_of, FILE));
    steps.update(`steadyglow new-bench bench --bus bus.toml --instrument instruments/${FILE}.toml\nsteadyglow check bench/steadyglow.toml\n`);
  }

  function make_match() {
    const words = el("span");
    const off = el("span.meta");
    let now = null;
    const button = el("button.plain.small-button", { type: "button", onclick: () => take(now) }, "Take it as a channel");
    return {
      node: el("li.match", {}, words, " ", off, " ", button),
      update(match) {
        now = match;
        button.disabled = !match.lines.includes(`name = "${name.value()}"`);  // an answer to what was asked before the name changed
        set_text(words, `Register ${match.way.address} (manual: ${match.manual}): ${way_words(match.way)}`);
        set_text(off, [`${match.off_percent.toFixed(2)} % off`, match.outside ? `one register ${match.outside < 0 ? "below" : "above"} the window: does the manual count from another number?` : ""].filter(Boolean).join("; "));
        button.setAttribute("aria-label", `Take register ${match.way.address}, ${way_words(match.way)}, as channel ${name.value()}`);
      },
    };
  }

  const fields = el("div.fields", {}, expect.node, name.node, quantity.node, uom.node);
  const node = el("div.window", { hidden: true }, el("h3", {}, "Which register is it?"), fields, told, matches, result, age, table);
  return {
    node,
    query: () => new URLSearchParams({ expect: expect.value().replace(",", ".").replace("\u2212", "-"), name: name.value(), quantity: quantity.value(), uom: uom.value() }).toString(),
    update(now) {
      const is_window = now.kind === "registers";
      show(node, is_window);
      if (!is_window) return;
      search = now;
      const rows = now.rows ?? [];
      const is_old = Boolean(now.trouble);
      keep_list(body, rows.map((row) => ({ row, here: is_old ? undefined : now.matches.find((match) => match.way.address === row.address) })), (item) => item.row.address, make_row);
      keep_list(matches, is_old ? [] : now.matches.slice(0, 6), (match) => JSON.stringify([match.way.address, match.way.type, match.way.order, match.way.scale]), make_match);
      set_text(age, is_old ? "What stands below is old." : now.state === "running" ? `Read ${now.rounds} times, once a second.` : "The window stands still: look again.");
      const best = now.matches[0];
      const is_asked = expect.value() !== "";
      set_text(told, is_old && rows.length ? `Not read again: ${now.trouble}` : !rows.length ? "" : best ? `There: ${way_words(best.way)} at register ${best.way.address}${now.matches.length > 1 ? `, and ${now.matches.length - 1} more ${now.matches.length === 2 ? "way" : "ways"}. Change what is measured and see which of them follows` : ""}.`
        : is_asked ? "None of these registers gives that number. Another table, or another window?" : "Type what your own meter shows: the register that says the same is marked.");
    },
  };
}
