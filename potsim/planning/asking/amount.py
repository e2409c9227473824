"""How much to charge, or how far to let it down, for a wanted volume."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from potsim.errors import RequestError
from potsim.planning.asking import aim
from potsim.planning.asking.letting_down import charge_of, strongest, with_strength
from potsim.planning.asking.scaling import scaled
from potsim.planning.cautions import MOST_FILL
from potsim.planning.plan import Plan
from potsim.planning.portion import between
from potsim.planning.run import Run, distil

Function = Callable[[float], float]

MOST_RUNS = 100
DIGITS = 6  # of amounts, so that a person can weigh and measure them
ABOVE = 1e-5  # relative; aimed so much higher that rounding leaves no bottle short
CLOSE = 1e-9  # relative
TRIES = 4  # in proportion, which is right at once where all scales alike
STEP, STEPS = 1.5, 40  # downwards in search of too little
WEAKEST_ABV = 1.0  # charge looked at
STRENGTHS = 25
SPARE = 1.001  # of the least level, so that rounding does not bare it
HALVINGS = 24


@dataclass(frozen=True)
class Goal:
    """A volume that is wanted.

    Parameters
    ----------
    words : str
        What it is, such as ``"the keep"``.
    wanted_l : float
        How much [L at 20 °C].
    measure : callable
        From a run to how much it gives [L].
    cut : callable
        From a plan to the plan whose keep ends as asked.
    """

    words: str
    wanted_l: float
    measure: Callable[[Run], float]
    cut: Callable[[Plan], Plan]


@dataclass(frozen=True)
class Amount:
    """A plan for a wanted volume.

    Parameters
    ----------
    plan : Plan
        One run.
    runs : int
        How many such runs it takes.
    factor : float
        Charge of each over that of the plan given.
    """

    plan: Plan
    runs: int
    factor: float


def hot_l(plan: Plan) -> float:
    """Volume of the boiling charge with the solids in the pot [L]."""
    run = aim.opened(plan)
    return float(run.course.at(np.array([0.0])).pot_hot_l[0]) + run.solids_l


def by_amount(plan: Plan, goal: Goal) -> Amount:
    """Scale a plan until it gives what is wanted, in as many runs as the pot takes.

    Parameters
    ----------
    plan : Plan
        The plan.
    goal : Goal
        What is wanted.

    Returns
    -------
    Amount
        Equal runs, each filling at most three quarters of the pot.

    Raises
    ------
    RequestError
        If it would take more than 100 runs, or a run cannot be had at all.
    """

    def sized(factor: float, digits: int | None = None) -> Plan:
        return goal.cut(scaled(plan, factor, digits))

    def gives(factor: float) -> float:
        return goal.measure(distil(sized(factor)))

    wanted = goal.wanted_l * (1.0 + ABOVE)
    if plan.still.capacity_l is None:
        factor, runs = _factor(gives, wanted, None), 1
    else:
        full = MOST_FILL * plan.still.capacity_l / hot_l(plan)
        most = gives(full)
        runs = max(1, math.ceil(wanted / most))
        if runs > MOST_RUNS:
            raise RequestError(
                f"{goal.words} would take {runs} runs; allowed are {MOST_RUNS}. Three quarters of the pot "
                f"give {most:.3g} L.",
                "Take a larger pot, or ask for less.",
            )
        factor = _factor(gives, wanted / runs, full)
    return Amount(sized(factor, DIGITS), runs, factor)


def _factor(gives: Function, wanted: float, full: float | None) -> float:
    """Factor at which a plan gives a volume; at most ``full``, at which it gives as much or more."""
    factor = 1.0 if full is None else min(1.0, full)
    for _ in range(TRIES):
        try:
            there = gives(factor)
        except RequestError:
            if full is None:
                raise
            break
        if abs(there / wanted - 1.0) <= CLOSE:
            return factor
        factor = factor * wanted / there if full is None else min(factor * wanted / there, full)
    high = factor if full is None else full
    return _root(lambda f: _or_nothing(gives, f) - wanted, _enough(gives, wanted, high))


def _enough(gives: Function, wanted: float, high: float) -> tuple[float, float]:
    """Two factors, of which the smaller gives too little and the larger enough."""
    for _ in range(STEPS):
        if _or_nothing(gives, high) >= wanted:
            break
        high *= STEP
    low = high
    for _ in range(STEPS):
        low /= STEP
        if _or_nothing(gives, low) < wanted:
            return low, high
        high = low
    raise RequestError(f"{wanted:.3g} L is too little for this plan.", "Ask for more.")


def _or_nothing(gives: Function, at: float) -> float:
    """What a plan gives, and nothing where it cannot be run: too little is in the pot then."""
    try:
        return gives(at)
    except RequestError:
        return 0.0


def weak_enough(plan: Plan, keep_l: float, keep_abv: float) -> Plan:
    """Let a charge down until its pot stays covered to the end of a small keep.

    Parameters
    ----------
    plan : Plan
        The plan, whose still names a least level.
    keep_l, keep_abv : float
        Keep wanted of one run [L, % vol at 20 °C].

    Returns
    -------
    Plan
        The plan as it is, where the level allows; else with as much more water as it takes. A keep out of
        reach of the plan's own charge leaves it as it is, too.

    Notes
    -----
    The same keep of a weaker charge ends earlier, with more left in the pot: charge, keep and what is left
    all scale alike, so that no run is needed.
    """
    level = plan.still.min_level_l

    def bare(abv: float | None) -> bool:
        here = plan if abv is None else with_strength(plan, abv)
        run = aim.opened(replace(here, still=replace(here.still, min_level_l=None)))
        end = aim.end_at_abv(run, keep_abv)
        left = float(run.course.at(np.array([end])).pot_hot_l[0]) + run.solids_l
        return left * keep_l / between(run.course, run.heads, end).volume_l < (level or 0.0) * SPARE

    if level is None or not _or_false(bare, None):
        return plan
    low, high = 0.0, charge_of(plan).abv
    for _ in range(HALVINGS):
        abv = 0.5 * (low + high)
        low, high = (low, abv) if _or_false(bare, abv) else (abv, high)
    return with_strength(plan, low)


def _or_false(bare: Callable[[float | None], bool], abv: float | None) -> bool:
    try:
        return bare(abv)
    except RequestError:
        return False


def _root(function: Function, between: tuple[float, float]) -> float:
    from scipy.optimize import brentq

    return float(brentq(function, *between, xtol=1e-300, rtol=CLOSE))


def by_strength(plan: Plan, goal: Goal) -> Plan:
    """Change the water in the charge until it gives what is wanted, in one run.

    Parameters
    ----------
    plan : Plan
        The plan; its spirits and their amounts stay.
    goal : Goal
        What is wanted.

    Returns
    -------
    Plan
        The one whose strength is nearest to that of the plan given.

    Raises
    ------
    RequestError
        If no charge of these spirits gives it; the least and the most are told.
    """

    def made(abv: float) -> Plan:
        return goal.cut(with_strength(plan, abv))

    def gives(abv: float) -> float:
        here = made(abv)
        capacity = here.still.capacity_l
        if capacity is not None and hot_l(here) > MOST_FILL * capacity:
            raise RequestError("More than three quarters of the pot.", "")
        return goal.measure(distil(here))

    looked = [(abv, _or_nothing(gives, abv)) for abv in np.linspace(WEAKEST_ABV, strongest(plan), STRENGTHS)]
    possible = [(float(abv), volume) for abv, volume in looked if volume > 0.0]
    if not possible:
        made(strongest(plan))  # says why
        raise RequestError(f"{goal.words}: no charge of these spirits fits the pot.", "Charge less.")
    wanted = goal.wanted_l * (1.0 + ABOVE)
    pairs = [
        (a, b)
        for (a, at_a), (b, at_b) in itertools.pairwise(possible)
        if min(at_a, at_b) <= wanted <= max(at_a, at_b)
    ]
    if not pairs:
        volumes = [volume for _, volume in possible]
        raise RequestError(
            f"{goal.words} is out of reach by letting the charge down: {possible[0][0]:.0f} to "
            f"{possible[-1][0]:.0f} % vol in one run give {min(volumes):.3g} to {max(volumes):.3g} L.",
            "Change the amount of the charge instead, or ask for another volume.",
        )
    own = charge_of(plan).abv
    pair = min(pairs, key=lambda pair: abs(0.5 * (pair[0] + pair[1]) - own))
    return scaled(made(_root(lambda abv: gives(abv) - wanted, pair)), 1.0, DIGITS)
