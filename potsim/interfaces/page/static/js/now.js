// Now: one order at a time, one number, two acts; the strip fills beneath.
import * as alarms from "./alarms.js";
import { isHere } from "./api.js";
import { collected, spoutNow } from "./course.js";
import { atArmsLength, countdown, everySecond, minutesSince } from "./clock.js";
import { button, el, say, seenHeight, swap, tapOrHold, textWidth } from "./dom.js";
import { askForgotten } from "./forgotten.js";
import { figure, said, unit } from "./formats.js";
import { held, onChange, runSeen } from "./held.js";
import { lanesPicture, leadBand, leadsNow } from "./lanes.js";
import { notedList, refusedList } from "./noted.js";
import { orderOf } from "./order.js";
import { takeBack, tell, waiting } from "./outbox.js";
import { read, wordFor } from "./reading.js";
import { pad } from "./pad.js";
import { ready } from "./ready.js";
import { sheet } from "./sheet.js";
import { stripIn } from "./strip.js";
import { done, hide } from "./undo.js";
import { words } from "./words.js";

const SPOKEN_S = [60, 10, 0];
const LEAST_PX = 96; // digits of 11 mm on usual phones
const CLOSE = 0.045; // by which figures stand closer than in text, in their size

export const units = () => held.run?.units ?? null;

export function show(host, { go }) {
  let inner = null;
  const draw = () => {
    const view = runSeen();
    const kind = !view ? "none" : !view.heat_ms ? `ready${view.id}` : view.off_ms ? `over${view.id}` : `on${view.id}`;
    if (inner?.kind === kind) { inner.update?.(); return; }
    inner?.close?.();
    host.replaceChildren();
    if (!view) inner = none(host, go);
    else if (!view.heat_ms) inner = ready(host, view);
    else if (view.off_ms) inner = over(host, view, go);
    else inner = running(host);
    inner.kind = kind;
  };
  const stop = onChange((what) => { if (what === "run" || what === "outbox" || what === "reach") draw(); });
  draw();
  return { close: () => { stop(); inner?.close?.(); } };
}

function none(host, go) {
  host.append(el("section", { class: "place" }, el("h1", { class: "order", text: words.noRun }),
    el("div", { class: "acts" }, button("To the plan", () => go("plan"), { class: "main" }))));
  return {};
}

function over(host, view, go) {
  const strip = el("div", { class: "strip-host" });
  const list = el("div", { class: "noted" });
  const asked = el("div", { class: "trouble" });
  host.append(el("section", { class: "place now-over" }, el("p", { class: "sub" }, el("span", { text: view.title }), el("span", { text: "heat is off" })),
    el("h1", { class: "order", text: words.order.over }), el("p", { text: "Let it cool; water runs till the spout is cold." }), strip, asked, list,
    el("div", { class: "acts" }, button("Not over yet", () => {
      const last = view.things.filter((one) => (one.kind === "heat" || one.kind === "off") && !one.struck).pop();
      if (last) takeBack(view.id, last.id);
    }, { class: "quiet" }), button("Pour", () => go("pour"), { class: "main" }))));
  alarms.letSleep();
  const drawn = stripIn(strip, () => ({ strip: runSeen().strip, height: 150, band: false }));
  const update = () => { drawn.draw(); swap(asked, askForgotten(runSeen(), runSeen().strip.end_l)); swap(list, notedList(runSeen())); };
  update();
  return { close: drawn.end, update };
}

