"""Which size of jar to put where: small near a cut and where the stream changes fast, large between."""

from __future__ import annotations

import bisect
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.planning.amounts import Amounts
from potsim.planning.plan import MOST_JARS, JarStock

Array = NDArray[np.float64]

# Sizes in which jars are commonly sold or marked [L]; common practice, no source.
KITCHEN_L = (
    *(0.001, 0.002, 0.005, 0.01, 0.02, 0.03, 0.06, 0.1, 0.125, 0.25, 0.35, 0.5, 0.75),
    *(1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0),
)
# Our choices for a proposed row.
PROPOSED_JARS = 14  # between heads and the end of a run of a litre or more
FEWEST_JARS = 6
JAR_TO_READ_L = 0.06  # a small run takes fewer jars rather than jars in which no hydrometer floats
MOST_SIZES = 3
BASE, CHANGE, NEARNESS = 0.4, 0.25, 0.35  # what jars are shared out by: volume, change of strength, cuts
REACH = 0.08  # how far a cut makes itself felt, as a share of the volume after the heads
LAST = 1.5  # a last jar up to so much larger than wanted is taken rather than two
FULL = 1e-9  # of its size, to which a jar is filled
COVER = 1.0 + 1e-4  # the stream drop by drop is told to about this
STRETCHES = (1.0, 1.4, 0.7, 2.0, 0.5, 2.8, 0.35, 4.0, 0.25, 8.0, 0.12)  # of the wanted sizes, tried in order


@dataclass(frozen=True)
class Parts:
    """Heads, keep and tails, for which jars are chosen.

    Parameters
    ----------
    stretches_l : tuple of pair of float
        Start and end of each [L of stream].
    heads_l : float
        Own volume of the heads [L]; 0 for none.
    most : tuple of int
        Jars that each can use at most.
    """

    stretches_l: tuple[tuple[float, float], ...]
    heads_l: float
    most: tuple[int, ...] = (MOST_JARS + 1,) * 3

    @property
    def ends_l(self) -> list[float]:
        """Where each ends [L of stream]."""
        return [end for _, end in self.stretches_l]


@dataclass(frozen=True)
class Wanted:
    """Size that a jar should have, by its place.

    Parameters
    ----------
    stream_l : list of float
        Places after the heads [L of stream].
    size_l : list of float
        Sizes there [L].
    """

    stream_l: list[float]
    size_l: list[float]

    def at(self, place: float) -> float:
        """Size for a jar that begins at a place [L of stream], judged at the middle of the jar."""
        size = self._at(place)
        return self._at(place + 0.5 * size)

    def _at(self, place: float) -> float:
        return self.size_l[min(bisect.bisect_left(self.stream_l, place), len(self.size_l) - 1)]


def wanted_sizes(run: Amounts, bounds_l: Sequence[float]) -> Wanted:
    """Share a row of jars out along a run.

    Parameters
    ----------
    run : Amounts
        The run.
    bounds_l : sequence of float
        Where heads, keep and run end [L of stream]; the first two are the cuts.

    Returns
    -------
    Wanted
        Sizes, smallest near a cut and where the stream changes fast.
    """
    start, end = bounds_l[0], bounds_l[-1]
    place = np.linspace(start, end, 129)
    abv = np.interp(place, run.stream_l, run.stream_abv)
    whole = end - start
    change = np.abs(np.gradient(abv, place))
    near = np.zeros(place.shape)
    for cut in bounds_l[:2]:
        near += np.exp(-np.abs(place - cut) / (REACH * whole))
    measure = BASE / whole + CHANGE * _share(change, place) + NEARNESS * _share(near, place)
    jars = min(max(whole / JAR_TO_READ_L, FEWEST_JARS), PROPOSED_JARS)
    size = float(np.trapezoid(measure, place)) / (jars * measure)
    return Wanted(place.tolist(), size.tolist())


def _share(weight: Array, place: Array) -> Array:
    total = float(np.trapezoid(weight, place))
    return weight / total if total > 0.0 else np.zeros(place.shape)


