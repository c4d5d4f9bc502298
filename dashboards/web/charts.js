// The charts of one unit: one time window for all of them, a band from the lowest to the highest reading of a bucket with its
// mean in it, limits, stages and findings. Where nothing good was read the line ends: a gap is hatched and never bridged.
import { get, unit_address } from "./api.js";
import { paint_surroundings } from "./chart_paint.js";
import { watch_gestures } from "./chart_gestures.js";
import { el, set_attribute, set_text } from "./dom.js";
import { STROKES, limits_of, rows_of, usual_spacing, value_range } from "./series.js";
import { chart_groups, figure, run_clock, run_clock_fine, set_figure, spoken, wall_clock, with_uom } from "./words.js";

const POINTS_PER_REQUEST = 32;  // what the daemon answers at once
const BUCKETS_MAX = 600;
const BUCKETS_MIN = 40;
const WINDOW_MIN_S = 60;
const RELOAD_MIN_MS = 4000;
const SETTLE_MS = 220;          // after a gesture, before finer figures are asked for
const TABLE_ROWS_MAX = 48;

/** Dygraphs' own legend writes a style attribute, which the page's policy forbids; ours stands above the chart. */
function without_its_legend(Dygraph) {
  Dygraph.PLUGINS = Dygraph.PLUGINS.filter((plugin) => plugin.prototype.toString() !== "Legend Plugin");
}

function theme() {
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(`--${name}`).trim();
  return { series: [1, 2, 3, 4, 5, 6].map((n) => colour(`series-${n}`)), line: colour("line"), edge: colour("edge"), soft: colour("soft"), text: colour("text"),
    warn: colour("warn"), trip: colour("trip"), surface: colour("surface"), block: colour("alarm-solid"), on_block: colour("on-alarm") };
}

function ticks(from_h, to_h, pixels) {
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440].map((minutes) => minutes / 60);
  const room = Math.max(2, Math.floor(pixels / 74));
  const step = steps.find((s) => (to_h - from_h) / s <= room) ?? Math.ceil((to_h - from_h) / room / 24) * 24;
  const list = [];
  for (let n = Math.ceil(from_h / step - 1e-9); n * step <= to_h + 1e-9; n += 1) list.push({ v: n * step, label: run_clock(Math.round(n * step * 3600)) });
  return list;
}

function swatch(index) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
  for (const [name, value] of [["viewBox", "0 0 30 8"], ["width", 30], ["height", 8], ["aria-hidden", "true"], ["class", `swatch s${(index % 6) + 1}`]]) svg.setAttribute(name, value);
  for (const [name, value] of [["x1", 0], ["x2", 30], ["y1", 4], ["y2", 4], ["stroke-width", 3]]) line.setAttribute(name, value);
  if (STROKES[index % STROKES.length]) line.setAttribute("stroke-dasharray", STROKES[index % STROKES.length].join(" "));
  svg.append(line);
  return svg;
}

function make_legend(group) {
  const values = new Map();
  const node = el("ul.legend");
  group.points.forEach((point, index) => {
    const value = el("span.legend-value");
    values.set(point.name, value);
    node.append(el("li", {}, swatch(index), el("span", { title: point.name }, spoken(point)), value));
  });
  return { node, set: (name, text) => set_text(values.get(name), text) };
}

