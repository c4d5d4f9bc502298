// Small pieces that more than one view shows. Each is {node, update(...)}. Shape and words carry the meaning; colour only helps.
import { el, set_text, show } from "./dom.js";
import { outlet_words, severity_words } from "./words.js";

/** trip: a filled block; warning: a thick frame; note: a dotted frame. */
export function severity_tag() {
  const node = el("span.tag");
  return {
    node,
    update(severity) {
      node.dataset.severity = severity;
      set_text(node, severity_words(severity));
    },
  };
}

export function outlet_mark() {
  const word = el("strong.value");
  const detail = el("span");
  const node = el("p.outlet", {}, el("span.mark", { "aria-hidden": "true" }), el("span.label", {}, "Outlet"), " ", word, " ", detail);
  return {
    node,
    update(outlet) {
      const words = outlet_words(outlet);
      node.dataset.tone = words.tone;
      set_text(word, words.word);
      // "off, proven: 0.00 A ..." need not say twice what stands before it.
      const proof = outlet.proof_text.toLowerCase().startsWith(`${words.word.toLowerCase()}: `) ? outlet.proof_text.slice(words.word.length + 2) : outlet.proof_text;
      const details = [words.detail, proof].filter(Boolean).join(": ");
      set_text(detail, details);
      show(detail, details !== "");
    },
  };
}
