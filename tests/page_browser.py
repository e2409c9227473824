"""A Chromium for the page's tests, a clock that is moved, and what is read off the page."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page, expect

from potsim.planning import events

FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--disable-extensions"),
    "--process-per-site",
    "--autoplay-policy=no-user-gesture-required",
)
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
SMALL = PHONE | {"viewport": {"width": 360, "height": 640}}
TABLET = {"viewport": {"width": 768, "height": 1024}}
DESK = {"viewport": {"width": 1280, "height": 800}}
DEVICES = {"small": SMALL, "phone": PHONE, "tablet": TABLET, "desk": DESK}
PLACES = ("shelf", "plan", "now", "pour", "trials")


def chromium_path() -> str:
    """Where Chromium is; without one these tests are skipped, and fail in CI."""
    names = ("chromium", "chromium-browser", "google-chrome")
    path = next(filter(None, (os.environ.get("POTSIM_CHROMIUM"), *map(shutil.which, names))), None)
    if path is None:
        missing = "No Chromium: install Debian's chromium, or name one in POTSIM_CHROMIUM."
        (pytest.fail if os.environ.get("CI") else pytest.skip)(missing)
    return path


class Clock:
    """One clock for the server and for all pages, which is moved by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.ahead = timedelta(0)
        self.pages: list[Page] = []
        real = events.now
        monkeypatch.setattr(events, "now", lambda: real() + self.ahead)

    def on(self, minutes: float) -> None:
        """Let so many minutes pass at once."""
        if minutes <= 0:
            return
        self.ahead += timedelta(minutes=minutes)
        for clock in {page.context: page.clock for page in self.pages}.values():  # one for all tabs
            clock.fast_forward(round(60_000 * minutes))

    def to(self, page: Page, minute: float) -> None:
        """Let time pass up to a minute of the run."""
        self.on(minute - minute_of(page))


SAVED_MIN = 0.02  # after a change, by which it is on its way to be kept
MINUTE = "() => potsim.clock.minutesSince(potsim.held.runSeen().heat_ms)"
SEEN = "() => JSON.stringify(potsim.held.runSeen())"


def minute_of(page: Page) -> float:
    """Minutes of the run, as the page counts them."""
    return float(page.evaluate(MINUTE))


def seen(page: Page) -> Any:
    """The run as the page holds it."""
    return json.loads(page.evaluate(SEEN))


def drafted(page: Page) -> Any:
    """The tables of the plan on the table."""
    return page.evaluate("JSON.parse(localStorage.getItem('potsim.draft')).tables")


def waits(page: Page) -> int:
    """How much waits on the device to be told."""
    return int(page.evaluate("Object.keys(localStorage).filter((key) => key.includes('.out.')).length"))


def go(page: Page, place: str) -> None:
    """Open one of the five places."""
    page.locator(f"#places a[data-key={place}]").click()
    page.wait_for_function("(place) => document.body.dataset.place === place", arg=place)


def example(page: Page, clock: Clock) -> None:
    """Open the example from the shelf, as a copy that is one's own."""
    page.get_by_role("button", name="example", exact=False).first.click()
    answered(page)
    page.locator("[data-key=mine]").click()
    kept(page, clock)


def kept(page: Page, clock: Clock) -> None:
    """Wait until the plan is kept, which is done a moment after each change."""
    clock.on(SAVED_MIN)
    page.get_by_text("kept", exact=True).wait_for()


def answered(page: Page) -> None:
    """Wait for the answer of the plan as it stands."""
    page.wait_for_function(
        "() => potsim.draft.draft.answer && potsim.draft.draft.answered === potsim.draft.draft.tables"
    )
    page.locator(".plan .strip .slice").first.wait_for()


