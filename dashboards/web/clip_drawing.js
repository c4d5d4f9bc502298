// One clip as a drawing: what is touched at the left, what stands between, the meter's channel at the right, the reference below.
// Shapes say it all: a thick line is protective, a thin dashed one informative; a ring stands for mains, a bead for a temperature.
const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 300;
const HEIGHT = 62;
const WIRE_Y = 22;
const REFERENCE_Y = 50;

function shape(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

const line = (x1, y1, x2, y2, kind) => shape("line", { x1, y1, x2, y2, class: kind });

/** Two jaws that close on a lead. */
const jaws = (y) => [shape("path", { d: `M4 ${y - 7} L22 ${y} L4 ${y + 7}`, class: "part" }), line(22, y, 34, y, "wire")];
const bead = () => [shape("rect", { x: 3, y: WIRE_Y - 11, width: 5, height: 22, class: "live-part" }), shape("rect", { x: 9, y: WIRE_Y - 8, width: 4, height: 16, class: "pad" }), shape("circle", { cx: 19, cy: WIRE_Y, r: 5, class: "part full" }), line(24, WIRE_Y, 34, WIRE_Y, "wire")];
const ring = () => [line(2, WIRE_Y, 36, WIRE_Y, "live-part"), shape("ellipse", { cx: 18, cy: WIRE_Y, rx: 6, ry: 14, class: "part" })];
const ground = (x) => [line(x, REFERENCE_Y - 6, x, REFERENCE_Y, "wire"), line(x - 9, REFERENCE_Y, x + 9, REFERENCE_Y, "part"), line(x - 6, REFERENCE_Y + 4, x + 6, REFERENCE_Y + 4, "part"), line(x - 3, REFERENCE_Y + 8, x + 3, REFERENCE_Y + 8, "part")];
const label = (text) => [shape("text", { x: 44, y: REFERENCE_Y + 8 }, text)];
const SIGNS = { positive: "+", negative: "\u2212", either: "\u00b1" };
// What the second lead goes to. Only what hangs on the unit's ground is drawn on it.
const REFERENCES = { ground: () => ground(111), own_resistor: () => label("its resistor\u2019s low end"), other_pin: () => label("the other pin") };

export function clip_drawing(clip) {
  const svg = shape("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: `clip-drawing ${clip.is_protective ? "protective" : "informative"}`, role: "img", "aria-label": drawing_words(clip) });
  svg.append(...(clip.is_mains ? ring() : clip.quantity === "temperature" ? bead() : jaws(WIRE_Y)));
  const from = 34;
  if (!clip.between) svg.append(line(from, WIRE_Y, 196, WIRE_Y, "wire main"));
  else svg.append(line(from, WIRE_Y, 74, WIRE_Y, "wire main"), shape("rect", { x: 74, y: WIRE_Y - 12, width: 74, height: 24, class: "between" }), shape("text", { x: 111, y: WIRE_Y + 5, "text-anchor": "middle" }, short(clip.between)), line(148, WIRE_Y, 196, WIRE_Y, "wire main"));
  svg.append(shape("circle", { cx: 200, cy: WIRE_Y, r: 4, class: "part" }), shape("rect", { x: 206, y: 6, width: 90, height: 32, rx: 3, class: "between" }));
  const [meter, channel] = clip.channel.split(".");
  svg.append(shape("text", { x: 251, y: 19, "text-anchor": "middle" }, short(meter)), shape("text", { x: 251, y: 33, "text-anchor": "middle", class: "strong" }, short(channel)));
  if (SIGNS[clip.sign]) svg.append(shape("text", { x: 40, y: WIRE_Y - 5, class: "strong" }, SIGNS[clip.sign]));
  const reference = REFERENCES[clip.reference];
  if (reference) svg.append(...jaws(REFERENCE_Y - 6), line(34, REFERENCE_Y - 6, 200, REFERENCE_Y - 6, "wire"), line(200, REFERENCE_Y - 6, 200, WIRE_Y + 4, "wire"), ...reference());
  return svg;
}

const short = (text) => (text.length > 12 ? `${text.slice(0, 11)}\u2026` : text);

function drawing_words(clip) {
  const tip = clip.is_mains ? "a meter round the mains lead" : clip.quantity === "temperature" ? "an insulated sensor" : "a clip";
  return `${tip}, ${clip.between ? `by ${clip.between}` : "straight"} to ${clip.channel}`;
}
