// "Ready to leave?": one list, each line yes or no. No is a normal answer.
import { get, unit_address } from "./api.js";
import { ask, kept_name } from "./dialogs.js";
import { el, keep_list, set_text, show } from "./dom.js";

const MARKS = { yes: "\u2713 yes", no: "\u2717 no", not_needed: "\u2013" };
const FACTS = { safety_test: "What was measured: earth continuity, insulation, leakage", limits: "Where the limits come from" };
const FACT_KINDS = { safety_test: "safety_test", limits: "limits_reviewed" };

function make_item(act) {
  const mark = el("span.ready-mark");
  const title = el("strong");
  const reason = el("span.meta");
  const action = el("p.meta");
  const button = el("button.plain", { type: "button" }, "Enter\u2026");
  const node = el("li.ready-item", {}, mark, el("div", {}, el("p", {}, title, " ", reason), action), button);
  return {
    node,
    update(item) {
      node.dataset.state = item.state;
      set_text(mark, MARKS[item.state] ?? item.state);
      set_text(title, item.title);
      set_text(reason, item.reason);
      set_text(action, item.action);
      show(action, item.state === "no" && item.action !== "");
      const is_ours = item.state === "no" && ["safety_test", "limits", "notify_test", "rehearsal", "cautions"].includes(item.key);
      show(button, is_ours);
      set_text(button, { notify_test: "Send a test\u2026", rehearsal: "Rehearse\u2026", cautions: "Read and accept\u2026" }[item.key] ?? "Enter\u2026");
      button.onclick = () => act(item);
    },
  };
}

export function ready_part(name) {
  const now = { unit: null };
  const head = el("p.ready-head");
  const list = el("ul.ready-list");
  const leave = el("button", { type: "button", onclick: () => leave_dialog(now.unit) }, "Leave it unattended\u2026");
  const again = el("button.plain", { type: "button", onclick: () => load() }, "Look again");
  const details = el("details.panel", {}, el("summary", {}, "Ready to leave?"), head, list, el("div.buttons", {}, again, leave));
  details.addEventListener("toggle", () => details.open && load());

  async function load() {
    try {
      const ready = await get(`${unit_address(name)}/ready?who=${encodeURIComponent(kept_name())}`);
      keep_list(list, ready.items, (item) => item.key, () => make_item(act));
      const red = ready.items.filter((item) => item.state === "no").length;
      set_text(head, ready.is_ready ? "Every line is yes." : `${red} ${red === 1 ? "line says" : "lines say"} no. That is a normal answer: stay near it, or let it cool down until the morning.`);
      leave.disabled = !ready.is_ready || now.unit?.run?.state !== "running";
    } catch (error) {
      set_text(head, `The list could not be read: ${error.message}`);
    }
  }

  async function act(item) {
    const unit = now.unit;
    if (FACT_KINDS[item.key]) {
      const text = el("input", { name: "text", required: true });
      return ask({ title: item.title, fields: [el("label", {}, FACTS[item.key], text)], action: "Enter", address: `${unit_address(name)}/facts`, done: load,
        body: (who) => (text.value.trim() ? { who, kind: FACT_KINDS[item.key], text: text.value.trim() } : "Say what was measured, or where it comes from.") });
    }
    if (item.key === "notify_test")
      return ask({ title: "Send a test message", text: "One message goes out by every route. See that it comes.", action: "Send", address: "/api/v1/notify/test", body: (who) => ({ who }), done: () => setTimeout(load, 2500) });
    const bench = `/api/v1/benches/${encodeURIComponent(unit.bench)}`;
    if (item.key === "rehearsal")
      return ask({ title: `Rehearse the trip with ${unit.title}`, text: "The unit\u2019s relay and then the bench contactor are opened and closed again; each must show in the current.",
        caution: "Stay beside it. The unit goes off and comes on again by itself twice: nobody\u2019s hands inside.", action: "Rehearse", tone: "grave", address: `${bench}/rehearse`, body: (who) => ({ who, unit: name }), done: () => setTimeout(load, 12000) });
    const cautions = (await get("/api/v1/cautions")).cautions;
    return ask({ title: "Cautions", fields: [el("ul.caution-list", {}, ...cautions.map((caution) => el("li", {}, caution.sentence)))], action: "I have read them and accept them",
      address: `${bench}/cautions`, body: (who) => ({ who, accepted: cautions.map((caution) => caution.key) }), done: load });
  }

  function leave_dialog(unit) {
    const back = el("input", { type: "time", value: "08:00", required: true });
    const staged = el("input", { type: "checkbox" });
    const cut = el("input", { type: "checkbox", checked: true });
    const stuck = el("input", { type: "checkbox" });
    const wake = el("input", { type: "checkbox" });
    const check = (box, text) => el("label.check", {}, box, el("span", {}, text));
    const minutes = () => {
      const [hour, minute] = back.value.split(":").map(Number);
      const wait = hour * 60 + minute - (new Date().getHours() * 60 + new Date().getMinutes());
      return wait > 0 ? wait : wait + 1440;
    };
    ask({
      title: `Leave ${unit.title} unattended`,
      caution: "Fuse, RCD or GFCI, thermal cut-out and smoke alarm must work with this computer switched off. Local electrical code and your insurer decide whether it may be left at all.",
      fields: [
        el("label", {}, "I am back at", back),
        check(cut, "Cut it in time when a limit would be reached before I am back"),
        check(wake, "Wake me when that is done; otherwise I read it in the morning"),
        check(staged, "After a power cut switch it on again by itself: ten minutes of steady mains, one unit after the other, and only if it was well before"),
        check(stuck, "A tape deck or turntable: cut it when it stands and still draws the power of play"),
      ],
      action: "Leave it", address: `${unit_address(name)}/leave`,
      body: (who) => ({ who, policy: { person_back_in_minutes: minutes(), on_forecast: cut.checked ? "cut" : "tell", wakes_for_forecast: wake.checked, after_mains: staged.checked ? "staged" : "stay_off", is_cut_when_stuck: stuck.checked } }),
    });
  }

  return {
    node: details,
    update(unit) {
      now.unit = unit;
    },
  };
}
