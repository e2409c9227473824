// Speaking with the server: the token of this page, refusals, and what to do when nobody answers.
import { $ } from "./dom.js";

let token = null;
let away = false;

export class Refused extends Error {
  constructor({ message, hint = "", path = "" }) {
    super(hint ? `${message} ${hint}` : message);
    this.path = path;
  }
}
export class Away extends Error {}

function reachable(yes) {
  if (away === !yes) return;
  away = !yes;
  $("#link").textContent = away ? "No connection. Nothing is lost; trying again." : "";
  document.body.classList.toggle("away", away);
}

async function ask(path, options, tries = 3) {
  let answer;
  try {
    answer = await fetch(path, { cache: "no-store", ...options });
  } catch {
    reachable(false);
    throw new Away("The server does not answer.");
  }
  reachable(true);
  if (tries && (answer.status === 429 || answer.status === 503)) {
    await new Promise((resolve) => setTimeout(resolve, 400));
    return ask(path, options, tries - 1);
  }
  return answer;
}

async function hello() {
  const answer = await ask("/api/hello");
  // Not known any more: the server was started anew. The page itself brings a new session.
  if (answer.status === 401) {
    const page = await ask("/");
    if (page.redirected) location.assign("/code");
    token = (await (await ask("/api/hello")).json()).token;
    return;
  }
  token = (await answer.json()).token;
}

async function send(path, body) {
  if (!token) await hello();
  const post = () => ask(path, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Potsim-Token": token },
    body: JSON.stringify(body),
  });
  let answer = await post();
  if (answer.status === 401 || answer.status === 403) {
    await hello();
    answer = await post();
  }
  return answer;
}

async function unpack(answer) {
  const data = await answer.json();
  if (data.refused) throw new Refused(data.refused);
  return data;
}

export const post = async (path, body) => unpack(await send(path, body));

export async function get(path) {
  if (!token) await hello();
  let answer = await ask(path);
  if (answer.status === 401) {
    await hello();
    answer = await ask(path);
  }
  return unpack(answer);
}

// Have the server make a file, and save it.
export async function download(path, body) {
  const answer = await send(path, body);
  const kind = answer.headers.get("content-type") ?? "";
  if (kind.startsWith("application/json")) return unpack(answer);
  const name = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") ?? "")?.[1] ?? "potsim";
  const url = URL.createObjectURL(await answer.blob());
  const anchor = document.createElement("a");
  anchor.href = url;
  anchor.download = name;
  anchor.click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
  return name;
}
