// Saying numbers: by the table of formats that the server serves, one entry for each kind of quantity.
let table = {};
let metric = {};

// On the strip, its axis and the jars volumes are told as on an axis; beside figures of strength the sign is enough.
const ON_PAGE = { volume: "volume_axis" };
const SIGN = { "% vol": "%" };

export function useFormats(formats, system = "metric") {
  metric = formats.metric;
  table = formats[system] ?? metric;
}

export const isMetric = () => table === metric;

const MINUS = "\u2212";

function entry(kind, value) {
  const found = table[ON_PAGE[kind] ?? kind] ?? { unit: "", times: 1, decimals: 1 };
  const step = found.steps?.find((one) => Math.abs(value) < one.below);
  const all = { plus: 0, ...found, ...step };
  return kind === "abv" ? { ...all, unit: SIGN[all.unit] ?? all.unit } : all;
}

export const unit = (kind, value = 0) => entry(kind, value).unit;

export function figure(kind, value) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  const { times = 1, plus = 0, decimals = 0, trim = false } = entry(kind, value);
  const full = (value * times + plus).toFixed(decimals);
  const text = trim && full.includes(".") ? full.replace(/\.?0+$/, "") : full;
  return text.replace(/^-(?=0*\.?0*$)/, "").replace("-", MINUS);
}

export const said = (kind, value) => [figure(kind, value), unit(kind, value)].filter(Boolean).join("\u00a0");

// The same in metric units, in brackets, where all else is told in others: what jars and jugs are marked in.
export function beside(kind, value) {
  if (isMetric() || value === null || value === undefined) return "";
  const others = table;
  table = metric;
  const text = said(kind, value);
  table = others;
  return `(${text})`;
}

// A difference: always with its sign.
export function change(kind, value) {
  const { times = 1, decimals = 0 } = entry(kind, value);
  const text = Math.abs(value * times).toFixed(decimals);
  const sign = Number(text) === 0 ? "±" : value < 0 ? MINUS : "+";
  return `${sign}${text}\u00a0${unit(kind, value)}`;
}

// A value of the plan as typed, "1.5 L", as number and unit; null where it is something else.
export function parted(typed) {
  if (typeof typed === "number") return { number: String(typed), unit: "" };
  const [number, ...rest] = String(typed ?? "").trim().split(/\s/);
  return number !== "" && Number.isFinite(Number(number.replace(",", "."))) ? { number, unit: rest.join(" ") } : null;
}
