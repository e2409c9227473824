"""From a plan to the predicted run."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Literal, overload

import numpy as np
from numpy.typing import NDArray

from potsim import faces
from potsim.errors import RequestError, in_units_of_plan, require_sort
from potsim.liquid import strength
from potsim.liquid.boiling import Excess
from potsim.liquid.compounds import ZERO_C_K
from potsim.liquid.equilibrium import excess
from potsim.planning import apparatus, botanicals, flavours, frames, jars, notes, proofing, stops
from potsim.planning.apparatus import Setting, settle
from potsim.planning.botanicals import ResolvedDose, extend, library, solids
from potsim.planning.charge import Charge, Portion, amounts, blend, resolve
from potsim.planning.cloud import Bottled, Cloud, Glass, believed, cloud, glass_in
from potsim.planning.flavours import Cut, Flavours, predict
from potsim.planning.frames import FORMAT, Line, document
from potsim.planning.notes import Note, hint, sentences
from potsim.planning.plan import LeftOver, Plan
from potsim.planning.proofing import Costs, Proofing, account, bottle
from potsim.planning.stops import CutTable, HeadsCut, Moment, Profile, Stopped
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, course

if TYPE_CHECKING:
    import pandas as pd

    from potsim.planning.forecast import Forecast


Array = NDArray[np.float64]

HEADS_TIMES = (0.5, 1.0, 2.0, 3.0)  # the plan's own heads
HEADS_SHARES = (0.005, 0.01, 0.02, 0.04)  # of the charge, where the plan takes none
POINTS = 201  # of the arrays of a run, evenly spaced in moles collected


@dataclass(frozen=True)
class Run(Line):
    """A predicted run, from the first drop to the stop.

    Parameters
    ----------
    plan : Plan
        What it was computed from.
    charge : Charge
        What is in the pot at switch-on, the botanicals' own water included.
    setting : Setting
        The still and all that the plan left open.
    course : Course
        The run in physical units, to exhaustion.
    end : End
        Where it stops, and why.
    points : CutPoints
        Where heads, keep and run end.
    row : Row
        The jars.
    keep : Keep
        What is pooled.
    proofing : Proofing or None
        Down to bottling strength; ``None`` if the plan names none.
    flavours : Flavours
        What the botanicals, and the base spirits' own volatiles, do over the run.
    glass : Glass or None
        Where this very batch was seen to haze.
    """

    # numbers that stand in `to_dict` as they are
    PLAIN: ClassVar = ("first_drop_min", "faded_l", "condenser_w", "closure")

    plan: Plan
    charge: Charge
    setting: Setting
    course: Course
    end: stops.End
    points: stops.CutPoints
    row: jars.Row
    keep: proofing.Keep
    proofing: Proofing | None
    flavours: Flavours
    glass: Glass | None = None

    @cached_property
    def profile(self) -> Profile:
        """The arrays, evenly spaced in moles collected."""
        over = np.linspace(0.0, -np.expm1(-self.end.depletion), POINTS)
        depletion = np.minimum(-np.log1p(-over), self.end.depletion)
        found = stops.profile(self.course, self.course.at(depletion))
        frames.read_only(array for array in vars(found).values() if array is not None)
        return found

    @property
    def collected_l(self) -> Array:
        """Pooled distillate [L at 20 °C]."""
        return self.profile.collected_l

    @property
    def stream_abv(self) -> Array:
        """Strength of the stream [% vol at 20 °C]."""
        return self.profile.stream_abv

    @property
    def pot_abv(self) -> Array:
        """Strength left in the pot [% vol at 20 °C]."""
        return self.profile.pot_abv

    @property
    def mean_abv(self) -> Array:
        """Strength of all collected [% vol at 20 °C]."""
        return self.profile.mean_abv

    @property
    def recovered(self) -> Array:
        """Share of the charged ethanol collected, 0 to 1."""
        return self.profile.recovered

    @property
    def pot_l(self) -> Array:
        """Liquid in the pot [L at 20 °C]."""
        return self.profile.pot_l

    @property
    def pot_c(self) -> Array:
        """Temperature of the pot [°C]."""
        return self.profile.pot_c

    @property
    def vapour_c(self) -> Array:
        """Temperature of the vapour that leaves the neck [°C]."""
        return self.profile.vapour_c

    @property
    def elapsed_min(self) -> Array:
        """Time since switch-on [min]."""
        return self.profile.elapsed_min

    @property
    def first_drop_min(self) -> float:
        """Time from switch-on to the first drop [min]."""
        return self.course.first_drop_s / 60.0

    @property
    def bill(self) -> tuple[ResolvedDose, ...]:
        """What each line of the bill brings into the still."""
        return self.flavours.bill

    @cached_property
    def cloud(self) -> Cloud | None:
        """Whether stream and bottle cloud; ``None`` where there is no oil or no alcohol."""
        return self.cloud_at(self.plan.bottling.abv)

    @property
    def hazy_jars(self) -> tuple[Literal["possible", "sure"] | None, ...]:
        """Of each jar, whether what runs into it may be hazy, or surely is."""
        stream = None if self.cloud is None else self.cloud.stream
        if stream is None or stream.possible_l is None:
            return (None,) * len(self.jars)
        sure_l = np.inf if stream.sure_l is None else stream.sure_l
        may = stream.possible_l
        return tuple(
            "sure" if jar.from_l >= sure_l else "possible" if jar.to_l > may else None for jar in self.jars
        )

    def cloud_at(self, target_abv: float | None, glass: Glass | None = None) -> Cloud | None:
        """Return the cloud at another bottling strength, or once a glass of the keep has been tried.

        Parameters
        ----------
        target_abv : float or None
            Bottling strength [% vol]; ``None`` if the keep is not let down.
        glass : Glass, optional
            Where a glass of this very keep hazed; as the run has it if left out.

        Returns
        -------
        Cloud or None
            As `cloud`.

        Raises
        ------
        RangeError
            If the glass hazed above the strength of the keep.
        """
        return cloud(self.flavours, self.end.depletion, self.bottled(target_abv, glass))

    def bottled(self, target_abv: float | None, glass: Glass | None = None) -> Bottled:
        """Return what is bottled, as far as its cloud goes."""
        kept, known, heads_l = self.let_down, believed(self.plan.bottling), self.setting.heads_l
        seen = self.glass if glass is None else glass
        return Bottled(self.kept_spans, kept.ethanol_l, kept.abv, target_abv, heads_l, known, seen)

    @cached_property
    def let_down(self) -> strength.Mixture:
        """What is let down: the keep, with the neutral spirit by which it is stretched."""
        return proofing.stretched(self.keep, self.plan.bottling.stretch)

    @cached_property
    def costs(self) -> Costs:
        """Pure alcohol in, out and left; money too where the plan says prices."""
        return account(self.charge, self.plan.bottling, self.let_down, self.proofing)

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """All there is to say of the run beside its numbers: what to heed, what was taken, what helps."""
        of_water = () if self.proofing is None else self.proofing.notes
        return (*self.heed, *self.taken, *self.at_the_stop, *self.row.notes, *of_water)

    @cached_property
    def heed(self) -> tuple[Note, ...]:
        """Dangers and cautions: what this run calls for, then what every run does."""
        drink = self.proofing
        volume_l, abv = self.keep.volume_l, self.keep.abv
        if drink is not None:
            volume_l, abv = drink.volume_l, drink.target_abv
        known = self.setting.condenser_w is not None
        return (
            *notes.for_run(self.charge, self.setting, self.course, self.solids_l, self.bill),
            *(apparatus.for_condenser(self.condensing) if known else ()),
            *notes.for_end(self.end, self.setting.still.min_level_l),
            *notes.heads_take(self.flavours, self.setting.heads_l),
            *notes.for_bill(self.bill, self.charge.volume_l),
            *notes.for_drink(self.flavours, self.kept_spans, volume_l, abv),
            *(() if known else apparatus.for_condenser(self.condensing)),
            *notes.usual(self.charge),
        )

    @cached_property
    def taken(self) -> tuple[Note, ...]:
        """Hints of what the plan left open and was therefore taken, and of what in it comes to nothing."""
        plan, unused = self.plan, []
        if plan.cuts.tails_from is not None and self.points.keep_end >= self.end.depletion:
            unused.append(hint("no_tails", "cuts.tails_from"))
        for step in self.setting.still.power_changes[len(self.course.legs) - 1 :]:
            unused.append(hint("power_step_unused", "still.power_step", from_l=step.from_collected_l))
        if plan.bottling.bottle_l is not None and plan.bottling.abv is None:
            unused.append(hint("nothing_bottled", "bottling.abv"))
        if any(isinstance(part, LeftOver) for part in plan.charge):
            unused.append(hint("left_over_oils", "charge.from_run"))
        return (*self.setting.assumed, *unused, *(note for dose in self.bill for note in dose.notes))

    @property
    def cautions(self) -> tuple[str, ...]:
        """`heed` in words, a sentence each."""
        return sentences(self.heed)

    @property
    def assumed(self) -> tuple[str, ...]:
        """`taken` in words, a sentence each."""
        return sentences(self.taken)

    @property
    def in_one_vessel(self) -> bool:
        """Whether nothing asks for jars: no botanical, no cut, none named."""
        plan = self.plan
        cut = self.setting.heads_l > 0.0 or self.points.keep_end < self.points.end
        return not plan.botanicals and not cut and not plan.jars.stock and not plan.jars.keep

    @property
    def kept_min(self) -> float:
        """Minute at which the last jar of the keep is taken away, from switch-on."""
        return self.jars[max(self.keep.jars) - 1].full_min if self.keep.jars else self.stop.elapsed_min

    @cached_property
    def emptied(self) -> jars.Emptied | None:
        """What the working jar asks for; ``None`` where the plan has a row of jars."""
        size_l = self.plan.jars.working_l
        if size_l is None:
            return None
        return jars.emptied(self.course, self.points.heads, self.points.keep_end, size_l)

    @cached_property
    def cuts(self) -> CutTable:
        """What moving the heads cut, and the end of the keep, would come to."""
        return stops.cut_table(self.course, self.points, self._last_depletion)

    @cached_property
    def added(self) -> dict[str, tuple[float, ...]]:
        """What each step of the end of the keep still adds of each botanical that is noticed.

        Common name to the share, of what it gives with 99 % of the alcohol, that comes between one row of
        `cuts` and the next; before the first row, all until then.
        """
        ends = [row.collected_l for row in self.cuts.keep_end]
        counted = [one for one in self.flavours if one.noticed != "lost"]
        if not ends or not counted:
            return {}
        whole = amounts(self.course, max(self._last_depletion, self.points.end))
        at = whole.depletion(whole.at_collected_l(np.array(ends)))
        over = self.flavours.lines_over
        edges = np.concatenate([[0.0], np.minimum(at, over.position[-1]), [self.flavours.alcohol_over]])
        grams = over(edges)
        shares = np.diff(grams[:, :-1]) / np.where(grams[:, -1:] > 0.0, grams[:, -1:], 1.0)
        labels = self.flavours.labels
        return {labels[one.line]: tuple(shares[one.line].tolist()) for one in counted}

    @cached_property
    def _last_depletion(self) -> float:
        """How far the run could be let go on: to the least level, or to exhaustion."""
        if self.setting.still.min_level_l == 0.0:
            return EXHAUSTED
        bare = self.course.first(stops.min_level(self.course, self.solids_l).margin)
        return EXHAUSTED if bare is None else bare

    @cached_property
    def heads(self) -> tuple[HeadsCut, ...]:
        """What heads cuts of a few sizes would take of the base spirits; none where they bring nothing."""
        if not self.flavours.base:
            return ()
        planned = self.setting.heads_l
        if planned > 0.0:
            wanted = [planned * times for times in HEADS_TIMES]
        else:
            wanted = [self.charge.volume_l * share for share in HEADS_SHARES]
        most_l = self.stop.collected_l
        return tuple(stops.heads_cut(self.flavours, size) for size in wanted if size <= most_l)

    @cached_property
    def closure(self) -> dict[str, float]:
        """Relative errors of the balances of mass, ethanol and energy, from the first drop to the stop."""
        there = self.course.at(np.array([self.end.depletion]))
        over, left = float(there.over_ethanol_mol[0]), float(there.pot_mol[0] * there.pot_x[0])
        distillate = Portion(over, float(there.over_mol[0]) - over)
        pot = Portion(left, float(there.pot_mol[0]) - left)
        gone = self.lost
        mass = self.charge.mass_kg - (distillate.mass_g + pot.mass_g + gone.mass_g) / 1000.0
        ethanol = self.charge.ethanol_mol - over - left - gone.ethanol_mol
        return {
            "mass": mass / self.charge.mass_kg,
            "ethanol": ethanol / self.charge.ethanol_mol if self.charge.ethanol_mol > 0.0 else 0.0,
            "energy": self.course.energy_error(self.end.depletion),
        }

    @property
    def solids_l(self) -> float:
        """Volume of the botanicals in the pot [L]."""
        return solids(self.bill)

    @property
    def faded_l(self) -> float | None:
        """Where all that leads or is clear has faded, but for the late class [L]; None if none is."""
        at = self.flavours.faded
        return None if at is None else float(self.course.at(np.array([at])).collected_l[0])

    @property
    def kept_spans(self) -> tuple[tuple[float, float], ...]:
        """Depletions between which the jars of the keep are collected."""
        return tuple((j.start_depletion, j.end_depletion) for j in self.jars if j.number in self.keep.jars)

    @property
    def jars(self) -> tuple[jars.Jar, ...]:
        """The jars, in order."""
        return self.row.jars

    @cached_property
    def at_the_stop(self) -> tuple[Note, ...]:
        """What helps to meet the stop: its temperature at this height, the parrot, the plate's own heat."""
        return (
            *apparatus.for_place(self.setting.stop, self.setting.still),
            *apparatus.for_parrot(self.course, self.end),
            *apparatus.for_plate(self.turn_off),
        )

    @cached_property
    def condensing(self) -> apparatus.Condensing:
        """What the condenser must carry off at the most, and what the one at hand can."""
        return apparatus.condensing(self.course, self.end, self.setting.condenser_w)

    @property
    def condenser_w(self) -> float:
        """Most heat that the condenser must carry off during the run [W]."""
        return self.condensing.duty_w

    @cached_property
    def turn_off(self) -> apparatus.TurnOff | None:
        """When to switch a plate off so that the stop is met; ``None`` for other heat."""
        return apparatus.turn_off(self.course, self.end, self.setting.heated_by)

    @property
    def parrot_abv(self) -> Array | None:
        """Strength that the parrot shows [% vol at 20 °C]; ``None`` without a parrot."""
        return self.profile.parrot_abv

    @property
    def lost(self) -> Portion:
        """What was lost behind the neck by the stop; nothing where the plan loses none."""
        share = self.setting.still.lost
        there = self.course.at(np.array([self.end.depletion]))
        per_got = share / (1.0 - share)
        ethanol = float(there.over_ethanol_mol[0])
        return Portion(per_got * ethanol, per_got * (float(there.over_mol[0]) - ethanol))

    @property
    def stop(self) -> Stopped:
        """The state at the stop, and why the run ends there."""
        there = stops.moment(self.course, self.end.depletion)
        return Stopped(**vars(there), reason=self.end.reason, words=self.end.words)

    @overload
    def at(self, **where: float) -> Moment: ...

    @overload
    def at(self, **where: Sequence[float] | Array) -> Profile: ...

    def at(self, **where: Any) -> Moment | Profile:
        """Return the state at one point of the run, or at several.

        Parameters
        ----------
        **where : float, or array of float
            One of ``collected_l`` [L], ``stream_abv``, ``pot_abv`` or ``mean_abv`` [% vol], ``recovered``
            (0 to 1), ``pot_l`` [L], ``pot_c`` or ``vapour_c`` [°C], ``elapsed_min`` [min]; with a parrot,
            ``parrot_abv`` [% vol].

        Returns
        -------
        Moment, or Profile of arrays
            All nine quantities there, and what the parrot shows.

        Raises
        ------
        RequestError
            If not exactly one known quantity is named, or its value is no number.
        RangeError
            If the run does not pass through it between the first drop and the stop.

        Examples
        --------
        >>> import potsim
        >>> run = potsim.distil(potsim.example_plan())
        >>> round(run.at(collected_l=0.3).collected_l, 9)
        0.3
        >>> run.at(collected_l=[0.1, 0.5]).stream_abv.round().tolist()
        [80.0, 76.0]
        """
        return stops.where(self.course, self.end.depletion, where)

    def first(self, condition: Callable[[Profile], Array]) -> Moment | None:
        """Find where a condition of one's own first comes true, also beyond the stop.

        Parameters
        ----------
        condition : callable
            Of the quantities along the run (``stream_abv``, ``collected_l``, ``pot_c``, ...), arrays of one
            shape; negative before it is true, 0 and more from there on.

        Returns
        -------
        Moment
            The state there; None if it never comes.

        Examples
        --------
        >>> import potsim
        >>> run = potsim.distil(potsim.example_plan())
        >>> there = run.first(lambda now: 20.0 - (now.stream_abv - now.pot_abv))
        >>> round(there.stream_abv - there.pot_abv, 6)
        20.0
        """
        at = self.course.first(lambda states: condition(stops.profile(self.course, states)))
        return None if at is None else stops.moment(self.course, at)

    def to_frame(self) -> pd.DataFrame:
        """Return the arrays as a table.

        Returns
        -------
        pandas.DataFrame
            One column a quantity, one row a point, first drop to stop.
        """
        return frames.frame({name: getattr(self.profile, name) for name in stops.quantities_of(self.course)})

    def jars_frame(self) -> pd.DataFrame:
        """Return the jars as a table, a row each, columns as in ``to_dict()["jars"]``."""
        return frames.frame(self.to_dict()["jars"])

    def flavours_frame(self) -> pd.DataFrame:
        """Return what comes over of every compound, jar by jar, as a long table.

        Returns
        -------
        pandas.DataFrame
            ``botanical``, ``compound``, ``jar``, ``volume_l`` (all collected at the jar's end [L at 20 °C]),
            ``mg_per_l`` in the jar, ``times_threshold`` (NaN where no threshold is known).
        """
        return frames.frame(flavours.rows_by_jar(self.flavours, self.jars))

    def follow(self, readings: Any, hold_up_l: float | None = None) -> Forecast:
        """Learn the still from readings and forecast the rest of the run.

        Parameters
        ----------
        readings : sequence of mapping, or pandas.DataFrame
            A row each in the order of the run; names as in a file of readings, the unit in the name or in the
            value: ``{"collected": "220 mL", "strength": "71 %"}``.
        hold_up_l : float, optional
            What the condenser holds back [L].

        Returns
        -------
        Forecast
            What is still to come, with bands of nine in ten.

        Raises
        ------
        RequestError
            If a reading cannot be.

        Examples
        --------
        >>> import potsim
        >>> run = potsim.distil(potsim.example_plan())
        >>> forecast = run.follow([{"time": "15 min", "collected": "200 mL", "strength": "79 %"}])
        >>> forecast.over
        False
        """
        from potsim.planning.forecast import follow  # start-up: only at the still

        still = self.setting.still
        known = faces.readings_of(readings, still.conditions.pressure_pa, still.parrot_l)
        return follow(self, known, hold_up_l)

    def to_dict(self) -> dict[str, Any]:
        """Return what ``potsim run --json`` prints.

        Returns
        -------
        dict
            Plain numbers, texts, lists and dictionaries.
        """
        return document(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Run:
        """Compute a run anew from what `to_dict` returned, by the plan in it.

        Parameters
        ----------
        data : mapping
            With ``format``, ``plan`` and ``glass``; all else is computed again.

        Returns
        -------
        Run
            The run of that plan.

        Raises
        ------
        RequestError
            If there is no plan in it, it is of another format, or the plan cannot be run.
        """
        require_sort("data", data, Mapping, "run")
        given = data.get("format", "none")
        if given != FORMAT or not isinstance(data.get("plan"), Mapping):
            raise RequestError.of("no_run", "format", given=given, allowed=FORMAT)
        return distil(faces.plan_of(data["plan"], faces.Source("run")), glass_in(data))

    def __str__(self) -> str:
        return faces.text_of_card(self)

    def __reduce__(self) -> tuple[Any, ...]:
        return distil, (self.plan, self.glass)  # all follows from them, and is quicker made than moved

    def __eq__(self, other: object) -> bool:
        mine = self.plan, self.glass
        return mine == (other.plan, other.glass) if isinstance(other, Run) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.plan, self.glass))

    def __repr__(self) -> str:
        stop = self.stop
        return f"<Run {self.plan.title!r}: {stop.collected_l:.3f} L at {stop.mean_abv:.1f} % vol>"


