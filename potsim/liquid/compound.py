"""A trace compound: what it is, how it smells, and from which data its volatility is computed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RequestError, require
from potsim.liquid.arrays import Array

LIGHTEST_GROUP_G = 12.0  # g/mol: a carbon atom alone; no subgroup is lighter
R_CAL = 1.987  # cal/(mol K), the unit of Grain and Watson's constants

# Expected errors as factors, by route; how they were found: `potsim.liquid.traces.volatility`.
GAMMA_FACTOR = {
    "solubility": 2.0,
    "Henry constant": 2.0,
    "small": 1.5,
    "groups": 2.5,
    "surrogate": 3.5,
    "sesquiterpene": 8.0,
}
PRESSURE_FACTOR = {"fit": 1.15, "estimate": 1.5, "guess": 2.0}


def expected_factor(gamma: str, pressure: str) -> float:
    """Return the expected error of K as a factor, the two parts being independent.

    Parameters
    ----------
    gamma : str
        A key of ``GAMMA_FACTOR``.
    pressure : str
        A key of ``PRESSURE_FACTOR``.

    Returns
    -------
    float
        The factor, to one decimal.
    """
    spread = math.hypot(math.log(GAMMA_FACTOR[gamma]), math.log(PRESSURE_FACTOR[pressure]))
    return round(math.exp(spread), 1)


@dataclass(frozen=True)
class VapourPressure:
    """Vapour pressure of a pure liquid, by Antoine's equation or estimated from its boiling point.

    Parameters
    ----------
    method : str
        Where it comes from: a table of the library ``chemicals``, ``"GRAIN_WATSON"`` or ``"own"``.
    a, b, c : float
        ``ln(P / Pa) = a - b / (T + c)`` [-, K, K]; used unless ``kf`` is given.
    tb_k : float
        Boiling point at 101.325 kPa [K], for the estimate.
    kf : float
        Grain and Watson's factor for the class of compound; 0 chooses Antoine's equation.

    Notes
    -----
    Estimate: Grain and Watson's equation for liquids (Lyman, Reehl & Rosenblatt, Handbook of Chemical
    Property Estimation Methods, 1990, ch. 14), good to about a factor of 1.5 well below the boiling point.
    """

    method: str
    a: float = 0.0
    b: float = 0.0
    c: float = 0.0
    tb_k: float = 0.0
    kf: float = 0.0

    def ln_pa(self, temperature_k: ArrayLike) -> Array:
        """Return the logarithm of the vapour pressure over 1 Pa.

        Parameters
        ----------
        temperature_k : array_like
            Temperature [K].

        Returns
        -------
        ndarray
            ``ln(P / Pa)``.
        """
        t = np.asarray(temperature_k, dtype=float)
        if not self.kf:
            return np.asarray(self.a - self.b / (t + self.c))
        reduced = t / self.tb_k
        base = 3.0 - 2.0 * reduced
        bracket = 1.0 - base**0.19 / reduced - 0.38 * base**-0.81 * np.log(reduced)
        heat = self.kf * (8.75 + R_CAL * math.log(self.tb_k)) / (0.97 * R_CAL)
        return np.asarray(math.log(101325.0) + heat * bracket)


@dataclass(frozen=True)
class Threshold:
    """The least concentration at which a compound is noticed; a rough guide, sources differ tenfold.

    Parameters
    ----------
    ug_per_l : float
        Concentration [µg/L].
    medium : str
        In what: ``"water"``.
    source : str
        Who says so.
    """

    ug_per_l: float
    medium: str
    source: str


@dataclass(frozen=True)
class WaterAnchor:
    """A limiting activity coefficient in water, measured, to which the model is tied.

    Parameters
    ----------
    ln_gamma : float
        Its logarithm [-], the reference being the pure liquid.
    temperature_k : float
        Temperature of the measurement [K].
    kind : {'solubility', 'Henry constant'}
        What was measured.
    source : str
        Who measured it.
    """

    ln_gamma: float
    temperature_k: float
    kind: str
    source: str


@dataclass(frozen=True)
class Compound:
    """A trace compound and all that its volatility is computed from.

    Build one of your own with groups and a boiling point, ``Compound.own(...)``, or with a volatility that
    keeps a constant ratio to that of ethanol; every function of `potsim.liquid.traces` takes it in place of
    a name.

    Parameters
    ----------
    id, name, formula, family : str
        Identity; ``id`` joins the botanical library.
    molar_mass_g : float
        Molar mass [g/mol].
    odour : str
        What it smells of.
    odour_threshold : Threshold or None
        None when none is known.
    tb_k : float or None
        Boiling point at 101.325 kPa [K]; None for what does not boil.
    groups : tuple of (int, int)
        Subgroups of modified UNIFAC (Dortmund) and how many of each.
    vapour_pressure : VapourPressure or None
        None for what stays in the pot.
    anchor : WaterAnchor or None
        Measured limiting activity coefficient in water.
    relative_to_ethanol : float or None
        A constant ``K / K_ethanol`` that replaces groups and vapour pressure.
    route : str
        How the limiting activity coefficient is found, and the vapour pressure.
    expected_factor : float
        Expected error of K in spirit, as a factor: 2 means between half and double.
    sources : str
        Where groups, vapour pressure and anchor come from.
    """

    id: str
    name: str
    formula: str
    family: str
    molar_mass_g: float
    odour: str
    odour_threshold: Threshold | None
    tb_k: float | None
    groups: tuple[tuple[int, int], ...]
    vapour_pressure: VapourPressure | None
    anchor: WaterAnchor | None
    relative_to_ethanol: float | None
    route: str
    expected_factor: float
    sources: str

    @property
    def stays(self) -> bool:
        """Whether it does not evaporate at all, so that K is nought."""
        return self.vapour_pressure is None and self.relative_to_ethanol is None

    @classmethod
    def own(
        cls,
        name: str,
        molar_mass_g: float,
        *,
        groups: Mapping[int, int] = MappingProxyType({}),
        tb_k: float | None = None,
        relative_to_ethanol: float | None = None,
    ) -> Compound:
        """Describe a compound that the library lacks.

        Parameters
        ----------
        name : str
            Its name, also its id.
        molar_mass_g : float
            Molar mass [g/mol].
        groups : mapping of int to int, optional
            Subgroups of modified UNIFAC (Dortmund), numbered as in ``thermo.unifac.DOUFSG``; needs ``tb_k``.
        tb_k : float, optional
            Boiling point at 101.325 kPa [K], 250 to 700, from which the vapour pressure is estimated.
        relative_to_ethanol : float, optional
            A constant ``K / K_ethanol`` instead of both.

        Returns
        -------
        Compound
            To be given to `potsim.liquid.traces.volatility` in place of a name.

        Raises
        ------
        RequestError
            If neither groups with a boiling point nor a ratio are given, or both; or if there is less
            than one of a group, or more groups than the molar mass has room for.

        Examples
        --------
        >>> Compound.own("pentanal", 86.13, groups={1: 1, 2: 3, 20: 1}, tb_k=376.2).route
        'groups alone, vapour pressure estimated from the boiling point'
        """
        require("molar_mass_g", molar_mass_g, 1.0, 2000.0, "g/mol")
        require("tb_k", tb_k, 250.0, 700.0, "K", hint="Give the boiling point in K; 0 °C is 273.15 K.")
        require("relative_to_ethanol", relative_to_ethanol, 0.0, 1e6)
        by_groups = bool(groups) and tb_k is not None
        if by_groups == (relative_to_ethanol is not None):
            raise RequestError(
                f"The volatility of '{name}' is not determined.",
                "Give either groups and tb_k, or relative_to_ethanol.",
            )
        _check_groups(name, groups, molar_mass_g)
        pressure = VapourPressure("own", tb_k=tb_k or 0.0, kf=1.07) if by_groups else None
        route = "groups alone, vapour pressure estimated from the boiling point"
        return cls(
            id=name,
            name=name,
            formula="",
            family="",
            molar_mass_g=molar_mass_g,
            odour="",
            odour_threshold=None,
            tb_k=tb_k,
            groups=tuple(sorted(groups.items())),
            vapour_pressure=pressure,
            anchor=None,
            relative_to_ethanol=relative_to_ethanol,
            route=route if by_groups else "constant ratio to ethanol",
            expected_factor=expected_factor("groups", "estimate") if by_groups else 3.0,
            sources="given by the user",
        )


def _check_groups(name: str, groups: Mapping[int, int], molar_mass_g: float) -> None:
    """Refuse more groups than a molar mass has room for, and fewer than one of any."""
    fewest = min(groups.values(), default=1)
    if fewest < 1:
        raise RequestError(f"'{name}' has {fewest} of a group.", "Count at least 1, or leave the group out.")
    count, most = sum(groups.values()), int(molar_mass_g / LIGHTEST_GROUP_G)
    if count > most:
        raise RequestError(
            f"'{name}' has {count:.3g} groups, but at {molar_mass_g:g} g/mol there is room for {most}.",
            "Count each subgroup of one molecule; the least of them weighs 12 g/mol.",
        )
