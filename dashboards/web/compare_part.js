// Two runs side by side: what differs beyond its uncertainty, in words first, then as a table, then one point over the other.
import { get } from "./api.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { HEIGHT, plot, shape, WIDTH } from "./plot.js";
import { day, outcome } from "./runs.js";
import { decimals_of, duration, figure, signed, with_uom } from "./words.js";

const STANDINGS = { inside: "within its uncertainty", beyond: "\u2260 beyond its uncertainty", beyond_wander: "\u2260 more than it wandered; how good the meters are is not stated" };
const AXES = { by_switch_on: "by hours since it was switched on", by_counted: "by counted hours" };

const numbered = (texts) => texts.map((text, index) => ({ text, index }));
const row_of = () => {
  const node = el("li");
  return { node, update: (item) => set_text(node, item.text) };
};
const uom_words = (uom) => ({ Cel: "\u00b0C" })[uom] ?? uom;

function make_difference() {
  const name = el("th", { scope: "row" });
  const cells = ["Earlier", "Later", "Difference", ""].map((label) => el("td", { "data-label": label }));
  const [earlier, later, difference, standing] = cells;
  const [words, conditions] = [el("span"), el("span.meta")];
  standing.append(words, conditions);
  return {
    node: el("tr", {}, name, ...cells),
    update(point) {
      this.node.dataset.standing = point.standing;
      const decimals = decimals_of(point.expanded_uncertainty);
      const uom = uom_words(point.uom);
      const number = (value) => `${value.toFixed(decimals).replace("-", "\u2212")}\u202f${uom}`;
      set_text(name, point.words);
      set_text(earlier, number(point.earlier.value));
      set_text(later, number(point.later.value));
      set_text(difference, `${signed(point.difference, decimals)} \u00b1 ${point.expanded_uncertainty.toFixed(decimals)}\u202f${uom}`);
      set_text(words, STANDINGS[point.standing] ?? point.standing);
      set_text(conditions, point.conditions);
    },
  };
}

/** A line with its gaps: where nothing was read it ends. */
function path_of({ hours, values }, x, y) {
  let is_down = false;
  return hours.map((at, i) => {
    if (values[i] === null) {
      is_down = false;
      return "";
    }
    const step = `${is_down ? "L" : "M"}${x(at).toFixed(2)} ${y(values[i]).toFixed(2)}`;
    is_down = true;
    return step;
  }).join("");
}

function overlay_part() {
  const points = el("select", { onchange: () => draw() });
  const axes = el("select", { onchange: () => draw() }, ...Object.entries(AXES).map(([key, text]) => el("option", { value: key }, text)));
  const picture = plot();
  const [earlier, later] = ["earlier", "later"].map((name) => shape("path", { class: name }));
  picture.svg.append(earlier, later);
  const legend = el("p.meta");
  let now = null;
  const node = el("div.overlay", {}, el("div.beside-choice", {}, el("label", {}, "One over the other", points), el("label", {}, "Drawn", axes)), picture.node, legend);

  function draw() {
    const overlay = now.overlays[Number(points.value)] ?? now.overlays[0];
    const lines = overlay[axes.value];
    const values = [...lines.earlier.values, ...lines.later.values].filter((value) => value !== null);
    const end = Math.max(...lines.earlier.hours, ...lines.later.hours, 0.1);
    const [low, high] = values.length ? [Math.min(...values), Math.max(...values)] : [0, 1];
    const margin = (high - low || Math.abs(high) || 1) * 0.05;
    const [bottom, top] = [low - margin, high + margin];
    const x = (hours) => (WIDTH * hours) / end;
    const y = (value) => (HEIGHT * (top - value)) / (top - bottom);
    earlier.setAttribute("d", path_of(lines.earlier, x, y));
    later.setAttribute("d", path_of(lines.later, x, y));
    const uom = uom_words(overlay.uom);
    const words = `${overlay.words} of both runs, ${AXES[axes.value]}; from ${with_uom(low, uom)} to ${with_uom(high, uom)}`;
    picture.update({ end, top: with_uom(top, uom), bottom: figure(bottom), words });
    set_text(legend, values.length ? `Dashed: run ${now.earlier.run}. Full: run ${now.later.run}. Brought to equal mains; temperatures as their rise over the room. Where nothing was read the line ends.` : "Nothing was read of it in either run.");
  }
  return {
    node,
    update(comparison) {
      now = comparison;
      show(node, comparison.overlays.length > 0);
      if (!comparison.overlays.length) return;
      points.replaceChildren(...comparison.overlays.map((overlay, index) => el("option", { value: index }, overlay.words)));
      const beyond = comparison.points.find((point) => point.standing === "beyond") ?? comparison.points[0];
      points.value = String(Math.max(0, comparison.overlays.findIndex((overlay) => overlay.point === beyond?.point)));
      draw();
    },
  };
}

