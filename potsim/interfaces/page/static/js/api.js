// Speaking with the server: the token, refusals, being away, and the live line.
import { agree } from "./clock.js";
import { keep, kept } from "./store.js";

let token = null;
let here = true;
const listeners = new Set();

export class Refused extends Error {
  constructor({ message, hint = "", path = "", faults = [] }) {
    super(message);
    Object.assign(this, { hint, path, faults: faults.length ? faults : [{ message, hint, path }] });
  }
}
export class Away extends Error {}

export const isHere = () => here;
export const onReach = (react) => listeners.add(react);

function reach(yes) {
  if (here === yes) return;
  here = yes;
  for (const react of listeners) react(here);
}

async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(20000), ...options });
  } catch (error) {
    if (options.signal?.aborted) throw error;
    reach(false);
    throw new Away("The laptop does not answer.");
  }
  if (answer.status === 409) throw new Away("Asked anew elsewhere.");
  if (answer.status >= 500 || answer.status === 429) {
    reach(answer.status !== 502 && answer.status !== 504);
    throw new Away("The laptop is busy; trying again.");
  }
  reach(true);
  return answer;
}

async function hello() {
  let answer = await ask("/api/hello");
  if (answer.status === 401) {
    const page = await ask("/");
    if (page.redirected) location.assign("/code");
    answer = await ask("/api/hello");
  }
  const said = await answer.json();
  if (!answer.ok) throw new Away("The laptop asks for its key.");
  agree(said.epoch_ms);
  ({ token } = said);
}

async function unpack(answer) {
  const said = await answer.json();
  if (said?.refused && !Array.isArray(said.refused)) throw new Refused(said.refused);
  if (said?.epoch_ms) agree(said.epoch_ms);
  return said;
}

async function withToken(send) {
  if (!token) await hello();
  const answer = await send();
  if (answer.status !== 401 && answer.status !== 403) return answer;
  await hello();
  return send();
}

const send = (path, body, signal) => withToken(() => ask(path, {
  method: "POST",
  headers: { "Content-Type": "application/json", "X-Potsim-Token": token },
  body: JSON.stringify(body),
  ...(signal ? { signal } : {}),
}));

// Sentences come in the units that were chosen on this device, else in those of the plan.
const units = () => kept("units") ?? undefined;
const inUnits = (path) => (units() ? `${path}${path.includes("?") ? "&" : "?"}units=${units()}` : path);

export const post = async (path, body, signal) => unpack(await send(path, { ...body, units: units() }, signal));
export const get = async (path) => unpack(await withToken(() => ask(inUnits(path))));

export const lastGot = (path) => kept(`got${path}`);

// What was last got from there, if nobody answers: the run goes on by it.
export async function getOrKept(path) {
  try {
    const fresh = await get(path);
    keep(`got${path}`, fresh);
    return fresh;
  } catch (error) {
    const old = error instanceof Away ? kept(`got${path}`) : null;
    if (old) return old;
    throw error;
  }
}

// A file that the server makes, as text.
export async function text(path, body) {
  const answer = await send(path, { ...body, units: units() });
  if ((answer.headers.get("content-type") ?? "").startsWith("application/json")) await unpack(answer);
  return answer.text();
}

// The live line: what changed, by whom; it comes back by itself.
export function live(react) {
  let line = null;
  const open = async () => {
    try { if (!token) await hello(); } catch { setTimeout(open, 3000); return; }
    line = new EventSource("/api/live");
    const pass = (name) => line.addEventListener(name, (event) => {
      reach(true);
      const said = JSON.parse(event.data);
      if (said.epoch_ms) agree(said.epoch_ms);
      react(name, said);
    });
    ["hello", "run", "shelf"].forEach(pass);
    line.onerror = () => {
      if (line.readyState !== EventSource.CLOSED) return;
      line.close();
      token = null;
      setTimeout(open, 3000);
    };
  };
  open();
}
