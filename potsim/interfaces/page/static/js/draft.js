// The plan being made: the tables of a plan file, kept in this browser, values as typed.
const KEPT = "potsim.plan";
const heard = new Set();
let tables = null;

export const plan = () => tables;
export const onChange = (listener) => heard.add(listener);

export function load(fallback) {
  try {
    tables = JSON.parse(localStorage.getItem(KEPT));
  } catch {
    tables = null;
  }
  if (!tables || typeof tables !== "object" || !Array.isArray(tables.charge)) tables = structuredClone(fallback);
}

// A new plan altogether: the form is made anew.
export function replace(with_) {
  tables = structuredClone(with_);
  changed(true);
}

export function at(path) {
  return path.split(".").reduce((place, key) => place?.[key], tables);
}

export function put(path, value, remake = false) {
  const keys = path.split(".");
  const last = keys.pop();
  let place = tables;
  keys.forEach((key, k) => {
    const next = keys[k + 1] ?? last;
    place[key] ??= /^\d+$/.test(next) ? [] : {};
    place = place[key];
  });
  if (value !== undefined && value !== "") place[last] = value;
  else if (Array.isArray(place)) place.splice(Number(last), 1);
  else delete place[last];
  changed(remake);
}

// Change several things at once; the form is made anew.
export function edit(work) {
  work(tables);
  changed(true);
}

function changed(remake) {
  localStorage.setItem(KEPT, JSON.stringify(tables));
  for (const listener of heard) listener(remake);
}
