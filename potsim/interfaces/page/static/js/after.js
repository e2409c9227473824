// After the run: the jars to keep, the pool and its water, a verdict for each botanical, the next trial.
import { h, newId, speak } from "./dom.js";
import * as api from "./api.js";
import * as draft from "./draft.js";
import * as journey from "./journey.js";
import { follow } from "./live.js";
import { figure } from "./result.js";
import * as words from "./words.js";

const VERDICTS = ["a lot more", "more", "a touch more", "right", "a touch less", "less", "drop"];
const view = {};
let go = {};
let choice = null; // of which run, and which jars

export function setUp(root, ways) {
  go = ways;
  view.root = root;
  view.figures = h("dl", { class: "figures running", "aria-live": "polite" });
  view.trouble = h("p", { class: "trouble", role: "alert", hidden: true });
  view.jars = h("section", { class: "card", "aria-label": "Jars to keep" });
  view.verdicts = h("section", { class: "card", "aria-label": "Verdicts" });
  view.next = h("section", { class: "card", "aria-label": "Next trial", hidden: true });
  view.head = h("div", { class: "row-head" });
  view.none = h("section", { class: "card" }, h("h2", null, "No run is chosen"), h("p", { class: "hint" }, "Begin a run, or choose one of those kept."),
    h("button", { type: "button", class: "go", onclick: () => go.toDuring() }, "To the runs"));
  view.ledger = h("div", { class: "ledger" }, view.head, view.figures, h("div", { class: "live-main" }, view.trouble, view.jars), h("div", { class: "live-main" }, view.verdicts, view.next));
  root.append(view.none, view.ledger);
  journey.onNews(news);
}

export function shown() {
  if (choice) choice.drawn = false;
  news(journey.now);
}

function news({ state, forecast }) {
  view.none.hidden = Boolean(state);
  view.ledger.hidden = !state;
  if (!state || !forecast || view.root.hidden) return;
  if (choice?.run === state.name && choice.drawn) return;
  const jars = choice?.run === state.name ? choice.jars : new Set(state.pooled ?? forecast.run.keep.jars);
  choice = { run: state.name, jars, drawn: true };
  view.head.replaceChildren(h("h2", { class: "run-title" }, state.plan.title ?? "Untitled run"));
  jarChoice(state, forecast);
  verdicts(state);
  pour({ run: state.name, jars: [...jars] });
}

function jarChoice(state, forecast) {
  const tasted = new Map(state.jars.map((jar) => [jar.number, jar.word]));
  const cards = forecast.run.jars.map((jar) => {
    const box = h("input", { type: "checkbox", checked: choice.jars.has(jar.number), "aria-label": `Jar ${jar.number}, ${jar.role}, ${words.volume(jar.volume_l)} at ${words.abv(jar.abv)}${tasted.get(jar.number) ? `, ${tasted.get(jar.number)}` : ""}` });
    const mark = h("span", { class: "mark", "aria-hidden": "true" }, choice.jars.has(jar.number) ? "keep" : "");
    box.addEventListener("change", () => {
      if (box.checked) choice.jars.add(jar.number); else choice.jars.delete(jar.number);
      mark.textContent = box.checked ? "keep" : "";
      const pooled = [...choice.jars].sort((a, b) => a - b);
      journey.tell({ kind: "pool", jars: pooled });
      pour({ run: state.name, jars: pooled });
    });
    return h("li", null, h("label", null, box, mark, h("b", null, String(jar.number)),
      h("small", null, words.volume(jar.volume_l)), h("small", null, words.abv(jar.abv)), jar.role === "keep" ? null : h("small", null, jar.role),
      tasted.get(jar.number) ? h("small", { class: "word" }, tasted.get(jar.number)) : null));
  });
  view.jars.replaceChildren(h("h2", null, "Jars to keep"), h("ol", { class: "chosen" }, cards));
}

const pour = follow(({ run, jars }) => api.post(`/api/runs/${run}/pool`, { jars }), ({ keep, proofing, notes }) => {
  view.trouble.hidden = true;
  view.figures.classList.remove("gone-by");
  view.figures.replaceChildren(figure("Pool", words.volume(keep.volume_l), `at ${words.abv(keep.abv)}, jars ${words.ranges(keep.jars)}`),
    ...(proofing?.stretch ? [figure("Neutral spirit first", words.volume(proofing.stretch.spirit_l), `of ${words.abv(proofing.stretch.abv)}; together ${words.volume(proofing.stretch.together_l)} at ${words.abv(proofing.stretch.together_abv)}`)] : []),
    ...(proofing ? [figure("Water to add", words.volume(proofing.water_l), `or ${words.mass(proofing.water_kg * 1000)}, to ${words.abv(proofing.target_abv)}`),
      proofing.bottles === null ? figure("Comes to", words.volume(proofing.volume_l)) : figure("Bottles", String(proofing.bottles), `${words.volume(proofing.left_over_l)} left over`)] : []));
  view.jars.querySelector(".hint")?.remove();
  if (notes.length) view.jars.append(h("p", { class: "hint" }, notes.join(" ")));
  speak(`Pool ${words.volume(keep.volume_l)} at ${words.abv(keep.abv)}.`);
}, (error) => {
  view.trouble.textContent = error.message;
  view.trouble.hidden = false;
  view.figures.classList.add("gone-by");
});

function verdicts(state) {
  const given = state.verdicts;
  const rows = (state.plan.botanical ?? []).map((one) => {
    const id = newId("verdict");
    const select = h("select", { id }, h("option", { value: "" }, "no verdict"), VERDICTS.map((word) => h("option", { value: word }, word)));
    const text = h("input", { type: "text", "aria-label": `What ${one.name} was like`, placeholder: "in a few words", value: given[one.name]?.words ?? "", autocomplete: "off" });
    select.value = given[one.name]?.verdict ?? "";
    const told = () => journey.tell({ kind: "verdict", botanical: one.name, verdict: select.value, words: text.value.trim() });
    select.addEventListener("change", told);
    text.addEventListener("change", told);
    return h("div", { class: "verdict" }, h("label", { for: id }, one.name), select, text);
  });
  view.verdicts.replaceChildren(...[h("h2", null, "What each was like"), ...(rows.length ? rows : [h("p", { class: "hint" }, "This run had no botanicals.")]),
    rows.length ? h("button", { type: "button", class: "go", onclick: write }, "Write the next trial") : null].filter(Boolean));
}

async function write() {
  view.next.hidden = false;
  try {
    const { plan, changes, advice, effects } = await api.post(`/api/runs/${journey.name()}/next`, {});
    view.next.replaceChildren(...[h("h2", null, plan.title),
      changes.length ? h("ul", { class: "journal" }, changes.map((one) => h("li", null, h("b", null, one.botanical), h("span", null, `${one.before} → ${one.after ?? "left out"}`), h("span", { class: "note" }, one.verdict))))
        : h("p", { class: "hint" }, "Nothing changes: no verdict asks for it."),
      ...(effects ?? []).map((text) => h("p", null, text)), ...advice.map((text) => h("p", { class: "hint" }, text)),
      h("div", { class: "row-head" }, h("button", { type: "button", class: "go", onclick: () => { draft.replace(plan); go.toBefore(); } }, "To the plan"),
        h("button", { type: "button", class: "quiet", onclick: () => api.download("/api/save", { plan }) }, "Save its file"))].filter(Boolean));
    speak(`${plan.title} is written.`);
  } catch (error) {
    view.next.replaceChildren(h("h2", null, "Next trial"), h("p", { class: "refusal" }, error.message));
  }
}
