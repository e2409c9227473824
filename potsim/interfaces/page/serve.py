"""Bringing the page up: sockets, the server, the browser, and the way in for a phone."""

from __future__ import annotations

import asyncio
import contextlib
import functools
import ipaddress
import socket
import threading
import time
import webbrowser
from collections.abc import Callable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any

import uvicorn

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.page.app import Desk, build
from potsim.interfaces.page.door import Census, House, OneTimeCode, Sessions, protocol, secret_of
from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.page.workers import Workers
from potsim.records import dataclass

PORT = 8437
LOOPBACK = "127.0.0.1"
HEADER_BYTES = 16 * 1024
PHONE_FILE = ".page-phone"
"""There if the home network was let in on the page: it is again after a restart."""


@dataclass(frozen=True)
class Wish:
    """How the page is to be served.

    Parameters
    ----------
    data : Path
        Folder in which plans, runs and stills are kept.
    host : str
        Address to listen on.
    port : int or None
        Port; ``None`` for the usual one, or any free one if that is taken.
    browser : bool
        Whether to open a browser.
    """

    data: Path
    host: str = LOOPBACK
    port: int | None = None
    browser: bool = True


def serve(wish: Wish, result: Callable[[str], None], words: Callable[[str], None]) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    wish : Wish
        How.
    result, words : callable
        Where the address goes, and what is said about it.

    Raises
    ------
    RequestError
        If host or port cannot be used.
    """
    shelf = Shelf(wish.data)
    listening = listen(wish.host, wish.port)
    with contextlib.closing(listening):
        port = listening.getsockname()[1]
        house = House(port, _names(wish.host))
        address = f"http://{_shown(wish.host)}:{port}/"
        result(f"The page is at {address}")
        words(f"Plans and runs are kept in {shelf.root.resolve()}. Stop with Ctrl-C.")
        open_to_all = not _is_loopback(wish.host)
        code = OneTimeCode(
            (lambda fresh: words(f"Code for one browser: {fresh}")) if open_to_all else _silent
        )
        if open_to_all:
            words("Whoever is on this network can reach the page; what is sent is not encrypted.")
        page = Page(Desk(house, shelf, Sessions(secret_of(shelf.root)), Workers(), code), wish.host, words)
        if wish.browser:
            threading.Thread(target=_open, args=(page.server, address), daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt):
            page.run(listening)


def _silent(code: str) -> None:
    """Keep a code to oneself: the square is the way in."""


@dataclass
class Page:
    """A server with its desk, and a second socket for the home network when it is asked for.

    Parameters
    ----------
    desk : Desk
        What the addresses share.
    host : str
        Address that it listens on.
    words : callable
        Where what happens is said.
    census : Census
        Counts connections.
    """

    desk: Desk
    host: str = LOOPBACK
    words: Callable[[str], None] = _silent
    census: Census = field(default_factory=Census)

    def __post_init__(self) -> None:
        self.desk.phone = self.phone
        self._home: asyncio.Server | None = None
        self._at: str | None = None
        self.server = uvicorn.Server(
            uvicorn.Config(
                build(self.desk),
                log_config=None,
                access_log=False,
                server_header=False,
                proxy_headers=False,
                lifespan="off",
                ws="none",
                loop="asyncio",
                http=protocol(self.census),
                h11_max_incomplete_event_size=HEADER_BYTES,
                timeout_keep_alive=30,
                timeout_graceful_shutdown=2,
            )
        )

    def run(self, listening: socket.socket) -> None:
        """Serve until it is stopped."""
        try:
            asyncio.run(self._serve(listening))
        finally:
            self.desk.workers.close()

    async def _serve(self, listening: socket.socket) -> None:
        if self._flag.exists() and _is_loopback(self.host):
            with contextlib.suppress(PotsimError):
                await self._let_in()
        try:
            await self.server.serve(sockets=[listening])
        finally:
            self._shut()

    # The home network

    @property
    def _flag(self) -> Path:
        return self.desk.shelf.root / PHONE_FILE

    async def phone(self, wanted: bool | None) -> Mapping[str, Any]:
        """Let the home network in, or shut it out, and tell how a phone reaches the page.

        Parameters
        ----------
        wanted : bool or None
            ``None`` only tells.

        Returns
        -------
        mapping
            ``url`` for the square, ``None`` if there is none; ``reachable``; ``can``, whether it may be
            opened here; ``address``.
        """
        if _is_loopback(self.host):
            if wanted is True:
                await self._let_in()
                with contextlib.suppress(OSError):
                    self._flag.touch()
            elif wanted is False:
                self._shut()
                with contextlib.suppress(OSError):
                    self._flag.unlink(missing_ok=True)
            at = self._at
        else:
            at = _shown(self.host)
        if at is None:
            return {"url": None, "reachable": False, "can": _outward() is not None, "address": _outward()}
        address = f"http://{at}:{self.desk.house.port}/"
        return {
            "url": f"{address}in/{self.desk.sessions.key}",
            "reachable": True,
            "can": True,
            "address": address,
        }

    async def _let_in(self) -> None:
        if self._home is not None:
            return
        at = _outward()
        if at is None:
            raise RequestError.of("no_network")
        listening = listen(at, self.desk.house.port)
        config = self.server.config
        if not config.loaded:
            config.load()
        kind: Any = config.http_protocol_class
        make = functools.partial(kind, config=config, server_state=self.server.server_state, app_state={})
        self._home = await asyncio.get_running_loop().create_server(make, sock=listening)
        self._at = at
        self.words(f"The page is open to the home network too, at http://{at}:{self.desk.house.port}/")

    def _shut(self) -> None:
        home, self._home, self._at = self._home, None, None
        if home is not None:
            home.close()


def _open(server: uvicorn.Server, address: str) -> None:
    for _ in range(200):
        if server.started:
            webbrowser.open(address)
            return
        time.sleep(0.05)


def listen(host: str = LOOPBACK, port: int | None = None) -> socket.socket:
    """Return a socket that listens where the page is to be served.

    Parameters
    ----------
    host : str
        Address to listen on.
    port : int, optional
        Port; the usual one, or any that is free, if left out.

    Returns
    -------
    socket
        TCP by name, for only then are small answers sent off at once.

    Raises
    ------
    RequestError
        If host or port cannot be used.
    """
    try:
        found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise RequestError.of("no_host", "--host", given=host) from None
    family, address = found[0][0], found[0][4][0]
    ports = [port] if port is not None else [PORT, 0]
    for one in ports:
        listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((address, one))
            listening.listen(256)  # whoever reads the address may come at once
            return listening
        except OSError as error:
            listening.close()
            why = (error.strerror or str(error)).lower()
            if one == ports[-1]:
                of = "host" if port is None else "port"
                raise RequestError.of("no_port_free", given=one, host=host, why=why, of=of) from None
    raise AssertionError(ports)


def _names(host: str) -> set[str]:
    """Names that the page may be called by; numbered addresses may always."""
    own = socket.gethostname().lower()
    names = {"localhost", host.lower()}
    return names if _is_loopback(host) else names | {own, f"{own}.local"}


def _is_loopback(host: str) -> bool:
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _shown(host: str) -> str:
    """The address as a browser on another machine would need it."""
    try:
        given = ipaddress.ip_address(host)
    except ValueError:
        return host
    if given.is_unspecified:
        return _outward() or socket.gethostname()
    return f"[{host}]" if given.version == 6 else host


def _outward() -> str | None:
    """The address by which this machine would reach others; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))
        at = str(probe.getsockname()[0])
        return None if _is_loopback(at) else at
    return None
