"""The door: who may come in, how much and how fast, and how all that goes out is packed and headed."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import hashlib
import hmac
import ipaddress
import os
import re
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable, Collection, Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from potsim.errors import RequestError
from potsim.interfaces.page.workers import Body
from potsim.interfaces.page.workers import body as answer_body
from potsim.records import dataclass

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)",
}
COOKIE_S = 400 * 24 * 3600
TOKEN = "x-potsim-token"
FREE = ("/static/", "/favicon.ico", "/sw.js", "/manifest.webmanifest")  # to be seen without a session
BODY_BYTES = 256 * 1024
BODY_S = 10.0  # to send a body
HEADER_S = 10.0  # to send the headers of a request
URL_BYTES = 1024
LONGEST_REFUSAL = 800
SESSIONS = 2000  # that are counted apart
CONNECTIONS = 600  # in all
PER_ADDRESS = 100  # of one address
KEY_FILE = ".page-key"
# Letters and digits that no one mistakes for another on a phone.
ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 8
WRONG_BEFORE_NEW = 10  # wrong codes after which another is printed


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


# Rates ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Rate:
    """A steady rate with some slack: ``per_s`` requests in the long run, ``burst`` at once after a rest."""

    per_s: float
    burst: float


REQUESTS = Rate(60.0, 240.0)  # of one session; a grip sends at most as fast as replies come
FILES = Rate(200.0, 2000.0)  # of the page itself, of one address
NEW_SESSIONS = Rate(5.0, 100.0)  # of one address
CODES = Rate(0.2, 5.0)  # codes and keys tried from one address


class Buckets:
    """One token bucket for each key; the longest unused is forgotten when there are too many."""

    def __init__(self, rate: Rate, most: int = SESSIONS, clock: Callable[[], float] = time.monotonic) -> None:
        self._rate, self._most, self._clock = rate, most, clock
        self._held: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._held)

    def take(self, key: str) -> bool:
        """Take one token; return whether there was one."""
        now = self._clock()
        tokens, then = self._held.pop(key, (self._rate.burst, now))
        tokens = min(self._rate.burst, tokens + (now - then) * self._rate.per_s)
        enough = tokens >= 1.0
        self._held[key] = (tokens - 1.0 if enough else tokens, now)
        if len(self._held) > self._most:
            self._held.popitem(last=False)
        return enough


# Connections ------------------------------------------------------------------------------------------------


class Census:
    """The connections there are, by address; one that has asked nothing yet makes room for one that may."""

    def __init__(
        self, most: int = CONNECTIONS, per_address: int = PER_ADDRESS, header_s: float = HEADER_S
    ) -> None:
        self.most, self.per_address, self.header_s = most, per_address, header_s
        self._all: OrderedDict[H11Protocol, str] = OrderedDict()
        self._idle: set[H11Protocol] = set()

    def __len__(self) -> int:
        return len(self._all)

    def come(self, line: H11Protocol) -> None:
        """Count a new connection; closes the oldest idle one, or this one, if there are too many."""
        address = line.client[0] if line.client else ""
        self._all[line] = address
        self._idle.add(line)
        mine = [other for other, where in self._all.items() if where == address]
        if len(mine) > self.per_address:
            self._close_one(mine, line)
        elif len(self._all) > self.most:
            self._close_one(list(self._all), line)

    def _close_one(self, among: list[H11Protocol], newest: H11Protocol) -> None:
        idle = [line for line in among if line in self._idle and line is not newest]
        silent = [line for line in idle if line.cycle is None]  # that have never asked anything
        closed = (silent or idle or [newest])[0]
        self.gone(closed)
        closed.transport.abort()

    def gone(self, line: H11Protocol) -> None:
        """Count a connection no more."""
        self._all.pop(line, None)
        self._idle.discard(line)

    def idle(self, line: H11Protocol, idle: bool) -> None:
        """Note whether a connection waits for a request."""
        if line in self._all:
            (self._idle.add if idle else self._idle.discard)(line)


def protocol(census: Census) -> type[H11Protocol]:
    """Return the protocol of a server: h11's, which cuts connections whose headers do not come."""

    class Impatient(H11Protocol):
        _waiting: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            census.come(self)
            self._wait()

        def connection_lost(self, exc: Exception | None) -> None:
            census.gone(self)
            self._stop_waiting()
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            busy = self.cycle is not None and not self.cycle.response_complete
            if not busy and self._waiting is None:
                self._wait()
            super().data_received(data)
            if self.cycle is not None and not self.cycle.response_complete:
                self._stop_waiting()
                census.idle(self, False)

        def on_response_complete(self) -> None:
            census.idle(self, True)
            super().on_response_complete()
            if self.cycle is not None and not self.cycle.response_complete:
                census.idle(self, False)

        def _wait(self) -> None:
            self._waiting = self.loop.call_later(census.header_s, self._cut)

        def _stop_waiting(self) -> None:
            if self._waiting is not None:
                self._waiting.cancel()
                self._waiting = None

        def _cut(self) -> None:
            self._waiting = None
            if not self.transport.is_closing():
                self.transport.close()

    return Impatient


