"""The other way of collecting: one small jar, emptied into the keep as long as it still tastes right."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from potsim.errors import RequestError, require
from potsim.liquid import strength
from potsim.planning.jar_sizes import said, size_below
from potsim.planning.portion import between
from potsim.still.course import Course

POINTS = 65


@dataclass(frozen=True)
class WorkingJar:
    """A jar that is emptied into the keep whenever it is full and tastes right.

    Parameters
    ----------
    largest_l : float
        How much it may hold [L].
    size_l : float
        The kitchen size below [L]; ``largest_l`` itself where none is small enough.
    emptied : int
        How often it is filled during the keep.
    every_min : float
        Time in which it fills when the stream is fastest [min].
    lost_l : float
        What is thrown away at worst [L at 20 °C].
    lost_share : float
        The same as a share of the keep, 0 to 1.
    """

    largest_l: float
    size_l: float
    emptied: int
    every_min: float
    lost_l: float
    lost_share: float


def working_jar(
    course: Course, start: float, end: float, *, minutes: float = 1.0, most_lost: float = 0.1
) -> WorkingJar:
    """Choose how large a working jar may be.

    Parameters
    ----------
    course : Course
        The run.
    start, end : float
        Depletions between which is kept.
    minutes : float
        How long one may be distracted [min], 0 or more.
    most_lost : float
        Share of the keep that may be lost, above 0 and at most 1.

    Returns
    -------
    WorkingJar
        Its size, and how often it is emptied.

    Raises
    ------
    RequestError
        If so long a distraction costs more by itself.

    Notes
    -----
    At worst the stream turns when the jar was last emptied, the jar is full when one is called away, and
    the stream runs on at its fastest: ``lost = size + flow * minutes``.
    """
    require("minutes", minutes, 0, 1e5, "min")
    require("most_lost", most_lost, 0, 1, "of the keep (0 to 1)", open_low=True)
    keep_l = between(course, start, end).volume_l
    states = course.at(np.linspace(start, end, POINTS))
    l_per_mol = np.asarray(strength.volume_from_moles(states.stream_x, 1.0 - states.stream_x))
    flow = float(np.max(states.rate_mol_per_s * l_per_mol)) * 60.0
    largest = most_lost * keep_l - flow * minutes
    if largest <= 0.0:
        raise RequestError(
            f"In {minutes:g} min as much as {said(flow * minutes)} come over, but at most "
            f"{said(most_lost * keep_l)} may be lost.",
            f"Stay away for less than {most_lost * keep_l / flow:.2g} min, allow a larger loss, "
            "or lower the power.",
        )
    size = min(size_below(largest) or largest, largest)
    lost = size + flow * minutes
    return WorkingJar(
        largest_l=largest,
        size_l=size,
        emptied=math.ceil(keep_l / size * (1.0 - 1e-9)),
        every_min=size / flow,
        lost_l=lost,
        lost_share=lost / keep_l,
    )
