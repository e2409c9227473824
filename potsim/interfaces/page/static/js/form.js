// A part of the plan as a form, made from the schema: its fields, units, ranges and choices are data.
import { button, el } from "./dom.js";
import { change, draft, putAt, valueAt } from "./draft.js";
import { parted } from "./formats.js";
import { pad, usualUnit } from "./pad.js";

const COUNTED = new Set(["count", "number"]);
const FEW = 5;
export const isNumber = (field) => !field.choices && field.kind !== "map" && field.kind !== "list" && (field.units.length > 0 || COUNTED.has(field.kind));

const put = (path, value, words) => change((tables) => putAt(tables, path, value), words);

// A number of the plan as a button that opens the pad; ticks behind it show where usual values lie.
function numberField(path, field) {
  const value = valueAt(path);
  const parts = parted(value);
  const shown = value === undefined || value === null ? field.default ?? "–" : String(value);
  return el("span", { class: "value" }, ticks(field, parts), button(shown, () => askNumber(path, field), {
    class: value === undefined ? "number-button unset" : "number-button", "data-key": path, "aria-label": `${field.label}: ${shown}`,
  }));
}

export function askNumber(path, field, { extra } = {}) {
  const parts = parted(valueAt(path));
  const units = field.units.length ? field.units : [""];
  pad({
    title: field.label,
    lead: el("div", { class: "pad-title" }, el("h2", { text: field.label }), el("span", { class: "caption", text: [range(field), field.help].filter(Boolean).join(" · ") })),
    fields: [{ key: "value", label: field.label, kind: field.kind, units, low: field.low, high: field.high, unit: parts?.unit || usualUnit({ ...field, units, path }), path, value: parts?.number ?? "" }],
    extra, actWords: ({ value }) => (value ? `Keep ${value}` : "Leave it out"),
    accept: ({ value }) => put(path, value === null ? null : units[0] === "" ? Number(value) : value, field.label),
  });
}

const range = (field) => (field.ticks ? `${field.ticks.join(" to ")} ${field.units[0]}` : field.example ? `such as ${field.example}` : "");

// Where the number lies between the least and the most; nothing where it is typed in another unit.
function ticks(field, parts) {
  if (!field.ticks || (parts?.unit && parts.unit !== field.units[0])) return "";
  const [low, high] = field.ticks;
  const bar = el("i", { class: "range", title: `${low} to ${high} ${field.units[0]}`, "aria-hidden": "true" }, parts ? el("i", { class: "here" }) : "");
  if (parts) bar.lastChild.style.left = `${Math.max(0, Math.min(100, ((Number(parts.number.replace(",", ".")) - low) / (high - low)) * 100))}%`;
  return bar;
}

function textField(path, field) {
  const value = valueAt(path);
  const shown = Array.isArray(value) ? value.join(", ") : value ?? "";
  const input = el("input", { type: "text", value: shown, placeholder: field.default ?? (field.kind === "list" && field.example ? JSON.parse(field.example).join(", ") : field.example) ?? "", "aria-label": field.label, "data-key": path, maxlength: 500, autocomplete: "off" });
  input.addEventListener("change", () => {
    const text = input.value.trim();
    put(path, text === "" ? null : field.kind === "list" ? text.split(/[,;]\s*/).filter(Boolean) : text, field.label);
  });
  return el("span", { class: "value wide" }, input);
}

function choiceField(path, field) {
  const value = valueAt(path) ?? null;
  return el("span", { class: "value chips" }, field.choices.map((one) => button(one, () => put(path, one === value ? null : one, field.label), {
    class: "chip", "aria-pressed": String(one === value), "data-key": `${path}=${one}` })));
}

function yesField(path, field) {
  const value = valueAt(path) === true;
  return el("span", { class: "value chips" }, button(value ? "yes" : "no", () => put(path, value ? null : true, field.label), { class: "chip", "aria-pressed": String(value), "data-key": path }));
}

const called = (field, name) => field.names?.[name] ?? name;

