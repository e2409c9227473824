"""What one glass that hazed teaches of how much oil a spirit keeps clear."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from potsim.errors import VOL, require
from potsim.liquid.clouding import MOST_SEEN, Knowing, Load, Oils, loads
from potsim.liquid.pure import Array, within
from potsim.liquid.solubility import COLDEST_C, ROOM_C, WARMEST_C, Own

MOST_TAUGHT = 2.5  # standard deviations that a glass may move the forecast by
MOST_SHIFT = 2.0  # decades that are carried to another batch


class Taught(NamedTuple):
    """What one glass teaches.

    Parameters
    ----------
    seen : float
        Shift of all solubilities that puts the limit of this batch where its glass hazed [decades].
    believed : float
        What of it is carried to the next batch: the rest is the lot's, or the eye's.
    bounded : bool
        Whether more was seen than lots and solubilities can explain, so that less is carried.
    """

    seen: float
    believed: float
    bounded: bool


def let_down(
    oils: Oils, g_per_l: Array, abv: float, to_abv: float, own: Own | None = None, at_c: float = ROOM_C
) -> Load:
    """Return the load of one spirit let down to a strength.

    Parameters
    ----------
    oils, g_per_l, abv, own, at_c
        See `limit`.
    to_abv : float
        Strength [% vol], more than 0 and at most ``abv``.

    Returns
    -------
    Load
        One value.

    Raises
    ------
    RangeError
        If a strength or the temperature lies outside.
    """
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    require("clouded_at", to_abv, 0.0, abv, VOL, open_low=True)
    require("abv", abv, 0.0, 100.0, VOL, open_low=True, of="let_down")
    return loads(oils, (g_per_l / float(abv) * to_abv)[:, None], np.array([float(to_abv)]), own, at_c)


def learn(seen: Load, shift_log10: float = 0.0, knowing: Knowing = "nothing") -> Taught:
    """Return what a haze says of the solubilities.

    Parameters
    ----------
    seen : Load
        Of the spirit in which it was first seen, where it was seen: one value.
    shift_log10, knowing
        What earlier glasses have taught.

    Returns
    -------
    Taught
        The shift, positive where the spirit stays clear further down than computed.

    Notes
    -----
    Where the haze shows first the load is 1; what is computed there is the shift seen. Of what that adds to
    the earlier shift, the share ``covariance of both batches / (lasting + passing + reading variance)`` is
    the best linear guess for a next batch of other doses; of what is seen beyond 2.5 spreads about the
    earlier one, nothing is carried.
    """
    if float(seen.value[0]) <= 0.0:
        return Taught(shift_log10, shift_log10, False)
    more = math.log10(float(seen.value[0])) - shift_log10
    most = MOST_TAUGHT * float(seen.spread(knowing)[0])
    cut = min(max(more, -most), most)
    gain = float(seen.gain(knowing)[0])
    believed = min(max(shift_log10 + gain * cut, -MOST_SHIFT), MOST_SHIFT)
    found = min(max(shift_log10 + more, -MOST_SEEN), MOST_SEEN)
    return Taught(found, believed, abs(more) > most)
