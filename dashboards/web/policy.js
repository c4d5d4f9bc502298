// What a person decides for a run before they leave it, and what will happen then, in sentences.
import { check_field, choice_field, text_field } from "./forms.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { duration } from "./words.js";

const CUT_SHARE = "nine tenths";  // of the way to the trip limit: daemon/soak/policy.hpp
const STEADY = "ten minutes";     // the bench's mains_steady_minutes, unless it is set otherwise
const DAY_MINUTES = 24 * 60;

/** Whether a unit can stand still while it draws the power of play. */
export const has_transport = (unit) => unit.points.some((point) => ["speed", "motor"].includes(point.role)) || /deck|turntable/.test(unit.kind);

/** policy: the fields of the daemon. `back`: "08:00, in 9 h" or "". `who` decided it. */
export function policy_sentences(policy, { back, who, is_deck }) {
  const until = back ? "before then" : "while nobody is there";
  return [
    back ? `${who} is back ${back}.` : `Nobody has said when they are back.`,
    "A trip switches it off at once, and its current must prove it. After that only a person at the bench switches it on again.",
    policy.after_mains === "staged"
      ? `After a power cut it comes back by itself: after ${STEADY} of steady mains, in its turn, and only if nothing was said against it before.`
      : "After a power cut it stays off and waits for a person at the bench.",
    policy.on_forecast === "cut"
      ? `If it is on its way to a trip limit ${until}, it is cut at ${CUT_SHARE} of the way; ${policy.wakes_for_forecast ? "somebody is woken." : "nobody is woken, the morning sheet says it."}`
      : `If it is on its way to a limit ${until}, that is only told; it is cut when the trip limit is reached.`,
    is_deck ? (policy.is_cut_when_stuck ? "If its tape or motor stands while it draws the power of play, it is cut." : "If its tape or motor stands, that is told and not cut.") : "",
  ].filter(Boolean);
}

export function sentence_list() {
  const node = el("ul.reasons.happens");
  return {
    node,
    update: (sentences) => keep_list(node, sentences.map((text, index) => ({ text, index })), (item) => item.index, () => {
      const row = el("li");
      return { node: row, update: (item) => set_text(row, item.text) };
    }),
  };
}

/** Minutes from now to this time of day. */
function minutes_until(time) {
  const [hour, minute] = time.split(":").map(Number);
  if (!Number.isInteger(hour) || !Number.isInteger(minute)) return NaN;
  const now = new Date();
  const wait = hour * 60 + minute - (now.getHours() * 60 + now.getMinutes());
  return wait > 0 ? wait : wait + DAY_MINUTES;
}

/** The fields of a policy, and below them what they will do. In the demo the hours are the bench's own: its clock runs faster. */
export function policy_fields(unit, { is_accelerated }, given) {
  const is_deck = has_transport(unit);
  const back = is_accelerated
    ? text_field("I am back in so many hours of the bench", { type: "number", min: 1, max: 48, step: "any", value: "10", name: "back" })
    : text_field("I am back at", { type: "time", value: "08:00", name: "back" });
  const mains = choice_field("After a power cut", [["stay_off", "It stays off until somebody comes"], ["staged", "It comes back by itself, when the mains are steady"]], given?.after_mains ?? "stay_off");
  const forecast = choice_field("If a limit will be reached before I am back", [["cut", "Cut it in time"], ["tell", "Only write it down"]], given?.on_forecast ?? "cut");
  const wake = check_field("Wake me when it is cut for that", { checked: given?.wakes_for_forecast ?? false, name: "wake" });
  const stuck = check_field("Cut it when it stands and still draws the power of play", { checked: given?.is_cut_when_stuck ?? is_deck, name: "stuck" });
  const will = sentence_list();
  const minutes = () => (is_accelerated ? 60 * Number(back.value()) : minutes_until(back.value()));
  const read = () => ({
    person_back_in_minutes: minutes(), after_mains: mains.value(), on_forecast: forecast.value(),
    is_cut_when_stuck: is_deck && stuck.value(), wakes_for_forecast: forecast.value() === "cut" && wake.value(),
  });
  const node = el("div.policy", {}, back.node, mains.node, forecast.node, wake.node, is_deck ? stuck.node : null,
    el("div.will", { role: "status" }, el("h3", {}, "What will happen"), will.node));
  let is_touched = false;
  function say() {
    const wait = minutes();
    const words = wait > 0 ? `${is_accelerated ? "" : `at ${back.value()}, `}in ${duration(wait * 60)}` : "";
    show(wake.node, forecast.value() === "cut");
    will.update(policy_sentences(read(), { back: words, who: "Whoever leaves it", is_deck }));
  }
  node.addEventListener("input", () => {
    is_touched = true;
    say();
  });
  say();
  return { node, is_touched: () => is_touched, value: () => (minutes() > 0 ? read() : "Say when you are back.") };
}
