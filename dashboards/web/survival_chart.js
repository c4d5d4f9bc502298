// The share of units still running after so many hours, as a stair with its band. The words beside it say the same; the table below it too.
import { el, keep_list, set_text } from "./dom.js";
import { HEIGHT, plot, shape, WIDTH } from "./plot.js";

const LEGEND = "Line: share still running. Shaded: where it may lie, with 95\u202f% confidence. Upright line: the plan\u2019s hours; framed after it: the next twelve. Hatched: longer than any unit was seen to run.";

/** Corners of a stair: it stands at 1 until the first step, and holds what it came to until `end`. */
function stair(steps, value, end) {
  const corners = [[0, 1]];
  for (const step of steps) corners.push([step.hours, corners.at(-1)[1]], [step.hours, value(step)]);
  corners.push([end, corners.at(-1)[1]]);
  return corners;
}

const percent = (share) => `${Math.round(100 * share)}\u202f%`;

/** update({steps: [{hours, survival, low, high}], last_hours, from_hours, to_hours}, words) */
export function survival_chart() {
  const picture = plot();
  const [unseen, next, band, line, plan] = ["rect", "rect", "path", "path", "line"].map((name, i) => shape(name, { class: ["beyond", "next", "band", "curve", "plan"][i] }));
  const hatch = shape("pattern", { id: "survival-hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  hatch.append(shape("rect", { width: 2, height: 9, class: "hatch" }));
  const defs = shape("defs");
  defs.append(hatch);
  unseen.setAttribute("fill", "url(#survival-hatch)");
  picture.svg.append(defs, next, band, unseen, line, plan);
  const legend = el("p.meta");
  const body = el("tbody");
  const table = el("details.figures", {}, el("summary", {}, "As a table"), el("table", {},
    el("thead", {}, el("tr", {}, ...["Hours", "Still running", "From", "To"].map((text) => el("th", { scope: "col" }, text)))), body));
  return {
    node: el("div.survival", {}, picture.node, legend, table),
    update({ steps, last_hours, from_hours, to_hours }, words) {
      const end = Math.max(last_hours, to_hours, 1);
      const lowest = Math.min(1, ...steps.map((step) => step.low));
      const floor = Math.min(0.9, Math.floor(lowest * 10) / 10);
      const x = (hours) => (WIDTH * hours) / end;
      const y = (share) => (HEIGHT * (1 - share)) / (1 - floor);
      const path = (corners) => corners.map(([hours, share]) => `${x(hours).toFixed(2)} ${y(share).toFixed(2)}`).join("L");
      const seen = Math.min(last_hours, end);
      line.setAttribute("d", `M${path(stair(steps, (step) => step.survival, seen))}`);
      band.setAttribute("d", `M${path([...stair(steps, (step) => step.high, seen), ...stair(steps, (step) => step.low, seen).reverse()])}Z`);
      for (const [rect, from, to] of [[unseen, seen, end], [next, from_hours, to_hours]]) {
        rect.setAttribute("x", x(from));
        rect.setAttribute("width", Math.max(0, x(to) - x(from)));
        rect.setAttribute("height", HEIGHT);
      }
      for (const [key, value] of [["x1", x(from_hours)], ["x2", x(from_hours)], ["y1", 0], ["y2", HEIGHT]]) plan.setAttribute(key, value);
      picture.update({ end, top: percent(1), bottom: percent(floor), words });
      set_text(legend, `${LEGEND}${floor > 0 ? ` The scale begins at ${percent(floor)}, not at nothing.` : ""}`);
      keep_list(body, steps, (one) => one.hours, () => {
        const cells = [el("th", { scope: "row" }), el("td"), el("td"), el("td")];
        return {
          node: el("tr", {}, ...cells),
          update: (one) => [`${Number(one.hours.toFixed(1))}\u202fh`, percent(one.survival), percent(one.low), percent(one.high)].forEach((text, i) => set_text(cells[i], text)),
        };
      });
    },
  };
}
