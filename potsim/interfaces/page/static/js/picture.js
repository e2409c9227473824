// The whole picture and its thread: a finger, a mouse or the slider below it reads any moment off.
import { h, newId, s } from "./dom.js";
import { curve } from "./curve.js";
import { Axis, LEFT, RIGHT, niceEnd } from "./scale.js";
import { JAR_HEIGHT, RIBBON_HEIGHT, hatches, jars, ribbons } from "./strips.js";
import * as words from "./words.js";

const FINE = 1000; // steps of the slider, the whole run
const SHOWN = 0.35; // of its most; from there a botanical counts as coming over

export class Picture {
  constructor(extra = () => []) {
    this.extra = extra;
    this.name = newId("picture");
    this.read = h("p", { class: "readout", "aria-hidden": "true" });
    this.svg = s("svg", { class: "curve", role: "img", "aria-label": "Strength against distillate" });
    this.strip = s("svg", { class: "strip", "aria-hidden": "true" });
    this.slider = h("input", { type: "range", class: "moment", min: 0, max: FINE, step: FINE / 200, "aria-label": "Moment of the run" });
    this.root = h("figure", { class: "picture" }, this.read, this.svg, this.slider);
    this.below = h("div", { class: "below" }, this.strip);
    this.thread = [s("line", { class: "thread" }), s("line", { class: "thread" })];
    this.dots = ["stream", "pooled", "pot"].map((name) => s("circle", { class: `dot ${name}`, r: 4.5 }));
    this.slider.addEventListener("input", () => this.pick(this.nearest((this.slider.value / FINE) * this.reply.run.stop.collected_l)));
    for (const svg of [this.svg, this.strip]) {
      const point = (event) => this.point(event);
      svg.addEventListener("pointermove", point);
      svg.addEventListener("pointerdown", point);
      svg.addEventListener("pointerleave", (event) => event.pointerType === "mouse" && this.pick(null));
    }
    new ResizeObserver(() => this.reply && this.draw(this.reply, this.beside)).observe(this.root);
  }

  draw(reply, beside) {
    this.reply = reply;
    this.beside = beside;
    const width = this.root.clientWidth;
    if (!width) return;
    const tall = width > 620 ? Math.min(380, Math.round(width * 0.46)) : 214;
    const axis = new Axis(niceEnd(reply.run.stop.collected_l), width);
    const drawn = curve(reply, beside, axis, tall - JAR_HEIGHT - 4);
    this.axis = axis;
    this.y = drawn.y;
    size(this.svg, width, tall);
    this.svg.replaceChildren(hatches(this.name), ...drawn.parts.flat().filter(Boolean),
      jars(reply.run, axis, tall - JAR_HEIGHT - 2, this.name), ...this.extra(axis, drawn.y), drawn.ends, this.thread[0], ...this.dots);
    this.svg.setAttribute("aria-label", described(reply.run));
    const rows = reply.ribbons ?? [];
    size(this.strip, width, rows.length * RIBBON_HEIGHT + 6);
    this.strip.replaceChildren(ribbons(rows, axis), this.thread[1]);
    this.slider.style.marginLeft = `${LEFT - 8}px`;
    this.slider.style.width = `${axis.x(reply.run.stop.collected_l) - LEFT + 16}px`;
    this.pick(this.chosen ?? null);
  }

  point(event) {
    const x = event.clientX - this.svg.getBoundingClientRect().left;
    this.pick(this.nearest(this.axis.litres(x)));
  }

  nearest(litres) {
    const { collected_l: at } = this.reply.run.curve;
    let best = 0;
    at.forEach((v, k) => { if (Math.abs(v - litres) < Math.abs(at[best] - litres)) best = k; });
    return best;
  }

  pick(k) {
    const { run } = this.reply;
    const none = k === null;
    this.chosen = none ? null : Math.min(k, run.curve.collected_l.length - 1);
    for (const mark of [...this.thread, ...this.dots]) mark.classList.toggle("gone", none);
    const index = none ? run.curve.collected_l.length - 1 : this.chosen;
    const now = Object.fromEntries(Object.entries(run.curve).map(([name, values]) => [name, values[index]]));
    if (document.activeElement !== this.slider || none) this.slider.value = (FINE * now.collected_l) / run.stop.collected_l;
    this.slider.setAttribute("aria-valuetext", `${words.volume(now.collected_l)}: ${facts(now, run).map(([a, b]) => `${a} ${b}`).join(", ")}`);
    if (none) {
      this.read.replaceChildren(h("span", { class: "hint" }, "Touch the curve, or move the slider below it, to read any moment off."));
      return;
    }
    const x = this.axis.x(now.collected_l);
    this.thread.forEach((line, n) => place(line, { x1: x, x2: x, y1: n ? 0 : 22, y2: n ? 2000 : 400 }));
    [now.stream_abv, now.mean_abv, now.pot_abv].forEach((abv, n) => place(this.dots[n], { cx: x, cy: this.y(abv) }));
    this.read.replaceChildren(h("b", null, words.volume(now.collected_l)), ...facts(now, run).map(([name, value]) =>
      h("span", null, `${name} `, h("b", null, value))), coming(this.reply.ribbons, now.collected_l));
  }
}

function facts(now, run) {
  const jar = run.jars.find((one) => now.collected_l <= one.to_l + 1e-9);
  return [
    ["stream", words.abv(now.stream_abv)], ["pooled", words.abv(now.mean_abv)],
    ["pot", `${words.abv(now.pot_abv)}, ${words.degrees(now.pot_c)}`], ["vapour", words.degrees(now.vapour_c)],
    ["minute", String(Math.round(now.elapsed_min))], ...(jar ? [["jar", String(jar.number)]] : []),
  ];
}

function coming(list, litres) {
  const strong = (list ?? []).filter((one) => {
    const k = one.collected_l.findIndex((v) => v >= litres - 1e-9);
    return k >= 0 && one.strength[k] > SHOWN;
  });
  return strong.length ? h("span", { class: "coming" }, strong.map((one) => one.botanical).join(", ")) : "";
}

function described(run) {
  const { stop } = run;
  return `Strength against distillate. The stream falls from ${words.abv(run.curve.stream_abv[0])} to ${words.abv(stop.stream_abv)} `
    + `at the stop, ${words.volume(stop.collected_l)} and minute ${Math.round(stop.elapsed_min)}; all collected has ${words.abv(stop.mean_abv)}. `
    + `The pot is left with ${words.abv(stop.pot_abv)}.`;
}

function size(svg, width, height) {
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("width", width);
  svg.setAttribute("height", height);
}

const place = (element, values) => Object.entries(values).forEach(([name, value]) => element.setAttribute(name, value));
export { RIGHT };
