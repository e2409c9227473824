// The bill: one row for each botanical with its usual dose as a band; the library to choose from, several at once.
import * as api from "./api.js";
import { TICK, button, el, icon, swap } from "./dom.js";
import { change, draft, valueAt } from "./draft.js";
import { figure, parted, said } from "./formats.js";
import { askNumber, fieldRow } from "./form.js";
import { held, onChange, tableOf } from "./held.js";
import { sheet } from "./sheet.js";
import { words } from "./words.js";

const FAR = 2;
const SPAN = 4;

const WAYS = ["pieces", "amount", "mass"]; // of saying how much: one at a time
const typed = (row) => (row.pieces !== undefined ? "pieces" : row.amount !== undefined ? "amount" : "mass");

function stepped(row, by) {
  const key = typed(row);
  const parts = parted(row[key] ?? "1 g") ?? { number: "1", unit: "g" };
  const value = Number(parts.number.replace(",", "."));
  const size = key === "pieces" ? 1 : value < 1 || (value === 1 && by < 0) ? 0.1 : value < 5 || (value === 5 && by < 0) ? 0.5 : 1;
  const next = Math.max(size, Math.round((value + by * size) / size) * size);
  return [key, key === "pieces" ? next : `${+next.toFixed(2)} ${parts.unit || "g"}`];
}

// This dose as a dot on the band of usual ones, in equal ratios.
function doseBar(dose) {
  if (!dose?.usual_g_per_l) return el("i", { class: "dose-bar none" });
  const [low, high] = dose.usual_g_per_l;
  const at = (x) => Math.max(2, Math.min(98, (Math.log(x / (low / SPAN)) / Math.log((high * SPAN) / (low / SPAN))) * 100));
  const far = dose.g_per_l > high * FAR || dose.g_per_l < low / FAR;
  const bar = el("i", { class: far ? "dose-bar far" : "dose-bar", role: "img", "aria-label": far ? "far from usual" : "against the usual dose" }, el("i", { class: "usual" }), el("i", { class: "here" }));
  bar.firstChild.style.left = `${at(low)}%`;
  bar.firstChild.style.right = `${100 - at(high)}%`;
  bar.lastChild.style.left = `${at(dose.g_per_l)}%`;
  return bar;
}

function botanicalRow(row, k, dose) {
  const name = words.capital(row.name ?? "");
  const step = (by) => change((tables) => { const [key, value] = stepped(tables.botanical[k], by); tables.botanical[k][key] = value; }, `${name}: dose`);
  return el("div", { class: "botanical" }, el("button", { type: "button", class: "botanical-name", "data-key": `b${k}`, on: { click: () => details(k) } },
    el("b", { text: row.state === "fresh" ? `${name}, fresh` : name }), el("span", { text: dose ? words.dose(dose, (l) => said("volume", l), (l) => figure("volume", l)) : "" }), doseBar(dose)),
  el("div", { class: "dose" }, button("−", () => step(-1), { class: "quiet", "data-key": `less${k}`, "aria-label": `less ${row.name}` }),
    button(dose?.shown ?? row.mass ?? String(row.pieces ?? "–"), () => askDose(k), { class: "dose-value", "data-key": `dose${k}` }),
    button("+", () => step(1), { class: "quiet", "data-key": `more${k}`, "aria-label": `more ${row.name}` })));
}

const MINE = "my own";

// One's own botanicals, as the plan has them, beside those of the library; a dose is told "2 g".
const grams = (text) => Number(parted(text)?.number ?? NaN);
const mine = () => (draft.tables.own_botanical ?? []).filter((one) => one.name).map((one) => ({
  name: one.name, latin: one.latin_names ?? "", part: one.part ?? one.category ?? "", aliases: [], class: MINE,
  usual_g_per_l: one.usual_dose_per_l?.length === 2 ? one.usual_dose_per_l.map(grams) : null,
}));
const all = () => [...mine(), ...held.start.library];
const librarian = (name) => all().find((one) => one.name === name);
const fieldOf = (key) => tableOf("botanical").fields.find((field) => field.key === key);