function running(host) {
  const parts = {
    name: el("span"), state: el("span"), order: el("h1", { class: "order" }), quiet: el("span", { class: "quiet-host" }), number: el("p", { class: "number" }),
    where: el("p", { class: "where" }), lesser: el("dl", { class: "lesser" }), strip: el("div", { class: "strip-host" }),
    lanes: el("div", { class: "lanes-host" }), trouble: el("div", { class: "trouble" }), acts: el("div", { class: "acts now-acts" }), noted: el("aside", { class: "noted" }), rise: el("div", { class: "rise" }),
  };
  const place = el("section", { class: "place now" }, parts.rise,
    el("p", { class: "sub" }, parts.name, parts.state),
    el("div", { class: "head" }, el("div", { class: "say" }, el("div", { class: "order-row" }, parts.order, parts.quiet), parts.number, parts.where), parts.lesser, parts.noted),
    parts.strip, parts.lanes, parts.trouble, parts.acts);
  host.append(place);
  let view = runSeen();
  let order = null;
  let spoken = null;
  let fitted = "";
  let drawnActs = "";
  let nowL = 0;
  const strip = stripIn(parts.strip, () => ({
    strip: view.strip, height: stripHeight(), nowL, table: true, topRoom: 18,
    stake: view.working && order?.jar ? `${said("volume", Math.max(0, nowL - order.jar.from_l))} at stake` : null,
  }));
  const stripHeight = () => (innerWidth >= 1000 ? 168 : seenHeight() < 720 ? 118 : 176);

  function flow() {
    const minute = minutesSince(view.heat_ms);
    nowL = collected(view, minute);
    order = orderOf(view, minute);
    place.dataset.stage = order.stage;
    document.body.dataset.stage = order.stage;
    parts.order.textContent = order.words;
    setNumber(parts.number, atArmsLength(order.left));
    parts.where.textContent = order.where;
    parts.rise.style.height = order.stage === "soon" ? `${(1 - order.left) * 100}%` : "0";
    swap(parts.state, `${isHere() ? "" : `${words.away} · `}${!alarms.isOn() ? words.sound.off : alarms.isHeard() ? words.sound.on : words.sound.tap} · ${countdown(minute).replace("+", "")}`);
    swap(parts.quiet, order.stage === "due" && !alarms.isQuiet(order.key) ? button("Quiet", () => { alarms.quiet(order.key); flow(); }, { class: "quiet", "data-key": "quiet" }) : []);
    lesser(minute);
    speak();
    const shape = `${order.key}${order.stage}`;
    if (shape !== fitted) { fitted = shape; fit(); }
  }

  function lesser(minute) {
    const { stop } = view.forecast;
    const left = stop.min - minute;
    const [low, high] = [stop.low_min, stop.high_min].map((end) => Math.max(0, end - minute));
    const span = high > low ? `${figure("minutes", low)} to ${said("minutes", high)}` : "";
    const rows = [];
    if (order.kind !== "stop") rows.push(["Stop in", countdown(left), span]);
    if (order.kind !== "drop") rows.push(["Spout should read", figure("abv", spoutNow(view, minute)), unit("abv")]);
    if (order.kind === "stop" && order.jar) rows.push([`Jar ${order.jar.n} holds`, figure("volume", Math.max(0, nowL - order.jar.from_l)), unit("volume")]);
    swap(parts.lesser, rows.map(([label, value, small]) => el("div", null, el("dt", { text: label }), el("dd", null, el("b", { text: value }), el("span", { text: ` ${small}` })))));
  }

  function speak() {
    const second = Math.ceil(order.left * 60);
    const mark = SPOKEN_S.find((s) => second === s);
    const key = `${order.key}:${mark}`;
    if (mark === undefined || spoken === key) return;
    spoken = key;
    say(mark ? `${order.words} ${mark} seconds` : order.words);
  }

  function lanes() {
    const width = parts.lanes.clientWidth;
    if (width < 20) return;
    const endL = view.strip.end_l;
    const folded = place.classList.contains("fold");
    swap(parts.lanes, folded || !view.lanes.groups.length ? [leadBand(view.lanes, { width, endL, nowL }), leadsNow(view.lanes, nowL)]
      : lanesPicture(view.lanes, { width, endL, nowL }));
  }

  // Where there is no room: lanes fold to one band, then the lesser figures go; order, strip and acts stay.
  function fit() {
    place.classList.remove("fold", "fold-more", "fold-most");
    lanes();
    for (const step of ["fold", "fold-more", "fold-most"]) {
      if (place.scrollHeight <= place.clientHeight + 1) break;
      place.classList.add(step);
      lanes();
    }
  }

  function acts() {
    const flowing = order.jar;
    const saw = view.jarsNoted;
    const key = JSON.stringify([order.kind, flowing?.n, saw, view.working]);
    if (key === drawnActs) return;
    drawnActs = key;
    const readAct = button("Read", () => read(runSeen(), { lead: padLead() }), { class: "outlined", "data-key": "read" });
    if (["stop", "off", "least"].includes(order.kind)) {
      swap(parts.acts, act("Heat is off", "ends the run", () => off(), null), readAct);
    } else if (order.kind === "taste") {
      swap(parts.acts, act("Emptied", hold(flowing), () => jar(flowing, {}), () => another(flowing)),
        button("Not this one", () => jar(flowing, { left_out: true }), { class: "outlined", "data-key": "not" }), readAct);
      parts.acts.classList.add("three");
      return;
    } else if (flowing) swap(parts.acts, act(`Jar ${flowing.n} is full`, hold(flowing), () => jar(flowing, {}), () => another(flowing)), readAct);
    else swap(parts.acts, readAct);
    parts.acts.classList.remove("three");
  }

  const hold = (one) => `${said("volume", one.volume_l)} · hold for another`;
  const act = (label, small, tap, holds) => {
    const made = el("button", { type: "button", class: "main tall", "data-key": "act" }, el("b", { text: label }), el("span", { text: small }));
    return holds ? tapOrHold(made, tap, holds) : (made.addEventListener("click", tap), made);
  };

  function jar(one, more) {
    const working = view.working && one.role === "keep";
    const id = tell(view.id, "jar", { n: one.n, volume: null, left_out: working ? false : null, saw: view.jarsNoted, ...more });
    const name = more.left_out ? `Jar ${one.n} left out` : working ? `Jar ${one.n} emptied` : `Jar ${one.n} full`;
    done(`${name}, ${more.volume ?? said("volume", one.volume_l)}`, () => takeBack(view.id, id), { second: working ? "Undo mends the note only" : away() });
    navigator.vibrate?.(40);
  }

  function off() {
    const id = tell(view.id, "off", {});
    done("Heat is off", () => takeBack(view.id, id), { second: away() });
  }

  const away = () => { const n = waiting(view.id).length; return n && !isHere() ? words.waitsHere : ""; };

  function another(one) {
    pad({
      title: `Jar ${one.n}: another volume`, lead: padLead(), fields: [{ key: "volume", label: `Jar ${one.n} holds`, kind: "volume", units: ["mL", "L"], unit: "mL", value: figure("volume", one.volume_l) }],
      actWords: ({ volume }) => `Note ${volume ?? "–"}`, accept: ({ volume }) => { if (volume) jar(one, { volume }); },
    });
  }

  function padLead() {
    const small = el("div", { class: "strip-host small" });
    const time = el("b", { text: countdown(order.left) });
    const named = el("span", { text: order.words });
    const tick = everySecond(() => {
      if (!time.isConnected) { tick(); return; }
      time.textContent = countdown(order.left);
      named.textContent = order.words;
    });
    requestAnimationFrame(() => stripIn(small, () => ({ strip: view.strip, height: seenHeight() < 720 ? 34 : 52, nowL, axis: false, numbers: false, table: false, topRoom: 8, hatch: "hatch-small" })).draw());
    return el("div", { class: "lead-order" }, named, time, small);
  }

  function notes() {
    swap(parts.noted, el("div", { class: "noted-head" }, el("h2", { text: "Noted" }), el("span", { text: view.forecast.slower ?? "" })), notedList(view, 5));
    const refused = refusedList(view);
    const waits = waiting(view.id).length;
    if (refused.length) hide();
    swap(parts.trouble, refused, askForgotten(view, nowL), [view.forecast.trouble, ...view.forecast.odd ?? [], ...(view.forecast.aside ?? []).map((one) => one.message)].filter(Boolean).slice(0, 2).map((text) => el("p", { class: "edge", text })),
      waits && !isHere() ? el("p", { class: "caption", text: words.waits(waits) }) : []);
  }

  function update() {
    view = runSeen();
    if (!view?.heat_ms || view.off_ms) return;
    swap(parts.name, button(view.title, () => sheet("Noted", [notedList(view), el("div", { class: "chips" },
      button(alarms.isOn() ? "Sound off" : "Sound on", (event) => { alarms.setSound(!alarms.isOn()); event.target.textContent = alarms.isOn() ? "Sound off" : "Sound on"; }, { class: "chip" }),
      button("A word on a jar", () => wordFor(runSeen()), { class: "chip" }))]), { class: "link", "data-key": "title" }));
    flow();
    acts();
    strip.draw();
    notes();
    fit();
  }

  let slow = 0;
  const tick = everySecond(() => {
    view = runSeen() ?? view;
    flow();
    acts();
    if (!parts.trouble.querySelector(".forgotten") && askForgotten(view, nowL)) { notes(); fit(); }
    if ((slow += 1) % 4 === 0 || order.stage === "soon") { strip.draw(); lanes(); }
  });
  addEventListener("resize", update);
  update();
  alarms.stayAwake();
  return { update, close: () => { tick(); strip.end(); removeEventListener("resize", update); delete document.body.dataset.stage; } };
}

