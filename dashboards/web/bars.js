// Two bars: hours counted of planned, and how near the worst point stands to its limit.
import { el, set_attribute, set_text, show } from "./dom.js";
import { duration, nearness } from "./words.js";

const SHARE_SHOWN = 1.25;  // the scale goes on a quarter past the limit

export function hours_bar() {
  const big = el("strong.value");
  const small = el("span");
  const fill = el("div.fill");
  const bar = el("div.bar", { role: "progressbar", "aria-label": "hours counted", "aria-valuemin": "0", "aria-valuemax": "100" }, fill);
  const node = el("div.hours", {}, el("p", {}, big, " ", small), bar);
  return {
    node,
    update(run) {
      show(node, Boolean(run));
      if (!run) return;
      const percent = run.planned_s > 0 ? Math.min(100, (100 * run.counted_s) / run.planned_s) : 0;
      set_text(big, duration(run.counted_s));
      set_text(small, `counted of ${duration(run.planned_s)}`);
      fill.style.width = `${percent}%`;
      set_attribute(bar, "aria-valuenow", Math.round(percent));
      set_attribute(bar, "aria-valuetext", `${duration(run.counted_s)} of ${duration(run.planned_s)}`);
    },
  };
}

export function limit_scale() {
  const name = el("span");
  const value = el("strong.value");
  const left = el("span.left");
  const needle = el("div.needle");
  const limit = el("div.limit");
  const track = el("div.scale", { "aria-hidden": "true" }, el("div.way"), limit, needle);
  const node = el("div.near", {}, el("p", {}, el("span.label", {}, "Nearest a limit"), " ", name, " ", value), track, el("p.meta", {}, left));
  limit.style.left = `${100 / SHARE_SHOWN}%`;
  return {
    node,
    update(unit) {
      const near = nearness(unit.worst, unit.points.find((point) => point.name === unit.worst?.point));
      show(node, Boolean(near));
      if (!near) return;
      set_text(name, near.name);
      set_text(value, near.value);
      set_text(left, near.left);
      node.dataset.near = near.is_beyond ? "beyond" : unit.worst.share >= 0.8 ? "close" : "far";
      needle.style.left = `${(100 * Math.min(unit.worst.share, SHARE_SHOWN)) / SHARE_SHOWN}%`;
    },
  };
}
