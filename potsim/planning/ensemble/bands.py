"""Bands: a value, how sure it is, and what that hangs on, in numbers and in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.planning.ensemble.study import CHARGE, EQUILIBRIUM

Array = NDArray[np.float64]

_WORDS = {"volume_l": "volume", "abv": "strength", "collected_l": "volume", "water_l": "water"}


@dataclass(frozen=True)
class Band:
    """One answer and how sure it is.

    Parameters
    ----------
    value : float
        The plan's own run.
    sd : float
        Standard deviation over the draws.
    low, high : float
        Between these lie 90 % of the draws: quantiles 0.05 and 0.95.
    answered : float
        Share of the draws that have this answer at all, 0 to 1.
    """

    value: float
    sd: float
    low: float
    high: float
    answered: float = 1.0


@dataclass(frozen=True)
class CurveBand:
    """A quantity along the run and how sure it is; arrays of one shape.

    Parameters
    ----------
    collected_l : ndarray
        Pooled distillate [L at 20 °C], from the first drop to the plan's own stop.
    value, sd, low, high : ndarray
        As in `Band`, in the unit that the quantity's name tells.
    """

    collected_l: Array
    value: Array
    sd: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class Share:
    """What one input does to one answer.

    Parameters
    ----------
    name : str
        The input.
    share : float
        Part of the answer's variance that goes with it, 0 to 1.
    """

    name: str
    share: float


def advice(name: str, shares: Iterable[Share]) -> str:
    """Say what would narrow an answer most.

    Parameters
    ----------
    name : str
        The answer, such as ``keep.abv``.
    shares : iterable of Share
        What it hangs on.

    Returns
    -------
    str
        One or two sentences.
    """
    ranked = _grouped(shares)
    if not ranked:
        return f"Nothing that is uncertain moves {_said(name)}."
    first = ranked[0]
    part = f"{100.0 * first.share:.0f} % of the spread of {_said(name)}"
    if first.name != EQUILIBRIUM:
        return f"Measure the {first.name} better: it is {part}."
    doubt = f"The published vapour data make {part}, which no measurement of yours narrows."
    if len(ranked) == 1:
        return doubt
    return f"{doubt} Next comes the {ranked[1].name} with {100.0 * ranked[1].share:.0f} %."


def plain(band: Band | CurveBand) -> dict[str, Any]:
    """Return a band as plain data.

    Parameters
    ----------
    band : Band or CurveBand
        The band.

    Returns
    -------
    dict
        Numbers and lists; None for what is not a number.
    """
    return {name: _number(value) for name, value in vars(band).items()}


def _number(value: float | Array) -> Any:
    if isinstance(value, np.ndarray):
        return [_number(one) for one in value.tolist()]
    return value if np.isfinite(value) else None


def _grouped(shares: Iterable[Share]) -> list[Share]:
    """Shares that are not nothing, with all strengths of the charge as one, the most important first."""
    found = list(shares)
    strengths = sum(s.share for s in found if s.name.startswith(CHARGE))
    rest = [s for s in found if not s.name.startswith(CHARGE)]
    ranked = sorted(
        [*rest, Share("strength of what goes into the charge", strengths)], key=lambda s: -s.share
    )
    return [s for s in ranked if s.share > 0.0]


def _said(name: str) -> str:
    """An answer in words: ``keep.volume_l`` is the keep's volume."""
    *path, last = name.split(".")
    word = _WORDS.get(last, last.rsplit("_", 1)[0].replace("_", " "))
    if not path:
        return f"the {word}"
    owner = f"jar {path[1]}" if path[0] == "jars" else f"the {path[0]}"
    return f"{owner}'s {word}"
