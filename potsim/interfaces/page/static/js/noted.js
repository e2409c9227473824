// What was noted: the readings as a list and as dots in the picture.
import { h, s } from "./dom.js";
import * as journey from "./journey.js";
import { said } from "./reading.js";
import { path } from "./scale.js";
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

// In the picture: what is forecast, with its band, and strengths where they were read.
export function foreseen({ state, forecast }, axis, y) {
  if (!state || !forecast) return [];
  return [...band(forecast.band, axis, y), ...state.readings.filter((one) => one.abv !== null).flatMap((one) => {
    const mid = one.of === "jar" && one.collected_l !== null ? ((one.from_l ?? one.collected_l) + one.collected_l) / 2 : null;
    const at = mid ?? one.collected_l ?? (one.elapsed_min === null ? null : journey.moment(one.elapsed_min)?.collected_l);
    return at === null || at === undefined ? [] : [s("path", { class: "read", d: `M${axis.x(at) - 5} ${y(one.abv)}h10m-5 -5v10` })];
  })];
}

function band(found, axis, y) {
  if (!found) return [];
  const last = found.collected_l.findLastIndex((v) => v <= axis.end) + 1;
  const xs = found.collected_l.slice(0, last).map((v) => axis.x(v));
  const edge = (name) => path(xs, found[name].slice(0, last).map(y)).slice(1);
  return [
    s("path", { class: "doubt", d: `M${edge("high_abv")}L${edge("low_abv").split("L").reverse().join("L")}Z` }),
    s("path", { class: "line foreseen", d: `M${edge("abv")}` }),
    s("text", { class: "other-name", x: xs[Math.floor(last / 3)], y: y(found.low_abv[Math.floor(last / 3)]) + 18 }, "forecast"),
  ];
}
