// How figures and states are written for a person. Run time in, words out.

const MINUS = "\u2212";
const NARROW = "\u202f";

/** A reading in three or four significant digits: 380.1, 42.90, 6.30, 0.351. Null is a dash. */
export function figure(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "\u2013";
  const size = Math.abs(value);
  if (size === 0) return "0";
  if (size >= 1e6 || size < 1e-4) return value.toPrecision(3).replace("-", MINUS);
  const after = size >= 1000 ? 0 : size >= 100 ? 1 : size >= 1 ? 2 : size >= 0.01 ? 3 : 4;
  const text = value.toFixed(after);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", MINUS);
}

/** A figure that somebody set, such as a limit: no digits that nobody wrote. */
export function set_figure(value) {
  return String(Number(value.toPrecision(6))).replace("-", MINUS);
}

const of_uom = (text, uom) => (uom ? `${text}${NARROW}${uom}` : text);
export function with_uom(value, uom) {
  const is_temperature = uom === "\u00b0C" && Number.isFinite(value);  // no thermometer of a bench is good for hundredths
  return of_uom(is_temperature ? value.toFixed(1).replace("-", MINUS) : figure(value), uom);
}
/** Of a difference: degrees apart are kelvin. */
export const difference_uom = (uom) => (uom === "\u00b0C" ? "K" : uom);
export const set_with_uom = (value, uom) => of_uom(set_figure(value), uom);

/** With its sign, to so many decimals. */
export function signed(value, decimals) {
  const text = value.toFixed(decimals);
  if (Number(text) === 0) return text.replace("-", "");
  return value > 0 ? `+${text}` : text.replace("-", MINUS);
}

/** Decimals that leave an uncertainty two digits, as GUM 7.2.6 has it. */
export function decimals_of(uncertainty) {
  return uncertainty > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(uncertainty)))) : 3;
}

/** "7 h 12 min", "4 min 10 s", "12 s". */
export function duration(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 60) return `${s} s`;
  if (s < 600) return s % 60 ? `${Math.floor(s / 60)} min ${s % 60} s` : `${s / 60} min`;
  const minutes = Math.floor(s / 60);
  if (minutes < 60) return `${minutes} min`;
  return minutes % 60 ? `${Math.floor(minutes / 60)} h ${minutes % 60} min` : `${minutes / 60} h`;
}

