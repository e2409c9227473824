// The grips on the strip: heads and stop (and tails) slide along the line; everything answers at once.
import { button, el, swap, textWidth } from "./dom.js";
import { change, putAt, take, valueAt } from "./draft.js";
import { figure, parted, said } from "./formats.js";
import { at } from "./strip.js";

const SNAP = { stream_abv: 0.5, pot_abv: 0.5, vapour_c: 0.1, elapsed: 0.5, collected: 0.005 };
const KIND = { stream_abv: "abv", collected: "volume", vapour_c: "temperature", elapsed: "minutes" };
const COLUMN = { stream_abv: "abv", vapour_c: "vapour_c", elapsed: "min" };
const TYPED = { stream_abv: "%", vapour_c: "°C", elapsed: "min" };

const whole = (strip) => ({
  l: [...strip.curve.l, ...(strip.tail?.l ?? []).slice(1)], abv: [...strip.curve.abv, ...(strip.tail?.abv ?? []).slice(1)],
  min: [...strip.curve.min, ...(strip.tail?.min ?? []).slice(1)],
});

export const endOf = (strip) => Math.max(strip.end_l, ...(strip.tail?.l ?? []));

// What the grip says in the plan when it stands at this volume.
function told(grip, name, l, strip) {
  if (name === "heads") return { path: "cuts.heads", text: `${Math.max(0, Math.round(l * 1000))} mL` };
  const key = COLUMN[grip.key] && !(grip.key === "vapour_c" && l > strip.end_l) ? grip.key : grip.key === "collected" ? "collected" : "stream_abv";
  const base = grip.path.slice(0, grip.path.lastIndexOf("."));
  if (key === "collected") return { path: `${base}.${key}`, text: `${Math.round(l * 200) * 5} mL` };
  const value = Math.round(at(key === "vapour_c" ? strip.curve : whole(strip), l, "l", COLUMN[key]) / SNAP[key]) * SNAP[key];
  return { path: `${base}.${key}`, text: `${+value.toFixed(2)} ${TYPED[key]}`, drop: key === grip.key ? null : grip.path };
}

// What the plan says now, in a unit: answers may lag behind keys that are pressed fast.
function typedNow(path, unit, otherwise) {
  const parts = parted(valueAt(path) ?? "");
  return parts?.unit === unit ? Number(parts.number) : otherwise;
}

function step(grip, name, by, l, strip) {
  if (name === "heads") return told(grip, name, Math.max(0, typedNow(grip.path, "mL", Math.round(l * 1000)) + by * 5) / 1000, strip);
  const key = SNAP[grip.key] ? grip.key : "stream_abv";
  const base = grip.path.slice(0, grip.path.lastIndexOf("."));
  const from = key === "collected" ? l : key === grip.key ? typedNow(grip.path, TYPED[key], grip.value) : at(whole(strip), l);
  const next = from + (key === "stream_abv" ? -by : by) * SNAP[key];
  const text = key === "collected" ? `${Math.round(next * 1000)} mL` : `${+next.toFixed(2)} ${TYPED[key] ?? "%"}`;
  return { path: `${base}.${key}`, text, drop: key === grip.key ? null : grip.path };
}

const put = (said0) => (tables) => {
  if (said0.drop) putAt(tables, said0.drop, null);
  putAt(tables, said0.path, said0.text);
};

export const shown = (grip, name) => (name === "heads" ? said("volume", grip.l)
  : KIND[grip.key] ? said(KIND[grip.key], grip.value) : said("volume", grip.l));

// What a strip is with its heads or its stop elsewhere: the course of a run does not change by that, so it is
// cut anew from what is here, jars as wide as they were, until the answer comes.
export function recut(strip, name, l) {
  const heads = name === "heads" ? l : strip.heads_l;
  const end = name === "stop" ? l : strip.end_l;
  const all = whole(strip);
  const places = [...all.l.filter((one) => one < end), end];
  const curve = { l: places, abv: places.map((one) => at(all, one)), min: places.map((one) => at(all, one, "l", "min")), vapour_c: strip.curve.vapour_c };
  const beyond = [end, ...all.l.filter((one) => one > end)];
  const tail = beyond.length < 2 ? null : { l: beyond, abv: beyond.map((one) => at(all, one)), min: beyond.map((one) => at(all, one, "l", "min")) };
  const jars = [];
  const last = strip.jars[strip.jars.length - 1];
  let from = 0;
  const lay = (jar, wide) => {
    if (from >= end - 1e-6) return;
    jars.push({ ...jar, from_l: from, to_l: Math.min(from + wide, end) });
    from += wide;
  };
  for (const jar of strip.jars) {
    const wide = jar.to_l - jar.from_l;
    if (jar.role === "heads") lay(jar, wide * (heads / (strip.heads_l || 1)));
    else lay(jar, jar === last ? Math.max(wide, last.size_l ?? 0) : wide);
  }
  const usual = Math.max(last?.size_l ?? 0, end / 60);
  for (let n = last?.n ?? 0; from < end - 1e-6;) lay({ ...last, n: (n += 1) }, usual);
  return { ...strip, end_l: end, heads_l: heads, curve, tail, jars };
}

