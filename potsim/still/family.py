"""Tables of many stills at once, so that thousands of stills that differ a little stay look-ups."""

from __future__ import annotations

import math
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.lookup import four_rows, product
from potsim.still.still import REFERENCE_X, Conditions, Span, Stills, reference_k
from potsim.still.tables import LEAST_X, WATER_X, Curves, many_curves

Rows = tuple[NDArray[np.intp], tuple[Array, Array, Array, Array]]

MARGIN = 8  # rows made beyond those asked for


@dataclass(frozen=True)
class Tables:
    """Tables of a family.

    Parameters
    ----------
    top_x : float
        Azeotrope, to which the logit ``v = ln(x / (top_x - x))`` refers.
    ln_w, logit : tuple of float
        First row and step of rows along ln W and along v.
    logits : ndarray, shape (tables, rows along ln W)
        v of the pot.
    common : dict of str to ndarray, shape (rows along v,)
        Columns that all stills share.
    own : dict of str to ndarray, shape (tables, rows along v)
        Columns that differ from still to still.
    """

    top_x: float
    ln_w: tuple[float, float]
    logit: tuple[float, float]
    logits: Array
    common: dict[str, Array]
    own: dict[str, Array]


class _Mixed:
    """Tables of n stills, each a weighted sum of the family's, made over the rows that are asked for."""

    def __init__(self, weights: Array, columns: dict[str, Array], grid: tuple[float, float]) -> None:
        self.weights, self.columns, self.grid = weights, columns, grid
        self.count = next(iter(columns.values())).shape[1]
        self.low, self.high = self.count, 0
        self.made: dict[str, Array] = {}

    def find(self, position: Array) -> Rows:
        """Find the four rows around each position, shape (n, m), and their shares."""
        row, shares = four_rows(position, *self.grid, self.count)
        low, high = int(row.min()), int(row.max()) + 4
        if low < self.low or high > self.high:
            self.low = min(self.low, max(0, low - MARGIN))
            self.high = max(self.high, min(self.count, high + MARGIN))
            self.made.clear()
        return row, shares

    def table(self, name: str) -> Array:
        """The rows made of a column, shape (n, rows)."""
        if name not in self.made:
            self.made[name] = product(self.weights, self.columns[name][:, self.low : self.high])
        return self.made[name]

    def read(self, table: Array, found: Rows, which: NDArray[np.intp]) -> Array:
        """Read one of the tables made, shape (n, m), each row in that of the still named."""
        row, shares = found
        start = row + (which * table.shape[1] - self.low)[:, None]
        return _cubic(table.ravel(), start, shares)


class Walks:
    """What becomes of one charge in each of n stills.

    Parameters
    ----------
    tables : Tables
        The family's.
    weights : ndarray, shape (k, tables)
        Share of each table in each different still.
    position : ndarray, shape (n,)
        ln W at which each charge begins.
    kinds : Stills
        The different stills, k of them.
    which : ndarray of int, shape (n,)
        Which of them each charge is in.

    Notes
    -----
    Each still gets tables of its own, by one product of matrices, over the rows that its walks need.
    """

    def __init__(
        self, tables: Tables, weights: Array, position: Array, kinds: Stills, which: NDArray[np.intp]
    ) -> None:
        self.tables, self.position, self.kinds, self.which = tables, position, kinds, which
        self._weights = weights
        self._along = _Mixed(weights, {"logit": tables.logits}, tables.ln_w)
        self._across = _Mixed(weights, tables.own, tables.logit)

    @property
    def stills(self) -> Stills:
        """The still of each walk."""
        return self.kinds.where(self.which)

    def where(self, chosen: NDArray[np.bool_]) -> Walks:
        """Return some of the walks."""
        kept, which = np.unique(self.which[chosen], return_inverse=True)
        kinds = self.kinds.where(kept)
        return Walks(self.tables, self._weights[kept], self.position[chosen], kinds, which)

    def at(self, depletion: Array) -> Look:
        """Look all walks up at depletions ln(W0 / W), shape (m,) or (n, m), up to exhaustion."""
        return Look(self, self.position[:, None] - depletion)

    def logit(self, place: Array) -> tuple[Array, Rows]:
        """Logit of the pot at places [ln W], shape (n, m), and where that stands along ln W."""
        found = self._along.find(place)
        return self._along.read(self._along.table("logit"), found, self.which), found

    def column(self, name: str, found: Rows, which: NDArray[np.intp] | None = None) -> Array:
        """Read a column at what `across` found; in the stills named, if not each walk in its own."""
        if name in self.tables.common:
            row, shares = found
            return _cubic(self.tables.common[name], row, shares)
        return self._across.read(self._across.table(name), found, self.which if which is None else which)

    def across(self, logit: Array) -> Rows:
        """Find logits, shape (n, m), in the tables along v; weaker pots than these are all but water."""
        return self._across.find(np.maximum(logit, self.tables.logit[0]))

    def rate(self, found: Rows, stills: Stills, which: NDArray[np.intp] | None = None) -> Array:
        """What leaves the neck at what `across` found [mol/s], each row in the still named."""
        of = (stills.power_w, stills.pot_loss_w_per_k, stills.neck_loss_w_per_k, stills.room_k)
        power, pot, neck, room_k = (each[:, None] for each in of)
        net_w = power - pot * (self.column("pot_k", found) - room_k)
        if neck.any():
            net_w -= neck * (self.column("vapour_k", found, which) - room_k)
        return np.asarray(net_w / self.column("need_j_per_mol", found, which))

    def clock(self, found: Rows) -> Array:
        """Seconds for each mole charged, from an arbitrary zero; falls along the walk."""
        along = self._along
        if "clock" not in along.made:
            along.made["clock"] = self._clock()
        return along.read(along.made["clock"], found, self.which) * np.exp(-self.position)[:, None]

    def _clock(self) -> Array:
        """Integrate W / rate up the rows along ln W, exact for cubics; for a charge at ln W = 0."""
        along, s, every = self._along, self.kinds, np.arange(self._weights.shape[0])
        first, step = along.grid
        left = np.exp(first + step * np.arange(along.low, along.high))
        f = left / self.rate(self.across(along.table("logit")), s, every)
        out = np.zeros_like(f)
        out[:, 1] = (5.0 * f[:, 0] + 8.0 * f[:, 1] - f[:, 2]) / 12.0
        out[:, 2:-1] = (13.0 * (f[:, 1:-2] + f[:, 2:-1]) - f[:, :-3] - f[:, 3:]) / 24.0
        out[:, -1] = (5.0 * f[:, -1] + 8.0 * f[:, -2] - f[:, -3]) / 12.0
        return np.asarray(np.cumsum(out, axis=1) * step)


