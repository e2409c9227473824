"""The keep: jars poured together, and what one more or one less would change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from potsim.errors import VOL, RangeError, RequestError, require
from potsim.liquid import strength
from potsim.liquid.strength import Mixture
from potsim.planning.charge import Charge, check_jars
from potsim.planning.jars import Jar
from potsim.planning.notes import Note, hint
from potsim.planning.plan import Bottling, Stretch
from potsim.records import dataclass


@dataclass(frozen=True)
class Change:
    """What a jar more or less does to the keep."""

    number: int  # the jar
    kept: bool  # whether it is in the keep, so that the change is that of dropping it; else that of adding it
    volume_l: float  # by how much the keep becomes larger; smaller if negative [L at 20 °C]
    abv: float  # by how much it becomes stronger; weaker if negative [% vol]


@dataclass(frozen=True)
class Keep:
    """Jars poured together."""

    volume_l: float  # volume at 20 °C [L]; a little less than that of the jars, by the contraction
    abv: float  # strength [% vol at 20 °C]
    ethanol_l: float  # pure alcohol [L at 20 °C]
    mass_g: float  # mass [g]
    jars: tuple[int, ...]  # numbers of the jars, rising
    changes: tuple[Change, ...]  # one for each jar of the run; a jar that is the whole keep has none


def pool(jars: Sequence[Jar], numbers: Sequence[int] = ()) -> Keep:
    """Pour jars together."""
    wanted = numbers or [jar.number for jar in jars if jar.role == "keep"]
    chosen = _checked(jars, wanted)
    kept = np.array([jar.number in chosen for jar in jars])
    ethanol = np.array([jar.portion.ethanol_mol for jar in jars])
    water = np.array([jar.portion.water_mol for jar in jars])
    grams = float(np.array([jar.mass_g for jar in jars])[kept].sum())
    sign = np.where(kept, -1.0, 1.0)
    of = [k for k in range(kept.size) if not (kept[k] and len(chosen) == 1)]
    # The keep itself, then the keep with each jar added or dropped.
    keep_ethanol, keep_water = ethanol[kept].sum(), water[kept].sum()
    ethanols = np.maximum(np.concatenate([[keep_ethanol], keep_ethanol + (sign * ethanol)[of]]), 0.0)
    waters = np.maximum(np.concatenate([[keep_water], keep_water + (sign * water)[of]]), 0.0)
    volumes = np.asarray(strength.volume_from_moles(ethanols, waters))
    abvs = np.asarray(strength.abv_from_moles(ethanols, waters))
    changes = zip(of, (volumes[1:] - volumes[0]).tolist(), (abvs[1:] - abvs[0]).tolist(), strict=True)
    return Keep(
        volume_l=float(volumes[0]),
        abv=float(abvs[0]),
        ethanol_l=float(volumes[0] * abvs[0] / 100.0),
        mass_g=grams,
        jars=tuple(sorted(chosen)),
        changes=tuple(Change(jars[k].number, bool(kept[k]), v, a) for k, v, a in changes),
    )


def stretched(keep: Keep, by: Stretch | None) -> strength.Mixture:
    """Pour a keep and neutral spirit together."""
    if by is None:
        return strength.mix([keep.volume_l], [keep.abv])
    return strength.mix([keep.volume_l, by.spirit_l], [keep.abv, by.abv])


def _checked(jars: Sequence[Jar], numbers: Sequence[int]) -> set[int]:
    known = {jar.number for jar in jars}
    if not known:
        raise RequestError.of("no_jars", "jars")
    if not numbers:
        raise RequestError.of("no_jar_kept", "jars.keep", allowed=sorted(known))
    check_jars(numbers, known, "jars.keep")
    return set(numbers)


# --- Proofing: the water that brings a keep to bottling strength, in steps, and the bottles it fills.


Array = NDArray[np.float64]

MAX_STEPS = 50
COLDEST_C, WARMEST_C = 0.0, 40.0  # water is liquid, and densities are known


@dataclass(frozen=True)
class Addition:
    """One addition of water."""

    number: int  # from 1
    water_l: float  # water at 20 °C and as measured at the temperature of the room [L]
    water_at_c_l: float  # water at 20 °C and as measured at the temperature of the room [L]
    water_kg: float  # the same by mass [kg]
    volume_l: float  # volume after it at 20 °C [L]
    abv: float  # strength after it [% vol at 20 °C]
    # what the hydrometer then shows at the temperature of the room [% vol at its own]
    reading_abv: float


@dataclass(frozen=True)
class Proofing:
    """Spirit brought down to a strength with water."""

    from_l: float  # the spirit before [L at 20 °C]
    from_abv: float  # its strength [% vol at 20 °C]
    target_abv: float  # strength reached [% vol at 20 °C]
    at_c: float  # temperature of the room, the spirit and the water [°C]
    water_l: float  # water [L at 20 °C]
    water_at_c_l: float  # the same as measured at ``at_c`` [L]
    water_kg: float  # the same by mass [kg]
    volume_l: float  # volume reached [L at 20 °C]
    volume_at_c_l: float  # the same at ``at_c`` [L]
    mass_kg: float  # mass reached [kg]
    ethanol_l: float  # pure alcohol in it [L at 20 °C]
    # by how much spirit and water, at 20 °C, exceed the volume [L]; a little below zero for weak spirit
    contraction_l: float
    reading_abv: float  # what the hydrometer shows in it at ``at_c`` [% vol at ``calibrated_c``]
    additions: tuple[Addition, ...]  # the water in steps
    bottle_l: float | None  # volume of a bottle [L at 20 °C]; ``None`` if none was named
    bottles: int | None  # full bottles; ``None`` if no bottle was named
    left_over_l: float  # what fills no bottle [L at 20 °C]; all of it if no bottle was named
    notes: tuple[Note, ...]  # what to heed
    calibrated_c: float = strength.REFERENCE_C  # temperature the hydrometer is made for [°C]


@dataclass(frozen=True)
class Gauged:
    """Spirit as it was read, and what it is."""

    reading_abv: float  # what the hydrometer showed [% vol at ``calibrated_c``]
    at_c: float  # temperature of spirit and hydrometer [°C]
    calibrated_c: float  # temperature the hydrometer is made for [°C]
    abv: float  # strength [% vol at 20 °C]
    volume_l: float | None  # volume [L at 20 °C]; ``None`` where neither volume nor mass was given
    mass_kg: float | None  # the same by mass [kg]


def gauge(
    reading_abv: float,
    *,
    at_c: float,
    calibrated_c: float = strength.REFERENCE_C,
    volume_at_c_l: float | None = None,
    mass_kg: float | None = None,
) -> Gauged:
    """Return what spirit is of which the strength was read, and its volume or its mass."""
    require("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    require("calibrated_c", calibrated_c, COLDEST_C, WARMEST_C, "°C")
    require("volume", volume_at_c_l, 0, unit="L", open_low=True)
    require("mass", mass_kg, 0, unit="kg", open_low=True)
    abv = float(strength.true_abv(reading_abv, at_c, calibrated_c=calibrated_c))
    volume_l = None
    if volume_at_c_l is not None:
        volume_l = float(strength.volume_at(volume_at_c_l, abv, at_c, strength.REFERENCE_C))
        mass_kg = float(strength.mass_of(volume_l, abv))
    elif mass_kg is not None:
        volume_l = mass_kg / float(strength.mass_of(1.0, abv))
    return Gauged(reading_abv, at_c, calibrated_c, abv, volume_l, mass_kg)


def proof_down(
    volume_l: float,
    abv: float,
    target_abv: float,
    *,
    at_c: float = 20.0,
    steps: int = 1,
    bottle_l: float | None = None,
    calibrated_c: float = strength.REFERENCE_C,
) -> Proofing:
    """Return the water that brings spirit down to a strength, and what comes of it.

    Mass and ethanol mass are conserved; densities by OIML R 22 (`potsim.liquid.strength`).
    """
    require("volume", volume_l, 0, unit="L", open_low=True)
    require("abv", abv, 0, 100, VOL, open_low=True)
    require("target_abv", target_abv, 0, 100, VOL, open_low=True)
    require("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    require("steps", steps, 1, MAX_STEPS, "additions")
    require("bottle", bottle_l, 0, unit="L", open_low=True)
    if target_abv > abv + ROUNDING_ABV:
        raise RangeError.of("too_strong", "target_abv", given=target_abv, allowed=abv, of="spirit")
    abv = max(abv, target_abv)
    number = np.arange(1.0, int(steps) + 1.0)
    there = np.append(abv + (target_abv - abv) * number[:-1] / steps, target_abv)
    water = np.maximum.accumulate(np.asarray(strength.water_to_reach(volume_l, abv, there))).tolist()
    mixed = [strength.mix([volume_l, litres], [abv, 0.0]) for litres in water]
    additions = _additions(water, mixed, there, at_c, calibrated_c)
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
        notes=_notes(target_abv, additions[-1].reading_abv, at_c, calibrated_c),
        calibrated_c=calibrated_c,
    )


def from_gauged(
    read: Gauged, target_abv: float, *, steps: int = 1, bottle_l: float | None = None
) -> Proofing:
    """Return the proofing of spirit as it was read; of a litre where its amount is not known."""
    volume_l = 1.0 if read.volume_l is None else read.volume_l
    more = {"at_c": read.at_c, "calibrated_c": read.calibrated_c}
    return proof_down(volume_l, read.abv, target_abv, steps=steps, bottle_l=bottle_l, **more)


def _additions(
    water_l: Sequence[float], mixed: Sequence[strength.Mixture], abvs: Array, at_c: float, calibrated_c: float
) -> tuple[Addition, ...]:
    """Tell apart additions of which the water together, the mixture and the strength are given."""
    readings = np.asarray(strength.reading_abv(abvs, at_c, calibrated_c=calibrated_c))
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


def _notes(target_abv: float, reading_abv: float, at_c: float, calibrated_c: float) -> tuple[Note, ...]:
    shown = {"at_c": at_c, "calibrated_c": calibrated_c, "reading_abv": reading_abv, "abv": target_abv}
    return (
        *((hint("reading_away", **shown),) if at_c != calibrated_c else ()),
        *((hint("volumes_at_reference", at_c=strength.REFERENCE_C),) if at_c != strength.REFERENCE_C else ()),
        hint("rest"),
        hint("falsified_reading"),
    )


# --- The keep brought down to bottling strength, as a plan asks.


def bottle(
    bottling: Bottling, pooled: Keep, room_c: float, calibrated_c: float = strength.REFERENCE_C
) -> Proofing | None:
    """Proof a keep down."""
    if bottling.abv is None:
        return None
    mixed = stretched(pooled, bottling.stretch)
    if mixed.abv == 0.0:
        raise RequestError.of("no_alcohol_kept", "bottling.abv", given=bottling.abv, run=None)
    at_c = room_c if room_c <= WARMEST_C else strength.REFERENCE_C
    try:
        made = proof_down(
            mixed.volume_l,
            mixed.abv,
            bottling.abv,
            at_c=at_c,
            steps=bottling.steps,
            bottle_l=bottling.bottle_l,
            calibrated_c=calibrated_c,
        )
    except RangeError as error:
        error.path = "bottling.abv" if error.path == "target_abv" else error.path
        raise
    if at_c == room_c:
        return made
    hot = hint("hot_room", "still.room", room_c=room_c, at_c=at_c)
    return replace(made, notes=(hot, *made.notes))


# --- Blending spirits, and water, to a strength and a volume.


ROUNDING_ABV = 1e-9  # % vol, by which a strength worked out may differ from the same one typed


@dataclass(frozen=True)
class Part:
    """A spirit of a blend and its share of the spirits."""

    abv: float  # strength [% vol at 20 °C]
    parts: float = 1.0  # parts by volume, in proportion to the others

    def __post_init__(self) -> None:
        require("abv", self.abv, 0, 100, VOL)
        require("parts", self.parts, 0, open_low=True)


@dataclass(frozen=True)
class Blend:
    """What to pour together; all volumes at 20 °C."""

    spirits_l: tuple[float, ...]  # volume of each spirit, in the order given [L]
    water_l: float  # water [L]
    water_kg: float  # the same by mass [kg]
    volume_l: float  # volume reached [L]
    abv: float  # strength reached [% vol at 20 °C]
    contraction_l: float  # by how much the parts exceed the volume [L]; a little below zero for weak spirit


def blend_to(spirits: Sequence[Part], target_abv: float, volume_l: float) -> Blend:
    """Return how much of each spirit, in given proportions, and of water make a volume of a strength."""
    require("volume", volume_l, 0, unit="L", open_low=True)
    require("target_abv", target_abv, 0, 100, VOL, open_low=True)
    if not spirits:
        raise RequestError.of("too_few_to_blend", given=0, allowed=1)
    whole = strength.mix([s.parts for s in spirits], [s.abv for s in spirits])
    if target_abv > whole.abv + ROUNDING_ABV:
        raise RangeError.of("too_strong", "target_abv", given=target_abv, allowed=whole.abv, of="spirits")
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
    """Return how much of each of two spirits makes a volume of a strength between them."""
    require("volume", volume_l, 0, unit="L", open_low=True)
    for key, value in (("a_abv", a_abv), ("b_abv", b_abv), ("target_abv", target_abv)):
        require(key, value, 0, 100, VOL)
    low, high = min(a_abv, b_abv), max(a_abv, b_abv)
    if low == high:
        raise RangeError.of("same_strength", "b_abv", given=b_abv)
    if not low <= target_abv <= high:
        raise RangeError.of("not_between", "target_abv", given=target_abv, allowed=[low, high])
    a, b, wanted = (float(strength.w_from_abv(v)) for v in (a_abv, b_abv, target_abv))
    mass = float(strength.mass_of(volume_l, target_abv))
    a_kg = mass * (wanted - b) / (a - b)
    a_l = a_kg / float(strength.mass_of(1.0, a_abv))
    b_l = (mass - a_kg) / float(strength.mass_of(1.0, b_abv))
    return Blend((a_l, b_l), 0.0, 0.0, volume_l, target_abv, a_l + b_l - volume_l)


# --- Where the alcohol went, and what a bottle comes to.


STRETCH = "bottling.stretch"  # the spirit added before bottling, among those without a price


@dataclass(frozen=True)
class Costs:
    """Pure alcohol in and out, and money in whatever currency the prices were given."""

    alcohol_in_l: float  # pure alcohol that went in, charge and any spirit added later [L at 20 °C]
    alcohol_out_l: float  # pure alcohol in what was proofed, or kept [L at 20 °C]
    # the difference: in the pot, the heads, the tails and the jars not kept [L at 20 °C]
    alcohol_left_l: float
    bottles: int | None  # full bottles; ``None`` if no bottle was named
    spent: float | None  # spirits, botanicals and so on, without bottles; ``None`` if not said
    # what a full bottle comes to, with the bottle itself; ``None`` without ``spent`` or a full bottle
    per_bottle: float | None
    unpriced: tuple[str, ...] = ()  # spirits that are not in ``spent``, since their price is not known


def account(charge: Charge, bottling: Bottling, kept: Mixture, made: Proofing | None) -> Costs:
    """Return the account of alcohol and money of a run."""
    spirits = [part for part in charge.parts if part.abv > 0.0]
    prices = [part.price_per_l * part.volume_l for part in charge.parts if part.price_per_l is not None]
    spent = sum(prices) if prices else None
    unpriced = [part.name for part in spirits if part.price_per_l is None]
    alcohol_in_l, by = charge.ethanol_l, bottling.stretch
    if by is not None:
        alcohol_in_l += by.spirit_l * by.abv / 100.0
        unpriced.append(STRETCH)
    if made is None:
        left = max(alcohol_in_l - kept.ethanol_l, 0.0)
        found = Costs(alcohol_in_l, kept.ethanol_l, left, None, spent, None)
    else:
        found = costs(alcohol_in_l, made, spent=spent, bottle_price=bottling.bottle_price)
    return found if spent is None else replace(found, unpriced=tuple(unpriced))


def costs(
    alcohol_in_l: float, made: Proofing, *, spent: float | None = None, bottle_price: float | None = None
) -> Costs:
    """Return the account of alcohol and money of one proofing."""
    require("alcohol_in", alcohol_in_l, 0, unit="L")
    require("spent", spent, 0)
    require("bottle_price", bottle_price, 0)
    left = alcohol_in_l - made.ethanol_l
    if left < -1e-9 * made.ethanol_l:
        raise RangeError.of("more_came_out", "alcohol_in", given=alcohol_in_l, allowed=made.ethanol_l)
    per_bottle = None
    if spent is not None and made.bottles:
        per_bottle = spent / made.bottles + (bottle_price or 0.0)
    return Costs(alcohol_in_l, made.ethanol_l, max(left, 0.0), made.bottles, spent, per_bottle)
