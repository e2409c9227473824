// The run as this device knows it: what the laptop last said, and over it what was told here and still waits.
import { now } from "./clock.js";
import { at } from "./strip.js";

const PLAIN = { of_version: 0, off_before_min: 0, trouble: "", slower: null, least: null, odd: [], aside: [] };
const DONE = new Set(["over", "safe", "out"]);
const COUNTS_AS = { full: "jar" };

// What waits carries the time of this device's clock; the laptop's is what everything is shown in.
const here = (thing) => ({ ...thing, at_ms: thing.at_ms + now() - Date.now(), waits: true, struck: false });

export function seen(run, waits) {
  const known = new Set(run.noted.map((one) => one.id));
  const fresh = waits.filter((one) => !known.has(one.id)).map(here);
  const taken = new Set();
  for (const thing of fresh) if (thing.kind === "strike") if (!taken.delete(thing.of)) taken.add(thing.of);
  const noted = run.noted.map((one) => ({ ...one, kind: COUNTS_AS[one.kind] ?? one.kind, waits: false, struck: one.struck !== taken.has(one.id) }));
  const here0 = fresh.filter((one) => one.kind !== "strike" && !taken.has(one.id));
  const last = (kind) => here0.filter((one) => one.kind === kind).pop();
  const back = new Set(noted.filter((one) => one.kind === "jar" && taken.has(one.id) && one.struck).map((one) => one.jar));
  const heats = noted.filter((one) => one.kind === "heat");
  const heatGone = taken.size > 0 && heats.some((one) => one.at_ms === run.heat_ms && one.struck);
  const offGone = taken.size > 0 && heats.some((one) => one.at_ms === run.off_ms && one.struck);
  const heat = last("heat")?.at_ms ?? (heatGone ? null : run.heat_ms);
  const off = last("off")?.at_ms ?? (offGone ? null : run.off_ms);
  return {
    ...run,
    heat_ms: heat,
    off_ms: off,
    forecast: { ...PLAIN, ...run.forecast },
    strip: { ...run.strip, jars: states(run, here0, back, { heat, off }) },
    things: [...noted, ...fresh.filter((one) => one.kind !== "strike").map((one) => ({ ...one, struck: taken.has(one.id) }))],
    fresh: here0,
    jarsNoted: run.strip.jars.filter((jar) => DONE.has(jar.state) && !back.has(jar.n)).length + here0.filter((one) => one.kind === "jar").length,
  };
}

function states(run, fresh, back, { heat, off }) {
  const told = new Map(fresh.filter((one) => one.kind === "jar").map((one) => [one.n, one]));
  const words = new Map(fresh.filter((one) => one.kind === "word").map((one) => [one.n, one.text]));
  const stays = (jar) => DONE.has(jar.state) && !back.has(jar.n);
  const flowing = run.strip.jars.find((jar) => !stays(jar) && !told.has(jar.n));
  return run.strip.jars.map((jar) => {
    const one = told.get(jar.n);
    const state = one ? (one.left_out === true ? "out" : one.left_out === false ? "safe" : "over")
      : stays(jar) ? jar.state : off ? "over" : !heat ? "planned" : jar === flowing ? "flowing" : "coming";
    return { ...jar, state, word: words.get(jar.n) ?? jar.word };
  });
}

// How much has come over by now, by the forecast; what was noted is over, the jar under the spout has begun.
export function collected(view, minute) {
  const { curve } = view.strip;
  const flowing = view.strip.jars.find((jar) => jar.state === "flowing");
  const by = minute <= curve.min[0] ? 0 : at(curve, minute, "min", "l");
  if (!flowing) return by;
  return Math.min(Math.max(by, flowing.from_l), view.strip.end_l);
}

export const spoutNow = (view, minute) => at(view.strip.curve, Math.max(minute, view.strip.curve.min[0]), "min", "abv");
