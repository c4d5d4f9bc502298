// Setting up: which unit is clipped where, what is connected, and finding a meter that nobody has described yet.
import { devices_part } from "./devices_part.js";
import { el, keep_list, set_text } from "./dom.js";
import { search_part } from "./search_part.js";

function make_unit() {
  const link = el("a");
  const rest = el("span.meta");
  return {
    node: el("li", {}, link, " ", rest),
    update(unit) {
      link.href = `#/clips/${encodeURIComponent(unit.name)}`;
      set_text(link, unit.title);
      set_text(rest, [unit.serial, unit.bench, `${unit.points.length} clips`].filter(Boolean).join(" \u00b7 "));
    },
  };
}

export function wiring_view() {
  const units = el("ul.clip-units");
  const search = search_part();
  const devices = devices_part((found) => search.know(found));
  return {
    node: el("div.wiring-view", {}, el("h1.sentence", {}, "Wiring"),
      el("p.dialog-caution", {}, "Clips go on with the unit off, unplugged, cold and discharged. B+ kills after it was switched off, too."),
      el("section.panel", { "aria-labelledby": "clip-units-head" }, el("h2", { id: "clip-units-head" }, "Clips of a unit: the list, and touching them one by one"), units),
      search.node, devices.node),
    update(bench) {
      keep_list(units, bench.units, (unit) => unit.name, make_unit);
    },
    leave() {
      search.leave();
      devices.leave();
    },
  };
}
