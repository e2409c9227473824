// Pour: which jars go in, what is in the jug, how much water; then what it tasted of and the next trial.
import * as api from "./api.js";
import { TICK, button, el, icon, swap } from "./dom.js";
import { askForgotten } from "./forgotten.js";
import { figure, parted, said } from "./formats.js";
import { held, onChange, runSeen, tableOf } from "./held.js";
import { notedList } from "./noted.js";
import { takeBack, tell } from "./outbox.js";
import { pad } from "./pad.js";
import { printSheet } from "./print.js";
import { read, taste } from "./reading.js";
import { sheet } from "./sheet.js";
import { stripIn } from "./strip.js";
import { tasting } from "./tasting.js";
import { done } from "./undo.js";
import { words } from "./words.js";

const OVER = new Set(["over", "safe", "out"]);

export const units = () => held.run?.units ?? null;

export function show(host, { go }) {
  let inner = null;
  const draw = () => {
    const kind = runSeen()?.heat_ms ? held.run.id : "none";
    if (inner?.kind === kind) return;
    inner?.close?.();
    host.replaceChildren();
    inner = { ...pouring(host, go), kind };
  };
  const stop = onChange((what) => { if (what === "run" || what === "outbox") draw(); });
  draw();
  return { close: () => { stop(); inner.close?.(); } };
}

