// During the run: what comes next in large figures, a reading in three taps, jars ticked off.
import { anew, h, speak } from "./dom.js";
import * as api from "./api.js";
import * as journey from "./journey.js";
import { jarCard } from "./filling.js";
import { makeReading } from "./reading.js";
import { Picture } from "./picture.js";
import { foreseen, journalCard } from "./noted.js";
import { figure } from "./result.js";
import * as words from "./words.js";

const view = {};
let go = {};
let drawn = null;

export function setUp(root, ways) {
  go = ways;
  view.root = root;
  view.figures = h("dl", { class: "figures running" });
  view.clock = h("div", { class: "clock" });
  view.trouble = h("p", { class: "trouble", role: "alert", hidden: true });
  view.picture = new Picture((axis, y) => foreseen(journey.now, axis, y));
  view.reading = makeReading();
  view.jars = h("section", { class: "card jars-card", "aria-label": "Jars" });
  view.journal = h("section", { class: "card", "aria-label": "Journal" });
  view.head = h("div", { class: "row-head" });
  view.told = h("section", { class: "told", "aria-label": "What the readings say" });
  view.list = h("section", { class: "card", "aria-label": "Runs" });
  view.live = h("div", { class: "live" },
    h("div", { class: "live-main" }, view.head, view.figures, view.clock, view.trouble, view.reading.root, view.jars),
    h("div", { class: "live-side" }, view.picture.root, view.picture.below, view.told, view.journal));
  root.append(view.list, view.live);
  journey.onNews(news);
  journey.setUp().then(() => journey.resume());
  setInterval(tick, 1000);
}

export const begin = (plan) => journey.begin(plan);

export function shown() {
  drawn = null;
  news(journey.now);
}

function news({ state, forecast, trouble, waits }) {
  view.live.hidden = !state;
  view.list.hidden = Boolean(state);
  if (!state) { listRuns(); return; }
  view.head.replaceChildren(h("h2", { class: "run-title" }, state.plan.title ?? "Untitled run"),
    h("button", { type: "button", class: "quiet small", onclick: journey.leave }, "Other runs"));
  view.trouble.textContent = trouble;
  view.trouble.hidden = !trouble;
  anew(view.journal, ...journalCard(state, waits));
  anew(view.jars, ...jarCard(state, forecast, go.toAfter));
  view.reading.refresh();
  tick();
  if (!forecast || view.root.hidden) return;
  if (drawn !== forecast) {
    drawn = forecast;
    view.told.replaceChildren(...coming(forecast), ...(forecast.trouble ? [forecast.trouble] : forecast.told).map((text) => h("p", null, text)));
    const { collected_l: at, elapsed_min: minute } = forecast.stop;
    if (state.readings.length) speak(`Forecast: stop at ${words.volume(at.value)}, minute ${Math.round(minute.value)}.`);
  }
  view.picture.draw(forecast, []);
}

async function listRuns() {
  if (view.root.hidden) return;
  try {
    const { runs } = await api.get("/api/runs");
    view.list.replaceChildren(h("h2", null, runs.length ? "Runs kept here" : "No run yet"),
      h("p", { class: "hint" }, "A run begins on the page Before, with “Start this run”."),
      h("ul", { class: "choices" }, runs.map((run) => h("li", null, h("button", { type: "button", onclick: () => journey.resume(run.name) },
        h("b", null, run.title), h("span", null, `${run.begun.slice(0, 16).replace("T", ", ")}, ${run.records} lines`))))),
      h("button", { type: "button", class: "go", onclick: go.toBefore }, "To the plan"));
  } catch { /* no connection: said at the top; asked again when shown */ }
}

// Once a second: the clock runs, and what is next comes nearer.
function tick() {
  const { state, forecast } = journey.now;
  if (!state || view.root.hidden) return;
  const minute = journey.elapsed();
  const heat = h("button", { type: "button", class: minute === null ? "go wide" : "quiet small", onclick: heatOn }, minute === null ? "The heat is on" : "Set anew");
  if (minute === null) {
    view.clock.replaceChildren(heat, h("p", { class: "hint" }, "Minutes count from switch-on."));
  } else if (view.clock.dataset.on !== state.heat_on || !view.clock.querySelector("b")) {
    view.clock.dataset.on = state.heat_on;
    view.clock.replaceChildren(h("span", null, "since switch-on "), h("b", { role: "timer" }), heat);
  }
  const shown = view.clock.querySelector("b");
  if (shown) shown.textContent = words.clock(minute);
  if (forecast) view.figures.replaceChildren(...ahead(state, forecast, minute));
}

function heatOn() {
  if (journey.now.state.heat_on && !confirm("Begin counting the minutes anew, from now?")) return;
  journey.tell({ kind: "heat", at: new Date().toISOString() });
}

const until = (at, minute) => {
  if (minute === null) return `${Math.round(at)} min`;
  return at > minute ? words.clock(at - minute) : "now";
};

function ahead(state, forecast, minute) {
  const full = new Set(state.jars.map((jar) => jar.number));
  const next = forecast.jars.find((jar) => !full.has(jar.number));
  const first = journey.firstDrop();
  const { elapsed_min: stop, collected_l: at } = forecast.stop;
  const parts = [];
  if (minute !== null && minute < first && !state.jars.length) {
    parts.push(figure("First drop in", until(first, minute), `minute ${Math.round(first)}`));
  } else if (next) {
    parts.push(figure(`Jar ${next.number} full in`, until(next.full_min, minute), `${next.role}, at ${words.volume(next.to_l)}`));
  } else parts.push(figure("Jars", "full"));
  const spread = stop.high - stop.low > 1 ? `minute ${Math.round(stop.low)} to ${Math.round(stop.high)}` : `minute ${Math.round(stop.value)}`;
  parts.push(figure("Stop in", until(stop.value, minute), `${words.volume(at.value)}, ${spread}`));
  const now = minute === null ? null : journey.moment(minute);
  parts.push(now && minute >= first
    ? figure("Stream", words.abv(now.stream_abv), `about ${words.volume(now.collected_l)} over`)
    : figure("First stream", words.abv(forecast.track.stream_abv[0]), forecast.stop_words.replace("has fallen to", "ends at")));
  return parts;
}

// What is coming over, and what begins next.
function coming({ on, later, run }) {
  if (!run.flavours?.length) return [];
  const parts = [];
  if (on.length) parts.push(h("p", null, h("b", null, "Coming over: "), on.map((one) => one.botanical).join(", ")));
  if (later.length) parts.push(h("p", null, h("b", null, "Then: "), later.map((one) => `${one.botanical} in ${words.volume(one.from_in_l)}`).join(", ")));
  return parts;
}
