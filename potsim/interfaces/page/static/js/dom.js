// Making and finding elements; nothing of the run is known here.
const SVG = "http://www.w3.org/2000/svg";

export const $ = (selector, from = document) => from.querySelector(selector);

function dress(made, given, children) {
  for (const [name, value] of Object.entries(given ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "on") for (const [event, react] of Object.entries(value)) made.addEventListener(event, react);
    else if (name === "text") made.textContent = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat(9).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export const el = (tag, given, ...children) => dress(document.createElement(tag), given, children);
export const svg = (tag, given, ...children) => dress(document.createElementNS(SVG, tag), given, children);

export function button(label, press, given = {}) {
  return el("button", { type: "button", ...given, on: { click: press, ...given.on } }, label);
}

// Put other children into a host; what was focused, known by its data-key, is focused again.
export function swap(host, ...children) {
  const key = host.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  host.replaceChildren(...children.flat(9).filter(Boolean));
  if (key) host.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  return host;
}

export const icon = (path, label) => svg("svg", {
  viewBox: "0 0 24 24", width: 24, height: 24, class: "icon", "aria-hidden": label ? null : "true",
  role: label ? "img" : null, "aria-label": label,
}, svg("path", { d: path }));

export const UNDO = "M9 14 4 9l5-5 M4 9h10a6 6 0 0 1 0 12h-3";
export const ERASE = "M9 5h11v14H9l-6-7z M12 9l5 6 M17 9l-5 6";
export const TICK = "M5 12.5 10 17 19 7.5";

// How wide a text will be in a picture, in the face of this device.
const pen = document.createElement("canvas").getContext("2d");
export function textWidth(text, weight = 500, size = 15) {
  pen.font = `${weight} ${size}px system-ui, sans-serif`;
  return pen.measureText(text).width;
}

// The height that can be seen, whatever the contents do.
export const seenHeight = () => document.documentElement.clientHeight;

export function say(text) {
  const host = $("#spoken");
  host.textContent = "";
  requestAnimationFrame(() => { host.textContent = text; });
}

// A tap, or a hold of half a second; a keyboard reaches the second by the context-menu key.
export function tapOrHold(target, tap, hold) {
  let timer = 0;
  let held = false;
  const down = () => { held = false; timer = setTimeout(() => { held = true; hold(); }, 500); };
  const up = () => clearTimeout(timer);
  target.addEventListener("pointerdown", down);
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) target.addEventListener(end, up);
  target.addEventListener("contextmenu", (event) => { event.preventDefault(); up(); if (!held) { held = true; hold(); } });
  target.addEventListener("click", () => { if (!held) tap(); held = false; });
  return target;
}

export const uuid = () => {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
};
