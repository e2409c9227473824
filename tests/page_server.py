"""A page served for tests: on loopback, in a thread, with a data folder of its own."""

from __future__ import annotations

import atexit
import contextlib
import copy
import functools
import gzip
import http.client
import json
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import potsim
from potsim.interfaces.page.app import Desk, Page, listen
from potsim.interfaces.page.door import Census, House, OneTimeCode, Sessions, secret_of
from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.page.workers import Workers
from potsim.interfaces.planfile import tables_of

EXAMPLE = tables_of(potsim.example_plan())


def changed(**tables: Any) -> dict[str, Any]:
    """The example's tables, some replaced."""
    return copy.deepcopy(EXAMPLE) | tables


@functools.cache
def processes() -> Workers:
    """What calculates for all pages of the tests: it comes up once."""
    made = Workers()
    atexit.register(made.close)
    return made


@dataclass
class Served:
    """Where a page is served."""

    port: int
    data: Path
    codes: list[str] = field(default_factory=list)
    lines: list[http.client.HTTPConnection] = field(default_factory=list)
    page: Page | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextlib.contextmanager
def served(
    data: Path, *, code: bool = False, workers: Workers | None = None, census: Census | None = None
) -> Iterator[Served]:
    """Serve a page until the block ends; with ``code`` browsers of this machine need one too."""
    with contextlib.closing(listen(port=0)) as listening:
        here = Served(listening.getsockname()[1], data)
        desk = Desk(
            House(here.port, trusts=not code),
            Shelf(data),
            Sessions(secret_of(data)),
            workers or processes().shared(),
            OneTimeCode(here.codes.append),
        )
        page = here.page = Page(desk, census=Census() if census is None else census)
        thread = threading.Thread(target=page.run, args=(listening,))
        thread.start()
        while not page.server.started:
            time.sleep(0.01)
        try:
            yield here
        finally:
            for line in here.lines:
                line.close()
            page.server.should_exit = True
            thread.join(20)


class Browser:
    """As much of a browser as the server sees: a cookie, a token, an origin."""

    def __init__(self, here: Served, port: int | None = None) -> None:
        self.here, self.cookie, self.token = here, "", ""
        self.line = http.client.HTTPConnection("127.0.0.1", port or here.port, timeout=60)
        here.lines.append(self.line)

    def open(self) -> Browser:
        """Open the page, as everyone does first."""
        _, headers, _ = self.ask("GET", "/")
        self.cookie = headers["set-cookie"].partition(";")[0]
        self.token = self.get("/api/hello")["token"]
        return self

    def ask(
        self, method: str, path: str, body: bytes | None = None, **changed: str | None
    ) -> tuple[int, dict[str, str], bytes]:
        """Send one request; headers are as a browser's, but for those changed."""
        usual: dict[str, str | None] = {"Host": f"127.0.0.1:{self.here.port}", "Cookie": self.cookie or None}
        if method == "POST":
            usual |= {
                "Origin": self.here.address,
                "Content-Type": "application/json",
                "X-Potsim-Token": self.token,
            }
        headers = usual | {name.replace("_", "-"): value for name, value in changed.items()}
        sent = {name: value for name, value in headers.items() if value is not None}
        try:
            self.line.request(method, path, body, sent)
            answer = self.line.getresponse()
        except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
            self.line.close()  # kept open for too long: a browser would come anew
            self.line.request(method, path, body, sent)
            answer = self.line.getresponse()
        content = answer.read()
        if answer.headers.get("content-encoding") == "gzip":
            content = gzip.decompress(content)
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, content

    def get(self, path: str) -> Any:
        """Return the data at an address."""
        status, _, body = self.ask("GET", path)
        assert status == 200, (path, status, body[:300])
        return json.loads(body)

    def post(self, path: str, body: Any) -> Any:
        """Return the answer to some data."""
        status, _, answer = self.ask("POST", path, json.dumps(body).encode())
        assert status == 200, (path, status, answer[:300])
        return json.loads(answer)

    def begin(self, plan: Any = EXAMPLE) -> str:
        """Begin a run; return its name."""
        return str(self.post("/api/runs", {"plan": plan, "thing": uuid.uuid4().hex})["id"])

    def tell(self, run: str, *things: dict[str, Any], ago_min: float = 0.0) -> Any:
        """Tell things of a run, all so many minutes ago."""
        now = time.time() * 1000.0
        told = [{"id": uuid.uuid4().hex, "at_ms": now - 60_000.0 * ago_min, **thing} for thing in things]
        return self.post(f"/api/runs/{run}/tell", {"things": told, "sent_ms": now, "device": "phone"})


class Device:
    """A device that keeps what is typed on it until it is accepted, and tries again whatever happens.

    Parameters
    ----------
    name : str
        What it is called.
    send : callable
        Sends some things and returns the answer; raises `OSError` or `http.client.HTTPException` where the
        network or the server fails, or returns ``None`` where it is to be tried again.
    """

    def __init__(self, name: str, send: Callable[[str, list[dict[str, Any]]], Any]) -> None:
        self.name, self._send = name, send
        self.waiting: list[dict[str, Any]] = []
        self.typed: list[str] = []
        self.refused: list[dict[str, Any]] = []
        self.tries = 0

    def type(self, **thing: Any) -> None:
        """Type something."""
        name = f"{self.name}-{len(self.typed)}"
        self.typed.append(name)
        self.waiting.append({"id": name, "device": self.name, "at_ms": time.time() * 1000.0, **thing})

    def send(self) -> None:
        """Send what waits, once."""
        if not self.waiting:
            return
        self.tries += 1
        sent = self.waiting[:12]
        try:
            answer = self._send(self.name, sent)
        except (OSError, http.client.HTTPException, ValueError):
            return
        if answer is None:
            return
        done = {*answer["accepted"], *(one["id"] for one in answer["refused"])}
        self.refused += answer["refused"]
        self.waiting = [thing for thing in self.waiting if thing["id"] not in done]
