// After the run: a verdict on each botanical, where it clouded, the still as it has learnt, and the next trial.
import * as api from "./api.js";
import { button, el, swap, uuid } from "./dom.js";
import { open } from "./draft.js";
import { said } from "./formats.js";
import { held } from "./held.js";
import { takeBack, tell } from "./outbox.js";
import { pad } from "./pad.js";
import { askText, sheet } from "./sheet.js";
import { done } from "./undo.js";
import { words } from "./words.js";

export function tasting(view, { go }) {
  const names = [...new Set(view.botanicals ?? (view.plan.botanical ?? []).map((one) => one.name))];
  const verdictOf = (name) => view.fresh.filter((one) => one.kind === "verdict" && one.botanical === name).pop() ?? view.verdicts?.[name];
  const judge = (name, more) => {
    const id = tell(view.id, "verdict", { botanical: name, verdict: null, words: "", tasted_in: null, ...pick(verdictOf(name)), ...more });
    done(`${words.capital(name)}: ${more.verdict ?? more.words ?? more.tasted_in ?? "no verdict"}`, () => takeBack(view.id, id));
  };

  function ask(name) {
    const now = verdictOf(name);
    const shown = sheet(words.capital(name), [el("div", { class: "chips" }, held.start.verdicts.map((verdict) => button(verdict, () => {
      shown.close();
      judge(name, { verdict: verdict === now?.verdict ? null : verdict });
    }, { class: "chip", "aria-pressed": String(verdict === now?.verdict) }))),
    el("div", { class: "list-acts" }, button(now?.words ? `“${now.words}”` : "A word", () => { shown.close(); askText(words.capital(name), { value: now?.words ?? "", accept: (text) => judge(name, { words: text }) }); }, { class: "quiet" }),
      button(now?.tasted_in ? `tasted in ${now.tasted_in}` : "Tasted in which jars?", () => { shown.close(); askText("Tasted in jars", { value: now?.tasted_in ?? "", proposals: [view.pour?.jars?.length ? `${view.pour.jars[0]}-${view.pour.jars[view.pour.jars.length - 1]}` : "all"], accept: (text) => judge(name, { tasted_in: text }) }); }, { class: "quiet" }))]);
  }

  const clouded = () => pad({
    title: "Clouded at", lead: el("h2", { text: "Where did it cloud?" }), fields: [{ key: "at", label: "strength", kind: "abv", units: ["%"], value: "" }, { key: "at_c", label: "at", kind: "temperature", units: ["°C", "°F"], value: "" }],
    actWords: ({ at }) => `Keep ${at ?? "–"}`,
    accept: (values) => { if (!values.at) throw new Error("At which strength?"); const id = tell(view.id, "clouded", values); done(`Clouded at ${values.at}`, () => takeBack(view.id, id)); },
  });

  // What this run taught about its still, kept on the shelf for the next plan.
  const keepStill = () => askText("Which still is it?", {
    value: view.plan.still?.from_file?.replace(/\.toml$/, "") ?? "", proposals: (held.shelf?.stills ?? []).map((one) => one.title),
    accept: async (title) => {
      try {
        const known = held.shelf?.stills.find((one) => one.title === title || one.id === title);
        const { from_file: _, ...still } = view.plan.still ?? {};
        const id = known?.id ?? (await api.post("/api/stills", { title: title || view.title, still, thing: uuid() })).id;
        const { text } = await api.post(`/api/stills/${encodeURIComponent(id)}/learn`, { of: view.id });
        done("The still has learnt", null, { second: text });
      } catch (error) { done(error.message, null, { second: error.hint }); }
    },
  });

  return el("section", { class: "tasting" }, names.length ? [el("h2", { text: "How was it?" }), el("ul", { class: "verdicts" }, names.map((name) => {
    const now = verdictOf(name);
    return el("li", null, el("button", { type: "button", class: "verdict-row", "data-key": `verdict${name}`, on: { click: () => ask(name) } }, el("b", { text: words.capital(name) }), el("span", { text: [now?.verdict ?? "–", now?.words && `“${now.words}”`].filter(Boolean).join(", ") })));
  }))] : "", el("div", { class: "chips" }, button(view.result?.clouded_at ? `clouded at ${said("abv", view.result.clouded_at)}` : "It clouded", clouded, { class: "chip" }),
    names.length ? button("Next trial", () => nextTrial(view, go), { class: "chip" }) : "",
    view.forecast?.readings ? button("What the still taught", keepStill, { class: "chip" }) : ""));
}

const pick = (one) => (one ? { verdict: one.verdict ?? null, words: one.words ?? "", tasted_in: one.tasted_in ?? null } : {});

// The plan that follows from the verdicts, each change to be undone by itself.
export async function nextTrial(view, go) {
  let found;
  try { found = await api.post(`/api/runs/${encodeURIComponent(view.id)}/next`, {}); } catch (error) { done(error.message, null, { second: error.hint }); return; }
  const left = new Set();
  const list = el("ul", { class: "changes" });
  const shown = sheet("Next trial", [list, (found.advice ?? []).map((text) => el("p", { class: "caption", text }))], {
    acts: [button("As a plan", () => {
      shown.close();
      const plan = structuredClone(found.plan);
      for (const change of [...found.changes].sort((a, b) => a.row - b.row)) if (left.has(change)) putBack(plan, change, found.before);
      open(plan, { words: "Next trial opened" });
      go("plan");
    }, { class: "main" })],
  });
  const draw = () => swap(list, found.changes.map((change) => el("li", { class: left.has(change) ? "struck" : null }, el("span", null, el("b", { text: words.capital(change.botanical ?? change.path) }), ` ${change.verdict ?? ""}`),
    el("span", { class: "from-to", text: `${change.before} → ${change.after ?? "out"}` }),
    button(left.has(change) ? "Change" : "Leave", () => { if (!left.delete(change)) left.add(change); draw(); }, { class: "chip" }))));
  draw();
}

function putBack(plan, change, before) {
  const row = structuredClone(before.botanical[change.row]);
  plan.botanical ??= [];
  if (change.path) plan.botanical[Number(change.path.split(".")[1])] = row;
  else plan.botanical.splice(Math.min(change.row, plan.botanical.length), 0, row);
}
