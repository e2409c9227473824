// The one object: the run as a strip of distillate. Width is volume, height is strength, jars are slices of it.
import { el, svg, swap, textWidth } from "./dom.js";
import { figure, said } from "./formats.js";

const GAP = 3;
const ROUND = 3;
const EDGE = 1;
const LOWERED = 10; // what is left out
const RING = 5.5;

// A reading stays on the picture, however wild it is.
const within = (place, most) => Math.max(RING + 1, Math.min(most - RING - 1, place));

export function at(columns, x, from = "l", to = "abv") {
  const xs = columns[from];
  const ys = columns[to];
  if (!xs.length || x <= xs[0]) return ys[0];
  for (let k = 1; k < xs.length; k += 1) {
    if (x <= xs[k]) {
      const step = xs[k] - xs[k - 1];
      return step ? ys[k - 1] + ((ys[k] - ys[k - 1]) * (x - xs[k - 1])) / step : ys[k];
    }
  }
  return ys[ys.length - 1];
}

// From volume and strength to the picture and back.
export function scaleOf(strip, { width, height, endL, topRoom = 12, axisRoom = 26, maxAbv }) {
  const most = maxAbv ?? Math.max(1, ...strip.curve.abv);
  const end = endL ?? strip.end_l;
  const foot = height - axisRoom;
  const x = (l) => EDGE + (l / (end || 1)) * (width - 2 * EDGE);
  const y = (abv) => foot - (abv / most) * (foot - topRoom);
  return { x, y, foot, end, most, width, height, l: (px) => ((px - EDGE) / (width - 2 * EDGE)) * end };
}

const line = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");

function along(curve, from, to, scale) {
  const inner = curve.l.filter((l) => l > from && l < to);
  return [from, ...inner, to].map((l) => [scale.x(l), scale.y(at(curve, l))]);
}

// A slice: its top follows the strength, its corners are rounded, a gap parts it from the next.
function slice(curve, from, to, scale) {
  const [left, right] = [scale.x(from), scale.x(to)];
  const gap = Math.min(GAP / 2, (right - left) / 4);
  const top = along(curve, scale.l(left + gap), scale.l(right - gap), scale);
  const r = Math.min(ROUND, (right - left - 2 * gap) / 2);
  const [x0, y0] = top[0];
  const [x1, y1] = top[top.length - 1];
  const between = top.slice(1, -1).filter(([x]) => x > x0 + r && x < x1 - r);
  const d = `M${x0 + r} ${scale.foot}Q${x0} ${scale.foot} ${x0} ${scale.foot - r}L${x0} ${y0 + r}`
    + `Q${x0} ${y0} ${x0 + r} ${y0}${between.map(([x, y]) => `L${x.toFixed(1)} ${y.toFixed(1)}`).join("")}`
    + `L${x1 - r} ${y1}Q${x1} ${y1} ${x1} ${y1 + r}L${x1} ${scale.foot - r}Q${x1} ${scale.foot} ${x1 - r} ${scale.foot}Z`;
  const edge = line([[x0 + r / 2, y0], ...between, [x1 - r / 2, y1]]);
  return { d, edge, x0, x1, y0, y1, mid: (x0 + x1) / 2, wide: x1 - x0 };
}

const LABELLED = { over: "deep", safe: "deep", flowing: "honey", coming: "coming", planned: "planned", out: "out" };

function jarShape(jar, curve, scale, options) {
  const kind = jar.role === "heads" && jar.state !== "flowing" ? "heads" : LABELLED[jar.state] ?? "planned";
  const shape = slice(curve, jar.from_l, jar.to_l, scale);
  const group = svg("g", { class: `slice ${kind}`, transform: kind === "out" ? `translate(0 ${LOWERED})` : null });
  group.append(svg("path", { d: shape.d, class: "body" }));
  if (kind === "planned") group.append(svg("path", { d: shape.edge, class: "edge" }));
  if (kind === "honey") {
    const to = Math.max(jar.from_l, Math.min(jar.to_l, options.nowL ?? jar.from_l));
    group.append(svg("path", { d: slice(curve, jar.from_l, jar.to_l, scale).d, class: "room" }));
    if (to > jar.from_l) group.append(svg("path", { d: slice(curve, jar.from_l, to, scale).d, class: "filled" }));
    group.append(svg("path", { d: shape.d, class: "rim" }));
  }
  return { group, shape, kind, n: jar.n };
}

