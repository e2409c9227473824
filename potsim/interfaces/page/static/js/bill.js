// The bill of botanicals: rows to be weighed out, and the library to choose from.
import { $, h, newId } from "./dom.js";
import * as draft from "./draft.js";
import { field } from "./field.js";
import { latest } from "./latest.js";
import * as words from "./words.js";

const unfolded = new Set();
let library = [];

export function bill(start) {
  library = start.library;
  const rows = (draft.plan().botanical ?? []).map((one, k) => row(one, k, start));
  return [...rows, h("div", { class: "adding" },
    h("button", { type: "button", class: "quiet", onclick: choose }, "+ from the library"))];
}

const known = (name) => library.find((one) => [one.name, ...one.aliases].some((word) => word.toLowerCase() === name.toLowerCase()));

function row(one, k, start) {
  const path = `botanical.${k}`;
  const kind = known(one.name);
  const counted = one.pieces !== undefined;
  const swap = h("button", { type: "button", class: "quiet small", onclick: () => draft.edit((tables) => {
    const dose = tables.botanical[k];
    if (counted) { dose.mass = kind?.piece_g ? `${words.mass(dose.pieces * kind.piece_g)}` : "1 g"; delete dose.pieces; }
    else { dose.pieces = 1; delete dose.mass; }
  }) }, counted ? "weigh it" : `count ${kind?.piece ?? "piece"}s`);
  const more = h("details", { class: "more", open: unfolded.has(one.name) },
    h("summary", null, told(one, kind)),
    h("div", { class: "inside" },
      pick(path, "prepared", "Prepared", start.prepared, "as usual"),
      kind && kind.states.length < 2 ? null : pick(path, "state", "State", ["dried", "fresh"], kind ? `as usual (${kind.state})` : "as usual"),
      pick(path, "where", "Where", start.where, "pot"),
      field({ path: `${path}.macerated`, label: "Macerated", example: "12 h" }),
      kind?.piece || counted ? swap : null, usual(kind)));
  more.addEventListener("toggle", () => (more.open ? unfolded.add(one.name) : unfolded.delete(one.name)));
  return h("div", { class: "row botanical" },
    h("div", { class: "row-head" }, h("h3", null, one.name),
      h("button", { type: "button", class: "remove", "aria-label": `Take ${one.name} away`, onclick: () => draft.edit((t) => { t.botanical.splice(k, 1); if (!t.botanical.length) delete t.botanical; }) }, "×")),
    counted
      ? field({ path: `${path}.pieces`, label: `${kind?.piece ?? "piece"}s`, slider: { min: 0.5, max: 12, step: 0.5 }, kind: "decimal" })
      : field({ path: `${path}.mass`, label: "Mass", slider: {}, example: "5 g" }),
    more);
}

function told(one, kind) {
  const parts = [one.state ?? (kind ? kind.state : null), one.prepared, one.macerated && `macerated ${one.macerated}`, one.where === "basket" && "in the basket"];
  return parts.filter(Boolean).join(" · ") || "more";
}

function pick(path, key, label, options, none) {
  const id = newId("pick");
  const select = h("select", { id }, h("option", { value: "" }, none), options.filter((word) => key !== "where" || word !== "pot").map((word) => h("option", { value: word }, word)));
  select.value = draft.at(`${path}.${key}`) ?? "";
  select.addEventListener("change", () => draft.put(`${path}.${key}`, select.value, true));
  return h("div", { class: "field" }, h("label", { for: id }, label), select);
}

// What is usually taken for a charge like this one.
function usual(kind) {
  const litres = latest().run?.charge.volume_l;
  if (!kind?.usual_g_per_l || !litres) return null;
  const [low, high] = kind.usual_g_per_l.map((g) => words.mass(g * litres));
  return h("p", { class: "hint" }, `Usual in this charge: ${low} to ${high}, ${kind.state}.`);
}

function choose() {
  const search = h("input", { type: "search", "aria-label": "Search the library", placeholder: "juniper, peel, seed …", autocomplete: "off" });
  const list = h("ul", { class: "choices" });
  const dialog = h("dialog", { class: "library", "aria-label": "Library of botanicals" },
    h("div", { class: "row-head" }, search, h("button", { type: "button", class: "quiet", onclick: () => dialog.close() }, "Close")), list);
  const fill = () => {
    const wanted = search.value.trim().toLowerCase();
    const found = library.filter((one) => [one.name, one.latin, one.part, ...one.aliases].some((word) => word.toLowerCase().includes(wanted)));
    list.replaceChildren(...found.map((one) => h("li", null, h("button", { type: "button", onclick: () => { take(one); dialog.close(); } },
      h("b", null, one.name), h("span", null, [one.part, one.latin].filter(Boolean).join(", "))))));
    if (!found.length) list.append(h("li", { class: "hint" }, "Nothing goes by that name."));
  };
  search.addEventListener("input", fill);
  dialog.addEventListener("close", () => dialog.remove());
  fill();
  document.body.append(dialog);
  dialog.showModal();
  search.focus();
}

function take(kind) {
  const litres = latest().run?.charge.volume_l ?? 1;
  const grams = kind.usual_g_per_l ? Math.sqrt(kind.usual_g_per_l[0] * kind.usual_g_per_l[1]) * litres : 1;
  draft.edit((tables) => {
    tables.botanical ??= [];
    tables.botanical.push({ name: kind.name, mass: `${Number(grams.toPrecision(2))} g` });
  });
  $(".row.botanical:last-of-type input")?.focus();
}
