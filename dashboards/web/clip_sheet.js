// The clip list of a unit: one side of paper that a person holds while wiring.
import { clip_drawing } from "./clip_drawing.js";
import { el, set_text, show } from "./dom.js";
import { local_time, set_figure, spoken } from "./words.js";

const volts = (value) => (value >= 1 ? `${set_figure(Number(value.toPrecision(3)))}\u202fV` : `${set_figure(Number((1000 * value).toPrecision(3)))}\u202fmV`);

function voltage_words(clip) {
  if (clip.is_mains) return "Mains";
  const parts = [];
  if (clip.expected_volts !== null) parts.push(`up to ${volts(clip.expected_volts)}`);
  if (clip.at_worst_volts !== null && clip.at_worst_volts > (clip.expected_volts ?? 0)) parts.push(`${volts(clip.at_worst_volts)} when a part fails`);
  return parts.join("; ") || (["voltage", "current"].includes(clip.quantity) ? "not stated" : "none of its own");
}

function ticked_words(ticked) {
  return ticked ? `\u2713 ${ticked.who}, ${local_time(ticked.utc)}${ticked.is_seen ? ", seen to move alone" : ", ticked by eye"}` : "\u2610 not touched yet";
}

/** On paper a caution that many clips have stands once, and its letter at each of them. */
function letters_of(clips) {
  const texts = [...new Set(clips.flatMap((clip) => clip.cautions))];
  return new Map(texts.map((text, i) => [text, String.fromCharCode(65 + (i % 26)).repeat(1 + Math.floor(i / 26))]));
}

function clip_row(clip, number, letters) {
  return el("tr", { "data-protective": clip.is_protective ? "yes" : "no" },
    el("th", { scope: "row" }, el("span.clip-number", {}, String(number)), el("strong", {}, spoken({ name: clip.point, uom: clip.shown_uom === "\u00b0C" ? "Cel" : clip.shown_uom })), el("span.standing", {}, clip.is_protective ? "protective" : "informative"), el("span.where", {}, clip.where || "where: not stated in the profile")),
    el("td.drawn", {}, clip_drawing(clip), el("span.chain", {}, clip.chain)),
    el("td", { "data-label": "Sign and reference" }, el("span.sign", {}, clip.sign === "none" ? "No sign." : `Sign: ${clip.sign_words}.`), " ", el("span.reference", {}, clip.reference_words === "none" ? "No reference." : `Reference: ${clip.reference_words}.`)),
    el("td", { "data-label": "Highest voltage" }, el("strong.volts", {}, voltage_words(clip)), ...clip.cautions.map((text) => el("span.clip-caution", {}, `\u26a0\ufe0e ${text}`)), clip.cautions.length ? el("span.caution-letters", { "aria-hidden": "true" }, `\u26a0\ufe0e ${clip.cautions.map((text) => letters.get(text)).join(", ")}`) : null),
    el("td.tick", { "data-label": "Touched" }, ticked_words(clip.ticked)));
}

export function clip_sheet() {
  const title = el("h1");
  const meta = el("p.meta");
  const cautions = el("ul.clip-cautions");
  const body = el("tbody");
  const head = el("thead", {}, el("tr", {}, ...["Point, and where to clip", "From clip to channel", "Sign and reference", "Highest voltage", "Touched"].map((text) => el("th", { scope: "col" }, text))));
  const print = el("button.plain.small-button.print", { type: "button", onclick: () => window.print() }, "Print on A4");
  const key = el("p.meta.key", {}, "Thick line: protective (losing it loses sight of a hazard). Thin dashed line: informative.");
  const letter_key = el("ul.letter-key", { "aria-hidden": "true" });
  const node = el("section.clip-sheet", { "aria-label": "Clip list" }, el("div.unit-head", {}, el("div", {}, title, meta), print), cautions, el("table.clips", {}, head, body), letter_key, key);
  show(node, false);
  return {
    node,
    update(list) {
      show(node, true);
      set_text(title, `${list.title}: where the clips go`);
      set_text(meta, [list.serial && `serial number ${list.serial}`, list.bench, list.kind, `${list.clips.length} clips`].filter(Boolean).join(" \u00b7 "));
      cautions.replaceChildren(...list.cautions.map((text) => el("li", {}, text)));
      const letters = letters_of(list.clips);
      body.replaceChildren(...list.clips.map((clip, i) => clip_row(clip, i + 1, letters)));
      letter_key.replaceChildren(...[...letters].map(([text, letter]) => el("li", {}, el("strong", {}, `\u26a0\ufe0e ${letter} `), text)));
      node.dataset.size = list.clips.length > 18 ? "many" : list.clips.length > 11 ? "some" : "few";
    },
  };
}
