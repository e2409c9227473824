"""Blending spirits, and water, to a strength and a volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from potsim.errors import RangeError, RequestError, require
from potsim.liquid import strength

ROUNDING_ABV = 1e-9  # % vol, by which a strength worked out may differ from the same one typed


@dataclass(frozen=True)
class Part:
    """A spirit of a blend and its share of the spirits.

    Parameters
    ----------
    abv : float
        Strength [% vol at 20 °C].
    parts : float
        Parts by volume, in proportion to the others.
    """

    abv: float
    parts: float = 1.0

    def __post_init__(self) -> None:
        require("abv", self.abv, 0, 100, "% vol")
        require("parts", self.parts, 0, open_low=True)


@dataclass(frozen=True)
class Blend:
    """What to pour together; all volumes at 20 °C.

    Parameters
    ----------
    spirits_l : tuple of float
        Volume of each spirit, in the order given [L].
    water_l : float
        Water [L].
    water_kg : float
        The same by mass [kg].
    volume_l : float
        Volume reached [L].
    abv : float
        Strength reached [% vol at 20 °C].
    contraction_l : float
        By how much the parts exceed the volume [L]; a little below zero for weak spirit.
    """

    spirits_l: tuple[float, ...]
    water_l: float
    water_kg: float
    volume_l: float
    abv: float
    contraction_l: float


def blend_to(spirits: Sequence[Part], target_abv: float, volume_l: float) -> Blend:
    """Return how much of each spirit, in given proportions, and of water make a volume of a strength.

    Parameters
    ----------
    spirits : sequence of Part
        The spirits and their parts by volume.
    target_abv : float
        Strength wanted [% vol at 20 °C], above 0 and at most that of the spirits together.
    volume_l : float
        Volume wanted at 20 °C [L], above 0.

    Returns
    -------
    Blend
        Volumes to pour.

    Raises
    ------
    RequestError
        Without a spirit.
    RangeError
        If the spirits together are weaker than the target, or a number is outside its range.

    Examples
    --------
    >>> made = blend_to([Part(96.0)], 40.0, 1.0)
    >>> round(made.spirits_l[0], 4), round(made.water_l, 3)
    (0.4167, 0.613)
    """
    require("volume", volume_l, 0, unit="L", open_low=True)
    require("target_abv", target_abv, 0, 100, "% vol", open_low=True)
    if not spirits:
        raise RequestError("There is no spirit to blend.", "Name at least one.")
    whole = strength.mix([s.parts for s in spirits], [s.abv for s in spirits])
    if target_abv > whole.abv + ROUNDING_ABV:
        allowed = f"at most {whole.abv:.1f} % vol, the strength of the spirits together"
        hint = "Take more of the strongest, or a stronger spirit."
        raise RangeError("target_abv", f"{target_abv:g} % vol", allowed, hint)
    water = float(strength.water_to_reach(whole.volume_l, whole.abv, min(target_abv, whole.abv)))
    made = strength.mix([whole.volume_l, water], [whole.abv, 0.0])
    scale = volume_l / made.volume_l
    poured = tuple(s.parts * scale for s in spirits)
    return Blend(
        spirits_l=poured,
        water_l=water * scale,
        water_kg=float(strength.mass_of(water * scale, 0.0)),
        volume_l=volume_l,
        abv=target_abv,
        contraction_l=sum(poured) + water * scale - volume_l,
    )


def pair(a_abv: float, b_abv: float, target_abv: float, volume_l: float) -> Blend:
    """Return how much of each of two spirits makes a volume of a strength between them.

    Parameters
    ----------
    a_abv, b_abv : float
        Strengths of the two [% vol at 20 °C], unequal, in either order; 0 is water.
    target_abv : float
        Strength wanted [% vol at 20 °C], not outside the two.
    volume_l : float
        Volume wanted at 20 °C [L], above 0.

    Returns
    -------
    Blend
        ``spirits_l`` holds the volume of the first and of the second; no further water.

    Raises
    ------
    RangeError
        If the target lies outside the two, they are equal, or a number is outside its range.

    Examples
    --------
    >>> made = pair(80.0, 30.0, 50.0, 1.0)
    >>> round(made.spirits_l[0], 3), round(made.spirits_l[1], 3)
    (0.395, 0.614)
    """
    require("volume", volume_l, 0, unit="L", open_low=True)
    for key, value in (("a_abv", a_abv), ("b_abv", b_abv), ("target_abv", target_abv)):
        require(key, value, 0, 100, "% vol")
    low, high = min(a_abv, b_abv), max(a_abv, b_abv)
    if low == high:
        hint = "Two spirits of one strength blend to that strength in any proportion."
        raise RangeError("b_abv", f"{b_abv:g} % vol", "a strength other than that of the first", hint)
    if not low <= target_abv <= high:
        hint = "A blend lies between its parts: take a stronger or weaker spirit; water has 0 % vol."
        allowed = f"{low:g} to {high:g} % vol, between the two"
        raise RangeError("target_abv", f"{target_abv:g} % vol", allowed, hint)
    a, b, wanted = (float(strength.w_from_abv(v)) for v in (a_abv, b_abv, target_abv))
    mass = float(strength.mass_of(volume_l, target_abv))
    a_kg = mass * (wanted - b) / (a - b)
    a_l = a_kg / float(strength.mass_of(1.0, a_abv))
    b_l = (mass - a_kg) / float(strength.mass_of(1.0, b_abv))
    return Blend((a_l, b_l), 0.0, 0.0, volume_l, target_abv, a_l + b_l - volume_l)
