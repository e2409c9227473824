"""From a plan to the predicted run."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning import cautions, endings, flavour_cautions, jars, keep, leftovers, stops
from potsim.planning.botanicals.bill import ResolvedDose, resolve, solids
from potsim.planning.botanicals.library import extend, library
from potsim.planning.bottling import bottle
from potsim.planning.charge import Charge, blend
from potsim.planning.cloud import Bottled, Cloud, cloud
from potsim.planning.costs import Costs, account
from potsim.planning.cuts import CutPoints, cut_points
from potsim.planning.defaults import Setting, settle
from potsim.planning.flavours import Flavours, predict
from potsim.planning.heads import in_charge
from potsim.planning.moment import Moment, Stopped, moment, moment_where
from potsim.planning.plan import LeftOver, Plan
from potsim.planning.portion import Portion
from potsim.planning.profile import QUANTITIES, ZERO_C, Profile, profile
from potsim.planning.proofing import Proofing
from potsim.still.course import Course, course

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

POINTS = 201  # of the arrays of a run, evenly spaced in moles collected


@dataclass(frozen=True)
class Run:
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
    """

    plan: Plan
    charge: Charge
    setting: Setting
    course: Course
    end: stops.End
    points: CutPoints
    row: jars.Row
    keep: keep.Keep
    proofing: Proofing | None
    flavours: Flavours

    @cached_property
    def profile(self) -> Profile:
        """The arrays, evenly spaced in moles collected."""
        over = np.linspace(0.0, -np.expm1(-self.end.depletion), POINTS)
        depletion = np.minimum(-np.log1p(-over), self.end.depletion)
        return profile(self.course, self.course.at(depletion))

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

    def cloud_at(self, target_abv: float | None) -> Cloud | None:
        """Return the cloud as it would be at another bottling strength.

        Parameters
        ----------
        target_abv : float or None
            Bottling strength [% vol]; ``None`` if the keep is not let down.

        Returns
        -------
        Cloud or None
            As `cloud`.
        """
        bottled = Bottled(self.kept_spans, self.let_down.ethanol_l, target_abv)
        return cloud(self.flavours, self.end.depletion, bottled)

    @cached_property
    def let_down(self) -> strength.Mixture:
        """What is let down: the keep, with the neutral spirit by which it is stretched."""
        return keep.stretched(self.keep, self.plan.bottling.stretch)

    @cached_property
    def costs(self) -> Costs:
        """Pure alcohol in, out and left; money too where the plan says prices."""
        return account(self.charge, self.plan.bottling, self.let_down, self.proofing)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What this run calls for, then what every run does."""
        drink = self.proofing
        volume_l, abv = self.keep.volume_l, self.keep.abv
        if drink is not None:
            volume_l, abv = drink.volume_l, drink.target_abv
        return (
            *cautions.for_run(self.charge, self.setting, self.course, self.solids_l),
            *cautions.for_end(self.end),
            *flavour_cautions.film(self.flavours, self.end.depletion),
            *flavour_cautions.for_bill(self.flavours, self.charge.volume_l),
            *flavour_cautions.for_drink(self.flavours, self.kept_spans, volume_l, abv),
            *cautions.ALWAYS,
        )

    @cached_property
    def assumed(self) -> tuple[str, ...]:
        """What the plan left open and was therefore taken, a sentence each."""
        plan, unused = self.plan, []
        if plan.cuts.tails_from is not None and self.points.keep_end >= self.end.depletion:
            unused.append("No tails: tails_from comes no sooner than the stop.")
        for step in self.setting.still.power_changes[len(self.course.legs) - 1 :]:
            unused.append(f"The power step at {step.from_collected_l:g} L never comes.")
        if plan.bottling.bottle_l is not None and plan.bottling.abv is None:
            unused.append("Nothing is bottled: [bottling] has a bottle but no abv.")
        if any(isinstance(part, LeftOver) for part in plan.charge):
            unused.append("Oils that left-over jars bring into the charge are not followed.")
        notes = (note for dose in self.bill for note in dose.notes)
        return (*self.setting.assumed, *unused, *notes)

    @cached_property
    def closure(self) -> dict[str, float]:
        """Relative errors of the balances of mass, ethanol and energy, from the first drop to the stop."""
        there = self.course.at(np.array([self.end.depletion]))
        over, left = float(there.over_ethanol_mol[0]), float(there.pot_mol[0] * there.pot_x[0])
        distillate = Portion(over, float(there.over_mol[0]) - over)
        pot = Portion(left, float(there.pot_mol[0]) - left)
        mass = self.charge.mass_kg - (distillate.mass_g + pot.mass_g) / 1000.0
        ethanol = self.charge.ethanol_mol - over - left
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
    def kept_spans(self) -> tuple[tuple[float, float], ...]:
        """Depletions between which the jars of the keep are collected."""
        return tuple((j.start_depletion, j.end_depletion) for j in self.jars if j.number in self.keep.jars)

    @property
    def jars(self) -> tuple[jars.Jar, ...]:
        """The jars, in order."""
        return self.row.jars

    @property
    def condenser_w(self) -> float:
        """Most heat that the condenser must carry off during the run [W]."""
        depletion = np.linspace(0.0, self.end.depletion, POINTS)
        return float(np.max(self.course.at(depletion).condenser_w))

    @property
    def stop(self) -> Stopped:
        """The state at the stop, and why the run ends there."""
        there = moment(self.course, self.end.depletion)
        return Stopped(**vars(there), reason=self.end.reason, words=self.end.words)

    def at(self, **where: float) -> Moment:
        """Return the state at one point of the run.

        Parameters
        ----------
        **where : float
            One of ``collected_l`` [L], ``stream_abv``, ``pot_abv`` or ``mean_abv`` [% vol], ``recovered``
            (0 to 1), ``pot_l`` [L], ``pot_c`` or ``vapour_c`` [°C], ``elapsed_min`` [min].

        Returns
        -------
        Moment
            All nine quantities there.

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
        """
        return moment_where(self.course, self.end.depletion, where)

    def to_frame(self) -> pd.DataFrame:
        """Return the arrays as a table.

        Returns
        -------
        pandas.DataFrame
            One column a quantity, one row a point, first drop to stop.
        """
        import pandas as pd

        return pd.DataFrame({name: getattr(self.profile, name) for name in QUANTITIES})

    def to_dict(self) -> dict[str, Any]:
        """Return what ``potsim run --json`` prints.

        Returns
        -------
        dict
            Plain numbers, texts, lists and dictionaries.
        """
        from potsim.planning.document import document

        return document(self)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the run.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure's when left out.

        Returns
        -------
        matplotlib.axes.Axes
            The axes drawn on.
        """
        from potsim.interfaces.plots.run import plot_run

        return plot_run(self, ax)

    def __str__(self) -> str:
        from potsim.planning.document import card

        return card(self)


