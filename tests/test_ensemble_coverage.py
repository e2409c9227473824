"""Do the bands hold what happens in a still that is not ours?

Truths are runs under another activity model (modified UNIFAC, Dortmund, with an ideal vapour), every input
off from the plan as its uncertainty says, behind a condenser that holds back 5 % of the distillate, which no
band knows of.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from thermo.unifac import DOUFIP2016, DOUFSG, UNIFAC

import potsim
from potsim.liquid import equilibrium, strength
from potsim.liquid.boiling import Boiling
from potsim.planning.ensemble import ensemble
from potsim.planning.many import doubts_of, drawn, standard_numbers
from potsim.planning.run import distil
from potsim.still import tables
from potsim.still import tables as balance_module
from potsim.still import tables as curves_module
from potsim.still.course import Course, course
from potsim.still.still import Conditions

TRUTHS = 60
HOLD_UP = 0.05  # of the distillate
PLAN = replace(potsim.example_plan(), botanicals=())
STOP_ABV = 55.0
GROUPS = [{1: 1, 2: 1, 14: 1}, {16: 1}]  # CH3, CH2, OH; H2O, as numbered by Dortmund


class OtherVapour:
    """Ethanol-water at one pressure by modified UNIFAC, in place of `potsim.liquid.equilibrium`."""

    def __init__(self, pressure_pa: float) -> None:
        z = np.linspace(0.0, np.arcsinh(1.0 / 0.02), 120)
        x = np.clip(0.02 * np.sinh(z), 0.0, 1.0)
        found = [self._boil(float(one), pressure_pa) for one in x]
        self._spline = CubicSpline(z, np.array(found), axis=0)
        low, high = 0.6, 0.98
        self.azeotrope_x = brentq(lambda x: float(self._at(np.array(x))[1]), low, high)

    def _boil(self, x: float, pressure_pa: float) -> tuple[float, float]:
        """Boiling point and ln alpha."""

        def parts(t: float) -> tuple[float, float]:
            model = UNIFAC.from_subgroups(
                T=t,
                xs=[x, 1.0 - x],
                chemgroups=GROUPS,
                subgroups=DOUFSG,
                interaction_data=DOUFIP2016,
                version=1,
            )
            gamma = model.gammas()
            return (
                float(gamma[0] * equilibrium.vapour_pressure_ethanol(t)),
                float(gamma[1] * equilibrium.vapour_pressure_water(t)),
            )

        def over(t: float) -> float:
            ethanol, water = parts(t)
            return x * ethanol + (1.0 - x) * water - pressure_pa

        t = float(brentq(over, 345.0, 376.0, xtol=1e-6))
        ethanol, water = parts(t)
        return t, float(np.log(ethanol / water))

    def _at(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        both = self._spline(np.arcsinh(np.asarray(x, dtype=float) / 0.02))
        return both[..., 0], both[..., 1]

    def bubble_point(self, x, pressure_pa):  # type: ignore[no-untyped-def]
        t, ln_alpha = self._at(x)
        ratio = np.asarray(x) * np.exp(ln_alpha)
        return t, ratio / (1.0 - np.asarray(x) + ratio)

    def excess(self):  # type: ignore[no-untyped-def]
        return None

    def boil(self, x, pressure_pa, excess, start_k=None):  # type: ignore[no-untyped-def]
        t, ln_alpha = self._at(x)
        along = self._spline(np.arcsinh(x / 0.02), 1) / np.hypot(x, 0.02)[..., None]
        y = x * np.exp(ln_alpha) / (1.0 - x + x * np.exp(ln_alpha))
        return Boiling(t, along[..., 0], y, ln_alpha, along[..., 1])

    def azeotrope(self, pressure_pa):  # type: ignore[no-untyped-def]
        return SimpleNamespace(x=self.azeotrope_x)


def seen(run: Course) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Moles of ethanol and water at the spout, strength there, and time: behind a condenser that holds back.

    It fills first, then lets go of its well-mixed content as fast as new distillate comes.
    """
    over = np.linspace(0.0, 0.45, 4001)
    states = run.at(-np.log1p(-over))
    mol, y = states.over_mol, states.stream_x
    held = HOLD_UP * float(np.interp(1.07, states.collected_l, mol))
    first = int(np.searchsorted(mol, held))
    content = float(states.over_ethanol_mol[first])
    inside = np.empty_like(mol)
    inside[: first + 1] = content / mol[first]
    fade = np.exp(-np.diff(mol) / held)
    for k in range(first, mol.size - 1):
        middle = 0.5 * (y[k] + y[k + 1])
        inside[k + 1] = middle + (inside[k] - middle) * fade[k]
    out = np.concatenate([[0.0], np.cumsum(0.5 * (inside[1:] + inside[:-1]) * np.diff(mol))])
    out -= out[first]
    total = np.maximum(mol - mol[first], 0.0)
    ethanol = np.maximum(out, 0.0)
    return ethanol, total - ethanol, np.asarray(strength.abv_from_x(inside)), states.elapsed_s / 60.0


def truth(run: Course) -> dict[str, float]:
    ethanol, water, abv, minutes = seen(run)
    end = int(np.argmax((abv <= STOP_ABV) & (ethanol > 0.0)))
    litres = np.asarray(strength.volume_from_moles(ethanol, water))
    heads = int(np.searchsorted(litres, 0.03))
    keep = ethanol[end] - ethanol[heads], water[end] - water[heads]
    return {
        "stop.collected_l": float(litres[end]),
        "stop.elapsed_min": float(minutes[end]),
        "keep.volume_l": float(strength.volume_from_moles(*keep)),
        "keep.abv": float(strength.abv_from_moles(*keep)),
    }


def truths(pressure_pa: float) -> dict[str, np.ndarray]:
    """Answers of so many other stills, each input off by its uncertainty."""
    study = doubts_of(distil(PLAN), model_misfit=False)
    draws = drawn(study, standard_numbers(study, TRUTHS, np.random.SeedSequence(11)))
    mol = draws.ethanol_mol + draws.water_mol
    other = OtherVapour(pressure_pa)
    rows = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(balance_module, "equilibrium", other)
        patch.setattr(curves_module, "equilibrium", other)
        for k in range(TRUTHS):
            own = Conditions(
                pressure_pa,
                float(draws.stills.power_w[k]),
                float(draws.stills.neck_loss_w_per_k[k]),
                float(draws.stills.pot_loss_w_per_k[k]),
                float(draws.stills.room_k[k]),
            )
            still = replace(study.still, conditions=own)
            rows.append(truth(course(float(mol[k]), float(draws.ethanol_mol[k] / mol[k]), still)))
    tables.curves.cache_clear()
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def test_bands_hold_the_truths_of_another_model() -> None:
    """Nominal 90 %; by chance alone 60 truths give 82 to 98 %.

    Found, of 80: volumes 95 %, the keep's strength 100 % (its band is mostly the doubt of the vapour data,
    and UNIFAC happens to lie near), the end of the run 74 %: the hold-up delays it by 2.5 min.
    """
    sure = ensemble(PLAN, 4000)
    found = truths(doubts_of(distil(PLAN)).still.conditions.pressure_pa)
    held = {
        name: float(np.mean((values >= sure.answers[name].low) & (values <= sure.answers[name].high)))
        for name, values in found.items()
    }
    assert held["stop.collected_l"] >= 0.8
    assert held["keep.volume_l"] >= 0.8
    assert held["keep.abv"] >= 0.8
    assert held["stop.elapsed_min"] >= 0.5
