// Mouse: drag chooses a window, Shift and drag moves it, double-click shows all, Ctrl and wheel zooms. Touch: one finger moves
// sideways (up and down still scrolls the page), two fingers zoom.
import { el } from "./dom.js";

const DRAG_MIN_PX = 8;

/** `board` has window_s() and look_at(from_s, to_s); `graph_of()` is the chart library's graph or null. */
export function watch_gestures(place, board, graph_of) {
  const pointers = new Map();
  const mark = el("div.chosen", { hidden: true });
  const controller = new AbortController();
  let drag = null;

  const x_of = (event) => event.clientX - place.getBoundingClientRect().left;
  const seconds_at = (x) => graph_of().toDataXCoord(x) * 3600;
  const seconds_per_pixel = () => {
    const [from, to] = board.window_s();
    return (to - from) / graph_of().getArea().w;
  };

  function begin(kind) {
    const window = board.window_s();
    const xs = [...pointers.values()].map((pointer) => pointer.x);
    drag = { kind, window, xs, scale: seconds_per_pixel(), at: xs.map(seconds_at) };
  }

  function down(event) {
    if (!graph_of() || (event.pointerType === "mouse" && event.button !== 0)) return;
    pointers.set(event.pointerId, { x: x_of(event) });
    place.setPointerCapture(event.pointerId);
    if (event.pointerType === "mouse") begin(event.shiftKey ? "move" : "choose");
    else begin(pointers.size === 1 ? "move" : pointers.size === 2 ? "pinch" : "none");
  }

  function moved(event) {
    if (!drag || !pointers.has(event.pointerId)) return;
    pointers.get(event.pointerId).x = x_of(event);
    const xs = [...pointers.values()].map((pointer) => pointer.x);
    if (drag.kind === "choose") choose(xs[0]);
    if (drag.kind === "move" && Math.abs(xs[0] - drag.xs[0]) > 3) {
      const by = (xs[0] - drag.xs[0]) * drag.scale;
      board.look_at(drag.window[0] - by, drag.window[1] - by);
    }
    if (drag.kind === "pinch") pinch(xs);
  }

  function choose(x) {
    const area = graph_of().getArea();
    const clamp = (value) => Math.min(Math.max(value, area.x), area.x + area.w);
    const [left, right] = [clamp(drag.xs[0]), clamp(x)].sort((a, b) => a - b);
    drag.chosen = right - left >= DRAG_MIN_PX ? [left, right] : null;
    mark.hidden = !drag.chosen;
    if (!mark.isConnected) place.append(mark);
    mark.style.left = `${left}px`;
    mark.style.width = `${right - left}px`;
    mark.style.height = `${area.h}px`;
  }

  /** The moments under the two fingers stay under them. */
  function pinch(xs) {
    const apart = xs[1] - xs[0];
    if (Math.abs(apart) < 10) return;
    const scale = Math.abs((drag.at[1] - drag.at[0]) / apart);
    const area = graph_of().getArea();
    const from = drag.at[0] - (xs[0] - area.x) * scale;
    board.look_at(from, from + area.w * scale);
  }

  function up(event) {
    if (!pointers.delete(event.pointerId)) return;
    if (drag?.kind === "choose" && drag.chosen && event.type === "pointerup") board.look_at(...drag.chosen.map(seconds_at));
    mark.hidden = true;
    drag = null;
    if (pointers.size === 1) begin("move");
  }

  function wheel(event) {
    if (!event.ctrlKey || !graph_of()) return;
    event.preventDefault();
    const [from, to] = board.window_s();
    const at = seconds_at(x_of(event));
    const factor = event.deltaY > 0 ? 1.25 : 0.8;
    board.look_at(at - (at - from) * factor, at + (to - at) * factor);
  }

  const { signal } = controller;
  place.addEventListener("pointerdown", down, { signal });
  place.addEventListener("pointermove", moved, { signal });
  place.addEventListener("pointerup", up, { signal });
  place.addEventListener("pointercancel", up, { signal });
  place.addEventListener("dblclick", () => board.look_at(null), { signal });
  place.addEventListener("wheel", wheel, { signal, passive: false });
  return { leave: () => controller.abort() };
}
