// Trials: runs and plans side by side on one strip, only what differs, poured together, and the next one.
import * as api from "./api.js";
import { TICK, button, el, icon, svg, swap } from "./dom.js";
import { draft, open } from "./draft.js";
import { said } from "./formats.js";
import { held, loadShelf, onChange, useUnits } from "./held.js";
import { lanesPicture, leadBand } from "./lanes.js";
import { nextTrial } from "./tasting.js";
import { printSheet } from "./print.js";
import { sheet } from "./sheet.js";
import { keep, kept } from "./store.js";
import { stripIn } from "./strip.js";
import { done } from "./undo.js";
import { words } from "./words.js";

const MOST = 4;
const keyOf = (part) => JSON.stringify(part);
const ends = (all) => [all[0], all[all.length - 1]];

// What each is called: with what it is where two have one title, with its place among them where that is one too.
function called(these) {
  const titles = these.map((one) => (these.some((other) => other !== one && other.title === one.title) ? `${one.title}, ${one.what}` : one.title));
  return titles.map((title, k) => (titles.indexOf(title) === titles.lastIndexOf(title) ? title : `${title} ${titles.slice(0, k + 1).filter((other) => other === title).length}`));
}

// The same without the beginning that they share: "Spirit, trial 1" is "trial 1" beside "Spirit, trial 2".
function shortly(titles) {
  const parts = titles.map((title) => title.split(", "));
  const most = Math.min(...parts.map((one) => one.length - 1), titles.length ? Infinity : 0);
  let shared = 0;
  while (shared < most && parts.every((one) => one[shared] === parts[0][shared])) shared += 1;
  return parts.map((one) => one.slice(shared).join(", "));
}

let newest = null;
export const units = () => newest?.units ?? null;

