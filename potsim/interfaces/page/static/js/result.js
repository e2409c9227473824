// What comes of a plan in figures, cautions and a table of jars.
import { h } from "./dom.js";
import * as words from "./words.js";

export function figure(name, value, more) {
  const [number, unit] = words.split(value);
  return h("div", { class: "figure" }, h("dt", null, name), h("dd", null, h("span", { class: "number" }, number, unit ? h("small", null, ` ${unit}`) : null), more ? h("span", { class: "beneath" }, more) : null));
}

export function figures(root, run) {
  const { stop, keep, proofing } = run;
  const parts = [
    figure("Stop", words.abv(stop.stream_abv), `${words.volume(stop.collected_l)}, minute ${Math.round(stop.elapsed_min)}`),
    figure("Keep", words.volume(keep.volume_l), `at ${words.abv(keep.abv)}, ${words.share(run.charge.ethanol_l ? keep.ethanol_l / run.charge.ethanol_l : 0)} of the alcohol`),
  ];
  if (proofing) {
    const spirit = proofing.stretch ? `${words.volume(proofing.stretch.spirit_l)} neutral spirit, ` : "";
    const added = `${spirit}${words.volume(proofing.water_l)} water to ${words.abv(proofing.target_abv)}`;
    parts.push(proofing.bottles === null ? figure("Bottled", words.volume(proofing.volume_l), added) : figure("Bottles", String(proofing.bottles), added));
  }
  root.replaceChildren(...parts);
}

export function cautions(root, run) {
  const heed = run.notes.filter((note) => note.severity !== "hint");
  const own = heed.filter((note) => note.kind !== "every_run");
  const usual = heed.filter((note) => note.kind === "every_run");
  const list = (notes) => h("ul", null, notes.map((note) => h("li", null, words.formly(note.words))));
  root.replaceChildren(...[
    own.length ? h("section", { class: "heed", "aria-label": "Cautions of this run" }, h("h2", null, "Take care"), list(own)) : null,
    h("details", { class: "part" }, h("summary", null, h("h2", null, "With every run")), list(usual)),
  ].filter(Boolean));
}

export function jarTable(root, reply) {
  const { jars, keep } = reply.run;
  const kept = new Set(keep.jars);
  const was = root.open;
  root.replaceChildren(h("summary", null, h("h2", null, "Jars and flavours as tables")), h("div", { class: "inside wide-table", tabindex: "0", role: "group", "aria-label": "Tables" },
    table(["Jar", "Holds", "Full at", "Minute", "Strength", "What"], jars.map((jar) => [jar.number, words.volume(jar.volume_l), words.volume(jar.to_l), Math.round(jar.full_min), words.abv(jar.abv), kept.has(jar.number) ? "keep" : jar.role])),
    reply.run.flavours?.length ? table(["Botanical", "Class", "From", "Most at", "To", "Left in pot"], reply.run.flavours.map((one) => [one.botanical, one.class, ...["start_l", "peak_l", "end_l"].map((key) => (one[key] === undefined ? "–" : words.volume(one[key]))), words.share(one.left_in_pot)])) : null,
    reply.run.jar_notes.map((text) => h("p", { class: "hint" }, text))));
  root.open = was;
}

function table(heads, rows) {
  return h("table", null, h("thead", null, h("tr", null, heads.map((text) => h("th", { scope: "col" }, text)))),
    h("tbody", null, rows.map((row) => h("tr", null, row.map((cell, k) => (k ? h("td", null, String(cell)) : h("th", { scope: "row" }, String(cell))))))));
}
