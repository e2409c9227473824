// A reading in three taps: what it is, how much, note it. The proposals stand round what is expected now.
import { h, newId } from "./dom.js";
import * as journey from "./journey.js";
import { makeRarely, withUnit } from "./rarely.js";
import * as words from "./words.js";

const round = (value, step) => Math.round(value / step) * step;
const KINDS = [
  { key: "strength", name: "Strength", expect: (m) => round(m.stream_abv, 1), step: 1, unit: "%", digits: 0, example: "71 %" },
  { key: "collected", name: "Collected", expect: (m) => round(m.collected_l * 1000, 10), step: 10, unit: "mL", digits: 0, example: "220 mL" },
  { key: "vapour", name: "Vapour", expect: (m) => round(m.vapour_c, 0.5), step: 0.5, unit: "°C", digits: 1, example: "84.5 °C" },
  { key: "pot", name: "Pot", expect: (m) => round(m.pot_c, 0.5), step: 0.5, unit: "°C", digits: 1, example: "87.5 °C" },
];
const RARE = [
  { key: "mass", name: "Mass", unit: "g", example: "190 g, all collected" },
  { key: "power", name: "Power", unit: "W", example: "500 W, from here on" },
  { key: "note", name: "Note", example: "what happened" },
];

export function makeReading() {
  let kind = KINDS[0];
  let root = null;
  const group = newId("kind");
  const input = h("input", { type: "text", class: "value", "aria-label": "Value", autocomplete: "off", enterkeyhint: "done" });
  const warm = h("input", { type: "text", class: "warm", "aria-label": "Temperature of the sample, °C", placeholder: "20 °C", autocomplete: "off" });
  const warmly = h("label", { class: "warmly" }, "read at", warm);
  const values = h("div", { class: "values", role: "group", "aria-label": "Proposals" });
  const note = h("button", { type: "submit", class: "go" }, "Note it");
  const choice = (some, label) => h("div", { class: "kinds", role: "radiogroup", "aria-label": label }, some.map((one) => h("label", null,
    h("input", { type: "radio", name: group, value: one.key, checked: one === kind, onchange: () => choose(one) }), h("span", null, one.name))));
  const rarely = makeRarely(choice(RARE, "What else was read"), () => root && refresh());
  root = h("form", { class: "card reading", "aria-label": "A reading", onsubmit: send },
    choice(KINDS, "What was read"), values, h("div", { class: "row-head" }, input, warmly, note), rarely.root);

  function choose(one) {
    kind = one;
    input.value = "";
    refresh();
  }

  function refresh() {
    input.placeholder = kind.example;
    warmly.hidden = kind.key !== "strength";
    rarely.refresh();
    const minute = journey.elapsed();
    const first = journey.firstDrop();
    const at = first === null || minute === null ? null : journey.moment(Math.max(minute, first));
    const last = journey.now.state?.readings.at(-1)?.collected_l ?? 0;
    const middle = at && kind.expect && !(kind.key === "strength" && rarely.of() === "jar") ? kind.expect(at) : null;
    if (middle === null || Number.isNaN(middle)) { values.replaceChildren(); return; }
    const offers = [-2, -1, 0, 1, 2].map((k) => middle + k * kind.step)
      .filter((v) => v > 0 && (kind.key !== "collected" || v >= last * 1000));
    values.replaceChildren(...offers.map((v) => {
      const text = `${v.toFixed(kind.digits)} ${kind.unit}`;
      const button = h("button", { type: "button", "aria-pressed": String(input.value === text), onclick: () => {
        input.value = text;
        for (const other of values.children) other.setAttribute("aria-pressed", String(other === button));
      } }, v.toFixed(kind.digits), h("small", null, ` ${kind.unit}`));
      return button;
    }));
  }

  function send(event) {
    event.preventDefault();
    const value = input.value.trim();
    if (!value) { input.focus(); return; }
    const strength = kind.key === "strength";
    const told = kind.key === "note" ? { kind: "note", words: value }
      : { kind: "reading", [kind.key]: withUnit(value, kind.unit), elapsed_min: journey.elapsed() ?? undefined, ...rarely.beside(strength) };
    if (strength && warm.value.trim()) told["read at"] = withUnit(warm.value.trim(), "°C");
    input.value = "";
    journey.tell(told);
    refresh();
  }

  return { root, refresh };
}

const IN = { stream: () => "", parrot: () => " in the parrot", jar: ({ jar_l: held }) => ` in a jar${held === null ? "" : ` of ${words.volume(held)}`}` };

export const said = (reading) => [
  reading.read_abv !== null && `${words.abv(reading.read_abv)}${reading.read_c !== null ? ` at ${words.degrees(reading.read_c)}` : ""}${IN[reading.of](reading)}`,
  reading.of !== "jar" && reading.collected_l !== null && `${words.volume(reading.collected_l)} over`,
  reading.mass_g !== null && `${words.mass(reading.mass_g)} over`,
  reading.vapour_c !== null && `vapour ${words.degrees(reading.vapour_c)}`,
  reading.pot_c !== null && `pot ${words.degrees(reading.pot_c)}`,
  reading.power_w !== null && `${Math.round(reading.power_w)} W`,
  reading.words,
].filter(Boolean).join(", ");
