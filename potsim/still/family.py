"""Tables of many stills at once, so that thousands of stills that differ a little stay look-ups.

A still is told by the few numbers of `potsim.still.stills`. Tables at a handful of such places, interpolated,
serve every still between them.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.still.curves import LEAST_X, WATER_X, Curves, many_curves
from potsim.still.lookup import four_rows
from potsim.still.still import Conditions
from potsim.still.stills import REFERENCE_X, Span, Stills, reference_k
from potsim.still.walks import Tables, Walks

Array = NDArray[np.float64]

NODES, APART = 3, 0.13  # places along the ratio: so many, and one more for each such stretch of it
ROWS = 2048
FALL = 7.0  # in ln W below a pot of water, enough for 99.9 % of it to come over
LOGIT_ROWS = 512
OWN = ("y", "vapour_k", "stream_abv", "need_j_per_mol")  # columns of which each still has its own
INSIDE = 0.65  # ends of tilt and error are tabulated so far out: most stills lie within
NODE_POWER_W = 1000.0  # any would do: it cancels
COOLEST_K, WARMEST_K = 273.15, 318.15  # rooms in which a still can be tabulated


class Family:
    """Tables of the stills of a span.

    Parameters
    ----------
    span : Span
        What they are to serve; see `family`, which keeps them.

    Attributes
    ----------
    reference_k : float
        Temperature of reference [K].
    highest_x : float
        Strongest pot tabulated, mole fraction of ethanol.

    Notes
    -----
    Chebyshev points along the ratio; at each, parabolas along the tilt and along the volatility's error, and
    a straight line along the pot's part of the tilt. ln W is counted from x = 0.1. Within three standard
    deviations of 30 % in both losses, 3 K in the room and 2 % in ln alpha, all at once, x agrees with a table
    made for the still to 5e-5, without the last to 2e-6; where the pot sheds half of the power, to 5e-4.
    """

    def __init__(self, span: Span) -> None:
        self.span = span
        self.reference_k = reference_k(span.pressure_pa)
        wide = span.highest_ratio - span.lowest_ratio
        self._count = 1 if wide == 0.0 else NODES + math.ceil(wide / APART)
        unit = chebyshev.chebpts1(self._count)
        ratios = span.lowest_ratio + 0.5 * wide * (unit + 1.0)
        waves = chebyshev.chebvander(unit, self._count - 1)
        self._waves = waves * np.where(np.arange(self._count) == 0, 1.0, 2.0) / self._count
        stills = [self._conditions(r, *corner) for r in ratios for corner in self._corners()]
        tables = many_curves(stills, ROWS)
        self._tabulate(tables)

    def __reduce__(self) -> tuple[Any, ...]:
        return family, (self.span,)

    def _corners(self) -> list[tuple[float, float, float]]:
        """Tilts, pots' parts of them and errors at which each ratio is tabulated."""
        s = self.span
        middle, half, error, further = self._reaches()
        corners = [(middle, s.pot_tilt, 0.0)]
        corners += [(middle + side * half, s.pot_tilt, 0.0) for side in (-1.0, 1.0) if half > 0.0]
        corners += [(middle, s.pot_tilt, side * error) for side in (-1.0, 1.0) if error > 0.0]
        corners += [(middle, s.pot_tilt + further, 0.0)] if further > 0.0 else []
        return corners

    def _reaches(self) -> tuple[float, float, float, float]:
        """Middle of the tilt, and how far from it and from none tilt, error and pot's part are tabulated."""
        s = self.span
        middle, half = 0.5 * (s.lowest_tilt + s.highest_tilt), 0.5 * (s.highest_tilt - s.lowest_tilt)
        by_room = max(0.0, middle - s.pot_tilt - 1.0 / (self.reference_k - COOLEST_K))
        further = min(INSIDE * s.pot_tilt_reach, by_room)
        return middle, INSIDE * half, INSIDE * s.volatility_error, further

    def _conditions(self, ratio: float, tilt: float, pot_tilt: float, error: float) -> Conditions:
        """Return a still that has them."""
        by_room = max(tilt - pot_tilt, 1.0 / (self.reference_k - COOLEST_K))
        room_k = min(self.reference_k - 1.0 / by_room, WARMEST_K)
        above = self.reference_k - room_k
        pot = max(tilt - 1.0 / above, 0.0)
        net_w = NODE_POWER_W / (1.0 + pot * above)
        return Conditions(
            self.span.pressure_pa, NODE_POWER_W, ratio * net_w / above, pot * net_w, room_k, error
        )

    def _tabulate(self, tables: list[Curves]) -> None:
        """Bring all tables upon one grid in ln W and one in logit x."""
        top = tables[0].azeotrope_x  # of all: it hangs on the pressure alone
        zeros = [float(t.position(REFERENCE_X)) for t in tables]
        pairs = list(zip(tables, zeros, strict=True))
        low = min(float(t.position(WATER_X)) - zero for t, zero in pairs) - FALL
        high = min(t.last - zero for t, zero in pairs)
        ln_w = np.linspace(low, high, ROWS)
        rows = [_logit_at(t, np.clip(ln_w + zero, t.first, t.last)) for t, zero in pairs]
        ends = _logit(np.array([WATER_X, tables[0].highest_x]), top)
        logits = np.linspace(ends[0], ends[1], LOGIT_ROWS)
        x = np.minimum(top / (1.0 + np.exp(-logits)), tables[0].highest_x)
        columns = [_columns(t, t.position(x)) for t in tables]
        self.highest_x = float(top / (1.0 + np.exp(-min(row[-1] for row in rows))))
        self._ln_w = np.stack([t.position(x) - zero for t, zero in pairs], axis=1)
        self.tables = Tables(
            top_x=top,
            ln_w=(low, float(ln_w[1] - ln_w[0])),
            logit=(float(logits[0]), float(logits[1] - logits[0])),
            logits=np.stack(rows),
            common=_common(tables[0], x),
            own={name: np.stack([column[k] for column in columns]) for k, name in enumerate(OWN)},
        )

    def weights(self, stills: Stills) -> Array:
        """Share of each table in each still.

        Parameters
        ----------
        stills : Stills
            The stills, n of them.

        Returns
        -------
        ndarray, shape (n, tables)
            Rows that add up to one.

        Raises
        ------
        RangeError
            For a still outside the span.
        """
        s, at_k = self.span, self.reference_k
        ratio, tilt, error = stills.ratio(at_k), stills.tilt(at_k), stills.volatility_error
        _within("the ratio of neck heat to net power", ratio, s.lowest_ratio, s.highest_ratio)
        _within("the tilt of that ratio", tilt, s.lowest_tilt, s.highest_tilt)
        _within("volatility_error", error, -s.volatility_error, s.volatility_error)
        half = 0.5 * (s.highest_ratio - s.lowest_ratio)
        unit = (ratio - s.lowest_ratio) / half - 1.0 if half > 0 else np.zeros_like(ratio)
        along = chebyshev.chebvander(unit, self._count - 1) @ self._waves.T
        corners = self._corner_weights(tilt, error, stills.pot_tilt(at_k))
        return np.asarray((along[:, :, None] * corners[:, None, :]).reshape(ratio.size, -1))

    def _corner_weights(self, tilt: Array, error: Array, pot_tilt: Array) -> Array:
        """Parabolas along the tilt and along the error, a straight line along the pot's part."""
        middle, half, most, further = self._reaches()
        centre = np.ones_like(tilt)
        ends = []
        for away, reach in ((tilt - middle, half), (error, most)):
            if reach > 0.0:
                u = away / reach
                centre = centre - u**2
                ends += [0.5 * u * (u - 1.0), 0.5 * u * (u + 1.0)]
        if further > 0.0:
            u = (pot_tilt - self.span.pot_tilt) / further
            centre = centre - u
            ends.append(u)
        return np.stack([centre, *ends], axis=1)

    def position(self, charge_x: Array, weights: Array) -> Array:
        """Where charges stand in the tables of their stills.

        Parameters
        ----------
        charge_x : ndarray, shape (n,)
            Mole fraction of ethanol in the pot; 0 stands for water.
        weights : ndarray, shape (n, tables)
            From `weights`.

        Returns
        -------
        ndarray, shape (n,)
            ln W, counted from x = 0.1.

        Raises
        ------
        RangeError
            If a pot is stronger than the tables hold.
        """
        _within("the charge's mole fraction of ethanol", charge_x, 0.0, self.highest_x)
        v = _logit(np.maximum(charge_x, WATER_X), self.tables.top_x)
        row, shares = four_rows(v, *self.tables.logit, LOGIT_ROWS)
        near = self._ln_w[row[:, None] + np.arange(4)]  # (n, 4, tables)
        at = np.einsum("nrk,rn,nk->n", near, np.stack(shares), weights, optimize=True)
        return np.asarray(at)

    def walks(self, charge_x: Array, stills: Stills) -> Walks:
        """Put a charge into each still.

        Parameters
        ----------
        charge_x : ndarray, shape (n,)
            Mole fraction of ethanol in each charge.
        stills : Stills
            As many, under the family's pressure.

        Returns
        -------
        Walks
            What comes of each.

        Raises
        ------
        RangeError
            For a charge or a still outside the family.

        Examples
        --------
        >>> base = Conditions(power_w=700.0, neck_loss_w_per_k=0.6)
        >>> necks = Stills.like(base, neck_loss_w_per_k=np.array([0.4, 0.6, 0.8]))
        >>> walks = family(Span.over(necks, base.pressure_pa)).walks(np.full(3, 0.15), necks)
        >>> walks.at(np.array([0.0]))("stream_abv").round(1).tolist()
        [[79.5], [79.9], [80.3]]
        """
        charge_x = np.broadcast_to(np.asarray(charge_x, dtype=float), stills.power_w.shape)
        weights = self.weights(stills)
        position = self.position(charge_x, weights)
        return Walks(self.tables, weights, position, stills)


