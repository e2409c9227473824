// Works offline once opened: the page's own files are kept on the device, data comes fresh whenever it can.
const SHELF = "potsim-files";

async function fill() {
  const { version, files } = await (await fetch("/api/files", { cache: "no-store" })).json();
  const shelf = await caches.open(SHELF);
  const held = await shelf.match("/api/files");
  if (held && (await held.json()).version === version) return;
  await shelf.addAll(files.map((path) => new Request(path, { cache: "no-cache" })));
  await shelf.put("/api/files", new Response(JSON.stringify({ version })));
}

async function fromNetFirst(request, key) {
  const shelf = await caches.open(SHELF);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) await shelf.put(key, answer.clone());
    return answer;
  } catch (error) {
    const held = await shelf.match(key);
    if (held) return held;
    throw error;
  }
}

self.addEventListener("install", (event) => event.waitUntil(fill().catch(() => {}).then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(fill().catch(() => {})));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate" && url.pathname === "/") event.respondWith(fromNetFirst(request, "/"));
  else if (url.pathname.startsWith("/static/") || url.pathname === "/manifest.webmanifest") {
    event.respondWith(fromNetFirst(request, url.pathname));
  }
});
