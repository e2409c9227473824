// A reading in three taps: strength, collected, vapour in one note, with proposals from the forecast.
import * as api from "./api.js";
import { collected, spoutNow } from "./course.js";
import { minutesSince, now } from "./clock.js";
import { button, el } from "./dom.js";
import { figure, said } from "./formats.js";
import { takeBack, tell, waiting } from "./outbox.js";
import { pad } from "./pad.js";
import { askText, sheet } from "./sheet.js";
import { at } from "./strip.js";
import { done } from "./undo.js";
import { words } from "./words.js";
import { section } from "./held.js";

const STEPS = [-1, -0.5, 0, 0.5, 1];
const ABOUT = "≈ ";

function fieldsFor(view, where) {
  const minute = minutesSince(view.heat_ms);
  const spout = spoutNow(view, minute);
  const units = unitsOf();
  const jar = where.jar && view.strip.jars.find((one) => one.n === where.jar);
  const about = jar ? jar.abv : where.pooled ? null : spout;
  const strength = {
    key: "strength", label: "Strength", kind: "abv", units: units.abv, low: 0, high: 100, value: "",
    proposals: about === null ? [] : STEPS.map((step) => (Math.round(about * 2) / 2 + step).toFixed(1)),
  };
  const volume = { key: jar ? "volume" : "collected", label: jar ? `Jar ${jar.n}` : "So far", kind: "volume", units: units.volume, hint: ABOUT + figure("volume", jar ? jar.volume_l : collected(view, minute)), value: "" };
  const last = jar || where.pooled
    ? { key: "read_at", label: "Read at", kind: "temperature", units: units.temperature, value: "" }
    : { key: "vapour", label: "Vapour", kind: "temperature", units: units.temperature, hint: figure("temperature", at(view.strip.curve, minute, "min", "vapour_c")), value: "" };
  const fields = [strength, volume, last];
  if (!jar && !where.pooled) fields.push({ key: "read_at", label: "Read at", kind: "temperature", units: units.temperature, hint: "20 °C", value: "" });
  return fields;
}

// Units of a kind of quantity, as the schema has them for the plan.
function unitsOf() {
  const fields = ["pot", "cuts", "bottle"].flatMap((name) => section(name)?.tables ?? []).flatMap((table) => table.fields);
  const of = (kind, otherwise) => fields.find((field) => field.kind === kind && field.units.length)?.units ?? otherwise;
  return { abv: of("abv", ["%"]), volume: of("volume", ["mL"]), temperature: of("temperature", ["°C"]) };
}

export function read(view, { lead, where = {} } = {}) {
  const typed = new Set();
  let hazy = false;
  const places = [["spout", {}], ...view.strip.jars.filter((jar) => ["over", "safe", "out"].includes(jar.state)).slice(-1).map((jar) => [`jar ${jar.n}`, { jar: jar.n }]), ["pooled", { pooled: true }]];
  const same = (one) => one.jar === where.jar && one.pooled === where.pooled;
  const said0 = (values) => {
    const filled = Object.entries(values).filter(([, value]) => value !== null);
    return { ...Object.fromEntries(filled), of: where.jar ?? null, pooled: Boolean(where.pooled), hazy };
  };
  const shown = pad({
    title: "Read", lead, fields: fieldsFor(view, where),
    extra: (values, changed) => [
      ...places.map(([label, one]) => button(label, () => { shown.box.close(); read(view, { lead: null, where: one }); }, { class: "chip", "aria-pressed": String(same(one)) })),
      button("hazy", () => { hazy = !hazy; changed(); }, { class: "chip", "aria-pressed": String(hazy), "data-key": "hazy" }),
    ],
    note: (values) => comment(view, said0(values), typed),
    actWords: (values) => {
      const filled = Object.values(values).filter(Boolean);
      return filled.length ? `Note ${filled.join(", ")}` : hazy ? "Note: hazy" : "Note";
    },
    accept: (values) => {
      const thing = said0(values);
      if (!Object.values(values).some(Boolean) && !hazy) throw new Error("Nothing is typed yet.");
      const id = tell(view.id, "reading", thing);
      const n = waiting(view.id).length;
      done(Object.values(values).filter(Boolean).join(", ") || "Hazy", () => takeBack(view.id, id), { second: n && !api.isHere() ? words.waitsHere : "" });
    },
  });
  return shown;
}

// What the reading would say, asked before it is kept; silence where the laptop is away.
async function comment(view, thing, typed) {
  typed.clear();
  if (!thing.strength && !thing.collected) return [];
  try {
    const found = await api.post(`/api/runs/${encodeURIComponent(view.id)}/fit`, { thing: { kind: "reading", at_ms: Math.round(now()), ...thing } });
    return [el("p", { class: found.fits ? "fits" : "fits edge" }, found.text), found.then ? el("p", { text: found.then }) : ""];
  } catch (error) {
    return error instanceof api.Refused ? [el("p", { class: "fault", text: `${error.message} ${error.hint}` })] : [];
  }
}

// A word of taste for a jar.
export function wordFor(view) {
  const jars = view.strip.jars.filter((jar) => jar.state !== "planned" && jar.state !== "coming");
  if (!jars.length) return;
  const choose = sheet("A word on which jar?", el("div", { class: "tile-row many" }, jars.map((jar) => button(`${jar.n}`, () => {
    choose.close();
    taste(view, jar);
  }, { class: "tile" }))));
}

export function taste(view, jar) {
  askText(`Jar ${jar.n}, ${said("abv", jar.abv)}: a word`, {
    value: jar.word ?? "", proposals: [...jar.leads ?? [], ...jar.marks ?? []].filter((name, k, all) => all.indexOf(name) === k).slice(0, 4),
    accept: (text) => {
      const id = tell(view.id, "word", { n: jar.n, text });
      done(`Jar ${jar.n}: “${text}”`, () => takeBack(view.id, id));
    },
  });
}
