// What the shop has learned of how soon repaired units fail, and what that says of a plan's length: in words first, in a picture second.
import { get } from "./api.js";
import { el, keep_list, set_text, show } from "./dom.js";
import { survival_chart } from "./survival_chart.js";

const ANY = "";
const UNREAD_MS = 5000;

const per_100 = (value) => (value < 0.05 ? "under 0.1" : value.toFixed(1));

function yield_remark(one) {
  return [one.is_extrapolated ? "extrapolated: nothing was seen so long" : "", one.is_guess ? "a guess, from few failures" : one.is_by_curve ? "by the fitted curve" : "counted"].filter(Boolean).join("; ");
}

function make_yield() {
  const texts = [el("th", { scope: "row" }), el("td"), el("span"), el("span.meta")];
  const [hours, share, interval, remark] = texts;
  return {
    node: el("tr", {}, hours, share, el("td", {}, interval, " ", remark)),
    update: (one) => [`${one.from_hours} to ${one.to_hours}\u202fh`, per_100(one.per_100_running), `${per_100(one.low_per_100_running)} to ${per_100(one.high_per_100_running)}`, yield_remark(one)].forEach((text, i) => set_text(texts[i], text)),
  };
}

const rows = (spec) => () => {
  const node = el(spec);
  return { node, update: (item) => set_text(node, item.text) };
};
const numbered = (texts) => texts.map((text, index) => ({ text, index }));

/** ask({kind, model, hours}): asks anew. `has_kinds`: a person chooses the kind here. `heard(memory)`: with every answer. */
export function memory_part({ has_kinds = false, heard } = {}) {
  const line = el("p.memory-line", { role: "status" }, "Asking what the shop has seen");
  const sentences = el("ul.reasons.happens");
  const yields = el("tbody");
  const steps = el("details.figures", {}, el("summary", {}, "What each twelve hours find"), el("table.yields", {},
    el("thead", {}, el("tr", {}, ...["Hours", "Fail, of 100 still running", "95\u202f% confidence"].map((text) => el("th", { scope: "col" }, text)))), yields));
  const cannot = el("ul.reasons");
  const cannot_head = el("h3", {}, "What so few units cannot say");
  const unread = el("p.meta");
  const chart = survival_chart();
  const kinds = el("select", { onchange: () => again({ kind: kinds.value }) });
  const hours = el("input", { inputmode: "decimal", value: "24", onchange: () => again({ hours: Number(hours.value.replace(",", ".")) || undefined }) });
  const choice = el("div.memory-choice", {}, el("label", {}, "Of which kind", kinds), el("label", {}, "Planned hours that count", hours));
  const node = el("section.panel.memory", { "aria-label": "How long to soak" }, el("h2", {}, "How long to soak: what this shop has seen"), has_kinds ? choice : null, line, sentences, cannot_head, cannot, unread, chart.node, steps);
  const controller = new AbortController();
  let question = {};
  let asked = 0;
  let timer = null;

  function take(memory) {
    set_text(line, memory.line);
    keep_list(sentences, numbered(memory.sentences), (item) => item.index, rows("li"));
    keep_list(cannot, numbered(memory.cannot_say), (item) => item.index, rows("li"));
    show(cannot_head, memory.cannot_say.length > 0);
    set_text(unread, memory.runs_unread ? `${memory.runs_unread} stored ${memory.runs_unread === 1 ? "run is" : "runs are"} still being read and missing here.` : "");
    show(unread, memory.runs_unread > 0);
    clearTimeout(timer);
    if (memory.runs_unread > 0) timer = setTimeout(() => again({}), UNREAD_MS);
    const has_curve = memory.survival.length > 0;  // without a failure it would be a straight line that looks like a promise
    show(chart.node, has_curve);
    if (has_curve) {
      const words = `Share still running of ${memory.units} units, ${memory.failures} of which failed. ${memory.line}`;
      chart.update({ steps: memory.survival, last_hours: memory.last_hours, from_hours: memory.planned_hours, to_hours: memory.next_hours?.to_hours ?? memory.planned_hours + 12 }, words);
    }
    show(steps, memory.yields.length > 0);
    keep_list(yields, memory.yields, (one) => one.from_hours, make_yield);
    const known = [{ kind: ANY, text: "All kinds together" }, ...(memory.kinds ?? []).map((one) => ({ kind: one.kind, text: `${one.kind} (${one.units} ${one.units === 1 ? "unit" : "units"}, ${one.failures} failed)` }))];
    keep_list(kinds, known, (one) => one.kind, (one) => {
      const option = el("option", { value: one.kind });
      return { node: option, update: (now) => set_text(option, now.text) };
    });
    kinds.value = memory.kind ?? ANY;
    heard?.(memory);
  }

  async function again(more) {
    question = { ...question, ...more };
    const mine = (asked += 1);
    const query = new URLSearchParams(Object.entries(question).filter(([, value]) => value !== undefined && value !== ANY));
    try {
      const memory = await get(`/api/v1/memory?${query}`, controller.signal);
      if (mine === asked) take(memory);
    } catch (error) {
      if (controller.signal.aborted || mine !== asked) return;
      set_text(line, `The shop\u2019s memory could not be read: ${error.message}`);
      clearTimeout(timer);
      timer = setTimeout(() => again({}), UNREAD_MS);
    }
  }
  return {
    node, ask: again,
    leave() {
      controller.abort();
      clearTimeout(timer);
    },
  };
}
