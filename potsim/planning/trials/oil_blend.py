"""Distillates of single botanicals poured together to come near an oil profile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from potsim.errors import RequestError, require
from potsim.liquid import strength
from potsim.planning.proofing import Proofing, proof_down
from potsim.planning.run import Run

FLOOR = 0.02  # of the largest compound aimed at: below it a miss counts as little as there is of it


@dataclass(frozen=True)
class OilBlend:
    """A blend of keeps.

    Parameters
    ----------
    shares : tuple of float
        Volume of each keep in a litre of the keeps as poured (volumes before mixing), summing to 1.
    abv : float
        Strength of the blend [% vol].
    oil_mg_per_l, wanted_mg_per_l : dict of str to float
        Compound id to content at the strength of what was aimed at [mg/L].
    misfit : float
        Root mean square of the misses, each against what is aimed at of the compound but at least `FLOOR` of
        the largest; 0 is a perfect match.
    oil_factor : float
        How much more oil the blend holds, at the same strength, than what was aimed at; below 1 it is thinner
        than wanted and cannot be made richer by pouring.
    """

    shares: tuple[float, ...]
    abv: float
    oil_mg_per_l: dict[str, float]
    wanted_mg_per_l: dict[str, float]
    misfit: float
    oil_factor: float

    @property
    def misses(self) -> tuple[Miss, ...]:
        """How far off each compound is, the worst first; their root mean square is the misfit."""
        floor = FLOOR * max(self.wanted_mg_per_l.values())
        found = []
        for name, wanted in self.wanted_mg_per_l.items():
            matched = self.oil_mg_per_l[name] / self.oil_factor
            found.append(Miss(name, wanted, matched, (matched - wanted) / max(wanted, floor)))
        return tuple(sorted(found, key=lambda one: -abs(one.miss)))


@dataclass(frozen=True)
class Miss:
    """One compound of a blend beside what was aimed at.

    Parameters
    ----------
    compound_id : str
        The compound.
    wanted_mg_per_l : float
        What was aimed at [mg/L].
    matched_mg_per_l : float
        The blend, with as much oil in all as fits best [mg/L].
    miss : float
        The difference against what was aimed at, but at least against `FLOOR` of the largest.
    """

    compound_id: str
    wanted_mg_per_l: float
    matched_mg_per_l: float
    miss: float


@dataclass(frozen=True)
class Poured:
    """A blend made up to a volume.

    Parameters
    ----------
    volumes_l : tuple of float
        Of each keep [L at 20 °C].
    proofing : Proofing
        The keeps together, and the water.
    most_l : float
        The most that these keeps can be made into [L at 20 °C].
    """

    volumes_l: tuple[float, ...]
    proofing: Proofing
    most_l: float


def pour(made: OilBlend, runs: Sequence[Run], volume_l: float, at_abv: float) -> Poured:
    """Return how much of each keep, and of water, makes up a volume.

    Parameters
    ----------
    made : OilBlend
        The blend.
    runs : sequence of Run
        The runs that it is of, in the same order.
    volume_l : float
        What is to be made [L at 20 °C], above 0.
    at_abv : float
        Its strength [% vol at 20 °C].

    Returns
    -------
    Poured
        Mass and alcohol are conserved.

    Raises
    ------
    RangeError
        If the blend is weaker than that, or nothing is to be made.
    """
    require("make", volume_l, 0, 1e5, "L", open_low=True)
    abvs = [run.keep.abv for run in runs]
    alcohol = sum(share * abv for share, abv in zip(made.shares, abvs, strict=True))
    volumes = tuple(share * volume_l * at_abv / alcohol for share in made.shares)
    mixed = strength.mix(volumes, abvs)
    enough = [run.keep.volume_l / poured for run, poured in zip(runs, volumes, strict=True) if poured > 0.0]
    return Poured(volumes, proof_down(mixed.volume_l, mixed.abv, at_abv), volume_l * min(enough))


def oils_mg_per_l(run: Run, at_abv: float, *, bottled: bool = False) -> dict[str, float]:
    """Return the botanicals' oil in a keep let down.

    Parameters
    ----------
    run : Run
        The run.
    at_abv : float
        Strength to which the keep is let down [% vol], above 0.
    bottled : bool
        Whether the spirit by which the plan stretches its keep is in it.

    Returns
    -------
    dict of str to float
        Compound id to content [mg/L].

    Raises
    ------
    RequestError
        If there is no alcohol in it.
    """
    require("at_abv", at_abv, 0, 100, "% vol", open_low=True)
    ethanol_l = run.let_down.ethanol_l if bottled else run.keep.ethanol_l
    if ethanol_l <= 0.0:
        hint = "Give plans that keep spirit."
        raise RequestError(f"The keep of '{run.plan.title}' holds no alcohol.", hint)
    mine = {one.compound_id for flavour in run.flavours for one in flavour.compounds}
    grams = run.flavours.over_g(run.kept_spans)
    litres = ethanol_l * 100.0 / at_abv
    return {name: 1000.0 * grams[name] / litres for name in sorted(mine) if name in grams}


def blend_to_profile(runs: Sequence[Run], wanted: Mapping[str, float], at_abv: float) -> OilBlend:
    """Find how to pour keeps together so that their oil comes nearest to a profile.

    Parameters
    ----------
    runs : sequence of Run
        Whose keeps are poured together; at least two.
    wanted : mapping of str to float
        Compound id to content aimed at [mg/L] in the spirit let down.
    at_abv : float
        The strength at which it is meant [% vol].

    Returns
    -------
    OilBlend
        The nearest there is.

    Raises
    ------
    RequestError
        If there is nothing to aim at, or no keep holds any of it.

    Notes
    -----
    Non-negative least squares (Lawson & Hanson, by `scipy.optimize.nnls`) for the pure alcohol that each keep
    gives to the blend: oil goes with it when spirit is let down. Amounts of oil may scale with the profile:
    the proportions are fitted, `OilBlend.oil_factor` says how rich it comes out.
    """
    from scipy.optimize import nnls

    if len(runs) < 2:
        raise RequestError(f"There is {len(runs)} plan to blend.", "Give two or more.")
    aim = {name: amount for name, amount in wanted.items() if amount > 0.0}
    if not aim:
        raise RequestError("The profile aimed at holds no oil.", "Aim at a plan with botanicals.")
    contents = [oils_mg_per_l(run, at_abv) for run in runs]
    names = sorted(aim.keys() | {name for one in contents for name in one})
    columns = np.array([[one.get(name, 0.0) for one in contents] for name in names])
    target = np.array([aim.get(name, 0.0) for name in names])
    if not np.any(columns[target > 0.0] > 0.0):
        raise RequestError(
            "None of these plans holds an oil that is aimed at: they share no botanical with it.",
            "Blend distillates of the botanicals aimed at.",
        )
    weight = 1.0 / np.maximum(target, FLOOR * target.max())
    alcohol, _ = nnls(columns * weight[:, None], target * weight)
    made = columns @ alcohol
    total = float(alcohol.sum())
    litres = alcohol * np.array([100.0 / run.keep.abv for run in runs])
    mixed = strength.mix(litres, [run.keep.abv for run in runs])
    return OilBlend(
        shares=tuple((litres / litres.sum()).tolist()),
        abv=float(mixed.abv),
        oil_mg_per_l=dict(zip(names, (made / total).tolist(), strict=True)),
        wanted_mg_per_l=dict(zip(names, target.tolist(), strict=True)),
        misfit=float(np.sqrt(np.mean(((made - target) * weight) ** 2))),
        oil_factor=1.0 / total,
    )
