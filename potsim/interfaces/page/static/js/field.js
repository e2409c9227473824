// One value of the plan: text as people write it, a slider where a number may be tried out, and a refusal in place.
import { h, newId } from "./dom.js";
import * as draft from "./draft.js";
import { plan } from "./draft.js";

const fields = new Map(); // path to field, of the form as it stands
const DECIMALS = 10;

export const forget = () => fields.clear();

export function field({ path, label, hint, slider, example, wide, list, kind = "text" }) {
  const id = newId("value");
  const input = h("input", {
    id, type: "text", autocomplete: "off", spellcheck: "false", placeholder: example, list,
    inputmode: kind, enterkeyhint: "done", "aria-describedby": `${id}-said`,
  });
  input.value = shown(draft.at(path));
  const said = h("p", { class: "refusal", id: `${id}-said`, hidden: true });
  const range = slider ? h("input", { type: "range", "aria-label": `${label}, slider`, tabindex: "0" }) : null;
  const root = h("div", { class: `field${range ? " sliding" : ""}${wide ? " wide" : ""}` },
    h("label", { for: id }, label), input, range, hint ? h("p", { class: "hint" }, hint) : null, said);
  input.addEventListener("input", () => draft.put(path, parsed(path, input.value.trim())));
  input.addEventListener("keydown", (event) => event.key === "Enter" && input.blur());
  range?.addEventListener("input", () => {
    const unit = range.dataset.unit;
    input.value = unit ? `${tidy(range.value)} ${unit}` : tidy(range.value);
    draft.put(path, parsed(path, input.value));
  });
  fields.set(path, { root, input, said, range, slider });
  return root;
}

const tidy = (text) => String(Number(Number(text).toPrecision(DECIMALS)));
const shown = (value) => (Array.isArray(value) ? value.join("; ") : value === undefined ? "" : String(value));

// Pieces are a plain number in a plan file; all else is text.
function parsed(path, text) {
  return path.endsWith(".pieces") && /^\d+([.,]\d+)?$/.test(text) ? Number(text.replace(",", ".")) : text;
}

// Put the sliders where the numbers are, as the server read them.
export function settle(numbers) {
  for (const [path, { range, slider }] of fields) {
    const number = numbers[path];
    if (!range) continue;
    range.disabled = !number;
    if (!number || document.activeElement === range) continue;
    const { low, high, step } = span(number, slider);
    if (!range.dataset.unit || number.value > Number(range.max) || number.value < Number(range.min)
      || range.dataset.unit !== number.unit) {
      Object.assign(range, { min: low, max: high, step });
      range.dataset.unit = number.unit;
    }
    range.value = number.value;
  }
}

// From nothing to twice the value, in steps that a hand can find again.
function span({ value, unit }, slider) {
  if (slider?.max !== undefined) return { low: slider.min, high: slider.max, step: slider.step };
  const high = nice(Math.max(2 * value, 1e-6));
  const step = nice(high / 200);
  return { low: slider?.zero ? 0 : step, high: unit === "%" ? Math.min(high, 97) : high, step };
}

function nice(value) {
  const decade = 10 ** Math.floor(Math.log10(value));
  return [1, 2, 2.5, 5, 10].map((k) => Number((k * decade).toPrecision(6))).find((size) => size >= value * 0.999);
}

// Show a refusal at the value it is about; return where that is in the form, if it is there.
export function refuse(error) {
  clear();
  // A refusal may not say of which row it speaks; of an only one it does.
  const alike = [...fields].filter(([path]) => path.replace(/\.\d+/g, "") === error.path);
  const found = fields.get(error.path)
    ?? [...fields].find(([path]) => error.path && path.startsWith(`${error.path}.`))?.[1]
    ?? (alike.length === 1 ? alike[0][1] : null);
  if (!found) return null;
  found.said.textContent = error.message;
  found.said.hidden = false;
  found.input.setAttribute("aria-invalid", "true");
  for (let near = found.root.closest("details"); near; near = near.parentElement.closest("details")) near.open = true;
  return { where: whereabouts(found), show: () => { found.input.focus({ preventScroll: true }); found.input.scrollIntoView({ block: "center" }); } };
}

function whereabouts({ root }) {
  const head = root.closest(".row")?.querySelector("h3, .name, .lead");
  return [head?.value ?? head?.textContent, root.querySelector("label").textContent].filter(Boolean).join(", ");
}

export function clear() {
  for (const { said, input } of fields.values()) {
    said.hidden = true;
    input.removeAttribute("aria-invalid");
  }
}

// A choice between words.
export function choice({ path, label, options, none }) {
  const id = newId("choice");
  const select = h("select", { id, onchange: () => draft.put(path, select.value) },
    none === undefined ? null : h("option", { value: "" }, none), options.map((word) => h("option", { value: word }, word)));
  select.value = draft.at(path) ?? "";
  return h("div", { class: "field" }, h("label", { for: id }, label), select);
}

export { plan };
