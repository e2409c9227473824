"""A neck learnt from a published series: one number for heat shed over net power."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.optimize import minimize_scalar

from potsim.interfaces.evidence.core import Comparison, compare
from potsim.interfaces.evidence.still import SINGLE_STAGE, groening_pairs, spout_abv
from potsim.still.still import Conditions, Stills, reference_k

MOST_LOSS = 5.0  # W/K at 1,000 W: far more than any bare neck of that size


def comparisons() -> list[Comparison]:
    """Return what this module compares."""
    pot, spout = groening_pairs()
    still = fitted_still()
    single, learnt = misfit(SINGLE_STAGE), misfit(still)
    return [
        compare(
            "spout against pot, neck heat over net power fitted",
            "Groening, early 19th century, in Cooley, Cyclopaedia of Practical Receipts, vol. 1",
            "% vol",
            spout,
            spout_abv(pot, still),
            2.0,
            role="fitted",
            criterion="rms",
            note=f"neck heat {100.0 * neck_share(still):.1f} % of the net power; rms {learnt:.1f} % vol "
            f"against {single:.1f} of a single stage, {learnt / single:.2f} of it; historical scale, "
            "about 2 % vol uncertain",
        )
    ]


@cache
def fitted_still() -> Conditions:
    """Return the still whose neck meets Groening's series best, all else as in a single stage."""
    found = minimize_scalar(lambda loss: misfit(_with_neck(loss)), bounds=(0.0, MOST_LOSS), method="bounded")
    return _with_neck(float(found.x))


def _with_neck(loss_w_per_k: float) -> Conditions:
    return Conditions(neck_loss_w_per_k=loss_w_per_k)


def misfit(still: Conditions) -> float:
    """Return the root mean square by which a still misses Groening's series [% vol]."""
    pot, spout = groening_pairs()
    return float(np.sqrt(np.mean((spout_abv(pot, still) - spout) ** 2)))


def neck_share(still: Conditions) -> float:
    """Return a still's neck heat over its net power, at the family's temperature of reference."""
    return float(Stills.like(still).ratio(reference_k(still.pressure_pa))[0])
