"""A pot still computed apart from the package: modified UNIFAC, its own neck, its own integration.

Only pure vapour pressures, heats and densities are shared. Runs from here test how a still is learnt when the
equilibrium of the package is not quite that of the liquid in the pot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.interpolate import CubicSpline
from thermo.unifac import DOUFIP2016, DOUFSG, UNIFAC

from potsim.liquid import heat, pure, strength

ROOM_K = 293.15
GRID = np.concatenate([[0.0], np.geomspace(1e-5, 0.85, 70)])


def pressure(component: str, temperature_k: float) -> float:
    """Vapour pressure [Pa]."""
    return float(np.exp(pure.wagner(component).ln_pressure(np.array(temperature_k))[0]))


@cache
def equilibrium(pressure_pa: float) -> tuple[CubicSpline, CubicSpline]:
    """Vapour composition and boiling point by modified UNIFAC (Dortmund), as splines in x."""
    groups = [{1: 1, 2: 1, 14: 1}, {16: 1}]
    model = UNIFAC.from_subgroups(
        350.0, [0.5, 0.5], groups, version=1, subgroups=DOUFSG, interaction_data=DOUFIP2016
    )
    ys, ts = [], []
    t = 373.0
    for x in GRID:
        for _ in range(60):
            gamma = model.to_T_xs(t, [x, 1.0 - x]).gammas()
            partial = [
                x * gamma[0] * pressure("ethanol", t),
                (1.0 - x) * gamma[1] * pressure("water", t),
            ]
            off = np.log(sum(partial) / pressure_pa)
            t -= off / 0.037
            if abs(off) < 1e-10:
                break
        ys.append(partial[0] / sum(partial))
        ts.append(t)
    # y / x is smooth where y itself is steep.
    ratio = np.array([ys[1] / GRID[1], *(y / x for y, x in zip(ys[1:], GRID[1:], strict=True))])
    return CubicSpline(GRID, ratio), CubicSpline(GRID, ts)


@dataclass(frozen=True)
class OtherRun:
    """A run from there, fine steps from the first drop on; arrays of shape (m,)."""

    over_mol: np.ndarray
    ethanol_mol: np.ndarray
    stream_abv: np.ndarray
    vapour_c: np.ndarray
    pot_c: np.ndarray
    elapsed_min: np.ndarray


def distil(
    charge_l: float,
    abv: float,
    *,
    power_w: float,
    neck_w_per_k: float,
    pot_w_per_k: float,
    pressure_pa: float,
    first_drop_min: float,
) -> OtherRun:
    """Distil a charge until three quarters of its moles are over."""
    ratio, boil = equilibrium(pressure_pa)
    ethanol, water = strength.moles(charge_l, abv)
    left, x = ethanol + water, ethanol / (ethanol + water)
    top = x
    xs = np.linspace(1e-4, top, 160)
    y_d, vapour_k, rate = neck(xs, ratio, boil, power_w, neck_w_per_k, pot_w_per_k)
    rise, speed = CubicSpline(xs, y_d - xs), CubicSpline(xs, rate)
    s = np.linspace(0.0, 1.3, 1301)
    step = s[1] - s[0]
    pot = [top]
    for _ in s[1:]:
        x = pot[-1]
        k1 = rise(x)
        k2 = rise(max(x - 0.5 * step * k1, xs[0]))
        pot.append(max(x - step * k2, xs[0]))
    pot_x = np.array(pot)
    moles = left * np.exp(-s)
    flow = speed(pot_x)
    seconds = np.concatenate([[0.0], np.cumsum(0.5 * (moles[:-1] / flow[:-1] + moles[1:] / flow[1:]) * step)])
    return OtherRun(
        over_mol=left - moles,
        ethanol_mol=np.clip(ethanol - moles * pot_x, 0.0, left - moles),
        stream_abv=np.asarray(strength.abv_from_x(pot_x + rise(pot_x))),
        vapour_c=np.interp(pot_x, xs, vapour_k) - 273.15,
        pot_c=np.asarray(boil(pot_x)) - 273.15,
        elapsed_min=first_drop_min + seconds / 60.0,
    )


def neck(xs, ratio, boil, power_w, neck_w_per_k, pot_w_per_k):
    """Distillate, vapour temperature and rate for pots, by bisection for the reflux."""
    y, pot_k = xs * ratio(xs), boil(xs)
    h_pot = np.asarray(heat.liquid_enthalpy(xs, pot_k))
    slope = np.gradient(h_pot, xs)
    low, high = xs.copy(), y.copy()
    for _ in range(50):
        back = 0.5 * (low + high)
        y_d, k = back * ratio(back), boil(back)
        share = np.clip((y_d - y) / (y_d - back), 0.0, 0.99)
        on = np.asarray(heat.vapour_enthalpy(y_d, k))
        shed = neck_w_per_k * (k - ROOM_K)
        net = power_w - pot_w_per_k * (pot_k - ROOM_K) - shed
        rate = net / (on - h_pot - slope * (y_d - xs))
        given = np.asarray(heat.vapour_enthalpy(y, pot_k)) - (1.0 - share) * on
        given = given - share * np.asarray(heat.liquid_enthalpy(back, k))
        more = rate * given < (1.0 - share) * shed
        low, high = np.where(more, back, low), np.where(more, high, back)
    return y_d, k, rate
