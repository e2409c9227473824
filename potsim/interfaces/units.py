"""The only place where what a person types becomes a number: "250 mL", "62 %", "120 proof", "78 °F".

The grammar of numbers is in `potsim.interfaces.numerals`, the units in ``potsim/data/units.csv``, what is
counted and paid in `potsim.interfaces.tally`; the way back, to words, is `potsim.interfaces.wording`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from potsim.interfaces.numerals import as_text, leading_number, refusal, shown, tidy
from potsim.interfaces.tally import count, jars, numbers, percent, price, price_per_l, share
from potsim.interfaces.unit_table import (
    DIFFERENCE,
    DURATION,
    HEAT_LOSS,
    LENGTH,
    MASS,
    POWER,
    PRESSURE,
    VOLUME,
    normal,
)
from potsim.interfaces.wording import (
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_power,
    format_pressure,
    format_share,
    format_temperature,
    format_volume,
)

_ABV = "a strength in %, % vol, proof (US) or UK proof"
_TEMPERATURE = "a temperature in °C, °F or K"
_PORTION = "a volume and a strength with @ between"

# Proof spirit weighs 12/13 of as much water at 51 °F (Customs and Excise Act 1952, from memory), which makes
# it 57.14 % vol; other strengths go by its figure, common practice, no source.
_UK_PROOF = Fraction(4, 7)


@dataclass(frozen=True)
class Portion:
    """A volume of a given strength.

    Parameters
    ----------
    volume_l : float
        Volume [L at 20 °C].
    abv : float
        Strength [% vol at 20 °C].
    """

    volume_l: float
    abv: float


def volume_l(text: str) -> float:
    """Read a volume.

    Parameters
    ----------
    text : str
        Such as ``"250 mL"``, ``"0,9 L"``, ``"1 US gal"``, ``"1/2 metric cup"``.

    Returns
    -------
    float
        Volume [L].

    Raises
    ------
    RequestError
        If it is not a volume, or is one with two meanings, such as ``"1 cup"`` or ``"1,500 mL"``.

    Examples
    --------
    >>> volume_l("250 mL")
    0.25
    """
    return float(VOLUME.read(text))


def mass_g(text: str) -> float:
    """Read a mass [g], such as ``"14 g"`` or ``"0.5 oz"``.

    Parameters
    ----------
    text : str
        A number and a unit.

    Returns
    -------
    float
        Mass [g].

    Raises
    ------
    RequestError
        If it is not a mass.
    """
    return float(MASS.read(text))


def mass_kg(text: str) -> float:
    """Read a mass as `mass_g` does, and return kilograms."""
    return float(MASS.read(text) / 1000)


def power_w(text: str) -> float:
    """Read a heating power [W], ``"700 W"`` or ``"4000 BTU/h"``; refusals as `volume_l`."""
    return float(POWER.read(text))


def heat_loss_w_per_k(text: str) -> float:
    """Read a heat loss per degree above the room [W/K], as ``"0.6 W/K"``; refusals as `volume_l`."""
    return float(HEAT_LOSS.read(text))


def pressure_hpa(text: str) -> float:
    """Read an absolute pressure [hPa], such as ``"1004 hPa"`` or ``"29.9 inHg"``; refusals as `volume_l`."""
    return float(PRESSURE.read(text))


def length_m(text: str) -> float:
    """Read a height [m], such as ``"60 m"`` or ``"-10 ft"``; refusals as `volume_l`."""
    return float(LENGTH.read(text))


def duration_min(text: str) -> float:
    """Read a duration [min], such as ``"90 min"`` or ``"1 h 30 min"``.

    Parameters
    ----------
    text : str
        One or more numbers with units, the largest unit first.

    Returns
    -------
    float
        Duration [min].

    Raises
    ------
    RequestError
        If it is not a duration, or may mean two, such as ``"1:30"`` or ``"30 m"``.
    """
    return float(_duration(text))


def duration_h(text: str) -> float:
    """Read a duration as `duration_min` does, and return hours."""
    return float(_duration(text) / 60)


def _duration(given: str) -> Fraction:
    text = as_text(given, DURATION.allowed, DURATION.example)
    if re.fullmatch(r"\s*\d+:\d+\s*", text):
        raise refusal(text, "can be read as h:min or as min:s", DURATION.allowed, "1 h 30 min")
    parts = re.split(r"(?<=[a-z])[ ,]*(?:and )?(?=[0-9])", tidy(text), flags=re.IGNORECASE) or [text]
    total, before = Fraction(0), None
    for part in parts:
        number, unit = leading_number(part or text, DURATION.allowed, DURATION.example)
        # After hours, "m" can only be minutes.
        size = DURATION.size(text, "min" if unit == "m" and before == 60 else unit)
        if before is not None and size >= before:
            raise refusal(text, "does not go from large units to small", DURATION.allowed, "1 h 30 min")
        DURATION.sign_checked(text, number)
        total, before = total + number * size, size
    return total


def temperature_c(text: str) -> float:
    """Read a temperature [°C], such as ``"78 °C"``, ``"172 °F"`` or ``"351 K"``.

    Parameters
    ----------
    text : str
        A number and a unit.

    Returns
    -------
    float
        Temperature [°C].

    Raises
    ------
    RequestError
        If it is not a temperature, or one below absolute zero.

    Notes
    -----
    0 °C = 273.15 K (SI, exact); 32 °F = 0 °C and 180 °F to 100 °C.
    """
    return float(_kelvin(text) - Fraction("273.15"))


def temperature_k(text: str) -> float:
    """Read a temperature as `temperature_c` does, and return kelvins."""
    return float(_kelvin(text))


def _kelvin(text: str) -> Fraction:
    number, unit = leading_number(text, _TEMPERATURE, "20 °C")
    if not unit or unit == "°":
        raise refusal(text, "does not say which degrees", _TEMPERATURE, "20 °C")
    zero = {"k": Fraction(0), "f": Fraction("459.67"), "c": Fraction("273.15")}
    spelling = normal(unit)
    if spelling not in DIFFERENCE.units:
        raise refusal(text, f"has the unknown unit {shown(unit)}", _TEMPERATURE, "20 °C")
    size = DIFFERENCE.units[spelling]
    scale = "k" if spelling.startswith("k") else "f" if size != 1 else "c"
    kelvin = (number + zero[scale]) * size
    if kelvin < 0:
        raise refusal(text, "is below absolute zero", _TEMPERATURE, "20 °C")
    return kelvin


def temperature_difference_k(text: str) -> float:
    """Read a difference of temperature [K], as ``"3 °C"`` or ``"5 °F"``; refusals as `volume_l`."""
    return float(DIFFERENCE.read(text))


def abv(text: str) -> float:
    """Read a strength [% vol at 20 °C].

    Parameters
    ----------
    text : str
        Such as ``"62 %"``, ``"62 % vol"``, ``"120 proof"``, ``"105 UK proof"``.

    Returns
    -------
    float
        Strength [% vol at 20 °C].

    Raises
    ------
    RequestError
        If it is not a strength, or more than 100 %.

    Notes
    -----
    Proof is US proof, twice the % vol at 60 °F, unless it says UK, British or imperial; those are 7/4 of the
    % vol, good to 0.1 % vol.
    """
    number, unit = leading_number(text, _ABV, "62 %")
    spelling = normal(unit)
    if not unit:
        raise refusal(text, "does not say whether it is % or proof", _ABV, "62 %")
    if spelling in {"%mass", "%wt", "%w/w", "wt%", "mass%", "%byweight", "%bymass", "%w", "%m/m"}:
        raise refusal(text, "is by weight", _ABV, "62 % vol")
    if spelling in {"%", "%vol", "%abv", "vol%", "abv", "%v/v", "%byvolume", "%alc/vol", "percent"}:
        strength = float(number)
    elif spelling in {"impproof", "°impproof"}:
        strength = float(number * _UK_PROOF)
    elif spelling in {"proof", "usproof", "°proof", "°usproof"}:
        strength = _from_us_proof(text, float(number))
    else:
        raise refusal(text, f"has the unknown unit {shown(unit)}", _ABV, "62 %")
    if not 0 <= strength <= 100:
        raise refusal(text, "is not between 0 and 100 % vol", _ABV, "62 %")
    return strength


def _from_us_proof(text: str, proof: float) -> float:
    if not 0 <= proof <= 200:
        raise refusal(text, "is not between 0 and 200 proof", _ABV, "120 proof")
    from potsim.liquid.strength import abv_from_proof

    return float(abv_from_proof(proof))


def abv_difference(text: str) -> float:
    """Read a doubt of a strength [% vol], such as ``"0.5 %"``; refusals as `abv`."""
    number, unit = leading_number(text, "a difference of strengths in % vol", "0.5 % vol")
    if normal(unit) not in {"%", "%vol", "%abv", "vol%"} or number < 0:
        raise refusal(text, "is not a doubt in % vol", "a difference of strengths in % vol", "0.5 % vol")
    return float(number)


def portion(text: str) -> Portion:
    """Read a volume of a strength, such as ``"300 mL @ 72 %"``.

    Parameters
    ----------
    text : str
        Volume, ``@``, strength.

    Returns
    -------
    Portion
        Both as numbers.

    Raises
    ------
    RequestError
        If either will not be read.
    """
    parts = as_text(text, _PORTION, "300 mL @ 72 %").split("@")
    if len(parts) != 2 or not all(part.strip() for part in parts):
        raise refusal(text, "is not VOLUME@ABV", _PORTION, "300 mL @ 72 %")
    return Portion(volume_l(parts[0]), abv(parts[1]))


__all__ = [
    "Portion",
    "abv",
    "abv_difference",
    "count",
    "duration_h",
    "duration_min",
    "format_abv",
    "format_mass",
    "format_minutes",
    "format_numbers",
    "format_power",
    "format_pressure",
    "format_share",
    "format_temperature",
    "format_volume",
    "heat_loss_w_per_k",
    "jars",
    "length_m",
    "mass_g",
    "mass_kg",
    "numbers",
    "percent",
    "portion",
    "power_w",
    "pressure_hpa",
    "price",
    "price_per_l",
    "share",
    "temperature_c",
    "temperature_difference_k",
    "temperature_k",
    "volume_l",
]
