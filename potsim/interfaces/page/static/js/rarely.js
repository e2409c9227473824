// What is rarely said of a reading: in what the strength was read, when, and what the condenser holds back.
import { h, newId } from "./dom.js";
import * as journey from "./journey.js";

const KEPT = "potsim.sample"; // a parrot stays for the whole run
const SAMPLES = { stream: "the stream", parrot: "a parrot", jar: "a full jar" };
export const withUnit = (text, unit) => (/^[\d.,]+$/.test(text) ? `${text} ${unit}` : text);

function kept() {
  try {
    return { of: "stream", size: "", ...JSON.parse(localStorage.getItem(KEPT)) };
  } catch {
    return { of: "stream", size: "" };
  }
}

export function makeRarely(others, changed) {
  const sample = kept();
  const pick = h("select", { id: newId("sample") }, Object.entries(SAMPLES).map(([of, name]) => h("option", { value: of }, name)));
  const line = (label, input) => h("div", { class: "field" }, h("label", { for: input.id }, label), input);
  const text = (placeholder) => h("input", { type: "text", id: newId("rarely"), placeholder, autocomplete: "off", enterkeyhint: "done" });
  const size = text("60 mL");
  const minute = text("now");
  const held = text("not known");
  const holds = line("It holds", size);
  const summary = h("summary");
  const root = h("details", { class: "more rarely" }, summary, h("div", { class: "inside" }, others,
    line("Strength is read in", pick), holds, line("Minute of the reading", minute), line("The condenser holds back", held)));
  pick.value = sample.of;
  size.value = sample.size;
  const say = () => {
    Object.assign(sample, { of: pick.value, size: size.value.trim() });
    localStorage.setItem(KEPT, JSON.stringify(sample));
    holds.hidden = sample.of === "stream";
    summary.textContent = sample.of === "stream" ? "more" : `more: strength is read in ${SAMPLES[sample.of]}${sample.size && ` of ${withUnit(sample.size, "mL")}`}`;
    changed();
  };
  pick.addEventListener("change", say);
  size.addEventListener("input", say);
  held.addEventListener("change", () => journey.tell({ kind: "hold_up", volume: withUnit(held.value.trim(), "mL") }));
  say();
  return {
    root,
    of: () => sample.of,
    refresh() { if (document.activeElement !== held) held.value = journey.now.state?.hold_up ?? ""; },
    // What goes with a reading; the minute is only of this one.
    beside(strength) {
      const told = {};
      if (strength && sample.of === "parrot") told.of = `parrot ${withUnit(sample.size, "mL")}`.trim();
      if (strength && sample.of === "jar") Object.assign(told, { of: "jar", "jar volume": withUnit(sample.size, "mL") });
      if (minute.value.trim()) told.time = withUnit(minute.value.trim(), "min");
      minute.value = "";
      return told;
    },
  };
}
