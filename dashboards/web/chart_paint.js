// What stands behind the lines of a chart: gaps, stages, limits, findings. Line patterns and words carry the meaning.
import { gaps_of, limits_of } from "./series.js";
import { set_figure, severity_words, stage_words } from "./words.js";

const FONT = "12px system-ui, sans-serif";
const FLAG_SIZE = 17;
const LABEL_HEIGHT = 14;
const SEGMENT_LABEL_YS = [32, 46, 60, 74];  // below the flags; the first that no limit runs through
const SEGMENTS_APART = 8;
const WORD_MIN = 6;

/** Writes where nothing stands yet: to the right of the flags and labels ({left, right, y}) at that height. */
function label_writer(context, area, colours, taken) {
  return (text, y, from = area.x + 5) => {
    const width = context.measureText(text).width;
    let x = from;
    for (const other of [...taken].sort((a, b) => a.left - b.left))
      if (Math.abs(other.y - y) < LABEL_HEIGHT && other.right > x && other.left < x + width) x = other.right + 10;
    taken.push({ left: x, right: x + width, y });
    halo(context, text, x, y, colours);
  };
}

export function paint_surroundings(context, area, graph, { group, board, rows }) {
  const colours = board.theme;
  const x_of = (hours) => graph.toDomXCoord(hours);
  context.save();
  context.beginPath();
  context.rect(area.x, area.y, area.w, area.h);
  context.clip();
  context.font = FONT;
  paint_gaps(context, area, x_of, gaps_of(rows), colours);
  paint_interruptions(context, area, x_of, board.run, colours);
  paint_stages(context, area, x_of, board.run, colours);
  const flags = paint_findings(context, area, x_of, group, board, colours);
  paint_limits(context, area, graph, limits_of(group.points), colours, flags);
  const limit_ys = limits_of(group.points).map((limit) => graph.toDomYCoord(limit.value));
  paint_segments(context, area, x_of, group, { run: board.run, colours, flags, limit_ys });
  context.restore();
}

/** Hatched over the whole height where every point is missing, along the foot where some are. */
function paint_gaps(context, area, x_of, gaps, colours) {
  for (const gap of gaps) {
    const left = Math.max(area.x, x_of(gap.from));
    const right = Math.min(area.x + area.w, Math.max(x_of(gap.to), left + 2));
    if (right <= left) continue;
    const top = gap.is_all ? area.y : area.y + area.h - 12;
    const height = area.y + area.h - top;
    context.save();
    context.beginPath();
    context.rect(left, top, right - left, height);
    context.clip();
    context.strokeStyle = colours.edge;
    context.lineWidth = 1;
    context.globalAlpha = gap.is_all ? 0.55 : 1;
    context.beginPath();
    for (let x = left - height; x < right; x += 7) {
      context.moveTo(x, top + height);
      context.lineTo(x + height, top);
    }
    context.stroke();
    context.restore();
  }
}

/** Time that does not count because the unit was off: hatched the other way than what was not read, its reason in it. */
function paint_interruptions(context, area, x_of, run, colours) {
  for (const gap of run.interruptions ?? []) {
    const left = Math.max(area.x, x_of(gap.from_s / 3600));
    const right = Math.min(area.x + area.w, Math.max(x_of((gap.to_s ?? run.time_s) / 3600), left + 3));
    if (right <= left) continue;
    hatch(context, left, right, area, colours.soft);
    const text = shortened(context, `${gap.is_planned ? "off" : "interrupted"}: ${gap.why}`, right - left - 10);
    context.fillStyle = colours.soft;
    if (text) halo(context, text, left + 5, area.y + area.h - 38, colours);
  }
}

function hatch(context, left, right, area, colour) {
  context.save();
  context.beginPath();
  context.rect(left, area.y, right - left, area.h);
  context.clip();
  context.strokeStyle = colour;
  context.lineWidth = 1;
  context.globalAlpha = 0.5;
  context.beginPath();
  for (let x = left; x < right + area.h; x += 9) {
    context.moveTo(x, area.y + area.h);
    context.lineTo(x - area.h, area.y);
  }
  context.stroke();
  context.restore();
  context.strokeStyle = colour;
  context.lineWidth = 1;
  for (const x of [left, right]) line(context, Math.round(x) + 0.5, area.y, Math.round(x) + 0.5, area.y + area.h);
}

/** As much of a text as there is room for; nothing when that would not be a word. */
function shortened(context, text, room) {
  if (context.measureText(text).width <= room) return text;
  let cut = text;
  while (cut.length > WORD_MIN && context.measureText(`${cut}\u2026`).width > room) cut = cut.slice(0, -1);
  return cut.length > WORD_MIN ? `${cut.trimEnd()}\u2026` : "";
}

/** A new baseline begins: a double line with its reason, on the charts whose points it belongs to. */
function paint_segments(context, area, x_of, group, { run, colours, flags, limit_ys }) {
  const label_y = SEGMENT_LABEL_YS.map((below) => area.y + below).find((y) => limit_ys.every((limit) => Math.abs(limit - (y - 4)) > LABEL_HEIGHT / 2)) ?? area.y + SEGMENT_LABEL_YS[0];
  const names = new Set(group.points.map((point) => point.name));
  const write = label_writer(context, area, colours, flags);
  const ours = (run.segments ?? []).filter((segment) => segment.from_s > 0 && (segment.points.length === 0 || segment.points.some((name) => names.has(name))));
  const places = [];  // those that stand too close to be told apart share a line
  for (const segment of ours) {
    const x = Math.round(x_of(segment.from_s / 3600)) + 0.5;
    if (x < area.x || x > area.x + area.w) continue;
    const last = places.at(-1);
    if (last && x - last.x < SEGMENTS_APART) last.to = segment;
    else places.push({ x, from: segment, to: segment });
  }
  for (const { x, from, to } of places) {
    context.strokeStyle = colours.text;
    context.lineWidth = 1;
    for (const beside of [x - 1.5, x + 1.5]) line(context, beside, area.y, beside, area.y + area.h);
    context.fillStyle = colours.text;
    const text = from === to ? `segment ${from.number}: ${from.why}` : `segments ${from.number} to ${to.number}: ${to.why}`;
    const to_right = shortened(context, text, area.x + area.w - x - 8);
    const to_left = to_right.length < text.length ? shortened(context, text, x - area.x - 8) : "";
    const is_left = to_left.length > to_right.length;
    const best = is_left ? to_left : to_right;
    if (best) write(best, label_y, is_left ? x - 6 - context.measureText(best).width : x + 6);
  }
}

