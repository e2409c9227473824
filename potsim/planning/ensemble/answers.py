"""What many draws of one plan come to, all at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.planning.ensemble.study import Study, can_run, drawn
from potsim.planning.plan import Stop
from potsim.planning.profile import ZERO_C
from potsim.planning.stops import KINDS, Kind
from potsim.still.courses import Courses, ManyStates, courses
from potsim.still.family import family

Array = NDArray[np.float64]

CURVES = ("stream_abv", "pot_abv", "vapour_c", "recovered", "elapsed_min")
STOP = ("collected_l", "stream_abv", "pot_abv", "mean_abv", "recovered", "elapsed_min")


def names(study: Study) -> tuple[str, ...]:
    """Names of the single answers, in the order of `answers`.

    Parameters
    ----------
    study : Study
        What is asked.

    Returns
    -------
    tuple of str
        Such as ``keep.abv`` or ``jars.3.volume_l``.
    """
    out = ["charge.volume_l", "charge.abv", "first_drop_min", *(f"stop.{name}" for name in STOP)]
    out += [
        f"{role}.{name}" for role in ("heads", "tails") if role in study.roles for name in ("volume_l", "abv")
    ]
    out += ["keep.volume_l", "keep.abv", "keep.ethanol_l"]
    if study.bottling.abv is not None:
        out += ["proofing.water_l", "proofing.volume_l"]
        out += ["proofing.bottles"] if study.bottling.bottle_l is not None else []
    numbers = range(1, len(study.roles) + 1)
    return (*out, *(f"jars.{k}.{name}" for name in ("volume_l", "abv", "full_min") for k in numbers))


def answers(study: Study, z: Array) -> tuple[Array, Array]:
    """Run all draws.

    Parameters
    ----------
    study : Study
        What is uncertain and what is asked.
    z : ndarray, shape (n, inputs)
        Standard normal numbers.

    Returns
    -------
    single : ndarray, shape (n, names)
        Answers in the order of `names`; NaN where a draw has none.
    curves : ndarray, shape (n, curves, grid)
        `CURVES` where so much is collected; NaN where a draw never gets there.
    """
    draws = drawn(study, z)
    single = np.full((z.shape[0], len(names(study))), np.nan)
    curve = np.full((z.shape[0], len(CURVES), len(study.grid_l)), np.nan)
    fine = can_run(study, draws)
    if not fine.any():
        return single, curve
    mol = (draws.ethanol_mol + draws.water_mol)[fine]
    ethanol = draws.ethanol_mol[fine]
    runs = courses(family(study.span), mol, ethanol / mol, draws.stills.where(fine), study.still)
    end, keep_end = _ends(study, runs)
    ended = np.isfinite(end)
    fine[fine] = ended
    if not fine.any():
        return single, curve
    runs, end, keep_end = runs.where(ended), end[ended], keep_end[ended]
    by_volume = np.array([*(edge.collected_l for edge in study.edges), *study.grid_l])
    there = runs.at_collected(by_volume, study.reach)
    jars = len(study.edges)
    single[fine] = _single(study, runs, end, _edges(study, there[:, :jars], end, keep_end))
    curve[fine] = _curve(runs, there[:, jars:])
    return single, curve


def _ends(study: Study, runs: Courses) -> tuple[Array, Array]:
    """Depletions at which run and keep end; infinite where the plan's stop never comes, or at once."""
    end = np.minimum(_first(study.stop, runs, study.reach), study.stop_at)
    end = np.where(end > 0.0, end, np.inf)
    least_l = study.still.min_level_l
    ended = np.flatnonzero(np.isfinite(end))
    if least_l > 0.0 and ended.size:

        def margin(states: ManyStates) -> Array:
            return least_l - states.pot_hot_l - study.solids_l

        bare = margin(runs.at(np.where(np.isfinite(end), end, 0.0)[:, None]))[:, 0] >= 0.0
        bare &= np.isfinite(end)
        if bare.any():
            level = runs.where(bare).first(margin, study.reach)
            end[bare] = np.where(level > 0.0, np.minimum(level, end[bare]), np.inf)
    keep_end = np.minimum(_first(study.tails_from, runs, study.reach), study.tails_at)
    return end, np.minimum(keep_end, end)


def _first(stop: Stop, runs: Courses, reach: float) -> Array:
    """Depletion at which the first of the conditions comes."""
    out = np.full(runs.charge_mol.shape, np.inf)
    for key, value in stop.named.items():
        if key in KINDS:
            out = np.minimum(out, runs.first(_margin(KINDS[key], value), reach))
    return out


