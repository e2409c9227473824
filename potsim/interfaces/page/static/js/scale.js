// Where things lie in the picture: one axis of distillate for the curve, the jars and the ribbons.
export const LEFT = 48; // room for "100 %" in the widest face, a little larger on a desk
export const RIGHT = 84;

// An end of the axis that a small change does not move.
export function niceEnd(litres) {
  const rough = litres * 1.02;
  const step = 10 ** Math.floor(Math.log10(rough)) / 10;
  const coarse = rough / step > 40 ? 5 * step : 2 * step;
  return Math.ceil(rough / coarse) * coarse;
}

export function ticks(end, room) {
  const most = Math.max(2, Math.floor(room / 70));
  const decade = 10 ** Math.floor(Math.log10(end / most));
  const step = [1, 2, 5, 10].map((k) => k * decade).find((size) => end / size <= most);
  return Array.from({ length: Math.floor(end / step + 1e-9) + 1 }, (_, k) => k * step);
}

export class Axis {
  constructor(end, width) {
    this.end = end;
    this.width = width;
    this.room = width - LEFT - RIGHT;
  }

  x(litres) { return LEFT + (litres / this.end) * this.room; }
  litres(x) { return ((x - LEFT) / this.room) * this.end; }
}

// Move label heights as little as keeps them apart.
export function spread(wanted, apart, low, high) {
  const order = wanted.map((_, k) => k).sort((a, b) => wanted[a] - wanted[b]);
  const placed = order.map((k) => Math.min(Math.max(wanted[k], low), high));
  for (let k = 1; k < placed.length; k++) placed[k] = Math.max(placed[k], placed[k - 1] + apart);
  for (let k = placed.length - 1, most = high; k >= 0; k--, most = placed[k + 1] - apart) {
    placed[k] = Math.min(placed[k], most);
  }
  const out = [];
  order.forEach((k, n) => { out[k] = placed[n]; });
  return out;
}

export const path = (xs, ys) => `M${xs.map((x, k) => `${x.toFixed(1)} ${ys[k].toFixed(1)}`).join("L")}`;
