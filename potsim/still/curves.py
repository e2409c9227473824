"""All that a still does as functions of ln W, tabulated once, looked up ever after.

Rayleigh's equation ``d ln W = dx / (y_D(x) - x)`` makes the composition of the pot a function of the
logarithm of what is left in it. A run of any charge is then a walk along one table: it starts where the
charge's composition stands and moves down by as much as ``ln W`` falls.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import equilibrium, strength
from potsim.still.balance import Balance, balance, balances
from potsim.still.lookup import BLOCK, SmoothFit, UniformTable, difference, running_integral
from potsim.still.still import Conditions

Array = NDArray[np.float64]

NODES = 96  # compositions at which the balances are solved
ROWS = 4096  # rows of the look-up table
SCALE_X = 0.02  # composition over which the vapour curve bends most; nodes crowd below it
CLOSEST_TO_AZEOTROPE = 0.03  # mole fraction; 1 % vol. Nearer, a simple pot hardly separates any more
WATER_X = 1e-9  # a charge of water stands here, and its ethanol is then called none
WATER_FALL = 7.0  # in ln W below that, enough for 99.9 % of such a charge to come over
LEAST_X = 1e-300  # the end of what a number can tell; reached only if the neck returns 94 % of the vapour


class Row(NamedTuple):
    """What a still does at points of its table.

    ``x``, ``y``: mole fractions of pot and distillate; ``x_reflux``; ``reflux``: share of the vapour;
    ``pot_k``, ``vapour_k`` [K]; ``rate`` [mol/s]; ``condenser_w`` [W]; ``pot_abv``, ``stream_abv`` [% vol];
    ``clock`` [s for each exp(ln W) mol].
    """

    x: Array
    y: Array
    x_reflux: Array
    reflux: Array
    pot_k: Array
    vapour_k: Array
    rate: Array
    condenser_w: Array
    pot_abv: Array
    stream_abv: Array
    clock: Array


COLUMNS = Row._fields


class Curves:
    """The curves of a still under given conditions.

    Parameters
    ----------
    conditions : Conditions
        Pressure, power, losses and room.
    known : tuple of float and Balance, optional
        Azeotrope and balances at the nodes, where they are known already.
    rows : int, optional
        Rows of the table; enough for 1e-8 in x if left out.

    Attributes
    ----------
    lowest_x, highest_x : float
        Weakest and strongest pot tabulated, mole fraction of ethanol.
    first, last : float
        Ends of the table in ln W; ln W is counted from an arbitrary zero.

    Notes
    -----
    The vapour is written ``y_D - x = x (x_az - x) phi(x)`` with a smooth positive ``phi``, so that both
    singular ends of Rayleigh's integral are integrated exactly:
    ``ln W = A ln x - B ln(1 - x / x_az) + smooth`` with ``A = 1 / (x_az phi(0))``,
    ``B = 1 / (x_az phi(x_az))``.
    """

    def __init__(
        self, conditions: Conditions, known: tuple[float, Balance] | None = None, rows: int | None = None
    ) -> None:
        self.conditions = conditions
        self.azeotrope_x, nodes = known or _solved(conditions)
        self.highest_x = self.azeotrope_x - CLOSEST_TO_AZEOTROPE
        top = float(np.arcsinh(self.azeotrope_x / SCALE_X))
        rise = nodes.y_distillate - nodes.x
        self._phi = SmoothFit(0.0, top, rise / (nodes.x * (self.azeotrope_x - nodes.x)))
        self._set_integral(top)
        self._tabulate(_fits(nodes, top), rows or ROWS)

    def _set_integral(self, top: float) -> None:
        """Fit the smooth rest of Rayleigh's integral, as a function of z."""
        x_az = self.azeotrope_x
        phi_0, phi_az = self._phi(np.array([0.0, top]))
        self._a, self._b = 1.0 / (x_az * phi_0), 1.0 / (x_az * phi_az)
        z = SmoothFit.points(0.0, top, 2 * NODES)
        x = SCALE_X * np.sinh(z)
        whole = 1.0 / self._phi(z)  # of 1 / (x (x_az - x) phi), the two poles taken out
        rest = (whole - self._a * (x_az - x) - self._b * x) / (x * (x_az - x))
        self._smooth = SmoothFit(0.0, top, rest * SCALE_X * np.cosh(z)).integral()

    def _ln_w(self, x: Array) -> Array:
        poles = self._a * np.log(x) - self._b * np.log1p(-x / self.azeotrope_x)
        return np.asarray(poles + self._smooth(np.arcsinh(x / SCALE_X)))

    def _tabulate(self, fits: SmoothFit, rows: int) -> None:
        x_az = self.azeotrope_x
        # Towards water x falls as exp(ln W / a): the stronger the reflux, the further.
        self.lowest_x = max(LEAST_X, float(WATER_X * np.exp(-WATER_FALL / self._a)))
        ends = self._ln_w(np.array([self.lowest_x, self.highest_x]))
        ln_w = np.linspace(ends[0], ends[1], rows)
        self.first, self.last = float(ln_w[0]), float(ln_w[-1])
        self.step = float(ln_w[1] - ln_w[0])
        x = self._invert(ln_w)
        z = np.arcsinh(x / SCALE_X)
        pot_k, vapour_k, needed, reflux, reflux_ratio, condenser = fits(z)
        rise = x * (x_az - x) * self._phi(z)
        rate = 1.0 / needed
        columns = {
            "x": x,
            "y": x + rise,
            "pot_k": pot_k,
            "vapour_k": vapour_k,
            "rate": rate,
            "reflux": reflux,
            "x_reflux": x * reflux_ratio,
            "condenser_w": condenser * rate,
            "pot_abv": np.asarray(strength.abv_from_x(x)),
            "stream_abv": np.asarray(strength.abv_from_x(x + rise)),
        }
        # Seconds for a pot that holds exp(ln W) moles to come down to each row, from the top of the table.
        spent = running_integral(self.step, np.exp(ln_w) / rate)
        columns["clock"] = spent[-1] - spent
        values = np.stack([columns[name] for name in COLUMNS], axis=1)
        slopes = difference(values)
        slopes[:, COLUMNS.index("x")] = self.step * rise  # Rayleigh's equation
        self._table = UniformTable(self.first, self.step, values, slopes / self.step)
        strengths = np.stack([columns["stream_abv"], columns["pot_abv"]], axis=1)
        self._strengths = UniformTable(self.first, self.step, strengths)

    def _invert(self, ln_w: Array) -> Array:
        """Composition at each ln W, by Newton's method in ln(x / (x_az - x))."""
        x_az = self.azeotrope_x
        v_ends = [np.log(x / (x_az - x)) for x in (self.lowest_x, self.highest_x)]
        v = np.concatenate([np.linspace(v_ends[0], -12.0, 60), np.linspace(-11.9, v_ends[1], 600)])
        start = self._ln_w(_logistic(v, x_az))
        v = np.interp(ln_w, start, v)
        for _ in range(3):
            x = _logistic(v, x_az)
            slope = 1.0 / (x_az * self._phi(np.arcsinh(x / SCALE_X)))  # d ln W / dv
            v = v - (self._ln_w(x) - ln_w) / slope
        return _logistic(v, x_az)

    def position(self, x: float | Array) -> Array:
        """Where a pot of given composition stands in the table.

        Parameters
        ----------
        x : float or ndarray
            Mole fraction of ethanol; 0 stands for water.

        Returns
        -------
        ndarray
            ln W, from the table's own zero; shape of ``x``.

        Raises
        ------
        RangeError
            If a pot is stronger than the table holds.
        """
        x = np.asarray(x, dtype=float)
        if not np.all((x >= 0.0) & (x <= self.highest_x)):
            worst = float(np.max(x)) if np.all(np.isfinite(x)) else float("nan")
            given = (
                f"{float(strength.abv_from_x(min(worst, 1.0))):.1f} % vol" if 0 <= worst <= 1 else f"{worst}"
            )
            most = float(strength.abv_from_x(self.highest_x))
            raise RangeError(
                "the strength of the pot",
                given,
                f"0 to {most:.1f} % vol at this pressure",
                "Let the charge down with water: so near the azeotrope a pot no longer separates.",
            )
        return self._ln_w(np.maximum(x, WATER_X))

    def at(self, ln_w: Array) -> Row:
        """Look everything up.

        Parameters
        ----------
        ln_w : ndarray
            Positions inside the table; or below it, if it ends where numbers do.

        Returns
        -------
        Row
            Arrays of the shape of ``ln_w``.

        Notes
        -----
        Only a neck that returns nearly all vapour brings a pot to the end of what numbers can tell. From
        there on it is water: nothing changes but the clock, which goes on at the rate reached.
        """
        if self.lowest_x > LEAST_X:
            return Row(*self._table(ln_w))
        row = Row(*self._table(np.maximum(ln_w, self.first)))
        beyond = np.exp(self.first) - np.exp(np.minimum(ln_w, self.first))
        return row._replace(clock=row.clock + beyond / row.rate)

    def distil(self, charge_x: Array, left: Array) -> tuple[Array, Array]:
        """Strength of stream and pot for many charges at once.

        Parameters
        ----------
        charge_x : ndarray, shape (n,)
            Mole fraction of ethanol in each charge.
        left : ndarray, shape (m,)
            Shares of the charge's moles still in the pot, above 0.001 and at most 1.

        Returns
        -------
        stream_abv, pot_abv : ndarray, shape (n, m)
            Strengths [% vol].
        """
        start, fall = self.position(charge_x), np.log(left)
        shape = (start.size, fall.size)
        stream, pot = np.empty(shape), np.empty(shape)
        many = max(1, BLOCK // fall.size)
        for k in range(0, start.size, many):
            block = slice(k, k + many)
            stream[block], pot[block] = self._strengths(start[block, None] + fall)
        return stream, pot


def _nodes(pressure_pa: float) -> tuple[float, Array]:
    """Azeotrope, and the compositions at which balances are solved."""
    azeotrope_x = float(equilibrium.azeotrope(pressure_pa).x)
    z = SmoothFit.points(0.0, float(np.arcsinh(azeotrope_x / SCALE_X)), NODES)
    return azeotrope_x, SCALE_X * np.sinh(z)


def _solved(conditions: Conditions) -> tuple[float, Balance]:
    azeotrope_x, x = _nodes(conditions.pressure_pa)
    return azeotrope_x, balance(x, conditions)


def many_curves(conditions: Sequence[Conditions], rows: int) -> list[Curves]:
    """Return the curves of many stills, made together.

    Parameters
    ----------
    conditions : sequence of Conditions
        The stills, under one pressure; all with a loss of the neck, or none.
    rows : int
        Rows of each table.

    Returns
    -------
    list of Curves
        One for each.
    """
    azeotrope_x, x = _nodes(conditions[0].pressure_pa)
    states = balances(x, conditions)
    return [Curves(one, (azeotrope_x, state), rows) for one, state in zip(conditions, states, strict=True)]


def _logistic(v: Array, top: float) -> Array:
    return np.asarray(top / (1.0 + np.exp(-v)))


def _fits(nodes: Balance, top: float) -> SmoothFit:
    """Smooth functions of z: temperatures, seconds a mole, reflux, x_reflux / x, heat a mole."""
    columns = [
        nodes.pot_k,
        nodes.vapour_k,
        1.0 / nodes.rate_mol_per_s,
        nodes.reflux,
        nodes.x_reflux / nodes.x,
        nodes.condenser_w / nodes.rate_mol_per_s,
    ]
    return SmoothFit(0.0, top, np.stack(columns, axis=1))


@lru_cache(maxsize=64)
def curves(conditions: Conditions) -> Curves:
    """Return the curves of a still, tabulated at the first call and kept.

    Parameters
    ----------
    conditions : Conditions
        Pressure, power, losses and room.

    Returns
    -------
    Curves
        The table.
    """
    return Curves(conditions)