@lru_cache(maxsize=8)
def family(span: Span) -> Family:
    """Return the tables of the stills of a span, made at the first call and kept.

    Parameters
    ----------
    span : Span
        What they are to serve.

    Returns
    -------
    Family
        About 10 ms for each of its tables, of which there are up to 48.
    """
    return Family(span)


def family_over(conditions: Conditions, lowest_w_per_k: float, highest_w_per_k: float) -> Family:
    """Return the tables of stills that are alike but for the neck's loss.

    Parameters
    ----------
    conditions : Conditions
        What they have in common.
    lowest_w_per_k, highest_w_per_k : float
        Neck losses between which they lie [W/K].

    Returns
    -------
    Family
        Of two dozen tables at the most; `Stills.like` gives the stills to ask it for.

    Raises
    ------
    RangeError
        If the neck would take more than 0.6 of the net power.
    """
    ends = Stills.like(conditions, neck_loss_w_per_k=np.array([lowest_w_per_k, highest_w_per_k]))
    at_k = reference_k(conditions.pressure_pa)
    ratio, tilt = ends.ratio(at_k), float(ends.tilt(at_k)[0])
    pot = tilt - 1.0 / (at_k - conditions.room_k)
    error = abs(conditions.volatility_error)
    return family(Span(conditions.pressure_pa, float(ratio[0]), float(ratio[1]), tilt, tilt, pot, error))


