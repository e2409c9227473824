// What was told at the still is kept on this device, each thing under an id of its own, until it is accepted.
import * as api from "./api.js";
import { uuid } from "./dom.js";
import { device, drop, keep, kept, names, onOtherTab } from "./store.js";

const BEFORE = "out.";
const EVERY_MS = 3000;
const listeners = new Set();
let busy = false;
let again = false;

export const onOutbox = (react) => { listeners.add(react); return () => listeners.delete(react); };
const changed = (event) => { for (const react of listeners) react(event ?? {}); };

const entries = () => names(BEFORE).map((name) => kept(name)).filter(Boolean).sort((a, b) => a.thing.at_ms - b.thing.at_ms);
const standing = (run) => entries().filter((one) => !one.refused && !one.asks && (!run || one.run === run));

// What is laid over the run as the laptop last told it: what waits, and what was accepted since.
export const told = (run) => standing(run).map((one) => one.thing);
export const waiting = (run) => standing(run).filter((one) => one.done === undefined).map((one) => one.thing);
export const held = (run) => entries().filter((one) => (one.refused || one.asks) && (!run || one.run === run));

// Tell a run something: at once on this device, on the laptop as soon as it is there.
export function tell(run, kind, said, atMs = Date.now()) {
  const thing = { id: uuid(), at_ms: Math.round(atMs), device: device(), kind, ...said };
  keep(BEFORE + thing.id, { run, thing });
  changed();
  flush();
  return thing.id;
}

// Take back: what has not left this device is dropped, anything else is struck in the journal.
export function takeBack(run, id) {
  const entry = kept(BEFORE + id);
  if (entry && !entry.sent) { drop(BEFORE + id); changed(); return null; }
  return tell(run, "strike", { of: id });
}

export function mend(id, said) {
  const entry = kept(BEFORE + id);
  if (!entry) return;
  drop(BEFORE + id);
  tell(entry.run, entry.thing.kind, { ...strip(entry.thing), ...said }, entry.thing.at_ms);
}
const strip = ({ id, at_ms, device: by, kind, ...rest }) => rest;

export function discard(id) { drop(BEFORE + id); changed(); }

export function insist(id) {
  const entry = kept(BEFORE + id);
  if (!entry) return;
  keep(BEFORE + id, { run: entry.run, thing: { ...entry.thing, sure: true } });
  changed();
  flush();
}

function settle(said) {
  for (const id of said.accepted ?? []) keep(BEFORE + id, { ...kept(BEFORE + id), done: said.version });
  for (const { id, ...why } of said.refused ?? []) keep(BEFORE + id, { ...kept(BEFORE + id), refused: why });
  for (const { id, ...why } of said.asks ?? []) keep(BEFORE + id, { ...kept(BEFORE + id), asks: why });
}

// The run has come with all up to this version: what was accepted by then need not be laid over it any more.
export function arrived(run, version) {
  for (const one of entries()) if (one.run === run && one.done !== undefined && one.done <= version) drop(BEFORE + one.thing.id);
}

// What never came back may have arrived: from then on it is only struck, never dropped.
function marked(run, things) {
  for (const thing of things) keep(BEFORE + thing.id, { run, thing, sent: true });
}

export async function flush() {
  if (busy) { again = true; return; }
  busy = true;
  const runs = [...new Set(standing().filter((one) => one.done === undefined).map((one) => one.run))];
  for (const run of runs) {
    const things = waiting(run).slice(0, 100);
    marked(run, things);
    try {
      const said = await api.post(`/api/runs/${encodeURIComponent(run)}/tell`, { things, device: device(), sent_ms: Date.now() });
      settle(said);
      changed({ run, version: said.version });
    } catch (error) {
      if (error instanceof api.Refused) {
        settle({ refused: things.map(({ id }) => ({ id, message: error.message, hint: error.hint, path: error.path })) });
        changed();
      }
    }
  }
  busy = false;
  if (again) { again = false; flush(); }
}

setInterval(() => {
  if (waiting().length) flush();
  const late = standing().find((one) => one.done !== undefined);
  if (late) changed({ run: late.run, version: late.done });
}, EVERY_MS);
addEventListener("online", flush);
document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
onOtherTab(BEFORE, () => changed());
