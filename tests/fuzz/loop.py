"""The loop: inputs that reach new lines are changed further; what should not happen is written down."""

from __future__ import annotations

import hashlib
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

import atheris

from tests.fuzz.changes import Changer
from tests.fuzz.target import Target

CPU_S = 10.0  # longer than this on one input is a hang
MEMORY_MB = 200.0  # more than this for one input is too much
LONGEST = 20_000  # bytes of an input


class HangError(BaseException):
    """One input takes too long."""


class TooMuchError(Exception):
    """One input takes too much memory."""


@dataclass
class Tally:
    """What has come of the tries so far."""

    target: Target
    tries: int
    found: Path
    started: float = field(default_factory=time.perf_counter)
    done: int = 0
    slowest_s: float = 0.0
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)

    def one(self, data: bytes) -> None:
        """Try one input, whatever comes of it; at the last one, report and end the process."""
        begun, before_mb = time.process_time(), _peak_mb()
        signal.setitimer(signal.ITIMER_PROF, CPU_S)
        try:
            outcome = self.target.attempt(data)
            if (more := _peak_mb() - before_mb) > MEMORY_MB:
                raise TooMuchError(f"{more:.0f} MB more")
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            outcome = "fault"
            self._keep(error, data)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
        self.slowest_s = max(self.slowest_s, time.process_time() - begun)
        self.outcomes[outcome] += 1
        if self.outcomes[outcome] == 1:
            (self.found / f"first-{outcome.replace(' ', '-')}").write_bytes(data)
        self.done += 1
        if self.done % 10_000 == 0 or self.done == self.tries:
            self._report()
        if self.done == self.tries:
            sys.stdout.flush()
            os._exit(1 if self.faults else 0)

    def _keep(self, error: BaseException, data: bytes) -> None:
        """Write a new kind of fault down, with the input that brought it."""
        frames = [f for f in traceback.extract_tb(error.__traceback__) if "/tests/fuzz/" not in f.filename]
        place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "here"
        kind = f"{type(error).__name__} at {place}: {str(error)[:160]}"
        short = f"{type(error).__name__}-{place}".replace(":", "-")
        same = kind.partition(": ")[0] if frames else kind[:100]  # what a check of ours says, tells it
        if not any(known.startswith(same) for known in self.faults):
            where = self.found / f"{short}-{hashlib.sha256(data).hexdigest()[:8]}"
            where.write_bytes(data)
            print(f"FAULT {kind}\n  input kept in {where}", flush=True)
            traceback.print_exception(error)
        self.faults[kind] += 1

    def _report(self) -> None:
        took = time.perf_counter() - self.started
        came = ", ".join(f"{count} {what}" for what, count in self.outcomes.most_common())
        print(
            f"{self.target.name}: {self.done} tries in {took:.0f} s, slowest {self.slowest_s:.1f} s, "
            f"{_peak_mb():.0f} MB: {came}",
            flush=True,
        )
        if self.done == self.tries:
            print(
                f"{len(self.faults)} kinds of fault"
                + "".join(f"\n  {c} x {k}" for k, c in self.faults.items())
            )


def _peak_mb() -> float:
    """The most memory this process ever took; Linux counts in kB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _hang(number: int, frame: FrameType | None) -> None:
    raise HangError(f"more than {CPU_S:g} s on one input")


def fuzz(target: Target, tries: int, seed: int, found: Path) -> None:
    """Fuzz a target; ends the process with 1 if anything was found, else 0.

    Parameters
    ----------
    target : Target
        What to fuzz.
    tries : int
        Number of inputs.
    seed : int
        Where chance begins.
    found : Path
        Folder for inputs that bring a fault.
    """
    found.mkdir(parents=True, exist_ok=True)
    tally = Tally(target, tries, found)
    changer = Changer(target.seeds, target.tokens)
    signal.signal(signal.SIGPROF, _hang)

    def change(data: bytes, most: int, number: int) -> bytes:
        return changer.change(data, most, number, atheris.Mutate)

    with tempfile.TemporaryDirectory() as kept, tempfile.TemporaryDirectory() as seeds:
        for k, text in enumerate(target.seeds):
            (Path(seeds) / f"{k}").write_bytes(text)
        options: list[Any] = [sys.argv[0], f"-max_len={LONGEST}", f"-seed={seed}", "-timeout=300"]
        options += [
            "-rss_limit_mb=0",
            "-report_slow_units=300",
            f"-artifact_prefix={found}/",
            "-verbosity=0",
            "-len_control=0",
            "-mutate_depth=1",
            "-cross_over=0",
            kept,
            seeds,
        ]
        atheris.Setup(options, tally.one, custom_mutator=change)
        atheris.Fuzz()