// Names and shares, such as a composition.
function mapField(path, field) {
  const held = Object.entries(valueAt(path) ?? {});
  const share = { ...field, kind: "share", units: ["%"], ticks: null, low: null, high: null };
  return el("div", { class: "map" }, held.map(([name, value]) => {
    const shown = Array.isArray(value) ? value.join(", ") : String(value);
    return el("div", { class: "map-row" }, el("span", { text: called(field, name) }),
      button(shown, () => askNumber(`${path}.${name}`, { ...share, label: called(field, name) }), { class: "number-button", "data-key": `${path}.${name}` }),
      button("−", () => put(`${path}.${name}`, null, `${called(field, name)} out`), { class: "quiet small", "aria-label": `without ${called(field, name)}` }));
  }), addName(path, field, share));
}

function addName(path, field, share) {
  const list = field.names ? el("datalist", { id: `names-${path}` }, Object.entries(field.names).map(([value, text]) => el("option", { value, text }))) : "";
  const input = el("input", { type: "text", placeholder: field.names ? "limonene" : "name", "aria-label": `${field.label}: another`, maxlength: 60, "data-key": path, list: list ? list.id : null });
  const add = () => { const name = input.value.trim(); if (name) askNumber(`${path}.${name}`, { ...share, label: called(field, name) }); };
  return el("div", { class: "map-row" }, input, list, button("Add", add, { class: "quiet small" }));
}

export function fieldRow(base, field) {
  const path = base ? `${base}.${field.key}` : field.key;
  const make = field.kind === "yes" ? yesField : field.choices ? choiceField : field.kind === "map" ? mapField : isNumber(field) ? numberField : textField;
  const faulty = draft.fault?.faults?.find((one) => one.path === path || one.path === `${path}.0`);
  return el("div", { class: faulty ? "field faulty" : "field" }, el("span", { class: "label" }, field.label, field.help ? el("small", { text: field.help }) : ""), make(path, field),
    faulty ? el("p", { class: "fault", role: "alert", text: `${faulty.message} ${faulty.hint ?? ""}` }) : "");
}

// What is said, what must be, and the few that are usual; the rest is one tap away.
function fieldsOf(base, fields) {
  const few = fields.filter((field) => !field.rare).length <= FEW;
  const plain = fields.filter((field) => field.required || (few && !field.rare) || valueAt(`${base}.${field.key}`) !== undefined);
  const rare = fields.filter((field) => !plain.includes(field));
  return [plain.map((field) => fieldRow(base, field)), rare.length ? el("details", { class: "rare" }, el("summary", { text: "More" }), rare.map((field) => fieldRow(base, field))) : ""];
}

// One table of the plan: its fields, or its rows with their fields.
export function tableForm(table, alone = false) {
  const bare = table.many && !valueAt(table.table)?.length;
  const title = alone || bare ? "" : el("h3", { text: table.label });
  if (!table.many) return el("div", { class: "table-form" }, title, fieldsOf(table.table, table.fields));
  const rows = valueAt(table.table) ?? [];
  const [first, ...others] = table.fields;
  return el("div", { class: "table-form" }, title, rows.map((row, k) => {
    const base = `${table.table}.${k}`;
    return el("div", { class: "row-form" }, el("div", { class: "row-head" }, fieldRow(base, first),
      button("Remove", () => change((tables) => valueAt(table.table, tables).splice(k, 1), `${row[first.key] ?? table.label} removed`), { class: "link", "data-key": `remove-${base}` })),
    fieldsOf(base, others));
  }), button(`Add ${rows.length ? "another" : "a"} ${table.label}`, () => change((tables) => putAt(tables, `${table.table}.${rows.length}`, structuredClone(table.new ?? {})), `${table.label} added`), { class: "link", "data-key": `add-${table.table}` }));
}

export const sectionForm = (part) => el("div", { class: "section-form" }, part.tables.map((table, k) => tableForm(table, k === 0 && !table.many)));