// The pad for a dose, switching between weighing and counting.
function askDose(k) {
  const row = valueAt(`botanical.${k}`);
  const key = typed(row);
  const known = librarian(row.name);
  askNumber(`botanical.${k}.${key}`, { ...fieldOf(key), label: words.capital(row.name), ticks: null }, {
    extra: () => {
      if (!known?.pieces && key === "mass") return [];
      const other = key === "mass" ? `count ${known?.pieces ?? "pieces"}` : "weigh it";
      return [button(other, () => {
        document.querySelector("dialog.pad")?.close();
        change((tables) => swapMeasure(tables.botanical[k], key, known, draft.answer?.doses?.[k]?.g), `${row.name}: ${other}`);
        askDose(k);
      }, { class: "chip" })];
    },
  });
}

function swapMeasure(row, key, known, grams) {
  const piece = known?.piece_g || 1;
  const parts = parted(row[key]);
  const value = Number((parts?.number ?? "1").replace(",", "."));
  delete row[key];
  if (key !== "mass") row.mass = `${+(grams ?? value * piece).toPrecision(2)} g`;
  else row.pieces = Math.max(1, Math.round(value / piece));
}

function details(k) {
  const row = valueAt(`botanical.${k}`);
  const draw = () => {
    if (!valueAt(`botanical.${k}`)) { shown.close(); return; }
    const fields = tableOf("botanical").fields.filter((field) => !WAYS.includes(field.key) || field.key === typed(valueAt(`botanical.${k}`)));
    swap(shown.body, fields.map((field) => fieldRow(`botanical.${k}`, field)));
  };
  const shown = sheet(words.capital(row.name), [], {
    acts: [button("Take it out", () => { shown.close(); change((tables) => tables.botanical.splice(k, 1), `${row.name} out`); }, { class: "quiet" }), button("Done", () => shown.close(), { class: "main" })],
    onClose: () => stop(),
  });
  const stop = onChange((what) => { if (what === "draft") draw(); });
  draw();
}

export function bill() {
  const rows = draft.tables.botanical ?? [];
  if (draft.answer) classify();
  return el("div", { class: "bill" }, rows.length ? rows.map((row, k) => botanicalRow(row, k, draft.answer?.doses?.[k])) : el("p", { class: "caption", text: "None yet. Add some, or run the spirit bare." }),
    (draft.tables.own_botanical ?? []).map((one, k) => el("div", { class: "own-row" }, button(`${words.capital(one.name ?? "my own")}: what it holds`, () => describe(k), { class: "link", "data-key": `own${k}` }),
      button("Forget", () => change((tables) => tables.own_botanical.splice(k, 1), `${one.name} forgotten`), { class: "link" }))));
}

const usual = (one) => {
  if (!one.usual_g_per_l) return "1 g";
  const charge = draft.answer?.answer.charge_l ?? 1;
  return `${+(Math.sqrt(one.usual_g_per_l[0] * one.usual_g_per_l[1]) * charge).toPrecision(2)} g`;
};

// One that the library lacks: described once, then a row of the bill like any other; both at once are undone.
function ownOne(wanted) {
  const name = wanted || "my own";
  const add = (known, mass) => change((tables) => {
    (tables.own_botanical ??= []).push({ ...known, name });
    (tables.botanical ??= []).push({ name, mass });
  }, `${name} added`);
  const shown = sheet(`${words.capital(name)}: like which one?`, el("div", { class: "library" }, held.start.library.map((one) => el("button", {
    type: "button", class: "pick", on: { click: () => { shown.close(); add({ like: one.name }, usual(one)); } },
  }, el("span", null, el("b", { text: words.capital(one.name) }), el("span", { text: one.part }))))), {
    wide: true, acts: [button("Like none: describe it", () => { shown.close(); add(structuredClone(tableOf("own_botanical").new), "1 g"); describe(draft.tables.own_botanical.length - 1); }, { class: "quiet" })],
  });
}

