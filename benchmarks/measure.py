"""A measured row: two ways of doing one thing, timed side by side, with the answers compared."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One budget.

    Parameters
    ----------
    what : str
        What is measured.
    measured : float
        A ratio of times, or megabytes.
    budget : float
        Its limit.
    at_least : bool
        Whether the budget is a floor (so many times faster) or a ceiling.
    unit : str
        ``"x"`` for a ratio.
    agreement : str
        How well the answers agree.
    """

    what: str
    measured: float
    budget: float
    at_least: bool
    unit: str = "x"
    agreement: str = ""

    @property
    def met(self) -> bool:
        """Whether the budget holds."""
        return self.measured >= self.budget if self.at_least else self.measured <= self.budget


def best_of(times: int, work: Callable[[], object]) -> float:
    """Seconds of the quickest of several calls: the least disturbed by other work on the machine."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def best_process(times: int, *arguments: str) -> float:
    """Seconds of the quickest of several fresh Python processes, start included."""
    return best_of(
        times, lambda: subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    )
