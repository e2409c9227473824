// More is over than the jar under the spout can hold: were the jars changed, and nobody noted it?
import { now } from "./clock.js";
import { button, el } from "./dom.js";
import { said } from "./formats.js";
import { tellAll } from "./held.js";
import { takeBack, tell } from "./outbox.js";
import { keep, kept } from "./store.js";
import { done } from "./undo.js";
import { words } from "./words.js";

const CLEARLY = 2; // times what the jar holds
const DONE = new Set(["over", "safe", "out"]);

// Changes that were due by the plan and were not noted, of a run of which so much is over.
function forgotten(view, nowL) {
  const noted = view.fresh.filter((one) => one.kind === "jar").map((one) => one.n);
  const open = (view.changes ?? []).filter((one) => !noted.includes(one.jar));
  const jar = view.strip.jars.find((one) => one.n === open[0]?.jar);
  if (!jar || (DONE.has(jar.state) && !view.off_ms) || nowL - jar.from_l < CLEARLY * jar.size_l) return null;
  return { jar, past: open.filter((one) => one.l <= nowL) };
}

// The question, or nothing: yes notes each jar at its time by the forecast, no leaves all in the one jar.
export function askForgotten(view, nowL) {
  const found = forgotten(view, nowL);
  const answered = `notchanged${view.id}`;
  if (!found?.past.length || kept(answered) === found.jar.n) return "";
  const { jar, past } = found;
  const name = words.jars(past.map((one) => one.jar));
  const yes = () => {
    const safe = (n) => (view.working && (view.strip.jars.find((one) => one.n === n)?.role ?? "keep") === "keep" ? false : null);
    const ids = past.map((one) => tell(view.id, "jar", { n: one.jar, volume: null, left_out: safe(one.jar), saw: one.jar - 1 }, Math.min(Date.now(), view.heat_ms + 60_000 * one.min + Date.now() - now())));
    done(words.capital(`${name} noted as planned`), () => ids.forEach((id) => takeBack(view.id, id)));
  };
  const no = () => { keep(answered, jar.n); tellAll("run"); };
  return el("div", { class: "edge forgotten", role: "status" }, el("p", { text: words.forgotten(jar.n, said("volume", nowL - jar.from_l)) }),
    el("div", { class: "chips" }, button(`Yes: ${name}`, yes, { class: "chip", "data-key": "changed" }), button("No", no, { class: "chip", "data-key": "notchanged" })));
}
