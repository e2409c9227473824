// The page on the phone: a square to scan, made by the server.
import * as api from "./api.js";
import { button, el, svg, swap } from "./dom.js";
import { sheet } from "./sheet.js";

function square(rows) {
  const n = rows.length;
  const dark = rows.flatMap((row, y) => [...row].map((one, x) => (one === "1" ? `M${x + 4} ${y + 4}h1v1h-1z` : ""))).join("");
  return svg("svg", { class: "qr", viewBox: `0 0 ${n + 8} ${n + 8}`, role: "img", "aria-label": "Square to scan with the phone" },
    svg("rect", { width: n + 8, height: n + 8, class: "qr-light" }), svg("path", { d: dark, class: "qr-dark" }));
}

export async function onMyPhone() {
  const shown = sheet("On my phone", []);
  await draw(shown);
}

async function draw(shown) {
  let content;
  try {
    const found = await api.get("/api/phone");
    const turn = (on) => button(on ? "Open it to the home network" : "Close it again", async () => {
      try { await api.post("/api/phone", { on }); } catch (error) { swap(shown.body, el("p", { class: "fault", text: [error.message, error.hint].filter(Boolean).join(" ") })); return; }
      draw(shown);
    }, { class: on ? "main" : "quiet" });
    content = [found.rows?.length && found.reachable ? square(found.rows) : "", found.reachable ? el("p", { class: "address", text: found.url }) : "", found.reachable ? turn(false) : el("p", { text: "Now only this computer reaches the page. Opened, whoever is in your home network and has the square reaches it; what is sent is not encrypted." }), found.reachable || found.can === false ? "" : turn(true),
      found.reachable ? el("p", { class: "caption", text: "The phone must be in the same network. It stays let in, also when potsim is started anew. What goes between them is not encrypted, so that a browser keeps no copy of the page there and may let its screen go dark: leave the page open and set the phone to stay on." }) : ""];
  } catch (error) {
    content = el("p", { text: error.message });
  }
  swap(shown.body, content);
}
