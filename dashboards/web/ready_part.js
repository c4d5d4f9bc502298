// "Ready to leave?": one list, each line yes or no with its reason and what mends it. No is a normal answer.
import { get, unit_address } from "./api.js";
import { close_bench_dialog, rehearse_dialog, replaced_dialog } from "./bench_part.js";
import { cautions_dialog } from "./cautions_view.js";
import { leave_dialog } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { ask, keep_name, kept_name, name_input, text_field } from "./forms.js";
import { test_dialog } from "./system_part.js";
import { has_transport, policy_sentences, sentence_list } from "./policy.js";
import { duration, wall_clock } from "./words.js";

const LOOK_AGAIN_MS = 20000;
const SETTLE_MS = 500;      // after a key, before the list is asked for another name
const TEST_TAKES_MS = 2500;

const MARKS = { yes: "\u2713 yes", no: "\u2717 no", not_needed: "\u2013 not needed" };

const FACTS = {
  safety_test: { kind: "safety_test", label: "What was measured: earth continuity, insulation, leakage, and with what" },
  limits: { kind: "limits_reviewed", label: "Where the limits come from, such as a service sheet and its page" },
};

/** What a button can mend from here: {label, act(unit, bench, reload)}; null: only a person with their hands. */
function remedy(item, unit, bench) {
  const supply = bench.benches?.find((one) => one.name === unit.bench);
  if (FACTS[item.key]) return { label: "Enter\u2026", act: (reload) => enter_fact(item, unit, reload) };
  if (item.key === "cautions") return { label: "Read and accept\u2026", act: (reload) => cautions_dialog(unit.bench, reload) };
  if (item.key === "notify_test" && bench.notify?.routes.length) return { label: "Send a test\u2026", act: (reload) => test_dialog(() => setTimeout(reload, TEST_TAKES_MS)) };
  if (!supply) return null;
  if (item.key === "rehearsal") return { label: "Rehearse\u2026", act: (reload) => rehearse_dialog(supply, bench, unit.name, reload) };
  if (item.key !== "switches") return null;
  if (unit.outlet.is_defective) return { label: "The relay was replaced\u2026", act: (reload) => replaced_dialog(`${unit_address(unit.name)}/repaired`, `the relay of ${unit.title}`, reload) };
  if (supply.contactor.is_defective) return { label: "The contactor was replaced\u2026", act: (reload) => replaced_dialog(`/api/v1/benches/${encodeURIComponent(supply.name)}/repaired`, `the contactor of ${supply.name}`, reload) };
  return supply.contactor.state === "open" ? { label: "Close the contactor\u2026", act: () => close_bench_dialog(supply) } : null;
}

function enter_fact(item, unit, reload) {
  const fact = FACTS[item.key];
  const text = text_field(fact.label, { name: "text", rows: 3 });
  ask({
    title: item.title, fields: [text.node], action: "Enter", address: `${unit_address(unit.name)}/facts`, done: reload,
    caution: item.key === "safety_test" ? "A safety test is measured by an electrically skilled person, with the case closed and the unit as it will be used." : null,
    body: (who) => (text.value() ? { who, kind: fact.kind, text: text.value() } : "Say what was measured, or where it comes from."),
  });
}

/** "read them, then: steadyglow cautions --accept": the command stands out. */
function action_nodes(text) {
  const command = text.match(/steadyglow [a-z][^,;]*/)?.[0];
  if (!command) return [text];
  const [before, after] = text.split(command);
  return [before, el("code", {}, command), after];
}

function make_item(now, reload) {
  const mark = el("strong.ready-mark");
  const title = el("span.ready-title");
  const reason = el("span.meta");
  const action = el("p.meta.action");
  const button = el("button.plain", { type: "button" });
  const node = el("li.ready-item", {}, mark, el("div", {}, el("p", {}, title, " ", reason), action), button);
  let shown_action = null;
  return {
    node,
    update(item) {
      node.dataset.state = item.state;
      set_text(mark, MARKS[item.state] ?? item.state);
      set_text(title, item.title);
      set_text(reason, item.reason ? `\u2013 ${item.reason}` : "");
      if (item.action !== shown_action) action.replaceChildren("To mend it: ", ...action_nodes(item.action));
      shown_action = item.action;
      const is_red = item.state === "no";
      show(action, is_red && item.action !== "");
      const means = is_red ? remedy(item, now.unit, now.bench) : null;
      show(button, Boolean(means));
      if (!means) return;
      set_text(button, means.label);
      button.setAttribute("aria-label", `${means.label.replace("\u2026", "")}: ${item.title}`);
      button.onclick = () => remedy(item, now.unit, now.bench)?.act(reload);
    },
  };
}

