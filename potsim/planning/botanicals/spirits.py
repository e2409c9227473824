"""What a base spirit brings besides ethanol and water, by its kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from potsim.data import read_table
from potsim.errors import UnknownNameError, require
from potsim.planning.botanicals.botanical import Level, Spread
from potsim.planning.botanicals.names import key


@dataclass(frozen=True)
class Volatile:
    """One volatile of a kind of base spirit.

    Parameters
    ----------
    compound_id : str
        Row of ``compounds.csv``.
    g_per_hl : Spread
        Content in grams per hectolitre of pure alcohol.
    covers : str
        What it stands for besides the compound named; may be empty.
    source, confidence : str
        Where the figures come from.
    """

    compound_id: str
    g_per_hl: Spread
    covers: str
    source: str
    confidence: str


@cache
def spirit_kinds() -> Mapping[str, tuple[Volatile, ...]]:
    """Return the kinds of base spirit and their volatiles."""
    kinds: dict[str, list[Volatile]] = {}
    for row in read_table("base_spirits.csv"):
        content = Spread(
            float(row["g_per_hl_low"]), float(row["g_per_hl_typical"]), float(row["g_per_hl_high"])
        )
        kinds.setdefault(row["kind"], []).append(
            Volatile(row["compound_id"], content, row["covers"], row["source"], row["confidence"])
        )
    return {kind: tuple(rows) for kind, rows in kinds.items()}


def composition(kind: str) -> tuple[Volatile, ...]:
    """Return the volatiles of a kind of base spirit with their ranges and sources.

    Parameters
    ----------
    kind : str
        One of `spirit_kinds`; case, hyphens and spaces do not count.

    Raises
    ------
    UnknownNameError
        If there is no such kind; the known ones are named.
    """
    for known, rows in spirit_kinds().items():
        if key(known) == key(kind):
            return rows
    raise UnknownNameError("kind of base spirit", kind, spirit_kinds())


def volatiles(kind: str | None, ethanol_l: float, level: Level = "typical") -> dict[str, float]:
    """Return what a base spirit brings of each volatile [g].

    Parameters
    ----------
    kind : str or None
        Kind of spirit; ``None`` (not said): nothing is followed.
    ethanol_l : float
        Pure alcohol in it [L at 20 °C].
    level : {'low', 'typical', 'high'}
        Which end of the range; spirits of one kind differ by several times.

    Returns
    -------
    dict of str to float
        Compound id to grams; empty if the kind is not said.

    Raises
    ------
    UnknownNameError
        If there is no such kind.
    RangeError
        If the alcohol is negative.

    Examples
    --------
    >>> round(volatiles("wine", 1.0)["methanol"], 3)
    0.5
    """
    require("alcohol of the base spirit", ethanol_l, 0, 1e6, "L")
    if kind is None:
        return {}
    return {v.compound_id: v.g_per_hl.at(level) * ethanol_l / 100 for v in composition(kind)}
