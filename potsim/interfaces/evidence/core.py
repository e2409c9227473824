"""A comparison of computed with published values, and the verdict on it."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from types import ModuleType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from potsim.interfaces import evidence
from potsim.records import dataclass

Role = Literal["fitted", "tested", "practice"]
Criterion = Literal["worst", "rms", "share"]


@dataclass(frozen=True)
class Comparison:
    """Published values beside ours."""

    subject: str  # what is compared, such as ``"density of ethanol-water"``
    source: str  # where the values were published; ``"common practice, no source"`` for facts of the trade
    # unit of ``published``, ``computed`` and ``tolerance``; ``"-"`` for none. Give logarithms as
    # ``"log10"`` so that a difference of 0.3 reads as a factor of two
    unit: str
    published: NDArray[np.float64]  # the values as printed and ours for the same conditions
    computed: NDArray[np.float64]  # the values as printed and ours for the same conditions
    # how far ours may lie, chosen from the uncertainty that the source states, never from what passes
    tolerance: float
    # whether the values entered a regression, only tested it, or are a practice of the trade
    role: Role = "tested"
    # what the tolerance limits: every value, the root mean square, or all but a share of values
    criterion: Criterion = "worst"
    # for ``criterion='share'``: the least share of the values that must lie within the tolerance
    share: float = 1.0
    note: str = ""  # what a reader must know: memory, errata, spread between sources, a known weakness

    @property
    def n(self) -> int:
        """Number of values."""
        return int(self.published.size)

    @property
    def deviations(self) -> NDArray[np.float64]:
        """Computed less published, in ``unit``."""
        return self.computed - self.published

    @property
    def rms(self) -> float:
        """Root mean square deviation, in ``unit``."""
        return float(np.sqrt(np.mean(self.deviations**2)))

    @property
    def worst(self) -> float:
        """Deviation of the value furthest off, with its sign, in ``unit``."""
        return float(self.deviations[np.argmax(np.abs(self.deviations))])

    @property
    def within(self) -> float:
        """Share of the values within the tolerance, 0 to 1."""
        return float(np.mean(np.abs(self.deviations) <= self.tolerance))

    @property
    def holds(self) -> bool:
        """Whether the criterion is met."""
        if self.criterion == "rms":
            return self.rms <= self.tolerance
        if self.criterion == "share":
            return self.within >= self.share
        return abs(self.worst) <= self.tolerance

    def shifted(self, tolerances: float) -> Comparison:
        """Return the same comparison with every published value moved by so many tolerances."""
        return compare(
            self.subject,
            self.source,
            self.unit,
            self.published + tolerances * self.tolerance,
            self.computed,
            self.tolerance,
            role=self.role,
            criterion=self.criterion,
            share=self.share,
            note=self.note,
        )


def compare(
    subject: str,
    source: str,
    unit: str,
    published: ArrayLike,
    computed: ArrayLike,
    tolerance: float,
    *,
    role: Role = "tested",
    criterion: Criterion = "worst",
    share: float = 1.0,
    note: str = "",
) -> Comparison:
    """Build a `Comparison` from anything array-like, refusing unequal or empty columns."""
    there = np.atleast_1d(np.asarray(published, dtype=float)).ravel()
    ours = np.atleast_1d(np.asarray(computed, dtype=float)).ravel()
    if there.size == 0 or there.shape != ours.shape:
        raise ValueError(f"{subject}: {there.size} published values against {ours.size} computed ones.")
    if not (np.isfinite(there).all() and np.isfinite(ours).all()):
        raise ValueError(f"{subject}: a value is not finite.")
    return Comparison(subject, source, unit, there, ours, tolerance, role, criterion, share, note)


# --- Every comparison there is: those of all modules of this package.


def modules() -> tuple[str, ...]:
    """Return the names of the modules that hold comparisons; a new one needs no registration."""
    every = sorted(module.name for module in pkgutil.iter_modules(evidence.__path__))
    return tuple(name for name in every if hasattr(_module(name), "comparisons"))


@cache
def everything() -> dict[str, list[Comparison]]:
    """Return all comparisons by the module that holds them."""
    return {name: list(_module(name).comparisons()) for name in modules()}


def _module(name: str) -> ModuleType:
    return importlib.import_module(f"{evidence.__name__}.{name}")
