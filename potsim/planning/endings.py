"""All that can end a run or its keep: by the course, by flavour, by cloud."""

from __future__ import annotations

from potsim.planning.cloud import cloudy_condition
from potsim.planning.flavours import Flavours
from potsim.planning.over import over_condition
from potsim.planning.plan import Stop
from potsim.planning.stops import Condition, End, conditions, locate


def wanted(stop: Stop, flavours: Flavours) -> list[Condition]:
    """Return the conditions of a stop.

    Parameters
    ----------
    stop : Stop
        As in the plan.
    flavours : Flavours
        The run and what it carries over.

    Returns
    -------
    list of Condition
        One for each key and each botanical named.
    """
    found = conditions(stop, flavours.course)
    found += [over_condition(flavours, name, share) for name, share in stop.over.items()]
    if stop.cloudy and flavours.compound_ids:
        found.append(cloudy_condition(flavours))
    return found


def keep_end(tails_from: Stop | None, flavours: Flavours, end: End) -> float:
    """Return the depletion at which the keep ends.

    Parameters
    ----------
    tails_from : Stop or None
        As in the plan.
    flavours : Flavours
        The run and what it carries over.
    end : End
        Where the run ends.

    Returns
    -------
    float
        Where tails begin; the end of the run if the plan names no tails or they come later.
    """
    if tails_from is None:
        return end.depletion
    found = [locate(flavours.course, one, "cuts.tails_from") for one in wanted(tails_from, flavours)]
    return min([end.depletion, *(at for at in found if at is not None)])
