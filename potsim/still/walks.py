"""Charges in many stills, followed at once along the tables of a family."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from potsim.still.lookup import four_rows
from potsim.still.stills import Stills

Array = NDArray[np.float64]
Rows = tuple[NDArray[np.intp], tuple[Array, Array, Array, Array]]

MARGIN = 8  # rows made beyond those asked for
ONE_THREAD = 250_000  # multiplications; OpenBLAS shares larger products among threads


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
            self.made[name] = _product(self.weights, self.columns[name][:, self.low : self.high])
        return self.made[name]

    def read(self, table: Array, found: Rows) -> Array:
        """Read one of the tables made, shape (n, m)."""
        row, shares = found
        start = row + (np.arange(row.shape[0]) * table.shape[1] - self.low)[:, None]
        return _cubic(table.ravel(), start, shares)


class Walks:
    """What becomes of one charge in each of n stills.

    Parameters
    ----------
    tables : Tables
        The family's.
    weights : ndarray, shape (n, tables)
        Share of each table in each still.
    position : ndarray, shape (n,)
        ln W at which each charge begins.
    stills : Stills
        The stills, n of them.

    Notes
    -----
    Each still gets tables of its own, by one product of matrices, over the rows that its walk needs.
    """

    def __init__(self, tables: Tables, weights: Array, position: Array, stills: Stills) -> None:
        self.tables, self.position, self.stills = tables, position, stills
        self._weights = weights
        self._along = _Mixed(weights, {"logit": tables.logits}, tables.ln_w)
        self._across = _Mixed(weights, tables.own, tables.logit)

    def where(self, chosen: NDArray[np.bool_]) -> Walks:
        """Return some of the walks."""
        stills = self.stills.where(chosen)
        return Walks(self.tables, self._weights[chosen], self.position[chosen], stills)

    def at(self, depletion: Array) -> Look:
        """Look all walks up.

        Parameters
        ----------
        depletion : ndarray, shape (m,) or (n, m)
            ln(W0 / W), 0 to that of exhaustion.

        Returns
        -------
        Look
            Gives any column on call, and the clock.
        """
        return Look(self, self.position[:, None] - depletion)

    def logit(self, place: Array) -> tuple[Array, Rows]:
        """Logit of the pot at places [ln W], shape (n, m), and where that stands along ln W."""
        found = self._along.find(place)
        return self._along.read(self._along.table("logit"), found), found

    def column(self, name: str, found: Rows) -> Array:
        """Read a column at what `across` found."""
        if name in self.tables.common:
            row, shares = found
            return _cubic(self.tables.common[name], row, shares)
        return self._across.read(self._across.table(name), found)

    def across(self, logit: Array) -> Rows:
        """Find logits, shape (n, m), in the tables along v; weaker pots than these are all but water."""
        return self._across.find(np.maximum(logit, self.tables.logit[0]))

    def clock(self, found: Rows) -> Array:
        """Seconds for each mole charged, from an arbitrary zero; falls along the walk."""
        along = self._along
        if "clock" not in along.made:
            along.made["clock"] = self._clock()
        return along.read(along.made["clock"], found)

    def _clock(self) -> Array:
        """Integrate W / rate up the rows along ln W, exact for cubics."""
        along, s = self._along, self.stills
        look = self.across(along.table("logit"))
        room_k = s.room_k[:, None]
        net_w = s.power_w[:, None] - s.pot_loss_w_per_k[:, None] * (self.column("pot_k", look) - room_k)
        if s.neck_loss_w_per_k.any():
            net_w = net_w - s.neck_loss_w_per_k[:, None] * (self.column("vapour_k", look) - room_k)
        first, step = along.grid
        left = np.exp(first + step * np.arange(along.low, along.high) - self.position[:, None])
        f = left * self.column("need_j_per_mol", look) / net_w
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

    def seconds(self) -> Array:
        """Time since each charge began to come over [s for each mole charged]."""
        walks = self._walks
        _, begin = walks.logit(walks.position[:, None])
        return np.asarray(walks.clock(begin) - walks.clock(self._along))


def _product(left: Array, right: Array) -> Array:
    """Product of matrices in blocks too small for a second thread, which would only wait for the first."""
    out = np.empty((left.shape[0], right.shape[1]))
    block = max(1, ONE_THREAD // right.size)
    for k in range(0, left.shape[0], block):
        np.matmul(left[k : k + block], right, out=out[k : k + block])
    return out


def _cubic(values: Array, start: NDArray[np.intp], shares: tuple[Array, Array, Array, Array]) -> Array:
    total = values.take(start)
    total *= shares[0]
    for k in (1, 2, 3):
        part = values[k:].take(start)
        part *= shares[k]
        total += part
    return np.asarray(total)
