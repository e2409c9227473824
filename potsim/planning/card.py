"""The answers of one run in the order in which they are needed, as numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from potsim.errors import RequestError
from potsim.planning.noticed import BotanicalFlavour
from potsim.planning.plan import Ingredient, Plan
from potsim.planning.run import Run, distil
from potsim.planning.sweep import strongest, with_strength

STEPS_ABV = (-5.0, 5.0)  # % vol from the charge's own strength
CLASSES = ("early", "middle", "late", "stays")
NOTICED = ("leads", "clear", "hint", "lost")


class Neighbour(NamedTuple):
    """What the same alcohol at another strength in the pot would give."""

    charge_abv: float  # in the pot [% vol]
    keep_l: float
    keep_abv: float
    elapsed_min: float  # until the keep is done


class Strongest(NamedTuple):
    """How strong the charge can be: the plan's spirits without water."""

    charge_abv: float  # in the pot [% vol]


class Card(NamedTuple):
    """What one screen answers."""

    run: Run
    asked: bool  # whether a stop that the plan asks for ends the run
    comes: Mapping[str, tuple[BotanicalFlavour, ...]]  # class to its botanicals, in order of coming
    noticed: Mapping[str, tuple[BotanicalFlavour, ...]]  # how they are noticed in the bottle
    neighbours: tuple[Neighbour | Strongest | None, ...]  # a weaker charge, a stronger one


def card(run: Run) -> Card:
    """Gather what one screen answers."""
    wanted = run.plan.cuts.stop.named
    in_order = sorted(run.flavours, key=lambda one: one.passage.half_l if one.passage else 0.0)
    return Card(
        run=run,
        asked=run.end.reason in wanted or not wanted,
        comes={klass: tuple(one for one in in_order if one.klass == klass) for klass in CLASSES},
        noticed={how: tuple(one for one in in_order if one.noticed == how) for how in NOTICED},
        neighbours=tuple(_neighbour(run, step) for step in STEPS_ABV),
    )


def _neighbour(run: Run, step: float) -> Neighbour | Strongest | None:
    """The run at a weaker or stronger charge; the limit where the spirits are too weak for it."""
    abv = run.charge.abv + step
    if run.charge.ethanol_mol == 0.0 or abv <= 0.0:
        return None
    plan = _without_flavours(run)
    most = strongest(plan)
    if abv > most:
        return Strongest(most)
    try:
        there = distil(with_strength(plan, abv))
    except RequestError:
        return None
    return Neighbour(abv, there.keep.volume_l, there.keep.abv, there.kept_min)


def _without_flavours(run: Run) -> Plan:
    """The plan with the botanicals' water alone, where no stop asks what they give: much cheaper to run."""
    plan = run.plan
    stops = (plan.cuts.stop, plan.cuts.tails_from)
    if any(stop is not None and (stop.over or stop.cloudy or stop.faded) for stop in stops):
        return plan
    juice_l = sum(dose.water_brought_l for dose in run.bill)
    juices = (Ingredient("water", juice_l),) if juice_l > 0.0 else ()
    return replace(plan, charge=(*plan.charge, *juices), botanicals=())
