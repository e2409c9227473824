"""Where the keep must end to be as strong, or to hold as much of the alcohol, as was asked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from potsim.errors import SHARE, VOL, RequestError, UnknownNameError, in_units_of_plan, require, require_sort
from potsim.liquid import strength
from potsim.planning import stops
from potsim.planning.apparatus import settle
from potsim.planning.botanicals import solids
from potsim.planning.charge import between, blend
from potsim.planning.frames import Line, frame, outcome, particular
from potsim.planning.notes import MOST_FILL, Note, caution, hint, plain_notes, sentences
from potsim.planning.plan import JarPlan, Plan, Stop, Stretch
from potsim.planning.run import Run, distil, resolve_bill
from potsim.planning.stops import moment
from potsim.planning.sweep import charge_of, scaled, strongest, with_strength
from potsim.records import dataclass, plain
from potsim.still.course import EXHAUSTED, Course, course

if TYPE_CHECKING:
    import pandas as pd


Array = NDArray[np.float64]

DIGITS = 6  # of a stop, so that a person can write it down
LOOKS = 257  # evenly spaced in what is over
ZOOMS = 5  # each time 256 times closer


@dataclass(frozen=True)
class Open:
    """A run before anyone has said where it ends."""

    course: Course  # to exhaustion
    heads: float  # depletion at which the keep begins
    last: float  # depletion at which the run must end: the least level, or exhaustion
    by_level: bool  # whether it is the least level
    solids_l: float  # volume of the botanicals in the pot [L]

    def keep(self, depletion: Array) -> tuple[Array, Array]:
        """Strength of keeps that end at depletions [% vol], and their share of the charged alcohol."""
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
    """Put a plan's charge into its still, its stops left aside."""
    charge = charge_of(plan)
    if charge.ethanol_mol == 0.0:
        raise RequestError.of("no_alcohol", "charge.abv")
    setting = settle(plan, charge)
    run = course(charge.mol, charge.x, setting.still)
    solids_l = solids(resolve_bill(plan))
    level = run.first(stops.min_level(run, solids_l).margin) if setting.still.min_level_l > 0.0 else None
    last = EXHAUSTED if level is None else level
    heads = 0.0
    if setting.heads_l > 0.0:
        there = run.first(lambda states: states.collected_l - setting.heads_l, EXHAUSTED)
        heads = EXHAUSTED if there is None else there
    if heads >= last:
        most_l = float(run.at(np.array([last])).collected_l[0])
        raise RequestError.of("all_heads", "cuts.heads", given=setting.heads_l, allowed=most_l)
    return Open(run, heads, last, level is not None, solids_l)


def end_at_abv(run: Open, keep_abv: float) -> float:
    """Find where the keep has a strength."""
    abv, _ = run.keep(run.places())
    if keep_abv >= abv.max():
        raise RequestError.of("keep_too_strong", given=keep_abv, allowed=float(abv.max()))
    if keep_abv < abv[-1]:
        least = float(abv[-1])
        raise RequestError.of("keep_too_weak", given=keep_abv, allowed=least, by_level=run.by_level)
    return _last(run, lambda s: run.keep(s)[0] >= keep_abv)


def end_at_share(run: Open, kept: float) -> float:
    """Find where the keep holds a share of the alcohol."""
    _, share = run.keep(run.places())
    if kept > share[-1]:
        most = float(share[-1])
        raise RequestError.of("share_too_large", given=kept, allowed=most, by_level=run.by_level)
    return _last(run, lambda s: run.keep(s)[1] <= kept)


def ended(plan: Plan, run: Open, depletion: float) -> Plan:
    """Return a plan whose keep ends at a place."""
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


# --- How much to charge, or how far to let it down, for a wanted volume.


Function = Callable[[float], float]

MOST_RUNS = 100
# % vol; nobody boils stronger, and usual is that; common practice, no source
TOO_STRONG_ABV, RULE_ABV = 60.0, 40.0
NEAR_ABV = 0.005  # of a strength that no hydrometer tells from another
ROUNDING = 0.015  # of a full pot, left for rounding amounts up
SPARE_SHARE = 0.03  # given beyond what is asked; common practice, no source
ABOVE = 1e-5  # relative; aimed so much higher that rounding leaves no bottle short
CLOSE = 1e-9  # relative
TRIES = 4  # in proportion, which is right at once where all scales alike
STEP, STEPS = 1.5, 40  # downwards in search of too little
WEAKEST_ABV = 1.0  # charge looked at
STRENGTHS = 25
SPARE = 1.001  # of the least level, so that rounding does not bare it
HALVINGS = 24


