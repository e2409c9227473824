"""The server: addresses of the page and what answers them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

import anyio
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp

from potsim import __version__
from potsim.errors import PotsimError
from potsim.interfaces.page import compute, limits, runs, statics, tables
from potsim.interfaces.page.access import OneTimeCode, Sessions
from potsim.interfaces.page.answers import attachment, data, malformed, refusal
from potsim.interfaces.page.folder import Folder, plain_name
from potsim.interfaces.page.guard import Guard, House, cookie_header

THREADS = 2
Work = Callable[[dict[str, Any]], Any]


@dataclass
class Desk:
    """What the addresses share."""

    house: House  # where the page lives
    folder: Folder  # where runs are kept
    sessions: Sessions  # of the server
    code: OneTimeCode | None = None  # what lets a browser in; ``None`` if it is not needed
    turnstile: limits.Turnstile = field(default_factory=limits.Turnstile)
    codes: limits.Buckets = field(default_factory=lambda: limits.Buckets(limits.CODES, 1))

    def __post_init__(self) -> None:
        self.files = statics.assets()
        self.threads = anyio.CapacityLimiter(THREADS)

    async def static(self, request: Request) -> Response:
        """Serve a file of the page."""
        asset = self.files.get(request.path_params["name"])
        return statics.served(asset, request) if asset else malformed("There is no such file.", 404)

    async def index(self, request: Request) -> Response:
        """Serve the page."""
        return statics.served(self.files["index.html"], request)

    async def icon(self, request: Request) -> Response:
        """Serve the picture of the tab."""
        return statics.served(self.files["icon.svg"], request)

    async def ask_code(self, request: Request) -> Response:
        """Serve the question for the one-time code."""
        return statics.served(self.files["code.html"], request)

    async def try_code(self, request: Request) -> Response:
        """Let a browser in if it brings the code."""
        given = parse_qs((await request.body()).decode("latin-1")).get("code", [""])[0]
        if not self.codes.take(""):
            return RedirectResponse("/code?slow", 303)
        if self.code is None or not self.code.redeem(given[:40]):
            return RedirectResponse("/code?wrong", 303)
        answer = RedirectResponse("/", 303)
        answer.headers["Set-Cookie"] = cookie_header(self.house, self.sessions.new())
        return answer

    async def hello(self, request: Request) -> Response:
        """Give the page its token."""
        name = request.scope["session_name"]
        return data({"token": self.sessions.token(name), "version": __version__})

    async def start(self, request: Request) -> Response:
        """Give the page the example and the library."""
        return data(await anyio.to_thread.run_sync(tables.start, limiter=self.threads))

    def does(self, work: Work, *, answer: Callable[[Any], Response] = data) -> Any:
        """Return what serves an address by doing some work on the data sent."""

        async def serve(request: Request) -> Response:
            sent = await _sent(request)
            if isinstance(sent, Response):
                return sent
            sent.update(request.path_params)
            try:
                async with self.turnstile.turn(request.scope["session_name"]):
                    done = await anyio.to_thread.run_sync(work, sent, limiter=self.threads)
            except limits.TooBusyError:
                return malformed("Too many calculations are under way. Wait a moment.", 503)
            except PotsimError as error:
                return data(refusal(error))
            except RecursionError:
                return malformed("The tables are nested too deeply.")
            return answer(done)

        return serve


async def _sent(request: Request) -> dict[str, Any] | Response:
    """Read the data of a request: one JSON object."""
    if request.method == "GET":
        return {}
    kind = request.headers.get("content-type", "").partition(";")[0].strip()
    if kind != "application/json":
        return malformed("Send application/json.", 415)
    try:
        sent = json.loads(await request.body(), parse_constant=_no_number)
    except (ValueError, RecursionError):
        return malformed("The request is not JSON as this page sends it.")
    return sent if isinstance(sent, dict) else malformed("The request is not a JSON object.")


def _no_number(text: str) -> float:
    raise ValueError(text)


def _plan(work: Callable[[Any], Any]) -> Work:
    return lambda sent: work(tables.plan_from(sent.get("plan")))


def _sheet(plan: Any) -> tuple[str, str | bytes]:
    from potsim.interfaces.output import content
    from potsim.planning.run import distil

    return plain_name(plan.title), content(distil(plan), "report", "html")


def _numbers(plan: Any) -> tuple[str, str | bytes]:
    from potsim.interfaces.output import content
    from potsim.planning.run import distil

    return plain_name(plan.title), content(distil(plan), "csv", "csv")


def _plan_file(plan: Any) -> tuple[str, str | bytes]:
    from potsim.interfaces.planfile import write_plan

    return plain_name(plan.title), write_plan(plan)


def _file(suffix: str, media_type: str) -> Callable[[tuple[str, str | bytes]], Response]:
    return lambda made: attachment(made[1], f"{made[0]}.{suffix}", media_type)


def build(desk: Desk) -> ASGIApp:
    """Return the server of the page."""
    opened: Work = lambda sent: {"plan": tables.opened(sent.get("text"), sent.get("name"))}  # noqa: E731
    posts: dict[str, Any] = {
        "/api/run": desk.does(_plan(compute.predicted)),
        "/api/motion": desk.does(_plan(compute.in_motion)),
        "/api/beside": desk.does(_plan(compute.beside)),
        "/api/open": desk.does(opened),
        "/api/sheet": desk.does(_plan(_sheet), answer=_file("html", "text/html")),
        "/api/csv": desk.does(_plan(_numbers), answer=_file("csv", "text/csv")),
        "/api/save": desk.does(_plan(_plan_file), answer=_file("toml", "application/toml")),
    }
    gets: dict[str, Any] = {
        "/": desk.index,
        "/favicon.ico": desk.icon,
        "/static/{name:path}": desk.static,
        "/api/hello": desk.hello,
        "/api/start": desk.start,
    }
    if desk.code is not None:
        gets["/code"], posts["/code"] = desk.ask_code, desk.try_code
    for path, work in runs.reads(desk.folder).items():
        gets[path] = desk.does(work)
    for path, work in runs.writes(desk.folder).items():
        posts[path] = desk.does(work)
    routes: list[BaseRoute] = [Route(path, serve, methods=["GET"]) for path, serve in gets.items()]
    routes += [Route(path, serve, methods=["POST"]) for path, serve in posts.items()]
    inner = Starlette(routes=routes, exception_handlers={404: _lost, 405: _lost, 500: _fault})
    return Guard(inner, desk.house, desk.sessions)


async def _lost(request: Request, error: Exception) -> Response:
    return malformed("There is nothing at this address.", 404)


async def _fault(request: Request, error: Exception) -> Response:
    return malformed("Something unforeseen happened; this is a fault of potsim.", 500)
