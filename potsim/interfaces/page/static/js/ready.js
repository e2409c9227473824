// Before the heat: four ticks, sound and screen, and the one act that starts the clock.
import * as alarms from "./alarms.js";
import { TICK, button, el, icon, swap } from "./dom.js";
import { tell } from "./outbox.js";
import { isFirm, keep } from "./store.js";
import { stripIn } from "./strip.js";
import { words } from "./words.js";

export function ready(host, view) {
  const ticked = new Set();
  const rows = el("div", { class: "ticks" });
  const senses = el("div", { class: "senses" });
  const act = el("div", { class: "acts" });
  const strip = el("div", { class: "strip-host" });
  let heard = null;

  function drawRows() {
    swap(rows, view.ticks.map((one) => el("button", {
      type: "button", class: "tick", role: "checkbox", "aria-checked": String(ticked.has(one.key)), "data-key": one.key,
      on: { click: () => { if (!ticked.delete(one.key)) ticked.add(one.key); alarms.unlock(); drawRows(); drawAct(); } },
    }, el("span", { class: "box" }, icon(TICK)), el("span", null, el("b", { text: one.label }), el("span", { text: one.why })))));
  }

  function drawSenses() {
    const sound = !alarms.hasSound() ? "No sound on this device," : heard === false ? "Sound is blocked," : heard ? "Sound works," : "Sound not tried,";
    const screen = !alarms.canStayAwake() ? "and the screen may go dark: set it to stay on." : alarms.isAwake() ? "screen stays awake" : "screen stays awake once the heat is on";
    const firm = isFirm() ? "" : " This browser keeps nothing: what is told while the laptop is away is lost when the page is closed.";
    swap(senses, el("p", null, el("b", { text: sound }), ` ${screen}${firm}`),
      button("Hear it", async () => { heard = await alarms.hear(); await alarms.stayAwake(); drawSenses(); }, { class: "quiet", "data-key": "hear" }));
  }

  function drawAct() {
    const missing = view.ticks.filter((one) => !ticked.has(one.key));
    const first = Math.round(view.first_drop_min);
    const free = missing.length === 0;
    swap(act, button([el("b", { text: "Heat is on" }), el("span", {
      text: free ? `starts the clock · first drop in ${first} min` : `still to tick: ${missing.map((one) => one.label.toLowerCase()).join(", ")}` })],
    () => {
      if (!free) return;
      keep("awake", true);
      alarms.unlock();
      alarms.stayAwake();
      tell(view.id, "heat", { ticks: [...ticked] });
    }, { class: free ? "main tall" : "quiet tall", "aria-disabled": free ? null : "true", "data-key": "heat" }));
  }

  host.append(el("section", { class: "place ready" },
    el("p", { class: "sub" }, el("span", { text: view.title }), el("span", { text: "not begun" })),
    el("h1", { class: "order", text: "Four ticks, then the heat" }), rows, senses, isSecureContext ? "" : el("p", { class: "caption", text: words.plainNet }), strip, act));
  drawRows();
  drawSenses();
  drawAct();
  const drawn = stripIn(strip, () => ({ strip: view.strip, height: 110 }));
  drawn.draw();
  return { close: drawn.end };
}
