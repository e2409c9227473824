// Numbers as people say them, rounded as everywhere in potsim.
const plain = (value, decimals) => {
  const text = value.toFixed(decimals);
  const short = text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
  return short === "-0" ? "0" : short;
};

export function volume(litres) {
  const size = Math.abs(litres);
  if (size < 0.09995) return `${plain(litres * 1000, 1)} mL`;
  if (size < 0.9995) return `${plain(litres * 1000, 0)} mL`;
  return `${plain(litres, size < 9.995 ? 2 : 1)} L`;
}

export const millilitres = (litres) => `${plain(litres * 1000, 0)} mL`;
export const abv = (value) => `${value.toFixed(1)} %`;
export const degrees = (value) => `${value.toFixed(1)} °C`;
export const share = (value) => `${plain(value * 100, Math.abs(value) < 0.0995 ? 1 : 0)} %`;
export const mass = (grams) => (grams < 9.995 ? `${plain(grams, 2)} g` : `${plain(grams, 1)} g`);

export function minutes(value) {
  const whole = Math.round(value);
  if (whole < 60) return `${whole} min`;
  return `${Math.floor(whole / 60)} h ${String(whole % 60).padStart(2, "0")} min`;
}

// 12:05, for counting down.
export function clock(min) {
  const seconds = Math.max(0, Math.round(min * 60));
  const hours = Math.floor(seconds / 3600);
  const rest = `${String(Math.floor(seconds / 60) % 60).padStart(hours ? 2 : 1, "0")}:${String(seconds % 60).padStart(2, "0")}`;
  return hours ? `${hours}:${rest}` : rest;
}

export function split(text) {
  const found = /^(.*\d)\s*(\D+)$/.exec(text);
  return found ? [found[1], found[2].trim()] : [text, ""];
}

export const ranges = (numbers) => {
  const parts = [];
  for (const n of numbers) {
    const last = parts.at(-1);
    if (last && last[1] === n - 1) last[1] = n;
    else parts.push([n, n]);
  }
  return parts.map(([a, b]) => (a === b ? `${a}` : `${a}–${b}`)).join(", ");
};

// What a plan file calls by a key, the form calls by words.
const KEYS = { heat_up_power: "power to heat up", neck_loss: "loss of the neck", pot_loss: "loss of the pot", min_level: "least level in the pot", pot_mass: "mass of the pot" };
export const formly = (text) => text.replace("set min_level", "say its least level, under Still").replace(/\b[a-z]+(_[a-z]+)+\b/g, (key) => KEYS[key] ?? key);
