"""Cautions that the botanicals call for: doses, dangers, legal limits, a film of oil on the pot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from potsim.liquid import clouding, strength
from potsim.liquid.heat import flash_point
from potsim.planning.botanicals import Caution, dose_warnings, limit_warnings
from potsim.planning.charge import Charge, Setting
from potsim.planning.flavours import Flavours, Span
from potsim.planning.stops import ZERO_C, End
from potsim.still.course import Course

FILM = 1.0  # load of the pot from which oil no longer dissolves
MG_PER_G = 1e3


def for_bill(flavours: Flavours, charge_l: float) -> tuple[str, ...]:
    """Doses far from the usual, and what to heed of each botanical."""
    doses = [sentence for dose in flavours.bill for sentence in dose_warnings(dose, charge_l)]
    known = [
        _said(dose.botanical.common_name, caution)
        for dose in flavours.bill
        for caution in dose.botanical.cautions
    ]
    return tuple(dict.fromkeys([*doses, *known]))


def _said(name: str, caution: Caution) -> str:
    who = "" if caution.text.lower().startswith(name.split()[0].lower()) else f"{name}: "
    return f"{who}{caution.text} ({caution.source})"


def for_drink(flavours: Flavours, kept: Sequence[Span], volume_l: float, abv: float) -> tuple[str, ...]:
    """Legal limits that the bottled spirit would exceed.

    The content is that of the keep in the mass of the bottled spirit. It is predicted from typical yields
    and good to a factor of two or three: near a limit, have it measured.
    """
    if volume_l <= 0.0:
        return ()
    kilograms = float(strength.mass_of(volume_l, abv))
    held = {name: grams * MG_PER_G / kilograms for name, grams in flavours.over_g(kept).items()}
    return limit_warnings(flavours.bill, held)


def film(flavours: Flavours, end: float) -> tuple[str, ...]:
    """Whether more oil lies in the pot than its liquid dissolves.

    The sum of concentration over solubility, at the strength of the pot. The solubilities are those near
    20 to 25 °C, in truth they are higher at the boil: the film is foretold too soon rather than too late.
    Compounds of the distiller's own, whose solubility is not known, are left out.
    """
    if not flavours.compound_ids:
        return ()
    s = flavours.carried.depletion[flavours.carried.depletion <= end]
    held = {name: c for name, c in flavours.pot_g_per_l(s).items() if name not in flavours.own}
    states = flavours.course.at(s)
    filled = np.broadcast_to(np.asarray(clouding.load(held, states.pot_abv)), s.shape)
    if not np.any(filled >= FILM):
        return ()
    first = int(np.argmax(filled >= FILM))
    from_l = float(states.collected_l[first])
    return (
        f"Oil film: from {from_l:.2f} L on the pot holds more oil than it dissolves (up to "
        f"{float(filled.max()):.1f} times as much, counted at room temperature). While it lasts the first to "
        "come over come more slowly than shown.",
    )


# --- The usual cautions, and those that this run calls for.


# Said with every run, whatever it is. Common practice, no source; figures in data/safety.csv.
ALWAYS = (
    "Law: distilling needs a licence in most countries. Follow local law and licensed practice.",
    "Fire: spirit vapour burns, is heavier than air and pools on the floor. Ventilate; no flame or spark.",
    "Never leave a running still alone. Keep the outlet open: never heat a closed vessel.",
    "Cooling on before the heat, and on until the pot has cooled. Let the pot cool before opening it.",
    "A forecast is not an inspection: potsim knows nothing of methanol in bad spirit, leaks or foaming.",
)
MOST_FILL = 0.75  # common practice, no source
MOST_CHARGE_ABV = 40.0  # common practice in a domestic still, no source
ROUNDING_ABV = 1e-6  # a charge let down to the limit is not above it
USUAL_BOTANICAL_ABV = 60.0  # charges of botanicals go up to here: common practice, no source


def for_run(charge: Charge, setting: Setting, course: Course, hot_solids_l: float) -> tuple[str, ...]:
    """Cautions that depend on the charge and the still."""
    found = []
    hot = float(course.at(np.array([0.0])).pot_hot_l[0]) + hot_solids_l
    fill = hot / setting.still.capacity_l
    if fill > MOST_FILL:
        found.append(
            f"Fill: the boiling charge takes {hot:.3g} L, {100.0 * fill:.0f} % of the pot; "
            f"at most {100.0 * MOST_FILL:.0f} % leaves room for foam (common practice, no source)."
        )
    found += fire(charge.abv)
    if setting.still.min_level_l == 0.0:
        found.append("A heating element inside the pot must stay covered to the end: set min_level.")
    return tuple(found)


def fire(charge_abv: float) -> tuple[str, ...]:
    """Caution against a strong charge."""
    if charge_abv <= MOST_CHARGE_ABV + ROUNDING_ABV:
        return ()
    usual = f"Usual are at most {MOST_CHARGE_ABV:.0f} % in a small still"
    strong = charge_abv > USUAL_BOTANICAL_ABV + ROUNDING_ABV
    more = f", {USUAL_BOTANICAL_ABV:.0f} % with botanicals" if strong else ""
    lights_c = flash_point(float(strength.x_from_abv(charge_abv))) - ZERO_C
    lights = f"its vapour lights at {lights_c:.0f} °C (from IEC 60079-20-1)"
    return (f"Charge of {charge_abv:.0f} % vol: {lights}. {usual}{more} (common practice, no source).",)


def for_end(end: End) -> tuple[str, ...]:
    """What to heed when the still ends the run before the distiller does."""
    if end.reason != "min_level":
        return ()
    return (f"Switch off before the planned stop: {end.words}. Charge more to get to the stop.",)
