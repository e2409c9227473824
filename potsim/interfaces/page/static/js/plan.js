// Plan: the answer on top, the strip with its grips, five parts of which one is open at a time.
import * as api from "./api.js";
import { figures, inOneLine, why } from "./answer.js";
import { bill, library } from "./botanicals.js";
import { endOf, fine, flagOver, grips, partings } from "./curve.js";
import { UNDO, button, el, icon, seenHeight, swap, uuid } from "./dom.js";
import { change, draft, mine, undo } from "./draft.js";
import { askings } from "./askings.js";
import { sectionForm } from "./form.js";
import { held, onChange, openRun, section } from "./held.js";
import { lanesPicture, leadBand } from "./lanes.js";
import { onMyPhone } from "./phone.js";
import { printSheet } from "./print.js";
import { askText } from "./sheet.js";
import { device } from "./store.js";
import { empty, stripIn } from "./strip.js";
import { done, undoElsewhere } from "./undo.js";
import { words } from "./words.js";

const PARTS = ["pot", "botanicals", "cuts", "jars", "bottle"];
const WIDE = 1000;
const GRAVE = ["danger", "caution", "hint"];
const ALWAYS = "every_run"; // kind of the cautions that hold for any plan
const UNUSUAL = "dose"; // kind of a caution: a dose far from the usual one

export const units = () => draft.answer?.answer.units ?? null;

