// What a person does to a run: pause, a screwdriver, a part, a remark, a signature. One quiet place, one small form at a time.
import { unit_address } from "./api.js";
import { OFF_CAUTION } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { figure_field, make_form, select_field, text_field } from "./forms.js";
import { duration, run_clock, spoken, verdict_words, wall_clock } from "./words.js";

const ON_CAUTION = "Lethal voltages follow at once. Covers on, nobody\u2019s hands inside, nothing that burns near it. After a long time off look at it first.";
const VERDICTS = ["pass", "pass_with_remarks", "incomplete", "fail"];

function points_field(unit) {
  const boxes = unit.points.filter((point) => !point.role.startsWith("mains_") && point.role !== "ambient")
    .map((point) => ({ name: point.name, box: el("input", { type: "checkbox", value: point.name }), text: spoken(point) }));
  return {
    node: el("fieldset.point-boxes", {}, el("legend", {}, "Points that it moves"), ...boxes.map(({ box, text }) => el("label.check", {}, box, el("span", {}, text)))),
    chosen: () => boxes.filter(({ box }) => box.checked).map(({ name }) => name),
  };
}

const note = (label = "Why") => text_field(label, { name: "why", placeholder: "for the record; may stay empty" });
const why_of = (field) => (field.value() ? { why: field.value() } : {});

/** Each: what its form says and asks; `more()` gives the fields of the act, or a text that says what is missing. */
const ACTS = {
  pause: (unit) => {
    const why = note();
    return { title: `Pause ${unit.title}`, text: "The outlet is ordered off. The run waits, and its hours stand still until somebody lets it go on.", caution: OFF_CAUTION, fields: [why.node], action: "Switch off and wait", more: () => why_of(why) };
  },
  go_on: (unit) => {
    const why = note();
    return { title: `Go on with ${unit.title}`, text: "The outlet is closed and the run goes on. After more than ten minutes off it warms up again, uncounted.", caution: ON_CAUTION, fields: [why.node], action: "Switch on and go on", tone: "grave", more: () => why_of(why) };
  },
  touch: (unit) => {
    const points = points_field(unit);
    const control = text_field("Which control", { name: "control", placeholder: "such as: bias trimmer of V3" });
    const before = figure_field("The first of them read, before", { name: "before" });
    const after = figure_field("and reads now", { name: "after" });
    const why = note();
    return {
      title: "A screwdriver was used", action: "Enter it",
      text: "The points that it moves begin a new segment, with a baseline of their own; the others keep their hours. More than 10 %, or a second trim of the same control, starts their hours again.",
      caution: "Trimming is work on live parts: insulated tool, one hand, somebody else near. Local code and licensed practice decide.",
      fields: [points.node, control.node, el("div.pair", {}, before.node, after.node), why.node],
      more() {
        if (!points.chosen().length || !control.value()) return "Name the control, and at least one point that it moves.";
        if (Number.isNaN(before.value()) || Number.isNaN(after.value())) return "Before and after are figures.";
        return { points: points.chosen(), control: control.value(), before: before.value(), after: after.value(), ...why_of(why) };
      },
    };
  },
  replace_part: () => {
    const part = text_field("Which part", { name: "control", placeholder: "such as: tube V3" });
    const why = note();
    return {
      title: "A part was replaced", text: "The unit starts its hours again. Nothing that was read is lost.", caution: "Parts are replaced in a unit that is off, unplugged, discharged and measured.", fields: [part.node, why.node], action: "Enter it",
      more: () => (part.value() ? { control: part.value(), ...why_of(why) } : "Name the part."),
    };
  },
  move: (unit, bench) => {
    const others = (bench.benches ?? []).map((one) => one.name).filter((name) => name !== unit.bench);
    const where = others.length ? select_field("Where it stands now", others.map((name) => [name, name]), others[0], { name: "bench" }) : text_field("Where it stands now", { name: "bench" });
    const why = note();
    return {
      title: "It was moved", text: "The record says from here on that it stands elsewhere. The outlet that feeds it is a matter of the configuration.", fields: [where.node, why.node], action: "Enter it",
      more: () => (where.value() ? { bench: where.value(), ...why_of(why) } : "Say where it stands."),
    };
  },
  remark: () => {
    const why = text_field("The remark", { name: "why", rows: 3 });
    return { title: "A remark", text: "It stands in the record of this run, with your name.", fields: [why.node], action: "Enter it", more: () => (why.value() ? { why: why.value() } : "Write it in a few words.") };
  },
  stop: (unit) => {
    const why = note();
    return { title: `Stop ${unit.title} for good`, text: "The outlet is ordered off and the run ends, incomplete. What was read is kept.", caution: OFF_CAUTION, fields: [why.node], action: "Switch off and stop", tone: "grave", more: () => why_of(why) };
  },
  sign: (unit) => {
    const proposed = unit.run.verdict.word;
    const word = select_field("Your verdict", VERDICTS.map((one) => [one, `${verdict_words(one)}${one === proposed ? " (as proposed)" : ""}`]), proposed, { name: "word" });
    const why = text_field("Why, and on what you decide", { name: "why", rows: 3, placeholder: "needed when it is not the proposed one" });
    return {
      title: `Sign for ${unit.title}`,
      text: `Proposed: ${verdict_words(proposed)}. Your name stands under your verdict, beside what was proposed.${unit.run.signature ? ` ${unit.run.signature.who} has signed: ${verdict_words(unit.run.signature.word)}. That stays in the record; yours comes after it.` : ""}`, fields: [word.node, why.node], action: "Sign",
      more: () => (word.value() !== proposed && !why.value() ? "Another verdict than the proposed one needs its reason." : { word: word.value(), ...why_of(why) }),
    };
  },
};

