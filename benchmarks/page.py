"""The page: from a slider to the redrawn curve, and from the start to the first page, beside a bare page.

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
MOVES = 25
STARTS = 3


@contextlib.contextmanager
def serving(*command: str) -> Iterator[str]:
    """Run a server of its own; its address."""
    with subprocess.Popen([sys.executable, *command], stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().split()[-1]
        finally:
            process.terminate()


def opened(page: Page, command: tuple[str, ...]) -> float:
    """Seconds from the start of the server to its first drawn page."""
    begun = time.perf_counter()
    with serving(*command) as address:
        page.goto(address)
        page.wait_for_selector("body[data-drawn]", state="attached")
        return time.perf_counter() - begun


def moved(page: Page, command: tuple[str, ...], selector: str) -> float:
    """Median milliseconds from a slider's move to the redrawn page."""
    with serving(*command) as address:
        page.goto(address)
        page.wait_for_selector("body[data-drawn]", state="attached")
        page.wait_for_timeout(1500)
        times = []
        for k in range(MOVES):
            times.append(page.evaluate(MOVE, [selector, 900 + 10 * (k + 1)]))
            page.wait_for_timeout(60)  # a hand that drags; what is slower is drawn when it rests
        return float(statistics.median(times))


def rows() -> list[Row]:
    """Slider to redrawn curve, and start to first page."""
    chromium = (
        os.environ.get("POTSIM_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    )
    with tempfile.TemporaryDirectory() as data, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        page = browser.new_page()
        ours = ("-m", "potsim", "page", "--no-browser", "--data", data)
        bare = ("-c", BARE)
        slider = moved(page, ours, "[aria-label='Volume, slider']")
        plain = moved(page, bare, "#s")
        start = min(opened(page, ours) for _ in range(STARTS))
        plain_start = min(opened(page, bare) for _ in range(STARTS))
        browser.close()
    shown = f"{slider:.0f} ms against {plain:.0f} ms"
    begun = f"{start:.2f} s against {plain_start:.2f} s"
    return [
        Row("page: slider to redrawn curve, against a bare page", slider / plain, 8, False, "x", shown),
        Row("page: slider to redrawn curve", slider, 100, False, "ms", shown),
        Row("page: start to first page, against a bare page", start / plain_start, 6, False, "x", begun),
    ]