// The number of each jar at the foot of its slice, or in a row above where it would touch the one before.
const ROW = 15;
const APART = 2;
function numbers(all, scale) {
  const ends = []; // of what stands in each row so far
  return all.filter((one) => one.kind !== "heads" && one.n).map(({ shape, kind, n }) => {
    const text = String(n);
    const size = shape.wide < 30 ? 14 : 16;
    const half = (textWidth(text, 700, size) - (size === 14 ? text.length - 1 : 0)) / 2;
    const x = kind === "honey" && shape.wide > 44 ? shape.x0 + 16 : Math.min(shape.mid, scale.width - half);
    let row = 0;
    while (x - half < ends[row] + APART) row += 1;
    ends[row] = x + half;
    const y = scale.foot - 12 - ROW * row + (kind === "out" ? LOWERED : 0);
    const over = 2 * half > shape.wide ? " over" : "";
    return y - 11 < Math.min(shape.y0, shape.y1) ? "" : svg("text", { x, y, class: `number ${kind}${over}${size === 14 ? " narrow" : ""}` }, text);
  }).filter(Boolean);
}

// Working jars that are safe in the keep are one slice; what is at stake stays by itself.
function merged(jars) {
  const rows = [];
  for (const jar of jars) {
    const last = rows[rows.length - 1];
    if (jar.state === "safe" && last?.state === "safe") Object.assign(last, { to_l: jar.to_l, sum_l: last.sum_l + jar.volume_l });
    else rows.push({ ...jar, sum_l: jar.volume_l });
  }
  return rows;
}

function axis(strip, jars, scale, gripped) {
  const ends = [...new Set(jars.slice(0, -1).map((jar) => jar.to_l))].filter((l) => !gripped || l > (strip.heads_l ?? 0) + 1e-6);
  const last = said("volume", strip.end_l);
  const width = (text) => textWidth(text, 700) + 8;
  const lastX = Math.min(scale.x(strip.end_l), scale.width - EDGE);
  let freeFrom = 0;
  const freeTo = lastX - width(last);
  const texts = gripped ? [] : [svg("text", { x: lastX, y: scale.foot + 19, class: "axis end" }, last)];
  for (const l of ends) {
    const text = figure("volume", l);
    const half = width(text) / 2;
    const x = Math.max(scale.x(l), half - 5);
    if (x - half < freeFrom || x + half > freeTo) continue;
    freeFrom = x + half;
    texts.push(svg("text", { x, y: scale.foot + 19, class: "axis" }, text));
  }
  return texts;
}

// For those who cannot see the picture: the same as a table.
export function table(strip, lanesOf = (jar) => jar.leads) {
  return el("div", { class: "unseen" }, el("table", null, el("caption", { text: "The run, jar by jar" }),
    el("tbody", null, strip.jars.map((jar) => el("tr", null,
      el("th", { scope: "row", text: jar.role === "heads" ? `jar ${jar.n}, heads` : `jar ${jar.n}` }),
      el("td", { text: `${figure("volume", jar.from_l)} to ${said("volume", jar.to_l)}` }),
      el("td", { text: said("abv", jar.measured_abv ?? jar.abv) }),
      el("td", { text: (lanesOf(jar) ?? []).join(", ") }))))));
}