const BUTTONS = [["pause", "Pause"], ["go_on", "Go on"], ["touch", "Screwdriver used"], ["replace_part", "Part replaced"], ["move", "Moved"], ["remark", "Remark"], ["sign", "Sign"], ["stop", "Stop for good"]];
const WAITS = { paused: "Paused: it waits for somebody to let it go on.", lost: "It has lost its supply and waits.", bench_open: "It went off with its bench, through no fault of its own, and waits." };

function allowed(run) {
  const is_open = run.state === "running";
  const is_off = run.power !== "on";
  return { pause: is_open && run.power === "on", go_on: run.power in WAITS, touch: is_open, replace_part: is_open && is_off, move: is_open && is_off, remark: true, sign: Boolean(run.verdict), stop: is_open };
}

function make_event(now) {
  const at = el("td.when");
  const what = el("td");
  const node = el("tr", {}, at, what);
  return {
    node,
    update(item) {
      const { run, clock_rate } = now;
      set_text(at, `${run_clock(item.at)} \u00b7 ${wall_clock(run, item.at, clock_rate)}`);
      set_text(what, item.text);
      node.dataset.kind = item.kind;
    },
  };
}

/** Interruptions and segments of a run in one list, oldest first. */
export function run_events(run, points) {
  const names = (segment) => segment.points.map((name) => spoken(points.find((point) => point.name === name) ?? { name, uom: "" })).join(", ");
  const gaps = (run.interruptions ?? []).map((gap, i) => {
    const length = gap.to_s === null || gap.to_s === undefined ? "until now" : `for ${duration(gap.to_s - gap.from_s)}`;
    return { key: `gap ${i}`, kind: "gap", at: gap.from_s, text: `${gap.is_planned ? "Off by intention" : "Interrupted"} ${length}: ${gap.why}` };
  });
  const segments = (run.segments ?? []).filter((segment) => segment.from_s > 0)
    .map((segment) => ({ key: `segment ${segment.number}`, kind: "segment", at: segment.from_s, text: `Segment ${segment.number} begins${segment.points.length ? ` (${names(segment)})` : " (all points)"}: ${segment.why}` }));
  return [...gaps, ...segments].sort((a, b) => a.at - b.at);
}

