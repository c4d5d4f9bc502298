// What is connected to the machine of the bench, by the names that stay.
import { get } from "./api.js";
import { copy_box } from "./copy_box.js";
import { el, keep_list, set_text, show } from "./dom.js";

const KINDS = { serial: "Serial port", usbtmc: "USB instrument", one_wire: "1-Wire", hwmon: "Sensor chip (hwmon)", iio: "Converter chip (iio)", gpio: "Pins (GPIO)" };

function make_device() {
  const kind = el("span.kind");
  const name = el("code.device-name");
  const is = el("span");
  const facts = el("p.meta");
  const named = el("p.device-named");
  const caution = el("p.device-caution");
  const lines = copy_box("For the configuration", 6);
  const fold = el("details.fold", {}, el("summary", {}, "Lines to copy"), lines.node);
  return {
    node: el("li.device", {}, el("p.device-head", {}, kind, " ", name), el("p", {}, is), facts, named, caution, fold),
    update(device) {
      set_text(kind, KINDS[device.kind] ?? device.kind);
      set_text(name, device.stays || device.moves);
      set_text(is, [device.title, device.serial && device.serial !== device.stays ? `serial number ${device.serial}` : ""].filter(Boolean).join(", "));
      const channels = device.channels.map((one) => (one.label ? `${one.file} (${one.label})` : one.file)).join(", ");
      const moves = device.moves && device.moves !== device.stays ? `now ${device.moves}: that number is another device\u2019s after a restart` : "";
      set_text(facts, [moves, channels && `reads ${channels}`].filter(Boolean).join(" \u00b7 "));
      show(facts, facts.textContent !== "");
      set_text(named, device.named_at ? `In use: named at ${device.named_at}` : "");
      show(named, Boolean(device.named_at));
      set_text(caution, device.caution ? `Caution: ${device.caution}` : "");
      show(caution, Boolean(device.caution));
      lines.update(device.line);
      show(fold, device.line !== "" && !device.named_at);
    },
  };
}

/** `heard(devices)` is called with each fresh list. */
export function devices_part(heard) {
  const list = el("ul.device-list");
  const warnings = el("ul.warnings");
  const said = el("p.meta", { role: "status" }, "Looking at this machine\u2019s ports");
  const controller = new AbortController();
  async function look() {
    try {
      const found = await get("/api/v1/wiring/devices", controller.signal);
      keep_list(list, found.devices, (device) => `${device.kind} ${device.moves} ${device.stays}`, make_device);
      keep_list(warnings, found.warnings, (text) => text, (text) => ({ node: el("li", {}, el("strong", {}, "Warning: "), text), update() {} }));
      set_text(said, found.devices.length ? `${found.devices.length} found on the machine of the bench. Nothing was opened.` : "No serial port, USB instrument, 1-Wire device, sensor chip or GPIO chip is here. Meters by network are found below.");
      heard?.(found.devices);
    } catch (error) {
      if (!controller.signal.aborted) set_text(said, `The list could not be read: ${error.message}`);
    }
  }
  look();
  return {
    node: el("section.panel", { "aria-labelledby": "devices-head" }, el("h2", { id: "devices-head" }, "What is connected"), said, warnings, list,
      el("div.buttons.left", {}, el("button.plain.small-button", { type: "button", onclick: look }, "Look again"))),
    leave: () => controller.abort(),
  };
}
