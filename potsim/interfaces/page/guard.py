"""The door: what may come in, and the headers that everything which goes out carries."""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Collection
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from potsim.interfaces.page import limits
from potsim.interfaces.page.access import Sessions
from potsim.interfaces.page.answers import malformed

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
COOKIE_S = 30 * 24 * 3600
TOKEN = "x-potsim-token"
FREE = ("/static/", "/favicon.ico")  # to be seen without a session


@dataclass(frozen=True)
class House:
    """Where the page lives."""

    port: int  # where it listens
    # names that it may be called by; a numbered address always may, for no stranger's page can pass its own
    # name off as that
    names: Collection[str] = ("localhost",)
    code_needed: bool = False  # whether a one-time code lets browsers in

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
        return name.lower() in self.names or _numbered(name)


def _numbered(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Guard:
    """Middleware that refuses before anything else looks at a request."""

    def __init__(self, app: ASGIApp, house: House, sessions: Sessions) -> None:
        self._app = app
        self._house = house
        self._sessions = sessions
        self._requests = limits.Buckets(limits.REQUESTS)
        self._files = limits.Buckets(limits.FILES, 1)
        self._arrivals = limits.Buckets(limits.NEW_SESSIONS, 1)

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
            name = self._sessions.name(_cookie(headers, self._house.cookie))
            answer, fresh = self._let_in(scope, headers, name)
            if answer is None:
                scope["session_name"] = self._sessions.name(fresh) if fresh else name
                if fresh:
                    out = _with_cookie(out, self._house, fresh)
                body = await _body(scope, headers, receive)
                if isinstance(body, bytes):
                    await self._app(scope, _replay(body), out)
                    return
                answer = body
        await answer(scope, receive, out)

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        """What a foreign page, or no browser at all, is told."""
        host = headers.get("host", "")
        if len(headers.getlist("host")) != 1 or not self._house.knows(host):
            return malformed("This server does not go by the name it was called by.", 403)
        if len(scope["raw_path"] or b"") + len(scope["query_string"]) > limits.URL_BYTES:
            return malformed(f"The address has more than {limits.URL_BYTES} bytes.", 414)
        if scope["method"] not in {"GET", "HEAD", "POST"}:
            return malformed("Only GET, HEAD and POST are served.", 405)
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return malformed("Requests from other origins are refused.", 403)
        site = headers.get("sec-fetch-site", "none")
        opened = scope["path"] == "/" and headers.get("sec-fetch-dest") == "document"
        if site not in {"same-origin", "none"} and not opened:
            return malformed("Requests from other sites are refused.", 403)
        if scope["method"] == "POST" and origin is None and site != "same-origin":
            return malformed("A request that changes something must say where it comes from.", 403)
        return None

    def _let_in(self, scope: Scope, headers: Headers, name: str | None) -> tuple[Response | None, str | None]:
        """Return what a browser without a session is told, or the cookie of its new session."""
        path, fresh = scope["path"], None
        if path.startswith(FREE) or (path == "/code" and self._house.code_needed):
            return (None if self._files.take("") else _slow()), None
        if name is None and self._house.code_needed:
            if path == "/":
                return RedirectResponse("/code", 303), None
            return malformed("This browser has not been let in. Open the page and enter the code.", 401), None
        if name is None and path == "/":
            if not self._arrivals.take(""):
                return _slow(), None
            fresh = self._sessions.new()
            return None, fresh
        if name is None:
            return malformed("This session is not known any more. Open the page anew.", 401), None
        if not self._requests.take(name):
            return _slow(), None
        if scope["method"] == "POST" and not self._sessions.shows(name, headers.get(TOKEN)):
            return malformed("The request does not carry the token of its page.", 403), None
        return None, None


def _slow() -> Response:
    answer = malformed("Too many requests. Wait a moment.", 429)
    answer.headers["Retry-After"] = "1"
    return answer


def _cookie(headers: Headers, name: str) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return None if found is None else found.value


async def _body(scope: Scope, headers: Headers, receive: Receive) -> bytes | Response:
    """Read the whole body, or say why it is not read."""
    too_large = malformed(f"The request has more than {limits.BODY_BYTES} bytes.", 413)
    announced = headers.get("content-length", "0")
    if not announced.isdecimal() or int(announced[:12]) > limits.BODY_BYTES:
        return too_large
    body = b""
    try:
        async with asyncio.timeout(limits.BODY_S):
            more = True
            while more:
                message = await receive()
                if message["type"] == "http.disconnect":
                    return malformed("The request ended early.", 400)
                body += message.get("body", b"")
                more = message.get("more_body", False)
                if len(body) > limits.BODY_BYTES:
                    return too_large
    except TimeoutError:
        return malformed("The request took too long to come.", 408)
    return body


def _replay(body: bytes) -> Receive:
    waiting = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> Message:
        return waiting.pop() if waiting else {"type": "http.disconnect"}

    return receive


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
    """Return the header that gives a browser its session."""
    return f"{house.cookie}={cookie}; Max-Age={COOKIE_S}; Path=/; HttpOnly; SameSite=Strict"
