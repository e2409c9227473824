"""The server: files and addresses of the page, what answers them, and the news that all devices get."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import hashlib
import json
import re
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import field
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any
from urllib.parse import parse_qs

import anyio
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
    Guard,
    House,
    OneTimeCode,
    Sessions,
    address_of,
    cookie_header,
    malformed,
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
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}
FIRST = "main"  # the module that the page begins with
SCRIPT = "page.js"
_IMPORT = re.compile(
    r'^import (?:\* as (?P<whole>\w+)|\{(?P<names>[^}]*)\}) from "\./(?P<of>\w+)\.js";\n', re.M
)
_LATER = re.compile(r'\bimport\("\./(\w+)\.js"\)')
_EXPORT = re.compile(r"^export ((?:async )?(?:const|function|class) (?P<name>[\w$]+))", re.M)
Serve = Callable[[Request], Awaitable[Response]]
Phone = Callable[[bool | None], Awaitable[Mapping[str, Any]]]


# Files: read once from the package; the modules are sent as one script, needs first -------------------------


@dataclass(frozen=True)
class Asset:
    """One file of the page, plain and packed."""

    content: bytes
    packed: bytes
    media_type: str
    etag: str


def assets() -> dict[str, Asset]:
    """Return every file of the page by its name, such as ``"css/page.css"``; nothing else becomes a path."""
    found = dict(_walk(files("potsim.interfaces.page").joinpath("static"), ""))
    modules = {name[3:-3]: text.decode("utf-8") for name, text in found.items() if name.startswith("js/")}
    found[SCRIPT] = one_script(modules).encode("utf-8")
    return {name: _asset(name, content) for name, content in found.items()}


def _walk(folder: Traversable, before: str) -> list[tuple[str, bytes]]:
    found = []
    for item in folder.iterdir():
        if item.is_dir():
            found += _walk(item, f"{before}{item.name}/")
        elif item.name[item.name.rfind(".") :] in TYPES:
            found.append((f"{before}{item.name}", item.read_bytes()))
    return found


def _asset(name: str, content: bytes) -> Asset:
    tag = f'"{hashlib.sha256(content).hexdigest()[:20]}"'
    packed = gzip.compress(content, 9, mtime=0)
    return Asset(content, packed, TYPES[name[name.rfind(".") :]], tag)


def one_script(modules: Mapping[str, str]) -> str:
    """Return modules as one script: each a closure that hands out what it exports, those it needs before it.

    Parameters
    ----------
    modules : mapping of str to str
        Name to source, with imports and exports as the modules of the page write them.

    Returns
    -------
    str
        To be run once; the modules are also at ``potsim`` of the page, by their names.
    """
    done: list[str] = []
    under_way: list[str] = []

    def add(name: str) -> None:
        if name in done:
            return
        assert name not in under_way, under_way  # no circle
        under_way.append(name)
        text = modules[name]
        for needed in [*(found["of"] for found in _IMPORT.finditer(text)), *_LATER.findall(text)]:
            add(needed)
        under_way.pop()
        done.append(name)

    add(FIRST)
    closures = "\n".join(_closure(name, modules[name]) for name in done)
    return f'"use strict";\nconst potsim = {{}};\nglobalThis.potsim = potsim;\n{closures}\n'


def _closure(name: str, text: str) -> str:
    def bound(found: re.Match[str]) -> str:
        names = found["whole"] or f"{{{found['names'].replace(' as ', ': ')}}}"
        return f"const {names} = potsim.{found['of']};\n"

    exported = ", ".join(found["name"] for found in _EXPORT.finditer(text))
    text = _LATER.sub(r"Promise.resolve(potsim.\1)", _EXPORT.sub(r"\1", _IMPORT.sub(bound, text)))
    return f"potsim.{name} = (() => {{\n{text}return {{ {exported} }};\n}})();"


def _packs(request: Request) -> bool:
    return "gzip" in request.headers.get("accept-encoding", "")


def _served(asset: Asset, request: Request, **more: str) -> Response:
    headers = {"ETag": asset.etag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding", **more}
    if request.headers.get("if-none-match") == asset.etag:
        return Response(status_code=304, headers=headers)
    if _packs(request):
        headers["Content-Encoding"] = "gzip"
        return Response(asset.packed, media_type=asset.media_type, headers=headers)
    return Response(asset.content, media_type=asset.media_type, headers=headers)


def _sent_back(answer: Body, request: Request, *, status: int = 200, tagged: bool = False) -> Response:
    """Return an answer as JSON, packed if the browser can unpack it."""
    headers = {"Vary": "Accept-Encoding"}
    if tagged:
        headers |= {
            "ETag": f'"{hashlib.sha256(answer.plain).hexdigest()[:20]}"',
            "Cache-Control": "no-cache",
        }
        if request.headers.get("if-none-match") == headers["ETag"]:
            return Response(status_code=304, headers=headers)
    content = answer.plain
    if answer.packed is not None and _packs(request):
        content, headers["Content-Encoding"] = answer.packed, "gzip"
    return Response(content, status, headers=headers, media_type="application/json")


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
    """What the addresses share.

    Parameters
    ----------
    house : House
        Where the page lives.
    shelf : Shelf
        Where plans, runs and stills are kept.
    sessions : Sessions
        Of the server.
    workers : Workers
        What calculates.
    code : OneTimeCode or None
        What lets a browser of another machine in, beside the square.
    phone : callable or None
        Opens (``True``) or closes (``False``) the page to the home network, and tells how it can be reached.
    """

    house: House
    shelf: Shelf
    sessions: Sessions
    workers: Workers
    code: OneTimeCode | None = None
    phone: Phone | None = None

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
            return _served(asset, request, **more) if asset else malformed("nothing_there", 404)

        return serve

    async def list_files(self, request: Request) -> Response:
        """Tell a service worker what to keep."""
        names = sorted(
            f"/static/{name}" for name in self.files if not name.startswith(("js/", "index", "code"))
        )
        return _sent_back(body({"version": self.version, "files": ["/", *names]}), request, tagged=True)

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
        return _sent_back(body({**told_, "files": self.version}), request)

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
        return _sent_back(body({**way, "rows": rows}), request)

    @staticmethod
    def _refusal(error: PotsimError | OSError, request: Request, status: int = 200) -> Response:
        return _sent_back(body({"refused": told.refused(error)}, refused=True), request, status=status)

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
        """Return what serves an address by a calculation.

        Parameters
        ----------
        lane, task : str
            For `Workers.ask`.
        slot : bool
            Whether a newer request of the session takes the place of one that waits.
        tagged : bool
            Whether the browser may keep the answer and ask whether it still holds.
        answer : callable, optional
            Makes a response of the data; JSON if left out.
        """

        async def serve(request: Request, sent: dict[str, Any]) -> Response:
            query = {key: value for key, value in request.query_params.items() if key not in sent}
            made = await self.calculate(lane, task, {**sent, **query}, request, task if slot else None)
            return _sent_back(made, request, tagged=tagged) if answer is None else answer(made.data)

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
            end = _sent_back(made, request)
        raise _EndedError(end)

    # The shelf

    def keeps(self, work: Callable[[dict[str, Any]], dict[str, Any]]) -> Serve:
        """Return what serves an address by changing the data folder, in a thread."""

        async def serve(request: Request, sent: dict[str, Any]) -> Response:
            answer = await self._in_thread(lambda: work(sent), request)
            self.live.tell("shelf", {})
            return _sent_back(answer, request)

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
        return _sent_back(await self.calculate("run", "run", began.data, request), request)

    async def learn(self, request: Request, sent: dict[str, Any]) -> Response:
        """Take what a run told of a still into the file of that still."""
        learnt = (await self.calculate("study", "learn", sent, request)).data

        def work() -> dict[str, Any]:
            self.shelf.write(learnt["id"], learnt["text"])
            return {"id": learnt["id"], "notes": learnt["notes"]}

        answer = await self._in_thread(work, request)
        self.live.tell("shelf", {})
        return _sent_back(answer, request)

    async def tell(self, request: Request, sent: dict[str, Any]) -> Response:
        """Take in what is told of a run; never waits for a calculation."""
        run = str(sent["run"])
        answer = await self._in_thread(lambda: told.tell(self.shelf, run, sent, MOST_THINGS), request)
        if answer.data.get("new"):
            self._news(run, answer.data["version"], told.word(sent, "device"))
        return _sent_back(answer, request)

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
    """Return the server of the page, guarded.

    Parameters
    ----------
    desk : Desk
        What its addresses share.
    """
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
