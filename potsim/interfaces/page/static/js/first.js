// The first minute: what is in the pot, which pot and heat, what strength in the bottle; then the run is seen.
import * as api from "./api.js";
import { figures, why } from "./answer.js";
import { button, el, swap } from "./dom.js";
import { putAt } from "./draft.js";
import { parted } from "./formats.js";
import { pad, usualUnit } from "./pad.js";
import { held, tableOf, useUnits } from "./held.js";
import { keep, kept } from "./store.js";
import { empty, stripIn } from "./strip.js";
import { words } from "./words.js";

const CHARGE = ["charge.0.volume", "charge.0.abv"];
const STILL = ["still.capacity", "still.power"];
const known = (given) => CHARGE.every((path) => given[path]) && (given["still.from_file"] || STILL.every((path) => given[path]));
const QUESTIONS = [
  ["What goes in the pot?", CHARGE],
  ["Which still?", STILL],
  ["What strength in the bottle?", ["bottling.abv", "bottling.bottle"]],
];
const field = (path) => {
  const steps = path.split(".");
  return tableOf(steps[0])?.fields.find((one) => one.key === steps[steps.length - 1]);
};

export function first({ onPlan, acts }) {
  const given = kept("first", {});
  const questions = el("div", { class: "questions" });
  const below = el("div", { class: "first-strip" });
  const strip = el("div", { class: "strip-host" });
  const told = el("div", { class: "told", "aria-live": "polite" });
  let found = null;
  let shown = null;

  const tables = () => {
    const made = { title: "My first plan" };
    for (const [path, value] of Object.entries(given)) if (value) putAt(made, path, value);
    if (made.charge?.[0]) made.charge[0].name ??= "spirit";
    if (made.charge?.[1]) made.charge[1].name ??= made.charge[1].abv ? "second spirit" : "water";
    return made;
  };

  // One question, and the next one that is open after it.
  function ask(path) {
    const k = QUESTIONS.findIndex(([, all]) => all.includes(path));
    const [title, paths] = k < 0 ? ["Another spirit, or water", ["charge.1.volume", "charge.1.abv"]] : QUESTIONS[k];
    const next = k < 0 ? null : QUESTIONS[k + 1]?.[1].find((one) => !given[one]);
    pad({
      title, first: paths.indexOf(path), chain: k >= 0, lead: el("h2", { text: title }),
      fields: paths.map((one) => {
        const parts = parted(given[one]);
        const { label, kind, units, low, high, example } = field(one);
        return { key: one, path: one, label, kind, units, low, high, example, unit: parts?.unit, value: parts?.number ?? "" };
      }),
      actWords: () => (next ? "Next" : "Done"),
      accept: (values) => {
        Object.assign(given, values);
        keep("first", given);
        draw();
        reckon();
        if (next) setTimeout(() => ask(next));
      },
    });
  }

  const box = (path, wide = false) => {
    const one = field(path);
    const parts = parted(given[path]);
    return el("button", { type: "button", class: wide ? "box-field wide" : "box-field", "data-key": path, "aria-label": `${one.label}: ${given[path] ?? "not said"}`, on: { click: () => ask(path) } },
      el("b", { text: parts?.number ?? "" }), el("span", { text: parts?.unit || usualUnit({ ...one, path }) }));
  };

  function heated() {
    const one = tableOf("still")?.fields.find((f) => f.key === "heated_by");
    if (!one?.choices) return "";
    return el("div", { class: "chips even" }, one.choices.map((name) => button(name, () => {
      given["still.heated_by"] = given["still.heated_by"] === name ? null : name;
      keep("first", given);
      draw();
      reckon();
    }, { class: "chip", "aria-pressed": String(given["still.heated_by"] === name), "data-key": `heated${name}` })));
  }

  // A still of the shelf, with what it has learnt, in place of its numbers.
  function stills() {
    const all = held.shelf?.stills ?? [];
    return all.length ? el("div", { class: "chips" }, all.map((one) => {
      const file = one.from_file ?? `${one.id}.toml`;
      const chosen = given["still.from_file"] === file;
      return button(one.title, () => {
        given["still.from_file"] = chosen ? null : file;
        if (!chosen) for (const path of STILL) given[path] = null;
        keep("first", given);
        draw();
        reckon();
      }, { class: "chip", "aria-pressed": String(chosen), "data-key": `still${one.id}` });
    })) : "";
  }

  function draw() {
    const more = given["charge.1.volume"] ? el("div", { class: "pair" }, box("charge.1.volume"), box("charge.1.abv"))
      : button("and another spirit, or water", () => ask("charge.1.volume"), { class: "link", "data-key": "another" });
    swap(questions, QUESTIONS.map(([title, paths], k) => el("section", null, el("h2", { text: title }), el("div", { class: "pair" }, paths.map((path) => box(path))),
      k === 0 ? more : k === 1 ? [stills(), heated()] : "")));
    swap(acts, found ? button("See the plan", () => { keep("first", {}); onPlan(tables()); }, { class: "main", "data-key": "see" }) : "", acts.others ?? []);
    if (!known(given) && !found) swap(below, empty(words.yourRun, 110));
  }

  async function reckon() {
    if (!known(given)) return;
    try {
      found = await api.post("/api/answer", { plan: tables() });
      swap(below, strip, told);
      shown ??= stripIn(strip, () => found && { strip: found.strip, height: 130 });
      shown.draw();
      useUnits(found.answer.units);
      swap(told, figures(found.answer), why(found.why, found.then));
    } catch (error) {
      swap(told, el("p", { class: "fault", role: "alert", text: [error.message, error.hint].filter(Boolean).join(" ") }));
      if (!found) swap(below, empty(words.yourRun, 110), told);
    }
    draw();
  }

  const host = el("div", { class: "first" }, el("h1", { class: "order" }, "Three things,", el("br"), "then you see your run."), questions, below);
  draw();
  reckon();
  return { host, close: () => shown?.end() };
}
