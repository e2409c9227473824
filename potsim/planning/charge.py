"""A portion of the distillate: what comes over between two points, or several such pooled."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError, RequestError, require
from potsim.liquid import strength
from potsim.liquid.equilibrium import boiling_point_water
from potsim.liquid.pure import distinct
from potsim.planning.notes import Note, hint
from potsim.planning.plan import Ingredient, LeftOver, Plan, StillPlan, Stop
from potsim.planning.still_plan import METALS
from potsim.records import dataclass
from potsim.still.build import HEATERS, HOT, OVER_BY_THEN, Losses, losses, mass_kg
from potsim.still.course import Course
from potsim.still.still import Conditions, PowerChange, Still, metal_heat_capacity, pressure_at_altitude

if TYPE_CHECKING:
    from potsim.planning.jars import Jar


@dataclass(frozen=True)
class Portion:
    """An amount of ethanol-water."""

    ethanol_mol: float  # ethanol [mol]
    water_mol: float  # water [mol]

    @property
    def volume_l(self) -> float:
        """Volume at 20 °C [L]."""
        return float(strength.volume_from_moles(self.ethanol_mol, self.water_mol))

    @property
    def abv(self) -> float:
        """Strength [% vol at 20 °C]; 0 for nothing at all."""
        if self.ethanol_mol + self.water_mol == 0.0:
            return 0.0
        return float(strength.abv_from_moles(self.ethanol_mol, self.water_mol))

    @property
    def ethanol_l(self) -> float:
        """Litres of pure alcohol at 20 °C."""
        return self.volume_l * self.abv / 100.0

    @property
    def mass_g(self) -> float:
        """Mass [g]."""
        return float(strength.mass_of(self.volume_l, self.abv)) * 1000.0


def between(course: Course, start: float, end: float) -> Portion:
    """What comes over between two points of a run."""
    states = course.at(np.array([start, end]))
    # Differences of sums: of next to nothing, rounding may leave less than nothing.
    total = max(float(states.over_mol[1] - states.over_mol[0]), 0.0)
    ethanol = min(max(float(states.over_ethanol_mol[1] - states.over_ethanol_mol[0]), 0.0), total)
    return Portion(max(ethanol, 0.0), max(total - ethanol, 0.0))


def pool(portions: Iterable[Portion]) -> Portion:
    """Pool portions by mass."""
    parts = list(portions)
    return Portion(sum(p.ethanol_mol for p in parts), sum(p.water_mol for p in parts))


# --- What has come over along a run, as a curve of moles that is quick to ask and to ask backwards.


Array = NDArray[np.float64]

POINTS = 257  # evenly spaced in moles that are over
BEFORE = 1e-9  # depletion by which the side before a change of power is looked at
STEPS = 40  # at most; three or four do


@dataclass(frozen=True)
class Amounts:
    """Moles that have come over from the first drop to the end of a run.

    Between the points ethanol is a cubic in the moles that are over, with the stream's mole fraction as
    its slope; a change of power lies between two points, as the stream jumps there.
    """

    whole_mol: float  # moles that would be collected of the whole charge
    over_mol: Array  # moles that are over, and those of ethanol
    ethanol_mol: Array  # moles that are over, and those of ethanol
    stream_x: Array  # mole fraction of ethanol in the stream, and its strength [% vol at 20 °C]
    stream_abv: Array  # mole fraction of ethanol in the stream, and its strength [% vol at 20 °C]
    # volume at 20 °C of the stream, each drop by itself [L]: jars as small as drops would hold so much
    stream_l: Array

    def ethanol(self, over_mol: Array) -> Array:
        """Ethanol that is over [mol] when so many moles are over."""
        n, e, y = self.over_mol, self.ethanol_mol, self.stream_x
        k = np.minimum(np.searchsorted(n, over_mol, side="right") - 1, n.size - 2)
        h = n[k + 1] - n[k]
        t = (over_mol - n[k]) / h
        rise = e[k + 1] - e[k]
        first, last = y[k] * h - rise, rise - y[k + 1] * h  # how the cubic leaves its chord at both ends
        return np.asarray(e[k] + t * (rise + (1.0 - t) * (first + t * (last - first))))

    def volume_l(self, start_mol: Array, end_mol: Array) -> Array:
        """Own volume at 20 °C [L] of what comes over between two points."""
        return volume_l(end_mol - start_mol, self.ethanol(end_mol) - self.ethanol(start_mol))

    def at_stream_l(self, stream_l: Array) -> Array:
        """Moles that are over when so much has run, each drop by itself; held within the run."""
        return np.interp(stream_l, self.stream_l, self.over_mol)

    def at_collected_l(self, collected_l: Array) -> Array:
        """Moles that are over when so much is collected, pooled."""
        along = volume_l(self.over_mol, self.ethanol_mol)
        moles = np.interp(collected_l, along, self.over_mol)
        l_per_mol = np.interp(moles, self.over_mol, np.gradient(along, self.over_mol))
        for _ in range(STEPS):
            short = collected_l - volume_l(moles, self.ethanol(moles))
            moles = np.clip(moles + short / l_per_mol, 0.0, self.over_mol[-1])
            if np.all(np.abs(short) <= 1e-12 * along[-1]):
                break
        return moles

    def depletion(self, over_mol: Array) -> Array:
        """Depletion ln(W0 / W) when so many moles are over."""
        return np.asarray(-np.log1p(-over_mol / self.whole_mol))


@lru_cache(maxsize=16)
def amounts(course: Course, end: float) -> Amounts:
    """Follow a run to its end; done once and kept, as cuts and jars ask for the same."""
    s = np.minimum(-np.log1p(np.linspace(0.0, np.expm1(-end), POINTS)), end)
    jumps = [leg.from_depletion for leg in course.legs[1:] if BEFORE < leg.from_depletion < end]
    if jumps:
        s = distinct(np.concatenate([s, jumps, np.array(jumps) - BEFORE]))
    states = course.at(s)
    y = states.stream_x
    l_per_mol = np.asarray(strength.volume_from_moles(y, 1.0 - y))
    steps = 0.5 * (l_per_mol[1:] + l_per_mol[:-1]) * np.diff(states.over_mol)
    return Amounts(
        whole_mol=course.charge_mol * (1.0 - course.still.lost),
        over_mol=states.over_mol,
        ethanol_mol=states.over_ethanol_mol,
        stream_x=y,
        stream_abv=states.stream_abv,
        stream_l=np.concatenate([[0.0], np.cumsum(steps)]),
    )


def volume_l(moles: Array, ethanol_mol: Array) -> Array:
    """Volume at 20 °C [L] of moles of which some are ethanol; rounding below nothing counts as nothing."""
    ethanol = np.maximum(ethanol_mol, 0.0)
    return np.asarray(strength.volume_from_moles(ethanol, np.maximum(moles - ethanol, 0.0)))


# --- Base spirits and water blended into a pot.


@dataclass(frozen=True)
class Charge:
    """What is in the pot at switch-on."""

    volume_l: float  # volume at 20 °C [L]; less than the sum of the parts, by the contraction
    abv: float  # strength [% vol at 20 °C]
    mass_kg: float  # mass [kg]
    ethanol_mol: float  # ethanol [mol]
    water_mol: float  # water [mol]
    parts: tuple[Ingredient, ...]  # what it was blended from

    @property
    def mol(self) -> float:
        """Moles of ethanol and water."""
        return self.ethanol_mol + self.water_mol

    @property
    def x(self) -> float:
        """Mole fraction of ethanol."""
        return self.ethanol_mol / self.mol

    @property
    def ethanol_l(self) -> float:
        """Litres of pure alcohol at 20 °C."""
        return self.volume_l * self.abv / 100.0

    def with_water(self, water_l: float) -> Charge:
        """Return the charge with more water in it."""
        if water_l == 0.0:
            return self
        both = strength.mix([self.volume_l, water_l], [self.abv, 0.0])
        ethanol, water = strength.moles(both.volume_l, both.abv)
        return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), self.parts)


def blend(parts: Sequence[Ingredient]) -> Charge:
    """Blend spirits and water by mass."""
    if not parts:
        raise RequestError.of("empty_charge")
    both = strength.mix([p.volume_l for p in parts], [p.abv for p in parts])
    if 0.0 < both.abv < LEAST_ABV:
        raise RangeError.of("weak_charge", "charge.abv", given=both.abv, allowed=LEAST_ABV)
    ethanol, water = strength.moles(both.volume_l, both.abv)
    return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), tuple(parts))


# --- What is taken when the plan does not say, each choice told in words.


# All of these: common practice, no source.
FILL = 0.7  # charge over capacity
LEAST_CHARGE_L = 1e-3  # below it, drops decide
LEAST_ABV = 1e-4  # of a charge that is not water [% vol]: a milligram a litre, and no hydrometer shows it
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


def _still(given: StillPlan, charge_l: float, assumed: list[Note]) -> Still:
    capacity = given.capacity_l
    if capacity is None:
        capacity = charge_l / FILL
        assumed.append(hint("assumed_capacity", "still.capacity", capacity_l=capacity, fill=FILL))
    default = _losses(given, capacity, charge_l)
    share = _share(given, assumed)
    power = given.power_w
    if power is None:
        power = _power(given, capacity, default) / share
        assumed.append(hint("assumed_power", "still.power", power_w=power, capacity_l=capacity))
    heat_up = given.heat_up_power_w
    if heat_up is None:
        heat_up = power
        assumed.append(hint("assumed_heat_up_power", "still.heat_up_power", power_w=power))
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
        room_k = (ROOM_C if given.room_c is None else given.room_c) + 273.15
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
    neck, pot, room = given.neck_loss_w_per_k, given.pot_loss_w_per_k, given.room_c
    if neck is None:
        neck = default.neck_w_per_k
        assumed.append(_shed("still.neck_loss", neck, given.built_of))
    if pot is None:
        pot = default.pot_w_per_k
        assumed.append(_shed("still.pot_loss", pot, given.built_of))
    if room is None:
        room = ROOM_C
        assumed.append(hint("assumed_room", "still.room", room_c=room))
    if given.pressure_hpa is not None:
        pressure = given.pressure_hpa * 100.0
    else:
        pressure = pressure_at_altitude(given.altitude_m or 0.0)
        if given.altitude_m is None:
            assumed.append(hint("assumed_pressure", "still.altitude", pressure_hpa=pressure / 100.0))
    return Conditions(pressure, power, neck, pot, room + 273.15)


def _shed(key: str, w_per_k: float, built_of: str | None) -> Note:
    return hint("assumed_loss", key, w_per_k=w_per_k, reference_l=REFERENCE_CAPACITY_L, built_of=built_of)


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


# --- Jars of an earlier run that go into a charge.


class HasJars(Protocol):
    """A run, for all that is asked of it here."""

    @property
    def jars(self) -> Sequence[Jar]:
        """Jars of the run, in order."""
        ...


def check_jars(numbers: Sequence[int], there: Collection[int], path: str, of: str | None = None) -> None:
    """Refuse numbers of jars that a run, called ``of``, does not have, or named twice."""
    for k, number in enumerate(numbers):
        if number not in there:
            raise RequestError.of("no_such_jar", path, given=number, allowed=sorted(there), run=of)
        if number in numbers[:k]:
            raise RequestError.of("jar_twice", path, given=number)


def resolve(
    parts: Sequence[Ingredient | LeftOver], distil: Callable[[Plan], HasJars]
) -> tuple[Ingredient, ...]:
    """Turn jars left over from earlier runs into spirits with a volume and a strength."""
    return tuple(part if isinstance(part, Ingredient) else _spirit(part, distil) for part in parts)


def _spirit(part: LeftOver, distil: Callable[[Plan], HasJars]) -> Ingredient:
    jars = {jar.number: jar for jar in distil(part.plan).jars}
    check_jars(part.jars, jars, f"charge.{part.name}.jars", of=part.plan.title)
    both = pool(jars[number].portion for number in part.jars or jars)
    return Ingredient(part.name, part.times * both.volume_l, both.abv)
