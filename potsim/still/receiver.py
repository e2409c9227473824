"""Behind the neck: what the condenser must carry off, and the strength that a parrot shows."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from potsim.errors import RequestError
from potsim.liquid import equilibrium, heat
from potsim.liquid.pure import Array, distinct
from potsim.still.course import EXHAUSTED, Course, States, evenly
from potsim.still.still import Conditions
from potsim.still.tables import balance

if TYPE_CHECKING:
    from potsim.still.courses import Courses


STEPS_IN_PARROT = 2  # steps of the table while as much runs as the parrot holds, at the least
STEPS_IN_RUN = 256
MANY_POINTS = 769  # of the runs of a study; strengths are good to 1e-4 % vol
LOOKS = 2049


@cache
def _gauss() -> tuple[Array, Array]:
    """Points of a step from 0 to 1, and their weights."""
    at, weights = np.polynomial.legendre.leggauss(6)
    return 0.5 * (at + 1.0), 0.5 * weights


class Parrot:
    """A vessel that always stays full, through which the distillate runs and in which it mixes.

    Parameters
    ----------
    course : Course
        The run.
    volume_l : float
        What the vessel holds [L].

    Notes
    -----
    It fills first and then shows what is pooled so far; once full it gives as much as it takes and
    ``V da/dv = stream - a``, a its strength and v what is collected: ethanol in equals ethanol out. Tabulated
    along the run with the exact exponential and Gauss's rule for the stream; between two entries it takes the
    same step, so that it is as exact as the run itself.
    """

    def __init__(self, course: Course, volume_l: float) -> None:
        self.course, self.volume_l = course, volume_l
        s = evenly(EXHAUSTED, LOOKS)
        breaks = np.array([leg.from_depletion for leg in course.legs[1:]])
        s = distinct(np.concatenate([s, breaks, np.maximum(breaks - 1e-9, 0.0)]))
        self._s, self._v = s, course.at(s).collected_l
        self._slope = np.gradient(self._v, s)
        end = float(self._v[-1])
        count = max(STEPS_IN_RUN, int(np.ceil(STEPS_IN_PARROT * (end - volume_l) / volume_l)))
        nodes = np.linspace(min(volume_l, end), end, count + 1)
        jumps = course.at(breaks).collected_l if breaks.size else breaks
        self.nodes_l = distinct(np.concatenate([nodes, jumps[jumps > volume_l]]))
        self.abv = self._table()

    def _table(self) -> Array:
        states = self.course.at(self._depletion(self.nodes_l[:1]))
        fades, comes = self._step(self.nodes_l[:-1], self.nodes_l[1:])
        out = np.empty_like(self.nodes_l)
        now = out[0] = float(states.mean_abv[0])
        for k, (fade, fresh) in enumerate(zip(fades.tolist(), comes.tolist(), strict=True)):
            now = out[k + 1] = fade * now + fresh
        return out

    def _depletion(self, volume_l: Array) -> Array:
        """Depletion at which so much is collected."""
        s = np.interp(volume_l, self._v, self._s)
        slope = np.interp(s, self._s, self._slope)
        for _ in range(3):
            s = np.clip(s + (volume_l - self.course.at(s).collected_l) / slope, 0.0, EXHAUSTED)
        return np.asarray(s)

    def _step(self, begin_l: Array, end_l: Array) -> tuple[Array, Array]:
        """Share of the old that is still there, and what has come in since, from volume to volume."""
        t, w = _gauss()
        width = end_l - begin_l
        v = begin_l[:, None] + width[:, None] * t
        stream = self.course.at(self._depletion(v.ravel())).stream_abv.reshape(v.shape)
        z = width / self.volume_l
        fresh = z * ((stream * np.exp(-z[:, None] * (1.0 - t))) @ w)
        return np.exp(-z), fresh

    def at(self, states: States) -> Array:
        """Strength in the parrot [% vol at 20 °C], of states of this course and of their shape."""
        v = states.collected_l.ravel()
        out = states.mean_abv.ravel().copy()
        full = v > self.nodes_l[0]
        if full.any():
            k = np.clip(np.searchsorted(self.nodes_l, v[full], side="right") - 1, 0, self.nodes_l.size - 1)
            fade, fresh = self._step(self.nodes_l[k], v[full])
            out[full] = fade * self.abv[k] + fresh
        return out.reshape(states.depletion.shape)


@lru_cache(maxsize=16)
def parrot_of(course: Course) -> Parrot:
    """Return the parrot of a course whose still has one; made once and kept."""
    if course.still.parrot_l is None:
        raise RequestError.of("no_parrot", "still.parrot")
    return Parrot(course, course.still.parrot_l)


def first_parrot_abv(runs: Courses, volume_l: float, abv: float, upto: float) -> Array:
    """Find the depletion at which a parrot first shows no more than a strength, run by run.

    Parameters
    ----------
    runs : Courses
        The runs, n of them.
    volume_l : float
        What the parrot holds [L].
    abv : float
        The strength [% vol].
    upto : float
        How far to look first; where it has not come by then, the rest of the run is searched too.

    Returns
    -------
    ndarray, shape (n,)
        The depletion; 0 where it shows so from the first drop, infinite where it never does.
    """
    s = evenly(upto, MANY_POINTS)
    over = -np.expm1(-s)
    states = runs.at(s)
    v, stream, shown = states.collected_l, states.stream_abv, states.mean_abv.copy()
    z = np.diff(v, axis=1) / volume_l
    fade = np.exp(-z)
    some = np.maximum(z, 1e-12)
    late = np.where(z > 1e-6, 1.0 + np.expm1(-some) / some, 0.5 * z)  # weight of the step's end
    fresh = stream[:, 1:] * late + stream[:, :-1] * (-np.expm1(-z) - late)
    for k in range(s.size - 1):
        full = v[:, k] >= volume_l
        shown[:, k + 1] = np.where(full, shown[:, k] * fade[:, k] + fresh[:, k], shown[:, k + 1])
    true = shown <= abv
    k = np.argmax(true, axis=1)
    rows = np.arange(k.size)
    before = np.maximum(k - 1, 0)
    high, low = shown[rows, before], shown[rows, k]
    part = np.where(k > 0, (high - abv) / np.maximum(high - low, 1e-300), 0.0)
    at = np.where(k > 0, over[before] + part * (over[k] - over[before]), 0.0)
    out = np.where(true.any(axis=1), -np.log1p(-at), np.inf)
    missing = np.logical_not(true.any(axis=1))
    if upto < EXHAUSTED and missing.any():
        out[missing] = first_parrot_abv(runs.where(missing), volume_l, abv, EXHAUSTED)
    return out


def condensing_w(rate_mol_per_s: Array, y: Array, vapour_k: Array, pressure_pa: float) -> Array:
    """Heat to turn the vapour into liquid as hot as it can be [W]: below it hot vapour leaves the spout.

    Parameters
    ----------
    rate_mol_per_s, y, vapour_k : ndarray
        What leaves the neck each second, its mole fraction of ethanol and its temperature [K].
    pressure_pa : float
        Pressure of the air [Pa].

    Returns
    -------
    ndarray
        Heat [W]; the condenser's whole duty is that and the cooling to the room.
    """
    boiling_k = np.asarray(equilibrium.bubble_point(y, pressure_pa).temperature_k)
    liquid = np.asarray(heat.liquid_enthalpy(y, boiling_k))
    return np.asarray(rate_mol_per_s * (np.asarray(heat.vapour_enthalpy(y, vapour_k)) - liquid))


def condensing_power_w(conditions: Conditions, pot_x: Array, capacity_w: float) -> float:
    """Return the power up to which a condenser turns all vapour into liquid [W].

    Parameters
    ----------
    conditions : Conditions
        The still.
    pot_x : ndarray
        Mole fractions in the pot at which it must.
    capacity_w : float
        Heat that the condenser carries off [W].

    Returns
    -------
    float
        Heat into the pot [W]; regula falsi on the balance of pot and neck, to a part in 10,000.
    """

    def short(power_w: float) -> float:
        state = balance(pot_x, replace(conditions, power_w=power_w))
        return float(
            np.max(
                condensing_w(state.rate_mol_per_s, state.y_distillate, state.vapour_k, conditions.pressure_pa)
            )
            - capacity_w
        )

    boiling_k = equilibrium.boiling_point_water(conditions.pressure_pa)
    shed = (conditions.neck_loss_w_per_k + conditions.pot_loss_w_per_k) * (boiling_k - conditions.room_k)
    low, high = float(shed) + 1e-3, float(shed) + 2.0 * capacity_w
    f_low, f_high = -capacity_w, short(high)
    for _ in range(30):
        power = low - f_low * (high - low) / (f_high - f_low)
        f = short(power)
        if abs(f) < 1e-4 * capacity_w:
            break
        low, f_low, high, f_high = (power, f, high, f_high) if f < 0.0 else (low, f_low, power, f)
    return float(power)
