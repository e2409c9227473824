// One lane for each group of flavour under the strip, on its axis. Lanes answer; nothing on them can be moved.
import { el, svg, textWidth } from "./dom.js";
import { figure, said } from "./formats.js";
import { words } from "./words.js";

const THICK = 8;
const LEAST = 2.5;
const FADE = 0.01;

function band(lane, ls, x, y) {
  const up = ls.map((l, k) => `${k ? "L" : "M"}${x(l).toFixed(1)} ${y}`);
  const down = ls.map((l, k) => `L${x(l).toFixed(1)} ${(y + LEAST + lane.thick[k] * (THICK - LEAST)).toFixed(1)}`).reverse();
  return `${up.join("")}${down.join("")}Z`;
}

function thickness(lane, ls, l) {
  let k = 1;
  while (k < ls.length - 1 && ls[k] < l) k += 1;
  const part = (l - ls[k - 1]) / (ls[k] - ls[k - 1] || 1);
  const size = lane.thick[k - 1] + (lane.thick[k] - lane.thick[k - 1]) * Math.max(0, Math.min(1, part));
  return LEAST + size * (THICK - LEAST);
}

function stretch(lane, one, ls, x, y) {
  const points = [one.from_l, ...ls.filter((l) => l > one.from_l && l < one.to_l), one.to_l];
  const up = points.map((l, k) => `${k ? "L" : "M"}${x(l).toFixed(1)} ${y}`);
  const down = points.map((l) => `L${x(l).toFixed(1)} ${(y + thickness(lane, ls, l)).toFixed(1)}`).reverse();
  const shapes = [svg("path", { d: `${up.join("")}${down.join("")}Z`, class: "lead" })];
  for (const [yes, l] of [[one.fade_from, one.from_l], [one.fade_to, one.to_l]]) {
    if (yes) shapes.push(svg("rect", { x: x(l - FADE), y: y - 1, width: Math.max(3, x(l + FADE) - x(l - FADE)), height: THICK, class: "fade" }));
  }
  return shapes;
}

// Full lanes: label, head of the dark stretch, thickness.
export function lanesPicture(lanes, { width, endL, nowL }) {
  const row = 24;
  const height = lanes.groups.length * row + 2;
  const x = (l) => 1 + (l / (endL || 1)) * (width - 2);
  const root = svg("svg", { class: "lanes", width, height, viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": spoken(lanes) });
  lanes.groups.forEach((lane, k) => {
    const y = k * row + 14;
    root.append(svg("path", { d: band(lane, lanes.l, x, y), class: "lane" }));
    root.append(svg("text", { x: 1, y: y - 4, class: "lane-label" }, lane.label));
    let free = textWidth(lane.label) + 12;
    for (const one of lane.stretches) {
      root.append(...stretch(lane, one, lanes.l, x, y));
      const long = textWidth(one.label, 700);
      const from = Math.min(Math.max(x(one.from_l), free), width - long);
      if (from >= free) {
        root.append(svg("text", { x: from, y: y - 4, class: "lane-lead" }, one.label));
        free = from + long + 8;
      }
    }
    if (Number.isFinite(nowL)) root.append(svg("path", { d: `M${x(nowL)} ${y}v${THICK}`, class: "now-mark" }));
  });
  return root;
}

// One band of the leads, where there is little room.
export function leadBand(lanes, { width, endL, nowL, labels = false }) {
  const x = (l) => 1 + (l / (endL || 1)) * (width - 2);
  const height = labels ? 32 : 12;
  const root = svg("svg", { class: "leads", width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": labels ? null : "true",
    role: labels ? "img" : null, "aria-label": labels ? spoken(lanes) : null });
  let free = 0;
  for (const one of lanes.leads) {
    const leads = Number.isFinite(nowL) && nowL >= one.from_l && nowL < one.to_l;
    const [from, to] = [x(one.from_l) + 3, x(one.to_l) - 3];
    root.append(svg("rect", { x: from, y: 2, width: Math.max(3, to - from), height: 8, rx: 4, class: leads ? "lead-now" : "lead-part" }));
    const long = textWidth(one.label);
    const middle = Math.min(Math.max((from + to) / 2, long / 2), width - long / 2);
    if (labels && middle - long / 2 >= free) {
      root.append(svg("text", { x: middle, y: 28, class: "lead-name" }, one.label));
      free = middle + long / 2 + 8;
    }
  }
  return root;
}

export function leadsNow(lanes, nowL) {
  const k = lanes.leads.findIndex((one) => nowL >= one.from_l && nowL < one.to_l);
  if (k < 0) return null;
  const next = lanes.leads[k + 1];
  return el("p", { class: "leads-words" }, el("strong", { text: words.capital(lanes.leads[k].label) }),
    next ? words.leadsThen(next.label, said("volume", next.from_l)) : words.leads);
}

const spoken = (lanes) => lanes.leads.map((one) => `${one.label} ${figure("volume", one.from_l)} to ${said("volume", one.to_l)}`).join(", ");
