"""Questions asked backwards: the charge and the stop that give what is wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from potsim.errors import RequestError, UnknownNameError, require
from potsim.planning.asking import aim
from potsim.planning.asking.amount import Goal, by_amount, by_strength, hot_l, weak_enough
from potsim.planning.asking.letting_down import charge_of
from potsim.planning.asking.outcome import outcome, particular, plain
from potsim.planning.cautions import MOST_FILL
from potsim.planning.charge import blend
from potsim.planning.jar_sizes import said
from potsim.planning.moment import moment
from potsim.planning.plan import JarPlan, Plan
from potsim.planning.run import Run, distil

if TYPE_CHECKING:
    import pandas as pd

By = Literal["amount", "strength"]
LEAST_L = 0.001  # a keep worth asking for; less takes the search long and ends nowhere
TOLERANCE = 1e-3  # relative, of what was asked
SAME_ABV = 1e-3  # % vol; rounding of amounts moves the charge by less


@dataclass(frozen=True)
class Reach:
    """A plan that gives what was asked for.

    Parameters
    ----------
    asked : str
        The question in words.
    plan : Plan
        The answer: one run of it, or each of several equal ones.
    run : Run
        Its run.
    runs : int
        How many runs it takes.
    one_run_pot_l : float or None
        The pot in which all of it would be done in one run [L]; ``None`` if it is.
    moved : tuple of str
        What is other than in the plan given, a sentence each.
    limits : tuple of str
        What sets bounds to the answer, a sentence each.
    """

    asked: str
    plan: Plan
    run: Run
    runs: int
    one_run_pot_l: float | None
    moved: tuple[str, ...]
    limits: tuple[str, ...]

    @property
    def spirit_l(self) -> float:
        """Base spirit for all runs, before it is let down [L at 20 °C]."""
        return self.runs * sum(part.volume_l for part in self.run.charge.parts if part.abv > 0.0)

    @property
    def spirit_abv(self) -> float:
        """Strength of that spirit, blended [% vol at 20 °C]."""
        return blend([part for part in self.run.charge.parts if part.abv > 0.0]).abv

    @property
    def water_l(self) -> float:
        """Water for all runs by which it is let down [L at 20 °C]."""
        return self.runs * sum(part.volume_l for part in self.run.charge.parts if part.abv == 0.0)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries; ``each`` is one of the runs."""
        return {
            "asked": self.asked,
            "runs": self.runs,
            "spirit_l": self.spirit_l,
            "spirit_abv": self.spirit_abv,
            "water_l": self.water_l,
            "pot_l": self.run.setting.still.capacity_l,
            "one_run_pot_l": self.one_run_pot_l,
            "stop": {**self.plan.cuts.stop.named},
            "each": plain(outcome(self.run)),
            "parts": [
                {"name": part.name, "volume_l": part.volume_l, "abv": part.abv}
                for part in self.run.charge.parts
            ],
            "moved": list(self.moved),
            "limits": list(self.limits),
            "cautions": list(particular(self.run)),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the runs as a table.

        Returns
        -------
        pandas.DataFrame
            One row a run, all alike; columns as of `potsim.planning.asking.outcome.Outcome`.
        """
        import pandas as pd

        rows = [{"run": k + 1, **plain(outcome(self.run))} for k in range(self.runs)]
        return pd.DataFrame(rows)


def reach(
    plan: Plan,
    *,
    bottles: int | None = None,
    keep_l: float | None = None,
    keep_abv: float | None = None,
    recover: float | None = None,
    by: By = "amount",
) -> Reach:
    """Find a plan that gives what is wanted.

    Parameters
    ----------
    plan : Plan
        Where to start from: spirits, bill, still, heads, and all that is not asked for.
    bottles : int, optional
        Full bottles wanted, of the plan's size and strength.
    keep_l : float, optional
        Volume of the keep wanted [L at 20 °C].
    keep_abv : float, optional
        Strength of the keep wanted [% vol at 20 °C]; moves the end of the keep.
    recover : float, optional
        Share of the charged alcohol that the keep must hold, 0 to 1: the strongest such keep.
    by : {'amount', 'strength'}
        What is moved to get a volume: the amount of everything, in as many runs as the pot takes; or the
        water in the charge, in one run.

    Returns
    -------
    Reach
        The plan, its run, how many runs, what was moved and what sets bounds. The plan, run again, gives what
        was asked to 0.1 %, of which each of several runs gives its part.

    Raises
    ------
    RequestError
        If nothing is asked, or two questions at once; or if it cannot be reached, with what limits it.

    Notes
    -----
    Strength and recovery are found on the tabulated still without running it again, amounts by Brent's
    method. Amounts are rounded to six digits.

    Examples
    --------
    >>> import potsim
    >>> found = reach(potsim.example_plan(), bottles=6)
    >>> found.runs, found.run.proofing.bottles
    (1, 6)
    """
    if by not in get_args(By):
        raise UnknownNameError("way to get a volume", by, get_args(By))
    wish = _wish(plan, bottles, keep_l, keep_abv, recover)
    start = replace(plan, jars=JarPlan())
    runs, factor = 1, 1.0
    if wish.goal is None:
        answer = wish.cut(start)
    elif by == "strength":
        answer = by_strength(start, wish.goal)
    else:
        if keep_l is not None and keep_abv is not None:
            start = weak_enough(start, keep_l, keep_abv)
        found = by_amount(start, wish.goal)
        answer, runs, factor = found.plan, found.runs, found.factor
    answer, run, jar_words = _with_jars(answer, plan, wish, runs)
    moved = _moved(plan, run, runs, factor)
    if wish.cut is not _as_planned:
        moved += _end_words(plan, answer, run)
    one_run = runs * hot_l(answer) / MOST_FILL if runs > 1 else None
    return Reach(
        asked=wish.asked,
        plan=answer,
        run=run,
        runs=runs,
        one_run_pot_l=one_run,
        moved=(*moved, *jar_words),
        limits=(*_pot_words(run, one_run), *_bounds(answer, run)),
    )


@dataclass(frozen=True)
class _Wish:
    """A question: in words, how the keep must end, what volume is wanted, and how far a run is from it."""

    asked: str
    cut: Callable[[Plan], Plan]
    goal: Goal | None
    miss: Callable[[Run, int], float]


def _wish(
    plan: Plan, bottles: int | None, keep_l: float | None, keep_abv: float | None, recover: float | None
) -> _Wish:
    asked = [bottles is not None, keep_l is not None or keep_abv is not None, recover is not None]
    if sum(asked) != 1:
        raise RequestError(
            f"{'Nothing is' if not any(asked) else 'Two things are'} asked for.",
            "Ask for one: bottles, a keep (its volume, its strength or both), or a share to recover.",
        )
    require("keep_l", keep_l, LEAST_L, 1e5, "L")
    require("keep_abv", keep_abv, 0.0, 97.0, "% vol", open_low=True)
    require("recover", recover, 0.0, 0.9999, "of the alcohol (0 to 1)", open_low=True)
    if bottles is not None:
        return _bottles(plan, bottles)
    if recover is not None:
        words = f"the strongest keep that holds {100.0 * recover:g} % of the alcohol"
        return _Wish(words, _cut_at(recover, aim.end_at_share), None, _misses((_kept, recover)))
    cut = _as_planned if keep_abv is None else _cut_at(keep_abv, aim.end_at_abv)
    strong = () if keep_abv is None else ((_keep_abv, keep_abv),)
    at = "" if keep_abv is None else f" {'of' if keep_l is None else 'at'} {keep_abv:g} % vol"
    if keep_l is None:
        return _Wish(f"a keep{at}", cut, None, _misses(*strong))
    words = f"a keep of {said(keep_l)}{at}"
    goal = Goal(words, keep_l, lambda run: run.keep.volume_l, cut)
    return _Wish(words, cut, goal, _misses(*strong, volume=(goal.measure, keep_l)))


def _bottles(plan: Plan, bottles: int) -> _Wish:
    require("bottles", bottles, 1, 1e6, "bottles")
    if bottles != int(bottles):
        raise RequestError(f"{bottles:g} bottles are not a whole number.", "Ask for full bottles.")
    bottling = plan.bottling
    if bottling.abv is None or bottling.bottle_l is None:
        missing = "bottling.abv" if bottling.abv is None else "bottling.bottle"
        raise RequestError(
            f"{missing} is not given: how much {bottles:g} bottles hold is open.",
            "Give the bottling strength and the bottle.",
        )
    wanted = int(bottles) * bottling.bottle_l
    require("bottling.bottle", wanted, LEAST_L, unit="L, all bottles together")
    plural = "s" if bottles > 1 else ""
    words = f"{bottles:g} bottle{plural} of {said(bottling.bottle_l)} at {bottling.abv:g} % vol"
    goal = Goal(words, wanted, _bottled_l, _as_planned)
    return _Wish(words, _as_planned, goal, _misses(volume=(_bottled_l, wanted)))


def _as_planned(plan: Plan) -> Plan:
    return plan


def _cut_at(wanted: float, find: Callable[[aim.Open, float], float]) -> Callable[[Plan], Plan]:
    def cut(plan: Plan) -> Plan:
        run = aim.opened(plan)
        return aim.ended(plan, run, find(run, wanted))

    return cut


def _bottled_l(run: Run) -> float:
    return run.proofing.volume_l if run.proofing else 0.0


def _keep_abv(run: Run) -> float:
    return run.keep.abv


def _kept(run: Run) -> float:
    return outcome(run).kept


Measured = tuple[Callable[[Run], float], float]


def _misses(*each: Measured, volume: Measured | None = None) -> Callable[[Run, int], float]:
    """How far a run is from what was asked, relative; a volume is shared among the runs."""

    def miss(run: Run, runs: int) -> float:
        far = [abs(measure(run) / wanted - 1.0) for measure, wanted in each]
        if volume is not None:
            far.append(abs(runs * volume[0](run) / volume[1] - 1.0))
        return max(far)

    return miss


def _with_jars(answer: Plan, plan: Plan, wish: _Wish, runs: int) -> tuple[Plan, Run, tuple[str, ...]]:
    """Run the answer with the jars of the plan; with a row proposed, where they do not hold the keep."""
    words = ["jars.keep is left out: all jars between heads and tails count."] if plan.jars.keep else []
    if plan.jars.sizes:
        with_own = replace(answer, jars=JarPlan(plan.jars.sizes))
        try:
            run = distil(with_own)
        except RequestError:
            run = None
        if run is not None and wish.miss(run, runs) <= TOLERANCE:
            return with_own, run, tuple(words)
        words.append("The jars of the plan do not hold it: a row is proposed.")
    run = distil(answer)
    if wish.miss(run, runs) > TOLERANCE:
        raise RequestError(
            f"{wish.asked[0].upper()}{wish.asked[1:]} is out of reach: the nearest run gives a keep of "
            f"{said(run.keep.volume_l)} at {run.keep.abv:.2f} % vol, ended because {run.end.words}.",
            "Ask for more, lower still.min_level, or stop otherwise.",
        )
    return answer, run, tuple(words)


def _moved(plan: Plan, run: Run, runs: int, factor: float) -> list[str]:
    words = []
    own = charge_of(plan).abv
    if abs(run.charge.abv - own) > SAME_ABV:
        why = ", so that the pot keeps its least level" if factor != 1.0 else ""
        words.append(f"The charge is let down to {run.charge.abv:.2f} % vol instead of {own:.2f}{why}.")
    if factor != 1.0:
        others = [*(["botanicals"] if plan.botanicals else []), *(["heads"] if plan.cuts.heads_l else [])]
        along = f", {' and '.join(others)} with it" if others else ""
        each = f"In each of {runs} runs everything" if runs > 1 else "Everything"
        words.append(f"{each} in the pot is {factor:.4g} times as much as in the plan{along}.")
    return words


def _end_words(plan: Plan, answer: Plan, run: Run) -> list[str]:
    """Say where a keep ends that was asked to be of a strength."""
    there = moment(run.course, run.points.keep_end)
    what = "keep" if answer.cuts.tails_from else "run"
    words = [
        f"The {what} ends when the stream has fallen to {there.stream_abv:.2f} % vol, "
        f"with {said(there.collected_l)} collected."
    ]
    if plan.cuts.tails_from is not None and answer.cuts.tails_from is None:
        words.append("No tails are taken: the run ends with the keep.")
    return words


def _pot_words(run: Run, one_run_l: float | None) -> tuple[str, ...]:
    if one_run_l is None:
        return ()
    capacity = run.setting.still.capacity_l
    return (
        f"A pot of {capacity:.3g} L is three quarters full with {said(MOST_FILL * capacity)} of boiling "
        f"charge; one of {one_run_l:.3g} L does all in one run.",
    )


def _bounds(answer: Plan, run: Run) -> tuple[str, ...]:
    whole = aim.opened(answer)
    ends = np.array([whole.heads, whole.last])
    abv, share = whole.keep(ends)
    words = [
        f"Keeps of this charge have {abv[1]:.1f} to {abv[0]:.1f} % vol and hold at most "
        f"{100.0 * share[1]:.1f} % of its alcohol."
    ]
    if run.end.reason == "min_level":
        words.append(f"The run ends early: {run.end.words}.")
    return tuple(words)