export function show(host, { go }) {
  const parts = { head: el("div", { class: "trials-head" }), strip: el("div", { class: "strip-host" }), lanes: el("div", { class: "lanes-host" }), body: el("div", { class: "trials-body" }), acts: el("div", { class: "acts above" }) };
  host.append(el("section", { class: "place trials" }, parts.head, parts.strip, parts.lanes, parts.body, parts.acts));
  let chosen = kept("trials", []);
  let found = null;
  let lying = [];  // what `found` compares, whatever is chosen since
  let turn = 0;
  let ratio = kept("ratio", 0.5);
  let poured = null;
  let fault = null;

  // Each with when it was made: a run when it was begun, a plan when it was last changed.
  const choices = () => [
    ...(draft.tables ? [{ title: draft.tables.title ?? "The plan", what: "on the table", part: { tables: draft.tables }, key: "table", at: held.shelf?.plans.find((one) => one.id === draft.id)?.changed ?? Infinity }] : []),
    ...(held.shelf?.runs ?? []).map((one) => ({ title: one.title, what: "run", part: { run: one.id }, key: keyOf({ run: one.id }), at: one.begun })),
    ...(held.shelf?.plans ?? []).map((one) => ({ title: one.title, what: "plan", part: { plan: one.id }, key: keyOf({ plan: one.id }), at: one.changed })),
  ];
  // The oldest first, whatever was tapped first.
  const picked = () => choices().filter((one) => chosen.includes(one.key)).sort((a, b) => a.at - b.at);

  const names = () => shortly(called(lying));

  const strip = stripIn(parts.strip, () => {
    if (!found) return null;
    const last = found.strips[found.strips.length - 1];
    const ends = found.strips.map((one) => one.end_l);
    return { strip: last, height: innerWidth >= 1000 ? 150 : 150, endL: Math.max(...ends), maxAbv: Math.max(...found.strips.flatMap((one) => one.curve.abv)), beside: [], ghost: found.strips[0], axis: false, topRoom: 8 };
  });

  async function compare() {
    const these = picked();
    const mine = (turn += 1);
    let made = null;
    let failed = null;
    found = null;
    fault = null;
    if (these.length > 1) {
      try { made = await api.post("/api/compare", { parts: these.map((one) => one.part) }); } catch (error) { failed = error; }
    }
    if (mine !== turn) return;  // another choice was made meanwhile
    [found, fault, lying] = [made, failed, these];
    if (found) { newest = found.answers[found.answers.length - 1]; useUnits(units()); }
    draw();
    if (found) blend();
  }

  async function blend() {
    const these = lying;
    if (!found?.bottle_l?.every(Boolean)) return;
    const shares = these.length === 2 ? [1 - ratio, ratio] : these.map(() => 1 / these.length);
    const most = Math.min(...found.bottle_l.map((l, k) => (shares[k] > 0.01 ? l / shares[k] : Infinity)));
    try {
      poured = await api.post("/api/blend", { parts: these.map((one, k) => ({ ...one.part, volume: `${Math.max(1, Math.round(shares[k] * most * 1000))} mL` })) });
    } catch (error) { poured = { fault: [error.message, error.hint].filter(Boolean).join(" ") }; }
    drawBlend();
  }

  function choose() {
    const list = el("div", { class: "library" });
    let ticked = chosen;
    const draw1 = () => swap(list, choices().map((one) => el("button", {
      type: "button", class: "pick", role: "checkbox", "aria-checked": String(ticked.includes(one.key)), "data-key": one.key,
      on: { click: () => { ticked = ticked.includes(one.key) ? ticked.filter((key) => key !== one.key) : [...ticked, one.key].slice(-MOST); draw1(); } },
    }, el("span", { class: "box" }, icon(TICK)), el("b", { text: one.what === "plan" ? one.title : `${one.title}, ${one.what}` }))));
    const shown = sheet("Compare which?", list, { acts: [button("Side by side", () => { shown.close(); chosen = ticked; keep("trials", chosen); compare(); }, { class: "main" })] });
    draw1();
  }

  // Only what differs as it is told.
  const differing = () => found.rows.filter((row) => row.told[0] !== row.told[1]);
  function rows() {
    const these = differing();
    const oil = these.some((row) => row.effect);  // of doses: how the oil in the bottle changes
    const heads = ends(names()).map((text) => el("th", { scope: "col", text }));
    return el("table", { class: "differs" }, el("caption", { text: "What differs" }),
      el("thead", null, el("tr", null, el("th", { scope: "col" }, el("span", { class: "unseen", text: "what" })), heads, oil ? el("th", { scope: "col", text: "in bottle" }) : "")),
      el("tbody", null, these.map((row) => el("tr", null, el("th", { scope: "row", text: words.capital(row.label) }), row.told.map((text, k) => el("td", { class: k ? "last" : null, text })), oil ? el("td", { class: "effect", text: row.effect }) : ""))));
  }

  // In a litre bottled: a ring for the first, a dot for the last, on one scale of equal ratios.
  function oils() {
    const all = found.oils.flatMap((one) => one.values).filter((x) => x > 0);
    const differs = (a, b) => Math.abs(Math.log((a || low) / (b || low))) > 0.05;
    if (!all.length) return "";
    const [low, high] = [Math.min(...all) / 1.3, Math.max(...all) * 1.3];
    const x = (v) => 4 + (Math.log(Math.max(v, low) / low) / Math.log(high / low)) * 192;
    return el("div", { class: "oils" }, el("h2", null, "In a litre bottled ", el("small", { text: `mg of oil, ${ends(names()).map((name, k) => `${"○●"[k]}\u00a0${name.replaceAll(" ", "\u00a0")}`).join(" ")}` })), el("ul", null, found.oils.map((one) => {
      const [a, b] = [one.values[0], one.values[one.values.length - 1]];
      return el("li", { class: differs(a, b) ? "differs" : null }, el("span", { text: one.label }), svg("svg", { viewBox: "0 0 200 20", class: "oil", role: "img", "aria-label": one.values.map((v) => (v ?? 0).toPrecision(2)).join(" and ") },
        svg("path", { d: "M0 10H200", class: "grid" }), svg("path", { d: `M${x(a)} 10H${x(b)}`, class: "span" }), svg("circle", { cx: x(a), cy: 10, r: 5.5, class: "ring" }), svg("circle", { cx: x(b), cy: 10, r: 5.5, class: differs(a, b) ? "dot-now" : "dot-same" })));
    })));
  }

  const blendHost = el("div", { class: "blend" });
  function drawBlend() {
    const these = lying;
    if (!found) { swap(blendHost); return; }
    const slider = el("input", { type: "range", min: 0, max: 1, step: 0.05, value: ratio, "aria-label": `how much of ${names()[1]}`, "data-key": "ratio" });
    const label = el("b", { text: `${Math.round((1 - ratio) * 100)} : ${Math.round(ratio * 100)}` });
    slider.addEventListener("input", () => { ratio = Number(slider.value); label.textContent = `${Math.round((1 - ratio) * 100)} : ${Math.round(ratio * 100)}`; });
    slider.addEventListener("change", () => { keep("ratio", ratio); blend(); });
    swap(blendHost, el("h2", { text: "Pour them together" }), these.length === 2 ? el("div", { class: "ratio" }, el("span", { text: names()[0] }), slider, el("span", { text: names()[1] }), label) : "", blendWords());
  }

  function blendWords() {
    if (!poured) return "";
    if (poured.fault) return el("p", { class: "fault", text: poured.fault });
    const { answer, plan } = poured.one_run ?? {};
    return [el("p", null, el("b", { text: poured.poured_l.map((l) => said("volume", l)).join(" + ") }), " give ", el("b", { text: `${said("volume", poured.most_l ?? poured.volume_l)} at ${said("abv", poured.abv)}` })),
      answer ? el("p", { class: "caption" }, `One run would do the like: ${said("volume", answer.keep_l)} at ${said("abv", answer.keep_abv)}. `, button("Take it as a plan", () => { open(plan, { words: "One run of both" }); go("plan"); }, { class: "link" })) : ""];
  }

  function draw() {
    const these = found ? lying : picked();
    swap(parts.head, el("h1", { text: these.length < 2 ? words.oneMore : these.length === 2 ? called(these).reverse().join(" against ") : `${these.length} side by side` }), button("Choose", choose, { class: "quiet", "data-key": "choose" }));
    swap(parts.lanes);
    if (found) {
      strip.draw();
      const width = parts.lanes.clientWidth;
      const endL = Math.max(...found.strips.map((one) => one.end_l));
      swap(parts.lanes, el("p", { class: "stops" }, found.stops.map((one, k) => `${names()[k]} stops at ${said("volume", one.l)}, ${said("abv", one.abv)}`).join("; ")), found.lanes.groups.length ? (innerWidth >= 1000 ? lanesPicture(found.lanes, { width, endL }) : leadBand(found.lanes, { width, endL, labels: true })) : "");
      swap(parts.body, differing().length ? rows() : el("p", { class: "caption", text: "Nothing differs." }), oils(), blendHost);
      drawBlend();
    } else {
      swap(parts.strip);
      swap(parts.body, fault ? el("p", { class: "fault edge", text: [fault.message, fault.hint].filter(Boolean).join(" ") }) : el("p", { class: "caption", text: these.length > 1 ? words.reckoning : choices().length < 2 ? "Keep a second plan or make a run: then two can lie on one strip." : "Choose two or more; they lie on one strip." }));
    }
    const run = these.map((one) => one.part.run).filter(Boolean).pop();
    swap(parts.acts, button("Print", () => (run ? printSheet({ run }) : done("Choose a run to print.", null)), { class: "quiet" }),
      run ? button("Next trial", () => nextTrial({ id: run }, go), { class: "main" }) : button("Choose", choose, { class: "main" }));
  }

  const begin = () => {
    if (picked().length < 2) chosen = choices().slice(0, 2).map((one) => one.key);
    compare();
  };
  const stop = onChange((what) => { if (what === "shelf" && !found) begin(); });
  loadShelf().catch(() => {});
  begin();
  const resized = () => draw();
  addEventListener("resize", resized);
  return { close: () => { stop(); strip.end(); removeEventListener("resize", resized); } };
}
