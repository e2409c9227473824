// Everything kept can be undone: a bar for eight seconds after each act, and Ctrl+Z for the last ones.
import { $, button, el, say, swap } from "./dom.js";

const SHOWN_MS = 8000;
const MOST = 50;
const acts = [];
let timer = 0;
let elsewhere = () => false;

// Where the place that is open undoes by itself, such as the plan with its own fifty steps.
export const undoElsewhere = (react) => { elsewhere = react; };

export function done(text, undo, { second = "" } = {}) {
  const act = { text, undo };
  acts.push(act);
  if (acts.length > MOST) acts.shift();
  show(act, second);
  say(text);
  return act;
}

function show(act, second) {
  clearTimeout(timer);
  swap($("#undo"), el("div", { class: "undo-bar" }, el("div", null, el("b", { text: act.text }), second ? el("span", { text: second }) : ""),
    act.undo ? button("Undo", () => take(act), { class: "undo-act" }) : ""));
  timer = setTimeout(hide, SHOWN_MS);
}

export function hide() { clearTimeout(timer); swap($("#undo")); }

function take(act) {
  const k = acts.indexOf(act);
  if (k < 0) return;
  acts.splice(k, 1);
  hide();
  act.undo();
  say(`Undone: ${act.text}`);
}

export function undoLast() {
  if (elsewhere()) return;
  const act = acts[acts.length - 1];
  if (act?.undo) take(act);
}

addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.shiftKey || event.key.toLowerCase() !== "z") return;
  if (event.target.matches?.("input[type=text], input[type=search], textarea")) return;
  event.preventDefault();
  undoLast();
});
