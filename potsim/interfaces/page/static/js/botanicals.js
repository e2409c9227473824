// The bill: one row for each botanical with its usual dose as a band; the library to choose from, several at once.
import { TICK, button, el, icon, swap } from "./dom.js";
import { change, draft, valueAt } from "./draft.js";
import { figure, parted, said } from "./formats.js";
import { askNumber, fieldRow, tableForm } from "./form.js";
import { held, tableOf } from "./held.js";
import { sheet } from "./sheet.js";
import { words } from "./words.js";

const FAR = 2;
const SPAN = 4;

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

const librarian = (name) => held.start.library.find((one) => one.name === name);
const fieldOf = (key) => tableOf("botanical").fields.find((field) => field.key === key);

// The pad for a dose, switching between weighing and counting.
function askDose(k) {
  const row = valueAt(`botanical.${k}`);
  const key = typed(row);
  const known = librarian(row.name);
  askNumber(`botanical.${k}.${key}`, { ...fieldOf(key), label: words.capital(row.name), ticks: null }, {
    extra: () => {
      if (!known?.piece && key === "mass") return [];
      const other = key === "pieces" ? "weigh it" : `count ${known?.piece ?? "piece"}s`;
      return [button(other, () => {
        document.querySelector("dialog.pad")?.close();
        change((tables) => swapMeasure(tables.botanical[k], key, known), `${row.name}: ${other}`);
        askDose(k);
      }, { class: "chip" })];
    },
  });
}

function swapMeasure(row, key, known) {
  const piece = known?.piece_g || 1;
  const parts = parted(row[key]);
  const value = Number((parts?.number ?? "1").replace(",", "."));
  delete row[key];
  if (key === "pieces") row.mass = `${+(value * piece).toPrecision(2)} g`;
  else row.pieces = Math.max(1, Math.round(value / piece));
}

function details(k) {
  const row = valueAt(`botanical.${k}`);
  const draw = () => {
    if (!valueAt(`botanical.${k}`)) { shown.close(); return; }
    swap(shown.body, tableOf("botanical").fields.map((field) => fieldRow(`botanical.${k}`, field)));
  };
  const shown = sheet(words.capital(row.name), [], {
    acts: [button("Take it out", () => { shown.close(); change((tables) => tables.botanical.splice(k, 1), `${row.name} out`); }, { class: "quiet" }), button("Done", () => shown.close(), { class: "main" })],
    onClose: () => clearInterval(timer),
  });
  let last = "";
  const timer = setInterval(() => { const now = JSON.stringify(draft.tables.botanical?.[k]); if (now !== last) { last = now; draw(); } }, 120);
  draw();
}

export function bill() {
  const rows = draft.tables.botanical ?? [];
  const own = tableOf("own_botanical");
  return el("div", { class: "bill" }, rows.length ? rows.map((row, k) => botanicalRow(row, k, draft.answer?.doses?.[k])) : el("p", { class: "caption", text: "None yet. Add some, or run the spirit bare." }),
    own && draft.tables.own_botanical?.length ? tableForm(own) : "");
}

const usual = (one) => {
  if (!one.usual_g_per_l) return "1 g";
  const charge = draft.answer?.answer.charge_l ?? 1;
  return `${+(Math.sqrt(one.usual_g_per_l[0] * one.usual_g_per_l[1]) * charge).toPrecision(2)} g`;
};

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
  const own = button("One of my own", () => {
    shown.close();
    change((tables) => { tables.own_botanical ??= []; tables.own_botanical.push(structuredClone(tableOf("own_botanical").new)); }, "own botanical");
  }, { class: "quiet" });
  const draw = () => {
    const wanted = search.value.trim().toLowerCase();
    const found = held.start.library.filter((one) => [one.name, one.latin, one.part, one.group, ...one.aliases].join(" ").toLowerCase().includes(wanted));
    const classes = [...new Set(found.map((one) => one.class ?? "other"))];
    const order = ["early", "middle", "late", "stays", "other"];
    classes.sort((a, b) => order.indexOf(a) - order.indexOf(b));
    swap(list, classes.map((name) => el("section", null, el("h3", { text: words.capital(name) }), found.filter((one) => (one.class ?? "other") === name).map((one) => el("button", {
      type: "button", class: "pick", role: "checkbox", "aria-checked": String(chosen.has(one.name)), "data-key": `pick${one.name}`,
      on: { click: () => { if (!chosen.delete(one.name)) chosen.add(one.name); draw(); } },
    }, el("span", { class: "box" }, icon(TICK)), el("span", null, el("b", { text: words.capital(one.name) }), el("span", { text: `${one.part} · usual ${usual(one)}` })))))),
    found.length ? "" : el("p", null, "Not in the list. Like which one? ", button("Make your own", () => own.click(), { class: "link" })));
    add.textContent = chosen.size ? `Add ${chosen.size}` : "Add";
    add.setAttribute("aria-disabled", String(!chosen.size));
  };
  search.addEventListener("input", draw);
  const shown = sheet("Botanicals", [search, list], { acts: [own, add], wide: true });
  draw();
}
