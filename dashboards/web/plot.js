// A small still picture over hours: a drawing that stretches to its place beside marks that do not. It is said in words, and stands above a table.
import { el, keep_list, set_attribute, set_text } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg";
const TICKS_MAX = 6;
export const WIDTH = 600;   // the drawing's own measure
export const HEIGHT = 200;

export function shape(name, attributes = {}) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
}

function tick_step(hours) {
  return [1, 2, 3, 6, 12, 24, 48, 96, 168, 336, 720].find((step) => hours / step <= TICKS_MAX) ?? Math.ceil(hours / TICKS_MAX / 720) * 720;
}

/** update({end: hours, top: text, bottom: text, words}); `svg` takes the shapes, in WIDTH by HEIGHT. */
export function plot() {
  const svg = shape("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none" });
  const [top, bottom] = [el("span"), el("span")];
  const ticks = el("div.hour-marks", { "aria-hidden": "true" });
  const node = el("div.still", { role: "img" }, el("div.height-marks", { "aria-hidden": "true" }, top, bottom), el("div.plot", { "aria-hidden": "true" }, svg), ticks);
  return {
    node, svg,
    update({ end, top: top_text, bottom: bottom_text, words }) {
      set_attribute(node, "aria-label", words);
      set_text(top, top_text);
      set_text(bottom, bottom_text);
      const step = tick_step(end);
      keep_list(ticks, Array.from({ length: Math.floor(end / step) + 1 }, (_, i) => i * step), (hours) => `${hours} ${end}`, (hours) => {
        const mark = el("span", {}, `${hours}\u202fh`);
        mark.style.left = `${(100 * hours) / end}%`;
        return { node: mark, update() {} };
      });
    },
  };
}
