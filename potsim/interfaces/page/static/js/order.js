// One order at a time: what to do next beside the still, when, and which acts answer it.
import { said } from "./formats.js";
import { words } from "./words.js";

const SOON_MIN = 1;
const HAIR = 1e-6;

function next(view, minute) {
  const { forecast, strip } = view;
  const stop = forecast.stop.min;
  const flowing = strip.jars.find((jar) => jar.state === "flowing");
  const started = minute >= view.first_drop_min || view.jarsNoted > 0;
  if (!started) return { kind: "drop", min: view.first_drop_min };
  const off = stop - (forecast.off_before_min || 0);
  const least = forecast.least?.min ?? Infinity;
  const end = least < stop - HAIR ? { kind: "least", min: least } : forecast.off_before_min ? { kind: "off", min: off } : { kind: "stop", min: stop };
  const last = !flowing || flowing.to_l >= strip.end_l - HAIR || flowing.full_min >= stop - HAIR;
  if (last) return { ...end, jar: flowing };
  const change = { kind: view.working && flowing.role === "keep" ? "taste" : "jar", min: flowing.full_min, jar: flowing };
  // The heat goes off in time, whatever jars wait to be changed.
  return end.min <= change.min || end.min - minute <= SOON_MIN ? { ...end, jar: flowing } : change;
}

export function orderOf(view, minute) {
  if (view.off_ms) return { kind: "over", stage: "over", words: words.order.over, left: 0, key: "over" };
  const found = next(view, minute);
  const left = found.min - minute;
  const stage = left <= 0 ? "due" : left <= SOON_MIN ? "soon" : "calm";
  const jar = found.jar;
  const table = words.order;
  const named = { calm: table[found.kind], soon: table[`${found.kind}Soon`] ?? table[found.kind], due: table[`${found.kind}Due`] }[stage];
  const said = typeof named === "function" ? named(jar.n + 1) : named;
  return { ...found, stage: found.kind === "drop" && stage !== "calm" ? "calm" : stage, words: said, left, key: `${found.kind}${jar?.n ?? ""}`, where: where(found, view, left, jar) };
}

function where(found, view, left, jar) {
  const { strip, forecast } = view;
  if (found.kind === "drop") return words.where.drop;
  if (found.kind === "off") return words.where.carriesOn;
  if (found.kind === "taste") return words.where.working(said("volume", jar.volume_l), said("volume", jar.to_l));
  if (found.kind === "jar") return left <= 0 ? words.where.holds(jar.n, said("volume", jar.volume_l)) : words.where.at(said("volume", jar.to_l));
  const end = found.kind === "least" ? forecast.least.l : strip.end_l;
  return words.where.stop(said("volume", end), said("abv", strip.curve.abv[strip.curve.abv.length - 1]));
}
