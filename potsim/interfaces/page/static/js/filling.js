// Jars under the spout: the next one large, with room for a tasting word; the full ones below.
import { h, roomFor } from "./dom.js";
import * as journey from "./journey.js";
import * as words from "./words.js";

let word = ""; // as it is being typed, kept over news

export function jarCard(state, forecast, toAfter) {
  const inTime = new Map((forecast?.jars ?? []).map((jar) => [jar.number, jar]));
  const planned = (forecast?.run.jars ?? []).filter((jar) => inTime.has(jar.number));
  const told = new Map(state.jars.map((jar) => [jar.number, jar]));
  const next = planned.find((jar) => !told.has(jar.number));
  const full = [...told.values()].reverse();
  return [
    h("h2", null, "Jars"), next ? under(next, inTime.get(next.number).to_l, state) : done(planned.length, toAfter),
    full.length ? h("ol", { class: "filled" }, full.map((jar) => filled(jar, planned.find((one) => one.number === jar.number)))) : null,
  ].filter(Boolean);
}

function under(next, to, state) {
  const input = h("input", { type: "text", "aria-label": `Tasting word for jar ${next.number}`, placeholder: "a tasting word", value: word, autocomplete: "off" });
  input.addEventListener("input", () => { word = input.value; });
  const fill = () => {
    const minute = journey.elapsed();
    const last = state.readings.at(-1)?.collected_l ?? 0;
    journey.tell({ kind: "jar", number: next.number, word: word.trim() });
    // A full jar also tells how far the run has come.
    if (minute !== null && to > last) {
      journey.tell({ kind: "reading", collected: `${(to * 1000).toFixed(1)} mL`, elapsed_min: minute });
    }
    word = "";
  };
  return h("div", { class: "under" },
    h("p", null, h("b", null, `Jar ${next.number}`), ` ${next.role}, ${words.volume(next.volume_l)}`, h("span", { class: "note" }, ` full at ${words.volume(to)}, ${words.abv(next.start_abv)} to ${words.abv(next.end_abv)}`)),
    h("div", { class: "row-head" }, input, h("button", { type: "button", class: "go", onclick: fill }, "Full")));
}

function filled(jar, planned) {
  const input = h("input", { type: "text", value: jar.word, "aria-label": `Tasting word for jar ${jar.number}`, placeholder: "a tasting word", autocomplete: "off" });
  roomFor(input);
  input.addEventListener("input", () => roomFor(input));
  input.addEventListener("change", () => input.value.trim() && journey.tell({ kind: "jar", number: jar.number, word: input.value.trim() }));
  return h("li", null, h("span", { class: "tick", "aria-label": "full" }, "✓"), h("b", null, String(jar.number)),
    h("span", { class: "note" }, planned ? `${planned.role}, ${words.abv(planned.abv)}` : ""), input);
}

function done(count, toAfter) {
  return h("div", { class: "under" }, h("p", null, count ? "All jars are full." : "Waiting for the forecast."),
    count ? h("button", { type: "button", class: "go", onclick: toAfter }, "Choose what to keep") : null);
}