export function events_part() {
  const now = { run: null, clock_rate: 1 };
  const body = el("tbody");
  const node = el("section", { "aria-labelledby": "life-head" }, el("h2", { id: "life-head" }, "Interruptions and segments"), el("table.life-list", {}, body));
  return {
    node,
    update(unit, bench) {
      Object.assign(now, { run: unit.run, clock_rate: bench.clock_rate });
      const events = unit.run ? run_events(unit.run, unit.points) : [];
      show(node, events.length > 0);
      keep_list(body, events, (item) => item.key, () => make_event(now));
    },
  };
}

export function life_part() {
  const now = { unit: null, bench: null, open: null };
  const place = el("div.act-form", { hidden: true });
  const buttons = BUTTONS.map(([kind, label]) => ({ kind, node: el("button.plain.small-button", { type: "button", "aria-expanded": "false", onclick: () => choose(kind) }, label) }));
  const waits = el("p.waits");
  const fold = el("details.panel.life", {}, el("summary", {}, el("h2", {}, "Do something at this unit")), el("div.buttons.left", {}, ...buttons.map((one) => one.node)), place);
  const node = el("div", {}, waits, fold);

  function choose(kind) {
    const is_same = kind === now.open;
    now.open = is_same ? null : kind;
    for (const one of buttons) one.node.setAttribute("aria-expanded", String(one.kind === now.open));
    show(place, Boolean(now.open));
    if (!now.open) return place.replaceChildren();
    const { more, ...spec } = ACTS[kind](now.unit, now.bench);
    const form = make_form({
      ...spec, heading: "h3", address: `${unit_address(now.unit.name)}/acts`, on_close: () => close(kind),
      body(who) {
        const fields = more();
        return typeof fields === "string" ? fields : { who, kind, ...fields };
      },
    });
    place.replaceChildren(form.node);
    form.node.querySelector("input, select, textarea").focus({ preventScroll: true });
    form.node.scrollIntoView({ block: "nearest" });
  }

  function close(kind) {
    if (now.open === kind) choose(kind);
    buttons.find((one) => one.kind === kind)?.node.focus();
  }

  return {
    node,
    update(unit, bench) {
      now.unit = unit;
      now.bench = bench;
      const has_life = Boolean(unit.run?.power);
      show(node, has_life);
      if (!has_life) return;
      const may = allowed(unit.run);
      for (const one of buttons) show(one.node, may[one.kind]);
      set_text(waits, WAITS[unit.run.power] ?? "");
      show(waits, unit.run.power in WAITS);
      if (now.open && !may[now.open]) choose(now.open);
    },
  };
}

/** "b_plus_v 31.0 V, below 50 V 7 min after the order; measure before you touch": {head, rest}. */
export function bleed_words(unit) {
  const text = unit.outlet.bleed_text;
  if (!text) return null;
  const point = unit.points.find((one) => text.startsWith(`${one.name} `));
  if (!point) return { head: text, rest: "" };
  const [, value, rest] = text.slice(point.name.length + 1).match(/^(\S+ \S+?)(?:,? (.*))?$/) ?? [null, text, ""];
  const label = point.role === "supply" && point.name.startsWith("b_plus") ? "B+" : spoken(point);
  return { head: `${label} ${value.replace(" ", "\u202f").replace("-", "\u2212")}`, rest: rest ?? "" };
}

export function bleed_part() {
  const head = el("strong.value");
  const rest = el("span");
  const node = el("p.bleed", {}, el("span.label", {}, "Charge left in it"), head, rest);
  return {
    node,
    update(unit) {
      const words = bleed_words(unit);
      show(node, Boolean(words));
      if (!words) return;
      set_text(head, words.head);
      set_text(rest, words.rest || "measure before you touch");
    },
  };
}
