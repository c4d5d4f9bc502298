// The kinds of entries of a unit's card and what each asks. Every form for an entry is made of this one table.
import { choice_field, figure_field, text_field } from "./forms.js";

// How a field is asked for, besides a line of text.
const LONG = "long";       // several lines
const LINES = "lines";     // a list: one on each line
const FIGURE = "figure";
const DAY = "day";
const YES_NO = "yes_no";

const OFF_WORK = "Repairs are done, and tubes changed, in a unit that is off, unplugged, discharged and measured.";

export const KINDS = {
  unit: {
    name: "As plated", button: "As plated", text: "What is written at its back, as it is written there. What you leave empty stays as it was.",
    fields: [
      { name: "title", label: "What the shop calls it" }, { name: "maker", label: "Maker, as plated" }, { name: "model", label: "Model, as plated" }, { name: "serial", label: "Serial number" },
      { name: "kind", label: "Kind, as in its profile" }, { name: "nameplate_volts", label: "Nameplate volts", how: FIGURE }, { name: "nameplate_hertz", label: "Nameplate hertz", how: FIGURE }, { name: "stock_number", label: "Stock number" }],
  },
  repair: {
    name: "Repair", button: "Repair", text: "What was wrong, and what was done about it.", caution: OFF_WORK,
    fields: [
      { name: "told", label: "The fault, as it was told", how: LONG }, { name: "found", label: "What was found", how: LONG, is_needed: true },
      { name: "parts_out", label: "Parts taken out, one on each line", how: LINES }, { name: "parts_in", label: "Parts put in, one on each line", how: LINES }],
  },
  tube: {
    name: "Tube", button: "Tube put in", text: "Which tube sits in which socket from now on.", caution: OFF_WORK,
    fields: [
      { name: "socket", label: "Socket", is_needed: true }, { name: "type", label: "Type", is_needed: true }, { name: "identity", label: "What tells it from others of its type" },
      { name: "prior_hours", label: "Hours that it had run before", how: FIGURE }],
  },
  adjustment: {
    name: "Adjustment", button: "Adjustment", text: "A trimmer that was turned outside a run. During a run, enter it at the bench: its points then begin anew.",
    caution: "Trimming is work on live parts: insulated tool, one hand, somebody else near. Local code and licensed practice decide.",
    fields: [
      { name: "what", label: "What was adjusted", is_needed: true }, { name: "before", label: "It read, before", how: FIGURE, is_needed: true }, { name: "after", label: "and reads now", how: FIGURE, is_needed: true },
      { name: "uom", label: "In (such as mV, V, A, %)", is_needed: true }],
  },
  safety_test: {
    name: "Safety test", button: "Safety test", text: "Method, values and instrument: earth continuity, insulation, leakage.",
    caution: "A safety test is measured by an electrically skilled person, with the case closed and the unit as it will be used.",
    fields: [{ name: "text", label: "What was measured", how: LONG, is_needed: true }],
  },
  sold: {
    name: "Sold", button: "Sold", text: "It leaves the shop. What becomes of it later is added below; nothing is changed.",
    fields: [{ name: "day", label: "The day", how: DAY, is_needed: true }],
  },
  returned: {
    name: "Came back", button: "Came back", text: "What comes back after it was sold is the only thing that teaches a shop how long to soak. Enter it, also when it was nobody\u2019s fault.",
    fields: [
      { name: "day", label: "The day", how: DAY, is_needed: true }, { name: "complaint", label: "What the owner says", how: LONG, is_needed: true }, { name: "owner_hours", label: "Hours that the owner ran it, as far as known", how: FIGURE },
      { name: "found", label: "What was found", how: LONG },
      { name: "is_fault", label: "Was it the unit?", how: YES_NO, is_needed: true, options: [["yes", "Yes, something in it failed"], ["no", "No: transport, or a change of mind"]] }],
  },
  remark: {
    name: "Remark", button: "Remark", text: "A word for whoever opens this card next.",
    fields: [{ name: "text", label: "The remark", how: LONG, is_needed: true }],
  },
};

export const kind_name = (kind) => KINDS[kind]?.name ?? kind.replaceAll("_", " ");

const today = () => new Date(Date.now() - 60000 * new Date().getTimezoneOffset()).toISOString().slice(0, 10);

function make_field(field, before) {
  const { name, label, how, is_needed, options } = field;
  if (how === YES_NO) {
    const choice = choice_field(label, options, before === undefined ? undefined : before ? "yes" : "no");
    return { ...field, node: choice.node, value: () => (choice.value() === undefined ? undefined : choice.value() === "yes") };
  }
  const attributes = { name, required: is_needed, placeholder: is_needed ? null : "may stay empty", ...(how === LONG || how === LINES ? { rows: how === LINES ? 3 : 2 } : {}), ...(how === DAY ? { type: "date" } : {}) };
  const made = how === FIGURE ? figure_field(label, attributes) : text_field(label, attributes);
  made.input.value = Array.isArray(before) ? before.join("\n") : before ?? (how === DAY ? today() : "");
  const value = how === LINES ? () => made.value().split("\n").map((line) => line.trim()).filter(Boolean) : made.value;
  return { ...field, node: made.node, value };
}

const is_empty = (value) => value === undefined || value === "" || (Array.isArray(value) && value.length === 0);

/** The fields of a form of this kind, filled with those of an earlier entry: {nodes, values()}. values() is an object, or a text that says what is missing. */
export function entry_fields(kind, earlier = {}) {
  const fields = KINDS[kind].fields.map((field) => make_field(field, earlier[field.name]));
  return {
    nodes: fields.map((field) => field.node),
    values() {
      const values = {};
      for (const { name, label, is_needed, value } of fields) {
        const found = value();
        if (Number.isNaN(found)) return `\u201c${label}\u201d is a figure.`;
        if (!is_empty(found)) values[name] = found;
        else if (is_needed) return `\u201c${label}\u201d is needed.`;
      }
      return Object.keys(values).length ? values : "Nothing is filled in.";
    },
  };
}