const run_words = (label) => `run ${label.run} of ${day(label.started_utc)}, ${duration(3600 * label.counted_hours)} counted${typeof label.mains_volts === "number" ? `, mains ${label.mains_volts.toFixed(1)}\u202fV` : ""}`;

export function compare_part() {
  const select = el("select", { name: "with" });
  const start = el("button.plain", { type: "button", onclick: () => load() }, "Set side by side");
  const said = el("p.meta", { role: "status" });
  const both = el("p");
  const sentences = el("ul.reasons");
  const remarks = el("ul.reasons.remarks");
  const body = el("tbody");
  const table = el("table.differences", {}, el("thead", {}, el("tr", {}, ...["Point", "Earlier", "Later", "Difference", "Stands"].map((text) => el("th", { scope: "col" }, text)))), body);
  const alone = el("p.meta");
  const overlay = overlay_part();
  const result = el("div.beside", { hidden: true }, both, sentences, remarks, table, alone, overlay.node);
  const node = el("section.panel.beside", { "aria-labelledby": "beside-head" }, el("h2", { id: "beside-head" }, "Beside another run"), el("div.beside-choice", {}, el("label", {}, "With which", select), start), said, result);
  const controller = new AbortController();
  let id = null;

  function take(comparison) {
    set_text(both, `Earlier: ${run_words(comparison.earlier)}. Later: ${run_words(comparison.later)}.`);
    keep_list(sentences, numbered(comparison.sentences), (item) => item.index, row_of);
    keep_list(remarks, numbered(comparison.remarks), (item) => item.index, row_of);
    const rank = { beyond: 0, beyond_wander: 1, inside: 2 };
    keep_list(body, [...comparison.points].sort((a, b) => (rank[a.standing] ?? 3) - (rank[b.standing] ?? 3)), (point) => point.point, make_difference);
    show(table, comparison.points.length > 0);
    set_text(alone, [["Only in the earlier run", comparison.only_earlier], ["Only in the later run", comparison.only_later]].filter(([, names]) => names.length).map(([what, names]) => `${what}: ${names.join(", ")}.`).join(" "));
    show(result, true);
    overlay.update(comparison);
  }

  async function load() {
    start.disabled = true;
    set_text(said, "Both runs are read again; a long one takes some seconds.");
    try {
      take(await get(`/api/v1/runs/${id}/compare?with=${select.value}`, controller.signal));
      set_text(said, "");
    } catch (error) {
      if (!controller.signal.aborted) set_text(said, `They could not be compared: ${error.message}`);
    } finally {
      start.disabled = false;
    }
  }
  return {
    node,
    /** others: the runs that it may stand beside, the likeliest first. */
    update(run, others) {
      id = run.id;
      show(node, others.length > 0);
      select.replaceChildren(...others.map((one) => el("option", { value: one.id }, `Run ${one.id}, ${one.serial || one.title}, ${day(one.started_utc)}: ${outcome(one)}`)));
    },
    leave: () => controller.abort(),
  };
}