/** One chart. `board` is what all charts share: the window, the rows, the findings, the run. */
function make_chart(group, board) {
  const heading = el("h3", {}, group.heading, group.uom ? el("span.meta", {}, ` in ${group.uom}`) : "");
  const moment = el("p.moment.meta");
  const legend = make_legend(group);
  const canvas = el("div.canvas", { role: "img" });
  const table_place = el("div.table-place");
  const details = el("details.figures", { ontoggle: () => fill_table() }, el("summary", {}, "The same as a table"), table_place);
  const node = el("section.chart", { "aria-label": `${group.heading}, chart` }, el("div.chart-head", {}, heading, moment), legend.node, canvas, details);
  const gestures = watch_gestures(canvas, board, () => graph);
  let graph = null;
  let rows = [];

  function options() {
    const colours = board.theme.series;
    const series = {};
    group.points.forEach((point, index) => {
      series[point.name] = { color: colours[index % colours.length], strokePattern: STROKES[index % STROKES.length] };
    });
    return {
      labels: ["run hours", ...group.points.map((point) => point.name)], series,
      customBars: true, connectSeparatedPoints: true, drawGapEdgePoints: true, pointSize: 1.6, strokeWidth: 1.7, fillAlpha: 0.24, rollPeriod: 1,
      highlightCircleSize: 4, animatedZooms: false, interactionModel: {}, xRangePad: 0,
      gridLineColor: board.theme.line, axisLineColor: board.theme.edge, gridLineWidth: 0.6, axisLabelFontSize: 12,
      axes: {
        x: { ticker: (from, to, pixels) => ticks(from, to, pixels), axisLabelWidth: 64 },
        y: { axisLabelFormatter: (value) => set_figure(value), axisLabelWidth: 52, pixelsPerLabel: 34 },
      },
      underlayCallback: (context, area, g) => paint_surroundings(context, area, g, { group, board, rows }),
      highlightCallback: (event, x, points, row) => board.point_at(rows[row]?.[0]),
      unhighlightCallback: () => board.point_at(null),
    };
  }

  function range() {
    return value_range(rows, board.window_h(), board.with_limits ? limits_of(group.points) : []);
  }

  function draw() {
    const { theme: colours } = board;
    rows = rows_of(board.history, group.points, board.spacing);
    if (!rows.length) return;
    const shown = { file: rows, dateWindow: board.window_h(), valueRange: range() };
    if (graph && graph.colours === colours) graph.updateOptions(shown);
    else {
      graph?.destroy();
      const { file, ...rest } = shown;
      graph = new window.Dygraph(canvas, file, { ...options(), ...rest });
      graph.colours = colours;
    }
    say_in_words();
    fill_table();
  }

  function say_in_words() {
    const said = group.points.map((point, index) => {
      const known = rows.map((row) => row[index + 1]).filter((bar) => bar && !Number.isNaN(bar[1]));
      if (!known.length) return `${spoken(point)}: no good reading`;
      const low = Math.min(...known.map((bar) => bar[0]));
      const high = Math.max(...known.map((bar) => bar[2]));
      return `${spoken(point)}: from ${with_uom(low, group.uom)} to ${with_uom(high, group.uom)}`;
    });
    set_attribute(canvas, "aria-label", `${group.heading} over run time. ${said.join(". ")}.`);
  }

  function fill_table() {
    if (!details.open) return;
    const [from, to] = board.window_h();
    const seen = rows.filter((row) => row[0] >= from && row[0] <= to);
    const step = Math.max(1, Math.ceil(seen.length / TABLE_ROWS_MAX));
    const head = el("tr", {}, el("th", { scope: "col" }, "Run time"), el("th", { scope: "col" }, "Clock"),
      ...group.points.map((point) => el("th", { scope: "col" }, `${spoken(point)}${group.uom ? `, ${group.uom}` : ""}`)));
    const body = [];
    for (let first = 0; first < seen.length; first += step) {
      const some = seen.slice(first, first + step);
      const at = some[0][0] * 3600;
      const cells = group.points.map((_, index) => {
        const bars = some.map((row) => row[index + 1]).filter((bar) => bar && !Number.isNaN(bar[1]));
        if (!bars.length) return el("td.none", {}, "no good reading");
        const mean = bars.reduce((sum, bar) => sum + bar[1], 0) / bars.length;
        return el("td", {}, `${figure(mean)} (${figure(Math.min(...bars.map((bar) => bar[0])))} to ${figure(Math.max(...bars.map((bar) => bar[2])))})`);
      });
      body.push(el("tr", {}, el("th", { scope: "row" }, run_clock(at)), el("td", {}, wall_clock(board.run, at, board.clock_rate)), ...cells));
    }
    table_place.replaceChildren(el("div.scroll", { tabindex: "0", role: "region", "aria-label": `${group.heading}, figures` },
      el("table", {}, el("caption", {}, "Mean, and the lowest to the highest reading, of each stretch"), el("thead", {}, head), el("tbody", {}, ...body))));
  }

  function point_at(hours) {
    const index = hours === null ? -1 : rows.findIndex((row) => row[0] === hours);
    if (index < 0) {
      set_text(moment, "");
      for (const point of group.points) legend.set(point.name, "");
      if (graph?.getSelection() >= 0) graph.clearSelection();
      return;
    }
    const row = rows[index];
    set_text(moment, `${run_clock_fine(row[0] * 3600)} \u00b7 ${wall_clock(board.run, row[0] * 3600, board.clock_rate)}`);
    group.points.forEach((point, n) => {
      const bar = row[n + 1];
      legend.set(point.name, bar && !Number.isNaN(bar[1]) ? with_uom(bar[1], group.uom) : "no good reading");
    });
    if (graph && graph.getSelection() !== index) graph.setSelection(index);
  }

  const sizes = new ResizeObserver(() => graph?.resize());
  sizes.observe(canvas);
  return {
    node, draw, point_at,
    move: () => graph?.updateOptions({ dateWindow: board.window_h(), valueRange: range() }),
    leave() {
      sizes.disconnect();
      gestures.leave();
      graph?.destroy();
    },
  };
}

