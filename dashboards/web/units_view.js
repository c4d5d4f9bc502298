// Every unit that the shop has had, found by what is written on it; and every run, newest first.
import { get } from "./api.js";
import { el, set_text, show } from "./dom.js";
import { run_list } from "./runs.js";

const RUNS_SHOWN = 12;

const squeezed = (text) => text.toLowerCase().replace(/[\s-]/g, "");

export function units_view() {
  const input = el("input", { type: "search", name: "find", autocomplete: "off", spellcheck: "false" });
  const said = el("p.meta", { role: "status" });
  const runs = run_list("No run yet.", { has_title: true });
  const more = el("button.plain", { type: "button", onclick: () => { is_all = true; show_all(); } });
  const controller = new AbortController();
  let all_runs = [];
  let is_all = false;

  function show_all() {
    const wanted = squeezed(input.value);
    const fitting = all_runs.filter((run) => squeezed(`${run.title} ${run.serial} ${run.unit}`).includes(wanted));
    const shown = is_all ? fitting : fitting.slice(0, RUNS_SHOWN);
    runs.update(shown);
    set_text(said, wanted ? `${fitting.length} ${fitting.length === 1 ? "run" : "runs"} found` : "");
    set_text(more, `Show all ${fitting.length}`);
    show(more, shown.length < fitting.length);
  }

  async function load() {
    try {
      all_runs = (await get("/api/v1/runs", controller.signal)).runs;
      show_all();
    } catch (error) {
      if (!controller.signal.aborted) set_text(said, `The runs could not be read: ${error.message}`);
    }
  }
  input.addEventListener("input", () => show_all());
  load();
  return {
    node: el("div.units-view", {}, el("h1.sentence", {}, "Every unit that this shop has had"),
      el("label.find", {}, "Look for a serial number, model, title, tube or stock number", input), said,
      el("section", { "aria-labelledby": "runs-head" }, el("h2", { id: "runs-head" }, "Runs, newest first"), runs.node, more)),
    leave: () => controller.abort(),
  };
}
