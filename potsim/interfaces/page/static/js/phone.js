// The page on the phone: a square to scan, made by the server.
import * as api from "./api.js";
import { el, svg } from "./dom.js";
import { sheet } from "./sheet.js";

function square(rows) {
  const n = rows.length;
  const dark = rows.flatMap((row, y) => [...row].map((one, x) => (one === "1" ? `M${x + 4} ${y + 4}h1v1h-1z` : ""))).join("");
  return svg("svg", { class: "qr", viewBox: `0 0 ${n + 8} ${n + 8}`, role: "img", "aria-label": "Square to scan with the phone" },
    svg("rect", { width: n + 8, height: n + 8, class: "qr-light" }), svg("path", { d: dark, class: "qr-dark" }));
}

export async function onMyPhone() {
  let content;
  try {
    const found = await api.get("/api/phone");
    content = [found.rows?.length && found.reachable ? square(found.rows) : "", found.reachable ? el("p", { class: "address", text: found.url }) : "", found.text ? el("p", { text: found.text }) : "",
      found.reachable ? el("p", { class: "caption", text: "The phone must be in the same network. It stays let in, also when potsim is started anew." }) : ""];
  } catch (error) {
    content = el("p", { text: error.message });
  }
  sheet("On my phone", content);
}
