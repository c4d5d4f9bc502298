// The wiggle test: touch one clip, and see which trace moves. The one that moved alone is named; the wrong one is told.
import { get, post, unit_address } from "./api.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { keep_name, kept_name, name_input, name_problem } from "./forms.js";
import { bleed_words } from "./life_part.js";
import { figure, local_time, outlet_words, spoken } from "./words.js";

const ASK_EVERY_MS = 600;
const SVG = "http://www.w3.org/2000/svg";
const SPARK = { width: 160, height: 34, seconds: 34 };

const STATES = {
  unread: ["?", "too few readings yet"], quiet: ["\u2013", "still"], moved: ["\u25b2", "MOVED"], went: ["\u2715", "its reading is gone"], came: ["\u25b2", "a reading came"],
};
const has_moved = (state) => ["moved", "went", "came"].includes(state);

function sparkline() {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${SPARK.width} ${SPARK.height}`);
  svg.setAttribute("class", "spark");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(SVG, "path");
  svg.append(path);
  return {
    node: svg,
    update(point) {
      const good = point.value.filter((value) => value !== null);
      const low = Math.min(...good);
      const high = Math.max(...good);
      const middle = (low + high) / 2;
      const span = Math.max(high - low, 6 * point.noise, 1e-9);
      let is_down = false;
      const steps = point.value.map((value, i) => {
        if (value === null || point.age_s[i] > SPARK.seconds) {
          is_down = false;
          return "";
        }
        const x = SPARK.width * (1 - point.age_s[i] / SPARK.seconds);
        const y = SPARK.height * (0.5 - (0.84 * (value - middle)) / span);
        const step = `${is_down ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`;
        is_down = true;
        return step;
      });
      path.setAttribute("d", steps.join(""));
    },
  };
}

const standing_charge = ({ head, rest }) => (rest ? `Off. ${head}, ${rest}.` : `Off, and ${head} still stands. Touch no clip yet.`);

/** `ticked(list)`: the clip list after somebody ticked. */
export function wiggle_part(unit, ticked) {
  const controller = new AbortController();
  const who = name_input();
  who.value = kept_name();
  const told = el("p.sentence.wiggle-told", { role: "status" }, "Touch one clip.");
  const problem = el("p.problem", { role: "alert", hidden: true });
  const power = el("p.device-caution", { role: "status", hidden: true });
  const rows = el("ol.wiggle");
  const any = el("input", { type: "radio", name: "touching", value: "", checked: true, onchange: () => choose("") });
  const group = el("fieldset.wiggle-choice", {}, el("legend", {}, "Which clip do you touch? Say it first, and a wrong one is told."), el("label.check", {}, any, el("span", {}, "None said: name whichever moves")), rows);
  let chosen = "";
  let clips = new Map();
  let chosen_at = 0;
  let last = { movers: 0, mover: null, alone: null, points: [] };
  let not_still = new Set();  // moved when another clip was chosen, and have not been still since: none of them is the one that is touched now
  let timer = null;
  let is_left = false;

  const name_of = (point) => spoken({ name: point, uom: clips.get(point)?.shown_uom === "\u00b0C" ? "Cel" : (clips.get(point)?.shown_uom ?? "") });

  const moving = (now) => now.points.filter((point) => has_moved(point.state)).map((point) => point.point);

  function choose(point) {
    chosen = point;
    chosen_at = performance.now();
    not_still = new Set(moving(last).filter((mover) => mover !== point));
    say(last);
  }

  /** The one that moved alone since the choice, or the chosen one whenever it did. */
  function who_was_it(now) {
    const { point, since_s } = now.alone ?? {};
    if (!point || not_still.has(point)) return "";
    return point === chosen || !chosen || performance.now() - 1000 * since_s > chosen_at ? point : "";
  }

  function say(now) {
    last = now;
    const still_moving = moving(now);
    for (const point of not_still) if (!still_moving.includes(point)) not_still.delete(point);
    const movers = still_moving.map(name_of);
    const mover = who_was_it(now);
    let tone = "waiting";
    let text = chosen ? `Touch ${name_of(chosen)} now.` : "Touch one clip.";
    if (now.movers > 1) {
      tone = "several";
      text = `Several moved: ${movers.join(", ")}. Touch one only, and wait until all are still.`;
    } else if (chosen && not_still.size) {
      text = `Wait until ${[...not_still].map(name_of).join(", ")} ${not_still.size === 1 ? "is" : "are"} still.`;
    } else if (mover) {
      if (!chosen) [tone, text] = ["named", `${name_of(mover)} moved, alone.`];
      else if (chosen === mover) [tone, text] = ["right", `Right: ${name_of(mover)} moved, alone. Tick it off.`];
      else [tone, text] = ["wrong", `Wrong one: you touch ${name_of(chosen)}, but ${name_of(mover)} moved. Swap the clips, or the channels in the configuration.`];
    }
    told.dataset.tone = tone;
    set_text(told, text);
  }

  async function tick(point) {
    const name = who.value.trim();
    set_text(problem, name_problem(name));
    show(problem, problem.textContent !== "");
    if (problem.textContent) return who.focus();
    try {
      const list = await post(`${unit_address(unit)}/touched`, { who: name, point });
      keep_name(name);
      ticked(list);
    } catch (error) {
      set_text(problem, `Not ticked: ${error.message}`);
      show(problem, true);
    }
  }

  function make_row({ point: first }) {
    const radio = el("input", { type: "radio", name: "touching", value: first.point, onchange: () => choose(first.point) });
    const name = el("strong");
    const channel = el("code.meta");
    const mark = el("span.wiggle-mark", { "aria-hidden": "true" });
    const state = el("span.wiggle-state");
    const value = el("span.wiggle-value");
    const spark = sparkline();
    const done = el("span.meta");
    const button = el("button.plain.small-button", { type: "button", onclick: () => tick(first.point) }, "Tick off");
    return {
      node: el("li.wiggle-row", {}, el("label.wiggle-name", {}, radio, el("span", {}, name, " ", channel)), spark.node, value, el("span.wiggle-what", {}, mark, " ", state), button, done),
      update({ point, clip }) {
        set_text(name, name_of(point.point));
        set_text(channel, point.channel);
        const last = point.value.at(-1) ?? null;
        set_text(value, last === null ? "no reading" : `${figure(last)}\u202f${point.shown_uom}`);
        const [sign, words] = STATES[point.state];
        set_text(mark, sign);
        set_text(state, point.state === "moved" ? `${words} by ${point.moved_by > 0 ? "+" : ""}${figure(point.moved_by)}\u202f${point.shown_uom}` : words);
        rows_state(point);
        spark.update(point);
        const tick_of = clip?.ticked;
        set_text(done, tick_of ? `\u2713 ${tick_of.who}, ${local_time(tick_of.utc)}${tick_of.is_seen ? "" : ", by eye"}` : "not touched yet");
        button.setAttribute("aria-label", `Tick off ${name_of(point.point)}`);
      },
    };
    function rows_state(point) {
      const li = radio.closest("li");
      if (!li) return;
      li.dataset.state = point.state;
      li.dataset.chosen = chosen === point.point ? "yes" : "no";
    }
  }

  async function ask() {
    try {
      const now = await get(`${unit_address(unit)}/wiggle`, controller.signal);
      keep_list(rows, now.points.map((point) => ({ point, clip: clips.get(point.point) })), (item) => item.point.point, make_row);
      say(now);
    } catch (error) {
      if (is_left) return;
      told.dataset.tone = "several";
      set_text(told, `The traces cannot be read: ${error.message}`);
    }
    if (!is_left) timer = setTimeout(ask, ASK_EVERY_MS);
  }
  ask();
  return {
    node: el("section.panel.wiggle-part", { "aria-labelledby": "wiggle-head" }, el("h2", { id: "wiggle-head" }, "Touch them one by one"),
      el("p.dialog-caution", {}, "With the unit off, unplugged and discharged: hold a 1.5\u202fV cell across a clip and its reference, or warm the sensor with a finger, and its trace moves. Mains meters: plug a lamp in behind them. Nothing that can stand above 50\u202fV is touched live, with whatever tool."), power,
      el("label.inline-name", {}, "Your name, for the ticks", who), problem, told, group),
    begin() {
      told.scrollIntoView({ block: "start" });
      any.focus({ preventScroll: true });
    },
    /** `unit` as it is now. */
    power(unit_now) {
      const { outlet } = unit_now;
      const is_off = outlet.state === "off" && outlet.proof === "proven" && !outlet.bleed_text;
      const { word, detail } = outlet_words(outlet);
      const stands = [word, detail].filter(Boolean).join(", ");
      set_text(power, is_off ? "" : outlet.state === "on" ? "Its outlet is ON. Touch no clip: switch it off, wait until it has discharged, and measure that it has."
        : outlet.proof === "proven" ? standing_charge(bleed_words(unit_now))
          : `Its outlet: ${stands}. Touch no clip: pull its plug, wait until it has discharged, and measure that it has.`);
      show(power, !is_off);
    },
    know(list) {
      clips = new Map(list.clips.map((clip) => [clip.point, clip]));
    },
    leave() {
      is_left = true;
      clearTimeout(timer);
      controller.abort();
    },
  };
}
