// Where a person acts: who it is, what it means, and the caution beside it.
import { post, unit_address } from "./api.js";
import { el, set_text, show } from "./dom.js";
import { refresh } from "./live.js";

const NAME_KEY = "steadyglow.who";
const NAME_BYTES_MAX = 80;
const NOTE_BYTES_MAX = 1000;

export function kept_name() {
  try {
    return localStorage.getItem(NAME_KEY) ?? "";
  } catch {
    return "";
  }
}

function keep_name(name) {
  try {
    localStorage.setItem(NAME_KEY, name);
  } catch {
    // A browser without storage asks again next time.
  }
}

const bytes = (text) => new TextEncoder().encode(text).length;

/** fields: elements between the text and the name; `body(who)` is what is sent; null holds it back. */
export function ask({ title, text, caution, fields = [], action, tone, address, body, done }) {
  const who = el("input", { name: "who", autocomplete: "name", maxlength: NAME_BYTES_MAX, required: true });
  who.value = kept_name();
  const problem = el("p.problem", { role: "alert", hidden: true });
  const send = el("button", { type: "submit", class: tone }, action);
  const dialog = el("dialog", { "aria-labelledby": "dialog-title" },
    el("form", { method: "dialog" },
      el("h2", { id: "dialog-title" }, title),
      text ? el("p", {}, text) : null,
      caution ? el("p.dialog-caution", {}, caution) : null,
      ...fields,
      el("label", {}, "Your name", who),
      problem,
      el("div.buttons", {}, el("button", { type: "button", class: "plain", onclick: () => dialog.close() }, "Cancel"), send)));
  const complain = (message) => {
    set_text(problem, message);
    show(problem, true);
  };
  dialog.querySelector("form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const name = who.value.trim();
    if (!name) return complain("A name is needed: it goes into the record.");
    if (bytes(name) > NAME_BYTES_MAX) return complain(`The name is longer than ${NAME_BYTES_MAX} bytes.`);
    const sent = body(name);
    if (typeof sent === "string") return complain(sent);
    send.disabled = true;
    try {
      await post(address, sent);
      keep_name(name);
      dialog.close();
      refresh();
      done?.();
    } catch (error) {
      complain(`Not done: ${error.message}`);
      send.disabled = false;
    }
  });
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

export function start_dialog(unit) {
  const box = el("input", { type: "checkbox", name: "at_the_bench", required: true });
  ask({
    title: `Start ${unit.title}`,
    text: "The outlet is switched on and a new run begins with its warm-up.",
    caution: "Lethal voltages follow at once. Clips on, covers as in use, nothing that burns near it, nobody touching it. Fuse, RCD or GFCI, thermal cut-out and smoke alarm must work without this computer. Local electrical code decides.",
    fields: [el("label.check", {}, box, el("span", {}, "I am at the bench and it is safe to power this unit"))],
    action: "Switch on and start", tone: "grave", address: `${unit_address(unit.name)}/start`,
    body: (who) => (box.checked ? { who, at_the_bench: true } : "Only a person at the bench may switch on: tick the box there."),
  });
}

export function stop_dialog(unit) {
  const why = el("input", { name: "why", maxlength: NOTE_BYTES_MAX, placeholder: "may stay empty" });
  ask({
    title: `Stop ${unit.title}`,
    text: "The outlet is ordered off and the run ends. What was read is kept.",
    caution: "An order is not proof: wait for \u201cOff, proven\u201d. Capacitors stay charged after that. Measure before you touch.",
    fields: [el("label", {}, "Why", why)],
    action: "Switch off and stop", tone: "grave", address: `${unit_address(unit.name)}/stop`,
    body: (who) => ({ who, why: why.value.trim() }),
  });
}

export function acknowledge_dialog(alarm, title) {
  const note = el("textarea", { name: "note", rows: 3, placeholder: "what you saw or did; may stay empty" });
  ask({
    title: `Acknowledge: ${title}`,
    text: alarm.message,
    caution: "This says that you know. It switches nothing, and it mends nothing.",
    fields: [el("label", {}, "Note", note)],
    action: "Acknowledge", address: `/api/v1/alarms/${alarm.id}/acknowledge`,
    body: (who) => (bytes(note.value.trim()) > NOTE_BYTES_MAX ? `The note is longer than ${NOTE_BYTES_MAX} bytes.` : { who, note: note.value.trim() }),
  });
}