// options: width, height, nowL, ghost (a strip behind), endL, axis, numbers, past, extra (drawn last)
export function picture(strip, options) {
  const scale = scaleOf(strip, { axisRoom: options.axis === false ? 2 : 26, ...options });
  const { curve } = strip;
  const root = svg("svg", {
    class: "strip", width: options.width, height: options.height, "aria-hidden": "true",
    viewBox: `0 0 ${options.width} ${options.height}`,
  });
  root.append(svg("defs", null, svg("pattern", {
    id: options.hatch ?? "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)",
  }, svg("path", { d: "M3.5 0V7", class: "hatching" }))));
  let jars = merged(strip.jars);
  if (!jars.length) jars = [{ n: "", role: "keep", from_l: strip.heads_l ?? 0, to_l: strip.end_l, volume_l: strip.end_l, sum_l: strip.end_l, state: options.state ?? "planned" }];
  const drawn = jars.map((jar) => jarShape(jar, curve, scale, options));
  root.append(...drawn.map((one) => one.group), ...(options.numbers === false ? [] : numbers(drawn, scale)));
  const safe = jars.find((jar) => jar.state === "safe");
  if (safe && options.numbers !== false) {
    const mid = (scale.x(safe.from_l) + scale.x(safe.to_l)) / 2;
    if (scale.x(safe.to_l) - scale.x(safe.from_l) > 110) {
      root.append(svg("text", { x: mid, y: scale.foot - 52, class: "safe-volume" }, said("volume", safe.sum_l)),
        svg("text", { x: mid, y: scale.foot - 32, class: "safe-words" }, "safe in the keep"));
    }
  }
  if (options.past && strip.tail) {
    root.append(svg("path", { d: line(strip.tail.l.map((l, k) => [scale.x(l), scale.y(strip.tail.abv[k])])), class: "tail" }));
    if (strip.clouds_l && strip.clouds_l <= scale.end) {
      const where = { l: [...curve.l, ...strip.tail.l], abv: [...curve.abv, ...strip.tail.abv] };
      const [x, y] = [scale.x(strip.clouds_l), scale.y(at(where, strip.clouds_l))];
      const lines = ["may cloud", `from ${figure("volume", strip.clouds_l)}`];
      const right = Math.min(x + 8, scale.width);
      const clear = right - Math.max(...lines.map((text) => textWidth(text, 700))) - 8 > scale.x(strip.end_l);
      root.append(svg("circle", { cx: x, cy: y, r: 6, class: "ring" }), ...(clear ? lines.map((text, k) => svg("text", { x: right, y: y + 24 + 18 * k, class: "clouds left" }, text)) : []));
    }
  }
  const { ghost } = options;
  if (ghost) {
    root.append(svg("path", { d: line(ghost.curve.l.map((l, k) => [scale.x(l), scale.y(ghost.curve.abv[k])])
      .concat([[scale.x(ghost.end_l), scale.foot]])), class: "ghost" }));
  }
  for (const other of options.beside ?? []) {
    root.append(svg("path", { d: line(other.curve.l.map((l, k) => [scale.x(l), scale.y(other.curve.abv[k])])), class: "ghost" }));
  }
  if (strip.band && options.band !== false) {
    const { band } = strip;
    const ls = [...band.l.filter((l) => l < strip.end_l), Math.min(strip.end_l, band.l[band.l.length - 1])];
    const up = ls.map((l) => [scale.x(l), Math.max(0, scale.y(Math.min(100, at(band, l, "l", "high"))))]);
    const down = ls.map((l) => [scale.x(l), scale.y(at(band, l, "l", "low"))]).reverse();
    root.append(svg("path", { d: `${line([...up, ...down])}Z`, class: "band" }));
  }
  for (const one of strip.readings ?? []) root.append(svg("circle", { cx: within(scale.x(one.l), scale.width), cy: within(scale.y(one.abv), scale.foot), r: RING, class: "ring" }));
  if (Number.isFinite(options.nowL)) {
    const x = scale.x(Math.min(options.nowL, scale.end));
    root.append(svg("path", { d: `M${x} 0V${scale.foot + 3}`, class: "now-line" }));
  }
  if (options.stake) {
    const x = scale.x(options.nowL ?? 0);
    const left = x > scale.width / 2;
    root.append(svg("text", { x: left ? x - 8 : x + 8, y: 12, class: `stake${left ? " left" : ""}` }, options.stake));
  }
  if (options.axis !== false) root.append(...axis(strip, jars, scale, options.gripped));
  return { root, scale };
}

// A strip that fits its host and is drawn again when that changes.
export function stripIn(host, read) {
  let was = 0;
  let drawn = null;
  const draw = () => {
    const given = read();
    const width = Math.floor(host.clientWidth);
    if (!given) { swap(host); drawn = null; return; }
    if (width < 20) return;
    was = width;
    const focused = host.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    drawn = picture(given.strip, { width, ...given });
    swap(host, drawn.root, given.table === false ? null : table(given.strip));
    given.after?.(drawn, host);
    if (focused) host.querySelector(`[data-key="${focused}"]`)?.focus({ preventScroll: true });
  };
  // Only the picture: what lies over it, and is held by a finger, stays as it is.
  const redraw = () => {
    const given = read();
    if (given && drawn) host.querySelector("svg.strip")?.replaceWith(picture(given.strip, { width: was, ...given }).root);
  };
  const watch = new ResizeObserver(() => { if (Math.floor(host.clientWidth) !== was) draw(); });
  watch.observe(host);
  return { draw, redraw, get scale() { return drawn?.scale; }, end: () => watch.disconnect() };
}

// Before anything is known: where the run will lie.
export function empty(words, height = 130) {
  return el("div", { class: "strip-empty" }, svg("svg", { viewBox: "0 0 320 100", preserveAspectRatio: "none", height, "aria-hidden": "true" },
    svg("path", { d: "M1 4C140 4 250 12 319 34V99H1Z" })), el("p", { text: words }));
}

export function thumb(shape) {
  if (!shape) return el("span", { class: "thumb" });
  const strip = { ...shape, jars: shape.jars.map((jar, k) => ({ n: k + 1, volume_l: 0, ...jar })) };
  return el("span", { class: "thumb", "aria-hidden": "true" },
    picture(strip, { width: 92, height: 36, axis: false, numbers: false, topRoom: 3, hatch: "hatch" }).root);
}
