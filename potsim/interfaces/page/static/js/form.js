// The plan as a form: charge, botanicals, cuts, jars and bottling, still.
import { h } from "./dom.js";
import * as draft from "./draft.js";
import { bill } from "./bill.js";
import { stops } from "./stops.js";
import { choice, field, forget } from "./field.js";
import { latest } from "./latest.js";

const open = new Set(["Charge", "Botanicals", "Cuts"]);

export function makeForm(root, start) {
  forget();
  root.replaceChildren(
    part("Charge", charge()),
    part("Botanicals", bill(start)),
    part("Cuts", [
      field({ path: "cuts.heads", label: "Heads", slider: { zero: true }, example: "30 mL" }),
      ...stops("cuts.stop", "Stop when"),
      ...stops("cuts.tails_from", "Tails begin when", true),
    ]),
    part("Jars and bottles", [
      field({ path: "jars.sizes", label: "Jars you own", example: "12 x 60 mL; 4 x 250 mL", hint: "Leave empty for a proposal.", wide: true }),
      field({ path: "jars.keep", label: "Jars to pool", example: "2-9,11", hint: "Leave empty for all between heads and tails.", wide: true }),
      field({ path: "bottling.abv", label: "Bottling strength", slider: {}, example: "42 %" }),
      field({ path: "bottling.bottle", label: "Bottle", example: "350 mL" }),
      ...stretch(),
    ]),
    part("Still", still()),
  );
}

function part(name, content) {
  const summary = h("summary", null, h("h2", null, name), h("span", { class: "short", "data-short": name }));
  const details = h("details", { class: "part", open: open.has(name) }, summary, h("div", { class: "inside" }, content));
  details.addEventListener("toggle", () => (details.open ? open.add(name) : open.delete(name)));
  return details;
}

function charge() {
  const rows = draft.plan().charge.map((one, k) => {
    const path = `charge.${k}`;
    if (one.from_run) return h("div", { class: "row" }, head(`${path}.name`, one.name, () => draft.put(path), "jars of an earlier run"));
    const water = /\bwater\b/i.test(one.name) && one.abv === undefined;
    return h("div", { class: "row" }, head(`${path}.name`, one.name, () => draft.put(path, undefined, true)),
      field({ path: `${path}.volume`, label: "Volume", slider: {}, example: "900 mL" }),
      water ? null : field({ path: `${path}.abv`, label: "Strength", slider: { min: 1, max: 96.5, step: 0.5 }, example: "62 %" }));
  });
  const add = (what) => () => draft.edit((tables) => tables.charge.push(what));
  return [...rows, h("div", { class: "adding" },
    h("button", { type: "button", class: "quiet", onclick: add({ name: "spirit", volume: "500 mL", abv: "60 %" }) }, "+ spirit"),
    h("button", { type: "button", class: "quiet", onclick: add({ name: "water", volume: "500 mL" }) }, "+ water"))];
}

// The name of a row, to be changed, and the way to take it away.
export function head(path, name, remove, note) {
  const input = h("input", { class: "name", value: name, "aria-label": "Name", autocomplete: "off", spellcheck: "false" });
  input.addEventListener("change", () => draft.put(path, input.value.trim() || name, true));
  return h("div", { class: "row-head" }, input, note ? h("span", { class: "note" }, note) : null,
    h("button", { type: "button", class: "remove", "aria-label": `Take ${name} away`, onclick: remove }, "×"));
}

// Neutral spirit that goes to the keep before the water.
function stretch() {
  const path = "bottling.stretch";
  if (!draft.at(path)) return [adding("+ neutral spirit to stretch the keep", (tables) => {
    tables.bottling = { abv: "42 %", ...tables.bottling, stretch: { spirit: "250 mL", abv: "96 %" } };
  })];
  return [h("div", { class: "row" }, titled("Stretched with neutral spirit", () => draft.edit((tables) => { delete tables.bottling.stretch; })),
    field({ path: `${path}.spirit`, label: "Volume", slider: {}, example: "250 mL" }),
    field({ path: `${path}.abv`, label: "Strength", slider: { min: 1, max: 96.5, step: 0.5 }, example: "96 %" }))];
}

// Changes of power in mid-run, each from some amount of distillate on.
function powerSteps() {
  const steps = draft.at("still.power_step") ?? [];
  const rows = steps.map((_, k) => {
    const path = `still.power_step.${k}`;
    return h("div", { class: "row" }, titled(`Change of power ${k + 1}`, () => draft.edit(({ still }) => {
      still.power_step.splice(k, 1);
      if (!still.power_step.length) delete still.power_step;
    })),
    field({ path: `${path}.from_collected`, label: "Once over", slider: {}, example: "400 mL" }),
    field({ path: `${path}.power`, label: "Power then", slider: {}, example: "500 W" }));
  });
  return [...rows, adding("+ change of power in mid-run", (tables) => {
    const { stop } = latest().run ?? {};
    const last = latest().numbers?.[`still.power_step.${steps.length - 1}.from_collected`];
    const from = last ? (last.unit === "L" ? 1000 : 1) * last.value * 1.5 : 500 * (stop?.collected_l ?? 1);
    tables.still = { ...tables.still, power_step: [...steps, { from_collected: `${Number(from.toPrecision(2))} mL`, power: tables.still?.power ?? "500 W" }] };
  })];
}

const titled = (name, remove) => h("div", { class: "row-head" }, h("h3", null, name),
  h("button", { type: "button", class: "remove", "aria-label": `Take away: ${name}`, onclick: remove }, "×"));
const adding = (name, work) => h("div", { class: "adding" }, h("button", { type: "button", class: "quiet", onclick: () => draft.edit(work) }, name));

function still() {
  const line = (key, label, example, slider) => field({ path: `still.${key}`, label, example, slider });
  return [
    line("capacity", "Pot holds", "4 L", {}),
    line("power", "Power", "700 W", {}),
    line("heat_up_power", "Power to heat up", "1200 W", {}),
    ...powerSteps(),
    line("neck_loss", "Neck sheds, per degree", "0.6 W/K", { zero: true }),
    line("pot_loss", "Pot sheds, per degree", "1 W/K", { zero: true }),
    line("room", "Room", "20 °C"),
    line("altitude", "Height above the sea", "60 m"),
    line("pressure", "or barometer", "1004 hPa"),
    line("min_level", "Least level in the pot", "500 mL"),
    line("pot_mass", "Mass of the pot", "2.5 kg"),
    choice({ path: "still.pot_metal", label: "Metal of the pot", options: ["stainless steel", "copper"], none: "not said" }),
    h("div", { class: "said", id: "assumed" }),
  ];
}
