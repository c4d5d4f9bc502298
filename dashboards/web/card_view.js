// What the shop knows of one unit: as plated, pictures, what was done to it, its tubes, its runs, and what came after the sale.
import { get, post_bytes } from "./api.js";
import { entry_fields, KINDS } from "./card_entries.js";
import { card_history } from "./card_history.js";
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { make_form } from "./forms.js";
import { live } from "./live.js";
import { photo_form, photos_part } from "./photos.js";
import { card_address, day, day_and_time, run_list } from "./runs.js";

const UNREAD_MS = 3000;  // a run is read in the background when its cooling is recorded; until then its hours are not known

const FACTS = [
  ["maker", "Maker"], ["model", "Model"], ["serial", "Serial number"], ["kind", "Kind"], ["nameplate", "Nameplate"], ["stock_number", "Stock number"],
];
const is_given = (value) => value !== null && value !== undefined && value !== "";

function plate_part() {
  const list = el("dl.plate");
  const none = el("p.meta", {}, "Nobody has entered what its plate says.");
  return {
    node: el("div", {}, list, none),
    update(card) {
      const of_uom = (value, uom) => (is_given(value) ? `${value}\u202f${uom}` : "");
      const known = { ...card, nameplate: [of_uom(card.nameplate_volts, "V"), of_uom(card.nameplate_hertz, "Hz")].filter(Boolean).join(", ") };
      const rows = FACTS.filter(([name]) => is_given(known[name])).map(([name, label]) => ({ name, label, text: known[name] }));
      keep_list(list, rows, (row) => row.name, (row) => {
        const text = el("dd");
        return { node: el("div", {}, el("dt", {}, row.label), text), update: (one) => set_text(text, one.text) };
      });
      show(none, rows.length === 0);
    },
  };
}

/** Hours of a tube: those before, and the powered hours of the runs since it was put in. */
function tube_words(tube, entry, runs) {
  const since = runs.filter((run) => entry && Date.parse(run.started_utc) >= Date.parse(entry.utc));
  const here_h = since.reduce((sum, run) => sum + (run.powered_s ?? 0), 0) / 3600;
  const here = `${here_h.toFixed(1)}\u202fh in runs here${since.some((run) => run.powered_s === null) ? ", and some not counted yet" : ""}`;
  return typeof tube.prior_hours === "number" ? `${(tube.prior_hours + here_h).toFixed(1)}\u202fh (${tube.prior_hours}\u202fh before, ${here})` : `${here}; before that not known`;
}

function tubes_part() {
  const body = el("tbody");
  const table = el("table.tubes", {}, el("thead", {}, el("tr", {}, ...["Socket", "Tube", "Hours", "Put in"].map((text) => el("th", { scope: "col" }, text)))), body);
  const none = el("p.meta", {}, "No tube is entered.");
  return {
    node: el("div", {}, table, none),
    update({ tubes, entries, runs }) {
      keep_list(body, tubes.map((tube) => ({ tube, entry: entries.find((one) => one.id === tube.entry), runs })), (item) => item.tube.socket, () => {
        const cells = [el("th", { scope: "row" }), el("td"), el("td"), el("td.meta")];
        return {
          node: el("tr", {}, ...cells),
          update: ({ tube, entry, runs: now }) =>
            [tube.socket, [tube.type, tube.identity].filter(Boolean).join(", "), tube_words(tube, entry, now), entry ? `${entry.who}, ${day_and_time(entry.utc)}` : ""].forEach((text, i) => set_text(cells[i], text)),
        };
      });
      show(table, tubes.length > 0);
      show(none, tubes.length === 0);
    },
  };
}

/** One small form at a time below a row of buttons. */
function enter_part(forms) {
  const place = el("div.act-form", { hidden: true });
  const buttons = new Map(forms.map(([key, label]) => [key, el("button.plain.small-button", { type: "button", "aria-expanded": "false", onclick: () => choose(key) }, label)]));
  let open = null;
  function choose(key) {
    open = open === key ? null : key;
    for (const [name, button] of buttons) button.setAttribute("aria-expanded", String(name === open));
    show(place, open !== null);
    if (open === null) return place.replaceChildren();
    const form = forms.find(([name]) => name === key)[2](() => close(key));
    place.replaceChildren(form.node);
    form.node.querySelector("input, textarea").focus({ preventScroll: true });
    form.node.scrollIntoView({ block: "nearest" });
  }
  function close(key) {
    if (open === key) choose(key);
    buttons.get(key).focus();
  }
  return { node: el("details.panel.life", {}, el("summary", {}, el("h2", {}, "Enter something")), el("div.buttons.left", {}, ...buttons.values()), place) };
}

