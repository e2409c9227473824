"""What distillers know of the cloud, beside what a whole run predicts."""

from __future__ import annotations

import potsim
from potsim.interfaces.evidence.core import Comparison, compare
from potsim.liquid.clouding import ClearLimit
from potsim.planning.plan import BotanicalDose, Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.records import dataclass

CLEAR_TO_ABV, HALF_BAND_ABV = 42.5, 8.0  # ordinary gin stays clear to 42-43 % vol; common practice, no source
GIN = "ordinary gin, strength down to which it stays clear"
MISSED = (GIN,)  # subjects whose comparison does not hold, known and left so
CHARGE_L, CHARGE_ABV, STOP_ABV, MACERATED_H = 2.4, 40.0, 55.0, 18.0
STILL = StillPlan(
    capacity_l=4.0, power_w=700.0, heat_up_power_w=1200.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0
)


@dataclass(frozen=True)
class Doses:
    """Botanicals of a gin in a litre of charge, dried."""

    juniper_g_per_l: float  # mass [g/L]
    coriander_g_per_l: float  # mass [g/L]


# Usual doses are 10 to 20 g/L of juniper and 5 to 10 g/L of coriander; common practice, no source.
LITTLE, TYPICAL, MUCH = Doses(10.0, 5.0), Doses(15.0, 7.5), Doses(20.0, 10.0)


def comparisons() -> list[Comparison]:
    """Return every comparison of clouding that needs a run."""
    return [gin()]


def gin() -> Comparison:
    """Return how weak an ordinary gin is predicted to stay clear, beside where it is known to."""
    found = limit(TYPICAL)
    little, much = (limit(doses).abv for doses in (LITTLE, MUCH))
    return compare(
        GIN,
        "common practice, no source",
        "% vol",
        CLEAR_TO_ABV,
        found.abv,
        HALF_BAND_ABV,
        role="practice",
        note=f"Computed for {TYPICAL.juniper_g_per_l:g} g/L of juniper and {TYPICAL.coriander_g_per_l:g} of "
        f"coriander, cracked and macerated {MACERATED_H:g} h, in a charge of {CHARGE_ABV:g} % vol, kept to "
        f"{STOP_ABV:g}: limit {found.abv:.0f} % vol, "
        f"band {found.low_abv:.0f} to {found.high_abv:.0f}; {little:.0f} and {much:.0f} % vol with the least "
        "and the most of usual doses. That such a gin is clear at 42 % vol is foretold, that it clouds a "
        "little below is not. Likely why: the law counts dissolved oil at 20 °C, so that chilling and "
        "standing for months are left out; real keeps hold more oil than typical yields and a single stage "
        "let over; the solubilities of sesquiterpenes are estimates.",
    )


def limit(doses: Doses) -> ClearLimit:
    """Return the strength down to which the keep of a gin stays clear."""
    given = (("juniper", doses.juniper_g_per_l), ("coriander seed", doses.coriander_g_per_l))
    bill = tuple(
        BotanicalDose(name, mass_g=g_per_l * CHARGE_L, prepared="cracked", macerated_h=MACERATED_H)
        for name, g_per_l in given
    )
    charge = (Ingredient("spirit and water", CHARGE_L, CHARGE_ABV),)
    cuts = Cuts(stop=Stop(stream_abv=STOP_ABV))
    found = potsim.distil(Plan(charge, still=STILL, botanicals=bill, cuts=cuts)).cloud
    if found is None:
        raise ValueError("A run with botanicals predicts a cloud.")
    return found.limit
