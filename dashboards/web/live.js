// The one live connection, and the newest bench. Values are only as true as they are young: this module knows their age.
const QUIET_MS = 3000;         // nothing heard for this long: ask
const ASK_TIMEOUT_MS = 3000;
export const STALE_MS = 8000;  // from here on every value is shown as old
const HIDDEN_MS = 60000;       // a page nobody sees gives its connection back (a browser has six per host)
const REOPEN_MS = 3000;

const listeners = new Set();
let source = null;
let reopen_timer = null;
let hidden_timer = null;
let is_asking = false;

export const live = { bench: null, heard_at: null };

/** The listener hears {type: "bench" | "finding" | "alarm" | "age" | "again", data}; again: after a silence, much may have been missed. Returns what ends it. */
export function listen(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

function tell(type, data) {
  for (const listener of [...listeners]) listener({ type, data });
}

export function age_ms() {
  if (live.heard_at === null) return null;
  // One of the two clocks may stand still while the device sleeps, the other may be set back: the older answer is the safe one.
  return Math.max(0, performance.now() - live.heard_at.steady, Date.now() - live.heard_at.wall);
}

export function is_stale() {
  const age = age_ms();
  return age === null || age > STALE_MS;
}

function note_heard() {
  live.heard_at = { steady: performance.now(), wall: Date.now() };
}

function take_bench(bench) {
  const was_stale = live.bench !== null && is_stale();
  note_heard();
  live.bench = bench;
  tell("bench", bench);
  if (was_stale) tell("again");
}

function take(type, text) {
  try {
    const data = JSON.parse(text);
    note_heard();
    if (type === "bench") take_bench(data);
    else tell(type, data);
  } catch (error) {
    console.warn(`an event of the stream cannot be read: ${error.message}`);
  }
}

function open() {
  clearTimeout(reopen_timer);
  source?.close();
  source = new EventSource("/api/v1/stream");
  for (const type of ["bench", "finding", "alarm"]) source.addEventListener(type, (event) => take(type, event.data));
  const opened = source;
  source.addEventListener("error", () => {
    // The browser tries again by itself unless the answer was an error status.
    if (opened === source && source.readyState === EventSource.CLOSED) reopen_timer = setTimeout(open, REOPEN_MS);
  });
}

/** A quiet stream may be a calm bench or a dead line. Only an answer tells. */
async function ask() {
  if (is_asking) return;
  is_asking = true;
  try {
    const answer = await fetch("/api/v1/bench", { cache: "no-store", signal: AbortSignal.timeout(ASK_TIMEOUT_MS) });
    if (answer.ok) {
      take_bench(await answer.json());
      if (source?.readyState === EventSource.CLOSED) open();
    }
  } catch {
    // The age goes on counting: that is what is shown.
  } finally {
    is_asking = false;
  }
}

export function refresh() {
  return ask();
}

export function start() {
  open();
  ask();
  // A page that is left may be kept for the way back, with its connection: the sixth would be the last.
  addEventListener("pagehide", () => source?.close());
  addEventListener("pageshow", (event) => {
    if (event.persisted) open();
  });
  setInterval(() => {
    const age = age_ms();
    if (!document.hidden && (age === null || age > QUIET_MS)) ask();
    tell("age");
  }, 1000);
  document.addEventListener("visibilitychange", () => {
    clearTimeout(hidden_timer);
    if (document.hidden) {
      hidden_timer = setTimeout(() => source?.close(), HIDDEN_MS);
    } else {
      if (source?.readyState !== EventSource.OPEN) open();
      ask();
    }
    tell("age");
  });
}