// The line does not move as digits change: digits are of one width, and the size is chosen by the count of signs.
function setNumber(host, text) {
  const past = text.startsWith("+");
  const [digits, word] = text.replace("+", "").split(" ");
  if (host.dataset.text !== text) {
    host.dataset.text = text;
    swap(host, past ? el("span", { class: "plus", text: "+" }) : "", document.createTextNode(digits), word ? el("span", { class: "number-unit", text: ` ${word}` }) : "");
  }
  const shape = digits.replace(/\d/g, "0");
  const key = `${past}${shape}${host.clientWidth}`;
  if (host.dataset.shape === key || !host.clientWidth) return;
  host.dataset.shape = key;
  host.style.fontSize = "";
  const most = parseFloat(getComputedStyle(host).fontSize);
  const wide = (textWidth(shape, 650, 100) + (past ? 0.45 * textWidth("+", 650, 100) : 0) + (word ? 0.3 * textWidth(` ${word}`, 650, 100) : 0)) / 100;
  const room = host.clientWidth - 4;
  const size = Math.max(LEAST_PX, Math.min(most, room / (wide - CLOSE * shape.length)));
  host.style.lineHeight = `${most * 0.98}px`;
  host.style.fontSize = `${size}px`;
  host.style.letterSpacing = `${-Math.max(CLOSE, (wide - room / size) / shape.length)}em`;
}
