// Calling the distiller: tone, shake, title of the tab, and a screen that stays awake.
import { countdown } from "./clock.js";
import { kept, keep } from "./store.js";

const EVERY_MS = 5000;
let sound = null;
let lock = null;
let quietKey = null;
let soonKey = null;
let lastCall = 0;

export const hasSound = () => "AudioContext" in window;
export const isOn = () => kept("sound", true) && hasSound();
export const isAwake = () => Boolean(lock);
export const canStayAwake = () => "wakeLock" in navigator;
export function setSound(on) { keep("sound", on); }

export const isHeard = () => sound?.state === "running";

// Browsers let a page sound only after a tap, and anew whenever it was loaded: any tap does that.
export async function unlock() {
  if (!hasSound()) return false;
  sound ??= new AudioContext();
  await sound.resume().catch(() => {});
  return isHeard();
}
for (const touch of ["pointerdown", "keydown"]) addEventListener(touch, () => { if (!isHeard()) unlock(); });

function tone(seconds, hertz, after = 0) {
  if (!isHeard() || !isOn()) return;
  const from = sound.currentTime + after;
  const source = sound.createOscillator();
  const gain = sound.createGain();
  source.frequency.value = hertz;
  gain.gain.setValueAtTime(0.0001, from);
  gain.gain.exponentialRampToValueAtTime(0.5, from + 0.02);
  gain.gain.setValueAtTime(0.5, from + seconds - 0.05);
  gain.gain.exponentialRampToValueAtTime(0.0001, from + seconds);
  source.connect(gain).connect(sound.destination);
  source.start(from);
  source.stop(from + seconds);
}

export async function hear() {
  const works = await unlock();
  if (works) tone(0.4, 880);
  return works;
}

const call = (kind) => {
  const grave = kind !== "jar" && kind !== "taste";
  if (grave) { tone(0.9, 660); tone(0.9, 880, 1.0); } else { tone(0.25, 880); tone(0.25, 880, 0.35); }
  navigator.vibrate?.(grave ? [600, 200, 600] : [250, 120, 250]);
};

export async function stayAwake() {
  if (!canStayAwake() || lock || document.hidden) return isAwake();
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
  } catch { lock = null; }
  return isAwake();
}
export function letSleep() { lock?.release(); lock = null; }

export function quiet(key) { quietKey = key; navigator.vibrate?.(0); }
export const isQuiet = (key) => quietKey === key;

// Called each tick with the order of the moment; calls at a minute before, and each five seconds when it is due.
export function follow(order) {
  if (!order || order.stage === "over") { document.title = "potsim"; mark(false); return; }
  document.title = `${countdown(order.left)} ${order.words}`;
  mark(order.stage === "due");
  if (order.stage === "soon" && soonKey !== order.key) {
    soonKey = order.key;
    tone(0.3, 740);
    navigator.vibrate?.(200);
  }
  if (order.stage === "due" && !isQuiet(order.key) && Date.now() - lastCall >= EVERY_MS) {
    lastCall = Date.now();
    call(order.kind);
  }
}

export function stopCalling() { document.title = "potsim"; mark(false); }

function mark(due) {
  const link = document.querySelector("#icon");
  const wanted = due ? "/static/due.svg" : "/static/icon.svg";
  if (link.getAttribute("href") !== wanted) link.setAttribute("href", wanted);
}

document.addEventListener("visibilitychange", () => { if (!document.hidden && kept("awake", false)) stayAwake(); });
