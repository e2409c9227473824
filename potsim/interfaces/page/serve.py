"""Bringing the page up: a socket, the server, the browser."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.page.access import OneTimeCode, Sessions
from potsim.interfaces.page.app import Desk, build
from potsim.interfaces.page.folder import Folder
from potsim.interfaces.page.guard import House

PORT = 8437
LOOPBACK = "127.0.0.1"
CONNECTIONS = 600
HEADER_BYTES = 16 * 1024


@dataclass(frozen=True)
class Wish:
    """How the page is to be served."""

    data: Path  # folder in which runs are kept
    host: str = LOOPBACK  # address to listen on
    port: int | None = None  # port; ``None`` for the usual one, or any free one if that is taken
    browser: bool = True  # whether to open a browser


def serve(wish: Wish, result: Callable[[str], None], words: Callable[[str], None]) -> None:
    """Serve the page until it is stopped."""
    folder = Folder(wish.data)
    listening = listen(wish)
    with contextlib.closing(listening):
        port = listening.getsockname()[1]
        house = House(port, _names(wish.host), code_needed=not _is_loopback(wish.host))
        address = f"http://{_shown(wish.host)}:{port}/"
        result(f"The page is at {address}")
        words(f"Runs are kept in {folder.root.resolve()}. Stop with Ctrl-C.")
        code = None
        if house.code_needed:
            words("Whoever is on this network can reach the page; what is sent is not encrypted.")
            code = OneTimeCode(lambda fresh: words(f"Code for one browser: {fresh}"))
        server = server_of(Desk(house, folder, Sessions(), code))
        if wish.browser:
            threading.Thread(target=_open, args=(server, address), daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listening])


def server_of(desk: Desk) -> uvicorn.Server:
    """Return the server that a desk is put into."""
    return uvicorn.Server(
        uvicorn.Config(
            build(desk),
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            ws="none",
            loop="asyncio",
            http="h11",
            h11_max_incomplete_event_size=HEADER_BYTES,
            limit_concurrency=CONNECTIONS,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=2,
        )
    )


def _open(server: uvicorn.Server, address: str) -> None:
    for _ in range(100):
        if server.started:
            webbrowser.open(address)
            return
        time.sleep(0.05)


def listen(wish: Wish) -> socket.socket:
    """Return a socket that listens where the page is to be served."""
    try:
        found = socket.getaddrinfo(wish.host, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise RequestError(
            f"--host '{wish.host}' is no address of this machine.",
            "Such as 0.0.0.0 for all.",
        ) from None
    family, address = found[0][0], found[0][4][0]
    ports = [wish.port] if wish.port is not None else [PORT, 0]
    for port in ports:
        listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((address, port))
            listening.listen(128)  # whoever reads the address may come at once
            return listening
        except OSError as error:
            listening.close()
            why = (error.strerror or str(error)).lower()
            if port == ports[-1]:
                hint = "Choose another --port." if wish.port is not None else "Choose another --host."
                raise RequestError(f"'{wish.host}' port {port} cannot be used: {why}.", hint) from None
    raise PotsimError("No port is free.")


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
        return str(probe.getsockname()[0])
    return None
