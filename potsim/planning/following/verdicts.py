"""What readings tell of a still, and what they cannot tell, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from potsim.planning.following.readings import Reading
from potsim.still.fit import FAR, Fit, Residual
from potsim.still.problem import NAMES

TELLS = 0.2  # narrowed down by so much, a number is told by the readings
ALIKE = 0.98  # two numbers that show so alike cannot be told apart
SHOWS = 0.5  # standard errors of the readings that a number's own doubt must move to matter
SCATTER = 1.5
OFFSET_K = 2.0
THERMOMETERS = {"vapour_offset_k": "vapour", "pot_offset_k": "pot"}
SAID = {
    "ratio": "heat shed by the neck",
    "charge_abv": "a stronger charge",
    "charge_l": "a larger charge",
    "hold_up_l": "spirit held back in the condenser",
    "time_scale": "less net power",
    "start_s": "a later first drop",
}
NOUNS = {
    "ratio": "neck loss",
    "charge_abv": "strength of the charge",
    "charge_l": "volume of the charge",
    "hold_up_l": "hold-up",
    "time_scale": "power or pot loss",
}
PAIRS = (
    ("ratio", "charge_abv"),
    ("ratio", "charge_l"),
    ("charge_abv", "charge_l"),
    ("charge_l", "hold_up_l"),
    ("time_scale", "start_s"),
)
# What may have gone wrong, when a reading is too low and when it is too high.
ASKED = {
    "strength": ("a cold hydrometer or a typing slip?", "a warm hydrometer or a typing slip?"),
    "vapour": ("a bulb out of the vapour, or a slip?", "a bulb at hot metal, or a slip?"),
    "pot": ("a bulb out of the liquid, or a slip?", "a bulb at the element, or a slip?"),
    "time": ("a slip, or more power for a while?", "a slip, or was the heat off for a while?"),
}


def odd_readings(fit: Fit, readings: Sequence[Reading]) -> tuple[str, ...]:
    """Say which readings do not fit, and what may have gone wrong.

    Parameters
    ----------
    fit : Fit
        The still learnt.
    readings : sequence of Reading
        Those it was learnt from.

    Returns
    -------
    tuple of str
        A sentence each, in the order of the run.
    """
    odd = sorted((r for r in fit.residuals if r.left_out), key=lambda r: r.line)
    return tuple(
        _odd(one, readings[line]) for line, group in groupby(odd, key=lambda r: r.line) for one in group
    )


def _odd(residual: Residual, reading: Reading) -> str:
    what = {"strength": "", "vapour": "the vapour of ", "pot": "the pot of ", "time": "the time of "}
    size, unit = abs(residual.off), "% vol"
    zero = 0.0
    if residual.kind == "time":
        size, unit = size / 60.0, "min"
    elif residual.kind != "strength":
        unit, zero = "°C", 273.15
    read, fitted = (residual.read - zero, residual.fitted - zero)
    if residual.kind == "time":
        read, fitted = read / 60.0, fitted / 60.0
    asked = ASKED[residual.kind][residual.off > 0.0]
    where = reading.where
    said = f"{what[residual.kind]}{where}"
    line = f" (line {reading.line})" if reading.line else ""
    return (
        f"{said[0].upper()}{said[1:]}{line} is {size:.2g} {unit} off, {read:.1f} where {fitted:.1f} is "
        f"expected: {asked} It is left out."
    )


def verdicts(fit: Fit) -> tuple[str, ...]:
    """Say what the readings tell of the still, and what they cannot.

    Parameters
    ----------
    fit : Fit
        The still learnt.

    Returns
    -------
    tuple of str
        Sentences.
    """
    if not fit.residuals:
        return ("Nothing is read yet: all is as the plan has it, with the plan's own doubt.",)
    said = [_neck(fit), _pace(fit)]
    for one, other in PAIRS:
        if _shows(fit, one) and _shows(fit, other) and abs(fit.alike(one, other)) > ALIKE:
            opposite = "less" if fit.alike(one, other) > 0.0 else "more"
            said.append(
                f"The readings cannot tell {SAID[one]} from {SAID[other]}: more of the one with {opposite} "
                "of the other would show the same. The forecast needs only both together."
            )
    said += [_thermometer(fit, name) for name in THERMOMETERS if abs(fit.value(name)) > OFFSET_K]
    if fit.widened > SCATTER:
        said.append(
            f"The readings scatter {fit.widened:.1f} times as much as such readings do; bands are widened by "
            "that."
        )
    left = sum(r.left_out for r in fit.residuals)
    if 2 * left > len(fit.residuals):
        said.append(
            "Most readings do not fit this plan: is it the plan of this run, and are the units right?"
        )
    if fit.loosened:
        said.append(
            "The readings do not fit the plan as closely as its doubts allow; they now count more. "
            "Check the power, the charge and the units."
        )
    far = [name for name in NOUNS if _away(fit, name) > FAR - 1.0]
    if far:
        words = " and ".join(NOUNS[name] for name in far)
        said.append(f"The readings call for quite another {words} than the plan has: check the plan.")
    return tuple(said)


def _shows(fit: Fit, name: str) -> bool:
    k = NAMES.index(name)
    return bool(fit.information[k, k] > SHOWS**2)


def _away(fit: Fit, name: str) -> float:
    k = NAMES.index(name)
    return float(abs(fit.values[k] - fit.prior.mean[k]) / fit.prior.error[k])


def _thermometer(fit: Fit, name: str) -> str:
    off = fit.value(name)
    more = "more" if off > 0 else "less"
    return (
        f"The thermometer in the {THERMOMETERS[name]} shows {abs(off):.1f} K {more} than it should: is the "
        "altitude or pressure of the plan right? Does it show boiling water right?"
    )


def _neck(fit: Fit) -> str:
    if fit.told("ratio") < TELLS:
        return (
            f"The readings do not tell yet what the neck sheds: {fit.neck_loss_w_per_k:.2f} W/K, about as in "
            "the plan, stands. Strengths tell it, of several jars or far apart."
        )
    return (
        f"The neck sheds {fit.neck_loss_w_per_k:.2f} ± {fit.loss_errors[0]:.2f} W/K, "
        f"{100.0 * fit.value('ratio'):.1f} % of the net power."
    )


def _pace(fit: Fit) -> str:
    if fit.told("time_scale") < TELLS:
        return (
            "The readings do not tell yet how fast the still is: minutes are as planned. Two times, some way "
            "apart, tell it."
        )
    scale = fit.value("time_scale")
    faster = "slower" if scale > 1.0 else "faster"
    pace = f"This still is {100.0 * abs(scale - 1.0):.0f} % {faster} than planned"
    if fit.pot_loss_w_per_k < 0.0:
        return (
            f"{pace}: there is more power than was said, {fit.net_power_w:.0f} W net of the pot's losses, or "
            "the pot sheds nothing."
        )
    return (
        f"{pace}: net of what the pot sheds it gets {fit.net_power_w:.0f} W; at the power said the pot sheds "
        f"{fit.pot_loss_w_per_k:.2f} ± {fit.loss_errors[1]:.2f} W/K."
    )