def _keep_l(run: Run) -> float:
    return run.keep.volume_l


@dataclass(frozen=True)
class Wish:
    """A question, and how far a run is from its answer."""

    question: Note  # what is asked
    cut: Callable[[Plan], Plan]  # from a plan to the plan whose keep ends as asked
    miss: Callable[[Run, int], float]  # how far so many equal runs are from what was asked, relative
    wanted_l: float | None = None  # the volume that is wanted [L at 20 °C]; ``None`` if any will do
    measure: Callable[[Run], float] = _keep_l  # from a run to how much it gives [L]


def hot_l(plan: Plan) -> float:
    """Volume of the boiling charge with the solids in the pot [L]."""
    run = opened(plan)
    return float(run.course.at(np.array([0.0])).pot_hot_l[0]) + run.solids_l


def by_amount(plan: Plan, wish: Wish, wanted_l: float, spare: float) -> tuple[Plan, int]:
    """Scale a plan until it gives what is wanted and a little to spare, in as many runs as the pot takes.

    Returned are the plan of one run, rounded up to what can be measured, and how many runs.
    """

    def sized(factor: float, *, measurable: bool = False) -> Plan:
        return wish.cut(scaled(plan, factor, measurable=measurable))

    def gives(factor: float) -> float:
        return wish.measure(distil(sized(factor)))

    wanted = wanted_l * (1.0 + max(spare, ABOVE))
    if plan.still.capacity_l is None:
        factor, runs = _factor(gives, wanted, None), 1
    else:
        full = MOST_FILL * plan.still.capacity_l / hot_l(plan)
        most = gives(full)
        runs = max(1, math.ceil(wanted / most))
        if runs > MOST_RUNS:
            values: dict[str, Any] = {"question": wish.question, "most_l": most}
            raise RequestError.of("too_many_runs", given=runs, allowed=MOST_RUNS, **values)
        factor = _factor(gives, wanted / runs, full)
    made = sized(factor, measurable=True)
    capacity = plan.still.capacity_l
    if capacity is not None and hot_l(made) > MOST_FILL * capacity * (1.0 + ABOVE):
        # Rounding up overfills: a little less, where that still is what was asked.
        less = sized(factor * (1.0 - ROUNDING), measurable=True)
        made = less if runs * wish.measure(distil(less)) >= wanted_l else made
    return made, runs


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
    raise RequestError.of("too_little_asked", given=wanted)


def _or_nothing(gives: Function, at: float) -> float:
    """What a plan gives, and nothing where it cannot be run: too little is in the pot then."""
    try:
        return gives(at)
    except RequestError:
        return 0.0


def weak_enough(plan: Plan, keep_l: float, keep_abv: float) -> Plan:
    """Let a charge down until its pot stays covered to the end of a small keep.

    The same keep of a weaker charge ends earlier, with more left in the pot: charge, keep and what is
    left all scale alike, so that no run is needed.
    """
    level = plan.still.min_level_l

    def bare(abv: float | None) -> bool:
        here = plan if abv is None else with_strength(plan, abv)
        run = opened(replace(here, still=replace(here.still, min_level_l=None)))
        end = end_at_abv(run, keep_abv)
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
    from scipy.optimize import brentq  # start-up: scipy and pandas only here

    return float(brentq(function, *between, xtol=1e-300, rtol=CLOSE))


