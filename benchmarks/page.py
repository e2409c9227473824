"""The page beside a bare page: a dragged grip to the redrawn strip, the start to the first page.

The bare page is of the same libraries: a slider, a request, a number drawn.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator

from playwright.sync_api import Page, sync_playwright

from benchmarks.measure import Row

BARE = '''
import socket, sys, uvicorn
from starlette.applications import Starlette
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route
PAGE = """<!DOCTYPE html><meta charset="utf-8"><title>bare</title><input type="range" id="s" max="2000">
<p id="shown"></p><script type="module" src="/s.js"></script>"""
SCRIPT = """const s = document.querySelector("#s"), shown = document.querySelector("#shown");
s.addEventListener("input", async () => {
  const answer = await fetch("/double", {method: "POST", body: s.value});
  shown.textContent = (await answer.json()).twice;
  document.body.dataset.drawn = s.value;
});
document.body.dataset.drawn = "0";"""
async def double(request):
    return JSONResponse({"twice": 2 * float(await request.body())})
app = Starlette(routes=[
    Route("/", lambda r: HTMLResponse(PAGE)),
    Route("/s.js", lambda r: Response(SCRIPT, media_type="text/javascript")),
    Route("/double", double, methods=["POST"]),
])
sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
sock.bind(("127.0.0.1", 0))
sock.listen(128)
print(f"at http://127.0.0.1:{sock.getsockname()[1]}/", flush=True)
uvicorn.Server(uvicorn.Config(app, log_config=None, lifespan="off")).run(sockets=[sock])
'''
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
)
MOVE = """async ([selector, value]) => {
  const slider = document.querySelector(selector);
  const before = document.body.dataset.drawn;
  const start = performance.now();
  const redrawn = new Promise((done) => {
    const watch = new MutationObserver(() => {
      if (document.body.dataset.drawn === before) return;
      watch.disconnect();
      requestAnimationFrame(() => done(performance.now() - start));
    });
    watch.observe(document.body, { attributes: true });
  });
  slider.value = value;
  slider.dispatchEvent(new Event("input", { bubbles: true }));
  return redrawn;
}"""
# From a pointer's move to the frame in which the strip is another.
WATCH = """() => {
  window.took = [];
  const strip = () => document.querySelector(".plan-strip svg.strip");
  let begun = 0, before = null;
  new MutationObserver(() => {
    if (!begun || strip() === before) return;
    const start = begun;
    begun = 0;
    requestAnimationFrame(() => window.took.push(performance.now() - start));
  }).observe(document.querySelector(".plan-strip"), { childList: true, subtree: true });
  window.addEventListener("pointermove", () => {
    if (!begun) { begun = performance.now(); before = strip(); }
  }, true);
}"""
MOVES = 25
READY, READY_BARE = "#main button", "body[data-drawn]"
STARTS = 3


@contextlib.contextmanager
def serving(*command: str) -> Iterator[str]:
    """Run a server of its own; its address."""
    with subprocess.Popen(
        [sys.executable, *command], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().split()[-1]
        finally:
            process.terminate()


def opened(page: Page, command: tuple[str, ...], ready: str) -> float:
    """Seconds from the start of the server to its first drawn page."""
    begun = time.perf_counter()
    with serving(*command) as address:
        page.goto(address)
        page.wait_for_selector(ready, state="attached")
        return time.perf_counter() - begun


def moved(page: Page) -> float:
    """Median milliseconds from the move of the bare slider to the redrawn page."""
    with serving("-c", BARE) as address:
        page.goto(address)
        page.wait_for_selector(READY_BARE, state="attached")
        times = []
        for k in range(MOVES):
            times.append(page.evaluate(MOVE, ["#s", 900 + 10 * (k + 1)]))
            page.wait_for_timeout(60)
        return float(statistics.median(times))


def dragged(page: Page, command: tuple[str, ...]) -> float:
    """Median milliseconds from a move of the grip of the stop to the redrawn strip of the example."""
    with serving(*command) as address:
        page.goto(address)
        page.get_by_role("button", name="example").first.click()
        grip = page.get_by_role("slider", name="stop")
        grip.wait_for()
        page.wait_for_timeout(2000)
        page.evaluate(WATCH)
        box = grip.bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0
        page.mouse.move(x, y)
        page.mouse.down()
        for k in range(MOVES):
            page.mouse.move(x - 14 - 9 * (k % 12), y)
            page.wait_for_timeout(110)  # a hand that drags; what is slower is drawn when it rests
        page.mouse.up()
        return float(statistics.median(page.evaluate("took")))


def rows() -> list[Row]:
    """A dragged grip to the redrawn strip, and start to first page."""
    chromium = (
        os.environ.get("POTSIM_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    )
    with tempfile.TemporaryDirectory() as data, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        page = browser.new_page()
        ours = ("-m", "potsim", "page", "--no-browser", "--data", data)
        grip, plain = dragged(page, ours), moved(page)
        start = min(opened(page, ours, READY) for _ in range(STARTS))
        plain_start = min(opened(page, ("-c", BARE), READY_BARE) for _ in range(STARTS))
        browser.close()
    shown = f"{grip:.0f} ms against {plain:.0f} ms"
    begun = f"{start:.2f} s against {plain_start:.2f} s"
    return [
        Row(
            "page: a dragged grip to the redrawn strip, against a bare page",
            grip / plain,
            8,
            False,
            "x",
            shown,
        ),
        Row("page: a dragged grip to the redrawn strip", grip, 50, False, "ms", shown),
        Row("page: start to first page, against a bare page", start / plain_start, 6, False, "x", begun),
    ]
