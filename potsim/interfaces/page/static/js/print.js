// One page to print beside the still: the sheet that the server makes, laid under this page for the printer only.
import * as api from "./api.js";
import { el } from "./dom.js";
import { done } from "./undo.js";

export async function printSheet(asked) {
  let html;
  try { html = await api.text("/api/sheet", asked); } catch (error) { done(error.message, null, { second: error.hint }); return; }
  const made = new DOMParser().parseFromString(html, "text/html");
  document.querySelector("#print")?.remove();
  const host = el("div", { id: "print" });
  const root = host.attachShadow({ mode: "open" });
  const style = new CSSStyleSheet();
  style.replaceSync([...made.querySelectorAll("style")].map((one) => one.textContent).join("\n").replace(/\bbody\b/g, ":host"));
  root.adoptedStyleSheets = [style];
  for (const one of made.querySelectorAll("[style]")) one.style.cssText = one.getAttribute("style");
  root.append(...made.body.childNodes);
  document.body.append(host);
  const title = document.title;
  document.title = made.title || title;
  addEventListener("afterprint", () => { host.remove(); document.title = title; }, { once: true });
  print();
}
