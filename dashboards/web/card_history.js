// The entries of a card, newest first. What was corrected stays where it was, struck through, with who did it and when.
import { entry_fields, KINDS, kind_name } from "./card_entries.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { make_form, text_field } from "./forms.js";
import { day_and_time } from "./runs.js";

/** The same kind anew, filled with what stands there; or only a reason why it does not hold. */
function correction_form(entry, { address, done, on_close }, is_withdrawn) {
  const head = { heading: "h3", address, done, on_close };
  if (is_withdrawn) {
    const why = text_field("Why it does not hold", { name: "text", rows: 2, required: true });
    return make_form({
      ...head, title: `Withdraw: ${kind_name(entry.kind)}`, text: "The entry stays, struck through, with your reason after it.", fields: [why.node], action: "Withdraw it",
      body: (who) => (why.value() ? { who, kind: "remark", fields: { text: why.value() }, corrects: entry.id } : "A reason is needed."),
    });
  }
  const fields = entry_fields(entry.kind, entry.fields);
  return make_form({
    ...head, title: `Correct: ${kind_name(entry.kind)}`, text: "The old entry stays, struck through; this one stands in its place.", caution: KINDS[entry.kind].caution, fields: fields.nodes, action: "Enter the correction",
    body(who) {
      const values = fields.values();
      return typeof values === "string" ? values : { who, kind: entry.kind, fields: values, corrects: entry.id };
    },
  });
}

/** Sentences of the other kinds say by themselves what they are. */
const NAMED = new Set(["repair", "tube", "adjustment", "remark"]);

/** {head, text}: the kind, where the sentence does not begin with it; and the sentence. */
function words_of(entry, is_over) {
  const head = NAMED.has(entry.kind) ? kind_name(entry.kind) : "";
  const text = head ? entry.text : entry.text.charAt(0).toUpperCase() + entry.text.slice(1);
  return { head: is_over ? `${[head, "no longer holds"].filter(Boolean).join(", ")}:` : head, text };  // said for the ear, struck for the eye
}

function make_entry(sent) {
  const now = { entry: null };
  const kind = el("strong");
  const text = el("span");
  const struck = el("s");
  const by = el("span.meta");
  const place = el("div.act-form", { hidden: true });
  const button = (label, is_withdrawn) => el("button.quiet", { type: "button", "aria-expanded": "false", onclick: (event) => toggle(event.currentTarget, is_withdrawn) }, label);
  const correct = button("Correct\u2026", false);
  const withdraw = button("Withdraw\u2026", true);
  let open_button = null;
  function toggle(pressed, is_withdrawn) {
    const was_open = open_button === pressed;
    close();
    if (was_open) return;
    open_button = pressed;
    pressed.setAttribute("aria-expanded", "true");
    const form = correction_form(now.entry, { ...sent, on_close: () => { close(); pressed.focus(); } }, is_withdrawn);
    place.replaceChildren(form.node);
    show(place, true);
    form.node.querySelector("input, textarea").focus({ preventScroll: true });
    form.node.scrollIntoView({ block: "nearest" });
  }
  function close() {
    open_button?.setAttribute("aria-expanded", "false");
    open_button = null;
    place.replaceChildren();
    show(place, false);
  }
  return {
    node: el("li.entry", {}, el("p.entry-words", {}, kind, " ", text, struck), el("p.entry-by", {}, by, el("span.entry-buttons", {}, correct, withdraw)), place),
    update({ entry, after }) {
      now.entry = entry;
      this.node.dataset.over = after ? "yes" : "no";
      const words = words_of(entry, Boolean(after));
      set_text(kind, after ? words.head.charAt(0).toUpperCase() + words.head.slice(1) : words.head);
      show(kind, words.head !== "");
      set_text(text, after ? "" : words.text);
      set_text(struck, after ? words.text : "");
      const role = entry.corrects ? (entry.kind === "remark" ? "Withdraws an entry \u00b7 " : "Corrects an entry \u00b7 ") : "";
      set_text(by, `${role}${entry.who}, ${day_and_time(entry.utc)}${after ? ` \u00b7 corrected by ${after.who}, ${day_and_time(after.utc)}` : ""}`);
      show(correct, !after && entry.kind in KINDS);
      show(withdraw, !after);
      for (const [node, word] of [[correct, "Correct"], [withdraw, "Withdraw"]]) set_attribute(node, "aria-label", `${word}: ${kind_name(entry.kind)}, ${entry.text}`);
      if (after && open_button) close();
    },
  };
}

/** sent: {address, done}: where a correction goes, and what hears the card that comes back. */
export function card_history(sent) {
  const list = el("ol.entries");
  const none = el("p.meta", {}, "Nothing is entered yet.");
  return {
    node: el("div", {}, list, none),
    update(entries) {
      const by_id = new Map(entries.map((entry) => [entry.id, entry]));
      keep_list(list, [...entries].reverse().map((entry) => ({ entry, after: by_id.get(entry.corrected_by) })), (item) => item.entry.id, () => make_entry(sent));
      show(none, entries.length === 0);
    },
  };
}
