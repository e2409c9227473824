// What was told at the still, kept in this browser until the server has it on disk.
import * as api from "./api.js";

const KEPT = "potsim.outbox";
const EVERY = 3000;
let waiting = [];
let busy = false;
let said = 0;
let listen = {};

const keep = () => localStorage.setItem(KEPT, JSON.stringify(waiting));

export function setUp(listener) {
  listen = listener;
  try {
    waiting = JSON.parse(localStorage.getItem(KEPT)) ?? [];
  } catch {
    waiting = [];
  }
  setInterval(flush, EVERY);
  addEventListener("online", flush);
  document.addEventListener("visibilitychange", flush);
  return flush();
}

export function tell(run, told) {
  waiting.push({ run, told });
  keep();
  return flush();
}

export const count = () => waiting.length;

// In order, one by one; what is told twice is known by the server, so an answer that got lost does no harm.
async function flush() {
  if (busy || document.hidden) return;
  busy = true;
  while (waiting.length) {
    const { run, told } = waiting[0];
    try {
      const state = await api.post(`/api/runs/${run}/tell`, { tell: told });
      waiting.shift();
      keep();
      listen.taken(state);
    } catch (error) {
      if (!(error instanceof api.Refused)) break;
      waiting.shift();
      keep();
      listen.refused(error, told);
    }
  }
  busy = false;
  if (said !== waiting.length) listen.waits(said = waiting.length);
}
