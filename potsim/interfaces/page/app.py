"""The server of the page: its addresses and what answers them, the news for all devices, its sockets."""

from __future__ import annotations

import asyncio
import contextlib
import functools
import hashlib
import ipaddress
import json
import socket
import threading
import time
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import anyio
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp

from potsim import __version__
from potsim.errors import PotsimError, RequestError
from potsim.interfaces.page import told
from potsim.interfaces.page.door import (
    CODES,
    Buckets,
    Census,
    Guard,
    House,
    OneTimeCode,
    Sessions,
    address_of,
    assets,
    cookie_header,
    malformed,
    protocol,
    secret_of,
    sent_back,
    served,
)
from potsim.interfaces.page.shelf import Shelf, plain_name
from potsim.interfaces.page.workers import (
    Body,
    BudgetError,
    FaultError,
    SupersededError,
    TooBusyError,
    Workers,
    body,
)
from potsim.planning import events
from potsim.planning.events import BusyError
from potsim.records import dataclass

THREADS = 4  # that write to the data folder; calculations have processes of their own
PING_S = 15.0
WATCH_S = 2.0  # how often the folder is looked at for what other programs wrote
LISTENERS = 200
MOST_THINGS = 500  # told at once
Serve = Callable[[Request], Awaitable[Response]]
Phone = Callable[[bool | None], Awaitable[Mapping[str, Any]]]


# News -------------------------------------------------------------------------------------------------------


@dataclass
class Live:
    """Whoever listens, and what is told to all of them."""

    queues: set[asyncio.Queue[str]] = field(default_factory=set)

    def tell(self, event: str, data: Mapping[str, Any]) -> None:
        """Send an event to all that listen; one that does not read is dropped, and comes anew."""
        text = f"event: {event}\ndata: {json.dumps(data, separators=(',', ':'))}\n\n"
        for queue in list(self.queues):
            try:
                queue.put_nowait(text)
            except asyncio.QueueFull:
                self.queues.discard(queue)

    async def stream(self) -> AsyncIterator[str]:
        """Yield what one listener gets."""
        queue: asyncio.Queue[str] = asyncio.Queue(200)
        self.queues.add(queue)
        try:
            hello = json.dumps({"epoch_ms": _now_ms(), "devices": len(self.queues)})
            yield f"retry: 1500\nevent: hello\ndata: {hello}\n\n"
            while queue in self.queues:
                try:
                    yield await asyncio.wait_for(queue.get(), PING_S)
                except TimeoutError:
                    yield ": ping\n\n"
        finally:
            self.queues.discard(queue)


def _now_ms() -> int:
    return round(events.now().timestamp() * 1000.0)


# The desk ---------------------------------------------------------------------------------------------------


