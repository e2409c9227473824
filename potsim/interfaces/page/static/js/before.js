// Before the run: the plan on one side, what comes of it on the other, as fast as a hand moves.
import { $, h, roomFor, speak } from "./dom.js";
import * as api from "./api.js";
import * as draft from "./draft.js";
import { clear, refuse, settle } from "./field.js";
import { makeForm } from "./form.js";
import { hold } from "./latest.js";
import { follow } from "./live.js";
import { Picture } from "./picture.js";
import { cautions, figures, jarTable } from "./result.js";
import * as words from "./words.js";

let start;
let beside = [];
const view = {};

export async function setUp(root, begun, onBegin) {
  start = begun;
  view.title = h("input", { class: "title", "aria-label": "Title of the plan", autocomplete: "off", spellcheck: "false" });
  view.title.addEventListener("input", () => { draft.put("title", view.title.value.trim() || "Untitled run"); fit(); });
  view.figures = h("dl", { class: "figures" });
  view.picture = new Picture();
  view.trouble = h("p", { class: "trouble", role: "alert", hidden: true });
  view.cautions = h("div", { class: "cautions" });
  view.jars = h("details", { class: "part" });
  view.form = h("form", { class: "plan", "aria-label": "The plan", onsubmit: (event) => event.preventDefault() });
  root.append(
    h("div", { class: "sheet" }, h("div", { class: "above" }, h("div", { class: "row-head" }, view.title,
      h("button", { type: "button", class: "go", onclick: () => attempt(() => onBegin(draft.plan())) }, "Start this run")), files()), view.form),
    h("div", { class: "outcome" }, h("div", { class: "glance" }, view.figures, view.picture.root), view.picture.below, view.trouble, view.cautions, view.jars));
  draft.load(start.plan);
  draft.onChange(changed);
  changed(true);
}

function changed(remake) {
  if (remake) {
    makeForm(view.form, start);
    if (document.activeElement !== view.title) view.title.value = draft.plan().title ?? "Untitled run";
    fit();
  }
  want(structuredClone(draft.plan()));
}

// A long title takes a line of its own.
const fit = () => roomFor(view.title);

const want = follow((plan) => api.post("/api/motion", { plan }), show, fail);
const RESTING_MS = 250; // sooner, and what is slower gets in the way of a hand that only paused
// When the hand rests: all that is slower, and other charges to compare with.
const wantRest = follow((plan) => api.post("/api/run", { plan }), showRest, fail);
const wantBeside = follow((plan) => api.post("/api/beside", { plan }), (reply) => {
  beside = reply;
  if (view.reply) view.picture.draw(view.reply, beside);
}, () => { beside = []; });
let rest;

function show(reply, plan) {
  view.reply = reply;
  clear();
  view.trouble.hidden = true;
  document.body.classList.remove("stale");
  settle(reply.numbers);
  view.picture.draw(reply, beside);
  figures(view.figures, reply.run);
  shorts(reply.run);
  hold(reply);
  document.body.dataset.drawn = String(Number(document.body.dataset.drawn ?? 0) + 1);
  clearTimeout(rest);
  rest = setTimeout(() => wantRest(plan), RESTING_MS);
}

function showRest(reply, plan) {
  wantBeside(plan);
  hold(reply);
  cautions(view.cautions, reply.run);
  jarTable(view.jars, reply);
  $("#assumed")?.replaceChildren(...reply.run.assumed.map((text) => h("p", null, words.formly(text))));
  speak(summary(reply.run));
}

function fail(error) {
  if (error instanceof api.Away) {
    setTimeout(() => want(structuredClone(draft.plan())), 2000);
    return;
  }
  document.body.classList.add("stale");
  const at = refuse(error);
  const drawn = view.reply ? h("span", { class: "note" }, "What is drawn is the last plan that could be run.") : "";
  view.trouble.replaceChildren(h("span", null, at ? `${at.where}: ${error.message} ` : `${error.message} `), drawn,
    at ? h("button", { type: "button", class: "quiet", onclick: at.show }, "Show me") : "");
  view.trouble.hidden = false;
  speak(error.message, 1200);
}

// What a closed part of the form says in its heading.
function shorts(run) {
  const set = (name, text) => { const place = $(`[data-short="${name}"]`, view.form); if (place) place.textContent = text; };
  set("Charge", `${words.volume(run.charge.volume_l)} at ${words.abv(run.charge.abv)}`);
  set("Botanicals", String(draft.plan().botanical?.length ?? 0));
  set("Cuts", `stop at ${words.volume(run.stop.collected_l)}`);
  set("Jars and bottles", `${run.jars.length} jars`);
  set("Still", `boils at ${words.degrees(run.charge.boiling_c)}, first drop in ${words.minutes(run.first_drop_min)}`);
}

function summary(run) {
  const bottles = run.proofing?.bottles;
  return `Stop at ${words.volume(run.stop.collected_l)}, minute ${Math.round(run.stop.elapsed_min)}. `
    + `Keep ${words.volume(run.keep.volume_l)} at ${words.abv(run.keep.abv)}.${bottles ? ` ${bottles} bottles.` : ""}`;
}

function files() {
  const file = h("input", { type: "file", accept: ".toml,text/plain", hidden: true, "aria-hidden": "true", tabindex: "-1" });
  file.addEventListener("change", async () => {
    const [chosen] = file.files;
    file.value = "";
    if (!chosen) return;
    await attempt(async () => draft.replace((await api.post("/api/open", { text: await chosen.text(), name: chosen.name })).plan));
  });
  const button = (name, work, label) => h("button", { type: "button", class: "quiet small", onclick: work, title: label }, name);
  const save = (path) => () => attempt(() => api.download(path, { plan: draft.plan() }));
  return h("div", { class: "files" }, file,
    button("Open a plan", () => file.click(), "Open a plan file"), button("Save it", save("/api/save"), "Save as a plan file"),
    button("Sheet to print", save("/api/sheet"), "Download the sheet to print"), button("Numbers (CSV)", save("/api/csv"), "Download the numbers of the curve"),
    button("Example", () => draft.replace(start.plan), "Back to the example"));
}

async function attempt(work) {
  try {
    view.trouble.hidden = true;
    await work();
  } catch (error) {
    view.trouble.textContent = error.message;
    view.trouble.hidden = false;
  }
}
