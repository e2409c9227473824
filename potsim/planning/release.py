"""How fast a botanical gives up its oil: part and preparation decide, nothing else.

The rates are rough and fixed beforehand (see ``release_rates.csv``): a factor of 2.5 either way. They are
the same for every compound, which is a simplification: in published water distillation some compounds
leave the plant later than their volatility would have it (limonene after carvone in caraway). In a
basket the rate of the pot is taken for want of a better one. Strength of the spirit is not considered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

from potsim.data import read_table
from potsim.errors import UnknownNameError, require
from potsim.planning.botanicals import PREPARED, Botanical, Level, Prepared, ResolvedDose, Spread, Where
from potsim.records import dataclass


@dataclass(frozen=True)
class ReleaseRate:
    """First-order release from one kind of material in one preparation."""

    per_min: Spread  # rate in boiling spirit [1/min]
    cold_ratio: float  # rate at room temperature over that at the boil
    source: str  # where the figures come from
    confidence: str  # where the figures come from


@dataclass(frozen=True)
class ReleaseTerm:
    """What one dose releases, ready to be integrated over a run."""

    botanical_id: str  # what releases it
    oil_g: Mapping[str, float]  # compound id to the amount releasable in all [g]
    share_in_liquid: float  # share of it that is in the charge before the still is lit, 0 to 1
    rate_per_s: float  # first-order rate at which the rest is released at the boil [1/s]
    where: Where  # whether it is released into the liquid or into the rising vapour


@cache
def release_rates() -> Mapping[tuple[str, str], ReleaseRate]:
    """Return the rates by category and preparation."""
    return {
        (row["category"], row["prepared"]): ReleaseRate(
            Spread(float(row["per_min_low"]), float(row["per_min_typical"]), float(row["per_min_high"])),
            float(row["cold_ratio"]),
            row["source"],
            row["confidence"],
        )
        for row in read_table("release_rates.csv")
    }


def release_rate(botanical: Botanical, prepared: Prepared) -> ReleaseRate:
    """Return the release rate of a botanical with its range and source."""
    if prepared not in PREPARED:
        raise UnknownNameError("preparation", prepared, PREPARED)
    return release_rates()[botanical.category, prepared]


def rate_per_min(botanical: Botanical, prepared: Prepared, level: Level = "typical") -> float:
    """Return the first-order release rate in boiling spirit [1/min]."""
    return release_rate(botanical, prepared).per_min.at(level)


def share_macerated(
    botanical: Botanical, prepared: Prepared, macerated_h: float, level: Level = "typical"
) -> float:
    """Return the share of the oil that maceration has moved into the liquid, 0 to 1.

    ``1 - exp(-c q t)``, c the rate at the boil and q the ratio of the rate in the cold to it.
    """
    require("botanical.macerated", macerated_h, 0, 1e4, "h")
    rate = release_rate(botanical, prepared)
    return -math.expm1(-rate.per_min.at(level) * rate.cold_ratio * macerated_h * 60)


def release_term(resolved: ResolvedDose, level: Level = "typical") -> ReleaseTerm:
    """Return what a resolved dose releases, ready to be integrated over a run."""
    botanical, prepared = resolved.botanical, resolved.prepared
    return ReleaseTerm(
        botanical_id=botanical.id,
        oil_g=resolved.oil_g,
        share_in_liquid=share_macerated(botanical, prepared, resolved.dose.macerated_h, level),
        rate_per_s=rate_per_min(botanical, prepared, level) / 60,
        where=resolved.dose.where,
    )