def distil(plan: Plan) -> Run:
    """Compute the run that a plan describes.

    Parameters
    ----------
    plan : Plan
        What goes in, the still, the cuts; all else may be left to the defaults.

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
    spirit = blend(leftovers.resolve(plan.charge, distil))
    bill = resolve_bill(plan)
    charge = spirit.with_water(sum(dose.water_brought_l for dose in bill))
    setting = settle(plan, charge)
    solids_l = solids(bill)
    run = course(charge.mol, charge.x, setting.still)
    _refuse_overfull(float(run.at(np.array([0.0])).pot_hot_l[0]) + solids_l, setting)
    flavours = predict(run, bill, in_charge(charge.parts), plan.own_compounds)
    end = stops.find_end(run, endings.wanted(setting.stop, flavours), stops.min_level(run, solids_l))
    keep_end = endings.keep_end(plan.cuts.tails_from, flavours, end)
    points = cut_points(run, setting.heads_l, keep_end, end.depletion)
    row = jars.lay(run, points, plan.jars.sizes)
    pooled = keep.pool(row.jars, plan.jars.keep)
    return Run(
        plan=plan,
        charge=charge,
        setting=setting,
        course=run,
        end=end,
        points=points,
        row=row,
        keep=pooled,
        proofing=bottle(plan.bottling, pooled, setting.still.conditions.room_k - ZERO_C),
        flavours=flavours,
    )


def resolve_bill(plan: Plan) -> tuple[ResolvedDose, ...]:
    """Return what each line of a plan's bill brings into the still."""
    if not plan.botanicals:
        return ()
    among = extend(library(), plan.own_botanicals) if plan.own_botanicals else library()
    return tuple(resolve(dose, among) for dose in plan.botanicals)


def _refuse_overfull(boiling_l: float, setting: Setting) -> None:
    capacity = setting.still.capacity_l
    if boiling_l > capacity:
        raise RequestError(
            f"The charge takes {boiling_l:.3g} L at the boil, but still.capacity is {capacity:.3g} L.",
            f"Charge less: at most {0.75 * capacity:.3g} L at the boil, three quarters of the pot; "
            "or run it in parts.",
        )
