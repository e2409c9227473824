"""How much the page takes: sizes, rates, and how many calculations wait at a time."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

BODY_BYTES = 256 * 1024
BODY_S = 10.0  # to send a body
URL_BYTES = 1024
SESSIONS = 2000  # that are counted apart
AT_ONCE = 4  # calculations of one session
WAITING = 120  # calculations of all sessions


@dataclass(frozen=True)
class Rate:
    """A steady rate with some slack."""

    per_s: float  # requests a second in the long run
    burst: float  # requests at once after a rest


REQUESTS = Rate(60.0, 240.0)  # of one session; a slider sends at most as fast as replies come
FILES = Rate(2000.0, 6000.0)  # of the page itself, of all browsers; a first visit takes some thirty
NEW_SESSIONS = Rate(10.0, 200.0)  # of all browsers
CODES = Rate(0.2, 5.0)  # one-time codes tried, of all browsers


class Buckets:
    """One token bucket for each key; the longest unused is forgotten when there are too many."""

    def __init__(self, rate: Rate, most: int = SESSIONS, clock: Callable[[], float] = time.monotonic) -> None:
        self._rate = rate
        self._most = most
        self._clock = clock
        self._held: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._held)

    def take(self, key: str) -> bool:
        """Take one token."""
        now = self._clock()
        tokens, then = self._held.pop(key, (self._rate.burst, now))
        tokens = min(self._rate.burst, tokens + (now - then) * self._rate.per_s)
        enough = tokens >= 1.0
        self._held[key] = (tokens - 1.0 if enough else tokens, now)
        if len(self._held) > self._most:
            self._held.popitem(last=False)
        return enough


class TooBusyError(Exception):
    """More calculations are under way than the page takes."""


class Turnstile:
    """Counts the calculations under way, of each session and in all."""

    def __init__(self) -> None:
        self._of: dict[str, int] = {}
        self._all = 0

    @asynccontextmanager
    async def turn(self, session: str) -> AsyncIterator[None]:
        """Hold a place while a calculation is under way."""
        if self._all >= WAITING or self._of.get(session, 0) >= AT_ONCE:
            raise TooBusyError
        self._all += 1
        self._of[session] = self._of.get(session, 0) + 1
        try:
            yield
        finally:
            self._all -= 1
            self._of[session] -= 1
            if not self._of[session]:
                del self._of[session]
