// The run under way: what the journal holds, what is forecast, and what time it is in the run.
import * as api from "./api.js";
import { follow } from "./live.js";
import * as outbox from "./outbox.js";

const NAME = "potsim.run";
const heard = new Set();
export const now = { state: null, forecast: null, trouble: "", waits: 0 };
export const onNews = (listener) => heard.add(listener);
const news = () => heard.forEach((listener) => listener(now));

export const name = () => localStorage.getItem(NAME);

export function setUp() {
  return outbox.setUp({
    taken: take,
    refused: (error) => { now.trouble = error.message; news(); },
    waits: (count) => { now.waits = count; news(); },
  });
}

function take(state) {
  if (state.name !== name()) return;
  now.state = state;
  now.trouble = "";
  news();
  foresee(state.name);
}

const foresee = follow((run) => api.get(`/api/runs/${run}/forecast`), (reply, run) => {
  if (run !== name()) return;
  now.forecast = reply;
  news();
}, (error) => { now.trouble = error.message; news(); });

export async function begin(plan) {
  const state = await api.post("/api/runs", { plan });
  localStorage.setItem(NAME, state.name);
  now.forecast = null;
  take(state);
}

export async function resume(run = name()) {
  if (!run) return news();
  if (run !== name()) { now.state = null; now.forecast = null; }
  localStorage.setItem(NAME, run);
  try {
    take(await api.get(`/api/runs/${run}`));
  } catch (error) {
    if (!(error instanceof api.Refused)) { setTimeout(() => resume(), 3000); return; }
    leave();
  }
}

export function leave() {
  localStorage.removeItem(NAME);
  Object.assign(now, { state: null, forecast: null, trouble: "" });
  news();
}

export const tell = (told) => outbox.tell(name(), told);

// Minutes since the heat went on; null before.
export function elapsed() {
  const on = now.state?.heat_on;
  return on ? (Date.now() - Date.parse(on)) / 60000 : null;
}

// The moment of the forecast that is nearest to a minute.
export function moment(minute) {
  const track = now.forecast?.track;
  if (!track) return null;
  let best = 0;
  track.elapsed_min.forEach((v, k) => { if (Math.abs(v - minute) < Math.abs(track.elapsed_min[best] - minute)) best = k; });
  return Object.fromEntries(Object.entries(track).map(([key, values]) => [key, values[best]]));
}

export const firstDrop = () => now.forecast?.track.elapsed_min[0] ?? null;
