// One clock for all devices: the laptop's, reckoned from this device's own.
import { keep, kept } from "./store.js";

let offset = kept("clock", 0);
const listeners = new Set();

export const now = () => Date.now() + offset;

// The server said what time it is; a difference below half a second is the journey of the answer.
export function agree(epochMs) {
  if (!Number.isFinite(epochMs)) return;
  const found = epochMs - Date.now();
  if (Math.abs(found - offset) < 500) return;
  offset = found;
  keep("clock", offset);
  tick();
}

export function everySecond(react) {
  listeners.add(react);
  return () => listeners.delete(react);
}

function tick() { for (const react of listeners) react(); }

setInterval(tick, 250);
document.addEventListener("visibilitychange", tick);

export const minutesSince = (ms) => (now() - ms) / 60000;

// Minutes as minutes and seconds; past is told by a plus.
export function countdown(minutes) {
  const seconds = Math.ceil(minutes * 60 - 1e-6);
  const size = Math.abs(seconds);
  return `${seconds < 0 ? "+" : ""}${Math.floor(size / 60)}:${String(size % 60).padStart(2, "0")}`;
}

// From a hundred minutes on seconds are left out: fewer signs are larger ones.
export const atArmsLength = (minutes) => (Math.abs(minutes) < 100 ? countdown(minutes) : `${countdown(minutes).split(":")[0]} min`);

export const timeOfDay = (ms) => new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
export function day(ms) {
  const year = new Date(ms).getFullYear() === new Date(now()).getFullYear() ? undefined : "numeric";
  return new Date(ms).toLocaleDateString([], { day: "numeric", month: "short", year });
}
