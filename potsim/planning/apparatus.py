"""The still of a run: what is taken where the plan does not say, and what stands round the pot.

How much of the heat arrives, what the condenser carries, when a plate goes off, what the parrot shows: all of
it follows from a run and its still, and is told beside the run.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from potsim.errors import RequestError, require
from potsim.liquid import equilibrium
from potsim.liquid.compounds import ZERO_C_K
from potsim.liquid.equilibrium import boiling_point_water
from potsim.planning.notes import Note, caution, danger, hint
from potsim.planning.plan import Plan, StillPlan, Stop
from potsim.planning.schema import METALS
from potsim.records import dataclass
from potsim.still.course import Course
from potsim.still.receiver import condensing_power_w, condensing_w, parrot_of
from potsim.still.still import (
    HEATERS,
    HOT,
    OVER_BY_THEN,
    STORED_DOUBT,
    Conditions,
    Losses,
    PowerChange,
    Still,
    full_power_s,
    losses,
    mass_kg,
    metal_heat_capacity,
    pressure_at_altitude,
)

if TYPE_CHECKING:
    from potsim.planning.stops import End


from potsim.planning.charge import Charge

# All of these: common practice, no source.
FILL = 0.7  # charge over capacity
LEAST_CHARGE_L = 1e-3  # below it, drops decide
POWER_W_PER_L = 300.0
MOST_POWER_W = 3000.0
OVER_LOSSES = 3.0  # power over what pot and neck shed at the boil, where MOST_POWER_W would not do
BOIL_K = 80.0  # from the room to the boil, about
REFERENCE_CAPACITY_L = 4.0  # losses grow with the surface, capacity ** (2/3), from this size
NECK_LOSS_W_PER_K = 0.6
POT_LOSS_W_PER_K = 1.0
ROOM_C = 20.0
RECOVERED = 0.90
WATER_SHARE = 0.2  # of a cleaning run with water alone
LEAST_PARROT = 1e-4  # of the charge: a drop


@dataclass(frozen=True)
class Setting:
    """A plan made whole."""

    still: Still  # the vessel in physical units
    stop: Stop  # what ends the run
    heads_l: float  # heads [L at 20 °C]
    assumed: tuple[Note, ...]  # what was not said and therefore taken
    heated_by: str | None = None  # kind of heat; ``None`` where the plan does not say
    condenser_w: float | None = None  # what the condenser can carry off [W]; ``None`` where it is not known


def settle(plan: Plan, charge: Charge) -> Setting:
    """Fill in what the plan leaves out."""
    require("charge", charge.volume_l, LEAST_CHARGE_L, 1e5, "L")
    assumed: list[Note] = []
    still = _still(plan.still, charge.volume_l, assumed)
    stop = plan.cuts.stop if plan.cuts.stop.named else _stop(charge, still.lost, assumed)
    if set(stop.named) == {"cloudy"}:
        stop = replace(stop, recovered=RECOVERED * (1.0 - still.lost))
        assumed.append(hint("assumed_last_stop", "cuts.stop", share=stop.recovered))
    if stop.recovered is not None and charge.ethanol_mol == 0.0:
        raise RequestError.of("no_alcohol", "cuts.stop.recovered")
    heads_l = plan.cuts.heads_l or (plan.cuts.heads_share or 0.0) * charge.volume_l
    if plan.cuts.heads_l is None and plan.cuts.heads_share is None:
        assumed.append(hint("assumed_no_heads", "cuts.heads"))
    _check_parrot(plan, still, charge)
    given = plan.still
    return Setting(still, stop, heads_l, tuple(assumed), given.heated_by, given.condenser_w)


def _check_parrot(plan: Plan, still: Still, charge: Charge) -> None:
    if still.parrot_l is not None:
        least_l = LEAST_PARROT * charge.volume_l
        require("still.parrot", still.parrot_l, least_l, charge.volume_l, "L")
        return
    for key, stop in (("cuts.stop", plan.cuts.stop), ("cuts.tails_from", plan.cuts.tails_from)):
        if stop is not None and stop.parrot_abv is not None:
            raise RequestError.of("alone", f"{key}.parrot_abv", given=stop.parrot_abv, lacks="still.parrot")


def _stop(charge: Charge, lost: float, assumed: list[Note]) -> Stop:
    if charge.ethanol_mol == 0.0:
        volume = WATER_SHARE * charge.volume_l
        assumed.append(hint("assumed_stop_of_water", "cuts.stop", collected_l=volume, share=WATER_SHARE))
        return Stop(collected_l=volume)
    share = RECOVERED * (1.0 - lost)  # of what can be collected
    assumed.append(hint("assumed_stop", "cuts.stop", share=share))
    return Stop(recovered=share)


def _or(said: float | None, usual: float, told: Note, assumed: list[Note]) -> float:
    """Return what the plan says; or else what is usual, and tell that it was taken."""
    if said is not None:
        return said
    assumed.append(told)
    return usual


def _still(given: StillPlan, charge_l: float, assumed: list[Note]) -> Still:
    usual_l = charge_l / FILL
    by_charge = hint("assumed_capacity", "still.capacity", capacity_l=usual_l, fill=FILL)
    capacity = _or(given.capacity_l, usual_l, by_charge, assumed)
    default = _losses(given, capacity, charge_l)
    share = _share(given, assumed)
    usual_w = _power(given, capacity, default) / share
    by_size = hint("assumed_power", "still.power", power_w=usual_w, capacity_l=capacity)
    power = _or(given.power_w, usual_w, by_size, assumed)
    by_power = hint("assumed_heat_up_power", "still.heat_up_power", power_w=power)
    heat_up = _or(given.heat_up_power_w, power, by_power, assumed)
    still = Still(
        capacity_l=capacity,
        conditions=_conditions(given, default, share * power, assumed),
        heat_up_power_w=share * heat_up,
        min_level_l=_min_level(given, capacity, assumed),
        metal_j_per_k=_metal(given, capacity, assumed),
        power_changes=tuple(PowerChange(p.from_collected_l, share * p.power_w) for p in given.power_steps),
        lost=given.lost or 0.0,
        heat_share=share,
        parrot_l=given.parrot_l,
    )
    _refuse_little_heat(still)
    return still


def _share(given: StillPlan, assumed: list[Note]) -> float:
    """Share of the power on the plate that reaches the pot."""
    if given.heat_share is not None:
        return given.heat_share
    if given.heated_by is None and given.min_level_l:
        assumed.append(hint("assumed_element", "still.heated_by"))
        return 1.0
    if given.heated_by is None:
        low, high = HEATERS["plate"].low, HEATERS["plate"].high
        assumed.append(hint("assumed_all_heat", "still.heated_by", plate_low=low, plate_high=high))
        return 1.0
    heater = HEATERS[given.heated_by]
    if heater.share < 1.0:
        values = {"heated_by": given.heated_by, **heater._asdict()}
        assumed.append(hint("assumed_heat_share", "still.heat_share", **values))
    return heater.share


POWER_DOUBT = 0.15  # of the heat said: mains, element, what a plate loses; common practice, no source
# of its logarithm where nobody says what heats the pot: a third to all arrives; common practice, no source
KIND_DOUBT = 0.4


class HeatDoubt(NamedTuple):
    """How far the heat that reaches the pot is doubted, as standard deviations."""

    either: float  # both ways, relative
    # of its logarithm, besides, downwards alone, in every other still: it may be no element but a plate
    less: float


def heat_doubt(given: StillPlan, typed: float | None) -> HeatDoubt:
    """Return the doubt of the heat: what was typed of it, or what the kind of heat leaves open.

    An element that must stay covered heats the pot from inside, with all of its power.
    """
    if typed is not None:
        return HeatDoubt(typed, 0.0)
    if given.heat_share is None and given.heated_by is None and not given.min_level_l:
        return HeatDoubt(POWER_DOUBT, KIND_DOUBT)
    heater = HEATERS["element" if given.heat_share is not None else given.heated_by or "element"]
    uniform = math.log(heater.high / heater.low) / math.sqrt(12.0)
    return HeatDoubt(math.hypot(POWER_DOUBT, uniform), 0.0)


def _refuse_little_heat(still: Still) -> None:
    """Refuse a plate of which too little arrives; where all arrives, the balance refuses it in its words."""
    if still.heat_share == 1.0:
        return
    c = still.conditions
    boiling_k = float(boiling_point_water(c.pressure_pa))
    shed = (c.neck_loss_w_per_k + c.pot_loss_w_per_k) * (boiling_k - c.room_k)
    if c.power_w <= shed:
        raise RequestError.of(
            "little_heat",
            "still.power",
            given=still.on_plate_w(c.power_w),
            allowed=still.on_plate_w(shed),
            heat_share=still.heat_share,
            pot_w=c.power_w,
            shed_w=shed,
        )


def _losses(given: StillPlan, capacity: float, charge_l: float) -> Losses:
    """What neck and pot shed where the plan does not say: by what it is built of, or by its size."""
    if given.built_of is not None:
        room_k = (ROOM_C if given.room_c is None else given.room_c) + ZERO_C_K
        return losses(given.built_of, capacity, HOT * (1.0 - OVER_BY_THEN) * charge_l, room_k)
    surface = (capacity / REFERENCE_CAPACITY_L) ** (2.0 / 3.0)
    return Losses(NECK_LOSS_W_PER_K * surface, POT_LOSS_W_PER_K * surface)


def _power(given: StillPlan, capacity: float, default: Losses) -> float:
    """By the litre up to what a socket gives; a larger pot gets what its losses ask for."""
    neck = default.neck_w_per_k if given.neck_loss_w_per_k is None else given.neck_loss_w_per_k
    pot = default.pot_w_per_k if given.pot_loss_w_per_k is None else given.pot_loss_w_per_k
    by_litre = min(POWER_W_PER_L * capacity, MOST_POWER_W)
    return max(by_litre, OVER_LOSSES * BOIL_K * (neck + pot))


def _conditions(given: StillPlan, default: Losses, power: float, assumed: list[Note]) -> Conditions:
    def shed(key: str, said: float | None, usual: float) -> float:
        values = {"w_per_k": usual, "reference_l": REFERENCE_CAPACITY_L, "built_of": given.built_of}
        return _or(said, usual, hint("assumed_loss", key, **values), assumed)

    neck = shed("still.neck_loss", given.neck_loss_w_per_k, default.neck_w_per_k)
    pot = shed("still.pot_loss", given.pot_loss_w_per_k, default.pot_w_per_k)
    room = _or(given.room_c, ROOM_C, hint("assumed_room", "still.room", room_c=ROOM_C), assumed)
    if given.pressure_hpa is not None:
        pressure = given.pressure_hpa * 100.0
    else:
        pressure = pressure_at_altitude(given.altitude_m or 0.0)
        if given.altitude_m is None:
            assumed.append(hint("assumed_pressure", "still.altitude", pressure_hpa=pressure / 100.0))
    return Conditions(pressure, power, neck, pot, room + ZERO_C_K)


def _min_level(given: StillPlan, capacity: float, assumed: list[Note]) -> float:
    if given.min_level_l is None:
        assumed.append(hint("assumed_min_level", "still.min_level"))
        return 0.0
    if given.min_level_l >= capacity:
        raise RequestError.of("high_min_level", "still.min_level", given=given.min_level_l, allowed=capacity)
    return given.min_level_l


def _metal(given: StillPlan, capacity: float, assumed: list[Note]) -> float:
    if given.pot_mass_kg is None:
        if given.built_of is not None:
            mass = mass_kg(given.built_of, capacity)
            values = {"mass_kg": mass, "built_of": given.built_of}
            assumed.append(hint("assumed_pot_mass_by_size", "still.pot_mass", **values))
            return metal_heat_capacity(mass, given.built_of)
        assumed.append(hint("assumed_pot_mass", "still.pot_mass"))
        return 0.0
    metal = given.pot_metal
    if given.built_of is not None and metal == METALS[0]:  # not said otherwise
        metal = given.built_of
    return metal_heat_capacity(given.pot_mass_kg, metal)


# --- What stands round the pot: what the condenser carries, when a plate goes off, what the parrot shows.


SEA_LEVEL_PA = 101325.0
NEAR_SEA_LEVEL_PA = 1500.0  # less moves the boiling point by less than half a kelvin
ALL_BUT_WATER = 1e-6  # mole fraction in a pot of water, which has no balance
POINTS = 101  # at which a condenser's duty is looked at
STILL_AIR_W, FAN_W = 35.0, 200.0  # of 1.5 m of bare 1 cm tube, of 3 m under a fan: common practice, no source


class TurnOff(NamedTuple):
    """When to switch a plate off, so that what it still holds brings the run to its stop."""

    collected_l: float  # collected by then [L at 20 °C]
    low_l: float  # where it holds half as much more [L]
    high_l: float  # where it holds half as much [L]
    elapsed_min: float  # time since switch-on [min]
    after_l: float  # what still comes over [L]


def turn_off(course: Course, end: End, heated_by: str | None) -> TurnOff | None:
    """When to switch off; ``None`` for heat that ends with the switch, or before the first drop."""
    stored_s = 0.0 if heated_by is None else HEATERS[heated_by].stored_s
    if stored_s == 0.0:
        return None
    last = course.at(np.array([end.depletion]))
    c = course.legs[-1].curves.conditions
    shed_w = c.pot_loss_w_per_k * (last.pot_k - c.room_k) + c.neck_loss_w_per_k * (last.vapour_k - c.room_k)
    shed = float(shed_w[0]) / c.power_w
    until_s = float(last.elapsed_s[0])

    def collected(stored: float) -> tuple[float, float]:
        at_s = until_s - full_power_s(stored, shed)
        s = course.first(lambda states: states.elapsed_s - at_s, end.depletion) or 0.0
        return float(course.at(np.array([s])).collected_l[0]), at_s

    at_l, at_s = collected(stored_s)
    if at_s <= course.first_drop_s:
        return None
    low, high = (collected(stored_s * (1.0 + doubt))[0] for doubt in (STORED_DOUBT, -STORED_DOUBT))
    return TurnOff(at_l, low, high, at_s / 60.0, float(last.collected_l[0]) - at_l)


class Condensing(NamedTuple):
    """What a condenser must carry off at the most, and what the one at hand can."""

    duty_w: float  # to turn the vapour into liquid and cool it to the room [W]
    capacity_w: float | None = None  # of the condenser at hand [W]; ``None`` where it is not known
    condensing_w: float | None = None  # to turn the vapour into liquid alone [W]; told beside a capacity
    most_power_w: float | None = None  # power up to which no vapour is left over [W]; where it is exceeded


def condensing(course: Course, end: End, capacity_w: float | None) -> Condensing:
    """Return what the condenser must carry off from the first drop to the stop."""
    states = course.at(np.linspace(0.0, end.depletion, POINTS))
    duty = float(np.max(states.condenser_w))
    if capacity_w is None:
        return Condensing(duty)
    c = course.still.conditions
    along = condensing_w(states.rate_mol_per_s, states.stream_x, states.vapour_k, c.pressure_pa)
    needed, most = float(along.max()), None
    if needed > capacity_w:
        x = np.maximum(states.pot_x[[0, POINTS // 2, -1]], ALL_BUT_WATER)
        most = condensing_power_w(c, x, capacity_w) / course.still.heat_share
    return Condensing(duty, capacity_w, needed, most)


def for_condenser(found: Condensing) -> tuple[Note, ...]:
    """Whether the condenser can do it; what still air takes, where none is known."""
    if found.capacity_w is None or found.condensing_w is None:
        values = {"duty_w": found.duty_w, "still_air_w": STILL_AIR_W, "fan_w": FAN_W}
        return (caution("condenser_unknown", "still.condenser", **values),)
    values = {"duty_w": found.duty_w, "condensing_w": found.condensing_w, "capacity_w": found.capacity_w}
    if found.condensing_w > found.capacity_w:
        return (danger("condenser_short", "still.condenser", **values, most_power_w=found.most_power_w),)
    if found.duty_w > found.capacity_w:
        return (caution("condenser_warm", "still.condenser", **values),)
    return ()


def for_place(stop: Stop, still: Still) -> tuple[Note, ...]:
    """What a stop by vapour temperature means at a height, beside the sea."""
    here_pa = still.conditions.pressure_pa
    if stop.vapour_c is None or abs(here_pa - SEA_LEVEL_PA) < NEAR_SEA_LEVEL_PA:
        return ()
    values = {
        "vapour_c": stop.vapour_c,
        "here_c": same_vapour_c(stop.vapour_c, SEA_LEVEL_PA, here_pa),
        "sea_level_c": same_vapour_c(stop.vapour_c, here_pa, SEA_LEVEL_PA),
        "pressure_hpa": here_pa / 100.0,
    }
    return (hint("vapour_stop_here", "cuts.stop.vapour_c", **values),)


def same_vapour_c(vapour_c: float, from_pa: float, to_pa: float) -> float | None:
    """Dew point under another pressure [°C] of the vapour that has one under the first, if any has."""
    y = np.concatenate([[0.0], np.logspace(-5.0, -2.0, 31), np.linspace(0.02, 0.85, 84)])
    there = np.asarray(equilibrium.dew_point(y, from_pa).temperature_k) - ZERO_C_K
    if not there[-1] <= vapour_c <= there[0]:
        return None
    here = np.asarray(equilibrium.dew_point(y, to_pa).temperature_k) - ZERO_C_K
    return float(np.interp(-vapour_c, -there, here))


def for_parrot(course: Course, end: End) -> tuple[Note, ...]:
    """What the parrot shows when the stream is what the stop asks for."""
    volume_l = course.still.parrot_l
    if volume_l is None:
        return ()
    there = course.at(np.array([end.depletion]))
    values = {
        "parrot_l": volume_l,
        "stream_abv": float(there.stream_abv[0]),
        "parrot_abv": float(parrot_of(course).at(there)[0]),
    }
    return (hint("parrot_shows", "still.parrot", **values),)


def for_plate(found: TurnOff | None) -> tuple[Note, ...]:
    """When to switch the plate off."""
    return () if found is None else (hint("turn_off", "still.heated_by", **found._asdict()),)


def refuse_overfull(boiling_l: float, capacity: float) -> None:
    """Refuse a charge that is larger at the boil than the pot."""
    if boiling_l > capacity:
        raise RequestError.of("overfull", given=boiling_l, allowed=0.75 * capacity, capacity_l=capacity)


def refuse_large_parrot(run: Course, end: End) -> None:
    """Refuse a parrot that is never full."""
    volume_l, collected_l = run.still.parrot_l, float(run.at(np.array([end.depletion])).collected_l[0])
    if volume_l is not None and volume_l >= collected_l:
        raise RequestError.of("large_parrot", "still.parrot", given=volume_l, allowed=collected_l)
