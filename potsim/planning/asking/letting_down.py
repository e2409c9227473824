"""A charge brought to another strength: with more or less water, or with more or less of everything."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, get_args

from potsim.errors import RangeError, RequestError, UnknownNameError, require
from potsim.liquid import strength
from potsim.planning import leftovers
from potsim.planning.charge import Charge, blend
from potsim.planning.plan import Ingredient, LeftOver, Plan
from potsim.planning.run import distil, resolve_bill

Same = Literal["alcohol", "volume"]
WATER = "water"
LEAST_WATER = 1e-9  # share of the charge's mass; less is rounding


def charge_of(plan: Plan) -> Charge:
    """Return what a plan puts into the pot, the botanicals' own water included.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Charge
        As that of its run.
    """
    return _with_juices(plan, leftovers.resolve(plan.charge, distil))


def strongest(plan: Plan) -> float:
    """Return the strength of a plan's spirits without water, in the pot with the botanicals' own.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    float
        Strength [% vol at 20 °C].

    Raises
    ------
    RequestError
        If the charge holds no alcohol.
    """
    return _most(_undiluted(leftovers.resolve(plan.charge, distil)), 1.0, _juices_kg(plan))


def check_same(same: str) -> None:
    """Refuse what is neither ``'alcohol'`` nor ``'volume'``."""
    if same not in get_args(Same):
        raise UnknownNameError("quantity that stays the same", same, get_args(Same))


def with_strength(plan: Plan, abv: float, same: Same = "alcohol") -> Plan:
    """Return a plan whose charge has another strength.

    Parameters
    ----------
    plan : Plan
        The plan.
    abv : float
        Strength of all that is in the pot at switch-on, the botanicals' own water included
        [% vol at 20 °C].
    same : {'alcohol', 'volume'}
        What stays: the alcohol, so that only the water changes; or the volume in the pot, so that spirit and
        water both change.

    Returns
    -------
    Plan
        All else is as it was. For ``'volume'`` jars of earlier runs become spirit of the same strength.

    Raises
    ------
    UnknownNameError
        If ``same`` is neither.
    RangeError
        If no such charge can be made of the plan's spirits.
    RequestError
        If the charge holds no alcohol.

    Notes
    -----
    Mass and ethanol mass are conserved; densities by OIML R 22 (`potsim.liquid.strength`).

    Examples
    --------
    >>> import potsim
    >>> weaker = with_strength(potsim.example_plan(), 30.0)
    >>> round(charge_of(weaker).abv, 9)
    30.0
    """
    check_same(same)
    require("charge.abv", abv, 0, 100, "% vol", open_low=True)
    parts = leftovers.resolve(plan.charge, distil)
    undiluted = _undiluted(parts)
    juices_kg = _juices_kg(plan)
    w = float(strength.w_from_abv(abv))
    spirit_w = float(strength.w_from_abv(undiluted.abv))
    if same == "alcohol":
        more = 1.0
    else:
        charge = _with_juices(plan, parts)
        more = charge.volume_l * abv / (100.0 * undiluted.ethanol_l)
    spirit_kg = more * undiluted.mass_kg
    water_kg = spirit_kg * (spirit_w / w - 1.0) - juices_kg
    if water_kg < -LEAST_WATER * spirit_kg:
        most = math.floor(100.0 * _most(undiluted, more, juices_kg)) / 100.0
        raise RangeError(
            "charge.abv",
            f"{abv:g} % vol",
            f"at most {most:g} % vol, the spirits of the plan without water",
            "Take stronger spirit: water only weakens.",
        )
    some = water_kg > LEAST_WATER * spirit_kg
    water_l = water_kg / float(strength.mass_of(1.0, 0.0)) if some else 0.0
    kept = plan.charge if same == "alcohol" else parts
    return replace(plan, charge=_poured(kept, parts, more, water_l))


def _with_juices(plan: Plan, parts: tuple[Ingredient, ...]) -> Charge:
    water_l = _juices_l(plan)
    charge = blend(parts)
    return charge.with_water(water_l) if water_l > 0.0 else charge


def _juices_l(plan: Plan) -> float:
    """Water that fresh botanicals bring [L]."""
    return sum(dose.water_brought_l for dose in resolve_bill(plan))


def _juices_kg(plan: Plan) -> float:
    return float(strength.mass_of(_juices_l(plan), 0.0))


def _undiluted(parts: tuple[Ingredient, ...]) -> Charge:
    spirits = tuple(part for part in parts if part.abv > 0.0)
    if not spirits:
        raise RequestError("charge.abv: the charge holds no alcohol.", "Add a spirit to the charge.")
    return blend(spirits)


def _most(undiluted: Charge, more: float, juices_kg: float) -> float:
    """Strength of so many times the spirits with the water of the botanicals alone [% vol]."""
    spirit_kg = more * undiluted.mass_kg
    w = float(strength.w_from_abv(undiluted.abv)) * spirit_kg / (spirit_kg + juices_kg)
    return float(strength.abv_from_w(w))


def _poured(
    kept: tuple[Ingredient | LeftOver, ...], parts: tuple[Ingredient, ...], more: float, water_l: float
) -> tuple[Ingredient | LeftOver, ...]:
    """Give every spirit its new volume, and share the water among the waters that there are."""
    there = sum(part.volume_l for part in parts if part.abv == 0.0)
    poured: list[Ingredient | LeftOver] = []
    for part, resolved in zip(kept, parts, strict=True):
        if resolved.abv > 0.0:
            poured.append(part if more == 1.0 else replace(resolved, volume_l=more * resolved.volume_l))
        elif water_l > 0.0:
            poured.append(replace(resolved, volume_l=water_l * resolved.volume_l / there))
    if there == 0.0 and water_l > 0.0:
        poured.append(Ingredient(WATER, water_l))
    return tuple(poured)
