// Our own number pad: large keys, units as chips that are remembered, proposals to tap; no keyboard covers it.
import { ERASE, button, el, icon, swap } from "./dom.js";
import { isMetric, parted, unit } from "./formats.js";
import { keep, kept } from "./store.js";

// Kinds whose ranges the schema tells in the unit that stands first.
const PLAIN = new Set(["abv", "temperature", "power", "loss", "length", "pressure"]);
const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "back"];

// A field by its place in the plan, whatever its row; others by what they are.
const nameOf = ({ path, kind }) => (path ? path.replace(/\.\d+(?=\.)/g, "") : kind);

// The unit that was chosen last for a field; before that the one that this device shows, or that of its example.
export function usualUnit(field) {
  const { kind, units = [] } = field;
  const shown = isMetric() ? [] : [unit(kind), `US ${unit(kind)}`];
  const known = [kept(`unit.${nameOf(field)}`), ...shown, parted(field.example)?.unit].find((one) => units.includes(one));
  return known ?? units[0] ?? "";
}
const unitOf = (field) => field.unit ?? usualUnit(field);
export const typed = (state) => (state.text === "" ? null : `${state.text.replace(/\.$/, "")}${state.unit ? ` ${state.unit}` : ""}`);

// fields: [{key, path, label, kind, units, unit, value (number as text), proposals: [text], toggles}]
// accept(values): values by key, "77.0 %" or null; actWords(values): the words of the act
export function pad({ title, lead, fields, extra, note, accept, actWords, first = 0, chain = false }) {
  const states = fields.map((field) => {
    const units = field.units ?? [];
    const found = units.length === 0 || units.includes(unitOf(field)) ? unitOf(field) : units[0];
    return { ...field, text: field.value ?? "", unit: units.length ? found : field.unit ?? "", fresh: true };
  });
  let open = first;
  const values = () => Object.fromEntries(states.map((state) => [state.key, typed(state)]));
  const box = el("dialog", { class: "pad", "aria-label": title });
  const tabs = el("div", { class: "pad-tabs", role: "group", "aria-label": "What is typed" });
  const shown = el("p", { class: "pad-number", "aria-live": "polite" });
  const units = el("div", { class: "chips pad-units" });
  const line = el("div", { class: "pad-line" }, shown, units);
  const chips = el("div", { class: "chips pad-chips" });
  const words = el("div", { class: "pad-note", "aria-live": "polite" });
  const tiles = el("div", { class: "tiles" });
  const fault = el("p", { class: "fault", role: "alert", hidden: true });
  const act = button("", () => onward(chain), { class: "main", "data-key": "take" });
  let asked = 0;

  async function comment() {
    if (!note) return;
    const mine = (asked += 1);
    if (outside()) { swap(words); return; }
    const said = await note(values());
    if (mine === asked) swap(words, said ?? []);
  }

  function draw() {
    const state = states[open];
    swap(tabs, states.length < 2 ? [] : states.map((one, k) => button([el("span", { text: one.label }),
      el("b", { text: one.text ? `${one.text} ${one.unit === "%" || one.unit.startsWith("°") ? one.unit : ""}` : one.hint ?? "–" })],
    () => { open = k; states[k].fresh = true; draw(); }, { class: "tab", "aria-pressed": String(k === open), "data-key": `tab${k}` })));
    const several = (state.units ?? []).length > 1;
    swap(shown, el("span", { class: "typed", text: state.text || "\u00a0" }), el("span", { class: "caret" }), several ? "" : el("span", { class: "pad-unit", text: state.unit }));
    swap(units, several ? state.units.map((one) => button(one, () => {
      state.unit = one;
      keep(`unit.${nameOf(state)}`, one);
      changed();
      act.focus();
    }, { class: "chip", "aria-pressed": String(one === state.unit), "data-key": `unit${one}` })) : []);
    line.classList.toggle("many", (state.units ?? []).length > 2);
    shown.classList.toggle("long", state.text.length > 5);
    shown.classList.toggle("fresh", state.fresh && state.text !== "");
    swap(chips, extra ? extra(values(), changed) : []);
    swap(tiles, state.proposals?.length ? [el("p", { class: "caption", text: "or tap what you saw" }), el("div", { class: "tile-row" },
      state.proposals.map((one) => button(one, () => { state.text = one; state.fresh = true; changed(); act.focus(); }, { class: "tile", "data-key": `tile${one}` })))] : []);
    const more = chain && states.some((one, k) => k > open && !one.text);
    const over = above();
    if (over) { fault.textContent = over; fault.hidden = false; }
    act.setAttribute("aria-disabled", String(Boolean(over)));
    swap(act, more ? "Next" : actWords ? actWords(values()) : `Keep ${typed(state) ?? "nothing"}`);
  }

  function changed() { fault.hidden = true; draw(); comment(); }

  function press(key) {
    const state = states[open];
    if (key === "back") state.text = state.fresh ? "" : state.text.slice(0, -1);
    else {
      const text = state.fresh ? "" : state.text;
      if (key === "." && text.includes(".")) return;
      if (text.length < 8) state.text = key === "." && text === "" ? "0." : text + key;
    }
    state.fresh = false;
    changed();
  }

  // To the next field that is empty; the last one takes all.
  function onward(stepping) {
    if (outside()) { take(); return; }
    const next = states.findIndex((one, k) => k > open && !one.text);
    if (stepping && next >= 0 && states[open].text) { open = next; draw(); tabs.children[next]?.focus(); return; }
    take();
  }

  // What cannot be is said at once, by the range of the schema; the laptop checks all else.
  function outside() {
    const { low, high, unit: typedIn, units: all, text, label, kind } = states[open];
    const value = Number(text);
    if (!text || !PLAIN.has(kind) || typedIn !== (all?.[0] ?? "") || low === undefined || low === null) return "";
    if (value >= low && (high === null || high === undefined || value <= high)) return "";
    return `${label} of ${text} ${typedIn}: allowed is ${low} to ${high} ${typedIn}.`;
  }

  // Further digits make a number that is too large no smaller: it is refused as it is typed.
  const above = () => (Number(states[open].text) > states[open].high ? outside() : "");

  async function take() {
    fault.textContent = outside();
    fault.hidden = !fault.textContent;
    if (fault.textContent) return;
    act.disabled = true;
    try {
      await accept(values());
      box.close();
    } catch (error) {
      fault.hidden = false;
      fault.textContent = [error.message, error.hint].filter(Boolean).join(" ");
    }
    act.disabled = false;
  }

  const keys = el("div", { class: "keys" }, KEYS.map((key) => button(key === "back" ? icon(ERASE, "Erase") : key, () => press(key), {
    class: "key", on: { pointerdown: (event) => event.preventDefault() } })));
  box.append(el("div", { class: "pad-lead" }, lead ?? el("h2", { text: title })), el("div", { class: "pad-body" }, tabs, line, fault, chips, words, tiles, keys),
    el("div", { class: "pad-acts" }, button("Cancel", () => box.close(), { class: "quiet" }), act));
  box.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.tagName === "INPUT") return;
    if (/^[0-9]$/.test(event.key)) press(event.key);
    else if (event.key === "." || event.key === ",") press(".");
    else if (event.key === "Backspace") press("back");
    else if (event.key === "Enter" && !event.target.closest(".chip, .tile, .key, .quiet")) onward(chain);
    else return;
    event.preventDefault();
  });
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  draw();
  box.showModal();
  act.focus();
  comment();
  return { box, redraw: draw };
}
