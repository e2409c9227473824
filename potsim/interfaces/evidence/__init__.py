"""A comparison of computed with published values, the verdict on it, and the table of all."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping, Sequence
from functools import cache
from types import ModuleType
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from potsim.interfaces.report import wrapped
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
    published: NDArray[np.float64]  # the values as printed
    computed: NDArray[np.float64]  # ours for the same conditions
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


def fulfilled(subject: str, source: str, told: Sequence[bool], note: str = "") -> Comparison:
    """Build a `Comparison` of what practice says with whether it is foretold, 1 for each that is."""
    true, ours = np.ones(len(told)), np.array(told, dtype=float)
    return compare(f"{subject} (1 yes)", source, "-", true, ours, 0.1, role="practice", note=note)


# --- Every comparison there is: those of all modules of this package.


def modules() -> tuple[str, ...]:
    """Return the names of the modules that hold comparisons; a new one needs no registration."""
    every = sorted(module.name for module in pkgutil.iter_modules(__path__))
    return tuple(name for name in every if hasattr(_module(name), "comparisons"))


@cache
def everything() -> dict[str, list[Comparison]]:
    """Return all comparisons by the module that holds them."""
    return {name: list(_module(name).comparisons()) for name in modules()}


def _module(name: str) -> ModuleType:
    return importlib.import_module(f"{__name__}.{name}")


# --- The table of evidence, for a terminal and for the repository.


HEAD = f"{'role':<8}  {'n':>4}  {'rms':>9}  {'worst':>9}  {'tolerance':>9}  {'limits':<8}  holds"
COLUMNS = ("subject", "source", "role", "n", "rms", "worst", "tolerance", "unit", "limits", "holds", "note")
NOTHING = 1e-6  # of the tolerance; less is rounding, and is printed as 0
LIMITS = (
    "limits: what the tolerance holds for, every value (worst), the root mean square (rms) or a share of the "
    "values. Roles: fitted values entered a regression, tested ones did not, practice is of the trade."
)


def verdict(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return in a sentence how many comparisons hold."""
    flat = [c for comparisons in every.values() for c in comparisons]
    missed = [c for c in flat if not c.holds]
    values = sum(c.n for c in flat)
    said = f"{len(flat) - len(missed)} of {len(flat)} comparisons hold, of {values} published values in all."
    if not missed:
        return said
    return f"{said} Not held: " + "; ".join(f"{c.subject} ({c.source})" for c in missed) + "."


def cells(comparison: Comparison) -> tuple[str, ...]:
    """Return one comparison as texts, in the order of `COLUMNS`."""
    c = comparison
    return (
        c.subject,
        c.source,
        c.role,
        str(c.n),
        _short(c.rms, c.tolerance),
        _short(c.worst, c.tolerance, sign=True),
        f"{c.tolerance:.3g}",
        c.unit,
        f"{100.0 * c.share:.0f} %" if c.criterion == "share" else c.criterion,
        "yes" if c.holds else "NO",
        c.note,
    )


def _short(value: float, tolerance: float, *, sign: bool = False) -> str:
    if abs(value) < NOTHING * tolerance:
        return "0"
    return f"{value:+.3g}" if sign else f"{value:.3g}"


def text_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return the evidence as text of at most 80 columns."""
    lines: list[str] = []
    for title, comparisons in every.items():
        lines += [_title(title), f"    {HEAD}"]
        for comparison in comparisons:
            lines += _lines(comparison)
        lines.append("")
    return "\n".join([*lines, *wrapped(LIMITS), "", *wrapped(verdict(every))])


def _lines(comparison: Comparison) -> list[str]:
    subject, source, role, n, rms, worst, tolerance, unit, limits, holds, _ = cells(comparison)
    of = "" if unit == "-" else f" [{unit}]"
    numbers = f"{role:<8}  {n:>4}  {rms:>9}  {worst:>9}  {tolerance:>9}  {limits:<8}  {holds}"
    return [*wrapped(f"{subject}{of}: {source}", first="  "), f"    {numbers}"]


def markdown_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return the evidence as the Markdown that is kept in the repository."""
    lines = [
        "# Evidence",
        "",
        "Published values and how far potsim is from them. Written by `potsim evidence --markdown`; a test",
        "holds this file to what that prints.",
        "",
        verdict(every),
        "",
        LIMITS[0].upper() + LIMITS[1:],
    ]
    for title, comparisons in every.items():
        lines += ["", f"## {_title(title)}", "", _row(COLUMNS), _row(["---"] * len(COLUMNS))]
        lines += [_row(cells(comparison)) for comparison in comparisons]
    return "\n".join(lines)


def _row(texts: Sequence[str]) -> str:
    return "| " + " | ".join(text.replace("|", "\\|") for text in texts) + " |"


def data_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> list[dict[str, Any]]:
    """Return the evidence as plain data."""
    return [
        {
            "module": title,
            "subject": c.subject,
            "source": c.source,
            "role": c.role,
            "unit": c.unit,
            "n": c.n,
            "rms": c.rms,
            "worst": c.worst,
            "tolerance": c.tolerance,
            "criterion": c.criterion,
            "share": c.share,
            "holds": c.holds,
            "note": c.note,
            "published": c.published.tolist(),
            "computed": c.computed.tolist(),
        }
        for title, comparisons in every.items()
        for c in comparisons
    ]


def _title(module: str) -> str:
    return module.replace("_", " ").capitalize()