// What is known of one of one's own; its rows in the bill go by its name.
function describe(k) {
  const path = `own_botanical.${k}`;
  const follow = (was) => {
    const now = valueAt(`${path}.name`);
    if (was && now && now !== was) change((tables) => { for (const row of tables.botanical ?? []) if (row.name === was) row.name = now; }, null, { quietly: true });
  };
  let name = valueAt(`${path}.name`);
  const shown = sheet("One of my own", [], {
    wide: true, acts: [button("Done", () => shown.close(), { class: "main" })], onClose: () => { stop(); },
  });
  const draw = () => {
    if (!valueAt(path)) { shown.close(); return; }
    follow(name);
    name = valueAt(`${path}.name`);
    swap(shown.body, draft.fault ? el("p", { class: "fault", role: "alert", text: `${draft.fault.message} ${draft.fault.hint}` }) : "", tableOf("own_botanical").fields.map((field) => fieldRow(path, field)));
  };
  const stop = onChange((what) => { if (what === "draft" || what === "answer") draw(); });
  draw();
}

// When each of the library would come over from this charge; asked before the library is opened.
let classed = null;
async function classify() {
  const abv = Math.min(96, draft.answer?.answer.charge_abv ?? 40).toFixed(0);
  if (classed === abv) return;
  classed = abv;
  try {
    const { classes } = await api.get(`/api/classes?abv=${abv}`);
    for (const one of held.start.library) one.class = classes[one.name] ?? one.class;
  } catch { classed = null; }
}

// The library, by class; several at once, each with its usual dose.
export function library() {
  const chosen = new Set();
  const list = el("div", { class: "library" });
  const search = el("input", { type: "search", placeholder: "name, other name, part", "aria-label": "Search the library", autocomplete: "off" });
  const add = button("Add", () => {
    shown.close();
    change((tables) => {
      tables.botanical ??= [];
      for (const name of chosen) tables.botanical.push({ name, mass: usual(librarian(name)) });
    }, `${chosen.size} added`);
  }, { class: "main" });
  const own = button("One of my own", () => { shown.close(); ownOne(search.value.trim()); }, { class: "quiet" });
  const draw = () => {
    const wanted = search.value.trim().toLowerCase();
    const found = all().filter((one) => [one.name, one.latin, one.part, one.group, ...one.aliases ?? []].join(" ").toLowerCase().includes(wanted));
    const classes = [...new Set(found.map((one) => one.class ?? "other"))];
    const order = [MINE, "early", "middle", "late", "stays", "other"];
    classes.sort((a, b) => order.indexOf(a) - order.indexOf(b));
    swap(list, classes.map((name) => el("section", null, name === "other" && classes.length === 1 ? "" : el("h3", { text: words.capital(name) }), found.filter((one) => (one.class ?? "other") === name).map((one) => el("button", {
      type: "button", class: "pick", role: "checkbox", "aria-checked": String(chosen.has(one.name)), "data-key": `pick${one.name}`,
      on: { click: () => { if (!chosen.delete(one.name)) chosen.add(one.name); draw(); } },
    }, el("span", { class: "box" }, icon(TICK)), el("span", null, el("b", { text: words.capital(one.name) }), el("span", { text: [one.part, one.usual_g_per_l ? `usual ${usual(one)}` : ""].filter(Boolean).join(" · ") })))))),
    found.length ? "" : el("p", null, "Not in the list. Like which one? ", button("Make your own", () => own.click(), { class: "link" })));
    add.textContent = chosen.size ? `Add ${chosen.size}` : "Add";
    add.setAttribute("aria-disabled", String(!chosen.size));
  };
  search.addEventListener("input", draw);
  classify().then(draw);
  const shown = sheet("Botanicals", [search, list], { acts: [own, add], wide: true });
  draw();
}
