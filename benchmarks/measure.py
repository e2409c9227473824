"""A measured row: two ways of doing one thing, timed side by side, with the answers compared."""

from __future__ import annotations

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
    budget : float, optional
        Its limit; none for what is only reported.
    at_least : bool
        Whether the budget is a floor (so many times faster) or a ceiling.
    unit : str
        ``"x"`` for a ratio.
    agreement : str
        How well the answers agree.
    """

    what: str
    measured: float
    budget: float | None = None
    at_least: bool = True
    unit: str = "x"
    agreement: str = ""

    @property
    def met(self) -> bool:
        """Whether the budget holds."""
        if self.budget is None:
            return True
        return self.measured >= self.budget if self.at_least else self.measured <= self.budget


def best_of(times: int, work: Callable[[], object]) -> float:
    """Seconds of the quickest of several calls: the least disturbed by other work on the machine."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best
