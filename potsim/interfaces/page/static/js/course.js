// The run as this device knows it: what the laptop last said, and over it what was told here and still waits.
import { at } from "./strip.js";

const PLAIN = { of_version: 0, off_before_min: 0, trouble: "", slower: null, least: null };

export function seen(run, waits) {
  const struck = new Set();
  const things = run.noted.map((one) => ({ ...one.thing, line: one.text, min: one.min, struck: one.struck, waits: false }));
  const known = new Set(things.map((one) => one.id));
  for (const thing of waits) if (!known.has(thing.id)) things.push({ ...thing, waits: true, min: null, struck: false });
  for (const thing of things) {
    if (thing.kind !== "strike" || thing.struck) continue;
    if (struck.has(thing.of)) struck.delete(thing.of); else struck.add(thing.of);
  }
  const stands = things.filter((one) => one.kind !== "strike" && !one.struck && !(one.id && struck.has(one.id)));
  const last = (kind) => stands.filter((one) => one.kind === kind).pop();
  const jars = new Map(stands.filter((one) => one.kind === "jar").map((one) => [one.n, one]));
  const tastes = new Map(stands.filter((one) => one.kind === "word").map((one) => [one.n, one.text]));
  const heat = last("heat")?.at_ms ?? null;
  const off = last("off")?.at_ms ?? null;
  return {
    ...run,
    heat_ms: heat,
    off_ms: off,
    forecast: { ...PLAIN, ...run.forecast },
    strip: { ...run.strip, jars: states(run, jars, tastes, { heat, off }) },
    things: things.map((one) => ({ ...one, struck: one.struck || struck.has(one.id) })),
    jarsNoted: jars.size,
  };
}

function states(run, jars, tastes, { heat, off }) {
  const flowing = run.strip.jars.find((jar) => !jars.has(jar.n));
  return run.strip.jars.map((jar) => {
    const noted = jars.get(jar.n);
    const state = noted ? (noted.left_out ? "out" : run.working && jar.role === "keep" ? "safe" : "over")
      : off ? "over" : !heat ? "planned" : jar === flowing ? "flowing" : "coming";
    return { ...jar, state, word: tastes.get(jar.n) ?? jar.word };
  });
}

// How much has come over by now, by the forecast; jars that were noted hold at least that, the next one no more.
export function collected(view, minute) {
  const { curve } = view.strip;
  const flowing = view.strip.jars.find((jar) => jar.state === "flowing");
  const by = minute <= curve.min[0] ? 0 : at(curve, minute, "min", "l");
  if (!flowing) return by;
  return Math.min(Math.max(by, flowing.from_l), view.strip.end_l);
}

export const spoutNow = (view, minute) => at(view.strip.curve, Math.max(minute, view.strip.curve.min[0]), "min", "abv");
