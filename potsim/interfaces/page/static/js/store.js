// What this device keeps: small things by name, in the browser's own storage; in memory if that is refused.
const BEFORE = "potsim.";
const memory = new Map();
let firm = true;

export const isFirm = () => firm;

export function keep(name, value) {
  const text = JSON.stringify(value);
  memory.set(name, text);
  try {
    localStorage.setItem(BEFORE + name, text);
    return true;
  } catch {
    firm = false;
    return false;
  }
}

export function kept(name, otherwise = null) {
  try {
    const text = localStorage.getItem(BEFORE + name) ?? memory.get(name);
    return text === undefined || text === null ? otherwise : JSON.parse(text);
  } catch {
    return otherwise;
  }
}

export function drop(name) {
  memory.delete(name);
  try { localStorage.removeItem(BEFORE + name); } catch { firm = false; }
}

export function names(beginning) {
  const found = new Set([...memory.keys()].filter((name) => name.startsWith(beginning)));
  try {
    for (let k = 0; k < localStorage.length; k += 1) {
      const name = localStorage.key(k);
      if (name.startsWith(BEFORE + beginning)) found.add(name.slice(BEFORE.length));
    }
  } catch { firm = false; }
  return [...found];
}

// Another tab of this device changed something whose name begins so.
export const onOtherTab = (beginning, react) => addEventListener("storage", (event) => {
  if (event.key?.startsWith(BEFORE + beginning)) react();
});

export const device = () => kept("device", /Mobi|Android|iPhone/.test(navigator.userAgent) ? "phone" : "laptop");