export function show(host, { go }) {
  if (!draft.tables) {
    host.append(el("section", { class: "place" }, el("h1", { class: "order", text: "No plan on the table" }), empty(words.yourRun),
      el("div", { class: "acts" }, button("Three questions", () => go("shelf"), { class: "main" }))));
    return {};
  }
  let part = null;      // the part that is open, "curve" for the grips
  let frozen = null;    // the scale while a grip is dragged
  let cut = null;       // the strip as the finger has it, until the answer for that place comes
  let laned = null;     // the lanes that are drawn
  let asked = {};       // what was asked about this plan: other strengths, the band of how sure
  const parts = {
    head: el("div", { class: "plan-head" }), answer: el("div", { class: "plan-answer", "aria-live": "polite" }), flag: el("div", { class: "flag-host" }),
    strip: el("div", { class: "strip-host plan-strip" }), lanes: el("div", { class: "lanes-host" }), body: el("div", { class: "plan-body" }), acts: el("div", { class: "acts above" }),
  };
  const place = el("section", { class: "place plan" }, parts.head, parts.answer, el("div", { class: "strip-frame" }, parts.flag, parts.strip), parts.lanes, parts.body, parts.acts);
  host.append(place);
  const wide = () => innerWidth >= WIDE;
  const curved = () => part === "curve" || wide();
  const differs = () => draft.openedAnswer && draft.answer && JSON.stringify(draft.opened) !== JSON.stringify(draft.tables);

  const shows = () => !frozen && (part === "ask" || wide());

  const strip = stripIn(parts.strip, () => {
    const answer = draft.answer;
    if (!answer) return null;
    const big = part === "curve";
    const height = wide() ? (big ? 380 : 190) : big ? Math.max(150, seenHeight() - 500) : part === "ask" ? 150 : part ? 96 : 176;
    return {
      strip: cut ?? { ...answer.strip, band: shows() ? asked.band : null }, height, axis: !part, gripped: curved(), topRoom: big ? 30 : 10, past: curved(), endL: curved() ? frozen?.end ?? endOf(answer.strip) : undefined,
      maxAbv: frozen?.most, ghost: differs() && (big || wide()) ? draft.openedAnswer.strip : null, beside: shows() ? asked.beside : [],
      after: (drawn) => {
        parts.strip.classList.toggle("with-grips", curved());
        if (!curved()) return;
        const hold = { flag: (where) => flagOver(parts.flag, where, answer.strip, answer.lanes.leads, drawn.scale.width), freeze: (yes) => { frozen = yes ? { end: drawn.scale.end, most: drawn.scale.most } : null; cut = null; },
          show: (strip0) => { cut = strip0; strip.redraw(); } };
        partings(parts.strip, drawn, answer, hold);
        grips(parts.strip, drawn, answer, hold);
      },
    };
  });

  const questions = askings({ show: (found) => { asked = found; strip.draw(); } });

  function head() {
    const kept = draft.example ? words.notYours : draft.saved ? words.kept : api.isHere() ? words.keeping : words.keptHere;
    swap(parts.head, el("h1", null, button(draft.tables.title ?? "My plan", () => askText("Name of the plan", {
      value: draft.tables.title ?? "", accept: (title) => change((tables) => { tables.title = title; }, "renamed") }), { class: "link title", "data-key": "title" })),
    el("span", { class: "caption", role: "status", text: kept }), draft.example ? button("Make it mine", mine, { class: "link", "data-key": "mine" }) : "");
  }

  function answer() {
    const { answer: found, fault } = draft;
    parts.answer.classList.toggle("stale", Boolean(fault));
    const before = differs() ? draft.openedAnswer.answer : undefined;
    const words0 = part && part !== "curve" && !wide();
    swap(parts.answer, found && !words0 ? [figures(found.answer, { before, wide: wide() }), before ? el("p", { class: "caption", text: "against the plan as opened, dashed" }) : "", part === "curve" && !wide() ? "" : why(found.why, wide() ? "" : found.then)] : "",
      wide() || part ? "" : gravely(),
      fault ? el("p", { class: "fault edge", role: "alert" }, `${fault.message} ${fault.hint}`) : "", !found && !fault ? el("p", { text: words.reckoning }) : "");
  }

  function lanes() {
    const width = parts.lanes.clientWidth;
    const found = draft.answer;
    laned = found?.lanes;
    if (!found || width < 20 || part === "curve" || !found.lanes.groups.length) { swap(parts.lanes); return; }
    const endL = wide() ? endOf(found.strip) : found.strip.end_l;
    swap(parts.lanes, part && !wide() ? leadBand(found.lanes, { width, endL, labels: true }) : lanesPicture(found.lanes, { width, endL }));
  }

  const titled = (name) => el("div", { class: "part-head" }, el("h2", { text: section(name)?.label ?? words.capital(name) }), draft.answer ? el("span", { text: inOneLine(draft.answer.answer) }) : "");
  const content = (name) => (name === "botanicals" ? bill() : name === "mind" ? cautions() : name === "ask" ? questions.host : sectionForm(section(name)));

  function row(name, label, text) {
    return el("button", { type: "button", class: "part-row", "data-key": `part-${name}`, on: { click: () => { part = name; drawAll(); scrollTo(0, 0); } } },
      el("b", { text: label }), el("span", { text }), el("i", { "aria-hidden": "true", text: "›" }));
  }

  function body() {
    const rows = draft.answer?.rows ?? {};
    if (part === "curve") { swap(parts.body, fine(draft.answer)); return; }
    if (part && !wide()) { swap(parts.body, titled(part), content(part)); return; }
    if (wide()) {
      swap(parts.body, el("div", { class: "plan-columns" }, el("div", null, el("h2", { text: section("pot").label }), sectionForm(section("pot"))),
        el("div", null, el("h2", null, section("botanicals").label, el("small", { text: " the band is the usual dose" })), bill(), button("Add a botanical", library, { class: "link", "data-key": "add-botanical" }), el("h2", { text: "Mind" }), cautions()),
        el("div", null, el("h2", { text: "Ask" }), content("ask"), ["cuts", "jars", "bottle"].map((name) => [el("h2", { text: section(name).label }), sectionForm(section(name))]), rest().map(([name]) => [el("h2", { text: section(name).label }), sectionForm(section(name))]))));
      return;
    }
    swap(parts.body, PARTS.map((name) => row(name, section(name)?.label ?? name, rows[name] ?? "")), rest().map(([name, label]) => row(name, label, rows[name] ?? "")),
      row("mind", "Mind", `${draft.answer?.cautions.length ?? 0} cautions, ${draft.answer?.assumed.length ?? 0} assumed`), row("ask", "Ask", "how sure, other strengths, for n bottles"));
  }
  const rest = () => held.start.schema.filter((one) => !PARTS.includes(one.section)).map((one) => [one.section, one.label]);

  const said = (one) => el("p", { class: `mind ${one.severity}`, text: one.text });
  const always = () => draft.answer.cautions.filter((one) => one.kind === ALWAYS);
  const sorted = () => GRAVE.flatMap((severity) => draft.answer.cautions.filter((one) => one.severity === severity && one.kind !== ALWAYS));
  // What is grave, or says that a number of this plan is not usual, stands open beside the answer.
  const gravely = () => (draft.answer?.cautions.length ? sorted().filter((one) => one.severity === GRAVE[0] || one.kind === UNUSUAL).map(said) : "");

  function cautions() {
    const found = draft.answer;
    if (!found) return "";
    const [every, rest0] = [always(), sorted()];
    return el("div", { class: "cautions" }, rest0.map(said),
      every.length ? el("details", { open: !rest0.length }, el("summary", { text: "With every run" }), every.map(said)) : "",
      found.assumed.length ? el("details", null, el("summary", { text: "Assumed, as you did not say" }), found.assumed.map((text) => el("p", { class: "caption", text }))) : "");
  }

  function acts() {
    const undoAct = button(wide() ? [icon(UNDO), el("span", { text: "Undo" })] : icon(UNDO, "Undo"), undo, { class: "quiet narrow", "aria-disabled": draft.past.length ? null : "true", "data-key": "undo" });
    const toStill = button("To the still", () => begin(go), { class: "main", "data-key": "still" });
    const closing = button("Done", () => { part = null; drawAll(); }, { class: "main", "data-key": "done" });
    if (part === "curve") {
      swap(parts.acts, undoAct, button("As opened", () => change((tables) => { for (const key of Object.keys(tables)) delete tables[key]; Object.assign(tables, structuredClone(draft.opened)); }, "as opened"), { class: "quiet", "data-key": "opened" }), closing);
    } else if (part && !wide()) {
      swap(parts.acts, undoAct, part === "botanicals" ? button("Add", library, { class: "quiet", "data-key": "add" }) : "", closing);
    } else if (wide()) {
      swap(parts.acts, undoAct, button("Compare", () => go("trials"), { class: "quiet" }), button("Print", () => printSheet({ plan: draft.tables }), { class: "quiet" }), button("On my phone", onMyPhone, { class: "quiet" }), toStill);
    } else swap(parts.acts, undoAct, button("Compare", () => go("trials"), { class: "quiet" }), toStill);
  }

  function drawAll() {
    place.classList.toggle("open", Boolean(part) && !wide());
    place.classList.toggle("curve", part === "curve");
    head();
    answer();
    strip.draw();
    lanes();
    body();
    acts();
  }

  // While a grip is dragged only what answers is drawn; forms stay as they are.
  function light() {
    if (frozen) {
      if (draft.answered === draft.tables) cut = null;
      if (!cut) strip.redraw();
      answer();
      if (laned !== draft.answer.lanes) lanes();
      return;
    }
    head();
    answer();
    strip.draw();
    body();
    lanes();
    acts();
  }
  parts.strip.addEventListener("click", (event) => {
    if (event.target.closest(".grip, .parting") || wide() || part) return;
    part = "curve";
    drawAll();
  });
  const stop = onChange((what) => {
    if (what === "draft") { asked = {}; questions.clear(); head(); if (!frozen) { body(); acts(); } } else if (what === "answer") light();
    else if (what === "saved" || what === "reach") head();
  });
  undoElsewhere(undo);
  const resized = () => drawAll();
  addEventListener("resize", resized);
  drawAll();
  return { close: () => { stop(); strip.end(); removeEventListener("resize", resized); } };
}

// To the still: a run of this plan is begun, once however often it is tapped; the four ticks follow.
let beginning = null;
async function begin(go) {
  if (!draft.answer || draft.fault) { done(draft.fault?.message ?? "The answer is not there yet.", null); return; }
  beginning ??= uuid();
  try {
    const run = await api.post("/api/runs", { plan: draft.tables, thing: beginning, device: device(), ...(draft.id ? { from: draft.id } : {}) });
    beginning = null;
    openRun(run);
    go("now");
  } catch (error) {
    done(error.message, null, { second: error.hint });
  }
}

