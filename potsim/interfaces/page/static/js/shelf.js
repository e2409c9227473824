// Shelf: the live run first, then plans, runs and stills of the data folder; the first time, three questions.
import * as api from "./api.js";
import { button, el, swap } from "./dom.js";
import { inOneLine } from "./answer.js";
import { day, timeOfDay } from "./clock.js";
import { ask, draft, open } from "./draft.js";
import { first } from "./first.js";
import { held, inUnits, loadRun, loadShelf, onChange, openRun, tellAll, useUnits } from "./held.js";
import { onMyPhone } from "./phone.js";
import { printSheet } from "./print.js";
import { asks, askText, sheet } from "./sheet.js";
import { device, keep, kept } from "./store.js";
import { thumb } from "./strip.js";
import { useTheme } from "./theme.js";
import { done } from "./undo.js";

export function show(host, { go }) {
  const body = el("div", { class: "shelf-body" });
  const acts = el("div", { class: "acts above" });
  host.append(el("section", { class: "place shelf" }, body, acts));
  let asking = kept("asking", false);
  let questions = null;

  const toPlan = (tables, more) => { keep("asking", false); open(tables, more); go("plan"); };
  const example = () => toPlan(held.start.example, { example: true, words: "Example opened" });

  function openFile() {
    const input = el("input", { type: "file", accept: ".toml,text/plain" });
    input.addEventListener("change", async () => {
      const [file] = input.files;
      if (!file) return;
      try {
        const { plan } = await api.post("/api/open", { text: await file.text(), name: file.name });
        toPlan(plan, { words: `${file.name} opened` });
      } catch (error) { done(error.message, null, { second: error.hint }); }
    });
    input.click();
  }

  async function openPlan(id) {
    try {
      const { plan } = await api.getOrKept(`/api/plans/${encodeURIComponent(id)}`);
      toPlan(plan, { id, words: "Another plan opened" });
    } catch (error) { done(error.message, null); }
  }

  async function openOldRun(one) {
    if (one.refused) { done(one.refused.message, null, { second: one.refused.hint }); return; }
    await loadRun(one.id);
    go(one.live ? "now" : "pour");
  }

  function more(kind, one) {
    const shown = sheet(one.title, el("div", { class: "list-acts" },
      button("Rename", () => { shown.close(); askText("New name", { value: one.title, accept: (title) => act(kind, one, "rename", { title }) }); }, { class: "quiet" }),
      button("Print", () => { shown.close(); printPart(kind, one); }, { class: "quiet", hidden: kind === "stills" }),
      button("Delete", () => { shown.close(); asks(`Delete “${one.title}”?`, "Delete it", () => act(kind, one, "delete", {})); }, { class: "quiet" })));
  }

  async function printPart(kind, one) {
    if (kind === "runs") { printSheet({ run: one.id }); return; }
    try {
      const { plan } = await api.get(`/api/plans/${encodeURIComponent(one.id)}`);
      printSheet({ plan });
    } catch (error) { done(error.message, null); }
  }

  async function act(kind, one, what, said) {
    try {
      await api.post(`/api/${kind}/${encodeURIComponent(one.id)}/${what}`, said);
      if (what === "delete" && kind === "runs" && held.run?.id === one.id) openRun(null);
      await loadShelf();
    } catch (error) { done(error.message, null, { second: error.hint }); }
  }

  const line = (kind, one, press, words) => el("li", null, el("button", { type: "button", class: "shelf-row", "data-key": `${kind}${one.id}`, on: { click: press } },
    thumb(one.thumb), el("span", { class: "shelf-words" }, el("b", null, one.live ? el("i", { class: "dot", role: "img", "aria-label": "on now" }) : "", one.title), el("span", { text: words }))),
  button("…", () => more(kind, one), { class: "quiet small", "aria-label": `${one.title}: rename, print or delete` }));

  const group = (title, rows) => (rows.length ? el("section", null, el("h2", { text: title }), el("ul", { class: "list" }, rows)) : "");
  const figures = (one) => (one.answer ? inUnits(one.answer.units, () => inOneLine({ ...one.answer, keep_l: one.answer.keep_l ?? one.answer.volume_l, keep_abv: one.answer.keep_abv ?? one.answer.abv })) : "");
  const learnt = (one) => (one.learnt?.length ? `learnt: ${one.learnt.map((number) => `${number.of} ${number.value} ± ${number.error}`).join(", ")}` : "");
  const why = (one) => (one.refused ? [one.refused.message, one.refused.hint].filter(Boolean).join(" ") : "");
  const when = (one) => `${day(one.begun)}, ${timeOfDay(one.begun)}`;

  function list() {
    const { plans, runs, stills } = held.shelf;
    const live = runs.filter((one) => one.live);
    const past = runs.filter((one) => !one.live);
    swap(body, el("h1", { class: "unseen", text: "Shelf" }), group("On now", live.map((one) => line("runs", one, () => openOldRun(one), when(one)))),
      group("Plans", plans.map((one) => line("plans", one, () => openPlan(one.id), why(one) || figures(one) || day(one.changed)))),
      group("Runs", past.map((one) => line("runs", one, () => openOldRun(one), why(one) || [when(one), figures(one)].filter(Boolean).join(" · ")))),
      group("Stills", stills.map((one) => line("stills", one, () => still(one), why(one) || [one.still?.capacity, one.still?.power, learnt(one)].filter(Boolean).join(" · ")))), thisDevice());
    swap(acts, button("New plan", () => { asking = true; keep("asking", true); draw(); }, { class: "main" }), button("Example", example, { class: "quiet" }), button("Open a file", openFile, { class: "quiet" }));
  }

  function still(one) {
    const shown = sheet(one.title, [el("p", { text: [one.still?.capacity, one.still?.power].filter(Boolean).join(", ") }), learnt(one) ? el("p", { text: learnt(one) }) : ""], {
      acts: [button("Plan with it", () => { shown.close(); toPlan({ title: "New plan", charge: [{ name: "spirit", volume: "1 L", abv: "50 %" }], still: { from_file: one.from_file ?? `${one.id}.toml` } }, { words: "Plan with this still" }); }, { class: "main" })],
    });
  }

  const thisDevice = () => button("This device", () => {
    const shown = sheet("This device", []);
    const again = () => swap(shown.body, settings(again));
    again();
  }, { class: "link", "data-key": "device" });

  function settings(again) {
    const theme = kept("theme");
    const names = [[null, "as the device"], ["light", "light"], ["dark", "dark"]];
    return el("div", { class: "settings" }, el("div", { class: "chips" },
      names.map(([name, label]) => button(label, () => { useTheme(name); again(); }, { class: "chip", "aria-pressed": String(theme === name), "data-key": `theme${label}` }))),
    el("div", { class: "chips" }, [[null, "units of the plan"], ["metric", "mL, g, °C"], ["us", "fl oz, oz, °F"]].map(([name, label]) => button(label, () => {
      keep("units", name);
      useUnits();
      tellAll("shelf");
      if (draft.tables) ask();
      if (held.run) loadRun(held.run.id);
      again();
    }, { class: "chip", "aria-pressed": String(kept("units") === name), "data-key": `units-${name}` }))),
    el("div", { class: "chips" }, button("acts for the left hand", () => {
      keep("left", !kept("left", false));
      document.documentElement.classList.toggle("left", kept("left", false));
      again();
    }, { class: "chip", "aria-pressed": String(kept("left", false)), "data-key": "left" }),
    button(`called “${device()}”`, () => askText("What is this device called?", { value: device(), proposals: ["kitchen", "shed"], most: 40, accept: (name) => { if (name) keep("device", name); again(); } }), { class: "chip", "data-key": "device" }),
    button("On my phone", onMyPhone, { class: "chip", "data-key": "phone" })));
  }

  function draw() {
    const bare = held.shelf && !held.shelf.plans.length && !held.shelf.runs.length;
    if (!held.shelf) { swap(body, el("p", { class: "caption", text: "looking into the data folder…" })); return; }
    if (bare || asking) {
      if (questions) return;
      acts.others = [bare ? "" : button("To the shelf", () => { asking = false; keep("asking", false); questions = null; draw(); }, { class: "quiet" }), button("Show an example", example, { class: "quiet" }), button("Open a file", openFile, { class: "quiet" })];
      questions = first({ acts, onPlan: (tables) => toPlan(tables, { words: "Plan made" }) });
      swap(body, questions.host, thisDevice());
      return;
    }
    questions?.close();
    questions = null;
    list();
  }
  const stop = onChange((what) => { if (what === "shelf") draw(); });
  loadShelf().catch(() => {});
  draw();
  return { close: () => { stop(); questions?.close(); } };
}
