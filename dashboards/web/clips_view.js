// The clips of one unit: the list to hold in the hand, and the wiggle test.
import { get, unit_address } from "./api.js";
import { clip_sheet } from "./clip_sheet.js";
import { el, set_text, show } from "./dom.js";
import { wiggle_part } from "./wiggle_part.js";

export function clips_view(name) {
  const absent = el("p.sentence", { role: "status" }, "Reading the clip list");
  const sheet = clip_sheet();
  const wiggle = wiggle_part(name, take);
  const controller = new AbortController();
  function take(list) {
    show(absent, false);
    sheet.update(list);
    wiggle.know(list);
  }
  get(`${unit_address(name)}/clips`, controller.signal).then(take, (error) => {
    if (controller.signal.aborted) return;
    set_text(absent, `The clip list could not be read: ${error.message}`);
    show(wiggle.node, false);
  });
  return {
    node: el("div.clips-view", {}, el("p.back", {}, el("a", { href: "#/wiring" }, "\u2190 Wiring"), " \u00b7 ", el("a", { href: `#/unit/${encodeURIComponent(name)}` }, "The unit, live"), " \u00b7 ", el("button.quiet", { type: "button", onclick: () => wiggle.begin() }, "Touch them one by one")), absent, sheet.node, wiggle.node),
    update(bench) {
      const unit = bench.units.find((one) => one.name === name);
      if (unit) wiggle.power(unit);
    },
    title: `Clips of ${name}`,
    leave() {
      controller.abort();
      wiggle.leave();
    },
  };
}
