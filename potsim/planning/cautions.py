"""The usual cautions, and those that this run calls for."""

from __future__ import annotations

import numpy as np

from potsim.liquid import strength
from potsim.liquid.flash import flash_point
from potsim.planning.charge import Charge
from potsim.planning.defaults import Setting
from potsim.planning.profile import ZERO_C
from potsim.planning.stops import End
from potsim.still.course import Course

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
    """Cautions that depend on the charge and the still.

    Parameters
    ----------
    charge : Charge
        What is in the pot.
    setting : Setting
        The still.
    course : Course
        The run.
    hot_solids_l : float
        Volume of the botanicals in the pot [L].

    Returns
    -------
    tuple of str
        The particular ones; `ALWAYS` comes on top.
    """
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
    """Caution against a strong charge.

    Parameters
    ----------
    charge_abv : float
        Its strength [% vol at 20 °C], up to 100.

    Returns
    -------
    tuple of str
        One sentence above the usual 40 % vol, else none.
    """
    if charge_abv <= MOST_CHARGE_ABV + ROUNDING_ABV:
        return ()
    usual = f"Usual are at most {MOST_CHARGE_ABV:.0f} % in a small still"
    strong = charge_abv > USUAL_BOTANICAL_ABV + ROUNDING_ABV
    more = f", {USUAL_BOTANICAL_ABV:.0f} % with botanicals" if strong else ""
    lights_c = flash_point(float(strength.x_from_abv(charge_abv))) - ZERO_C
    lights = f"its vapour lights at {lights_c:.0f} °C (from IEC 60079-20-1)"
    return (f"Charge of {charge_abv:.0f} % vol: {lights}. {usual}{more} (common practice, no source).",)


def for_end(end: End) -> tuple[str, ...]:
    """What to heed when the still ends the run before the distiller does.

    Parameters
    ----------
    end : End
        Where the run ends, and why.

    Returns
    -------
    tuple of str
        One sentence, or none.
    """
    if end.reason != "min_level":
        return ()
    return (f"Switch off before the planned stop: {end.words}. Charge more to get to the stop.",)