@dataclass
class Desk:
    """What the addresses share."""

    house: House
    shelf: Shelf
    sessions: Sessions
    workers: Workers
    code: OneTimeCode | None = None  # lets a browser of another machine in, beside the square
    phone: Phone | None = None  # opens or closes the page to the home network; tells how it is reached

    def __post_init__(self) -> None:
        self.files = assets()
        self.live = Live()
        self.codes = Buckets(CODES)
        self.threads = anyio.CapacityLimiter(THREADS)
        self._tasks: set[asyncio.Task[None]] = set()
        self._watching: asyncio.Task[None] | None = None
        every = "".join(f"{name}{asset.etag}" for name, asset in sorted(self.files.items()))
        self.version = hashlib.sha256(every.encode()).hexdigest()[:12]

    # Files and the door

    def file(self, name: str, **more: str) -> Serve:
        """Return what serves one file of the page."""

        async def serve(request: Request) -> Response:
            asset = self.files.get(name or str(request.path_params["name"]))
            return served(asset, request, **more) if asset else malformed("nothing_there", 404)

        return serve

    async def list_files(self, request: Request) -> Response:
        """Tell a service worker what to keep."""
        names = sorted(
            f"/static/{name}" for name in self.files if not name.startswith(("js/", "index", "code"))
        )
        return sent_back(body({"version": self.version, "files": ["/", *names]}), request, tagged=True)

    async def try_code(self, request: Request) -> Response:
        """Let a browser in if it brings the code that was printed."""
        given = parse_qs((await request.body()).decode("latin-1")).get("code", [""])[0]
        if not self.codes.take(address_of(request.scope)):
            return RedirectResponse("/code?slow", 303)
        if self.code is None or not self.code.redeem(given[:40]):
            return RedirectResponse("/code?wrong", 303)
        return self._come_in()

    async def try_key(self, request: Request) -> Response:
        """Let a browser in if it brings the key of the square."""
        if not self.codes.take(address_of(request.scope)):
            return RedirectResponse("/code?slow", 303)
        right = self.sessions.opens(str(request.path_params["key"]))
        return self._come_in() if right else RedirectResponse("/code?wrong", 303)

    def _come_in(self) -> Response:
        answer = RedirectResponse("/", 303)
        answer.headers["Set-Cookie"] = cookie_header(self.house, self.sessions.new())
        return answer

    async def hello(self, request: Request) -> Response:
        """Give the page its token; whoever comes will want a calculation soon."""
        self.workers.warm()
        name = request.scope["session_name"]
        told_ = {"token": self.sessions.token(name), "version": __version__, "epoch_ms": _now_ms()}
        return sent_back(body({**told_, "files": self.version}), request)

    async def on_phone(self, request: Request, sent: Mapping[str, Any]) -> Response:
        """Tell how a phone reaches the page; a POST opens or closes that way."""
        wanted = bool(sent.get("on")) if request.method == "POST" else None
        try:
            way = await self.phone(wanted) if self.phone is not None else {"url": None, "reachable": False}
        except PotsimError as error:
            return self._refusal(error, request)
        url = way.get("url")
        rows: list[str] = []
        if url:
            import segno

            rows = ["".join("1" if module else "0" for module in row) for row in segno.make(url).matrix]
        return sent_back(body({**way, "rows": rows}), request)

    @staticmethod
    def _refusal(error: PotsimError | OSError, request: Request, status: int = 200) -> Response:
        return sent_back(body({"refused": told.refused(error)}, refused=True), request, status=status)

    # Calculations

    def asks(
        self,
        lane: str,
        task: str,
        *,
        slot: bool = False,
        tagged: bool = False,
        answer: Callable[[Any], Response] | None = None,
    ) -> Serve:
        """Return what serves an address by a calculation, as JSON or as ``answer`` makes it.

        In a ``slot`` a newer request of the session takes the place of one that waits; what is ``tagged`` the
        browser may keep, and ask whether it still holds.
        """

        async def serve(request: Request, sent: dict[str, Any]) -> Response:
            query = {key: value for key, value in request.query_params.items() if key not in sent}
            made = await self.calculate(lane, task, {**sent, **query}, request, task if slot else None)
            return sent_back(made, request, tagged=tagged) if answer is None else answer(made.data)

        return _reads(serve)

    async def calculate(
        self, lane: str, task: str, sent: Mapping[str, Any], request: Request, slot: str | None = None
    ) -> Body:
        """Return the answer of a calculation; ends the request with what is told where there is none."""
        try:
            made = await self.workers.ask(
                lane, task, {**sent, "root": str(self.shelf.root)}, request.scope["session_name"] or "", slot
            )
        except TooBusyError:
            end = malformed("busy", 503)
        except SupersededError:
            end = malformed("superseded", 409)
        except BudgetError:
            end = self._refusal(RequestError.of("too_costly"), request)
        except asyncio.CancelledError:  # the server stops, and waits no longer
            end = malformed("stopping", 503)
        except FaultError as fault:
            end = malformed("fault", 500, str(fault))
        else:
            if not made.refused:
                return made
            end = sent_back(made, request)
        raise _EndedError(end)

    # The shelf

    def keeps(self, work: Callable[[dict[str, Any]], dict[str, Any]]) -> Serve:
        """Return what serves an address by changing the data folder, in a thread."""

        async def serve(request: Request, sent: dict[str, Any]) -> Response:
            answer = await self._in_thread(lambda: work(sent), request)
            self.live.tell("shelf", {})
            return sent_back(answer, request)

        return _reads(serve)

    async def _in_thread(self, work: Callable[[], dict[str, Any]], request: Request) -> Body:
        try:
            return body(await anyio.to_thread.run_sync(work, limiter=self.threads))
        except (PotsimError, OSError) as error:
            status = 503 if isinstance(error, BusyError) else 200 if isinstance(error, RequestError) else 507
            raise _EndedError(self._refusal(error, request, status)) from None

    async def begin(self, request: Request, sent: dict[str, Any]) -> Response:
        """Begin a run of a plan; one that cannot be run is refused before there is a journal of it."""
        plan = (await self.calculate("plan", "begin", sent, request)).data
        thing, device, parent = (told.word(sent, key) for key in ("thing", "device", "from"))
        began = await self._in_thread(
            lambda: {"run": self.shelf.begin(plan["text"], plan["title"], thing, device, parent)}, request
        )
        self.live.tell("shelf", {})
        return sent_back(await self.calculate("run", "run", began.data, request), request)

    async def learn(self, request: Request, sent: dict[str, Any]) -> Response:
        """Take what a run told of a still into the file of that still."""
        learnt = (await self.calculate("study", "learn", sent, request)).data

        def work() -> dict[str, Any]:
            self.shelf.write(learnt["id"], learnt["text"])
            return {"id": learnt["id"], "notes": learnt["notes"]}

        answer = await self._in_thread(work, request)
        self.live.tell("shelf", {})
        return sent_back(answer, request)

    async def tell(self, request: Request, sent: dict[str, Any]) -> Response:
        """Take in what is told of a run; never waits for a calculation."""
        run = str(sent["run"])
        answer = await self._in_thread(lambda: told.tell(self.shelf, run, sent, MOST_THINGS), request)
        if answer.data.get("new"):
            self._news(run, answer.data["version"], told.word(sent, "device"))
        return sent_back(answer, request)

    def _news(self, run: str, version: int, device: str) -> None:
        """Tell all devices at once, and once more when the forecast is ready; bring the files into line."""
        self.live.tell("run", {"id": run, "version": version, "device": device, "forecast": False})

        async def follow() -> None:
            with contextlib.suppress(PotsimError, OSError):
                await anyio.to_thread.run_sync(self.shelf.settle, run, limiter=self.threads)
            with contextlib.suppress(TooBusyError, SupersededError, BudgetError, FaultError):
                await self.workers.ask(
                    "run", "run", {"run": run, "root": str(self.shelf.root)}, f"run:{run}", "news"
                )
                self.live.tell("run", {"id": run, "version": version, "device": device, "forecast": True})

        self._start(follow())

    def _start(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def listen(self, request: Request) -> Response:
        """Let a device listen to the news."""
        if len(self.live.queues) >= LISTENERS:
            return malformed("listeners", 503)
        if self._watching is None or self._watching.done():
            self._watching = asyncio.get_running_loop().create_task(self._watch())
        return StreamingResponse(self.live.stream(), media_type="text/event-stream")

    async def _watch(self) -> None:
        """Look for what other programs write into the folder, as long as anyone listens."""
        before = await anyio.to_thread.run_sync(self._stamps, limiter=self.threads)
        while self.live.queues:
            await asyncio.sleep(WATCH_S)
            now = await anyio.to_thread.run_sync(self._stamps, limiter=self.threads)
            if set(now) != set(before):
                self.live.tell("shelf", {})
            for name, stamp in now.items():
                if name in before and before[name] != stamp:
                    self.live.tell("run", {"id": name, "version": 0, "device": "", "forecast": False})
            before = now

    def _stamps(self) -> dict[str, int]:
        return {kept.id: kept.changed_ms for kept in self.shelf.list() if kept.kind == "run"}


class _EndedError(Exception):
    """A request is answered before all that it asked is done."""

    def __init__(self, response: Response) -> None:
        self.response = response


def _reads(work: Callable[[Request, dict[str, Any]], Awaitable[Response]]) -> Serve:
    """Return what serves an address by what is sent to it, one JSON object, and what its path names."""

    async def serve(request: Request) -> Response:
        try:
            return await work(request, {**await _sent(request), **request.path_params})
        except _EndedError as ended:
            return ended.response

    return serve


async def _sent(request: Request) -> dict[str, Any]:
    if request.method in ("GET", "HEAD"):
        return {}
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise _EndedError(malformed("not_json", 415))
    try:
        sent = json.loads(await request.body(), parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise _EndedError(malformed("not_json")) from None
    if not isinstance(sent, dict):
        raise _EndedError(malformed("not_json"))
    return sent


def _no_number(text: str) -> float:
    raise ValueError(text)


def _attached(suffix: str, media_type: str) -> Callable[[Any], Response]:
    def answer(made: Any) -> Response:
        name = f"{plain_name(str(made['title']))}.{suffix}"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(str(made["text"]), media_type=media_type, headers=headers)

    return answer


def build(desk: Desk) -> ASGIApp:
    """Return the server of the page, guarded."""
    shelf, ask, keep = desk.shelf, desk.asks, desk.keeps
    gets: dict[str, Serve] = {
        "/": desk.file("index.html"),
        "/favicon.ico": desk.file("icon.svg"),
        "/sw.js": desk.file("sw.js", **{"Service-Worker-Allowed": "/"}),
        "/manifest.webmanifest": desk.file("manifest.webmanifest"),
        "/static/{name:path}": desk.file(""),
        "/code": desk.file("code.html"),
        "/in/{key}": desk.try_key,
        "/api/hello": desk.hello,
        "/api/files": desk.list_files,
        "/api/phone": _reads(desk.on_phone),
        "/api/live": desk.listen,
        "/api/start": ask("plan", "start", tagged=True),
        "/api/classes": ask("study", "classes", tagged=True),
        "/api/shelf": ask("run", "shelf", tagged=True),
        "/api/plans/{plan}": ask("run", "plan", tagged=True),
        "/api/runs/{run}": ask("run", "run", tagged=True),
        "/api/runs/{run}/pour": ask("run", "pour"),
    }
    posts: dict[str, Serve] = {
        "/code": desk.try_code,
        "/api/phone": _reads(desk.on_phone),
        "/api/answer": ask("plan", "answer", slot=True),
        "/api/beside": ask("plan", "beside", slot=True),
        "/api/sure": ask("study", "sure", slot=True),
        "/api/reach": ask("study", "reach", slot=True),
        "/api/compare": ask("study", "compare", slot=True),
        "/api/blend": ask("study", "blend", slot=True),
        "/api/open": ask("plan", "opened"),
        "/api/sheet": ask("study", "sheet", answer=_attached("html", "text/html")),
        "/api/csv": ask("study", "numbers", answer=_attached("csv", "text/csv")),
        "/api/save": ask("plan", "saved", answer=_attached("toml", "application/toml")),
        "/api/runs": _reads(desk.begin),
        "/api/runs/{run}/tell": _reads(desk.tell),
        "/api/runs/{run}/fit": ask("run", "fit", slot=True),
        "/api/runs/{run}/next": ask("study", "next_trial"),
        "/api/plans": keep(lambda sent: told.keep_plan(shelf, sent)),
        "/api/plans/{id}": keep(lambda sent: told.keep_plan(shelf, sent)),
        "/api/stills": keep(lambda sent: told.keep_still(shelf, sent)),
        "/api/stills/{id}/learn": _reads(desk.learn),
    }
    for kind in ("plans", "runs", "stills"):
        posts[f"/api/{kind}/{{id}}/rename"] = keep(lambda sent: told.rename(shelf, sent))
        posts[f"/api/{kind}/{{id}}/delete"] = keep(lambda sent: told.delete(shelf, sent))
    routes: list[BaseRoute] = [Route(path, serve, methods=["GET"]) for path, serve in gets.items()]
    routes += [Route(path, serve, methods=["POST"]) for path, serve in posts.items()]
    inner = Starlette(routes=routes, exception_handlers={404: _lost, 405: _lost, 500: _fault})
    return Guard(inner, desk.house, desk.sessions)


async def _lost(request: Request, error: Exception) -> Response:
    return malformed("nothing_there", 404)


async def _fault(request: Request, error: Exception) -> Response:
    return malformed("fault", 500)


# Bringing it up: sockets, the server, the browser, the way in for a phone -----------------------------------


PORT = 8437
LOOPBACK = "127.0.0.1"
HEADER_BYTES = 16 * 1024
PHONE_FILE = ".page-phone"
"""There if the home network was let in on the page: it is again after a restart."""


@dataclass(frozen=True)
class Wish:
    """How the page is to be served."""

    data: Path  # folder in which plans, runs and stills are kept
    host: str = LOOPBACK
    port: int | None = None  # ``None`` for the usual one, or any free one if that is taken
    browser: bool = True  # whether to open one


def serve(wish: Wish, result: Callable[[str], None], words: Callable[[str], None]) -> None:
    """Serve the page until it is stopped."""
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
    """A server with its desk, and a second socket for the home network when it is asked for."""

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
        """Let the home network in, or shut it out, and tell how a phone reaches the page."""
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
    """Return a socket that listens where the page is to be served."""
    try:
        found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise RequestError.of("no_host", "--host", given=host) from None
    family, address = found[0][0], found[0][4][0]
    ports = [port] if port is not None else [PORT, 0]
    for one in ports:
        # TCP by name, for only then are small answers sent off at once.
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
