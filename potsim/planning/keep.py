"""The keep: jars poured together, and what one more or one less would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning.jars import Jar
from potsim.planning.plan import Stretch


@dataclass(frozen=True)
class Change:
    """What a jar more or less does to the keep.

    Parameters
    ----------
    number : int
        The jar.
    kept : bool
        Whether it is in the keep, so that the change is that of dropping it; else that of adding it.
    volume_l : float
        By how much the keep becomes larger; smaller if negative [L at 20 °C].
    abv : float
        By how much it becomes stronger; weaker if negative [% vol].
    """

    number: int
    kept: bool
    volume_l: float
    abv: float


@dataclass(frozen=True)
class Keep:
    """Jars poured together.

    Parameters
    ----------
    volume_l : float
        Volume at 20 °C [L]; a little less than that of the jars, by the contraction.
    abv : float
        Strength [% vol at 20 °C].
    ethanol_l : float
        Pure alcohol [L at 20 °C].
    mass_g : float
        Mass [g].
    jars : tuple of int
        Numbers of the jars, rising.
    changes : tuple of Change
        One for each jar of the run; a jar that is the whole keep has none.
    """

    volume_l: float
    abv: float
    ethanol_l: float
    mass_g: float
    jars: tuple[int, ...]
    changes: tuple[Change, ...]


def pool(jars: Sequence[Jar], numbers: Sequence[int] = ()) -> Keep:
    """Pour jars together.

    Parameters
    ----------
    jars : sequence of Jar
        All jars of a run.
    numbers : sequence of int
        Those that are kept; all between heads and tails if left out.

    Returns
    -------
    Keep
        Mass and ethanol add up, volumes do not.

    Raises
    ------
    RequestError
        If a jar is named twice or does not exist, or if none lies between heads and tails.
    """
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
    """Pour a keep and neutral spirit together.

    Parameters
    ----------
    keep : Keep
        The keep.
    by : Stretch or None
        The spirit by which it is stretched; ``None`` for none.

    Returns
    -------
    Mixture
        What is then let down to bottling strength.
    """
    if by is None:
        return strength.mix([keep.volume_l], [keep.abv])
    return strength.mix([keep.volume_l, by.spirit_l], [keep.abv, by.abv])


def _checked(jars: Sequence[Jar], numbers: Sequence[int]) -> set[int]:
    known = {jar.number for jar in jars}
    if not known:
        raise RequestError("jars: there are none to pool.", "Let the run last until a jar is filled.")
    there = f"There are jars 1 to {max(known)}."
    if not numbers:
        raise RequestError("jars.keep: no jar lies between heads and tails.", there)
    chosen: set[int] = set()
    for number in numbers:
        if number not in known:
            raise RequestError(f"jars.keep names jar {number}, which this run does not have.", there)
        if number in chosen:
            raise RequestError(f"jars.keep names jar {number} twice.", "Name every jar once.")
        chosen.add(number)
    return chosen
