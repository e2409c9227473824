// What was noted: the readings as a list and as dots in the picture.
import { h, s } from "./dom.js";
import * as journey from "./journey.js";
import { said } from "./reading.js";
import * as words from "./words.js";

export function journalCard(state, waits) {
  const readings = [...state.readings].reverse();
  return [
    h("h2", null, "Journal"),
    waits ? h("p", { class: "hint" }, `${waits} not yet on disk; kept in this browser until it is.`) : null,
    ...state.torn.map((text) => h("p", { class: "refusal" }, text)),
    readings.length ? h("ol", { class: "journal" }, readings.map(line)) : h("p", { class: "hint" }, "Readings appear here. Each is on disk before it is shown."),
    state.notes.length ? h("ul", { class: "journal" }, state.notes.map((note) => h("li", null, note.words))) : null,
  ].filter(Boolean);
}

function line(reading) {
  const when = reading.elapsed_min === null ? "" : words.clock(reading.elapsed_min);
  const what = said(reading);
  return h("li", null, h("span", { class: "note" }, when), h("span", null, what),
    h("button", { type: "button", class: "remove", "aria-label": `Strike out ${what}`, onclick: () => journey.tell({ kind: "strike", line: reading.line }) }, "×"));
}

// Strengths that were read, where they were read.
export function dots({ state, forecast }, axis, y) {
  if (!state || !forecast) return [];
  return state.readings.filter((one) => one.abv !== null).flatMap((one) => {
    const at = one.collected_l ?? (one.elapsed_min === null ? null : journey.moment(one.elapsed_min)?.collected_l);
    return at === null || at === undefined ? [] : [s("path", { class: "read", d: `M${axis.x(at) - 5} ${y(one.abv)}h10m-5 -5v10` })];
  });
}
