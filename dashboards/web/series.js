// From the daemon's history to what a chart draws. Pure: figures in, figures out.

export const STROKES = [null, [8, 4], [2, 3], [11, 3, 2, 3], [5, 2], [14, 5]];

/** A hole longer than this many of a point's usual intervals is a gap, whoever asks with however fine a grid. */
const GAP_INTERVALS = 2.5;
const PAD_BELOW = 0.11;
const PAD_ABOVE = 0.16;  // room for the flags of the findings

/** The usual distance of a point's readings on this grid, in seconds; null when there are too few to tell. */
export function usual_spacing(time_s, mean) {
  const distances = [];
  let last = null;
  mean.forEach((value, i) => {
    if (value === null) return;
    if (last !== null) distances.push(time_s[i] - last);
    last = time_s[i];
  });
  if (distances.length < 3) return null;
  return distances.sort((a, b) => a - b)[Math.floor(distances.length / 2)];
}

/**
 * Rows for the chart: [hours, [min, mean, max], ...]. A bucket without a reading is null where a reading was not due (the line
 * goes on) and NaN where one was (the line ends).
 */
export function rows_of(history, points, spacing) {
  if (!history) return [];
  const { time_s, bucket_s, series } = history;
  const rows = time_s.map((time) => [(time + bucket_s / 2) / 3600]);
  for (const point of points) {
    const bars = series.get(point.name);
    const hole_max = GAP_INTERVALS * Math.max(bucket_s, spacing.get(point.name) ?? bucket_s);
    let last = null;
    for (let i = 0; i < rows.length; i += 1) {
      const is_read = bars && bars.mean[i] !== null && bars.mean[i] !== undefined;
      if (is_read) {
        if (last !== null && i - last > 1 && time_s[i] - time_s[last] > hole_max) mark_gap(rows, last + 1, i);
        last = i;
      }
      rows[i].push(is_read ? [bars.min[i], bars.mean[i], bars.max[i]] : null);
    }
    if (last === null) mark_gap(rows, 0, rows.length);
    else if (time_s.at(-1) - time_s[last] > hole_max) mark_gap(rows, last + 1, rows.length);
  }
  return rows;
}

function mark_gap(rows, from, to) {
  for (let i = from; i < to; i += 1) rows[i][rows[i].length - 1] = [NaN, NaN, NaN];
}

/** Stretches in which all of the points, or only some, lack readings: [{from, to, is_all}] in hours. */
export function gaps_of(rows) {
  const gaps = [];
  let open = null;
  rows.forEach((row, i) => {
    const bars = row.slice(1);
    const missing = bars.filter((bar) => bar && Number.isNaN(bar[1])).length;
    const kind = missing === 0 ? null : missing === bars.length ? "all" : "some";
    if (open && open.kind !== kind) {
      gaps.push({ from: open.from, to: row[0], is_all: open.kind === "all" });
      open = null;
    }
    if (kind && !open) open = { kind, from: i > 0 ? rows[i - 1][0] : row[0] };
  });
  if (open) gaps.push({ from: open.from, to: rows.at(-1)[0], is_all: open.kind === "all" });
  return gaps;
}

/** The limits on a chart, each once: [{value, severity, side}]. */
export function limits_of(points) {
  const limits = new Map();
  for (const point of points)
    for (const severity of ["warn", "trip"])
      for (const side of ["low", "high"]) {
        const value = point[`${severity}_${side}`];
        if (value !== null) limits.set(`${severity} ${side} ${value}`, { value, severity, side });
      }
  return [...limits.values()];
}

/** What the value axis shows of a window: the readings, and the limits of which a person is warned. */
export function value_range(rows, [from, to], limits) {
  let low = Infinity;
  let high = -Infinity;
  for (const row of rows) {
    if (row[0] < from || row[0] > to) continue;
    for (const bar of row.slice(1)) {
      if (!bar || Number.isNaN(bar[1])) continue;
      low = Math.min(low, bar[0]);
      high = Math.max(high, bar[2]);
    }
  }
  for (const limit of limits.filter((l) => l.severity === "warn")) {
    low = Math.min(low, limit.value);
    high = Math.max(high, limit.value);
  }
  if (low > high) return [0, 1];
  const span = high > low ? high - low : Math.max(0.1 * Math.abs(high), 0.01);
  return [low - PAD_BELOW * span, high + PAD_ABOVE * span];
}