# Sessions and codes -----------------------------------------------------------------------------------------


def secret_of(folder: Path) -> bytes:
    """Return the key of a data folder, made when it is first asked for: sessions outlive the server."""
    path = folder / KEY_FILE
    fresh = secrets.token_bytes(32)
    with contextlib.suppress(OSError):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(fresh)
    with contextlib.suppress(OSError):
        kept = path.read_bytes()
        if len(kept) == len(fresh):
            return kept
        path.unlink()
    return fresh


class Sessions:
    """Sessions that the server need not remember: a random name, signed."""

    def __init__(self, secret: bytes | None = None) -> None:
        self._secret = secret or secrets.token_bytes(32)

    def new(self) -> str:
        """Return the cookie of a new session."""
        name = secrets.token_urlsafe(18)
        return f"{name}.{self._sign('session', name)}"

    def name(self, cookie: str | None) -> str | None:
        """Return the name of a session from its cookie; ``None`` unless this server made it."""
        name, _, signature = (cookie or "").partition(".")
        return name if name and _same(signature, self._sign("session", name)) else None

    def token(self, name: str) -> str:
        """Return what a page of this session must show with whatever it sends."""
        return self._sign("token", name)

    def shows(self, name: str, token: str | None) -> bool:
        """Whether a token is that of a session."""
        return _same(token or "", self.token(name))

    @property
    def key(self) -> str:
        """What the square shows to a phone: whoever brings it is let in, after a restart too."""
        return self._sign("phone", "")[:32]

    def opens(self, key: str) -> bool:
        """Whether a key is that of the square."""
        return _same(key, self.key)

    def _sign(self, what: str, name: str) -> str:
        return hmac.new(self._secret, f"{what}:{name}".encode(), hashlib.sha256).hexdigest()


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())


class OneTimeCode:
    """A code printed at the laptop that lets one browser in; the next browser needs the next code."""

    def __init__(self, announce: Callable[[str], None]) -> None:
        self._announce = announce
        self._renew()

    def redeem(self, given: str) -> bool:
        """Whether it was the code, which is used up then, and replaced too after ten wrong ones."""
        typed = "".join(letter for letter in given.upper() if letter.isalnum())
        right = _same(typed, self._code)
        self._wrong += not right
        if right or self._wrong >= WRONG_BEFORE_NEW:
            self._renew()
        return right

    def _renew(self) -> None:
        self._wrong = 0
        self._code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        self._announce(f"{self._code[:4]}-{self._code[4:]}")


# What comes in ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class House:
    """Where the page lives."""

    port: int
    # Beside these a numbered address always may: no stranger's page can pass its own name off as that.
    names: Collection[str] = ("localhost",)
    trusts: bool = True  # whether a browser on this machine is let in without a code

    @property
    def cookie(self) -> str:
        """Name of the cookie; a browser does not tell ports apart."""
        return f"potsim_{self.port}"

    def knows(self, host: str) -> bool:
        """Whether a Host header names this house."""
        name, port = host, ""
        if host.startswith("["):
            name, _, rest = host[1:].partition("]")
            port = rest.removeprefix(":")
        elif ":" in host:
            name, _, port = host.partition(":")
        if port != str(self.port) and not (self.port == 80 and not port):
            return False
        return name.lower() in self.names or _number(name) is not None

    def asks(self, address: str) -> bool:
        """Whether a browser at an address has to bring a code: not one on this machine."""
        number = _number(address)
        return not (self.trusts and number is not None and number.is_loopback)