/** All charts of a unit: {node, update(unit, bench), show_findings(list), leave()}. */
export function chart_board(unit_name) {
  const charts = [];
  const place = el("div.charts");
  const problem = el("p.problem", { hidden: true });
  const board = {
    run: null, clock_rate: 1, theme: theme(), history: null, spacing: new Map(), findings: [], with_limits: true, span_s: null, window: null,
    newest_s: 0, names: "",
    window_h: () => board.window_s().map((s) => s / 3600),
    window_s: () => board.window ?? [Math.max(0, board.newest_s - (board.span_s ?? board.newest_s)), Math.max(WINDOW_MIN_S, board.newest_s)],
    point_at(hours) {
      if (board.is_pointing) return;
      board.is_pointing = true;  // the charts that follow would call back
      for (const chart of charts) chart.point_at(hours ?? null);
      board.is_pointing = false;
    },
    look_at,
  };
  const controller = new AbortController();
  let is_loading = false;
  let wants_more = false;
  let loaded_at = -Infinity;
  let loaded_to_s = 0;
  let settle_timer = null;
  let frame = null;

  /** Moves all charts to a window in seconds of the run; null: along with the newest reading again. */
  function look_at(from_s, to_s) {
    if (from_s === null) board.window = null;
    else {
      const span = Math.min(Math.max(WINDOW_MIN_S, to_s - from_s), Math.max(WINDOW_MIN_S, board.newest_s));
      const from = Math.min(Math.max(0, from_s + (to_s - from_s - span) / 2), Math.max(0, board.newest_s - span));
      board.window = [from, from + span];
    }
    cancelAnimationFrame(frame);
    frame = requestAnimationFrame(() => charts.forEach((chart) => chart.move()));
    clearTimeout(settle_timer);
    settle_timer = setTimeout(load, SETTLE_MS);
    tools.update();
  }

  function scale(factor) {
    const [from, to] = board.window_s();
    const middle = (from + to) / 2;
    look_at(middle - ((to - from) / 2) * factor, middle + ((to - from) / 2) * factor);
  }

  function shift(share) {
    const [from, to] = board.window_s();
    look_at(from + (to - from) * share, to + (to - from) * share);
  }

  function follow(span_s) {
    board.span_s = span_s;
    look_at(null);
  }

  const tools = make_tools(board, { follow, scale, shift, redraw: () => charts.forEach((chart) => chart.move()) });

  function request_window() {
    const [from, to] = board.window_s();
    const margin = board.window ? (to - from) / 2 : 0;
    const ask_from = Math.max(0, from - margin);
    const ask_to = Math.max(ask_from + 1, Math.min(board.newest_s, to + margin));
    const finest = Math.min(...board.spacing.values(), Infinity);
    const useful = Number.isFinite(finest) && finest > 0 ? Math.ceil((ask_to - ask_from) / finest) : BUCKETS_MAX;
    return { from: ask_from, to: ask_to, buckets: Math.min(BUCKETS_MAX, Math.max(BUCKETS_MIN, useful)) };
  }

  async function load() {
    if (!board.run || !board.newest_s || !board.names) return;
    if (is_loading) {
      wants_more = true;
      return;
    }
    is_loading = true;
    loaded_at = performance.now();
    loaded_to_s = board.newest_s;
    const names = board.names.split(",");
    const { from, to, buckets } = request_window();
    try {
      const parts = [];
      for (let first = 0; first < names.length; first += POINTS_PER_REQUEST) {
        const some = names.slice(first, first + POINTS_PER_REQUEST).map(encodeURIComponent).join(",");
        parts.push(await get(`${unit_address(unit_name)}/history?points=${some}&from_s=${from}&to_s=${to}&buckets=${buckets}`, controller.signal));
      }
      board.history = { time_s: parts[0].time_s, bucket_s: parts[0].bucket_s, series: new Map(parts.flatMap((part) => part.series).map((series) => [series.point, series])) };
      if (!board.window && !board.span_s) for (const [name, series] of board.history.series) {
        const spacing = usual_spacing(board.history.time_s, series.mean);
        if (spacing) board.spacing.set(name, spacing);
      }
      problem.hidden = true;
      charts.forEach((chart) => chart.draw());
    } catch (error) {
      if (controller.signal.aborted) return;
      set_text(problem, `The charts could not be renewed: ${error.message}`);
      problem.hidden = false;
    } finally {
      is_loading = false;
    }
    if (wants_more) {
      wants_more = false;
      load();
    }
  }

  function build(points) {
    charts.splice(0).forEach((chart) => chart.leave());
    charts.push(...chart_groups(points).map((group) => make_chart(group, board)));
    place.replaceChildren(...charts.map((chart) => chart.node));
  }

  const scheme = matchMedia("(prefers-color-scheme: light)");
  const repaint = () => {
    board.theme = theme();
    charts.forEach((chart) => chart.draw());
  };
  scheme.addEventListener("change", repaint);

  const has_library = Boolean(window.Dygraph);
  if (has_library) without_its_legend(window.Dygraph);
  const missing = el("p.problem", {}, "The chart library was not loaded. The table of points above has the newest figures.");

  return {
    node: el("div", {}, has_library ? tools.node : missing, problem, place),
    update(unit, bench) {
      if (!has_library || !unit.run) return;
      const names = unit.points.map((point) => point.name).join(",");
      const is_other = names !== board.names || unit.run.id !== board.run?.id;
      board.run = unit.run;
      board.clock_rate = bench.clock_rate;
      // Meters are read on after the end of a run, but that is no longer the run's.
      const newest_s = Math.max(...unit.points.map((point) => point.time_s ?? 0), 0) || unit.run.time_s;
      board.newest_s = unit.run.state === "ended" ? Math.min(newest_s, unit.run.time_s) : newest_s;
      if (is_other) {
        board.names = names;
        board.spacing.clear();
        build(unit.points);
        load();
        return;
      }
      const bucket_ms = ((board.history?.bucket_s ?? 0) * 1000) / bench.clock_rate;
      const is_due = performance.now() - loaded_at > Math.max(RELOAD_MIN_MS, bucket_ms);
      const is_new = board.newest_s > loaded_to_s;
      if (is_due && is_new && !board.window && !document.hidden) load();
    },
    show_findings(list) {
      board.findings = list;
      charts.forEach((chart) => chart.move());
    },
    leave() {
      controller.abort();
      clearTimeout(settle_timer);
      cancelAnimationFrame(frame);
      scheme.removeEventListener("change", repaint);
      charts.forEach((chart) => chart.leave());
    },
  };
}

function make_tools(board, act) {
  const spans = [["Whole run", null], ["Last 6 h", 6 * 3600], ["Last hour", 3600]].map(([text, span]) => ({ span, node: el("button.plain", { type: "button", onclick: () => act.follow(span) }, text) }));
  const small = (text, label, onclick) => el("button.plain.small", { type: "button", "aria-label": label, title: label, onclick }, text);
  const limits = el("input", { type: "checkbox", checked: true, onchange: (event) => {
    board.with_limits = event.target.checked;
    act.redraw();
  } });
  const node = el("div.tools", { role: "toolbar", "aria-label": "Time window of the charts" },
    ...spans.map((span) => span.node),
    small("\u2190", "Earlier", () => act.shift(-0.5)), small("\u2192", "Later", () => act.shift(0.5)),
    small("+", "Nearer", () => act.scale(0.5)), small("\u2212", "Wider", () => act.scale(2)),
    el("label.inline", {}, limits, "warning limits in view"),
    el("p.meta.hint", {}, "Drag to look closer, Shift and drag or swipe to move, double-click for the whole run."));
  const update = () => spans.forEach((span) => set_attribute(span.node, "aria-pressed", String(!board.window && board.span_s === span.span)));
  update();
  return { node, update };
}