def proposed(run: Amounts, parts: Parts) -> list[list[float]]:
    """Propose sizes for every part of a run.

    Parameters
    ----------
    run : Amounts
        The run.
    parts : Parts
        Heads, keep and tails.

    Returns
    -------
    list of list of float
        Sizes in the order of the run, for each part.
    """
    wanted = wanted_sizes(run, parts.ends_l)
    (start, heads_end), after = parts.stretches_l[0], parts.ends_l[-1]
    low, high = min(wanted.size_l), max(wanted.size_l)
    low = max(low, min(JAR_TO_READ_L, (after - start) / FEWEST_JARS))
    palette = [size for size in KITCHEN_L if 0.8 * low <= size <= 1.25 * high] or [nearest_size(low)]
    if len(palette) > MOST_SIZES:
        middle = min(palette, key=lambda size: abs(math.log(size * size / (palette[0] * palette[-1]))))
        palette = sorted({palette[0], middle, palette[-1]})
    heads = [_holding(parts.heads_l * (1.0 - FULL), KITCHEN_L)] if parts.heads_l > 0.0 else []
    if heads and heads[0] > 4.0 * palette[-1]:
        heads = [palette[-1]] * math.ceil((heads_end - start) * COVER / palette[-1])
    rest = Parts(((heads_end, heads_end), *parts.stretches_l[1:]), 0.0)
    return [heads, *_lay(rest, [JarStock(size) for size in palette], wanted, 1.0).rows[1:]]


def nearest_size(size_l: float) -> float:
    """Return the kitchen size nearest to a volume, by ratio."""
    return min(KITCHEN_L, key=lambda size: abs(math.log(size / size_l)))


def size_below(size_l: float) -> float | None:
    """Return the largest kitchen size that does not exceed a volume, if there is one."""
    return max((size for size in KITCHEN_L if size <= size_l * (1.0 + 1e-9)), default=None)


def owned(run: Amounts, parts: Parts, stock: Sequence[JarStock]) -> list[list[float]]:
    """Place the jars that there are.

    Parameters
    ----------
    run : Amounts
        The run.
    parts : Parts
        Heads, keep and tails.
    stock : sequence of JarStock
        The jars.

    Returns
    -------
    list of list of float
        Sizes in the order of the run, for each part; they fall short when the jars do.

    Raises
    ------
    RequestError
        If the run would take more than 500 jars.
    """
    if len({jar.size_l for jar in stock}) == 1:
        return _lay(parts, stock, None, 1.0).rows
    wanted = wanted_sizes(run, parts.ends_l)
    tries = []
    for stretch in STRETCHES:
        tries.append(_lay(parts, stock, wanted, stretch))
        if tries[-1].enough and not tries[-1].makeshift:
            return tries[-1].rows
    return next((lay for lay in tries if lay.enough), tries[0]).rows


@dataclass(frozen=True)
class _Laid:
    """Sizes for each part, whether they suffice, and whether a size ran out on the way."""

    rows: list[list[float]]
    enough: bool
    makeshift: bool


def _lay(parts: Parts, stock: Sequence[JarStock], wanted: Wanted | None, stretch: float) -> _Laid:
    left: Counter[float] = Counter()
    for jar in stock:
        left[jar.size_l] += MOST_JARS + 1 if jar.count is None else jar.count
    sizes = sorted(left)
    rows: list[list[float]] = []
    makeshift = False
    count = 0
    for number, (start, end) in enumerate(parts.stretches_l):
        row: list[float] = []
        is_heads = number == 0
        place, until = start, start + (end - start) * COVER
        pooled = parts.heads_l * (1.0 - FULL)
        if is_heads and pooled <= sizes[-1]:  # one jar
            until = start + pooled
        while place < until and len(row) < parts.most[number]:
            size = math.inf if wanted is None or is_heads else stretch * wanted.at(place)
            best, there = _pick(size, until - place, sizes), [s for s in sizes if left[s] > 0]
            if not there:
                return _Laid([*rows, row], enough=False, makeshift=True)
            chosen = best if left[best] > 0 else _pick(size, until - place, there)
            makeshift = makeshift or chosen != best
            left[chosen] -= 1
            count += 1
            if count > MOST_JARS:
                raise RequestError(
                    f"jars.sizes: jars of {said(min(sizes))} would make more than {MOST_JARS} for this run; "
                    f"allowed are {MOST_JARS}.",
                    "Take larger jars, or fewer of the small ones.",
                )
            row.append(chosen)
            place += chosen
        rows.append(row)
    return _Laid(rows, enough=True, makeshift=makeshift)


def _pick(wanted_l: float, rest_l: float, sizes: Sequence[float]) -> float:
    """Size nearest to the one wanted; for the last of a part, the smallest that holds the rest."""
    near = sizes[-1]
    if len(sizes) > 1 and not math.isinf(wanted_l):
        near = min(sizes, key=lambda size: abs(math.log(size / wanted_l)))
    holding = _holding(rest_l, sizes)
    return holding if rest_l <= holding <= LAST * near else near


def _holding(volume_l: float, sizes: Sequence[float]) -> float:
    """Smallest size that holds a volume; the largest if none does."""
    return min((size for size in sizes if size >= volume_l), default=max(sizes))


def said(volume_l: float) -> str:
    """Say a volume for a person, in mL below a litre."""
    return f"{volume_l * 1000.0:.3g} mL" if volume_l < 0.9995 else f"{volume_l:.3g} L"