def _logit_at(table: Curves, ln_w: Array) -> Array:
    """Return logit x along a table; what is next to nothing near its lower end stays a number."""
    return _logit(np.maximum(table.at(ln_w).x, LEAST_X), table.azeotrope_x)


def _common(table: Curves, x: Array) -> dict[str, Array]:
    """Columns that hang on the pot and the pressure alone."""
    row = table.at(table.position(x))
    return {"pot_k": row.pot_k, "pot_abv": row.pot_abv}


def _columns(table: Curves, ln_w: Array) -> tuple[Array, ...]:
    """Columns of `OWN`; the last is the heat taken by each mole that leaves the neck."""
    row, c = table.at(ln_w), table.conditions
    shed_w = c.pot_loss_w_per_k * (row.pot_k - c.room_k) + c.neck_loss_w_per_k * (row.vapour_k - c.room_k)
    return row.y, row.vapour_k, row.stream_abv, (c.power_w - shed_w) / row.rate


def _logit(x: float | Array, top: float) -> Array:
    return np.asarray(np.log(x) - np.log(top - x))


def _within(what: str, values: Array, low: float, high: float) -> None:
    room = 1e-9 * max(abs(low), abs(high))
    fine = (values >= low - room) & (values <= high + room)
    if not np.all(fine):
        worst = float(values[~fine].flat[0])
        raise RangeError(what, f"{worst:.4g}", f"{low:.4g} to {high:.4g}", "Ask for a wider family.")