/** What one reads first: [head, rest]. */
function verdict_of(ready) {
  if (ready.is_ready) return ["Yes, it may be left.", "Every line of the list is yes. The list does not replace your judgement: look, smell and listen before you go."];
  const red = ready.items.filter((item) => item.state === "no").length;
  return [`No: ${red} of ${ready.items.length} ${red === 1 ? "lines says" : "lines say"} no.`, "That is a normal answer. Run it attended and stay near it, or let it wait for the morning."];
}

/** changed(ready): called with every new answer of the daemon; null while there is none. */
export function ready_part(name, changed) {
  const now = { unit: null, bench: null, ready: null, was_running: null };
  const summary_text = el("span");
  const rest = el("p", { role: "status" });
  const list = el("ul.ready-list");
  const who = name_input();
  who.required = false;
  who.value = kept_name();
  const will = sentence_list();
  const left = el("div.left-alone", { hidden: true }, el("h3", {}, "What happens meanwhile"), will.node);
  const leave = el("button", { type: "button", onclick: () => leave_dialog(now.unit, now.bench) });
  const again = el("button.plain", { type: "button", onclick: () => load() }, "Look again");
  const fold = el("details.panel.ready", {}, el("summary", {}, el("h2", {}, "Ready to leave?"), " ", summary_text),
    rest, el("label.inline-name", {}, "Who would leave it", who), list, el("div.buttons", {}, again, leave));
  const node = el("section", { "aria-label": "Ready to leave" }, left, fold);
  node.hidden = true;
  const controller = new AbortController();
  let settle = null;

  async function load() {
    if (node.hidden) return;
    try {
      const name_given = who.value.trim();
      take(now.unit.ready && !name_given ? now.unit.ready : await get(`${unit_address(name)}/ready?who=${encodeURIComponent(name_given)}`, controller.signal));
    } catch (error) {
      if (controller.signal.aborted) return;
      set_text(rest, `The list could not be read: ${error.message}`);
    }
  }

  function take(ready) {
    now.ready = ready;
    const reds_first = [...ready.items].sort((a, b) => Number(b.state === "no") - Number(a.state === "no"));
    keep_list(list, reds_first, (item) => item.key, () => make_item(now, load));
    const [first, then] = verdict_of(ready);
    set_text(summary_text, first);
    set_text(rest, then);
    fold.dataset.ready = ready.is_ready ? "yes" : "no";
    show_buttons();
    changed(ready);
  }

  function show_buttons() {
    const is_running = now.unit.run?.state === "running";
    show(leave, is_running);
    leave.disabled = !now.ready?.is_ready;
    set_text(leave, now.unit.run?.is_unattended ? "Decide anew\u2026" : "Leave it unattended\u2026");
  }

  who.addEventListener("input", () => {
    clearTimeout(settle);
    settle = setTimeout(() => {
      if (who.value.trim()) keep_name(who.value.trim());
      load();
    }, SETTLE_MS);
  });
  const timer = setInterval(() => !document.hidden && load(), LOOK_AGAIN_MS);

  return {
    node,
    update(unit, bench) {
      const is_first = !now.unit;
      now.unit = unit;
      now.bench = bench;
      const is_served = Array.isArray(bench.benches) || Boolean(unit.ready);
      show(node, is_served);
      if (!is_served) return;
      const is_running = unit.run?.state === "running";
      if (is_running !== now.was_running) {
        now.was_running = is_running;
        fold.open = !is_running;
      }
      const policy = unit.run?.policy;
      const is_left = is_running && unit.run.is_unattended && Boolean(policy);
      show(left, is_left);
      if (is_left) {
        const wait = policy.person_back_s === null || policy.person_back_s === undefined ? null : policy.person_back_s - unit.run.time_s;
        const back = wait === null ? "" : wait > 0 ? `at ${wall_clock(unit.run, policy.person_back_s, bench.clock_rate)}, in ${duration(wait)}` : `by now: that was due ${duration(-wait)} ago`;
        will.update(policy_sentences(policy, { back, who: policy.set_by, is_deck: has_transport(unit) }));
      }
      show_buttons();
      if (is_first) load();
    },
    /** How many lines say no; null before the list was read. */
    red: () => now.ready?.items.filter((item) => item.state === "no").length ?? null,
    leave() {
      controller.abort();
      clearInterval(timer);
      clearTimeout(settle);
    },
  };
}