@in_units_of_plan
def distil(plan: Plan, glass: Glass | None = None) -> Run:
    """Compute the run that a plan describes.

    Parameters
    ----------
    plan : Plan
        What goes in, the still, the cuts; all else may be left to the defaults.
    glass : Glass, optional
        Where this very batch was seen to haze, once it is made: a measurement that its cloud is told by.

    Returns
    -------
    Run
        From the first drop to the stop.

    Raises
    ------
    RequestError
        If the plan cannot be run; the message says which key and what to do.

    Examples
    --------
    >>> import potsim
    >>> run = potsim.distil(potsim.example_plan())
    >>> run.end.reason
    'stream_abv'
    """
    require_sort("plan", plan, Plan, "plan")
    spirit = blend(resolve(plan.charge, distil))
    bill = resolve_bill(plan)
    charge = spirit.with_water(sum(dose.water_brought_l for dose in bill))
    setting = settle(plan, charge)
    solids_l = solids(bill)
    run, found = _stream(plan, charge, setting, bill, solids_l)
    known = believed(plan.bottling)
    conditions = stops.wanted(setting.stop, found, setting.heads_l, known)
    end = stops.find_end(run, conditions, stops.min_level(run, solids_l))
    apparatus.refuse_large_parrot(run, end)
    keep_end = stops.keep_end_depletion(plan.cuts.tails_from, found, end, setting.heads_l, known)
    points = stops.cut_points(run, setting.heads_l, keep_end, end.depletion)
    row = jars.lay(run, points, plan.jars.stock)
    pooled = proofing.pool(row.jars, plan.jars.keep)
    made_for_c = strength.US_REFERENCE_C if plan.units == "us" else strength.REFERENCE_C
    bottled = bottle(plan.bottling, pooled, setting.still.conditions.room_k - ZERO_C_K, made_for_c)
    cut = Cut(
        end.depletion,
        points.heads,
        tuple((jar.start_depletion, jar.end_depletion) for jar in row.jars),
        tuple(jar.volume_l for jar in row.jars),
        tuple(k for k, jar in enumerate(row.jars) if jar.number in pooled.jars),
        pooled.volume_l if bottled is None else bottled.volume_l,
    )
    followed = found.cut_at(cut)
    followed.refuse()
    made = Run(
        plan=plan,
        charge=charge,
        setting=setting,
        course=run,
        end=end,
        points=points,
        row=row,
        keep=pooled,
        proofing=bottled,
        flavours=followed,
        glass=glass,
    )
    if glass is not None:
        made.cloud_at(plan.bottling.abv)  # refuses a glass that cannot be of it
    return made


