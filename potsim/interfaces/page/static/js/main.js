// The page: its stages, its light, and what it begins with.
import { $, h } from "./dom.js";
import * as api from "./api.js";
import * as before from "./before.js";
import * as during from "./during.js";
import * as after from "./after.js";

const STAGES = { before: null, during, after };

function theme() {
  const root = document.documentElement;
  const kept = localStorage.getItem("potsim.light");
  if (kept) root.dataset.light = kept;
  const dark = () => (root.dataset.light ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  const button = $("#theme");
  const say = () => button.setAttribute("aria-label", dark() ? "Switch to light" : "Switch to dark");
  button.addEventListener("click", () => {
    root.dataset.light = dark() ? "light" : "dark";
    localStorage.setItem("potsim.light", root.dataset.light);
    say();
  });
  say();
}

export function show(stage, focus = true) {
  for (const name of Object.keys(STAGES)) $(`#${name}`).hidden = name !== stage;
  for (const button of document.querySelectorAll("[data-stage]")) {
    if (button.dataset.stage === stage) button.setAttribute("aria-current", "page");
    else button.removeAttribute("aria-current");
  }
  localStorage.setItem("potsim.stage", stage);
  document.body.dataset.stage = stage;
  STAGES[stage]?.shown();
  if (focus) scrollTo(0, 0);
}

async function begin() {
  theme();
  for (const button of document.querySelectorAll("[data-stage]")) button.addEventListener("click", () => show(button.dataset.stage));
  const start = await api.get("/api/start");
  during.setUp($("#during"), { toAfter: () => show("after"), toBefore: () => show("before") });
  after.setUp($("#after"), { toBefore: () => show("before"), toDuring: () => show("during") });
  await before.setUp($("#before"), start, async (plan) => {
    await during.begin(plan);
    show("during");
  });
  const kept = localStorage.getItem("potsim.stage");
  show(kept in STAGES ? kept : "before", false);
}

begin().catch((error) => {
  $("#main").prepend(h("p", { class: "trouble", role: "alert" }, error.message, " ", h("button", { type: "button", onclick: () => location.reload() }, "Try again")));
});
