"""What a simple pot does at one composition of its boiling liquid: vapour, reflux, rate and heat.

The neck sheds heat to the room; the condensate that runs back leaves in equilibrium with the vapour that
goes on. Material and energy balances over pot and neck fix the reflux. The amount in the pot cancels, so
that everything here is a function of the pot's composition alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, fields
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from potsim.errors import ConvergenceError, RangeError, RequestError, require
from potsim.liquid import equilibrium, heat, strength
from potsim.liquid.boiling import Boiling
from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.lookup import BLOCK, SmoothFit, UniformTable, difference, product, running_integral
from potsim.still.still import Conditions

TOLERANCE = 1e-9  # of the neck's heat, or of the reflux composition, in the search for it
ROUNDING = 1e-12  # of the power: a heat so small is none


@dataclass(frozen=True)
class Balance:
    """State of pot and neck at given pot compositions; all arrays of one shape.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol in the pot.
    y : ndarray
        Mole fraction in the vapour that leaves the pot.
    y_distillate : ndarray
        Mole fraction in the vapour that leaves the neck.
    x_reflux : ndarray
        Mole fraction in the liquid that runs back.
    reflux : ndarray
        Share of the pot's vapour that runs back, 0 to 1.
    pot_k, vapour_k : ndarray
        Bubble point of the pot and dew point of the distillate [K].
    rate_mol_per_s : ndarray
        Moles that leave the neck each second.
    condenser_w : ndarray
        Heat that the condenser carries off, cooling the distillate to the room [W].
    """

    x: Array
    y: Array
    y_distillate: Array
    x_reflux: Array
    reflux: Array
    pot_k: Array
    vapour_k: Array
    rate_mol_per_s: Array
    condenser_w: Array


def balance(x: Array, conditions: Conditions) -> Balance:
    """Solve the balances of pot and neck.

    Parameters
    ----------
    x : ndarray
        Mole fraction of ethanol in the boiling pot, above 0 and below the azeotrope.
    conditions : Conditions
        Pressure, power, losses and room.

    Returns
    -------
    Balance
        Arrays of the shape of ``x``.

    Raises
    ------
    RangeError
        If there is no ethanol in the pot.
    RequestError
        If the losses at the boiling point of water take all the power.
    ConvergenceError
        If the reflux is not found.

    Notes
    -----
    With ``V`` moles leaving the pot each second, ``r`` of them running back as ``x_r`` and ``D`` going on
    as ``y_D``: ``y = r x_r + (1 - r) y_D``; ``y_D = y_eq(x_r)``;
    ``V [H_V(y) - r h_L(x_r) - (1 - r) H_V(y_D)] = UA_neck (T_vapour - T_room)``;
    ``D [H_V(y_D) - h_L(x) - h_L'(x) (y_D - x)] = power - Q_pot - Q_neck``.
    """
    refuse_weak_heat(conditions)
    c = conditions
    heats = _Heats(
        c.pressure_pa, c.power_w, c.neck_loss_w_per_k, c.pot_loss_w_per_k, c.room_k, c.volatility_error
    )
    at = np.asarray(x, dtype=float)
    if not np.all((at > 0.0) & (at <= 1.0)):
        raise RangeError.of("water_alone", "x", given=float(at.min()))
    return _balance(at, heats)


def balances(x: Array, conditions: Sequence[Conditions]) -> list[Balance]:
    """Solve the balances of many stills at once: far quicker than one after the other.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Mole fraction of ethanol in the boiling pot, the same for all.
    conditions : sequence of Conditions
        The stills, under one pressure; all with a loss of the neck, or none.

    Returns
    -------
    list of Balance
        One for each, as from `balance`.

    Raises
    ------
    RequestError
        If the losses of one at the boiling point of water take all its power.
    ConvergenceError
        If the reflux is not found.
    """
    for one in conditions:
        refuse_weak_heat(one)
    rows = np.array([astuple(one) for one in conditions])
    heats = _Heats(conditions[0].pressure_pa, *rows[:, 1:].T[:, :, None])
    both, shape = _balance(x, heats), (len(conditions), x.size)
    columns = [np.broadcast_to(getattr(both, field.name), shape) for field in fields(Balance)]
    return [Balance(*(column[k] for column in columns)) for k in range(len(conditions))]


@dataclass(frozen=True)
class _Heats:
    """Fields of `Conditions`; all but the pressure may be columns, one row a still."""

    pressure_pa: float
    power_w: float | Array
    neck_loss_w_per_k: float | Array
    pot_loss_w_per_k: float | Array
    room_k: float | Array
    volatility_error: float | Array


def _balance(x: Array, heats: _Heats) -> Balance:
    pot = _Pot(x, heats)
    neck = _solve_reflux(pot) if np.any(heats.neck_loss_w_per_k) else pot.without_reflux()
    cooled = heat.liquid_enthalpy(neck.y_distillate, heats.room_k)
    return Balance(
        x=x,
        y=pot.y,
        y_distillate=neck.y_distillate,
        x_reflux=neck.x_reflux,
        reflux=neck.reflux,
        pot_k=pot.temperature_k,
        vapour_k=neck.vapour_k,
        rate_mol_per_s=neck.rate,
        condenser_w=neck.rate * (neck.vapour_enthalpy - cooled),
    )


@lru_cache(maxsize=256)
def _water_boils_k(pressure_pa: float) -> float:
    return float(equilibrium.bubble_point(0.0, pressure_pa)[0])


def refuse_weak_heat(conditions: Conditions, key: str = "still.power") -> None:
    """Refuse conditions under which a pot of water would not come over, by the key that gave the power."""
    boiling_k = _water_boils_k(conditions.pressure_pa)
    shed = (conditions.neck_loss_w_per_k + conditions.pot_loss_w_per_k) * (boiling_k - conditions.room_k)
    if conditions.power_w <= shed:
        raise RequestError.of("shed_by_both", key, given=conditions.power_w, allowed=shed)


def _boiling(x: Array, heats: _Heats, start_k: Array | None = None) -> Boiling:
    """A boiling liquid of ethanol and water, its volatility bent by the error told."""
    state = equilibrium.boil(x, np.full_like(x, heats.pressure_pa), equilibrium.excess(), start_k)
    if not np.any(heats.volatility_error):
        return state
    more = 1.0 + heats.volatility_error
    ratio = x / (1.0 - x) * np.exp(more * state.ln_volatility)
    return state._replace(y=ratio / (1.0 + ratio), volatility_slope=more * state.volatility_slope)


@dataclass(frozen=True)
class _Neck:
    x_reflux: Array
    y_distillate: Array
    vapour_k: Array
    reflux: Array
    vapour_enthalpy: Array
    rate: Array
    residual: Array


class _Pot:
    """The boiling liquid and its vapour, before the neck."""

    def __init__(self, x: Array, heats: _Heats) -> None:
        self.x = x
        self.heats = heats
        self.state = _boiling(x, heats)
        self.temperature_k, self.y = self.state.temperature_k, self.state.y
        self.vapour_enthalpy = np.asarray(heat.vapour_enthalpy(self.y, self.temperature_k))
        self.liquid_enthalpy = np.asarray(heat.liquid_enthalpy(x, self.temperature_k))
        warming = heat.liquid_heat_capacity(x, self.temperature_k) * self.state.temperature_slope
        self.slope = heat.liquid_enthalpy_slope(x, self.temperature_k) + warming  # dh_L/dx on the way

    def without_reflux(self) -> _Neck:
        """Balance if nothing ran back."""
        return self._neck(self.x, self.state, np.zeros_like(self.x))

    def neck(self, part: Array, start_k: Array) -> _Neck:
        """Balance for a reflux composition ``x + part (y - x)``; the residual is zero at the solution [W]."""
        x_r = self.x + part * (self.y - self.x)
        over = _boiling(x_r, self.heats, start_k)
        return self._neck(x_r, over, (over.y - self.y) / (over.y - x_r))

    def _neck(self, x_r: Array, over: Boiling, reflux: Array) -> _Neck:
        c, y_d, vapour_k = self.heats, over.y, over.temperature_k
        on = np.asarray(heat.vapour_enthalpy(y_d, vapour_k))
        back = np.asarray(heat.liquid_enthalpy(x_r, vapour_k))
        neck_w = c.neck_loss_w_per_k * (vapour_k - c.room_k)
        pot_w = c.pot_loss_w_per_k * (self.temperature_k - c.room_k)
        needed = on - self.liquid_enthalpy - self.slope * (y_d - self.x)
        rate = (c.power_w - pot_w - neck_w) / needed
        given_up = self.vapour_enthalpy - reflux * back - (1.0 - reflux) * on
        return _Neck(x_r, y_d, vapour_k, reflux, on, rate, rate * given_up - (1.0 - reflux) * neck_w)

    def first_part(self, bare: _Neck) -> Array:
        """About where the reflux lies: its share of the vapour over how much richer its own vapour is."""
        condensed = -bare.residual / (bare.rate * (self.vapour_enthalpy - self.liquid_enthalpy))
        richer = self.state.volatility_slope + 1.0 / (self.x * (1.0 - self.x))  # d logit y / dx
        return np.asarray(condensed / (richer * self.y * (1.0 - self.y)))


def _solve_reflux(pot: _Pot) -> _Neck:
    """Find the part of the way from x to y at which the reflux lies: the secant method inside a bracket."""
    bare = pot.without_reflux()
    scale = np.maximum(np.abs(bare.residual), ROUNDING * pot.heats.power_w / TOLERANCE)
    low, high, done = np.zeros_like(scale), np.ones_like(scale), np.zeros(scale.shape, dtype=bool)
    before, f_before = low, bare.residual
    part, start_k = np.minimum(pot.first_part(bare), 0.5), np.broadcast_to(pot.temperature_k, scale.shape)
    for _ in range(60):
        neck = pot.neck(part, start_k)
        f, start_k = neck.residual, neck.vapour_k
        low, high = np.where(f < 0.0, part, low), np.where(f < 0.0, high, part)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = part - f * (part - before) / (f - f_before)
        settled = np.abs(step - part) <= TOLERANCE * part  # near the azeotrope rounding ends the search
        done |= settled | (np.abs(f) <= TOLERANCE * scale)
        if np.all(done):
            return neck
        before, f_before = part, f
        inside = (step > low) & (step < high)  # not so of what is no number
        part = np.where(done, part, np.where(inside, step, 0.5 * (low + high)))
    raise ConvergenceError.of("not_converged", of="reflux")


# --- All that a still does as functions of ln W, tabulated once, looked up ever after.


NODES = 96  # compositions at which the balances are solved
ROWS = 4096  # rows of the look-up table
SCALE_X = 0.02  # composition over which the vapour curve bends most; nodes crowd below it
BESIDE = 8  # rows made beyond what is asked for of a part of the table
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
        Rows of the whole table; enough for 1e-8 in x if left out.
    between : tuple of float, optional
        Weakest and strongest pot that is asked for, mole fractions; of the rest no rows are made.

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
        self,
        conditions: Conditions,
        known: tuple[float, Balance] | None = None,
        rows: int | None = None,
        between: tuple[float, float] | None = None,
    ) -> None:
        self.conditions = conditions
        self.azeotrope_x, nodes = known or _solved(conditions)
        self.highest_x = self.azeotrope_x - CLOSEST_TO_AZEOTROPE
        top = float(np.arcsinh(self.azeotrope_x / SCALE_X))
        rise = nodes.y_distillate - nodes.x
        self._phi = SmoothFit(0.0, top, rise / (nodes.x * (self.azeotrope_x - nodes.x)))
        self._set_integral(top)
        self._tabulate(_fits(nodes, top), rows or ROWS, between)

    def _set_integral(self, top: float) -> None:
        """Fit the smooth rest of Rayleigh's integral, as a function of z."""
        x_az = self.azeotrope_x
        phi_0, phi_az = self._phi.ends
        self._a, self._b = 1.0 / (x_az * phi_0), 1.0 / (x_az * phi_az)
        z = SmoothFit.points(0.0, top, 2 * NODES)
        x = SCALE_X * np.sinh(z)
        whole = 1.0 / self._phi(z)  # of 1 / (x (x_az - x) phi), the two poles taken out
        rest = (whole - self._a * (x_az - x) - self._b * x) / (x * (x_az - x))
        self._smooth = SmoothFit(0.0, top, rest * SCALE_X * np.cosh(z)).integral()

    def _ln_w(self, x: Array) -> Array:
        poles = self._a * np.log(x) - self._b * np.log1p(-x / self.azeotrope_x)
        return np.asarray(poles + self._smooth(np.arcsinh(x / SCALE_X)))

    def _tabulate(self, fits: SmoothFit, rows: int, between: tuple[float, float] | None) -> None:
        x_az = self.azeotrope_x
        # Towards water x falls as exp(ln W / a): the stronger the reflux, the further.
        self.lowest_x = max(LEAST_X, float(WATER_X * np.exp(-WATER_FALL / self._a)))
        whole = (self.lowest_x, self.highest_x)
        *ends, low, high = self._ln_w(np.clip([*whole, *(between or whole)], *whole))
        if between is not None:
            step = (ends[1] - ends[0]) / (rows - 1)
            ends = [max(ends[0], low - BESIDE * step), min(ends[1], high + BESIDE * step)]
            rows = max(int((ends[1] - ends[0]) / step), 2 * BESIDE)
        ln_w = np.linspace(ends[0], ends[1], rows)
        self.first, self.last = float(ln_w[0]), float(ln_w[-1])
        self.step = float(ln_w[1] - ln_w[0])
        x = self._invert(ln_w, between)
        waves = fits.waves(np.arcsinh(x / SCALE_X))
        together = np.column_stack([fits.coefficients, self._phi.coefficients])
        pot_k, vapour_k, needed, reflux, reflux_ratio, condenser, phi = product(waves, together).T
        rise = x * (x_az - x) * phi
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

    def _invert(self, ln_w: Array, between: tuple[float, float] | None) -> Array:
        """Composition at each ln W, by Newton's method in ln(x / (x_az - x))."""
        x_az = self.azeotrope_x
        lowest, highest = (np.log(x / (x_az - x)) for x in (self.lowest_x, self.highest_x))
        v = np.concatenate([np.linspace(lowest, -12.0, 60), np.linspace(-11.9, highest, 600)])
        if between is not None:
            low, high = (np.log(x / (x_az - x)) for x in np.clip(between, self.lowest_x, self.highest_x))
            first, last = np.searchsorted(v, [low - 1.0, high + 1.0])  # more than the rows beside
            v = v[max(first - 1, 0) : last + 1]
        x = _logistic(v, x_az)
        start, slope = self._ln_w(x), x_az * self._phi(np.arcsinh(x / SCALE_X))  # dv / d ln W
        k = np.clip(np.searchsorted(start, ln_w) - 1, 0, start.size - 2)
        wide = start[k + 1] - start[k]
        t = (ln_w - start[k]) / wide
        low, high = slope[k] * wide, slope[k + 1] * wide
        rise = v[k + 1] - v[k]
        v = v[k] + t * (low + t * (3.0 * rise - 2.0 * low - high + t * (low + high - 2.0 * rise)))
        x = _logistic(v, x_az)  # to 1e-7 by Hermite's cubics; one step squares that
        v = v - (self._ln_w(x) - ln_w) * x_az * self._phi(np.arcsinh(x / SCALE_X))
        return _logistic(v, x_az)

    def covers(self, ln_w: float) -> bool:
        """Whether a position lies in the table."""
        return self.first <= ln_w <= self.last

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
            require("x", worst, 0.0, 1.0)
            given, most = (float(strength.abv_from_x(one)) for one in (worst, self.highest_x))
            raise RangeError.of("too_strong_to_part", "charge", given=given, allowed=most)
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


def many_curves(
    conditions: Sequence[Conditions], rows: int, between: Sequence[tuple[float, float] | None] = ()
) -> list[Curves]:
    """Return the curves of many stills, made together.

    Parameters
    ----------
    conditions : sequence of Conditions
        The stills, under one pressure; all with a loss of the neck, or none.
    rows : int
        Rows of each whole table.
    between : sequence of tuple of float, optional
        For each the weakest and strongest pot that is asked for; whole tables if left out.

    Returns
    -------
    list of Curves
        One for each.
    """
    azeotrope_x, x = _nodes(conditions[0].pressure_pa)
    states = balances(x, conditions)
    parts = between or [None] * len(conditions)
    return [
        Curves(one, (azeotrope_x, state), rows, part)
        for one, state, part in zip(conditions, states, parts, strict=True)
    ]


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


@lru_cache(maxsize=16)  # of 1.5 MB each
def curves(conditions: Conditions) -> Curves:
    """Return the curves of a still, tabulated at the first call and kept."""
    return Curves(conditions)