_STREAMS: deque[tuple[Plan, Excess, tuple[Course, Flavours]]] = deque(maxlen=4)
"""Plans lately computed with their streams: half of a run, and the same wherever it is cut."""


def _stream(
    plan: Plan, charge: Charge, setting: Setting, bill: tuple[ResolvedDose, ...], solids_l: float
) -> tuple[Course, Flavours]:
    """Return how a charge boils and what the stream carries; kept, for plans that differ in cuts or jars."""
    for known, model, found in list(_STREAMS):
        if model is excess() and all(getattr(known, name) == getattr(plan, name) for name in _OF_STREAM):
            return found
    run = course(charge.mol, charge.x, setting.still)
    boiling_l = float(run.at(np.array([0.0])).pot_hot_l[0]) + solids_l
    apparatus.refuse_overfull(boiling_l, setting.still.capacity_l)
    made = run, predict(run, bill, stops.in_charge(charge.parts), plan.own_compounds)
    _STREAMS.append((plan, excess(), made))
    return made


_OF_STREAM = ("charge", "botanicals", "still", "own_botanicals", "own_compounds")


def resolve_bill(plan: Plan) -> tuple[ResolvedDose, ...]:
    """Return what each line of a plan's bill brings into the still."""
    if not plan.botanicals:
        return ()
    among = extend(library(), plan.own_botanicals) if plan.own_botanicals else library()
    return tuple(botanicals.resolve(dose, among) for dose in plan.botanicals)
