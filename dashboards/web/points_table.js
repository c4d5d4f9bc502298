// Every point of a unit as a row; on a narrow screen as a block.
import { el, keep_list, set_attribute, set_text } from "./dom.js";
import { decimals_of, difference_uom, duration, quality_words, set_figure, set_with_uom, signed, spoken, with_uom } from "./words.js";

const COLUMNS = ["Point", "Now", "Baseline", "Change", "Slope per hour", "Warning limits", "Trip limits", "Settled"];

const range_words = (low, high, uom) => {
  if (low === null && high === null) return "none";
  if (low === null) return `above ${set_with_uom(high, uom)}`;
  if (high === null) return `below ${set_with_uom(low, uom)}`;
  return `${set_figure(low)} to ${set_with_uom(high, uom)}`;
};

function slope_words(point) {
  if (point.slope_per_hour === null) return { main: "\u2013", rest: "" };
  const has_interval = point.slope_low !== null && point.slope_high !== null;
  const decimals = decimals_of(has_interval ? (point.slope_high - point.slope_low) / 2 : Math.abs(point.slope_per_hour));
  const rest = has_interval ? `${signed(point.slope_low, decimals)} to ${signed(point.slope_high, decimals)}` : "";
  return { main: `${signed(point.slope_per_hour, decimals)}${point.shown_uom ? `\u202f${difference_uom(point.shown_uom)}` : ""}`, rest };
}

/** How the value stands to its limits, said beside it in words. What is off is expected to read nothing. */
function standing(point, is_off) {
  if (point.value === null) return "none";
  if (is_off) return "ok";
  const is_past = (low, high) => (low !== null && point.value < low) || (high !== null && point.value > high);
  if (is_past(point.trip_low, point.trip_high)) return "trip";
  return is_past(point.warn_low, point.warn_high) ? "warn" : "ok";
}

function make_row({ point: first }) {
  const name = el("span.point-name", {}, spoken(first));
  const value = el("strong.value");
  const remark = el("span.remark");
  const cells = COLUMNS.slice(1).map((label) => el("td", { role: "cell", "data-label": label }));
  const [now, baseline, change, slope, warn, trip, settled] = cells;
  const slope_main = el("span");
  const slope_rest = el("span.meta");
  now.append(value, remark);
  slope.append(slope_main, slope_rest);
  const node = el("tr", { role: "row" }, el("th", { scope: "row", role: "rowheader" }, name, el("code.meta", {}, first.name)), ...cells);
  return {
    node,
    update({ point, is_off }) {
      const stands = standing(point, is_off);
      node.dataset.standing = stands;
      set_text(value, point.value === null ? quality_words(point.quality) : with_uom(point.value, point.shown_uom));
      set_text(remark, remark_words(point, stands));
      set_text(baseline, point.baseline === null ? "\u2013" : with_uom(point.baseline, point.shown_uom));
      set_text(change, point.change_from_baseline_percent === null ? "\u2013" : `${signed(point.change_from_baseline_percent, 1)}\u202f%`);
      const words = slope_words(point);
      set_text(slope_main, words.main);
      set_text(slope_rest, words.rest);
      set_text(warn, range_words(point.warn_low, point.warn_high, point.shown_uom));
      set_text(trip, range_words(point.trip_low, point.trip_high, point.shown_uom));
      set_text(settled, point.settling || "\u2013");
      for (const cell of cells) set_attribute(cell, "data-empty", ["\u2013", "none"].includes(cell.textContent) ? "" : null);
    },
  };
}

function remark_words(point, stands) {
  if (point.value === null) return point.age_s === null ? "never read" : `last reading ${duration(point.age_s)} old`;
  return { trip: "beyond its trip limit", warn: "beyond its warning limit", ok: "", none: "" }[stands];
}

export function points_table() {
  const body = el("tbody", { role: "rowgroup" });
  const head = el("thead", { role: "rowgroup" }, el("tr", { role: "row" }, ...COLUMNS.map((text) => el("th", { scope: "col", role: "columnheader" }, text))));
  return {
    node: el("table.points", { role: "table" }, head, body),
    update(unit) {
      const is_off = unit.outlet.state === "off" && unit.outlet.proof !== "failed";
      keep_list(body, unit.points.map((point) => ({ point, is_off })), (item) => item.point.name, make_row);
    },
  };
}
