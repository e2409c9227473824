// Questions asked of a plan: how sure, another strength of the charge, and the plan for so many bottles.
import * as api from "./api.js";
import { button, el, swap } from "./dom.js";
import { draft, open } from "./draft.js";
import { figure, said } from "./formats.js";
import { pad } from "./pad.js";
import { words } from "./words.js";

export function askings({ show }) {
  const told = el("div", { class: "told", "aria-live": "polite" });
  const asking = (work) => async () => {
    swap(told, el("p", { class: "caption", text: words.reckoning }));
    try { swap(told, await work()); } catch (error) { swap(told, el("p", { class: "fault", text: [error.message, error.hint].filter(Boolean).join(" ") })); }
  };
  const strengths = async () => {
    const found = await api.post("/api/beside", { plan: draft.tables });
    show({ beside: found });
    return [found.length ? "" : el("p", { text: "No other strength can be run in this still." }), found.map((one) => el("p", null, el("b", { text: `${one.which}, ${said("abv", one.abv)}: ` }), one.answer
      ? `${said("volume", one.answer.keep_l)} at ${said("abv", one.answer.keep_abv)}${one.answer.bottles === null || one.answer.bottles === undefined ? "" : `, ${one.answer.bottles} bottles`}` : "dotted on the strip"))];
  };
  const sure = async () => {
    const found = await api.post("/api/sure", { plan: draft.tables });
    show({ band: found.band });
    const span = (label, kind, one) => (one ? el("p", null, `${label} `, el("b", { text: `${figure(kind, one.low)} to ${said(kind, one.high)}` })) : "");
    return [el("p", { class: "caption", text: words.nineInTen }), span("Keep", "volume", found.keep_l), span("at", "abv", found.keep_abv), span("stop at minute", "minutes", found.stop_min),
      span("fills, bottles", "count", found.bottles), el("p", { text: found.text })];
  };
  const bottles = () => pad({
    title: "For how many bottles?", fields: [{ key: "bottles", label: "bottles", kind: "count", units: [], value: "6" }],
    actWords: ({ bottles: n }) => `For ${n ?? "–"} bottles`,
    accept: async ({ bottles: n }) => {
      show({});
      const found = await api.post("/api/reach", { plan: draft.tables, bottles: Number(n) });
      swap(told, el("p", { text: found.text }), found.plan ? button("Take it as a plan", () => open(found.plan, { words: `For ${n} bottles` }), { class: "chip" }) : "");
    },
  });
  const host = el("div", { class: "askings" }, el("div", { class: "chips" }, button("Weaker, stronger charge", asking(strengths), { class: "chip" }),
    button("How sure", asking(sure), { class: "chip" }), button("For so many bottles", bottles, { class: "chip" })), told);
  return { host, clear: () => swap(told) };
}
