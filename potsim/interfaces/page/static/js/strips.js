// Below the curve, on the same axis: the row of jars, and a ribbon for each botanical.
import { s } from "./dom.js";
import { LEFT } from "./scale.js";

export const JAR_HEIGHT = 22;
export const RIBBON_HEIGHT = 33;

// Patterns of its own for each picture: those of a hidden one are not drawn.
export function hatches(owner) {
  const line = (d, name) => s("path", { d, class: `hatch ${name}` });
  return s("defs", null,
    s("pattern", { id: `${owner}-heads`, width: 5, height: 5, patternUnits: "userSpaceOnUse" }, line("M0 5L5 0", "h")),
    s("pattern", { id: `${owner}-tails`, width: 5, height: 5, patternUnits: "userSpaceOnUse" }, line("M2.5 0V1.5", "t")));
}

export function jars(run, axis, top, owner) {
  const kept = new Set(run.keep.jars);
  return s("g", { class: "jars" }, run.jars.flatMap((jar) => {
    const x = axis.x(jar.from_l);
    const width = Math.max(axis.x(jar.to_l) - x - 1.5, 1);
    const what = kept.has(jar.number) ? "pooled" : jar.role;
    const room = width >= 6 + 6 * String(jar.number).length;
    const fill = what === "heads" || what === "tails" ? `url(#${owner}-${what})` : null;
    return [
      s("rect", { class: `jar ${what}`, x, y: top, width, height: JAR_HEIGHT, rx: 3 }),
      fill && s("rect", { x, y: top, width, height: JAR_HEIGHT, rx: 3, fill }),
      room && s("text", { class: "jar-number", x: x + width / 2, y: top + 15, "text-anchor": "middle" }, String(jar.number)),
    ];
  }));
}

// A ribbon is as thick as the botanical comes over, against its own most.
export function ribbons(list, axis) {
  return s("g", { class: "ribbons" }, list.flatMap((one, k) => {
    const top = k * RIBBON_HEIGHT;
    const middle = top + 23;
    const xs = one.collected_l.map((v) => axis.x(v));
    const edge = (sign) => xs.map((x, i) => `${x.toFixed(1)} ${(middle + sign * (0.4 + 7 * one.strength[i])).toFixed(1)}`);
    return [
      s("line", { class: "ribbon-axis", x1: LEFT, x2: xs.at(-1), y1: middle, y2: middle }),
      s("path", { class: `ribbon ${one.class}`, d: `M${edge(-1).join("L")}L${edge(1).reverse().join("L")}Z` }),
      s("text", { class: "ribbon-name", x: LEFT, y: top + 11 }, one.botanical,
        s("tspan", { class: "ribbon-class", dx: 7 }, one.class)),
    ];
  }));
}