function pouring(host, go) {
  const view0 = runSeen();
  if (!view0 || !view0.heat_ms) {
    host.append(el("section", { class: "place" }, el("h1", { class: "order", text: words.nothingOver }), el("p", { class: "caption", text: "Jars that are full come here to be tasted, chosen and poured." }),
      el("div", { class: "acts" }, button(view0 ? "To the still" : "To the shelf", () => go(view0 ? "now" : "shelf"), { class: "main" }))));
    return {};
  }
  const parts = { head: el("div", { class: "pour-head" }), strip: el("div", { class: "strip-host" }), asked: el("div", { class: "trouble" }), jars: el("ul", { class: "jars" }), jug: el("div", { class: "jug" }), after: el("div", { class: "after" }), acts: el("div", { class: "acts on-soft" }) };
  host.append(el("section", { class: "place pour" }, el("div", { class: "pour-grid" }, el("div", null, parts.head, parts.strip, parts.asked, parts.jars), el("div", null, parts.jug, parts.after)), parts.acts));
  let view = view0;
  let pour = view.pour;
  let asked = 0;
  const fresh = (kind) => view.fresh.filter((one) => one.kind === kind).pop();
  const chosenLast = () => fresh("pool")?.jars;
  const measuredNow = () => {
    const told = fresh("measured");
    if (told) return told;
    const m = pour?.measured ?? view.pour?.measured;
    if (!m) return null;
    return { mass: m.mass_g ? said("mass", m.mass_g) : null, strength: m.abv === null ? null : said("abv", m.abv), temperature: m.at_c === null ? null : said("temperature", m.at_c) };
  };
  let chosen = new Set(chosenLast() ?? pour?.jars ?? view.strip.jars.filter((jar) => jar.role === "keep").map((jar) => jar.n));

  const jarsHere = () => view.strip.jars.filter((jar) => OVER.has(jar.state));
  const poured = () => ({ ...view.strip, jars: jarsHere().map((jar) => (jar.role === "heads" && !chosen.has(jar.n) ? jar : { ...jar, state: chosen.has(jar.n) ? "over" : "out", role: jar.role === "heads" ? "keep" : jar.role })) });
  const strip = stripIn(parts.strip, () => ({ strip: poured(), height: 150, topRoom: 6, axisRoom: 36, band: false }));

  function toggle(n) {
    const next = new Set(chosen);
    if (!next.delete(n)) next.add(n);
    if (!next.size) { done("One jar at least goes in.", null); return; }
    chosen = next;
    const id = tell(view.id, "pool", { jars: [...chosen].sort((a, b) => a - b) });
    done(`Jar ${n} ${chosen.has(n) ? "goes in" : "stays out"}`, () => { takeBack(view.id, id); chosen = new Set(chosenLast() ?? pour?.jars ?? []); reckon(); });
    draw();
    reckon();
  }

  async function reckon() {
    const mine = (asked += 1);
    try {
      const found = await api.get(`/api/runs/${encodeURIComponent(view.id)}/pour?jars=${[...chosen].join(",")}`);
      if (mine === asked) { pour = found; draw(); }
    } catch (error) { if (mine === asked && error instanceof api.Refused) { swap(parts.jug, el("p", { class: "fault", text: `${error.message} ${error.hint}` })); } }
  }

  const jarRow = (jar) => el("li", { class: chosen.has(jar.n) ? "in" : "" },
    el("button", { type: "button", class: "jar-tick", role: "checkbox", "aria-checked": String(chosen.has(jar.n)), "aria-label": `jar ${jar.n}`, "data-key": `in${jar.n}`, on: { click: () => toggle(jar.n) } }, el("span", { class: "box" }, icon(TICK)), el("b", { text: String(jar.n) })),
    el("button", { type: "button", class: "jar-word", "data-key": `word${jar.n}`, "aria-label": `jar ${jar.n}: a word`, on: { click: () => taste(view, jar) } }, jar.word ? `“${jar.word}”` : jar.role === "heads" ? "heads" : (jar.leads ?? []).slice(0, 2).join(", ") || "–"),
    el("span", { class: "jar-volume", text: said("volume", jar.measured_l ?? jar.volume_l) }),
    el("button", { type: "button", class: "jar-abv", "data-key": `abv${jar.n}`, "aria-label": `jar ${jar.n}: measure`, on: { click: () => read(view, { where: { jar: jar.n } }) } }, jar.measured_abv !== null && jar.measured_abv !== undefined
      ? [el("b", { text: said("abv", jar.measured_abv) }), el("small", { text: said("abv", jar.abv) })] : el("span", { text: said("abv", jar.abv) })));

  function measure(first) {
    const m = measuredNow() ?? {};
    const units = { mass: ["g", "oz"], strength: tableOf("bottling")?.fields.find((f) => f.key === "abv")?.units ?? ["%"], temperature: ["°C", "°F"] };
    const labels = { mass: "mass", strength: "strength", temperature: "at" };
    const keys = ["mass", "strength", "temperature"];
    pad({
      title: "In the jug", lead: el("h2", { text: "In the jug, measured" }), first, chain: true,
      fields: keys.map((key) => { const parts0 = parted(m[key]); return { key, label: labels[key], kind: key === "mass" ? "mass" : key === "strength" ? "abv" : "temperature", units: units[key], unit: parts0?.unit, value: parts0?.number ?? "" }; }),
      actWords: () => "Keep",
      accept: (values) => {
        if (!values.strength) throw new Error("The strength is needed.");
        const id = tell(view.id, "measured", values);
        done("Measured", () => takeBack(view.id, id));
      },
    });
  }

  const boxed = (key, unit, k, kind) => {
    const m = measuredNow();
    const parts0 = parted(m?.[key]);
    return el("button", { type: "button", class: "box-field", "data-key": `jug${key}`, "aria-label": `${kind}: ${m?.[key] ?? "not measured"}`, on: { click: () => measure(k) } }, el("b", { text: parts0?.number ?? "" }), el("span", { text: parts0?.unit ?? unit }));
  };

  function jug() {
    if (!pour) { swap(parts.jug); return; }
    const { pool, water, measured } = pour;
    if (!water) { swap(parts.jug, el("div", { class: "jug-head" }, el("h2", { text: "Poured together" }), el("span", { text: `${said("volume", pool.volume_l)}, ${said("abv", pool.abv)}` })), el("p", { class: "water-words", text: pour.text ?? "" })); return; }
    const rest = water.in_g ? Math.max(0, water.first_g) : null;
    const band = !measured && rest === null;
    const number = band ? `${figure("water", water.first_low_g ?? water.low_g)}–${figure("water", water.first_high_g ?? water.high_g)}` : figure("water", water.first_g);
    swap(parts.jug, el("div", { class: "jug-head" }, el("h2", { text: measured ? "In the jug, measured" : "In the jug: measure it" }), el("span", { text: `forecast ${said("volume", pool.volume_l)}, ${said("abv", pool.abv)}` })),
      el("div", { class: "trio" }, boxed("mass", "g", 0, "mass"), boxed("strength", "%", 1, "strength"), boxed("temperature", "°C", 2, "temperature")),
      el("h2", { text: pour.weak ? "No water" : rest !== null ? "Still to pour in" : words.firstWater(water.total_g ? water.first_g / water.total_g : 1) }),
      el("div", { class: "water" }, el("p", { class: band ? "water-number band" : "water-number" }, el("b", { text: number }), el("span", { text: " g" })),
        el("p", { class: "water-words" }, band ? el("b", { text: `The whole is ${said("water", water.total_g)} by forecast. ` }) : "", pour.text ?? "")));
  }

  function acts() {
    const water = pour?.water;
    const amount = water ? water.first_g : null;
    swap(parts.acts, button("Noted", () => sheet("Noted", notedList(runSeen())), { class: "quiet" }), button("Print", () => printSheet({ run: view.id }), { class: "quiet" }),
      button(amount !== null && amount < 0.5 ? "Bottled" : "Water is in", () => {
        if (amount !== null && amount < 0.5) { const id = tell(view.id, "bottled", { count: pour.bottles }); done(`${pour.bottles} bottled`, () => takeBack(view.id, id)); return; }
        pad({
          title: "Water is in", lead: el("h2", { text: "Water poured in" }), fields: [{ key: "mass", label: "water", kind: "mass", units: ["g", "oz"], unit: "g", value: amount === null ? "" : figure("water", amount) }],
          actWords: ({ mass }) => `Note ${mass ?? "–"}`, accept: ({ mass }) => { if (!mass) throw new Error("How much?"); const id = tell(view.id, "water", { mass }); done(`${mass} of water`, () => takeBack(view.id, id)); },
        });
      }, { class: "main", "data-key": "water" }));
  }

  function draw() {
    swap(parts.head, el("h1", { text: "Which jars go in?" }), el("span", { class: "caption", text: pour ? `pool ± ${said("abv", pour.pool.abv_pm)}` : "" }));
    strip.draw();
    swap(parts.asked, view.off_ms ? askForgotten(view, view.strip.end_l) : "");
    swap(parts.jars, jarsHere().length ? jarsHere().map(jarRow) : el("li", { class: "caption", text: words.nothingOver }));
    jug();
    acts();
  }

  const drawAfter = () => swap(parts.after, tasting(view, { go }));
  const stop = onChange((what) => {
    if (what !== "run" && what !== "outbox") return;
    const before = view.version;
    view = runSeen() ?? view;
    if (what === "run" && view.version !== before) { pour = view.pour ?? pour; reckon(); drawAfter(); }
    draw();
  });
  draw();
  drawAfter();
  reckon();
  return { close: () => { stop(); strip.end(); } };
}