def _margin(kind: Kind, value: float) -> Callable[[ManyStates], Array]:
    return lambda states: kind.margin(_quantity(states, kind.quantity), value)


def _single(study: Study, runs: Courses, end: Array, edges: Array) -> Array:
    """Answers in the order of `names`, from the depletions at which jars begin and end."""
    there, states = runs.at(end[:, None]), runs.at(edges)
    ethanol = np.maximum(np.diff(states.over_ethanol_mol), 0.0)
    water = np.maximum(np.diff(states.over_mol) - ethanol, 0.0)
    charged = runs.charge_mol * runs.charge_x
    columns = [
        np.asarray(strength.volume_from_moles(charged, runs.charge_mol - charged)),
        np.asarray(strength.abv_from_x(runs.charge_x)),
        runs.first_drop_s / 60.0,
        *(_quantity(there, name)[:, 0] for name in STOP),
    ]
    roles = np.array(study.roles)
    for role in ("heads", "tails"):
        if role in study.roles:
            columns += _poured(ethanol[:, roles == role].sum(axis=1), water[:, roles == role].sum(axis=1))
    kept = list(study.kept)
    keep = ethanol[:, kept].sum(axis=1), water[:, kept].sum(axis=1)
    keep_l, keep_abv = _poured(*keep)
    columns += [keep_l, keep_abv, keep_l * keep_abv / 100.0]
    columns += _bottled(study, *keep)
    jar_l, jar_abv = _poured(ethanol, water)
    full_min = np.where(jar_l > 0.0, states.elapsed_s[:, 1:] / 60.0, np.nan)
    return np.concatenate([np.stack(columns, axis=1), jar_l, jar_abv, full_min], axis=1)


def _edges(study: Study, by_volume: Array, end: Array, keep_end: Array) -> Array:
    """Depletions at which jars begin and end, shape (n, jars + 1)."""
    s = by_volume.copy()
    for k, edge in enumerate(study.edges):
        if edge.at != "collected":
            s[:, k] = end if edge.at == "end" else keep_end
    s = np.minimum(s, end[:, None])
    for k, role in enumerate(study.roles):
        if role == "keep":
            s[:, k + 1] = np.minimum(s[:, k + 1], keep_end)
        elif role == "tails":
            s[:, k + 1] = np.maximum(s[:, k + 1], keep_end)
    return np.maximum.accumulate(s, axis=1)


def _poured(ethanol: Array, water: Array) -> list[Array]:
    """Volume and strength of what is poured together; no strength of nothing."""
    some = ethanol + water > 0.0
    abv = np.asarray(strength.abv_from_moles(np.where(some, ethanol, 1.0), water))
    return [np.asarray(strength.volume_from_moles(ethanol, water)), np.where(some, abv, np.nan)]


def _bottled(study: Study, ethanol: Array, water: Array) -> list[Array]:
    """Water, volume and bottles; none where the keep is weaker than the bottling strength."""
    bottling = study.bottling
    if bottling.abv is None:
        return []
    if bottling.stretch is not None:
        added = strength.moles(bottling.stretch.spirit_l, bottling.stretch.abv)
        ethanol, water = ethanol + added.ethanol_mol, water + added.water_mol
    volume_l, abv = _poured(ethanol, water)
    strong = abv >= bottling.abv
    abv = np.where(strong, abv, bottling.abv)
    water_l = np.asarray(strength.water_to_reach(volume_l, abv, bottling.abv))
    more = np.asarray(strength.moles(water_l, 0.0).water_mol)
    bottled_l = np.asarray(strength.volume_from_moles(ethanol, water + more))
    out = [water_l, bottled_l]
    if bottling.bottle_l is not None:
        out.append(np.floor(bottled_l / bottling.bottle_l + 1e-9))
    return [np.where(strong, column, np.nan) for column in out]


def _curve(runs: Courses, s: Array) -> Array:
    there = np.isfinite(s)
    states = runs.at(np.where(there, s, 0.0))
    columns = [np.where(there, _quantity(states, name), np.nan) for name in CURVES]
    return np.stack(columns, axis=1)


def _quantity(states: ManyStates, name: str) -> Array:
    """A quantity of `potsim.planning.profile.Profile`."""
    if name == "vapour_c":
        return states.vapour_k - ZERO_C
    if name == "elapsed_min":
        return states.elapsed_s / 60.0
    return np.asarray(getattr(states, name))
