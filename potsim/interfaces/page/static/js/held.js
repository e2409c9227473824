// What all places share: words and numbers from the server, the shelf, and the run that is open.
import * as api from "./api.js";
import { useFormats } from "./formats.js";
import { arrived, onOutbox, told } from "./outbox.js";
import { keep, kept } from "./store.js";
import { seen } from "./course.js";

export const held = { start: null, shelf: null, run: null };
const listeners = new Set();

export const onChange = (react) => { listeners.add(react); return () => listeners.delete(react); };
export const tellAll = (what) => { for (const react of [...listeners]) react(what); };

// Numbers are told in the units chosen on this device, else in those of what is shown.
let own = null;
export function useUnits(of = own) {
  own = of;
  useFormats(held.start.formats, kept("units") ?? of ?? "metric");
}
export function inUnits(of, work) {
  const before = own;
  useUnits(of ?? null);
  const made = work();
  useUnits(before);
  return made;
}

// Begin with what this device kept, at once; what is fresh comes after.
export async function begin() {
  const id = kept("run");
  held.shelf = api.lastGot("/api/shelf");
  held.run = id ? api.lastGot(runPath(id)) : null;
  held.start = api.lastGot("/api/start") ?? await api.getOrKept("/api/start");
  useUnits();
  fresh(id).catch(() => {});
}

async function fresh(id) {
  const start = await api.getOrKept("/api/start");
  const changed = JSON.stringify(start) !== JSON.stringify(held.start);
  held.start = start;
  useUnits();
  if (changed) tellAll("start");
  if (id) await loadRun(id);
  if (held.run) return;
  await loadShelf();
  await loadRun((held.shelf.runs.find((run) => run.live) ?? held.shelf.runs[0])?.id);
}

let loading = null;
export function loadShelf() {
  loading ??= api.getOrKept("/api/shelf").then((shelf) => {
    held.shelf = shelf;
    if (shelf.partial) setTimeout(() => loadShelf().catch(() => {}), 2000);
    tellAll("shelf");
  }).finally(() => { loading = null; });
  return loading;
}

const runPath = (id) => `/api/runs/${encodeURIComponent(id)}`;

let fetching = null;
let anew = false;
export async function loadRun(id) {
  if (!id) return;
  if (fetching === id) { anew = true; return; }
  fetching = id;
  await fetchRun(id);
  fetching = null;
  if (!anew) return;
  anew = false;
  await loadRun(id);
}

async function fetchRun(id) {
  try {
    const run = await api.getOrKept(runPath(id));
    if (held.run?.id === run.id && run.version < held.run.version) return;
    held.run = run;
    arrived(run.id, run.version);
    keep("run", id);
    tellAll("run");
  } catch (error) {
    if (!(error instanceof api.Refused)) return;
    keep("run", null);
    if (held.run?.id === id) held.run = null;
    tellAll("run");
  }
}

export function openRun(run) {
  held.run = run;
  keep("run", run?.id ?? null);
  if (run) keep(`got${runPath(run.id)}`, run);
  tellAll("run");
}

// The run with what waits on this device laid over it.
export const runSeen = () => (held.run ? seen(held.run, told(held.run.id)) : null);

export const section = (name) => held.start.schema.find((one) => one.section === name);
export const tableOf = (name) => held.start.schema.flatMap((one) => one.tables).find((one) => one.table === name);

export function listen() {
  api.live((name, news) => {
    if (name === "shelf") loadShelf().catch(() => {});
    if (name === "hello" && held.run) loadRun(held.run.id);
    if (name === "run" && news.id === held.run?.id) loadRun(news.id);
  });
  onOutbox(({ run, version }) => {
    if (run && run === held.run?.id) loadRun(run);
    else if (run) arrived(run, version);
    tellAll("outbox");
  });
  api.onReach(() => tellAll("reach"));
}
