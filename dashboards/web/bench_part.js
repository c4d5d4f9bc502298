// What feeds the units: the contactor of each bench, its watchdog, its load; and what a person may do there.
import { ask } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";

const bench_address = (name) => `/api/v1/benches/${encodeURIComponent(name)}`;

export function cut_bench_dialog(bench) {
  const why = el("input", { name: "why", placeholder: "may stay empty" });
  ask({
    title: `Cut ${bench.name}`,
    text: "The bench contactor opens: every unit on this bench loses its supply at once.",
    caution: "An order is not proof: only the current falling to nothing is. Capacitors stay charged. With smoke: call the fire service, do not go in alone.",
    fields: [el("label", {}, "Why", why)],
    action: "Cut the whole bench", tone: "grave", address: `${bench_address(bench.name)}/cut`, body: (who) => ({ who, why: why.value.trim() }),
  });
}

function close_bench_dialog(bench) {
  const box = el("input", { type: "checkbox", required: true });
  ask({
    title: `Close the contactor of ${bench.name}`,
    text: bench.contactor.reason ? `It was opened: ${bench.contactor.reason}.` : null,
    caution: "The outlets get their supply again; a unit whose own relay has welded comes on at once. Look at every unit first.",
    fields: [el("label.check", {}, box, el("span", {}, "I stand at the bench and have looked at it"))],
    action: "Close the contactor", tone: "grave", address: `${bench_address(bench.name)}/close`,
    body: (who) => (box.checked ? { who, at_the_bench: true } : "Only a person at the bench may do this: tick the box there."),
  });
}

function bench_row(first) {
  const now = { bench: first };
  const name = el("strong");
  const words = el("span");
  const rehearsal = el("p.meta");
  const cut = el("button.grave", { type: "button", onclick: () => cut_bench_dialog(now.bench) }, "Cut the whole bench\u2026");
  const close = el("button.plain", { type: "button", onclick: () => close_bench_dialog(now.bench) }, "Close the contactor\u2026");
  const node = el("section.supply", {}, el("div", {}, el("p", {}, name, " ", words), rehearsal), el("div.buttons", {}, close, cut));
  return {
    node,
    update(bench) {
      now.bench = bench;
      set_text(name, bench.name);
      const parts = [];
      if (bench.contactor.state !== "none") parts.push(`contactor ${bench.contactor.state}${bench.contactor.is_defective ? ", DEFECTIVE" : ""}`);
      parts.push(bench.watchdog.state === "none" ? "no hardware watchdog" : bench.watchdog.state === "fed" ? "watchdog fed" : `watchdog NOT fed: ${bench.watchdog.reason}`);
      if (bench.allowed_amperes !== null) parts.push(`${bench.amperes.toFixed(2)} A of ${bench.allowed_amperes.toFixed(1)} A that the branch may carry for hours`);
      if (bench.smoke !== "none") parts.push({ quiet: "smoke contact quiet", smoke: "SMOKE OR HEAT", unreadable: "smoke contact cannot be read" }[bench.smoke]);
      if (bench.person_on_call) parts.push(`${bench.person_on_call} is on call`);
      set_text(words, parts.join(" \u00b7 "));
      node.dataset.tone = bench.smoke === "smoke" || bench.contactor.is_defective || bench.watchdog.state === "held" ? "trouble" : "";
      const rehearsed = bench.rehearsal;
      set_text(rehearsal, rehearsed.state === "none" ? "The trip was never rehearsed here." : `Trip rehearsal ${rehearsed.state}${rehearsed.who ? ` (${rehearsed.who}, ${rehearsed.unit})` : ""}: ${rehearsed.text || "under way"}`);
      const is_open = bench.contactor.state === "open" || bench.contactor.state === "unknown";
      show(close, is_open);
      show(cut, bench.contactor.state !== "none");
    },
  };
}

export function bench_part() {
  const node = el("div.supplies");
  return { node, update: (bench) => keep_list(node, bench.benches ?? [], (one) => one.name, bench_row) };
}