/** Where the plan changes stage. The run knows only planned lengths, so a stage that has to wait moves its successor's line. */
function paint_stages(context, area, x_of, run, colours) {
  let at_s = 0;
  context.fillStyle = colours.soft;
  context.strokeStyle = colours.edge;
  for (const stage of run.stages) {
    if (stage.state === "ahead" || at_s > run.time_s) break;
    const x = Math.round(x_of(at_s / 3600)) + 0.5;
    if (at_s > 0) {
      context.setLineDash([1, 4]);
      line(context, x, area.y, x, area.y + area.h);
    }
    at_s += stage.planned_s;
    const text = stage_words(stage.kind);
    const width = context.measureText(text).width;
    let left = x + 5;
    for (const gap of run.interruptions ?? []) {  // not on the hatching
      const end = x_of((gap.to_s ?? run.time_s) / 3600);
      if (x_of(gap.from_s / 3600) < left + width && end > left) left = end + 5;
    }
    if (left + width + 5 < x_of(Math.min(at_s, run.time_s) / 3600) && x > area.x - 1) halo(context, text, left, area.y + area.h - 20, colours);
  }
  context.setLineDash([]);
}

/** Warning limits dashed, trip limits solid. A limit out of sight is named at its edge. */
function paint_limits(context, area, graph, limits, colours, flags) {
  const write = label_writer(context, area, colours, flags);
  for (const limit of limits) {
    const y = Math.round(graph.toDomYCoord(limit.value)) + 0.5;
    const is_trip = limit.severity === "trip";
    const text = `${severity_words(limit.severity)} ${set_figure(limit.value)}`;
    context.strokeStyle = is_trip ? colours.trip : colours.warn;
    context.fillStyle = is_trip ? colours.trip : colours.warn;
    if (y < area.y || y > area.y + area.h) {
      const is_above = y < area.y;
      if (is_trip) write(`${text} ${is_above ? "\u2191" : "\u2193"}`, is_above ? area.y + 13 : area.y + area.h - 4);
      continue;
    }
    context.lineWidth = is_trip ? 2 : 1.4;
    context.setLineDash(is_trip ? [] : [7, 5]);
    line(context, area.x, y, area.x + area.w, y);
    context.setLineDash([]);
    write(text, limit.side === "high" ? Math.max(y - 5, area.y + 12) : Math.min(y + 14, area.y + area.h - 3));
  }
}

/** A line and a numbered flag where something was noticed of these points, or of the unit as a whole. Returns where flags stand. */
function paint_findings(context, area, x_of, group, board, colours) {
  const names = new Set(group.points.map((point) => point.name));
  const flags = [];
  let free_from = -Infinity;
  context.textAlign = "center";
  for (const finding of board.findings) {
    const is_ours = finding.points.length === 0 || finding.points.some((name) => names.has(name));
    if (!finding.number || !is_ours) continue;
    const x = Math.round(x_of(finding.time_s / 3600)) + 0.5;
    if (x < area.x || x > area.x + area.w) continue;
    const is_trip = finding.severity === "trip";
    context.strokeStyle = is_trip ? colours.trip : finding.severity === "warn" ? colours.warn : colours.edge;
    context.lineWidth = is_trip ? 2 : 1;
    context.setLineDash(is_trip ? [] : [3, 3]);
    line(context, x, area.y, x, area.y + area.h);
    context.setLineDash([]);
    if (x < free_from) continue;
    free_from = x + FLAG_SIZE + 3;
    const left = Math.min(Math.max(area.x, x - FLAG_SIZE / 2), area.x + area.w - FLAG_SIZE);
    context.fillStyle = is_trip ? colours.block : colours.surface;
    context.fillRect(left, area.y + 1, FLAG_SIZE, FLAG_SIZE);
    context.lineWidth = finding.severity === "note" ? 1 : 2;
    context.setLineDash(finding.severity === "note" ? [2, 2] : []);
    context.strokeRect(left, area.y + 1, FLAG_SIZE, FLAG_SIZE);
    context.setLineDash([]);
    context.fillStyle = is_trip ? colours.on_block : colours.text;
    context.fillText(String(finding.number), left + FLAG_SIZE / 2, area.y + 14);
    flags.push({ left, right: left + FLAG_SIZE, y: area.y + 14 });
  }
  context.textAlign = "left";
  return flags;
}

function line(context, x1, y1, x2, y2) {
  context.beginPath();
  context.moveTo(x1, y1);
  context.lineTo(x2, y2);
  context.stroke();
}

/** Text that stays readable on top of a line. */
function halo(context, text, x, y, colours) {
  context.save();
  context.lineWidth = 4;
  context.lineJoin = "round";
  context.strokeStyle = colours.surface;
  context.strokeText(text, x, y);
  context.restore();
  context.fillText(text, x, y);
}
