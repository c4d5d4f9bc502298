// Finding a meter: where to ask, who answers there, and then which of its registers is which.
import { get, post } from "./api.js";
import { copy_box } from "./copy_box.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { keep_name, kept_name, name_input, name_problem, select_field, text_field } from "./forms.js";
import { registers_part } from "./registers_part.js";
import { exception_words } from "./wiring_words.js";

const ASK_EVERY_MS = 700;
const TABLES = [["holding", "Holding (function 3)"], ["input", "Input (function 4)"], ["coil", "Coils (function 1)"], ["discrete", "Discrete inputs (function 2)"]];
const BAUDS = [9600, 19200, 38400, 57600, 115200, 4800, 2400, 1200].map((baud) => [String(baud), String(baud)]);

const whole = (field) => (/^\d+$/.test(field.value().trim()) ? Number(field.value()) : Number.NaN);

export function search_part() {
  const kind = select_field("It speaks", [["modbus", "Modbus"], ["instrument", "SCPI (a bench multimeter)"]], "modbus", { name: "protocol" });
  const way = select_field("It is reached", [["host", "by network"], ["device", "by a port of the bench\u2019s machine"]], "host", { name: "way" });
  const host = text_field("Address (IPv4, this network only)", { name: "host", autocomplete: "off", placeholder: "192.168.40.21" });
  const port = text_field("TCP port", { name: "port", inputmode: "numeric", autocomplete: "off" });
  port.input.value = "502";
  const known = el("datalist", { id: "known-ports" });
  const device = text_field("Port, by a name that stays", { name: "device", list: "known-ports", autocomplete: "off", placeholder: "/dev/serial/by-id/..." });
  const baud = select_field("Baud", BAUDS, "9600", { name: "baud" });
  const parity = select_field("Parity", [["none", "none"], ["even", "even"], ["odd", "odd"]], "none", { name: "parity" });
  const first = text_field("From Modbus address", { name: "first", inputmode: "numeric" });
  const last = text_field("To", { name: "last", inputmode: "numeric" });
  first.input.value = "1";
  last.input.value = "16";
  const address = text_field("Modbus address", { name: "address", inputmode: "numeric" });
  address.input.value = "1";
  const table = select_field("Table", TABLES, "holding", { name: "table" });
  const from = text_field("From register (zero-based)", { name: "from", inputmode: "numeric" });
  from.input.value = "0";
  const count = text_field("How many", { name: "count", inputmode: "numeric" });
  count.input.value = "16";
  const who = name_input();
  who.value = kept_name();

  const problem = el("p.problem", { role: "alert", hidden: true });
  const told = el("p.progress-words", { role: "status" });
  const bar = el("div.fill");
  const progress = el("div.bar", { role: "progressbar", "aria-label": "Addresses asked", "aria-valuemin": 0 }, bar);
  const found = el("ul.found-addresses");
  const notes = el("p.meta");
  const instrument = el("div", { hidden: true });
  const instrument_lines = copy_box("For the configuration");
  const instrument_said = el("p");
  instrument.append(instrument_said, instrument_lines.node);
  const registers = registers_part(() => ask_soon());
  const look = el("button.small-button", { type: "button", onclick: () => begin(kind.value() === "instrument" ? "instrument" : "addresses") }, "Ask who answers");
  const watch = el("button.small-button", { type: "button", onclick: () => begin("registers") }, "Look at its registers");
  const halt = el("button.plain.small-button", { type: "button", onclick: stop }, "Stop looking");
  const network = el("div.fields", {}, host.node, port.node);
  const serial = el("div.fields", {}, device.node, known, baud.node, parity.node);
  const addresses = el("fieldset", {}, el("legend", {}, "Who answers?"), el("div.fields", {}, first.node, last.node), el("div.buttons.left", {}, look));
  const window_of = el("fieldset", {}, el("legend", {}, "What do its registers hold?"), el("div.fields", {}, address.node, table.node, from.node, count.node), el("div.buttons.left", {}, watch));
  let timer = null;
  let is_left = false;
  let is_asking = false;
  let last_state = { state: "none" };

  function complain(message) {
    set_text(problem, message);
    show(problem, message !== "");
  }

  function show_fields() {
    const is_host = way.value() === "host";
    const is_modbus = kind.value() === "modbus";
    show(network, is_host);
    show(serial, !is_host);
    show(parity.node, is_modbus);
    show(baud.node, is_modbus);
    show(window_of, is_modbus);
    show(first.node, is_modbus);
    show(last.node, is_modbus);
  }
  for (const select of [kind.select, way.select]) select.addEventListener("change", show_fields);
  kind.select.addEventListener("change", () => {
    port.input.value = kind.value() === "modbus" ? "502" : "5025";
  });

  function place() {
    if (way.value() === "host") return { host: host.value(), port: whole(port) };
    return kind.value() === "modbus" ? { device: device.value(), baud: Number(baud.value()), parity: parity.value() } : { device: device.value() };
  }

  async function begin(what, more = {}) {
    const name = who.value.trim();
    if (name_problem(name)) {
      who.focus();
      return complain(name_problem(name));
    }
    const asked = { addresses: () => ({ first: whole(first), last: whole(last) }), registers: () => ({ address: whole(address), table: table.value(), from: whole(from), count: whole(count) }), instrument: () => ({}) }[what]();
    const sent = { who: name, kind: what, ...place(), ...asked, ...more };
    if (Object.values(sent).some((value) => Number.isNaN(value))) return complain("A figure is missing, or is no whole number.");
    complain("");
    try {
      if (last_state.state === "running") await stop();
      take(await post("/api/v1/wiring/look", sent));
      keep_name(name);
    } catch (error) {
      complain(`Not begun: ${error.message}`);
    }
  }

  async function stop() {
    try {
      await post("/api/v1/wiring/stop", { who: who.value.trim() || "somebody" });
      for (let i = 0; i < 20 && last_state.state === "running"; i += 1) {
        await new Promise((done) => setTimeout(done, 150));
        await ask();
      }
    } catch (error) {
      complain(`Not stopped: ${error.message}`);
    }
  }

  function make_found() {
    const words = el("span");
    let now = null;
    const button = el("button.plain.small-button", { type: "button", onclick: () => {
      address.input.value = String(now.address);
      begin("registers");
    } }, "Look at its registers");
    return {
      node: el("li.match", {}, words, " ", button),
      update(one) {
        now = one;
        set_text(words, `Address ${one.address} answers${one.names_itself ? `: ${one.names_itself}` : ""}${one.exception ? ` (it ${exception_words(one.exception)}, which is an answer too)` : ""}`);
        button.setAttribute("aria-label", `Look at the registers of address ${one.address}`);
      },
    };
  }

  function take(now) {
    last_state = now;
    const is_running = now.state === "running";
    halt.disabled = !is_running;
    show(progress, now.kind === "addresses" && is_running);
    show(found, now.kind === "addresses");
    show(instrument, now.kind === "instrument" && Boolean(now.identity));
    set_text(notes, "");
    if (now.kind === "addresses") {
      const { done, total } = now.progress;
      bar.style.width = total ? `${(100 * done) / total}%` : "0%";
      progress.setAttribute("aria-valuemax", total);
      progress.setAttribute("aria-valuenow", done);
      set_text(told, is_running ? `${now.where}: ${done} of ${total} addresses asked, ${now.progress.found} answered` : now.state === "failed" ? `${now.where}: ${now.trouble}` : `${now.where}: ${now.found.length ? `${now.found.length} answered` : "none of them answers. Address, wiring, baud rate, parity?"}${now.state === "stopped" ? " until it was stopped" : ""}`);
      keep_list(found, now.is_address_ignored ? now.found.slice(0, 1) : now.found, (one) => one.address, make_found);
      set_text(notes, [now.is_address_ignored ? "It answers to every address: it is one device." : "", now.noisy.length ? `Noise from ${now.noisy.join(", ")}: two devices on one address, or a wrong baud rate or parity.` : ""].filter(Boolean).join(" "));
    } else if (now.kind === "registers") {
      set_text(told, now.rows.length || is_running ? `${now.where}, address ${now.address}: ${now.table} registers from ${now.from}${now.rows.length ? "" : ", not read yet"}` : `${now.where}: ${now.trouble || "no answer"}`);
    } else if (now.kind === "instrument") {
      set_text(told, is_running ? `${now.where}: ${now.trying || "asking"}` : now.identity ? `${now.where}: it answers` : `${now.where}: ${now.trouble || "no answer"}`);
      set_text(instrument_said, now.identity ? `It calls itself \u201c${now.identity}\u201d${now.first_answer ? `, and reads ${now.first_answer}` : ""}.` : "");
      instrument_lines.update(now.lines ?? "");
    } else set_text(told, "");
    registers.update(now);
    clearTimeout(timer);
    if (is_running && !is_left) timer = setTimeout(ask, ASK_EVERY_MS);
  }

  async function ask() {
    if (is_asking || is_left) return;
    is_asking = true;
    try {
      take(await get(`/api/v1/wiring/search?${registers.query()}`));
    } catch (error) {
      set_text(told, `The search cannot be followed: ${error.message}`);
      if (!is_left) timer = setTimeout(ask, 3 * ASK_EVERY_MS);
    } finally {
      is_asking = false;
    }
  }
  function ask_soon() {
    clearTimeout(timer);
    timer = setTimeout(ask, 150);
  }
  show_fields();
  ask();
  return {
    node: el("section.panel.search", { "aria-labelledby": "search-head" }, el("h2", { id: "search-head" }, "Find a meter"),
      el("p.meta", {}, "It only reads. A port or an address that a bus of this daemon is polling is left alone."),
      el("div.fields", {}, kind.node, way.node, el("label", {}, "Your name", who)), network, serial, el("div.two", {}, addresses, window_of), problem,
      el("div.buttons.left", {}, halt), told, progress, found, notes, instrument, registers.node),
    know(devices) {
      known.replaceChildren(...devices.filter((one) => ["serial", "usbtmc"].includes(one.kind)).map((one) => el("option", { value: one.stays || one.moves }, one.title)));
    },
    leave() {
      is_left = true;
      clearTimeout(timer);
    },
  };
}