def by_strength(plan: Plan, wish: Wish, wanted_l: float, spare: float) -> Plan:
    """Change the water in the charge until it gives what is wanted, in one run."""

    def made(abv: float) -> Plan:
        return wish.cut(with_strength(plan, abv))

    def gives(abv: float) -> float:
        here = made(abv)
        capacity = here.still.capacity_l
        if capacity is not None and hot_l(here) > MOST_FILL * capacity:
            allowed = MOST_FILL * capacity
            raise RequestError.of("overfull", given=hot_l(here), allowed=allowed, capacity_l=capacity)
        return wish.measure(distil(here))

    looked = [(abv, _or_nothing(gives, abv)) for abv in np.linspace(WEAKEST_ABV, strongest(plan), STRENGTHS)]
    possible = [(float(abv), volume) for abv, volume in looked if volume > 0.0]
    if not possible:
        made(strongest(plan))  # says why
        raise RequestError.of("no_charge_fits", question=wish.question)
    wanted = wanted_l * (1.0 + max(spare, ABOVE))
    pairs = [
        (a, b)
        for (a, at_a), (b, at_b) in itertools.pairwise(possible)
        if min(at_a, at_b) <= wanted <= max(at_a, at_b)
    ]
    if not pairs:
        volumes = [volume for _, volume in possible]
        raise RequestError.of(
            "not_by_strength",
            given=wanted_l,
            allowed=[min(volumes), max(volumes)],
            question=wish.question,
            abvs=[possible[0][0], possible[-1][0]],
        )
    own = charge_of(plan).abv
    pair = min(pairs, key=lambda pair: abs(0.5 * (pair[0] + pair[1]) - own))
    return wish.cut(scaled(made(_root(lambda abv: gives(abv) - wanted, pair)), 1.0, measurable=True))


# --- Questions asked backwards: the charge and the stop that give what is wanted.


By = Literal["amount", "strength"]
LEAST_L = 0.001  # a keep worth asking for; less takes the search long and ends nowhere
TOLERANCE = 1e-3  # relative, of what was asked
SAME_ABV = 0.2  # % vol; rounding of amounts moves the charge by less


@dataclass(frozen=True)
class Reach(Line):
    """A plan that gives what was asked for."""

    question: Note  # what was asked
    plan: Plan  # the answer: one run of it, or each of several equal ones
    run: Run  # its run
    runs: int  # how many runs it takes
    one_run_pot_l: float | None  # the pot in which all of it would be done in one run [L]; ``None`` if it is
    moved: tuple[Note, ...]  # what is other than in the plan given
    limits: tuple[Note, ...]  # what sets bounds to the answer

    def __repr__(self) -> str:
        runs = "one run" if self.runs == 1 else f"{self.runs} runs"
        return f"<Reach {self.plan.title!r}: {runs}, {self.spirit_l:.3f} L of {self.spirit_abv:.1f} % vol>"

    @property
    def asked(self) -> str:
        """The question in words."""
        return str(self.question)

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

    @property
    def stretch(self) -> Stretch | None:
        """Neutral spirit for all runs by which the keeps are stretched; ``None`` without."""
        by = self.plan.bottling.stretch
        return None if by is None else replace(by, spirit_l=self.runs * by.spirit_l)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries; ``each`` is one of the runs."""
        return {
            "asked": self.asked,
            "runs": self.runs,
            "spirit_l": self.spirit_l,
            "spirit_abv": self.spirit_abv,
            "water_l": self.water_l,
            "stretch": None if self.stretch is None else plain(self.stretch),
            "pot_l": self.run.setting.still.capacity_l,
            "one_run_pot_l": self.one_run_pot_l,
            "stop": {**self.plan.cuts.stop.named},
            "each": plain(outcome(self.run)),
            "parts": [
                {"name": part.name, "volume_l": part.volume_l, "abv": part.abv}
                for part in self.run.charge.parts
            ],
            "moved": list(sentences(self.moved)),
            "limits": list(sentences(self.limits)),
            "cautions": list(sentences(particular(self.run))),
            "notes": plain_notes((*particular(self.run), *self.moved, *self.limits)),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the runs as a table."""
        return frame({"run": k + 1, **plain(outcome(self.run))} for k in range(self.runs))


