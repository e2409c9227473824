"""Where the cuts lie, and what moving one of them costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning.amounts import Amounts, amounts
from potsim.still.course import EXHAUSTED, Course, States

Array = NDArray[np.float64]

STRENGTHS = (10.0, 7.5, 5.0, 2.5, 0.0, -2.5, -5.0, -7.5, -10.0)  # around the plan's [% vol]
HEADS = (0.0, 0.5, 1.0, 1.5, 2.0)  # of the plan's
NOTHING_LEFT = 1e-6  # of what comes over: so little is no keep
HEADS_OF_CHARGE = (0.0, 0.01, 0.02, 0.03, 0.05)  # of the charge's volume, where the plan takes none


@dataclass(frozen=True)
class CutPoints:
    """Where heads end, where the keep ends and where the run ends.

    Parameters
    ----------
    heads : float
        Depletion at which the keep begins; 0 for no heads.
    keep_end : float
        Depletion at which the keep ends.
    end : float
        Depletion at which the run ends; that of ``keep_end`` for no tails.
    """

    heads: float
    keep_end: float
    end: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.heads < self.keep_end <= self.end:
            raise RequestError(
                "cuts: the keep would end before the heads do.",
                "Take less heads, or let the run and the keep last longer.",
            )


@dataclass(frozen=True)
class CutRow:
    """What comes of a cut at one place; all volumes at 20 °C.

    Parameters
    ----------
    planned : bool
        Whether it is the plan's own.
    heads_l : float
        Heads [L].
    stream_abv : float
        Strength of the stream at the cut [% vol].
    collected_l : float
        All that has come over by then [L].
    keep_l, keep_abv : float
        The keep, at which the other cut stays put [L, % vol].
    left_l : float
        Pure alcohol of the charge that is not in the keep: in heads, tails and pot [L].
    elapsed_min : float
        Minute at which the cut comes, from switch-on.
    """

    planned: bool
    heads_l: float
    stream_abv: float
    collected_l: float
    keep_l: float
    keep_abv: float
    left_l: float
    elapsed_min: float


@dataclass(frozen=True)
class CutTable:
    """What moving the cuts costs.

    Parameters
    ----------
    keep_end : tuple of CutRow
        The end of the keep moved, in the order of the run; the heads stay.
    heads : tuple of CutRow
        The heads cut moved, smallest heads first; the end of the keep stays.
    """

    keep_end: tuple[CutRow, ...]
    heads: tuple[CutRow, ...]


def cut_points(course: Course, heads_l: float, keep_end: float, end: float) -> CutPoints:
    """Place the heads cut by its volume.

    Parameters
    ----------
    course : Course
        The run.
    heads_l : float
        Heads [L at 20 °C].
    keep_end, end : float
        Depletions at which the keep and the run end.

    Returns
    -------
    CutPoints
        All three.

    Raises
    ------
    RequestError
        If heads take all that comes before the keep ends.
    """
    if heads_l == 0.0:
        return CutPoints(0.0, keep_end, end)
    until = float(course.at(np.array([keep_end])).collected_l[0])
    if heads_l >= until * (1.0 - NOTHING_LEFT):
        raise RequestError(
            f"cuts.heads is {heads_l:.4g} L, but only {until:.4g} L come over before the keep ends.",
            f"Take less than {until:.4g} L, or let the run last longer.",
        )
    run = amounts(course, end)
    heads = run.depletion(run.at_collected_l(np.array([heads_l])))
    return CutPoints(float(heads[0]), keep_end, end)


def cut_table(course: Course, points: CutPoints, upto: float = EXHAUSTED) -> CutTable:
    """Tabulate what moving a cut costs.

    Parameters
    ----------
    course : Course
        The run.
    points : CutPoints
        The plan's cuts.
    upto : float
        Depletion to which the run may be let go on, as where the least level is reached.

    Returns
    -------
    CutTable
        Rows for strengths of the stream and sizes of heads around the plan's; those that never come, or that
        leave no keep, are left out.
    """
    run = amounts(course, max(upto, points.end))
    return CutTable(_keep_ends(course, points, run), _heads(course, points, run))


def _keep_ends(course: Course, points: CutPoints, run: Amounts) -> tuple[CutRow, ...]:
    planned = float(course.at(np.array([points.keep_end])).stream_abv[0])
    wanted = planned + np.array([away for away in STRENGTHS if away != 0.0])
    there = _falls_to(course, run, wanted[(wanted < run.stream_abv[0]) & (wanted > run.stream_abv.min())])
    ends = np.sort(np.append(there[there > points.heads], points.keep_end))
    starts = np.full(ends.shape, points.heads)
    return _rows(course, starts, ends, at=ends, planned=points.keep_end)


def _falls_to(course: Course, run: Amounts, strengths: Array) -> Array:
    """Depletions at which the stream first falls to strengths, all of them reached after the first drop."""
    fallen = run.stream_abv <= strengths[:, None]
    first = np.argmax(fallen, axis=1)
    low, high = run.depletion(run.over_mol[first - 1]), run.depletion(run.over_mol[first])
    rows = np.arange(strengths.size)
    for _ in range(3):
        s = np.linspace(low, high, 33, axis=1)
        abv = course.at(s).stream_abv
        k = np.maximum(np.argmax(abv <= strengths[:, None], axis=1), 1)
        low, high = s[rows, k - 1], s[rows, k]
    above, below = abv[rows, k - 1] - strengths, strengths - abv[rows, k]
    return np.asarray(low + (high - low) * above / np.maximum(above + below, 1e-300))


def _heads(course: Course, points: CutPoints, run: Amounts) -> tuple[CutRow, ...]:
    planned, until = course.at(np.array([points.heads, points.keep_end])).collected_l
    if points.heads > 0.0:
        sizes = np.array([share * planned for share in HEADS if share != 1.0])
    else:
        charge = strength.volume_from_moles(
            course.charge_mol * course.charge_x, course.charge_mol * (1.0 - course.charge_x)
        )
        sizes = np.array([share * float(charge) for share in HEADS_OF_CHARGE if share > 0.0])
    moved = run.depletion(run.at_collected_l(sizes[sizes < until]))
    starts = np.sort(np.append(moved, points.heads))
    ends = np.full(starts.shape, points.keep_end)
    return _rows(course, starts, ends, at=starts, planned=points.heads)


def _rows(course: Course, starts: Array, ends: Array, *, at: Array, planned: float) -> tuple[CutRow, ...]:
    """Rows for keeps from ``starts`` to ``ends``, told at the cut that moves."""
    first, last, cut = course.at(starts), course.at(ends), course.at(at)
    ethanol, water = _difference(first, last)
    keep_l = np.asarray(strength.volume_from_moles(ethanol, water))
    keep_abv = np.asarray(strength.abv_from_moles(ethanol, water))
    charged = float(strength.volume_from_moles(course.charge_mol * course.charge_x, 0.0))
    columns = (first.collected_l, cut.stream_abv, cut.collected_l, keep_l, keep_abv)
    left = np.maximum(charged - keep_l * keep_abv / 100.0, 0.0)
    rows = np.stack([*columns, left, cut.elapsed_s / 60.0], axis=1)
    return tuple(
        CutRow(place == planned, *row) for place, row in zip(at.tolist(), rows.tolist(), strict=True)
    )


def _difference(first: States, last: States) -> tuple[Array, Array]:
    """Moles of ethanol and of water between two places."""
    ethanol = np.maximum(last.over_ethanol_mol - first.over_ethanol_mol, 0.0)
    return ethanol, np.maximum(last.over_mol - first.over_mol - ethanol, 0.0)
