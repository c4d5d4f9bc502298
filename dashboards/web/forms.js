// The form with which a person acts: what it means, the caution beside it, who it is. In a dialog, or in its place on a view.
import { post } from "./api.js";
import { el, set_text, show } from "./dom.js";
import { refresh } from "./live.js";

const NAME_KEY = "steadyglow.who";
const NAME_BYTES_MAX = 80;
export const NOTE_BYTES_MAX = 1000;

export function kept_name() {
  try {
    return localStorage.getItem(NAME_KEY) ?? "";
  } catch {
    return "";
  }
}

export function keep_name(name) {
  try {
    localStorage.setItem(NAME_KEY, name);
  } catch {
    // A browser without storage asks again next time.
  }
}

const bytes = (text) => new TextEncoder().encode(text).length;

/** Why this name will not do, or "". */
export function name_problem(name) {
  if (!name) return "A name is needed: it goes into the record.";
  return bytes(name) > NAME_BYTES_MAX ? `The name is longer than ${NAME_BYTES_MAX} bytes.` : "";
}

export const name_input = () => el("input", { name: "who", autocomplete: "name", maxlength: NAME_BYTES_MAX, required: true });

// ---- fields: elements between the text and the name ----

export function text_field(label, attributes = {}) {
  const input = attributes.rows ? el("textarea", attributes) : el("input", { maxlength: NOTE_BYTES_MAX, ...attributes });
  return { node: el("label", {}, label, input), input, value: () => input.value.trim() };
}

/** A figure, or undefined when it was left empty; NaN when it is none. A comma is as good as a point. */
export function figure_field(label, attributes = {}) {
  const field = text_field(label, { inputmode: "decimal", ...attributes });
  return { ...field, value: () => (field.value() === "" ? undefined : Number(field.value().replace(",", ".").replace("\u2212", "-"))) };
}

export function check_field(text, attributes = {}) {
  const box = el("input", { type: "checkbox", ...attributes });
  return { node: el("label.check", {}, box, el("span", {}, text)), box, value: () => box.checked };
}

/** options: [[value, text], ...] */
export function select_field(label, options, chosen, attributes = {}) {
  const select = el("select", attributes, ...options.map(([value, text]) => el("option", { value, selected: value === chosen }, text)));
  return { node: el("label", {}, label, select), select, value: () => select.value };
}

let radio_groups = 0;

export function choice_field(legend, options, chosen) {
  radio_groups += 1;
  const boxes = options.map(([value, text]) => [value, el("input", { type: "radio", name: `choice-${radio_groups}`, value, checked: value === chosen }), text]);
  const node = el("fieldset.choice", {}, el("legend", {}, legend), ...boxes.map(([, box, text]) => el("label.check", {}, box, el("span", {}, text))));
  return { node, value: () => boxes.find(([, box]) => box.checked)?.[0] };
}

let forms_made = 0;

/**
 * A form as a node. `text` and `caution` are text or nodes; `fields` are nodes; `body(who)` is what is sent, or a text that
 * says why not yet; `deliver` sends it to `address`, unless it goes another way. `on_close` is called after it was sent, or given up.
 */
export function make_form({ title, text, caution, fields = [], action, tone, address, body, deliver = (sent) => post(address, sent), done, on_close, heading = "h2", heading_attributes = {} }) {
  forms_made += 1;
  const id = `form-${forms_made}`;
  const who = name_input();
  who.value = kept_name();
  const problem = el("p.problem", { role: "alert", hidden: true });
  const send = el("button", { type: "submit", class: tone }, action);
  const paragraph = (content, spec) => (!content ? null : typeof content === "string" ? el(spec, {}, content) : content);
  const form = el("form", { method: "dialog", "aria-labelledby": id },
    el(heading, { id, ...heading_attributes }, title), paragraph(text, "p"), paragraph(caution, "p.dialog-caution"), ...fields,
    el("label", {}, "Your name", who), problem,
    el("div.buttons", {}, el("button", { type: "button", class: "plain", onclick: () => on_close?.() }, "Cancel"), send));
  const complain = (message) => {
    set_text(problem, message);
    show(problem, true);
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const name = who.value.trim();
    if (name_problem(name)) return complain(name_problem(name));
    const sent = body(name);
    if (typeof sent === "string") return complain(sent);
    if (Object.values(sent).some((value) => typeof value === "string" && bytes(value) > NOTE_BYTES_MAX)) return complain(`One text is longer than ${NOTE_BYTES_MAX} bytes.`);
    send.disabled = true;
    try {
      const answer = await deliver(sent);
      keep_name(name);
      on_close?.();
      refresh();
      done?.(answer);
    } catch (error) {
      complain(`Not done: ${error.message}`);
      send.disabled = false;
    }
  });
  return { node: form, id };
}

/** The same in a dialog of its own. */
export function ask(spec) {
  const dialog = el("dialog");
  // The first field would scroll the caution away: one begins at the top.
  const form = make_form({ ...spec, heading_attributes: { tabindex: -1, autofocus: true }, on_close: () => dialog.close() });
  dialog.setAttribute("aria-labelledby", form.id);
  dialog.append(form.node);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
