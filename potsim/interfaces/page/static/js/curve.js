// The curve: strength of the stream, of all collected and of the pot, with cuts, and other charges faintly.
import { s } from "./dom.js";
import { LEFT, path, spread, ticks } from "./scale.js";
import * as words from "./words.js";

export const TOP = 30;
const BOTTOM = 20;
const LINES = [
  ["stream", "stream_abv", "stream"],
  ["pooled", "mean_abv", "pooled"],
  ["pot", "pot_abv", "pot"],
];
const unit = (axis) => (axis.end > 3 ? ["L", 1] : ["mL", 1000]);

export function curve(reply, beside, axis, height) {
  const { run } = reply;
  const base = height - BOTTOM;
  const y = (abv) => base - (abv / 100) * (base - TOP);
  const right = axis.x(axis.end);
  const xs = run.curve.collected_l.map((v) => axis.x(v));
  return {
    y,
    base,
    parts: [
      frame(axis, y, base, right),
      band(run, axis, y, base),
      ...others(beside, axis, y, right),
      ...LINES.map(([name, key]) => s("path", { class: `line ${name}`, d: path(xs, run.curve[key].map(y)) })),
      ...cuts(run, axis, base),
    ],
    ends: ends(run, xs.at(-1), y, base), // over all else, to be read
  };
}

function frame(axis, y, base, right) {
  const [name, per] = unit(axis);
  const group = s("g", { class: "frame" });
  for (const abv of [0, 20, 40, 60, 80, 100]) {
    group.append(s("line", { x1: LEFT, x2: right, y1: y(abv), y2: y(abv), class: abv ? "grid" : "floor" }));
    if (abv) group.append(s("text", { x: LEFT - 5, y: y(abv) + 4, "text-anchor": "end" }, abv === 100 ? "100 %" : String(abv)));
  }
  for (const at of ticks(axis.end, axis.room)) {
    group.append(s("text", { x: axis.x(at), y: base + 14, "text-anchor": "middle" }, String(Math.round(at * per * 100) / 100)));
  }
  group.append(s("text", { x: right + 22, y: base + 14, class: "unit" }, name));
  return group;
}

// What is kept, under the stream, between heads and the end of the keep.
function band(run, axis, y, base) {
  const kept = run.jars.filter((jar) => jar.role === "keep");
  if (!kept.length) return null;
  const [from, to] = [kept[0].from_l, kept.at(-1).to_l];
  const { collected_l: at, stream_abv: abv } = run.curve;
  const inside = at.map((v, k) => [v, abv[k]]).filter(([v]) => v >= from && v <= to);
  const points = [[from, kept[0].start_abv], ...inside, [to, kept.at(-1).end_abv]];
  const top = path(points.map(([v]) => axis.x(v)), points.map(([, a]) => y(a)));
  return s("path", { class: "kept", d: `${top}L${axis.x(to)} ${base}L${axis.x(from)} ${base}Z` });
}

function others(beside, axis, y, right) {
  return (beside ?? []).flatMap((other) => {
    const xs = other.collected_l.map((v) => axis.x(v));
    const within = xs.filter((x) => x <= right).length;
    const ys = other.stream_abv.map(y);
    const at = Math.floor(within * (other.which === "stronger" ? 0.36 : 0.24));
    return [
      s("path", { class: `other ${other.which}`, d: path(xs.slice(0, within), ys.slice(0, within)) }),
      s("text", { class: "other-name", x: xs[at], y: ys[at] + (other.which === "stronger" ? -6 : 14) },
        `charge of ${other.abv.toFixed(0)} %`),
    ];
  });
}

function cuts(run, axis, base) {
  const heads = run.jars.filter((jar) => jar.role === "heads").at(-1);
  const tails = run.jars.find((jar) => jar.role === "tails");
  const stop = run.stop.collected_l;
  const marks = [];
  if (heads) marks.push([heads.to_l, `heads to ${words.volume(heads.to_l)}`, "start"]);
  if (tails && tails.from_l < stop - 1e-9) marks.push([tails.from_l, "tails", "end"]);
  marks.push([stop, `stop at ${words.volume(stop)}`, axis.x(stop) > 260 ? "end" : "start"]);
  return marks.flatMap(([at, name, anchor], k) => [
    s("line", { class: "cut", x1: axis.x(at), x2: axis.x(at), y1: TOP - 8, y2: base }),
    s("text", { class: "cut-name", x: axis.x(at) + (k + 1 === marks.length ? 0 : -4), y: TOP - 13, "text-anchor": anchor }, name),
  ]);
}

// Each line is named where it ends.
function ends(run, x, y, base) {
  const last = LINES.map(([, key]) => y(run.curve[key].at(-1)));
  const placed = spread(last, 15, TOP, base);
  return s("g", { class: "ends" }, LINES.map(([name, key, word], k) => [
    s("line", { class: `lead ${name}`, x1: x + 2, y1: last[k], x2: x + 9, y2: placed[k] }),
    s("text", { class: name, x: x + 11, y: placed[k] + 4 }, `${word} ${words.abv(run.curve[key].at(-1))}`),
  ]).flat());
}
