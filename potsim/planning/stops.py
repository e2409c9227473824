"""Where a run ends: the stops of a plan looked up on its course."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.planning.moment import moment
from potsim.planning.plan import Stop
from potsim.planning.profile import READERS
from potsim.still.course import EXHAUSTED, Course, States

Array = NDArray[np.float64]
Margin = Callable[[States], Array]


@dataclass(frozen=True)
class Condition:
    """Something that ends a run when it comes true.

    Parameters
    ----------
    reason : str
        Key of the plan file, or ``"min_level"``.
    words : str
        The condition as a person would say it.
    margin : callable
        Negative before, zero or more once true.
    needed : bool
        Whether a condition that never comes is a mistake of the plan; ``cloudy`` is only reported.
    """

    reason: str
    words: str
    margin: Margin
    needed: bool = True


@dataclass(frozen=True)
class End:
    """Where something ended, and why.

    Parameters
    ----------
    reason : str
        Key of the plan file, ``"min_level"`` or ``"exhausted"``.
    words : str
        The reason as a person would say it.
    depletion : float
        ln(W0 / W) there.
    """

    reason: str
    words: str
    depletion: float


@dataclass(frozen=True)
class Kind:
    """A stop that watches one quantity.

    Parameters
    ----------
    words : str
        How it is said, with a place for the value.
    quantity : str
        A field of `potsim.planning.profile.Profile`.
    rises : bool
        Which way that moves along a run.
    per : float
        What a person counts, for each of what the plan holds.
    """

    words: str
    quantity: str
    rises: bool
    per: float = 1.0

    def said(self, value: float) -> str:
        """Say the condition for a value of the plan."""
        return self.words.format(self.per * value)

    def margin(self, reached: Array, value: float) -> Array:
        """How far a value is passed: negative before."""
        return reached - value if self.rises else value - reached


# By key of the plan file.
KINDS = {
    "stream_abv": Kind("the stream has fallen to {:g} % vol", "stream_abv", rises=False),
    "pot_abv": Kind("the pot has fallen to {:g} % vol", "pot_abv", rises=False),
    "vapour_c": Kind("the vapour has risen to {:g} °C", "vapour_c", rises=True),
    "collected": Kind("{:g} L are collected", "collected_l", rises=True),
    "recovered": Kind("{:g} % of the alcohol is over", "recovered", rises=True, per=100.0),
    "elapsed": Kind("{:g} min have passed since switch-on", "elapsed_min", rises=True),
}


def conditions(stop: Stop, course: Course) -> list[Condition]:
    """Stops that need nothing but the course.

    Parameters
    ----------
    stop : Stop
        As in the plan.
    course : Course
        The run.

    Returns
    -------
    list of Condition
        One for each key given, but ``cloudy`` and ``over``.
    """
    return [
        Condition(key, KINDS[key].said(value), _margin(KINDS[key], value, course))
        for key, value in stop.named.items()
        if key in KINDS
    ]


def _margin(kind: Kind, value: float, course: Course) -> Margin:
    read = READERS[kind.quantity]
    return lambda states: kind.margin(read(states, course), value)


def min_level(course: Course, solids_l: float) -> Condition:
    """The pot's level falls to what must stay in it.

    Parameters
    ----------
    course : Course
        The run; its still names the level.
    solids_l : float
        Volume of the botanicals in the pot [L].

    Returns
    -------
    Condition
        Judged on the hot volume with the solids.
    """
    level = course.still.min_level_l
    words = f"the pot is down to its least level of {level:g} L"
    return Condition("min_level", words, lambda s: level - s.pot_hot_l - solids_l)


def find_end(course: Course, wanted: list[Condition], level: Condition) -> End:
    """Find what ends the run.

    Parameters
    ----------
    course : Course
        The run.
    wanted : list of Condition
        The plan's stops.
    level : Condition
        The least level.

    Returns
    -------
    End
        The first to come.

    Raises
    ------
    RequestError
        If a stop is true before anything comes over, or none ever comes.
    """
    found = []
    for condition in wanted:
        at = locate(course, condition, "cuts.stop")
        if at is not None:
            found.append(End(condition.reason, condition.words, at))
    needed = [c for c in wanted if c.needed]
    if needed and not any(end.reason in {c.reason for c in needed} for end in found):
        raise RequestError(
            f"cuts.stop: it never comes that {' or that '.join(c.words for c in needed)}.",
            _what_comes(course),
        )
    end = min(
        found, key=lambda end: end.depletion, default=End("exhausted", "the pot is exhausted", EXHAUSTED)
    )
    if course.still.min_level_l == 0.0 or level.margin(course.at(np.array([end.depletion])))[0] < 0.0:
        return end
    bare = course.first(level.margin, end.depletion)
    if bare == 0.0:
        raise RequestError(
            f"still.min_level is {course.still.min_level_l:g} L, but the charge does not even reach it.",
            "Charge more, or correct min_level.",
        )
    return End(level.reason, level.words, end.depletion if bare is None else bare)


def locate(course: Course, condition: Condition, key: str) -> float | None:
    """Find where a condition comes true, refusing one that is true before anything has come over.

    Parameters
    ----------
    course : Course
        The run.
    condition : Condition
        What is looked for.
    key : str
        Table of the plan file, for the message.

    Returns
    -------
    float or None
        Depletion, or ``None`` if it never comes.

    Raises
    ------
    RequestError
        If it is true at the first drop.
    """
    at = course.first(condition.margin)
    if at == 0.0:
        first = moment(course, 0.0)
        raise RequestError(
            f"{key}.{condition.reason}: at the first drop it is already true that {condition.words}: "
            f"stream {first.stream_abv:.1f} % vol, pot {first.pot_abv:.1f} % vol, "
            f"vapour {first.vapour_c:.1f} °C, {first.elapsed_min:.0f} min after switch-on.",
            "Choose a stop that comes later.",
        )
    if at is None and condition.reason == "collected":
        raise RequestError(
            f"{key}.collected: it never comes true that {condition.words}.", _what_comes(course)
        )
    return at


def _what_comes(course: Course) -> str:
    last = moment(course, EXHAUSTED)
    return (
        f"When the pot is all but empty, {last.collected_l:.3g} L are collected "
        f"after {last.elapsed_min:.0f} min, with the stream at {last.stream_abv:.1f} % vol "
        f"and the vapour at {last.vapour_c:.1f} °C."
    )