def _number(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def address_of(scope: Scope) -> str:
    """Return the address that a request comes from."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def malformed(of: str, status: int = 400, why: str = "") -> Response:
    """Return the refusal of a request that no page of ours would send: which one, and the status of HTTP."""
    error = RequestError.of("malformed", of=of, why=why[:LONGEST_REFUSAL])
    refused = answer_body({"refused": {"message": error.message, "hint": error.hint, "path": ""}})
    return Response(refused.plain, status, media_type="application/json")


def slow() -> Response:
    """Return what is told to whoever asks too often."""
    answer = malformed("too_often", 429)
    answer.headers["Retry-After"] = "1"
    return answer


class Guard:
    """Middleware that refuses before anything else looks at a request."""

    def __init__(self, app: ASGIApp, house: House, sessions: Sessions) -> None:
        self._app, self._house, self._sessions = app, house, sessions
        self._requests = Buckets(REQUESTS)
        self._files = Buckets(FILES)
        self._arrivals = Buckets(NEW_SESSIONS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        out = _with_headers(send)
        answer = self._refused(scope, headers)
        if answer is None:
            name = self._sessions.name(HTTPConnection(scope).cookies.get(self._house.cookie))
            answer, fresh = self._let_in(scope, headers, name)
            if answer is None:
                scope["session_name"] = self._sessions.name(fresh) if fresh else name
                if fresh:
                    out = _with_cookie(out, self._house, fresh)
                body = await _body(headers, receive)
                if isinstance(body, bytes):
                    await self._app(scope, _replay(body, receive), out)
                    return
                answer = body
        await answer(scope, receive, out)

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        """What a foreign page, or no browser at all, is told."""
        host = headers.get("host", "")
        if len(headers.getlist("host")) != 1 or not self._house.knows(host):
            return malformed("other_name", 403)
        if len(scope["raw_path"] or b"") + len(scope["query_string"]) > URL_BYTES:
            return malformed("long_address", 414)
        if scope["method"] not in {"GET", "HEAD", "POST"}:
            return malformed("method", 405)
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return malformed("elsewhere", 403)
        site = headers.get("sec-fetch-site", "none")
        path = scope["path"]
        opened = (path == "/" or path.startswith("/in/")) and headers.get("sec-fetch-dest") == "document"
        if site not in {"same-origin", "none"} and not opened:
            return malformed("elsewhere", 403)
        if scope["method"] == "POST" and origin is None and site != "same-origin":
            return malformed("no_origin", 403)
        return None

    def _let_in(self, scope: Scope, headers: Headers, name: str | None) -> tuple[Response | None, str | None]:
        """Return what a browser without a session is told, or the cookie of its new session."""
        path, address = scope["path"], address_of(scope)
        asked = self._house.asks(address)
        if path.startswith(FREE) or path == "/code" or path.startswith("/in/"):
            return (None if self._files.take(address) else slow()), None
        if name is None and asked:
            if path == "/":
                return RedirectResponse("/code", 303), None
            return malformed("not_let_in", 401), None
        if name is None and path == "/":
            if not self._arrivals.take(address):
                return slow(), None
            return None, self._sessions.new()
        if name is None:
            return malformed("session", 401), None
        if not self._requests.take(name):
            return slow(), None
        if scope["method"] == "POST" and not self._sessions.shows(name, headers.get(TOKEN)):
            return malformed("token", 403), None
        return None, None


async def _body(headers: Headers, receive: Receive) -> bytes | Response:
    """Read the whole body, or say why it is not read."""
    too_large = malformed("long_body", 413)
    announced = headers.get("content-length", "0")
    if not announced.isdecimal() or int(announced[:12]) > BODY_BYTES:
        return too_large
    parts, size = [], 0
    try:
        async with asyncio.timeout(BODY_S):
            more = True
            while more:
                message = await receive()
                if message["type"] == "http.disconnect":
                    return malformed("ended_early")
                parts.append(message.get("body", b""))
                size += len(parts[-1])
                more = message.get("more_body", False)
                if size > BODY_BYTES:
                    return too_large
    except TimeoutError:
        return malformed("slow_body", 408)
    return b"".join(parts)


def _replay(body: bytes, receive: Receive) -> Receive:
    waiting: list[Any] = [{"type": "http.request", "body": body, "more_body": False}]

    async def replay() -> Message:
        return waiting.pop() if waiting else await receive()

    return replay


def _with_headers(send: Send) -> Send:
    async def out(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return out


def _with_cookie(send: Send, house: House, cookie: str) -> Send:
    async def out(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).append("Set-Cookie", cookie_header(house, cookie))
        await send(message)

    return out


def cookie_header(house: House, cookie: str) -> str:
    """Return the header that gives a browser its session; ``cookie`` is from `Sessions.new`."""
    return f"{house.cookie}={cookie}; Max-Age={COOKIE_S}; Path=/; HttpOnly; SameSite=Strict"


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
    """Return modules as one script: each a closure that hands out its exports, those it needs before it."""
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


def served(asset: Asset, request: Request, **more: str) -> Response:
    """Return a file of the page, packed if the browser can unpack it; nothing if it has it already."""
    headers = {"ETag": asset.etag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding", **more}
    if request.headers.get("if-none-match") == asset.etag:
        return Response(status_code=304, headers=headers)
    if _packs(request):
        headers["Content-Encoding"] = "gzip"
        return Response(asset.packed, media_type=asset.media_type, headers=headers)
    return Response(asset.content, media_type=asset.media_type, headers=headers)


def sent_back(answer: Body, request: Request, *, status: int = 200, tagged: bool = False) -> Response:
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
