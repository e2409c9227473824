"""What a heads cut takes away of the base spirit's own volatiles, and what it costs in alcohol."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from potsim.errors import RangeError
from potsim.planning.botanicals import Level, volatiles
from potsim.planning.charge import between
from potsim.planning.flavours import Flavours
from potsim.planning.plan import Ingredient
from potsim.records import dataclass


@dataclass(frozen=True)
class HeadsCut:
    """A heads cut of one size."""

    heads_l: float  # its volume [L at 20 °C] and strength [% vol]
    abv: float  # its volume [L at 20 °C] and strength [% vol]
    ethanol_l: float  # pure alcohol in it [L at 20 °C], and that as a share of the alcohol charged, 0 to 1
    # pure alcohol in it [L at 20 °C], and that as a share of the alcohol charged, 0 to 1
    ethanol_share: float
    # compound id to the share of it that the cut takes, of all in the charge, 0 to 1
    taken: Mapping[str, float]


def in_charge(parts: Sequence[Ingredient], level: Level = "typical") -> dict[str, float]:
    """Return what the base spirits of a charge bring of each volatile."""
    total: dict[str, float] = {}
    for part in parts:
        for name, grams in volatiles(part.kind, part.volume_l * part.abv / 100.0, level).items():
            total[name] = total.get(name, 0.0) + grams
    return total


def heads_table(flavours: Flavours, heads_l: Sequence[float]) -> tuple[HeadsCut, ...]:
    """Return what heads cuts of several sizes take.

    Only what was in the charge is counted, not the botanicals. Methanol is no heads compound: from a
    charge of usual strength a heads cut takes about as much of it as of the alcohol.
    """
    return tuple(_cut(flavours, volume) for volume in heads_l)


def _cut(flavours: Flavours, volume_l: float) -> HeadsCut:
    course = flavours.course
    at = course.first(lambda states: states.collected_l - volume_l) if volume_l > 0.0 else None
    if at is None:
        most = float(course.at(flavours.carried.depletion[-1:]).collected_l[0])
        raise RangeError("heads", f"{volume_l:g} L", f"more than 0 and at most {most:.3g} L", "Take less.")
    portion = between(course, 0.0, at)
    charged = course.charge_mol * course.charge_x
    over = flavours.over_by_row([(0.0, at)])[:, 0]
    rows = flavours.carried.rows
    return HeadsCut(
        heads_l=volume_l,
        abv=portion.abv,
        ethanol_l=portion.ethanol_l,
        ethanol_share=portion.ethanol_mol / charged if charged > 0.0 else 0.0,
        taken={
            flavours.compound_ids[rows.compound[row]]: float(over[row] / rows.amount[row])
            for row in flavours.rows_of(0)
            if rows.amount[row] > 0.0
        },
    )
