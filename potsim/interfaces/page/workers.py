"""Calculations in processes of their own, each with a budget of time and memory, that can be stopped."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import importlib
import json
import math
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Mapping
from dataclasses import field
from multiprocessing.connection import Connection
from typing import Any

from potsim.errors import PotsimError
from potsim.records import dataclass

TASKS = "potsim.interfaces.page.runs"
"""The module whose ``TASKS`` the processes know, by name."""
MEMORY_BYTES = 768 * 1024 * 1024  # on top of what a process takes at rest
START_S = 120.0  # for a process to come up, on a slow machine
WAIT_TIMES = 8.0  # of its budget that a piece may take by the clock, on a machine that has other things to do
AT_ONCE = 4  # calculations of one session that wait or run
REST_S = 60.0  # after which a process that is rarely needed gives back its memory
WAITING = 60  # calculations that wait in a lane
PACKED_FROM = 600  # bytes; less is not worth packing
_OK, _REFUSED, _FAULT = "ok", "refused", "fault"


@dataclass(frozen=True)
class Lane:
    """A process that does one kind of work; ``seconds`` of the processor are the budget of each piece.

    ``soon`` is one that comes up as soon as anybody opens the page.
    """

    name: str
    seconds: float
    soon: bool = True


LANES = (Lane("plan", 10.0), Lane("run", 10.0), Lane("study", 40.0, soon=False))
"""What answers a finger on the plan, what follows a run, and what may take longer, kept apart."""


class TooBusyError(Exception):
    """More calculations wait than the page takes."""


class SupersededError(Exception):
    """A newer request of the same kind has come while this one waited."""


class BudgetError(Exception):
    """A calculation took more time or memory than its budget, and was stopped."""


class FaultError(Exception):
    """Something unforeseen happened in a calculation."""


@dataclass(frozen=True)
class Body:
    """An answer as it goes over the wire: JSON in ASCII, plain and packed."""

    plain: bytes
    packed: bytes | None = None
    refused: bool = False

    @property
    def data(self) -> Any:
        """What it says."""
        return json.loads(self.plain)


def body(value: Any, *, refused: bool = False) -> Body:
    """Return plain data as an answer."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":")).encode("ascii")
    packed = gzip.compress(text, 6, mtime=0) if len(text) >= PACKED_FROM else None
    return Body(text, packed, refused)


def _limit_memory() -> None:
    """Let this process have so much more than it has now, where the system can say so."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        resource: Any = importlib.import_module("resource")
        with open("/proc/self/statm", encoding="ascii") as file:
            now = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (now + MEMORY_BYTES, now + MEMORY_BYTES))


def _limit_time(seconds: float) -> None:
    """Let this process have so many more seconds of the processor; beyond them the system ends it."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        resource: Any = importlib.import_module("resource")
        used = resource.getrusage(resource.RUSAGE_SELF)
        most = math.ceil(used.ru_utime + used.ru_stime + seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (most, resource.getrlimit(resource.RLIMIT_CPU)[1]))


