// One page to print beside the still: the sheet that the server makes, laid under this page for the printer only.
import * as api from "./api.js";
import { el } from "./dom.js";
import { done } from "./undo.js";

export async function printSheet(asked) {
  let html;
  try { html = await api.text("/api/sheet", asked); } catch (error) { done(error.message, null, { second: error.hint }); return; }
  const [before, css, after] = html.split(/<\/?style>/); // the style becomes a sheet of its own: none may stand inline
  const made = new DOMParser().parseFromString(before + after, "text/html");
  document.querySelector("#print")?.remove();
  const host = el("div", { id: "print" });
  const root = host.attachShadow({ mode: "open" });
  const style = new CSSStyleSheet();
  style.replaceSync(css.replace(/\bbody\b/g, ":host"));
  root.adoptedStyleSheets = [style];
  root.append(...made.body.childNodes);
  document.body.append(host);
  const title = document.title;
  document.title = made.title || title;
  addEventListener("afterprint", () => { host.remove(); document.title = title; }, { once: true });
  print();
}
