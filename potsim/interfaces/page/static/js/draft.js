// The plan on the table: its tables as typed, fifty steps of undo kept with it, and its answer.
import * as api from "./api.js";
import { uuid } from "./dom.js";
import { done, hide } from "./undo.js";
import { tellAll } from "./held.js";
import { keep, kept } from "./store.js";

const MOST = 50;
const SAVE_MS = 900;
const IN_HAND = ["strip"];
const AT_REST = ["strip", "lanes"];
const REST_MS = 150;

export const draft = {
  id: null, thing: null, tables: null, opened: null, past: [], example: false, saved: true,
  answer: null, answered: null, openedAnswer: null, fault: null, moving: false,
};
let saving = 0;
let asking = null;
let asked = 0;
let resting = 0;

const copy = (value) => structuredClone(value);

function remember() {
  const { id, thing, tables, opened, past, example, saved } = draft;
  keep("draft", { id, thing, tables, opened, past, example, saved });
}

export function restore() {
  const was = kept("draft");
  if (!was?.tables) return false;
  Object.assign(draft, was);
  ask();
  if (!draft.saved) saveSoon();
  return true;
}

// Open a plan; what was on the table before comes back by undo.
export function open(tables, { id = null, example = false, thing = uuid(), words = null } = {}) {
  const before = draft.tables ? copy({ ...draft, answer: null, openedAnswer: null, fault: null }) : null;
  Object.assign(draft, { id, thing, tables: copy(tables), opened: copy(tables), past: [], example, saved: Boolean(id) || example, answer: null, openedAnswer: null, fault: null });
  remember();
  ask();
  tellAll("draft");
  if (!draft.saved) saveSoon();
  if (before && words) done(words, () => { Object.assign(draft, before); remember(); ask(); tellAll("draft"); });
}

export function mine() {
  Object.assign(draft, { example: false, id: null, thing: uuid(), saved: false });
  remember();
  saveSoon();
  tellAll("draft");
}

// Change the plan: the change is a function on a copy of its tables. `quietly` for what belongs to the step
// of undo before it; with a grip in the hand there is no step until it is let go.
export function change(work, words, { quietly = false } = {}) {
  const before = copy(draft.tables);
  const next = copy(draft.tables);
  work(next);
  tidy(next);
  if (JSON.stringify(next) === JSON.stringify(before)) return;
  draft.tables = next;
  draft.saved = draft.example;
  if (quietly && draft.moving) { ask(); return; }
  if (quietly) remember();
  else pushed(before, words);
  ask();
  tellAll("draft");
  if (!draft.example) saveSoon();
}

// One step of undo for all that moved since `before`.
function pushed(before, words) {
  draft.past.push({ tables: before, words });
  if (draft.past.length > MOST) draft.past.shift();
  remember();
  if (words) done(words, undo);
}

// A grip is in the hand: nothing is kept, and only what moves with it is asked for, until it is let go.
export function take() {
  const before = copy(draft.tables);
  draft.moving = true;
  return (words) => {
    draft.moving = false;
    clearTimeout(resting);
    if (JSON.stringify(before) !== JSON.stringify(draft.tables)) {
      pushed(before, words);
      tellAll("draft");
      if (!draft.example) saveSoon();
    }
    ask();
  };
}

export function undo() {
  const last = draft.past.pop();
  if (!last) return false;
  draft.tables = last.tables;
  draft.saved = draft.example;
  remember();
  hide();
  ask();
  tellAll("draft");
  if (!draft.example) saveSoon();
  return true;
}

function tidy(tables) {
  for (const [name, value] of Object.entries(tables)) {
    if (value && typeof value === "object" && !Array.isArray(value)) {
      tidy(value);
      if (!Object.keys(value).length) delete tables[name];
    } else if (value === null || value === "" || (Array.isArray(value) && !value.length)) delete tables[name];
    else if (Array.isArray(value)) value.forEach((row) => { if (row && typeof row === "object") tidy(row); });
  }
}

// Places in the tables, "charge.0.volume" or "cuts.stop.stream_abv".
export function valueAt(path, tables = draft.tables) {
  return path.split(".").reduce((held, step) => (held === undefined || held === null ? undefined : held[step]), tables);
}
export function putAt(tables, path, value) {
  const steps = path.split(".");
  const last = steps.pop();
  let held = tables;
  for (const [k, step] of steps.entries()) {
    held[step] ??= /^\d+$/.test(steps[k + 1] ?? last) ? [] : {};
    held = held[step];
  }
  if (value === null || value === undefined || value === "") delete held[last];
  else held[last] = value;
}

// Ask for the answer: one question under way, the latest one asked next.
export async function ask(want = IN_HAND) {
  const mine = (asked += 1);
  if (draft.moving && want === IN_HAND) {
    clearTimeout(resting);
    resting = setTimeout(ask, REST_MS, AT_REST);
  }
  if (asking) { asking.again = true; return; }
  asking = { again: false };
  try {
    const tables = draft.tables;
    const part = draft.moving && draft.answer ? want : null;
    const said = await api.post("/api/answer", part ? { plan: tables, want: part } : { plan: tables });
    if (part) said.strip.clouds_l ??= draft.answer.strip.clouds_l;
    draft.answer = part ? { ...draft.answer, ...said } : said;
    draft.answered = tables;
    draft.fault = null;
    if (!part && JSON.stringify(tables) === JSON.stringify(draft.opened)) draft.openedAnswer = said;
    else if (!part && !draft.openedAnswer) api.post("/api/answer", { plan: draft.opened }).then((first) => { draft.openedAnswer = first; }).catch(() => {});
    if (!part) keep("answer", { tables, said });
  } catch (error) {
    if (error instanceof api.Refused) draft.fault = error;
    else {
      const old = kept("answer");
      if (!draft.answer && old) draft.answer = old.said;
      setTimeout(() => { if (mine === asked) ask(); }, 3000);
    }
  }
  const { again } = asking;
  asking = null;
  if (draft.moving || !again) tellAll("answer");
  if (again) ask();
}

function saveSoon() {
  clearTimeout(saving);
  saving = setTimeout(save, SAVE_MS);
}

async function save() {
  const { tables, thing } = draft;
  try {
    const { id } = await api.post(draft.id ? `/api/plans/${encodeURIComponent(draft.id)}` : "/api/plans", { plan: tables, thing });
    if (draft.thing !== thing) return;
    draft.id = id;
    draft.saved = JSON.stringify(tables) === JSON.stringify(draft.tables);
    remember();
    tellAll("saved");
    if (!draft.saved) saveSoon();
  } catch (error) {
    if (error instanceof api.Away) { clearTimeout(saving); saving = setTimeout(save, 4000); }
  }
}
