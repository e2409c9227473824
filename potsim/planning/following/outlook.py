"""What is still to come of a run: the forecast as data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.planning.following.readings import Reading
from potsim.planning.run import Run
from potsim.still.fit import Fit

Array = NDArray[np.float64]

BAND = 0.90
BAND_ERRORS = 1.6449  # standard errors on either side that hold 90 % of a normal distribution


@dataclass(frozen=True)
class Band:
    """A number with the band that holds the truth nine times in ten, if the still is as the model has it.

    Parameters
    ----------
    value, low, high : float
        The likeliest value and the ends of the band.
    """

    value: float
    low: float
    high: float

    def __format__(self, spec: str) -> str:
        return f"{self.value:{spec}} ({self.low:{spec}} to {self.high:{spec}})"


@dataclass(frozen=True)
class JarNow:
    """The jar under the spout, or the one after it.

    Parameters
    ----------
    number : int
        From 1.
    size_l : float
        What it can hold [L].
    holds_l, abv : float
        What is in it now [L at 20 °C, % vol]; strength 0 while it is empty.
    full_in_l, full_in_min : float
        Until it is taken away: full, or at the stop [L, min].
    full_abv : float
        Strength of its contents then [% vol].
    """

    number: int
    size_l: float
    holds_l: float
    abv: float
    full_in_l: float
    full_in_min: float
    full_abv: float


@dataclass(frozen=True)
class FlavourNow:
    """A botanical on its way over.

    Parameters
    ----------
    botanical : str
        Its name.
    klass : str
        When it comes over, as in `potsim.planning.timing`.
    from_in_l, to_in_l : float
        Until it begins and until it is over [L]; below 0 for what is past.
    """

    botanical: str
    klass: str
    from_in_l: float
    to_in_l: float


@dataclass(frozen=True)
class Bare:
    """Where the pot would be down to its least level.

    Parameters
    ----------
    in_l, in_min : float
        Still to be collected until then [L], and the time [min].
    """

    in_l: float
    in_min: float


@dataclass(frozen=True)
class Curve:
    """The predicted strength of the stream with its band, for a picture; arrays of shape (m,).

    Parameters
    ----------
    collected_l, abv, low_abv, high_abv : ndarray
        Collected at the spout [L], strength there and its band [% vol].
    """

    collected_l: Array
    abv: Array
    low_abv: Array
    high_abv: Array


@dataclass(frozen=True)
class Forecast:
    """What is still to come.

    Parameters
    ----------
    run : Run
        The run as planned.
    readings : tuple of Reading
        Those that tell of it.
    fit : Fit
        The still learnt.
    collected_l, elapsed_min : float
        Where the run is: at the last reading [L, min from switch-on].
    stream_abv, mean_abv : Band
        Strength at the spout now, and of all collected [% vol].
    to_come_l, to_come_min, to_come_abv : Band
        Volume, time and strength of what comes until the stop [L, min, % vol].
    stop_l, stop_min, stop_mean_abv : Band
        All collected at the stop, its minute, and the strength of all collected.
    stop_reason, stop_words : str
        What ends the run.
    jar, next_jar : JarNow or None
        The jar under the spout, and the one after it; ``None`` past the stop.
    flavours_now, flavours_next : tuple of FlavourNow
        Botanicals that are coming over, and those that are still to begin.
    bare : Bare or None
        When the element would be bare; ``None`` if no least level is given, or it lies past what is followed.
    odd : tuple of str
        Readings that do not fit, a sentence each.
    verdicts : tuple of str
        What the readings tell of the still, and what they cannot tell.
    curve : Curve
        For a picture.
    """

    run: Run
    readings: tuple[Reading, ...]
    fit: Fit
    collected_l: float
    elapsed_min: float
    stream_abv: Band
    mean_abv: Band
    to_come_l: Band
    to_come_min: Band
    to_come_abv: Band
    stop_l: Band
    stop_min: Band
    stop_mean_abv: Band
    stop_reason: str
    stop_words: str
    jar: JarNow | None
    next_jar: JarNow | None
    flavours_now: tuple[FlavourNow, ...]
    flavours_next: tuple[FlavourNow, ...]
    bare: Bare | None
    odd: tuple[str, ...]
    verdicts: tuple[str, ...]
    curve: Curve

    @property
    def over(self) -> bool:
        """Whether the stop has come."""
        return self.to_come_l.value <= 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return what ``potsim follow --json`` prints."""
        from potsim.planning.following.outlook_words import document

        return document(self)

    def __str__(self) -> str:
        from potsim.planning.following.outlook_words import in_short

        return in_short(self)
