"""What a nose makes of it, by odour thresholds: who leads, who marks a jar, who is noticed in the bottle.

The measure is the sum of concentration over threshold of a botanical's compounds, its *times-threshold*. The
thresholds are those in water; alcohol raises them all tenfold and more, sources differ by as much, and
compounds mask and strengthen each other. So the size says little; it serves to compare one botanical with
another in the same glass, and one jar with the next.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Noticed = Literal["leads", "clear", "hint", "lost"]

CLEAR, HINT = 0.12, 0.03  # share of the summed times-threshold from which it is that
LEAST_TIMES = 10.0  # times-threshold in water below which hardly anything is noticed in spirit
MOST_NAMED = 3  # in a jar


def noticed(times: Array) -> tuple[Noticed, ...]:
    """How each botanical is noticed beside the others.

    Parameters
    ----------
    times : ndarray, shape (botanicals,)
        Times-threshold of each in the bottle.

    Returns
    -------
    tuple of {'leads', 'clear', 'hint', 'lost'}
        The largest leads; all is lost where nothing has a smell that is known.
    """
    total = float(times.sum())
    first = int(np.argmax(times)) if times.size else -1
    return tuple(_noticed(float(one), total, k == first) for k, one in enumerate(times))


def _noticed(times: float, total: float, largest: bool) -> Noticed:
    if total <= 0.0:
        return "lost"
    if largest:
        return "leads"
    if times >= CLEAR * total:
        return "clear"
    return "hint" if times >= HINT * total and times >= LEAST_TIMES else "lost"


def leaders(times: Array) -> tuple[int, ...]:
    """Botanicals that lead one jar by size, most first: the largest, and whoever is clear beside it."""
    told = noticed(times)
    return tuple(k for k in _falling(times) if told[k] in ("leads", "clear"))[:MOST_NAMED]


def marks(times: Array, mean: Array) -> tuple[int, ...]:
    """Botanicals that mark one jar, most first: those furthest above their own mean of the run.

    Parameters
    ----------
    times : ndarray, shape (botanicals,)
        Times-threshold of each in the jar.
    mean : ndarray, shape (botanicals,)
        And in all that comes over.

    Returns
    -------
    tuple of int
        At most three that can be noticed and stand above their mean; else the one that falls least below.
    """
    above = np.where(times >= LEAST_TIMES, times / np.where(mean > 0.0, mean, 1.0), 0.0)
    ranked = [k for k in _falling(above) if above[k] > 0.0]
    return tuple([k for k in ranked if above[k] > 1.0][:MOST_NAMED] or ranked[:1])


def _falling(values: Array) -> list[int]:
    return [int(k) for k in np.argsort(-values, kind="stable")]
