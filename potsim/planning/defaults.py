"""What is taken when the plan does not say, each choice told in words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from potsim.errors import RequestError, require
from potsim.planning.charge import Charge
from potsim.planning.plan import Plan, Stop
from potsim.planning.still_plan import StillPlan
from potsim.still.still import Conditions, PowerChange, Still, metal_heat_capacity, pressure_at_altitude

# All of these: common practice, no source.
FILL = 0.7  # charge over capacity
LEAST_CHARGE_L = 1e-3  # below it, drops decide
_LITRES = "Correct the volumes under charge, or scale the recipe to a size that can be run."
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


@dataclass(frozen=True)
class Setting:
    """A plan made whole.

    Parameters
    ----------
    still : Still
        The vessel in physical units.
    stop : Stop
        What ends the run.
    heads_l : float
        Heads [L at 20 °C].
    assumed : tuple of str
        What was not said and therefore taken, a sentence each.
    """

    still: Still
    stop: Stop
    heads_l: float
    assumed: tuple[str, ...]


def settle(plan: Plan, charge: Charge) -> Setting:
    """Fill in what the plan leaves out.

    Parameters
    ----------
    plan : Plan
        As given.
    charge : Charge
        What is in the pot.

    Returns
    -------
    Setting
        Nothing left out.

    Raises
    ------
    RequestError
        If the plan contradicts itself.
    """
    require("charge (all parts)", charge.volume_l, LEAST_CHARGE_L, 1e5, "L", hint=_LITRES)
    assumed: list[str] = []
    still = _still(plan.still, charge.volume_l, assumed)
    stop = plan.cuts.stop if plan.cuts.stop.named else _stop(charge, assumed)
    if set(stop.named) == {"cloudy"}:
        stop = replace(stop, recovered=RECOVERED)
        assumed.append(
            f"Stop when {100.0 * RECOVERED:.0f} % of the alcohol is over if no cloud comes before."
        )
    if stop.recovered is not None and charge.ethanol_mol == 0.0:
        raise RequestError(
            "cuts.stop.recovered: the charge holds no alcohol.", "Stop by collected or elapsed."
        )
    heads_l = plan.cuts.heads_l or (plan.cuts.heads_share or 0.0) * charge.volume_l
    if plan.cuts.heads_l is None and plan.cuts.heads_share is None:
        assumed.append("No heads taken: none given.")
    return Setting(still, stop, heads_l, tuple(assumed))


def _stop(charge: Charge, assumed: list[str]) -> Stop:
    if charge.ethanol_mol == 0.0:
        volume = WATER_SHARE * charge.volume_l
        assumed.append(f"Stop at {volume:.3g} L, {100.0 * WATER_SHARE:.0f} % of the water: no stop given.")
        return Stop(collected_l=volume)
    assumed.append(f"Stop when {100.0 * RECOVERED:.0f} % of the alcohol is over: no stop given.")
    return Stop(recovered=RECOVERED)


def _still(given: StillPlan, charge_l: float, assumed: list[str]) -> Still:
    capacity = given.capacity_l
    if capacity is None:
        capacity = charge_l / FILL
        assumed.append(f"Pot of {capacity:.2f} L, {100.0 * FILL:.0f} % full: no capacity given.")
    power = given.power_w
    if power is None:
        power = _power(given, capacity)
        assumed.append(f"Power {power:.0f} W, for a pot of {capacity:.3g} L: none given.")
    heat_up = given.heat_up_power_w
    if heat_up is None:
        heat_up = power
        assumed.append("Heat-up at the same power: no heat_up_power given.")
    return Still(
        capacity_l=capacity,
        conditions=_conditions(given, capacity, power, assumed),
        heat_up_power_w=heat_up,
        min_level_l=_min_level(given, capacity, assumed),
        metal_j_per_k=_metal(given, assumed),
        power_changes=tuple(PowerChange(p.from_collected_l, p.power_w) for p in given.power_steps),
    )


def _power(given: StillPlan, capacity: float) -> float:
    """By the litre up to what a socket gives; a larger pot gets what its losses ask for."""
    surface = (capacity / REFERENCE_CAPACITY_L) ** (2.0 / 3.0)
    neck = NECK_LOSS_W_PER_K * surface if given.neck_loss_w_per_k is None else given.neck_loss_w_per_k
    pot = POT_LOSS_W_PER_K * surface if given.pot_loss_w_per_k is None else given.pot_loss_w_per_k
    by_litre = min(POWER_W_PER_L * capacity, MOST_POWER_W)
    return max(by_litre, OVER_LOSSES * BOIL_K * (neck + pot))


def _conditions(given: StillPlan, capacity: float, power: float, assumed: list[str]) -> Conditions:
    surface = (capacity / REFERENCE_CAPACITY_L) ** (2.0 / 3.0)
    neck, pot, room = given.neck_loss_w_per_k, given.pot_loss_w_per_k, given.room_c
    if neck is None:
        neck = NECK_LOSS_W_PER_K * surface
        assumed.append(f"Neck sheds {neck:.2g} W/K, scaled from a 4 L still: no neck_loss given.")
    if pot is None:
        pot = POT_LOSS_W_PER_K * surface
        assumed.append(f"Pot sheds {pot:.2g} W/K, scaled from a 4 L still: no pot_loss given.")
    if room is None:
        room = ROOM_C
        assumed.append(f"Room at {room:.0f} °C: none given.")
    if given.pressure_hpa is not None:
        pressure = given.pressure_hpa * 100.0
    else:
        if given.altitude_m is None:
            assumed.append("At sea level, 1013 hPa: no altitude or pressure given.")
        pressure = pressure_at_altitude(given.altitude_m or 0.0)
    return Conditions(pressure, power, neck, pot, room + 273.15)


def _min_level(given: StillPlan, capacity: float, assumed: list[str]) -> float:
    if given.min_level_l is None:
        assumed.append("Nothing has to stay in the pot: no min_level given. Cover a bare element.")
        return 0.0
    if given.min_level_l >= capacity:
        raise RequestError(
            f"still.min_level is {given.min_level_l:g} L, but the pot holds {capacity:g} L.",
            "Give the level that keeps the element covered.",
        )
    return given.min_level_l


def _metal(given: StillPlan, assumed: list[str]) -> float:
    if given.pot_mass_kg is None:
        assumed.append("The pot's own metal is not heated: no pot_mass given; the first drop comes later.")
        return 0.0
    return metal_heat_capacity(given.pot_mass_kg, given.pot_metal)