def serve(line: Connection, module: str, seconds: float) -> None:
    """Do what comes down the line until it ends; the main function of a process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    tasks: Mapping[str, Any] = importlib.import_module(module).TASKS
    _limit_memory()
    line.send((_OK, Body(b"{}")))
    while True:
        try:
            task, sent = line.recv()
        except (EOFError, OSError):
            return
        _limit_time(seconds)
        line.send(_done(tasks, task, sent))


def _done(tasks: Mapping[str, Any], task: str, sent: dict[str, Any]) -> tuple[str, Body]:
    try:
        return _OK, body(tasks[task](sent))
    except PotsimError as error:
        return _REFUSED, body(tasks["refusal"](error), refused=True)
    except RecursionError:
        return _FAULT, Body(b"nested")
    except MemoryError:
        return _FAULT, Body(b"memory")
    except Exception as error:  # noqa: BLE001 - told to whoever asked, and the process lives on
        return _FAULT, Body(f"{type(error).__name__}: {error}".encode("ascii", "replace"))


@dataclass
class _Job:
    task: str
    sent: dict[str, Any]
    slot: tuple[str, str] | None
    done: asyncio.Future[Body]


@dataclass
class _Process:
    """One process with its line; started when it is first needed, and again after it was stopped."""

    lane: Lane
    module: str
    process: Any = None
    line: Any = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        fresh = context.Process(target=serve, args=(theirs, self.module, self.lane.seconds), daemon=True)
        fresh.start()
        theirs.close()
        self.process, self.line = fresh, ours
        if not ours.poll(START_S):
            self.stop()
            raise BudgetError
        try:
            ours.recv()
        except (EOFError, OSError):
            self.stop()
            raise FaultError("a process of the page could not be started") from None

    def stop(self) -> None:
        process, self.process = self.process, None
        if process is not None:
            process.kill()
            process.join(5)
        if self.line is not None:
            self.line.close()

    def rest(self) -> None:
        """Give back its memory until it is needed again; waits for what it does."""
        with self.lock:
            self.stop()

    def ask(self, task: str, sent: dict[str, Any]) -> Body:
        """Have one piece of work done; stops the process if it takes too long."""
        with self.lock:
            if self.process is None or not self.process.is_alive():
                self.stop()
                self.start()
            try:
                self.line.send((task, sent))
                if not self.line.poll(WAIT_TIMES * self.lane.seconds):
                    self.stop()
                    raise BudgetError
                kind, answer = self.line.recv()
            except (EOFError, OSError):
                self.stop()
                raise BudgetError from None
        if kind == _FAULT:
            if answer.plain in (b"memory", b"nested"):
                raise BudgetError
            raise FaultError(answer.plain.decode())
        return answer  # type: ignore[no-any-return]


class Workers:
    """The processes of a page."""

    def __init__(self, module: str = TASKS, lanes: tuple[Lane, ...] = LANES) -> None:
        self._processes = {lane.name: _Process(lane, module) for lane in lanes}
        self._waiting: dict[str, deque[_Job]] = {lane.name: deque() for lane in lanes}
        self._busy: dict[str, asyncio.Task[None]] = {}
        self._of: dict[str, int] = {}
        self._owns = True

    async def ask(
        self, lane: str, task: str, sent: dict[str, Any], owner: str = "", slot: str | None = None
    ) -> Body:
        """Have one piece of work done.

        Each owner may have a few waiting; a newer one of its ``slot`` takes the place of one that waits.
        """
        waiting = self._waiting[lane]
        place = None if slot is None else (owner, slot)
        for job in [j for j in waiting if place is not None and j.slot == place]:
            waiting.remove(job)
            if not job.done.done():
                job.done.set_exception(SupersededError())
        if len(waiting) >= WAITING or (owner and self._of.get(owner, 0) >= AT_ONCE):
            raise TooBusyError
        job = _Job(task, sent, place, asyncio.get_running_loop().create_future())
        waiting.append(job)
        self._of[owner] = self._of.get(owner, 0) + 1
        if lane not in self._busy:
            self._busy[lane] = asyncio.get_running_loop().create_task(self._work(lane))
        try:
            return await job.done
        finally:
            self._of[owner] -= 1
            if not self._of[owner]:
                del self._of[owner]

    async def _work(self, lane: str) -> None:
        waiting, process = self._waiting[lane], self._processes[lane]
        try:
            while waiting:
                job = waiting.popleft()
                if job.done.done():
                    continue
                try:
                    answer = await asyncio.to_thread(process.ask, job.task, job.sent)
                except Exception as error:  # noqa: BLE001 - handed to whoever asked
                    if not job.done.done():
                        job.done.set_exception(error)
                else:
                    if not job.done.done():
                        job.done.set_result(answer)
        finally:
            del self._busy[lane]
            if not process.lane.soon:
                asyncio.get_running_loop().call_later(REST_S, self._rest, lane)

    def _rest(self, lane: str) -> None:
        if lane not in self._busy:
            asyncio.get_running_loop().run_in_executor(None, self._processes[lane].rest)

    def warm(self) -> None:
        """Let the processes come up, before anyone waits for them."""
        for name, one in self._processes.items():
            if one.process is not None or name in self._busy or not one.lane.soon:
                continue
            task = asyncio.get_running_loop().create_task(self.ask(name, "start", {}))
            task.add_done_callback(lambda done: done.cancelled() or done.exception())

    def shared(self) -> Workers:
        """Return others that use the same processes, for a second server."""
        other = Workers(lanes=())
        other._processes, other._owns = self._processes, False
        other._waiting = {name: deque() for name in self._processes}
        return other

    def close(self) -> None:
        """Stop all processes, but for those that are another's."""
        if not self._owns:
            return
        for process in self._processes.values():
            process.stop()
