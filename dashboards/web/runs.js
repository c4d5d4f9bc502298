// What is said of a stored run wherever one is listed.
import { get } from "./api.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { live } from "./live.js";
import { duration, verdict_words } from "./words.js";

export const card_href = (name) => `#/card/${encodeURIComponent(name)}`;
export const card_address = (name) => `/api/v1/cards/${encodeURIComponent(name)}`;
export const run_href = (id) => `#/run/${id}`;

/** "Mon 12 Jan 2026, 19:00": a record is read years later, so the year stands in it. */
export function day_and_time(utc) {
  const at = new Date(utc);
  if (!utc || Number.isNaN(at.getTime())) return utc ?? "";
  return at.toLocaleString(undefined, { weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hour12: false });
}

/** "12 Jan 2026". A date alone ("2026-01-12") is that day, wherever one reads it. */
export function day(date) {
  const at = new Date(/^\d{4}-\d{2}-\d{2}$/.test(date) ? `${date}T12:00:00` : date);
  if (!date || Number.isNaN(at.getTime())) return date ?? "";
  return at.toLocaleDateString(undefined, { day: "numeric", month: "short", year: "numeric" });
}

/** What became of it, and who says so. */
export function outcome(run) {
  if (!run.verdict) return run.state === "running" ? "still running" : "ended without a verdict";
  return run.signed_by ? `${verdict_words(run.verdict)}, signed by ${run.signed_by}` : `${verdict_words(run.verdict)} proposed; nobody has signed`;
}

export function span_of(run) {
  if (!run.ended_utc) return `since ${day_and_time(run.started_utc)}`;
  const seconds = (Date.parse(run.ended_utc) - Date.parse(run.started_utc)) / 1000;
  const is_told = seconds > 0 && !live.bench?.is_accelerated;  // in the demo the labels pass slower than the run
  return `${day_and_time(run.started_utc)}${is_told ? `, ${duration(seconds)}` : ""}`;
}

/** Only a card tells how many hours of a run counted, and not before it was told again. */
function hours_of(run) {
  if (typeof run.counted_s !== "number") return "";
  return `${duration(run.counted_s)} counted${typeof run.failed_s === "number" ? `, failed after ${duration(run.failed_s)} with power` : ""}`;
}

/** The card of a unit on the bench or of a stored run, or null. Of two with one serial number, the one of this place in the configuration. */
export async function find_card({ name, serial, title }, signal) {
  const { cards } = await get(`/api/v1/cards?find=${encodeURIComponent(serial || title || name)}`, signal);
  const own = cards.filter((card) => (serial ? card.serial === serial : card.unit === name));
  return own.find((card) => card.unit === name) ?? own[0] ?? null;
}

function make_run() {
  const link = el("a");
  const title = el("span");
  const verdict = el("span.verdict");
  const rest = el("span.meta");
  return {
    node: el("li.run-line", {}, el("p", {}, link, " ", title), verdict, rest),
    update({ run, has_title }) {
      link.href = run_href(run.id);
      set_text(link, `Run ${run.id}`);
      set_text(title, has_title ? [run.title, run.serial].filter(Boolean).join(", ") : "");
      verdict.dataset.word = run.verdict || "none";
      set_text(verdict, outcome(run));
      set_text(rest, [span_of(run), hours_of(run)].filter(Boolean).join(" \u00b7 "));
    },
  };
}

/** Runs as lines that lead to their pages. `none`: what stands there without any. */
export function run_list(none, { has_title = false } = {}) {
  const list = el("ul.run-list", { "data-titles": has_title ? "yes" : "no" });
  const empty = el("p.meta", {}, none);
  return {
    node: el("div", {}, list, empty),
    update(runs, why_none = none) {
      set_text(empty, why_none);
      keep_list(list, runs.map((run) => ({ run, has_title })), (item) => item.run.id, make_run);
      show(empty, runs.length === 0);
    },
  };
}
