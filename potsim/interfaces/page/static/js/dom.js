// Making elements: h("button", {class: "go", onclick}, "text", child).
const SVG = "http://www.w3.org/2000/svg";

function dress(element, props) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "selected") element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  return element;
}

export function h(tag, props, ...children) {
  const element = dress(document.createElement(tag), props);
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
}

export function s(tag, props, ...children) {
  const element = dress(document.createElementNS(SVG, tag), props);
  element.append(...children.flat().filter(Boolean));
  return element;
}

export const $ = (selector, root = document) => root.querySelector(selector);

let last = 0;
export const newId = (stem) => `${stem}-${++last}`;

// What a screen reader says once things have come to rest.
let waiting;
export function speak(text, after = 900) {
  clearTimeout(waiting);
  waiting = setTimeout(() => { $("#spoken").textContent = text; }, after);
}

// Make a part anew under someone's hands: what had the focus has it afterwards, with what was typed.
export function anew(root, ...children) {
  const held = root.contains(document.activeElement) ? document.activeElement : null;
  const label = held?.getAttribute("aria-label");
  root.replaceChildren(...children.filter(Boolean));
  const twin = label && [...root.querySelectorAll("[aria-label]")].find((one) => one.getAttribute("aria-label") === label);
  if (!twin) return;
  if (twin instanceof HTMLInputElement && held.value) twin.value = held.value;
  twin.focus();
}

// As wide as what stands in it, about; where lines wrap, a long one takes a line of its own.
export const roomFor = (input) => { input.style.flexBasis = `${(0.46 * input.value.length + 1.4).toFixed(1)}em`; };