/** A moment of the run: "7:05 h". */
export function run_clock(seconds) {
  const minutes = Math.floor(Math.max(0, seconds) / 60);
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}${NARROW}h`;
}

export function run_clock_fine(seconds) {
  const s = Math.max(0, Math.round(seconds));
  return `${Math.floor(s / 3600)}:${String(Math.floor(s / 60) % 60).padStart(2, "0")}:${String(s % 60).padStart(2, "0")}${NARROW}h`;
}

/** The clock on the wall at a moment of the run. In the demo the run passes `clock_rate` times faster than that clock. */
export function wall_clock(run, time_s, clock_rate) {
  const at = new Date(new Date(run.started_utc).getTime() + (time_s * 1000) / clock_rate);
  if (Number.isNaN(at.getTime())) return "";
  const options = { weekday: "short", hour: "2-digit", minute: "2-digit", hour12: false };
  if (clock_rate !== 1) options.second = "2-digit";
  return at.toLocaleString(undefined, options);
}

export function local_time(utc) {
  const at = new Date(utc);
  return Number.isNaN(at.getTime()) ? utc : at.toLocaleString(undefined, { weekday: "short", hour: "2-digit", minute: "2-digit", hour12: false });
}

/** "v3_cathode_mv" in mV is "V3 cathode". The name itself stays beside it where one might search for it. */
export function spoken(point) {
  const endings = [point.uom, { Cel: "c", "%": "percent", "{rpm}": "rpm" }[point.uom]].filter(Boolean).map((ending) => `_${ending.toLowerCase()}`);
  const ending = endings.find((text) => point.name.endsWith(text));
  const words = (ending ? point.name.slice(0, -ending.length) : point.name).replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

const STAGES = {
  bring_up: "Bring-up", warm_up: "Warm-up", baseline: "Baseline", idle_soak: "Idle soak", driven_soak: "Driven soak",
  power_cycles: "Power cycles", cool_down: "Cool-down", final_check: "Final check", done: "Plan done",
};
const plain = (word) => word.replaceAll("_", " ");
export const stage_words = (kind) => STAGES[kind] ?? plain(kind);
export const stage_state_words = (state) => ({ done: "done", now: "now", ahead: "ahead" })[state] ?? plain(state);

export const quality_words = (quality) => ({
  good: "good", over_range: "over the meter\u2019s range", open_sensor: "sensor open", stale: "too old", no_answer: "meter does not answer",
  refused: "meter refused", implausible: "not plausible", contact_lost: "contact lost", other_meter: "another meter answers",
})[quality] ?? plain(quality);

export const verdict_words = (word) => ({
  pass: "Pass", pass_with_remarks: "Pass with remarks", incomplete: "Incomplete", fail: "Fail",
})[word] ?? plain(word);

/** What a person made of a run, or that nobody has yet; "" without a verdict. */
export function verdict_sentence({ verdict, signature }) {
  if (!verdict) return "";
  if (!signature) return `${verdict_words(verdict.word)}${verdict.is_proposed ? " proposed; a person signs." : ", signed."}`;
  return `${verdict_words(signature.word)}, signed by ${signature.who}.${signature.word === verdict.word ? "" : ` Proposed was: ${verdict_words(verdict.word).toLowerCase()}.`}`;
}

export const severity_words = (severity) => ({ note: "note", warn: "warning", trip: "trip" })[severity] ?? plain(severity);

const PRIORITIES = { low: "for the morning", medium: "told silently", high: "wakes one person", highest: "rings until answered" };
export const priority_words = (priority) => PRIORITIES[priority] ?? plain(priority);

export const kind_words = (kind) => ({
  limit: "beyond a limit", drift: "drift", runaway: "runaway", imbalance: "imbalance", step: "step", intermittent: "intermittent",
  rise: "rise over the room", settling: "settling", sensor: "sensor", no_data: "no data", mains: "mains", outlet: "outlet", speed: "speed",
})[kind] ?? plain(kind);

const ALARM_STATES = {
  normal: "back to normal",
  unacknowledged: "standing, nobody has answered",
  acknowledged: "standing, acknowledged",
  returned_unacknowledged: "over, nobody has answered",
  latched_unacknowledged: "over but held, nobody has answered",
  latched_acknowledged: "over but held, acknowledged",
  shelved: "shelved", suppressed: "suppressed", out_of_service: "out of service",
};
export const alarm_state_words = (state) => ALARM_STATES[state] ?? plain(state);
export const waits_for_a_person = (alarm) => alarm.state.endsWith("unacknowledged");

const ROLES = [
  ["bias", "Bias"], ["grid_bias", "Grid bias"], ["temperatures", "Temperatures"], ["supply", "Supply"], ["heater", "Heater"], ["offset", "DC offset"],
  ["supply_current", "Supply current"], ["mains_voltage", "Mains voltage"], ["mains_current", "Mains current"], ["mains_power", "Mains power"],
  ["level", "Level"], ["speed", "Speed"], ["other", "Other"],
];
const TEMPERATURE_ROLES = new Set(["heatsink", "transformer", "motor", "chassis", "ambient"]);

/** Points that belong on one chart: one role (all temperatures are one), one uom, and one sign. */
export function chart_groups(points) {
  const groups = [];
  for (const [role, title] of ROLES) {
    const of_role = points.filter((point) => (TEMPERATURE_ROLES.has(point.role) ? "temperatures" : ROLES.some(([r]) => r === point.role) ? point.role : "other") === role);
    for (const point of of_role) {
      const key = `${role}|${point.shown_uom}|${(point.nominal ?? 0) < 0}`;
      let group = groups.find((g) => g.key === key);
      if (!group) groups.push((group = { key, title, uom: point.shown_uom, points: [] }));
      group.points.push(point);
    }
  }
  for (const group of groups) {
    const namesakes = groups.filter((g) => g.title === group.title).length;
    if (group.title === "Other" && group.points.length === 1) group.heading = spoken(group.points[0]);
    else group.heading = namesakes > 1 && group.points.length === 1 ? `${group.title}: ${spoken(group.points[0])}` : group.title;
  }
  return groups;
}

/** Nearness to a limit in words. */
export function nearness(worst, point) {
  if (!worst || !point) return null;
  const left = worst.side === "high" ? worst.limit - worst.value : worst.value - worst.limit;
  const limit = `${severity_words(worst.severity)} limit ${set_with_uom(worst.limit, point.shown_uom)}`;
  const apart = difference_uom(point.shown_uom);
  const short = of_uom(apart === "K" ? Math.abs(left).toFixed(1) : figure(Math.abs(left)), apart);
  return {
    name: spoken(point), value: with_uom(worst.value, point.shown_uom), limit,
    left: left > 0 ? `${short} to the ${limit}` : `${short} ${worst.side === "high" ? "above" : "below"} the ${limit}`,
    is_beyond: left <= 0,
  };
}

/** The outlet in words: ordering "off" is not being off. */
export function outlet_words(outlet) {
  if (outlet.state === "on" && outlet.proof === "failed") return { word: "Still on", detail: "Off was ordered and it is NOT off", tone: "trouble" };
  if (outlet.state === "on") return { word: "On", detail: "", tone: "on" };
  if (outlet.proof === "proven") return { word: "Off, proven", detail: "", tone: "off" };
  if (outlet.proof === "waiting") return { word: "Off ordered", detail: "waiting for the proof", tone: "doubt" };
  if (outlet.proof === "failed") return { word: "Off NOT proven", detail: "Current may still flow", tone: "trouble" };
  if (outlet.state === "off") return { word: "Off, not proven", detail: "", tone: "doubt" };
  return { word: "Not known", detail: "treat it as live", tone: "doubt" };
}
