"""What a simple pot does at one composition of its boiling liquid: vapour, reflux, rate and heat.

The neck sheds heat to the room; the condensate that runs back leaves in equilibrium with the vapour that
goes on. Material and energy balances over pot and neck fix the reflux. The amount in the pot cancels, so
that everything here is a function of the pot's composition alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from potsim.errors import ConvergenceError, RangeError, RequestError
from potsim.liquid import equilibrium, heat
from potsim.still.still import Conditions

Array = NDArray[np.float64]

TOLERANCE = 1e-10  # of the neck's heat, or of the reflux composition, in the search for it


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
        raise RangeError(
            "x", f"{at.min():g}", "more than 0 and below the azeotrope", "Water alone has no balance."
        )
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
    both = _balance(np.broadcast_to(x, (len(conditions), x.size)), heats)
    return [
        Balance(*(getattr(both, field.name)[k] for field in fields(Balance))) for k in range(len(conditions))
    ]


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
    part = _solve_reflux(pot) if np.any(heats.neck_loss_w_per_k) else np.zeros_like(x)
    neck = pot.neck(part)
    cooled = heat.liquid_enthalpy(neck.y_distillate, np.full_like(x, heats.room_k))
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


def refuse_weak_heat(conditions: Conditions, key: str = "still.power") -> None:
    """Refuse conditions under which a pot of water would not come over.

    Parameters
    ----------
    conditions : Conditions
        Pressure, power, losses and room.
    key : str
        Key of the plan file that gave the power.

    Raises
    ------
    RequestError
        Names the power needed.
    """
    boiling_k = float(equilibrium.bubble_point(0.0, conditions.pressure_pa)[0])
    shed = (conditions.neck_loss_w_per_k + conditions.pot_loss_w_per_k) * (boiling_k - conditions.room_k)
    if conditions.power_w <= shed:
        raise RequestError(
            f"{key} is {conditions.power_w:.0f} W, but pot and neck shed {shed:.0f} W at the boil: "
            "nothing would come over.",
            f"Give more than {shed:.0f} W, insulate the pot, or correct pot_loss and neck_loss.",
        )


def _vapour_over(x: Array, heats: _Heats) -> tuple[Array, Array]:
    """Boiling point [K] of a liquid of ethanol and water, and its vapour."""
    temperature_k, y = (np.asarray(v) for v in equilibrium.bubble_point(x, heats.pressure_pa))
    if not np.any(heats.volatility_error):
        return temperature_k, y
    ratio = y / (1.0 - y)
    volatility = ratio * (1.0 - x) / x
    ratio = ratio * volatility**heats.volatility_error
    return temperature_k, ratio / (1.0 + ratio)


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
        self.temperature_k, self.y = _vapour_over(x, heats)
        self.vapour_enthalpy = np.asarray(heat.vapour_enthalpy(self.y, self.temperature_k))
        self.liquid_enthalpy = np.asarray(heat.liquid_enthalpy(x, self.temperature_k))
        self.slope = self._enthalpy_slope()

    def _enthalpy_slope(self) -> Array:
        """dh_L/dx along the boiling line [J/mol]."""
        low, high = np.maximum(self.x - 1e-5, 0.0), np.minimum(self.x + 1e-5, 1.0)
        ends = []
        for x in (low, high):
            t = equilibrium.bubble_point(x, self.heats.pressure_pa)[0]
            ends.append(np.asarray(heat.liquid_enthalpy(x, np.asarray(t))))
        return np.asarray((ends[1] - ends[0]) / (high - low))

    def neck(self, part: Array) -> _Neck:
        """Balance for a reflux composition ``x + part (y - x)``; the residual is zero at the solution [W]."""
        c = self.heats
        x_r = self.x + part * (self.y - self.x)
        vapour_k, y_d = _vapour_over(x_r, c)
        reflux = np.where(part > 0, (y_d - self.y) / (y_d - x_r), 0.0)
        on = np.asarray(heat.vapour_enthalpy(y_d, vapour_k))
        back = np.asarray(heat.liquid_enthalpy(x_r, vapour_k))
        neck_w = c.neck_loss_w_per_k * (vapour_k - c.room_k)
        pot_w = c.pot_loss_w_per_k * (self.temperature_k - c.room_k)
        needed = on - self.liquid_enthalpy - self.slope * (y_d - self.x)
        rate = (c.power_w - pot_w - neck_w) / needed
        given_up = self.vapour_enthalpy - reflux * back - (1.0 - reflux) * on
        return _Neck(x_r, y_d, vapour_k, reflux, on, rate, rate * given_up - (1.0 - reflux) * neck_w)


def _solve_reflux(pot: _Pot) -> Array:
    """Find the part of the way from x to y at which the reflux lies: Illinois false position on arrays."""
    low, high = np.zeros_like(pot.x), np.full_like(pot.x, 1.0)
    f_low, f_high = pot.neck(low).residual, pot.neck(high).residual
    kept_low = np.zeros(pot.x.shape, dtype=bool)
    kept_high = np.zeros(pot.x.shape, dtype=bool)
    scale = np.abs(f_low)
    before = low
    for _ in range(60):
        part = low - f_low * (high - low) / (f_high - f_low)
        f = pot.neck(part).residual
        below = f < 0
        f_high = np.where(below & kept_high, 0.5 * f_high, f_high)
        f_low = np.where(~below & kept_low, 0.5 * f_low, f_low)
        low, f_low = np.where(below, part, low), np.where(below, f, f_low)
        high, f_high = np.where(below, high, part), np.where(below, f_high, f)
        kept_high, kept_low = below, ~below
        settled = np.abs(part - before) <= TOLERANCE  # near the azeotrope rounding ends the search
        if np.all(settled | (np.abs(f) <= TOLERANCE * scale)):
            return np.asarray(part)
        before = part
    raise ConvergenceError(
        "The reflux of the neck was not found.", "Please report the [still] table of the plan."
    )
