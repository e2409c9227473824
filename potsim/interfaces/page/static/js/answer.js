// The answer of a plan: keep, strength, bottles, one sentence why and when it stops; differences to the plan as opened.
import { el } from "./dom.js";

import { beside, change, figure, said, unit } from "./formats.js";

const SHOWN = [["Keep", "keep_l", "volume"], ["at", "keep_abv", "abv"]];

function one(label, kind, value, before) {
  return el("div", null, el("dt", { text: label }), el("dd", null, el("b", { text: figure(kind, value) }), el("span", { text: ` ${unit(kind, value)}` }), el("span", { class: "beside", text: beside(kind, value) }),
    before === undefined ? "" : el("small", { text: change(kind, value - before) })));
}

function bottles(answer, before, wide) {
  if (answer.bottles === null || answer.bottles === undefined) return "";
  const over = wide && answer.left_over_l ? `, ${said("volume", answer.left_over_l)} over` : "";
  const words = answer.bottles === 1 ? "bottle" : "bottles";
  const differs = before === undefined ? "" : el("small", { text: `${answer.bottles - before < 0 ? "\u2212" : answer.bottles === before ? "±" : "+"}${Math.abs(answer.bottles - before)}, ${said("volume", answer.left_over_l)} over` });
  return el("div", null, el("dt", { text: "fills" }), el("dd", null, el("b", { text: String(answer.bottles) }), el("span", { text: ` ${words}${over}` }), differs));
}

export function figures(answer, { before, wide = false } = {}) {
  const rows = SHOWN.map(([label, key, kind]) => one(label, kind, answer[key], before?.[key]));
  if (wide && answer.water_g !== null) rows.push(one(`Water to ${said("abv", answer.target_abv)}`, "water", answer.water_g, before?.water_g));
  const made = el("dl", { class: "figures" }, rows, bottles(answer, before?.bottles, wide));
  requestAnimationFrame(() => made.classList.toggle("tight", made.scrollWidth > made.clientWidth + 1));
  return made;
}

// The sentence, its weighty part in bold; a honey edge where something else than the wished stop ends the run.
export function why(sentence, then = "") {
  const { text, strong, edge } = sentence;
  const k = strong ? text.indexOf(strong) : -1;
  const parts = k < 0 ? [text] : [text.slice(0, k), el("strong", { text: strong }), text.slice(k + strong.length)];
  return el("p", { class: edge ? "why edge" : "why" }, parts, then ? ` ${then}` : "");
}

export const inOneLine = (answer) => [said("volume", answer.keep_l), said("abv", answer.keep_abv),
  answer.bottles === null || answer.bottles === undefined ? "" : `${answer.bottles} bottles`].filter(Boolean).join(" · ");
