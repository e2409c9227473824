"""Cuts by what comes over: what heads take of the base spirit; stops that wait for a flavour or a haze."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from potsim.errors import SHARE, RangeError, RequestError, require
from potsim.planning.botanicals import Level, volatiles
from potsim.planning.charge import between
from potsim.planning.cloud import cloudy_condition
from potsim.planning.flavours import Cut, Flavours
from potsim.planning.plan import Ingredient, Stop
from potsim.planning.stops import Condition, End, conditions, locate
from potsim.records import dataclass
from potsim.still.course import Rising


@dataclass(frozen=True)
class HeadsCut:
    """A heads cut of one size."""

    heads_l: float  # its volume [L at 20 °C]
    abv: float  # its strength [% vol]
    ethanol_l: float  # pure alcohol in it [L at 20 °C]
    ethanol_share: float  # that as a share of the alcohol charged, 0 to 1
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
    require("heads", volume_l, 0, unit="L", open_low=True)
    at = course.first(lambda states: states.collected_l - volume_l)
    if at is None:
        most = float(course.at(flavours.carried.depletion[-1:]).collected_l[0])
        raise RangeError.of("all_heads", "cuts.heads", given=volume_l, allowed=most)
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


# --- Stops by what comes over: so much of a botanical is over, all that counts has faded, the stream is hazy.


SOONEST_FADED = 0.25  # of the distillate, before which a stop by fading is refused


def over_condition(flavours: Flavours, name: str, share: float) -> Condition:
    """Return the stop at which a share of a botanical's oil is over."""
    require(f"cuts.stop.over.{name}", share, 0, 0.999, SHARE, open_low=True)
    carried, rows = flavours.carried, flavours.rows_called(name)
    grams = carried.rows.amount[rows]
    curve = grams @ carried.grid.over[rows]
    total = float(grams @ carried.at(np.array([flavours.alcohol_over])).over[rows, 0])
    if total <= 0.0:
        raise RequestError.of("nothing_over", "cuts.stop.over", given=name)
    rising = Rising(carried.depletion, curve[None], (grams @ carried.grid_rate[rows])[None])
    waits = {"botanical": name, "value": share}
    return Condition("over", waits, lambda states: rising(states.depletion)[0] / total - share)


def faded_condition(flavours: Flavours, heads_l: float) -> Condition:
    """Return the stop at which all that would be noticed in the bottle has given nearly all it gives.

    Who counts is found from a keep of all that comes over after the heads; the late class is left out.
    """
    course, over = flavours.course, flavours.alcohol_over
    heads = course.first(lambda states: states.collected_l - heads_l) if heads_l > 0.0 else 0.0
    if heads is None or heads >= over:
        most_l = float(course.at(np.array([over])).collected_l[0])
        raise RequestError.of("all_heads", "cuts.heads", given=heads_l, allowed=most_l)
    whole_l = between(course, heads, over).volume_l
    whole = flavours.cut_at(Cut(over, heads, ((heads, over),), (whole_l,), (0,), whole_l))
    faded = whole.faded
    if faded is None:
        raise RequestError.of("nothing_fades", "cuts.stop.faded")
    at, end_l = (float(course.at(np.array([s])).collected_l[0]) for s in (faded, over))
    if at < SOONEST_FADED * end_l:
        values = {"distillate_l": end_l, "share": SOONEST_FADED}
        raise RequestError.of("fades_early", "cuts.stop.faded", given=at, **values)
    return Condition("faded", {"late": _late(whole, faded)}, lambda states: states.depletion - faded)


def _late(whole: Flavours, faded: float) -> list[dict[str, Any]]:
    """Late botanicals that would be noticed: whether they lead, and the share over when the others fade."""
    there, in_all = whole.lines_over(np.array([faded, whole.alcohol_over])).T
    return [
        {
            "botanical": whole.labels[k],
            "leads": whole.noticed[k] == "leads",
            "share": float(there[k] / in_all[k]),
        }
        for k, one in enumerate(whole.classes)
        if whole.noticed[k] in ("leads", "clear") and one.klass == "late"
    ]


def wanted(
    stop: Stop, flavours: Flavours, heads_l: float, cloud_shift: float | None = None
) -> list[Condition]:
    """Return the conditions of a stop."""
    found = conditions(stop, flavours.course)
    found += [over_condition(flavours, name, share) for name, share in stop.over.items()]
    if stop.cloudy and flavours.compound_ids:
        found.append(cloudy_condition(flavours, cloud_shift))
    if stop.faded:
        found.append(faded_condition(flavours, heads_l))
    return found


def keep_end_depletion(
    tails_from: Stop | None, flavours: Flavours, end: End, heads_l: float, cloud_shift: float | None = None
) -> float:
    """Return the depletion at which the keep ends."""
    if tails_from is None:
        return end.depletion
    conditions = wanted(tails_from, flavours, heads_l, cloud_shift)
    found = [locate(flavours.course, one, "cuts.tails_from") for one in conditions]
    return min([end.depletion, *(at for at in found if at is not None)])