// Lay grips over a drawn strip; `flag` is told where the finger is, `show` what the strip is with it there.
export function grips(host, drawn, answer, { flag, freeze, show }) {
  const { scale } = drawn;
  const made = [];
  for (const name of ["heads", "tails", "stop"]) {
    const grip = answer.grips[name];
    if (!grip) continue;
    const foot = el("button", {
      type: "button", class: `grip ${name}`, role: "slider", "aria-label": name, "aria-valuetext": shown(grip, name), "aria-valuenow": (grip.l * 1000).toFixed(0),
      "aria-valuemin": "0", "aria-valuemax": (scale.end * 1000).toFixed(0), "data-key": `grip-${name}`,
    }, el("span", { class: "grip-face", text: "‹ ›" }));
    const rod = el("i", { class: `rod ${name}` });
    const label = el("span", { class: `grip-label ${name}` }, el("span", { text: name }), el("b", { text: said("volume", grip.l) }));
    const place = (l) => {
      const x = scale.x(Math.max(0, Math.min(l, scale.end)));
      foot.style.left = `${x}px`;
      rod.style.left = `${x}px`;
      rod.style.height = `${scale.foot + 14}px`;
      label.style.left = `${x}px`;
      label.classList.toggle("before", name === "stop" && x > scale.width * 0.25);
      label.lastChild.textContent = said("volume", l);
    };
    place(grip.l);
    drag(foot, { grip, name, scale, answer, place, flag, freeze, show });
    made.push(rod, foot, label);
  }
  host.append(...made);
}

const PARTING_SNAP_L = 0.005;
const mL = (l) => `${+(1000 * l).toFixed(1)} mL`;

// Between two jars: taken hold of, the jars of that size become larger or smaller.
export function partings(host, drawn, answer, { flag, freeze }) {
  const { scale } = drawn;
  const { path, sizes } = answer.grips.jars;
  for (const jar of answer.strip.jars.slice(0, -1).filter((one) => one.role !== "heads" && one.volume_l > 0.99 * one.size_l)) {
    const mine = sizes.findIndex((one) => Math.abs(one.l - jar.size_l) < 1e-6);
    if (mine < 0) continue;
    const rod = el("i", { class: "parting", "data-jar": jar.n, title: "drag: size of the jars" });
    rod.style.left = `${scale.x(jar.to_l)}px`;
    rod.style.height = `${scale.foot}px`;
    const least = jar.from_l + PARTING_SNAP_L;
    held(rod, { freeze, words: "jars of another size", moved: (px) => {
      const l = Math.max(least, scale.l(px));
      const size = Math.max(PARTING_SNAP_L, Math.round((l - jar.from_l) / PARTING_SNAP_L) * PARTING_SNAP_L);
      rod.style.left = `${scale.x(jar.from_l + size)}px`;
      flag({ name: "jars", l, text: `jars of ${mL(size)}`, minute: at(answer.strip.curve, l, "l", "min"), x: scale.x(l) });
      const texts = sizes.map((one, k) => `${one.count ? `${one.count} x ` : ""}${mL(k === mine ? size : one.l)}`);
      change((tables) => putAt(tables, path, path === "jars.working" ? mL(size) : texts), null, { quietly: true });
    }, over: () => flag(null) });
    host.append(rod);
  }
}

// Something held by a finger or the mouse from its press to its release.
function held(thing, { freeze, moved, over, words }) {
  let letGo = null;
  const move = (event) => moved(event.clientX - thing.offsetParent.getBoundingClientRect().left);
  const end = (event) => {
    if (!letGo) return;
    thing.removeEventListener("pointermove", move);
    if (thing.hasPointerCapture?.(event.pointerId)) thing.releasePointerCapture(event.pointerId);
    freeze(false);
    over();
    letGo(words);
    letGo = null;
  };
  thing.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    thing.focus();
    letGo = take();
    freeze(true);
    thing.setPointerCapture(event.pointerId);
    thing.addEventListener("pointermove", move);
  });
  for (const last of ["pointerup", "pointercancel"]) thing.addEventListener(last, end);
}

function drag(foot, { grip, name, scale, answer, place, flag, freeze, show }) {
  const { strip } = answer;
  const bounds = name === "heads" ? [0, answer.grips.stop?.l ?? scale.end] : [answer.grips.heads?.l ?? 0, scale.end];
  held(foot, { freeze, words: `${name} moved`, moved: (px) => {
    const l = Math.max(bounds[0], Math.min(bounds[1], scale.l(px)));
    place(l);
    const said0 = told(grip, name, l, strip);
    flag?.({ name, l, text: said0.text, minute: at(whole(strip), l, "l", "min"), x: scale.x(l) });
    change(put(said0), null, { quietly: true });
    if (name !== "tails") show(recut(strip, name, l));
  }, over: () => flag?.(null) });
  foot.addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (!by) return;
    event.preventDefault();
    change(put(step(grip, name, by * (event.shiftKey ? 10 : 1), grip.l, strip)), `${name} moved`);
  });
}

// Fine steps for thumbs.
export function fine(answer, name = "stop") {
  const grip = answer.grips[name];
  if (!grip) return "";
  const move = (by) => change(put(step(grip, name, by, grip.l, answer.strip)), `${name} moved`);
  return el("div", { class: "fine" }, button("− 0.5", () => move(1), { class: "quiet", "data-key": "fine-less", "aria-label": `${name} down a step` }),
    el("p", null, el("span", { text: `${name} at` }), el("b", { text: shown(grip, name) })),
    button("+ 0.5", () => move(-1), { class: "quiet", "data-key": "fine-more", "aria-label": `${name} up a step` }));
}

export function flagOver(host, where, strip, leads, room) {
  if (!where) { swap(host); return; }
  const lead = leads.find((one) => where.l >= one.from_l && where.l < one.to_l);
  const text = `${where.text} · min ${figure("minutes", where.minute)}`;
  const width = Math.max(190, textWidth(text, 700, 17) + 24);
  const left = Math.max(0, Math.min(room - width, where.x - width / 2));
  const box = el("div", { class: "flag" }, el("b", { text }), lead ? el("span", { text: `${lead.label} leads` }) : "");
  box.style.left = `${left}px`;
  box.style.width = `${width}px`;
  swap(host, box);
}
