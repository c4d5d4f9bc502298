// One unit: what it does now, its points, its charts, and what was noticed.
import { get, unit_address } from "./api.js";
import { hours_bar, limit_scale } from "./bars.js";
import { by_urgency, run_words } from "./bench_view.js";
import { chart_board } from "./charts.js";
import { start_dialog, start_unattended_dialog, stop_dialog } from "./dialogs.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { bleed_part, events_part, life_part } from "./life_part.js";
import { ready_part } from "./ready_part.js";
import { memory_part } from "./memory_part.js";
import { outlet_mark, severity_tag } from "./pieces.js";
import { points_table } from "./points_table.js";
import { card_href, find_card, run_href } from "./runs.js";
import { duration, kind_words, run_clock, stage_state_words, stage_words, verdict_sentence, waits_for_a_person, wall_clock } from "./words.js";

const SHARE_MIN = 0.08;  // of the time line, so that a short stage can still be read

function make_stage() {
  const name = el("strong");
  const state = el("span.meta");
  const fill = el("div.fill");
  const node = el("li", {}, el("div.stage-bar", { "aria-hidden": "true" }, fill), name, state);
  return {
    node,
    update(stage) {
      node.dataset.state = stage.state;
      set_text(name, stage_words(stage.kind));
      const is_now = stage.state === "now";
      set_text(state, `${is_now && stage.is_over ? "ended here" : stage_state_words(stage.state)} \u00b7 ${duration(stage.planned_s)}`);
      set_attribute(node, "aria-current", is_now ? "step" : null);
      node.style.flexGrow = Math.max(stage.share, SHARE_MIN);
      fill.style.width = stage.state === "done" ? "100%" : "0";
    },
  };
}

function stage_line() {
  const node = el("ol.stages", { "aria-label": "Stages of the plan" });
  return {
    node,
    update(run) {
      show(node, Boolean(run));
      if (!run) return;
      const total = run.stages.reduce((sum, stage) => sum + stage.planned_s, 0) || 1;
      keep_list(node, run.stages.map((stage, index) => ({ ...stage, index, is_over: run.state === "ended", share: stage.planned_s / total })), (stage) => stage.index, make_stage);
    },
  };
}

function verdict_box() {
  const head = el("p.verdict");
  const signed = el("p.signed");
  const reasons = el("ul.reasons");
  const node = el("div.verdict-box", {}, head, signed, reasons);
  return {
    node,
    update(run, clock_rate) {
      const { verdict, signature } = run ?? {};
      show(node, Boolean(verdict));
      if (!verdict) return;
      head.dataset.word = signature?.word ?? verdict.word;
      set_text(head, verdict_sentence(run));
      show(signed, Boolean(signature));
      if (signature) set_text(signed, `${run_clock(signature.time_s)} \u00b7 ${wall_clock(run, signature.time_s, clock_rate)}${signature.why ? ` \u00b7 ${signature.why}` : ""}`);
      keep_list(reasons, verdict.reasons.map((text, index) => ({ text, index })), (reason) => reason.index, () => {
        const item = el("li");
        return { node: item, update: (reason) => set_text(item, reason.text) };
      });
    },
  };
}

function make_finding(clock) {
  const number = el("span.number");
  const tag = severity_tag();
  const head = el("span.meta");
  const text = el("p");
  return {
    node: el("li.finding", {}, el("div.finding-head", {}, number, tag.node, head), text),
    update(finding) {
      set_text(number, finding.number ? String(finding.number) : "");
      show(number, Boolean(finding.number));
      tag.update(finding.severity);
      show(tag.node, finding.state === "raised");
      const over = finding.state === "raised" ? "" : " \u00b7 over";
      set_text(head, `${run_clock(finding.time_s)} \u00b7 ${clock(finding.time_s)} \u00b7 ${kind_words(finding.kind)}${over}`);
      set_text(text, finding.message);
    },
  };
}

