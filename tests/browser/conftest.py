"""One Chromium and one server for all tests of the page in a browser."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_browser import DESK, FLAGS, Clock, chromium_path
from page_server import EXAMPLE, Served, served
from page_server import Browser as Sender
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    expect,
    sync_playwright,
)

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


class Rooms:
    """One context of a browser for each kind of device, used by one test after the other.

    In each a page stands by all the time, so that its process need not be started anew for the next test.
    """

    def __init__(self, chromium: Browser, address: str) -> None:
        self._chromium, self._address = chromium, address
        self._keepers: dict[str, Page] = {}

    def enter(self, device: dict[str, Any], has: dict[str, Any]) -> BrowserContext:
        """Return the context of a device that has kept some things by their names, and nothing else."""
        name = json.dumps(device, sort_keys=True)
        if name not in self._keepers:
            self._keepers[name] = self._chromium.new_context(**device).new_page()
            self._keepers[name].goto(f"{self._address}/static/icon.svg")
        keeper = self._keepers[name]
        keeper.context.clear_cookies()
        keeper.evaluate(KEEP, has)
        return keeper.context

    def leave(self, context: BrowserContext) -> None:
        """Close what a test has opened in a context."""
        context.set_offline(False)
        for page in context.pages:
            if page not in self._keepers.values():
                page.close()

    def close(self) -> None:
        for keeper in self._keepers.values():
            keeper.context.close()


KEEP = """(has) => {
  localStorage.clear();
  for (const [name, value] of Object.entries(has)) {
    localStorage.setItem(`potsim.${name}`, JSON.stringify(value));
  }
}"""


@pytest.fixture(scope="module")
def rooms(chromium: Browser, serving: Served) -> Iterator[Rooms]:
    made = Rooms(chromium, serving.address)
    yield made
    made.close()


@pytest.fixture
def open_page(rooms: Rooms, here: Served, clock: Clock) -> Iterator[Any]:
    """Open the page on devices that know nothing of it; nothing may go wrong, nothing leave the machine."""
    faults: list[str] = []
    contexts: list[BrowserContext] = []

    def opened(
        *,
        workers: str = "block",
        context: BrowserContext | None = None,
        has: dict[str, Any] | None = None,
        at: str = "",
        ready: str = "#main button",
        **device: Any,
    ) -> Page:
        """Open it at a place, in another tab of a device or on a device that has kept some things."""
        if context is None:
            context = rooms.enter({**(device or DESK), "service_workers": workers}, has or {})
            assert context not in contexts, "each device but once"
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
        page.goto(f"{here.address}/#/{at}" if at else here.address)
        page.locator(ready).first.wait_for()
        return page

    yield opened
    for context in contexts:
        rooms.leave(context)
    assert faults == []


@pytest.fixture
def with_plan(open_page: Any, here: Served) -> Any:
    """Open the page with a plan on the table, that is kept on the shelf too; the example if none is given."""

    def opened(tables: Any = EXAMPLE, **device: Any) -> Page:
        assert here.page is not None
        thing = uuid.uuid4().hex
        draft = {"id": here.page.desk.shelf.keep_plan(tables, None, thing), "thing": thing, "tables": tables}
        draft |= {"opened": tables, "past": [], "example": False, "saved": True}
        page: Page = open_page(has={"draft": draft}, at="plan", ready=".plan .strip .slice", **device)
        return page

    return opened


@pytest.fixture
def with_run(open_page: Any, here: Served) -> Any:
    """Open the page at the still, the heat being on: of the example, or of another plan."""

    def opened(tables: Any = EXAMPLE, **device: Any) -> Page:
        sender = Sender(here).open()
        run = sender.begin(tables)
        told = [{"id": uuid.uuid4().hex, "kind": "heat", "ticks": []}]
        sender.post(f"/api/runs/{run}/tell", {"things": told, "device": "shed"})
        page: Page = open_page(has={"run": run}, at="now", ready=".now p.number", **device)
        return page

    return opened
