"""One point of a run: its state there, and where on the run something is so."""

from __future__ import annotations

import numbers
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from potsim.errors import RangeError, RequestError
from potsim.planning.profile import QUANTITIES, profile
from potsim.still.course import Course


@dataclass(frozen=True)
class Moment:
    """One point of a run; fields as in `Profile`."""

    collected_l: float
    stream_abv: float
    pot_abv: float
    mean_abv: float
    recovered: float
    pot_l: float
    pot_c: float
    vapour_c: float
    elapsed_min: float


@dataclass(frozen=True)
class Stopped(Moment):
    """The point at which a run stops, and why.

    Parameters
    ----------
    reason : str
        Key of the plan file, ``"min_level"`` or ``"exhausted"``.
    words : str
        The reason as a person would say it.
    """

    reason: str
    words: str


def moment(course: Course, depletion: float) -> Moment:
    """Return one point of a course in the distiller's units.

    Parameters
    ----------
    course : Course
        The run.
    depletion : float
        ln(W0 / W) at the point.

    Returns
    -------
    Moment
        Plain numbers.
    """
    point = profile(course, course.at(np.array([depletion])))
    return Moment(**{name: float(getattr(point, name)[0]) for name in QUANTITIES})


def moment_where(course: Course, end: float, wanted: Mapping[str, float]) -> Moment:
    """Return the first point of a run at which one quantity has a value.

    Parameters
    ----------
    course : Course
        The run.
    end : float
        ln(W0 / W) at its stop.
    wanted : mapping of str to float
        One quantity of `potsim.planning.profile.Profile` and its value.

    Returns
    -------
    Moment
        Plain numbers.

    Raises
    ------
    RequestError
        If not exactly one known quantity is named, or its value is no number.
    RangeError
        If the run does not pass through it between the first drop and the stop.
    """
    if len(wanted) != 1 or next(iter(wanted)) not in QUANTITIES:
        raise RequestError(
            f"at() was given {', '.join(wanted) or 'nothing'}; it takes one quantity.",
            f"One of: {', '.join(QUANTITIES)}.",
        )
    ((name, value),) = wanted.items()
    if not isinstance(value, numbers.Real):
        raise RequestError(f"at() was given {name}={value!r}, which is not a number.", f"As in {name}=0.3.")
    first, last = (getattr(moment(course, s), name) for s in (0.0, end))
    low, high = min(first, last), max(first, last)
    if not low <= value <= high:
        raise RangeError(
            name,
            f"{value:g}",
            f"{low:.6g} to {high:.6g}, first drop to stop",
            "Ask within the run, or move the stop.",
        )
    sign = 1.0 if last >= first else -1.0
    there = course.first(lambda s: sign * (getattr(profile(course, s), name) - value), end)
    return moment(course, end if there is None else there)