/** Oldest first from the daemon; each raised one gets the number that its flag on the charts carries. */
function numbered(findings) {
  let number = 0;
  return findings.map((finding, index) => ({ ...finding, index, number: finding.state === "raised" ? (number += 1) : 0 }));
}

export function unit_view(name) {
  const title = el("h1", {}, name);
  const meta = el("p.meta");
  const locked = el("p.locked");
  const record = el("a");
  const card = el("a", { hidden: true }, "Its card");
  const places = el("p.places", {}, card, record);
  const memory = memory_part({ heard: (answer) => { now.advice = answer.line; } });
  const words_head = el("strong");
  const words_rest = el("span");
  const attended = el("p.attended");
  const outlet = outlet_mark();
  const hours = hours_bar();
  const near = limit_scale();
  const verdict = verdict_box();
  const stages = stage_line();
  const points = points_table();
  const board = chart_board(name);
  const bleed = bleed_part();
  const life = life_part();
  const events = events_part();
  const ready = ready_part(name, () => show_actions());
  const finding_list = el("ol.findings");
  const no_findings = el("p.meta", {}, "Nothing was noticed in this run.");
  const alarms = el("p.unit-alarms", {}, el("a", { href: "#/alarms" }));
  const start = el("button", { type: "button", onclick: () => start_dialog(now.unit, now.bench, now.advice) });
  const leave = el("button", { type: "button", onclick: () => start_unattended_dialog(now.unit, now.bench, now.advice) }, "Start unattended\u2026");
  const stop = el("button.grave", { type: "button", onclick: () => stop_dialog(now.unit) }, "Stop\u2026");
  const why_no_start = el("p.meta", { id: "why-no-start" });
  const now = { unit: null, bench: null, run_id: null, advice: "" };
  const controller = new AbortController();
  const absent = el("p.sentence", { hidden: true }, "No unit has this name. ", el("a", { href: "#/bench" }, "To the bench"));
  const body = el("div.unit-body", {},
    el("div.unit-head", {}, el("div", {}, title, meta, places), el("div.actions", {}, start, leave, stop, why_no_start)),
    alarms,
    el("section.panel", { "aria-label": "State" },
      el("div.summary", {}, el("div", {}, outlet.node, bleed.node, locked, el("p.doing", {}, words_head, " ", words_rest), attended), hours.node, near.node), verdict.node),
    stages.node,
    ready.node,
    memory.node,
    life.node,
    el("section", { "aria-labelledby": "points-head" }, el("h2", { id: "points-head" }, "Points"), points.node),
    el("section", { "aria-labelledby": "charts-head" }, el("h2", { id: "charts-head" }, "Charts"), board.node),
    events.node,
    el("section", { "aria-labelledby": "findings-head" }, el("h2", { id: "findings-head" }, "What was noticed"), finding_list, no_findings));
  body.hidden = true;

  /** Attended is always offered, unattended when the list says yes; the line below says why not. */
  function show_actions() {
    const { unit, bench } = now;
    const is_running = unit.run?.state === "running";
    const has_list = Array.isArray(bench.benches);
    const red = ready.red();
    const wont_close = unit.outlet.is_defective ? "Its relay did not obey: nothing is switched on with it until a qualified person has replaced it." : "";
    set_text(start, has_list ? "Start attended\u2026" : "Start\u2026");
    show(start, !is_running);
    start.disabled = wont_close !== "";
    show(leave, has_list && !is_running);
    leave.disabled = red !== 0 || wont_close !== "";
    set_attribute(leave, "aria-describedby", leave.disabled ? why_no_start.id : null);
    stop.disabled = !is_running && unit.outlet.state === "off" && unit.outlet.proof !== "failed";
    const not_left = !has_list ? "" : red === null ? "Unattended: not before the list below was read." : red > 0 ? `Not unattended: ${red} ${red === 1 ? "line" : "lines"} of the list below ${red === 1 ? "says" : "say"} no.` : "";
    set_text(why_no_start, is_running ? "" : wont_close || not_left);
    show(why_no_start, why_no_start.textContent !== "");
  }

  async function load_findings() {
    try {
      const answer = await get(`${unit_address(name)}/findings`, controller.signal);
      const list = numbered(answer.findings);
      const clock = (time_s) => wall_clock(now.unit.run, time_s, now.bench.clock_rate);
      keep_list(finding_list, [...list].reverse(), (finding) => `${answer.run} ${finding.index}`, () => make_finding(clock));
      show(no_findings, list.length === 0);
      board.show_findings(list);
    } catch (error) {
      if (controller.signal.aborted) return;
      set_text(no_findings, `The findings could not be read: ${error.message}`);
      show(no_findings, true);
    }
  }

  async function load_card() {
    try {
      const found = await find_card(now.unit, controller.signal);
      show(card, Boolean(found));
      if (found) card.href = card_href(found.name);
    } catch {
      // The view does not hang on it.
    }
  }

  return {
    node: el("div.unit-view", {}, el("p.back", {}, el("a", { href: "#/bench" }, "\u2190 Bench")), absent, body),
    title: name,
    update(bench) {
      const unit = bench.units.find((u) => u.name === name);
      show(absent, !unit);
      show(body, Boolean(unit));
      if (!unit) return;
      const is_first = !now.unit;
      now.unit = unit;
      now.bench = bench;
      this.title = unit.title;
      set_text(title, unit.title);
      set_text(meta, [unit.bench, unit.serial, unit.kind, `plan: ${unit.plan}`, unit.run ? `run ${unit.run.id}, ${run_clock(unit.run.time_s)}` : ""].filter(Boolean).join(" \u00b7 "));
      if (is_first) {
        memory.ask({ kind: unit.kind, hours: unit.run ? unit.run.planned_s / 3600 : undefined });
        load_card();
      }
      show(memory.node, unit.run?.state !== "running");
      show(record, Boolean(unit.run));
      if (unit.run) {
        record.href = run_href(unit.run.id);
        set_text(record, `Run ${unit.run.id}: its page and its record`);
      }
      const is_running = unit.run?.state === "running";
      set_text(attended, unit.run?.power ? (unit.run.is_unattended ? `Unattended, left by ${unit.run.policy?.set_by ?? "somebody"}` : "Attended: somebody stays near it") : "");
      show(attended, is_running && attended.textContent !== "");
      const words = run_words(unit);
      set_text(words_head, words.head);
      set_text(words_rest, words.rest);
      outlet.update(unit.outlet);
      set_text(locked, unit.outlet.is_interlocked ? `Locked out: ${unit.outlet.reason}. Power returns only by a person at the bench.` : unit.outlet.reason);
      show(locked, locked.textContent !== "");
      hours.update(unit.run);
      near.update(unit);
      verdict.update(unit.run, bench.clock_rate);
      stages.update(unit.run);
      points.update(unit);
      bleed.update(unit);
      life.update(unit, bench);
      events.update(unit, bench);
      ready.update(unit, bench);
      show_actions();
      const own = bench.alarms.filter((alarm) => alarm.unit === name).sort(by_urgency);
      const waiting = own.filter(waits_for_a_person).length;
      show(alarms, own.length > 0);
      set_text(alarms.firstChild, `${own.length} ${own.length === 1 ? "alarm" : "alarms"}, ${waiting} ${waiting === 1 ? "waits" : "wait"} for an answer`);
      board.update(unit, bench);
      if (unit.run && unit.run.id !== now.run_id) {
        now.run_id = unit.run.id;
        load_findings();
      }
    },
    heard(type, data) {
      if (now.unit?.run && (type === "again" || (type === "finding" && data.unit === name))) load_findings();
    },
    leave() {
      controller.abort();
      ready.leave();
      memory.leave();
      board.leave();
    },
  };
}
