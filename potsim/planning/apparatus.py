"""What stands round the pot: how much of the heat arrives, what the condenser carries, when a plate goes off.

All of it follows from a run and its still, and is told beside the run.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from potsim.errors import RequestError
from potsim.liquid import equilibrium
from potsim.planning.notes import Note, caution, danger, hint
from potsim.planning.plan import Stop
from potsim.planning.stops import ZERO_C, End
from potsim.still.build import HEATERS, STORED_DOUBT, full_power_s
from potsim.still.course import Course
from potsim.still.receiver import condensing_power_w, condensing_w, parrot_of
from potsim.still.still import Still

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
    there = np.asarray(equilibrium.dew_point(y, from_pa).temperature_k) - ZERO_C
    if not there[-1] <= vapour_c <= there[0]:
        return None
    here = np.asarray(equilibrium.dew_point(y, to_pa).temperature_k) - ZERO_C
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