/** Where it is now, with the day that its newest entry of the kind tells. */
function state_words(card) {
  const newest = (kind) => card.entries.findLast((entry) => entry.kind === kind && !entry.corrected_by)?.fields.day;
  const on = (date) => (date ? ` on ${day(date)}` : "");
  return { in_shop: "In the shop.", sold: `Sold${on(newest("sold"))}.`, returned: `Came back${on(newest("returned"))}.` }[card.state] ?? card.state;
}

export function card_view(name) {
  const address = card_address(name);
  const absent = el("p.sentence", { role: "status" }, "Reading the card");
  const title = el("h1");
  const state = el("p.card-state");
  const bench = el("a");
  const plate = plate_part();
  const photos = photos_part();
  const tubes = tubes_part();
  const runs = run_list("It has not run here yet.");
  const controller = new AbortController();
  const now = { card: null, timer: null };
  const heard = ({ card }) => take(card);
  const sent = { address: `${address}/entries`, done: heard };
  const history = card_history(sent);
  const entry_form = (kind) => (on_close) => {
    const fields = entry_fields(kind);
    return make_form({
      ...sent, on_close, heading: "h3", title: KINDS[kind].name, text: KINDS[kind].text, caution: KINDS[kind].caution, fields: fields.nodes, action: "Enter it",
      body(who) {
        const values = fields.values();
        return typeof values === "string" ? values : { who, kind, fields: values };
      },
    });
  };
  const new_photo = (on_close) => photo_form({
    on_close, done: heard, points: live.bench?.units.find((unit) => unit.name === now.card.unit)?.points ?? [],
    deliver: (words, picture) => post_bytes(`${address}/photos?${new URLSearchParams(words)}`, picture),
  });
  const enter = enter_part([...Object.entries(KINDS).map(([kind, { button }]) => [kind, button, entry_form(kind)]), ["photo", "Picture", new_photo]]);
  const section = (id, heading, ...children) => el("section", { "aria-labelledby": id }, el("h2", { id }, heading), ...children);
  const body = el("div.record", { hidden: true },
    el("div", {}, title, state, el("p.places", {}, bench)),
    enter.node,
    el("div.card-top", {}, section("plate-head", "As plated", plate.node), section("photos-head", "Pictures", photos.node)),
    section("tubes-head", "Tubes that are in it", tubes.node),
    section("card-runs-head", "Its runs, newest first", runs.node),
    section("entries-head", "What was done to it, newest first", el("p.meta", {}, "Nothing here is ever changed or removed. What was wrong is struck through, and what is right is added."), history.node));

  function take(card) {
    now.card = card;
    show(absent, false);
    show(body, true);
    view.title = card.title || card.name;
    set_text(title, view.title);
    set_text(state, [state_words(card), card.serial].filter(Boolean).join(" \u00b7 "));
    show(bench, card.is_configured);
    bench.href = `#/unit/${encodeURIComponent(card.unit)}`;
    set_text(bench, "Its place on the bench, live");
    plate.update(card);
    photos.update(card.photos);
    tubes.update(card);
    runs.update(card.runs);
    history.update(card.entries);
    clearTimeout(now.timer);
    if (card.runs.some((run) => run.verdict && run.counted_s === null)) now.timer = setTimeout(load, UNREAD_MS);
  }

  async function load() {
    try {
      take((await get(address, controller.signal)).card);
    } catch (error) {
      if (controller.signal.aborted) return;
      set_text(absent, now.card ? `The card could not be read again: ${error.message}. What stands below is old.` : `The card could not be read: ${error.message}`);
      show(absent, true);
      clearTimeout(now.timer);
      now.timer = setTimeout(load, UNREAD_MS);
    }
  }
  const view = {
    node: el("div.card-view", {}, el("p.back", {}, el("a", { href: "#/units" }, "\u2190 Units")), absent, body),
    title: name,
    leave() {
      controller.abort();
      clearTimeout(now.timer);
    },
  };
  load();
  return view;
}
