// The page: five places above, the one that is open below; nothing else is decided here.
import { $, el, swap } from "./dom.js";
import * as alarms from "./alarms.js";
import { isHere } from "./api.js";
import { everySecond, minutesSince } from "./clock.js";
import { restore } from "./draft.js";
import { begin, held, listen, onChange, runSeen, useUnits } from "./held.js";
import { orderOf } from "./order.js";
import { kept } from "./store.js";
import { useTheme } from "./theme.js";
import { undoElsewhere } from "./undo.js";
import { words } from "./words.js";

const places = {
  shelf: () => import("./shelf.js"), plan: () => import("./plan.js"), now: () => import("./now.js"),
  pour: () => import("./pour.js"), trials: () => import("./trials.js"),
};
let shown = null;
let units = () => null; // of what the open place shows
let turn = 0;

const here = () => location.hash.slice(2).split("/")[0] || "shelf";
const go = (place) => { if (here() === place) show(); else location.hash = `/${place}`; };

function navigation() {
  const live = held.run?.heat_ms && !held.run.off_ms;
  swap($("#places"), words.places.map(([name, label]) => el("a", {
    href: `#/${name}`, "data-key": name, "aria-current": name === here() ? "page" : null,
  }, name === "now" && live ? el("i", { class: "dot", role: "img", "aria-label": "a run is on" }) : "", label)));
}

async function show() {
  const mine = (turn += 1);
  const place = places[here()] ? here() : "shelf";
  const module = await places[place]();
  if (mine !== turn) return;
  shown?.close?.();
  units = module.units ?? (() => null);
  useUnits(units());
  undoElsewhere(() => false);
  document.body.dataset.place = place;
  const host = $("#main");
  host.replaceChildren();
  shown = module.show(host, { go });
  navigation();
  scrollTo(0, 0);
}

// The alarm goes on wherever you are in the page.
function watch() {
  const view = runSeen();
  if (!view?.heat_ms) { alarms.stopCalling(); return; }
  alarms.follow(orderOf(view, minutesSince(view.heat_ms)));
}

// Without a service worker only the laptop can load the page anew: as long as it is away, a reload asks first.
addEventListener("beforeunload", (event) => {
  const live = held.run?.heat_ms && !held.run.off_ms;
  if (live && !isHere() && !navigator.serviceWorker?.controller) event.preventDefault();
});

async function start() {
  useTheme(kept("theme"));
  document.documentElement.classList.toggle("left", kept("left", false));
  try {
    await begin();
  } catch (error) {
    $("#main").replaceChildren(el("p", { class: "alone", text: error.message }));
    setTimeout(start, 3000);
    return;
  }
  restore();
  listen();
  let untouched = !location.hash;
  const toLive = () => { if (untouched && held.run?.heat_ms && !held.run.off_ms) { untouched = false; go("now"); } };
  onChange((what) => { useUnits(units()); if (what === "run" || what === "outbox") navigation(); if (what === "run") toLive(); });
  addEventListener("hashchange", () => { untouched = false; show(); });
  addEventListener("pointerdown", () => { untouched = false; }, { once: true });
  await show();
  toLive();
  everySecond(watch);
  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register("/sw.js").then(() => navigator.serviceWorker.ready)
      .then((worker) => worker.active?.postMessage("fill")).catch(() => {});
  }
}

start();
