// Text for a person to take away: into a file, or onto the command line.
import { el, set_text } from "./dom.js";

let boxes_made = 0;

/** `rows` at most are seen at once. */
export function copy_box(label, rows_max = 18) {
  boxes_made += 1;
  const id = `copy-${boxes_made}`;
  const area = el("textarea.copy-text", { id, readonly: true, spellcheck: "false", wrap: "off", rows: 3 });
  const said = el("span.meta", { role: "status" });
  const button = el("button.plain.small-button", { type: "button", onclick: copy }, "Copy");
  async function copy() {
    area.select();
    try {
      await navigator.clipboard.writeText(area.value);
      set_text(said, "copied");
    } catch {
      set_text(said, "selected: copy it with the keyboard");  // a page without TLS may not reach the clipboard
    }
  }
  return {
    node: el("div.copy-box", {}, el("label", { for: id }, label), area, el("div.buttons.left", {}, button, said)),
    update(text) {
      if (area.value === text) return;
      area.value = text;
      area.rows = Math.min(rows_max, Math.max(2, text.split("\n").length));
      set_text(said, "");
    },
  };
}
