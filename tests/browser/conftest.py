"""One Chromium and one server for all tests of the page in a browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_browser import DESK, FLAGS, Clock, chromium_path
from page_server import Served, served
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright

expect.set_options(timeout=30_000)  # of a machine that has other things to do
OWN_FAULT = re.compile(r"ERR_INTERNET_DISCONNECTED|ERR_CONNECTION|status of (409|503)|navigator\.vibrate")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """A browser for one module: its event loop must not run under the tests that come after."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("page")) as one:
        yield one


@pytest.fixture
def here(serving: Served) -> Served:
    """The server of all these tests, its shelf empty."""
    for pattern in ("*.toml", "*.readings.jsonl"):
        for path in serving.data.glob(pattern):
            path.unlink()
    return serving


@pytest.fixture
def folder(here: Served) -> Path:
    """Where its plans and runs are."""
    return here.data


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


@pytest.fixture
def open_page(chromium: Browser, here: Served, clock: Clock) -> Iterator[Any]:
    """Open the page in fresh browsers; nothing may go wrong in them, and nothing leave the machine."""
    faults: list[str] = []
    contexts = []

    def opened(*, workers: str = "block", context: Any = None, **device: Any) -> Page:
        if context is None:
            context = chromium.new_context(**(device or DESK), service_workers=workers)
            contexts.append(context)
        page: Page = context.new_page()
        page.set_default_timeout(60_000)
        page.clock.install()
        clock.pages.append(page)

        def hear(message: ConsoleMessage) -> None:
            if message.type == "error" and not OWN_FAULT.search(message.text):
                faults.append(message.text)

        page.on("console", hear)
        page.on("pageerror", lambda error: faults.append(str(error)))

        def watch(request: Request) -> None:
            if not request.url.startswith((here.address, "blob:")):
                faults.append(f"left the machine: {request.url}")

        page.on("request", watch)
        page.goto(here.address)
        page.locator("#main button").first.wait_for()
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []
