"""A page served for tests: on loopback, in a thread, with a data folder of its own."""

from __future__ import annotations

import contextlib
import copy
import http.client
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import potsim
from potsim.interfaces.page.access import OneTimeCode, Sessions
from potsim.interfaces.page.app import Desk
from potsim.interfaces.page.folder import Folder
from potsim.interfaces.page.guard import House
from potsim.interfaces.page.serve import Wish, listen, server_of
from potsim.interfaces.planfile import tables_of

EXAMPLE = tables_of(potsim.example_plan())


def changed(**tables: Any) -> dict[str, Any]:
    """The example's tables, some replaced."""
    return copy.deepcopy(EXAMPLE) | tables


@dataclass
class Served:
    """Where a page is served."""

    port: int
    data: Path
    codes: list[str] = field(default_factory=list)
    lines: list[http.client.HTTPConnection] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextlib.contextmanager
def served(data: Path, *, code: bool = False) -> Iterator[Served]:
    """Serve a page until the block ends."""
    with contextlib.closing(listen(Wish(data, port=0))) as listening:
        here = Served(listening.getsockname()[1], data)
        house = House(here.port, code_needed=code)
        desk = Desk(house, Folder(data), Sessions(), OneTimeCode(here.codes.append) if code else None)
        server = server_of(desk)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield here
        finally:
            for line in here.lines:
                line.close()
            server.should_exit = True
            thread.join(20)


class Browser:
    """As much of a browser as the server sees: a cookie, a token, an origin."""

    def __init__(self, here: Served) -> None:
        self.here, self.cookie, self.token = here, "", ""
        self.line = http.client.HTTPConnection("127.0.0.1", here.port, timeout=60)
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
        self.line.request(method, path, body, sent)
        answer = self.line.getresponse()
        return (
            answer.status,
            {k.lower(): v for k, v in answer.getheaders()},
            answer.read(),
        )

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
