"""Where the keep must end to be as strong, or to hold as much of the alcohol, as was asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning import stops
from potsim.planning.asking.letting_down import charge_of
from potsim.planning.defaults import settle
from potsim.planning.plan import Plan, Stop
from potsim.planning.run import resolve_bill
from potsim.still.course import EXHAUSTED, Course, course

Array = NDArray[np.float64]

DIGITS = 6  # of a stop, so that a person can write it down
LOOKS = 257  # evenly spaced in what is over
ZOOMS = 5  # each time 256 times closer


@dataclass(frozen=True)
class Open:
    """A run before anyone has said where it ends.

    Parameters
    ----------
    course : Course
        To exhaustion.
    heads : float
        Depletion at which the keep begins.
    last : float
        Depletion at which the run must end: the least level, or exhaustion.
    by_level : bool
        Whether it is the least level.
    solids_l : float
        Volume of the botanicals in the pot [L].
    """

    course: Course
    heads: float
    last: float
    by_level: bool
    solids_l: float

    def keep(self, depletion: Array) -> tuple[Array, Array]:
        """Strength of keeps that end at depletions [% vol], and their share of the charged alcohol (0 to 1).

        Parameters
        ----------
        depletion : ndarray
            Ends, at or after the heads; a keep of nothing is as strong as the stream.
        """
        start, ends = self.course.at(np.array([self.heads])), self.course.at(depletion)
        ethanol = np.maximum(ends.over_ethanol_mol - start.over_ethanol_mol, 0.0)
        water = np.maximum(ends.over_mol - start.over_mol - ethanol, 0.0)
        some = ethanol + water > 0.0
        mixed = np.asarray(strength.abv_from_moles(np.where(some, ethanol, 1.0), np.where(some, water, 0.0)))
        abv = np.where(some, mixed, ends.stream_abv)
        return abv, ethanol / (self.course.charge_mol * self.course.charge_x)

    def places(self) -> Array:
        """Depletions from the heads to the last, evenly spaced in what is over."""
        low, high = -np.expm1(-np.array([self.heads, self.last]))
        s = -np.log1p(-np.linspace(low, high, LOOKS))
        return np.asarray(np.clip(s, self.heads, self.last))


def opened(plan: Plan) -> Open:
    """Put a plan's charge into its still, its stops left aside.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Open
        The run.

    Raises
    ------
    RequestError
        If the charge holds no alcohol, does not come over, or heads take all of it.
    """
    charge = charge_of(plan)
    if charge.ethanol_mol == 0.0:
        raise RequestError("The charge holds no alcohol.", "Add a spirit to the charge.")
    setting = settle(plan, charge)
    run = course(charge.mol, charge.x, setting.still)
    solids_l = sum(dose.solids_volume_l for dose in resolve_bill(plan) if dose.dose.where == "pot")
    level = run.first(stops.min_level(run, solids_l).margin) if setting.still.min_level_l > 0.0 else None
    last = EXHAUSTED if level is None else level
    heads = 0.0
    if setting.heads_l > 0.0:
        there = run.first(lambda states: states.collected_l - setting.heads_l, EXHAUSTED)
        heads = EXHAUSTED if there is None else there
    if heads >= last:
        raise RequestError(
            f"cuts.heads is {setting.heads_l:.4g} L, and no more comes over.",
            "Take less heads, charge more, or lower still.min_level.",
        )
    return Open(run, heads, last, level is not None, solids_l)


def end_at_abv(run: Open, keep_abv: float) -> float:
    """Find where the keep has a strength.

    Parameters
    ----------
    run : Open
        The run.
    keep_abv : float
        Strength of the keep [% vol at 20 °C].

    Returns
    -------
    float
        Depletion at which it ends; the last such place.

    Raises
    ------
    RequestError
        If no keep is as strong or as weak; the strongest and the weakest are told.
    """
    abv, _ = run.keep(run.places())
    if keep_abv >= abv.max():
        raise RequestError(
            f"A keep of {keep_abv:g} % vol is out of reach: the strongest that comes of this charge has "
            f"{_below(float(abv.max()))} % vol, at the first drop after the heads.",
            "Let the charge be stronger, take less power, or ask for less.",
        )
    if keep_abv < abv[-1]:
        why = "the least level of the pot ends the run there" if run.by_level else "the pot is then exhausted"
        raise RequestError(
            f"A keep of {keep_abv:g} % vol is out of reach: the weakest that comes of this charge has "
            f"{_above(float(abv[-1]))} % vol; {why}.",
            "Ask for a stronger one and let it down with water, or charge less strong.",
        )
    return _last(run, lambda s: run.keep(s)[0] >= keep_abv)


def end_at_share(run: Open, kept: float) -> float:
    """Find where the keep holds a share of the alcohol.

    Parameters
    ----------
    run : Open
        The run.
    kept : float
        Share of the charged alcohol in the keep, 0 to 1.

    Returns
    -------
    float
        Depletion at which it ends.

    Raises
    ------
    RequestError
        If the keep cannot hold so much; the most is told.
    """
    _, share = run.keep(run.places())
    if kept > share[-1]:
        why = "the least level of the pot ends the run there" if run.by_level else "the pot is then exhausted"
        raise RequestError(
            f"A keep with {100.0 * kept:g} % of the alcohol is out of reach: the most that comes of this "
            f"charge is {_below(100.0 * float(share[-1]))} %; {why}.",
            "Ask for less, take less heads, or lower still.min_level.",
        )
    return _last(run, lambda s: run.keep(s)[1] <= kept)


def ended(plan: Plan, run: Open, depletion: float) -> Plan:
    """Return a plan whose keep ends at a place.

    Parameters
    ----------
    plan : Plan
        The plan.
    run : Open
        What `opened` makes of it.
    depletion : float
        The place.

    Returns
    -------
    Plan
        Told by the strength of the stream; by the volume collected where the power changes in mid-run, as
        the stream may then pass a strength twice. Other conditions are dropped, as they might come first. A
        plan with tails keeps its stop, if that comes later.
    """
    there = run.course.at(np.array([depletion]))
    if len(run.course.legs) > 1:
        stop = Stop(collected_l=_tidy(float(there.collected_l[0])))
    else:
        stop = Stop(stream_abv=_tidy(float(there.stream_abv[0])))
    if plan.cuts.tails_from is not None and _comes_later(plan, run, depletion):
        return replace(plan, cuts=replace(plan.cuts, tails_from=stop))
    return replace(plan, cuts=replace(plan.cuts, stop=stop, tails_from=None))


def _comes_later(plan: Plan, run: Open, depletion: float) -> bool:
    """Whether the plan's stop comes after a place; one that needs more than the course counts as earlier."""
    wanted = stops.conditions(plan.cuts.stop, run.course)
    if not wanted or len(wanted) < len(plan.cuts.stop.named):
        return False
    found = [run.course.first(condition.margin) for condition in wanted]
    come = [at for at in found if at is not None]
    return bool(come) and min(come) > depletion


def _last(run: Open, holds: Callable[[Array], NDArray[np.bool_]]) -> float:
    """Last place at which something holds, which is true at some of the places looked at."""
    s = run.places()
    for _ in range(ZOOMS):
        k = int(np.flatnonzero(holds(s))[-1])
        if k == s.size - 1:
            break
        s = np.linspace(s[k], s[k + 1], LOOKS)
    return float(s[k])


def _tidy(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _below(value: float) -> str:
    """A limit that may be reached, told so that what is told is within it."""
    return f"{math.floor(100.0 * value) / 100.0:g}"


def _above(value: float) -> str:
    return f"{math.ceil(100.0 * value) / 100.0:g}"
