"""Proofing: the water that brings a keep to bottling strength, in steps, and the bottles it fills."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError, require
from potsim.liquid import strength
from potsim.planning.blending import ROUNDING_ABV

Array = NDArray[np.float64]

MAX_STEPS = 50
COLDEST_C, WARMEST_C = 0.0, 40.0  # water is liquid, and densities are known
_LIQUID = "Work where water is liquid and spirit does not evaporate."
_STRONGER = (
    "Water only weakens: stop the run earlier, drop the last jars, take a stronger charge, "
    "or blend with stronger spirit."
)
REST = (
    "Mixing warms the spirit and sets bubbles free: let it rest until it has the temperature of the room, "
    "then read, and add the last of the water by the reading (common practice, no source)."
)
FALSIFIED = (
    "Sugar, and the extract that macerated botanicals leave in spirit not distilled again, make a hydrometer "
    "read too low: go by the water, not by the reading."
)


@dataclass(frozen=True)
class Addition:
    """One addition of water.

    Parameters
    ----------
    number : int
        From 1.
    water_l, water_at_c_l : float
        Water at 20 °C and as measured at the temperature of the room [L].
    water_kg : float
        The same by mass [kg].
    volume_l : float
        Volume after it at 20 °C [L].
    abv : float
        Strength after it [% vol at 20 °C].
    reading_abv : float
        What a hydrometer calibrated at 20 °C then shows at the temperature of the room [% vol].
    """

    number: int
    water_l: float
    water_at_c_l: float
    water_kg: float
    volume_l: float
    abv: float
    reading_abv: float


@dataclass(frozen=True)
class Proofing:
    """Spirit brought down to a strength with water.

    Parameters
    ----------
    from_l, from_abv : float
        The spirit before: volume at 20 °C [L] and strength [% vol at 20 °C].
    target_abv : float
        Strength reached [% vol at 20 °C].
    at_c : float
        Temperature of the room, the spirit and the water [°C].
    water_l, water_at_c_l : float
        Water at 20 °C and as measured at ``at_c`` [L].
    water_kg : float
        The same by mass [kg].
    volume_l, volume_at_c_l : float
        Volume reached, at 20 °C and at ``at_c`` [L].
    mass_kg : float
        Mass reached [kg].
    ethanol_l : float
        Pure alcohol in it [L at 20 °C].
    contraction_l : float
        By how much spirit and water, at 20 °C, exceed the volume [L]; a little below zero for weak spirit.
    reading_abv : float
        What a hydrometer calibrated at 20 °C shows in it at ``at_c`` [% vol].
    additions : tuple of Addition
        The water in steps.
    bottle_l : float or None
        Volume of a bottle [L at 20 °C]; ``None`` if none was named.
    bottles : int or None
        Full bottles; ``None`` if no bottle was named.
    left_over_l : float
        What fills no bottle [L at 20 °C]; all of it if no bottle was named.
    notes : tuple of str
        What to heed.
    """

    from_l: float
    from_abv: float
    target_abv: float
    at_c: float
    water_l: float
    water_at_c_l: float
    water_kg: float
    volume_l: float
    volume_at_c_l: float
    mass_kg: float
    ethanol_l: float
    contraction_l: float
    reading_abv: float
    additions: tuple[Addition, ...]
    bottle_l: float | None
    bottles: int | None
    left_over_l: float
    notes: tuple[str, ...]


def proof_down(
    volume_l: float,
    abv: float,
    target_abv: float,
    *,
    at_c: float = 20.0,
    steps: int = 1,
    bottle_l: float | None = None,
) -> Proofing:
    """Return the water that brings spirit down to a strength, and what comes of it.

    Parameters
    ----------
    volume_l : float
        Volume of the spirit at 20 °C [L], above 0.
    abv : float
        Its strength [% vol at 20 °C].
    target_abv : float
        The strength wanted [% vol at 20 °C], above 0 and at most ``abv``.
    at_c : float
        Temperature of the room, where water is measured and the hydrometer read [°C], 0 to 40.
    steps : int
        Number of additions, 1 to 50; each lowers the strength by as much.
    bottle_l : float, optional
        Volume of a bottle [L at 20 °C].

    Returns
    -------
    Proofing
        Water by volume and by mass, volume, contraction, additions, bottles and notes.

    Raises
    ------
    RangeError
        For a target above the strength there is, or a number outside its range.

    Notes
    -----
    Mass and ethanol mass are conserved; densities by OIML R 22 (`potsim.liquid.strength`).

    Examples
    --------
    >>> made = proof_down(1.0, 75.0, 42.0, bottle_l=0.5)
    >>> round(made.water_l, 3), round(made.volume_l, 3), made.bottles
    (0.816, 1.786, 3)
    """
    require("volume", volume_l, 0, unit="L", open_low=True)
    require("abv", abv, 0, 100, "% vol", open_low=True)
    require("target_abv", target_abv, 0, 100, "% vol", open_low=True)
    require("at_c", at_c, COLDEST_C, WARMEST_C, "°C", hint=_LIQUID)
    require("steps", steps, 1, MAX_STEPS, "additions")
    require("bottle", bottle_l, 0, unit="L", open_low=True)
    if target_abv > abv + ROUNDING_ABV:
        allowed = f"at most {abv:.1f} % vol, the strength of the spirit"
        raise RangeError("target_abv", f"{target_abv:g} % vol", allowed, _STRONGER)
    abv = max(abv, target_abv)
    number = np.arange(1.0, int(steps) + 1.0)
    there = np.append(abv + (target_abv - abv) * number[:-1] / steps, target_abv)
    water = np.maximum.accumulate(np.asarray(strength.water_to_reach(volume_l, abv, there))).tolist()
    mixed = [strength.mix([volume_l, litres], [abv, 0.0]) for litres in water]
    additions = _additions(water, mixed, there, at_c)
    water_l, end = water[-1], mixed[-1]
    bottles, left_over_l = _bottled(end.volume_l, bottle_l)
    return Proofing(
        from_l=volume_l,
        from_abv=abv,
        target_abv=target_abv,
        at_c=at_c,
        water_l=water_l,
        water_at_c_l=_at(water_l, 0.0, at_c),
        water_kg=float(strength.mass_of(water_l, 0.0)),
        volume_l=end.volume_l,
        volume_at_c_l=_at(end.volume_l, target_abv, at_c),
        mass_kg=end.mass_kg,
        ethanol_l=end.ethanol_l,
        contraction_l=end.contraction_l,
        reading_abv=additions[-1].reading_abv,
        additions=additions,
        bottle_l=bottle_l,
        bottles=bottles,
        left_over_l=left_over_l,
        notes=_notes(target_abv, additions[-1].reading_abv, at_c),
    )


def from_reading(
    volume_at_c_l: float,
    reading_abv: float,
    target_abv: float,
    *,
    at_c: float,
    steps: int = 1,
    bottle_l: float | None = None,
) -> Proofing:
    """Return the proofing of spirit whose volume and strength were both read at the temperature of the room.

    Parameters
    ----------
    volume_at_c_l : float
        Volume as measured at ``at_c`` [L], above 0.
    reading_abv : float
        What a hydrometer calibrated at 20 °C shows at ``at_c`` [% vol].
    target_abv : float
        The strength wanted [% vol at 20 °C].
    at_c : float
        Temperature of the spirit [°C], 0 to 40.
    steps : int
        Number of additions, 1 to 50.
    bottle_l : float, optional
        Volume of a bottle [L at 20 °C].

    Returns
    -------
    Proofing
        As from `proof_down`, the spirit brought to 20 °C first.

    Raises
    ------
    RangeError
        For a target above the strength there is, or a number outside its range.

    Examples
    --------
    >>> round(from_reading(1.0, 60.0, 42.0, at_c=25.0).from_abv, 2)
    58.24
    """
    require("at_c", at_c, COLDEST_C, WARMEST_C, "°C", hint=_LIQUID)
    abv = float(strength.true_abv(reading_abv, at_c))
    volume_l = float(strength.volume_at(volume_at_c_l, abv, at_c, strength.REFERENCE_C))
    return proof_down(volume_l, abv, target_abv, at_c=at_c, steps=steps, bottle_l=bottle_l)


def _additions(
    water_l: Sequence[float], mixed: Sequence[strength.Mixture], abvs: Array, at_c: float
) -> tuple[Addition, ...]:
    """Tell apart additions of which the water together, the mixture and the strength are given."""
    readings = np.asarray(strength.reading_abv(abvs, at_c))
    steps = zip(np.diff(water_l, prepend=0.0).tolist(), mixed, abvs.tolist(), readings.tolist(), strict=True)
    return tuple(
        Addition(
            number=number,
            water_l=added_l,
            water_at_c_l=_at(added_l, 0.0, at_c),
            water_kg=float(strength.mass_of(added_l, 0.0)),
            volume_l=mixture.volume_l,
            abv=abv,
            reading_abv=reading,
        )
        for number, (added_l, mixture, abv, reading) in enumerate(steps, start=1)
    )


def _at(volume_l: float, abv: float, at_c: float) -> float:
    if at_c == strength.REFERENCE_C:
        return volume_l
    return float(strength.volume_at(volume_l, abv, strength.REFERENCE_C, at_c))


def _bottled(volume_l: float, bottle_l: float | None) -> tuple[int | None, float]:
    """Full bottles and the rest; a bottle short by a billionth of it is full."""
    if bottle_l is None:
        return None, volume_l
    bottles = math.floor(volume_l / bottle_l + 1e-9)
    return bottles, max(volume_l - bottles * bottle_l, 0.0)


def _notes(target_abv: float, reading_abv: float, at_c: float) -> tuple[str, ...]:
    away = (
        f"At {at_c:g} °C a hydrometer for 20 °C shows {reading_abv:.1f} % vol, not {target_abv:.1f}.",
        "Volumes are for 20 °C unless they say otherwise; a weighed addition needs no correction.",
    )
    return (*(away if at_c != strength.REFERENCE_C else ()), REST, FALSIFIED)
