"""How much of a botanical it takes to be noticed beside this very bill: solved, not scaled.

More of one brings more fat, which holds back all, and changes what the others are measured against.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from potsim.planning.botanicals import ResolvedDose
from potsim.planning.flavours import Flavours, predict
from potsim.planning.noticed import CLEAR, HINT, LEAST_TIMES

ROUNDS = 12
CLOSE = 1e-3  # of the logarithm of what is wanted
FURTHEST = 1e4  # times the dose, beyond which it is not looked for


class NoticedDoses(NamedTuple):
    """Doses of one line of a bill, as it is weighed [g].

    Parameters
    ----------
    now_g : float
        The dose of the plan.
    hint_g, clear_g : float or None
        From which on it is a hint, and clear, in the bottle; None where no dose does that.
    """

    now_g: float
    hint_g: float | None
    clear_g: float | None


def noticed_doses(flavours: Flavours, line: int) -> NoticedDoses:
    """Return the doses at which a botanical is just a hint, and just clear, beside the rest of the bill."""
    now_g = flavours.bill[line].wet_mass_g
    if now_g <= 0.0 or float(flavours.in_bottle[line]) <= 0.0:
        return NoticedDoses(now_g, None, None)
    known = {0.0: flavours.in_bottle}
    by_share = {share: _solved(flavours, line, share, 0.0, known) for share in (HINT, CLEAR)}
    by_times = _solved(flavours, line, 0.0, LEAST_TIMES, known)
    hint = [one for one in (by_share[HINT], by_times) if one is not None]
    clear = by_share[CLEAR]
    return NoticedDoses(
        now_g,
        now_g * math.exp(max(hint)) if len(hint) == 2 else None,
        None if clear is None else now_g * math.exp(clear),
    )


def _solved(
    flavours: Flavours, line: int, share: float, times: float, known: dict[float, np.ndarray]
) -> float | None:
    """Logarithm of the factor on the dose at which a share, or times-threshold, is reached, by secants."""
    if share > 0.0 and len(flavours.bill) == 1:
        return None

    def beyond(log_factor: float) -> float:
        if log_factor not in known:
            known[log_factor] = _bottle(flavours, line, math.exp(log_factor))
        found = known[log_factor]
        mine, rest = float(found[line]), float(found.sum() - found[line])
        if share > 0.0:
            return math.log(mine / rest) - math.log(share / (1.0 - share)) if rest > 0.0 else math.inf
        return math.log(mine / times)

    a, fa = 0.0, beyond(0.0)
    if not math.isfinite(fa):
        return None
    b = min(max(-fa, -math.log(FURTHEST)), math.log(FURTHEST))
    for _ in range(ROUNDS):
        fb = beyond(b)
        if abs(fb) < CLOSE:
            return b
        if fb == fa:
            return None
        a, fa, b = b, fb, b - fb * (b - a) / (fb - fa)
        if abs(b) > math.log(FURTHEST):
            return None
    return None


def _bottle(flavours: Flavours, line: int, factor: float) -> np.ndarray:
    """Times-threshold in the bottle with so many times the dose of one line."""
    bill = list(flavours.bill)
    bill[line] = _times(bill[line], factor)
    other = predict(flavours.course, bill, flavours.in_charge, flavours.own)
    return other.cut_at(flavours.cut).in_bottle


def _times(dose: ResolvedDose, factor: float) -> ResolvedDose:
    return replace(
        dose,
        dry_mass_g=factor * dose.dry_mass_g,
        wet_mass_g=factor * dose.wet_mass_g,
        oil_g={name: factor * grams for name, grams in dose.oil_g.items()},
    )
