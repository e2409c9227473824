"""When something comes over: start, peak, end, and the class that follows from it.

The class is rough, named for when most of it comes: *early* if half of what comes over is over within the
first quarter of the distillate (counted to 99 % of the alcohol), *middle* within 0.6 of it, *late* beyond;
*stays* if less than half of what could be released comes over at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.still.carry import Carried
from potsim.still.course import EXHAUSTED, Course, States
from potsim.still.rising import Rising

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Klass = Literal["early", "middle", "late", "stays"]

ALCOHOL_OVER = 0.99  # share of the alcohol at which a run counts as done
EARLY_BELOW, MIDDLE_BELOW = 0.25, 0.6  # of the distillate
LEAST_OVER = 0.5  # of the releasable amount
LOOKS = 129  # points at which it is looked for, twice
MARKS = np.array([0.05, 0.5, 0.95])  # of what comes over: start, half and end


@dataclass(frozen=True)
class Timing:
    """Pooled distillate at which something comes over.

    Parameters
    ----------
    start_l, end_l : float
        5 % and 95 % of what comes over with 99 % of the alcohol is over [L at 20 °C].
    peak_l : float
        It comes fastest, in grams per litre of distillate [L at 20 °C].
    """

    start_l: float
    peak_l: float
    end_l: float


@dataclass(frozen=True)
class Passage:
    """How one compound, or a botanical's oil as a whole, comes over.

    Parameters
    ----------
    klass : {'early', 'middle', 'late', 'stays'}
        Rough class.
    timing : Timing or None
        None for what stays.
    half_share : float
        Share of the distillate at which half of what comes over is over, 0 to 1.
    releasable_g, over_g : float
        All that can be released, and what is over with 99 % of the alcohol [g].
    left_in_pot, left_in_plant : float
        Share not over by then, and the part of it still in the plant, 0 to 1.
    """

    klass: Klass
    timing: Timing | None
    half_share: float
    releasable_g: float
    over_g: float
    left_in_pot: float
    left_in_plant: float

    @classmethod
    def none(cls, releasable_g: float, left_in_plant: float) -> Passage:
        """Return the passage of what does not evaporate.

        Parameters
        ----------
        releasable_g : float
            How much there is [g].
        left_in_plant : float
            Share still in the plant, 0 to 1.
        """
        return cls("stays", None, 1.0, releasable_g, 0.0, 1.0, left_in_plant)


def alcohol_over(course: Course) -> float:
    """Depletion at which 99 % of the alcohol is over; of the charge, if that is water.

    Parameters
    ----------
    course : Course
        The run.

    Returns
    -------
    float
        ln(W0 / W), to about 1e-8.
    """
    if course.charge_x == 0.0:
        return float(-np.log1p(-ALCOHOL_OVER))
    goal = ALCOHOL_OVER * course.charge_mol * course.charge_x
    s = np.linspace(0.0, EXHAUSTED, LOOKS)
    over = course.at(s).over_ethanol_mol
    # Of next to no alcohol 99 % is a matter of rounding, and may be no more than all or nothing.
    k = max(int(np.searchsorted(over, min(goal, over[-1]))), 1)
    s = np.linspace(s[k - 1], s[k], LOOKS)
    return float(np.interp(goal, course.at(s).over_ethanol_mol, s))


def passages(carried: Carried, groups: Sequence[Index], end: float) -> tuple[Passage, ...]:
    """How each row comes over, and each group of rows as a whole.

    Parameters
    ----------
    carried : Carried
        The rows.
    groups : sequence of ndarray of int
        Rows of each group.
    end : float
        Depletion at which 99 % of the alcohol is over.

    Returns
    -------
    tuple of Passage
        One for each row, then one for each group.
    """
    amount, grid, last = carried.rows.amount[:, None], carried.grid, carried.at(np.array([end]))
    shares = (np.ones(amount.shape), last.over, last.in_plant, last.in_pot, grid.over, carried.grid_rate)
    rows = np.concatenate(shares, axis=1) * amount
    grams = np.concatenate([rows, *(rows[group].sum(axis=0, keepdims=True) for group in groups)])
    whole, over, held, dissolved = grams[:, :4].T
    curve, rate = np.split(grams[:, 4:], 2, axis=1)
    marks = Rising(carried.depletion, curve, rate).reaches(over[:, None] * MARKS)
    litres = carried.course.at(np.append(np.minimum(marks, end).ravel(), end)).collected_l
    at_marks, at_end = litres[:-1].reshape(-1, MARKS.size), float(litres[-1])
    peak = _peak(carried, rate, end, at_end)
    some = np.where(whole > 0.0, whole, 1.0)
    columns = (whole, over, held / some, (held + dissolved) / some, at_marks / at_end, at_marks, peak)
    return tuple(_passage(*row) for row in zip(*(column.tolist() for column in columns), strict=True))


def _passage(
    whole: float,
    over: float,
    held: float,
    left: float,
    marks: list[float],
    marks_l: list[float],
    peak_l: float,
) -> Passage:
    half = marks[1]
    klass: Klass = "late"
    if over < LEAST_OVER * whole or whole == 0.0:
        klass = "stays"
    elif half < EARLY_BELOW:
        klass = "early"
    elif half < MIDDLE_BELOW:
        klass = "middle"
    timing = None if klass == "stays" else Timing(marks_l[0], peak_l, marks_l[2])
    return Passage(klass, timing, half, whole, over, left, held)


def _peak(carried: Carried, rate: Array, end: float, end_l: float) -> Array:
    """Pooled distillate at which each curve is steepest against the volume of the stream [L]."""
    n = int(np.searchsorted(carried.depletion, end))
    litres = carried.collected_l[:n]
    strength_g_per_l = rate[:, :n] / stream_l(carried.states)[:n]
    top = np.argmax(strength_g_per_l, axis=1)
    inside = np.clip(top, 1, n - 2)
    every = np.arange(len(rate))
    x = [litres[inside + k] for k in (-1, 0, 1)]
    y = [strength_g_per_l[every, inside + k] for k in (-1, 0, 1)]
    rise, fall = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
    bend = (fall - rise) / (x[2] - x[0])
    # Vertex of the parabola through the highest point and its neighbours.
    vertex = 0.5 * (x[0] + x[1]) - 0.5 * rise / np.where(bend < 0.0, bend, -1.0)
    refined = np.where(bend < 0.0, np.clip(vertex, x[0], x[2]), x[1])
    return np.where(top == 0, 0.0, np.where(top == n - 1, end_l, refined))


def stream_l(states: States) -> Array:
    """Volume at 20 °C of what comes over for each unit of depletion.

    Parameters
    ----------
    states : States
        Points of a run.

    Returns
    -------
    ndarray
        Litres; shape of the states.
    """
    x = states.stream_x
    return np.asarray(states.pot_mol * np.asarray(strength.volume_from_moles(x, 1.0 - x)))