def settled(page: Page) -> None:
    """Let the page draw what it has to draw."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def told(page: Page) -> None:
    """Wait until nothing waits on the device, and the run is as the laptop has it."""
    page.wait_for_function("() => Object.keys(localStorage).every((key) => !key.includes('.out.'))")


def journal(folder: Path) -> list[dict[str, Any]]:
    """All records of the one run in a folder."""
    (path,) = folder.glob("*.readings.jsonl")
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def small(page: Page) -> list[str]:
    """What can be touched, but is less than 44 px high, or wider than the page."""
    found: list[str] = page.evaluate(
        """[...document.querySelectorAll("button, input, select, summary, nav a")]
        .filter((one) => one.checkVisibility()).map((one) => [one, one.getBoundingClientRect()])
        .filter(([, box]) => box.height < 43.5 || box.right > innerWidth + 1 || box.left < -1)
        .map(([one, box]) => `${one.outerHTML.slice(0, 90)}: ${box.width} x ${box.height}`)"""
    )
    return found


def cut(page: Page) -> list[str]:
    """Words of acts that do not fit into them."""
    found: list[str] = page.evaluate(
        """[...document.querySelectorAll(".acts button, .acts b, .acts span, p.number, .order")]
        .filter((one) => one.checkVisibility() && one.scrollWidth > one.clientWidth + 2 && one.clientWidth)
        .map((one) => `${one.outerHTML.slice(0, 120)}: ${one.scrollWidth} > ${one.clientWidth}`)"""
    )
    return found


def findings(page: Page) -> list[str]:
    """What axe finds."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    result = page.evaluate("() => axe.run({resultTypes: ['violations']}).then((found) => found.violations)")
    return [f"{v['id']}: {v['nodes'][0]['html'][:160]}" for v in result]


def walk(page: Page, clock: Clock) -> Iterator[str]:
    """Each place in each state: empty, with a plan, before the heat, calm, due, past, over, poured."""
    for place in PLACES:
        go(page, place)
        yield f"{place} empty"
    go(page, "shelf")
    example(page, clock)
    yield "plan"
    page.locator("[data-key=still]").click()
    page.locator(".tick").first.wait_for()
    yield "ready"
    for k in range(4):
        page.locator(".tick").nth(k).click()
    page.locator("[data-key=heat]").click()
    page.locator(".now p.number").wait_for()
    settled(page)
    yield "now"
    told(page)
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"] + 0.3)
    settled(page)
    yield "due"
    page.locator("[data-key=act]").click()
    told(page)
    page.locator("[data-key=read]").click()
    page.locator(".pad").wait_for()
    settled(page)
    yield "read"
    page.keyboard.press("Escape")
    clock.to(page, seen(page)["forecast"]["stop"]["min"] + 3.0)
    settled(page)
    yield "past"
    page.locator("[data-key=act]").click()
    told(page)
    settled(page)
    yield "over"
    go(page, "pour")
    page.locator(".jars li").first.wait_for()
    yield "pour"
    go(page, "trials")
    page.locator(".trials .blend").wait_for()
    yield "trials"
    go(page, "shelf")
    page.locator(".shelf-row").first.wait_for()
    yield "shelf"


ROOM = {**DEVICES, "double": {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2}}
"""Devices, and a desk on which all is twice as large: half the room."""


THEMES: dict[str, Any] = {
    "small": ("dark",),
    "desk": ("light",),
    "phone": ("light", "dark"),
    "tablet": ("light", "dark"),
}


def sized(page: Page, device: str) -> None:
    """Give the page the size of a device."""
    size = ROOM[device]["viewport"]
    if page.viewport_size != size:
        page.set_viewport_size(size)
        settled(page)


def at_fault(page: Page, where: str, device: str) -> list[str]:
    """What is cut, too small for a finger, wider than the page, gone, or found by axe."""
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    found = [] if wide[0] <= wide[1] else [f"wide: {wide}"]
    if device == "double":
        if where in ("now", "due", "past"):
            for part in (".order", ".now .strip", ".now-acts button"):
                expect(page.locator(part).first).to_be_visible()
        return found
    found += cut(page) + (small(page) if ROOM[device].get("has_touch") else [])
    for theme in THEMES.get(device, ()):
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        found += findings(page)
    return found