class Look:
    """Walks at given places; shape (n, m).

    Parameters
    ----------
    walks : Walks
        The walks.
    place : ndarray, shape (n, m)
        ln W, counted as in the tables.
    """

    def __init__(self, walks: Walks, place: Array) -> None:
        self._walks = walks
        self._logit, self._along = walks.logit(place)

    @cached_property
    def _across(self) -> Rows:
        return self._walks.across(self._logit)

    @property
    def x(self) -> Array:
        """Mole fraction of ethanol in the pot."""
        return np.asarray(self._walks.tables.top_x / (1.0 + np.exp(-self._logit)))

    def __call__(self, name: str) -> Array:
        """Return ``pot_k``, ``pot_abv`` or a column of `potsim.still.family.OWN`."""
        return self._walks.column(name, self._across)

    def rate(self) -> Array:
        """What leaves the neck [mol/s]."""
        return self._walks.rate(self._across, self._walks.stills)

    def seconds(self) -> Array:
        """Time since each charge began to come over [s for each mole charged]."""
        walks = self._walks
        _, begin = walks.logit(walks.position[:, None])
        return np.asarray(walks.clock(begin) - walks.clock(self._along))


def _cubic(values: Array, start: NDArray[np.intp], shares: tuple[Array, Array, Array, Array]) -> Array:
    total = values.take(start)
    total *= shares[0]
    for k in (1, 2, 3):
        part = values[k:].take(start)
        part *= shares[k]
        total += part
    return np.asarray(total)


# --- The tables of a span of stills.


NODES, APART = 3, 0.13  # places along the ratio: so many, and one more for each such stretch of it
ROWS = 2048
FALL = 7.0  # in ln W below a pot of water, enough for 99.9 % of it to come over
LOGIT_ROWS = 512
# Columns of which each still has its own.
OWN = ("y", "vapour_k", "stream_abv", "reflux", "x_reflux", "need_j_per_mol")
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
        _within("ratio", ratio, s.lowest_ratio, s.highest_ratio)
        _within("tilt", tilt, s.lowest_tilt, s.highest_tilt)
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
        _within("charge_x", charge_x, 0.0, self.highest_x)
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
        >>> import numpy as np
        >>> from potsim.still.family import family
        >>> from potsim.still.still import Conditions, Span, Stills
        >>> base = Conditions(power_w=700.0, neck_loss_w_per_k=0.6)
        >>> necks = Stills.like(base, neck_loss_w_per_k=np.array([0.4, 0.6, 0.8]))
        >>> walks = family(Span.over(necks, base.pressure_pa)).walks(np.full(3, 0.15), necks)
        >>> walks.at(np.array([0.0]))("stream_abv").round(1).tolist()
        [[79.5], [79.9], [80.3]]
        """
        charge_x = np.broadcast_to(np.asarray(charge_x, dtype=float), stills.power_w.shape)
        kinds, which = stills.different()
        weights = self.weights(kinds)
        position = self.position(charge_x, weights[which])
        return Walks(self.tables, weights, position, kinds, which)


@lru_cache(maxsize=8)
def family(span: Span) -> Family:
    """Return the tables of a span, up to 48 of about 10 ms each, made at the first call and kept."""
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
    return row.y, row.vapour_k, row.stream_abv, row.reflux, row.x_reflux, (c.power_w - shed_w) / row.rate


def _logit(x: float | Array, top: float) -> Array:
    return np.asarray(np.log(x) - np.log(top - x))


def _within(what: str, values: Array, low: float, high: float) -> None:
    room = 1e-9 * max(abs(low), abs(high))
    fine = (values >= low - room) & (values <= high + room)
    if not np.all(fine):
        worst = float(values[~fine].flat[0])
        raise RangeError.of("range", what, given=worst, allowed=[low, high], unit="", of="family")
