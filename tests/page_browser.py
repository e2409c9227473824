"""A Chromium for the page's tests, and what they read off it."""

from __future__ import annotations

import os
import shutil
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page
from potsim.interfaces.page.tables import plan_from

import potsim

FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DESK = {"viewport": {"width": 1280, "height": 860}}
SERIOUS = {"serious", "critical"}


def chromium_path() -> str:
    """Where Chromium is; the Debian package chromium puts it on the path."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = [os.environ.get("POTSIM_CHROMIUM"), *map(shutil.which, names)]
    return next(
        path for path in [*found, "install Debian's chromium, or name one in POTSIM_CHROMIUM"] if path
    )


def figure(page: Page, name: str, stage: str = "before") -> str:
    """The large figure and what stands beneath it."""
    return (
        page.locator(f"#{stage} .figure", has=page.get_by_text(name, exact=True)).locator("dd").inner_text()
    )


def drafted(page: Page) -> Any:
    """The run of the plan that the page holds, computed here."""
    tables = page.evaluate("JSON.parse(localStorage.getItem('potsim.plan'))")
    return potsim.distil(plan_from(tables))


def slide(page: Page | Locator, label: str, to: float) -> None:
    page.get_by_label(label, exact=True).first.evaluate(
        "(range, value) => { range.value = value; range.dispatchEvent(new Event('input', {bubbles: true})) }",
        to,
    )


def settled(page: Page, before: str) -> None:
    """Wait until the page has drawn again."""
    page.wait_for_function("before => document.body.dataset.drawn !== before", arg=before)


def drawn(page: Page) -> str:
    return str(page.evaluate("document.body.dataset.drawn"))


def small(page: Page) -> list[str]:
    """What can be touched, but is less than 44 px high, or wider than the page."""
    found: list[str] = page.evaluate(
        """[...document.querySelectorAll("button, input, select, summary")]
        .filter((one) => one.checkVisibility()).map((one) => [one, one.getBoundingClientRect()])
        .filter(([, box]) => box.height < 43.5 || box.right > innerWidth)
        .map(([one, box]) => `${one.outerHTML.slice(0, 90)}: ${box.width} x ${box.height}`)"""
    )
    return found


def serious(page: Page) -> list[str]:
    result = Axe().run(page).response["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:160]}" for v in result if v["impact"] in SERIOUS]
