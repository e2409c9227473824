// What ends the run, or the keep: conditions of which the first to come counts.
import { h, newId } from "./dom.js";
import * as draft from "./draft.js";
import { field } from "./field.js";
import { latest } from "./latest.js";
import * as words from "./words.js";

const KINDS = {
  stream_abv: { said: "the stream falls to", slider: { min: 1, max: 90, step: 0.5 }, now: (s) => `${Math.round(s.stream_abv)} %` },
  pot_abv: { said: "the pot falls to", slider: { min: 0.5, max: 60, step: 0.5 }, now: (s) => `${s.pot_abv.toFixed(1)} %` },
  vapour_c: { said: "the vapour reaches", slider: { min: 78, max: 100, step: 0.1 }, now: (s) => `${s.vapour_c.toFixed(1)} °C` },
  collected: { said: "this much is collected", slider: {}, now: (s) => words.millilitres(s.collected_l) },
  recovered: { said: "this much of the alcohol is over", slider: { min: 1, max: 99.5, step: 0.5 }, now: (s) => `${Math.round(100 * s.recovered)} %` },
  elapsed: { said: "this much time has passed", slider: {}, now: (s) => `${Math.round(s.elapsed_min)} min` },
  cloudy: { said: "it turns cloudy", now: () => true },
  over: { said: "a botanical is over", now: () => ({}) },
};

export function stops(path, label, optional = false) {
  const table = draft.at(path) ?? {};
  const rows = Object.keys(table).filter((key) => key in KINDS).map((key) => condition(path, key, label));
  const bare = !draft.plan().botanical?.length;
  const unused = Object.keys(KINDS).filter((key) => !(key in table) && !(key === "over" && bare));
  const id = newId("add");
  const add = h("select", { id, class: "add", onchange: () => add.value && put(path, add.value) },
    h("option", { value: "" }, rows.length ? "+ or when …" : "+ choose …"),
    unused.map((key) => h("option", { value: key }, KINDS[key].said)));
  const empty = optional ? "without it the keep lasts to the stop" : "without it: when 90 % of the alcohol is over";
  return [h("div", { class: "row stop" },
    h("div", { class: "row-head" }, h("label", { class: "lead", for: id }, label),
      rows.length ? null : h("span", { class: "note" }, empty)), rows, add)];
}

function put(path, key, value = KINDS[key].now(latest().run?.stop ?? EXAMPLE)) {
  draft.edit(() => {
    if (key === "over") {
      draft.put(`${path}.over`, { [draft.plan().botanical[0].name]: "95 %" });
    } else draft.put(`${path}.${key}`, value);
  });
}

const EXAMPLE = { stream_abv: 55, pot_abv: 9, vapour_c: 92, collected_l: 1, recovered: 0.9, elapsed_min: 60 };

function condition(path, key, label) {
  const { said, slider } = KINDS[key];
  const gone = () => draft.edit((tables) => {
    const [, inner] = path.split(".");
    delete tables.cuts[inner][key];
    if (!Object.keys(tables.cuts[inner]).length) delete tables.cuts[inner];
  });
  const away = h("button", { type: "button", class: "remove", "aria-label": `Take away: ${label} ${said}`, onclick: gone }, "×");
  if (key === "over") return h("div", { class: "condition" }, over(path), away);
  if (key === "cloudy") return h("div", { class: "condition" }, h("p", { class: "plainly" }, said), away);
  return h("div", { class: "condition" }, field({ path: `${path}.${key}`, label: said, slider }), away);
}

// A share of what comes over of one botanical.
function over(path) {
  const table = draft.at(`${path}.over`) ?? {};
  const names = (draft.plan().botanical ?? []).map((one) => one.name);
  return h("div", { class: "overs" }, Object.entries(table).map(([name, share]) => {
    const which = h("select", { "aria-label": "Botanical" }, names.map((one) => h("option", { value: one }, one)));
    which.value = name;
    const how = h("input", { type: "text", value: share, "aria-label": `Share of ${name} that is over` });
    const change = () => draft.put(`${path}.over`, { [which.value]: how.value.trim() });
    which.addEventListener("change", change);
    how.addEventListener("input", change);
    return h("div", { class: "over" }, which, "is over to", how);
  }));
}