@in_units_of_plan
def reach(
    plan: Plan,
    *,
    bottles: int | None = None,
    keep_l: float | None = None,
    keep_abv: float | None = None,
    recover: float | None = None,
    by: By = "amount",
    spare: float = SPARE_SHARE,
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
    spare : float
        By how much more than asked the run is to give, 0 to 0.5: what clings to jars, funnel and filter.

    Returns
    -------
    Reach
        The plan, its run, how many runs, what was moved and what sets bounds. The plan, run again, gives at
        least the volume asked, of which each of several runs gives its part, and the strength to 0.1 %.

    Raises
    ------
    RequestError
        If nothing is asked, or two questions at once; or if it cannot be reached, with what limits it.

    Notes
    -----
    Strength and recovery are found on the tabulated still without running it again, amounts by Brent's
    method. Amounts are rounded up to what can be measured (10 mL, 0.1 g), and the run is that of the rounded.

    Examples
    --------
    >>> from potsim.planning.reach import reach
    >>> import potsim
    >>> found = reach(potsim.example_plan(), bottles=6)
    >>> found.runs, found.run.proofing.bottles
    (1, 6)
    """
    require_sort("plan", plan, Plan, "plan")
    if by not in get_args(By):
        raise UnknownNameError("by", by, get_args(By))
    require("spare", spare, 0.0, 0.5, SHARE)
    wish = _wish(plan, bottles, keep_l, keep_abv, recover)
    start = _let_down(replace(plan, jars=JarPlan()))
    runs, why = 1, "too_strong" if start.charge != plan.charge else None
    if wish.wanted_l is None:
        answer = wish.cut(start)
    elif by == "strength":
        answer = by_strength(start, wish, wish.wanted_l, spare)
    else:
        if keep_l is not None and keep_abv is not None:
            weak = weak_enough(start, keep_l, keep_abv)
            start, why = weak, why if weak is start else "least_level"
        answer, runs = by_amount(start, wish, wish.wanted_l, spare)
    answer, run, jar_notes = _with_jars(answer, plan, wish, runs)
    moved = _moved(plan, run, runs, why, scaled_too=wish.wanted_l is not None and by == "amount")
    if wish.wanted_l is not None:
        moved.append(hint("spare_given", spare=spare, gives_l=runs * wish.measure(run)))
    if wish.cut is not _as_planned:
        moved += _end_notes(plan, answer, run)
    one_run = runs * hot_l(answer) / MOST_FILL if runs > 1 else None
    return Reach(
        question=wish.question,
        plan=answer,
        run=run,
        runs=runs,
        one_run_pot_l=one_run,
        moved=(*moved, *jar_notes),
        limits=(*_pot_notes(run, one_run), *_bounds(answer, run)),
    )


def _let_down(plan: Plan) -> Plan:
    """A charge too strong to be boiled is let down to the strength of the rule."""
    return with_strength(plan, RULE_ABV) if charge_of(plan).abv > TOO_STRONG_ABV + NEAR_ABV else plan


def _wish(
    plan: Plan, bottles: int | None, keep_l: float | None, keep_abv: float | None, recover: float | None
) -> Wish:
    asked = [bottles is not None, keep_l is not None or keep_abv is not None, recover is not None]
    if sum(asked) != 1:
        raise RequestError.of("one_question", given=sum(asked), allowed=1)
    require("keep_l", keep_l, LEAST_L, 1e5, "L")
    require("keep_abv", keep_abv, 0.0, 97.0, VOL, open_low=True)
    require("recover", recover, 0.0, 0.9999, SHARE, open_low=True)
    if bottles is not None:
        return _bottles(plan, bottles)
    if recover is not None:
        question = hint("asked_share", recovered=recover)
        return Wish(question, _cut_at(recover, end_at_share), _misses((_kept, recover)))
    cut = _as_planned if keep_abv is None else _cut_at(keep_abv, end_at_abv)
    strong: tuple[Measured, ...] = () if keep_abv is None else ((lambda run: run.keep.abv, keep_abv),)
    question = hint("asked_keep", volume_l=keep_l, abv=keep_abv)
    volume = None if keep_l is None else (_keep_l, keep_l)
    return Wish(question, cut, _misses(*strong, volume=volume), keep_l)


def _bottles(plan: Plan, bottles: int) -> Wish:
    require("bottles", bottles, 1, 1e6, "bottles")
    if bottles != int(bottles):
        raise RequestError.of("wrong_type", "bottles", given=repr(bottles), allowed="int")
    bottling = plan.bottling
    if bottling.abv is None or bottling.bottle_l is None:
        missing = "bottling.abv" if bottling.abv is None else "bottling.bottle"
        raise RequestError.of("no_bottle", missing, bottles=int(bottles))
    wanted = int(bottles) * bottling.bottle_l
    require("bottling.bottle", wanted, LEAST_L, unit="L")
    question = hint("asked_bottles", bottles=int(bottles), bottle_l=bottling.bottle_l, abv=bottling.abv)
    return Wish(question, _as_planned, _misses(volume=(_bottled_l, wanted)), wanted, _bottled_l)


def _as_planned(plan: Plan) -> Plan:
    return plan


def _cut_at(wanted: float, find: Callable[[Open, float], float]) -> Callable[[Plan], Plan]:
    def cut(plan: Plan) -> Plan:
        run = opened(plan)
        return ended(plan, run, find(run, wanted))

    return cut


def _bottled_l(run: Run) -> float:
    return run.proofing.volume_l if run.proofing else 0.0


def _kept(run: Run) -> float:
    return outcome(run).kept


Measured = tuple[Callable[[Run], float], float]


def _misses(*each: Measured, volume: Measured | None = None) -> Callable[[Run, int], float]:
    """How far a run is from what was asked, relative; a volume, shared among the runs, may be more."""

    def miss(run: Run, runs: int) -> float:
        far = [abs(measure(run) / wanted - 1.0) for measure, wanted in each]
        if volume is not None:
            far.append(max(1.0 - runs * volume[0](run) / volume[1], 0.0))
        return max(far)

    return miss


def _with_jars(answer: Plan, plan: Plan, wish: Wish, runs: int) -> tuple[Plan, Run, tuple[Note, ...]]:
    """Run the answer with the jars of the plan; with a row proposed, where they do not hold the keep."""
    notes = [hint("jars_kept_left_out", "jars.keep")] if plan.jars.keep else []
    if plan.jars.stock:
        with_own = replace(answer, jars=replace(plan.jars, keep=()))
        try:
            run = distil(with_own)
        except RequestError:
            run = None
        if run is not None and wish.miss(run, runs) <= TOLERANCE:
            return with_own, run, tuple(notes)
        notes.append(hint("jars_do_not_hold", "jars.sizes"))
    run = distil(answer)
    if wish.miss(run, runs) > TOLERANCE:
        ended = (run.end.reason, run.end.values)
        keep: dict[str, Any] = {"keep_l": run.keep.volume_l, "keep_abv": run.keep.abv}
        raise RequestError.of("not_reached", question=wish.question, ended=ended, **keep)
    return answer, run, tuple(notes)


def _moved(plan: Plan, run: Run, runs: int, why: str | None, *, scaled_too: bool) -> list[Note]:
    notes, own = [], charge_of(plan)
    if abs(run.charge.abv - own.abv) > SAME_ABV:
        let_down = {"abv": run.charge.abv, "abv_before": own.abv, "why": why}
        let_down |= {"usual_abv": RULE_ABV, "most_abv": TOO_STRONG_ABV}
        notes.append(hint("charge_let_down", "charge.abv", **let_down))
    factor = run.charge.ethanol_l / own.ethanol_l
    if scaled_too and abs(factor - 1.0) > CLOSE:
        along = [*(["botanicals"] if plan.botanicals else []), *(["heads"] if plan.cuts.heads_l else [])]
        notes.append(hint("charge_scaled", "charge", factor=factor, runs=runs, along=along))
    return notes


def _end_notes(plan: Plan, answer: Plan, run: Run) -> list[Note]:
    """Where a keep ends that was asked to be of a strength."""
    there = moment(run.course, run.points.keep_end)
    what = "keep" if answer.cuts.tails_from else "run"
    notes = [hint("ends_at", what, stream_abv=there.stream_abv, collected_l=there.collected_l)]
    if plan.cuts.tails_from is not None and answer.cuts.tails_from is None:
        notes.append(hint("no_tails_taken", "cuts.tails_from"))
    return notes


def _pot_notes(run: Run, one_run_l: float | None) -> tuple[Note, ...]:
    if one_run_l is None:
        return ()
    capacity = run.setting.still.capacity_l
    full = {"capacity_l": capacity, "fill": MOST_FILL, "boiling_l": MOST_FILL * capacity}
    return (hint("pot_full", "still.capacity", **full, one_run_l=one_run_l),)


def _bounds(answer: Plan, run: Run) -> tuple[Note, ...]:
    whole = opened(answer)
    ends = np.array([whole.heads, whole.last])
    abv, share = whole.keep(ends)
    span = {"low_abv": float(abv[1]), "high_abv": float(abv[0]), "most_share": float(share[1])}
    notes = [hint("keeps_possible", "charge", **span)]
    if run.end.reason == "min_level":
        notes.append(caution("ends_early", "still.min_level", least_level_l=run.setting.still.min_level_l))
    return tuple(notes)
