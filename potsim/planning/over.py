"""A stop by flavour: so much of a botanical is over."""

from __future__ import annotations

import numpy as np

from potsim.errors import RequestError, require
from potsim.planning.flavours import Flavours
from potsim.planning.stops import Condition
from potsim.still.rising import Rising


def over_condition(flavours: Flavours, name: str, share: float) -> Condition:
    """Return the stop at which a share of a botanical's oil is over.

    Parameters
    ----------
    flavours : Flavours
        The run.
    name : str
        Any name of a botanical of the bill; several lines of it count together.
    share : float
        Share of what comes over of it with 99 % of the alcohol, above 0 and at most 0.999.

    Returns
    -------
    Condition
        To be looked for on the course; true within about 1e-5 of the share.

    Raises
    ------
    UnknownNameError
        If the bill holds no such botanical.
    RangeError
        If the share lies outside.
    RequestError
        If none of its oil comes over.
    """
    require(f"cuts.stop.over.{name}", share, 0, 0.999, "of what comes over (0 to 1)", open_low=True)
    carried, rows = flavours.carried, flavours.rows_called(name)
    grams = carried.rows.amount[rows]
    curve = grams @ carried.grid.over[rows]
    total = float(grams @ carried.at(np.array([flavours.alcohol_over])).over[rows, 0])
    if total <= 0.0:
        raise RequestError(
            f"cuts.stop.over: nothing of {name} comes over, so no share of it ever does.",
            "Stop by something else.",
        )
    rising = Rising(carried.depletion, curve[None], (grams @ carried.grid_rate[rows])[None])
    words = f"{100.0 * share:.4g} % of what comes over of {name} is over"
    return Condition("over", words, lambda states: rising(states.depletion)[0] / total - share)
