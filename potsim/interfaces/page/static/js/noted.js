// What was noted, by whom, each to be taken back; and what the laptop refused, to mend or to drop.
import { button, el } from "./dom.js";
import { countdown } from "./clock.js";
import { said } from "./formats.js";
import { discard, held, insist, mend, takeBack } from "./outbox.js";
import { pad } from "./pad.js";
import { device } from "./store.js";
import { done } from "./undo.js";

const HIDDEN = new Set(["pool", "title"]);

// What the laptop has is in its words; what waits here is said from what was typed.
function line(thing, view) {
  if (thing.waits === false) return thing.text;
  if (thing.kind === "jar") {
    const jar = view.strip.jars.find((one) => one.n === thing.n);
    return `Jar ${thing.n} ${thing.left_out ? "left out" : "full"}, ${thing.volume ?? said("volume", jar?.volume_l)}`;
  }
  if (thing.kind === "reading") return readingWords(thing);
  return { heat: "Heat on", off: "Heat off", word: `Jar ${thing.n}: “${thing.text}”` }[thing.kind] ?? thing.kind;
}

const readingWords = (thing) => [thing.collected, thing.volume, thing.strength, thing.read_at && `read at ${thing.read_at}`, thing.vapour && `vapour ${thing.vapour}`,
  thing.hazy && "hazy"].filter(Boolean).join(", ");

export function notedList(view, most = Infinity) {
  const things = view.things.filter((one) => !HIDDEN.has(one.kind)).sort((a, b) => b.at_ms - a.at_ms);
  const rows = things.slice(0, most).map((one) => el("li", { class: one.struck ? "struck" : null },
    el("span", { class: "when", text: view.heat_ms ? countdown((one.at_ms - view.heat_ms) / 60000) : "" }),
    el("span", { class: "what", text: line(one, view) + (one.waits ? " · waits here" : "") }),
    el("span", { class: "who", text: one.device === device() ? "" : one.device ?? "" }),
    button(one.struck ? "Give back" : "Undo", () => {
      const id = takeBack(view.id, one.id);
      if (!one.struck && id) done(`Struck: ${line(one, view)}`, () => takeBack(view.id, id));
    }, { class: "link", "data-key": `undo${one.id}` })));
  if (!rows.length) return el("p", { class: "caption", text: "Nothing yet." });
  return el("ol", { class: "notes" }, rows);
}

export function refusedList(view) {
  return held(view?.id).map(({ thing, refused, asks }) => el("div", { class: "refused" },
    el("p", null, el("b", { text: line(thing, view) }), ` ${(refused ?? asks).message ?? (refused ?? asks).text ?? ""} ${(refused ?? {}).hint ?? ""}`),
    el("div", { class: "chips" },
      asks ? button("Note it all the same", () => insist(thing.id), { class: "chip" }) : "",
      refused && thing.kind === "reading" ? button("Mend", () => again(thing, refused), { class: "chip" }) : "",
      button("Drop", () => discard(thing.id), { class: "chip" }))));
}

const MENDED = ["strength", "collected", "vapour", "read_at", "volume"];

function again(thing, refused) {
  const keys = MENDED.filter((key) => thing[key]);
  const fields = keys.map((key) => {
    const [value, ...unit] = thing[key].split(" ");
    return { key, label: key.replace("_", " "), kind: key, units: [unit.join(" ")], unit: unit.join(" "), value };
  });
  if (!fields.length) return;
  pad({
    title: "Mend", lead: el("h2", { text: refused.message }), fields, first: Math.max(0, keys.indexOf(refused.path)),
    actWords: () => "Note it so", accept: (values) => mend(thing.id, values),
  });
}
