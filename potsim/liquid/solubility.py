"""How much of one oil dissolves in spirit: its activity coefficient, turned round."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import VOL, UnknownNameError, require
from potsim.liquid.compounds import LIQUID_IN_WATER, ZERO_C_K, compound, from_groups
from potsim.liquid.pure import Array, FloatOrArray, R, plain, within
from potsim.liquid.strength import x_from_abv
from potsim.liquid.traces import LN10, ROOM_K, bend, ends_of, warming
from potsim.records import dataclass

__all__ = [
    "COLDEST_C",
    "ROOM_C",
    "WARMEST_C",
    "Solubility",
    "dilute",
    "estimated_in_water",
    "saturated",
    "solubility",
    "solubility_law",
    "solubility_mol_per_l",
]

COLDEST_C, ROOM_C, WARMEST_C = 0.0, 20.0, 40.0
FRIDGE_K = 278.15
NODES = np.linspace(0.0, 1.0, 11)  # volume fractions at which the warmth of solution is tabulated
USUAL_KELVIN = 600.0  # of a compound of one's own: 0.003 decades a kelvin, as most have by their groups
MOST_DILUTE = 0.0860  # `dilute` at its highest, where two volumes of oil lie beside five of spirit


@dataclass(frozen=True)
class Solubility:
    """How one compound dissolves in ethanol-water.

    Parameters
    ----------
    log10_s_water_mol_l : float
        Decadic logarithm of the solubility in pure water at 25 °C [mol/L], beside the pure liquid;
        ``math.inf`` for a compound that never clouds.
    slope : float
        Growth of the logarithm from pure water to pure ethanol, at least 0 [-].
    molar_mass_g : float
        Molar mass [g/mol].
    source : str
        Where the numbers come from.
    kelvin : tuple of float
        ``-d log10 S / d(1/T)`` at 11 strengths from water to ethanol [K].
    melting_k, heat_of_fusion_j_per_mol : float
        Of the crystals [K, J/mol]; 0 for what stays liquid.

    Raises
    ------
    RangeError
        If a number cannot be: a falling solubility, a molar mass of nothing, something that is no number.
    """

    log10_s_water_mol_l: float
    slope: float
    molar_mass_g: float
    source: str = ""
    kelvin: tuple[float, ...] = field(default=(USUAL_KELVIN,) * len(NODES), repr=False)
    melting_k: float = 0.0
    heat_of_fusion_j_per_mol: float = 0.0

    def __post_init__(self) -> None:
        if not self.never_clouds:
            require("log10_s_water_mol_l", self.log10_s_water_mol_l, -25.0, 3.0)
        require("slope", self.slope, 0.0, 25.0)
        require("molar_mass_g", self.molar_mass_g, 0.0, 1e4, "g/mol", open_low=True)

    @property
    def never_clouds(self) -> bool:
        """Whether the compound is taken as soluble in any amount."""
        return self.log10_s_water_mol_l == math.inf

    def g_per_l(self, abv: Array, at_c: float = ROOM_C) -> Array:
        """Return the solubility at strengths [% vol at 20 °C]: grams in a litre of spirit [g/L]."""
        return g_per_l_of_all([self], abv.ravel(), at_c).reshape(abv.shape)

    def crystals(self, at_c: float) -> float:
        """Return the solubility of the crystals over that of the liquid, 1 where it is liquid.

        Parameters
        ----------
        at_c : float
            Temperature [°C].

        Returns
        -------
        float
            Ideal: ``exp(-(H / R) (1/T - 1/T_melting))``.
        """
        kelvin = at_c + ZERO_C_K
        if kelvin >= self.melting_k:
            return 1.0
        return math.exp(-self.heat_of_fusion_j_per_mol / R * (1.0 / kelvin - 1.0 / self.melting_k))


Own = Mapping[str, Solubility]


def g_per_l_of_all(laws: Sequence[Solubility], abv: Array, at_c: float = ROOM_C) -> Array:
    """Return the solubilities [g/L] of compounds at strengths [% vol at 20 °C], shape (laws, n)."""
    water, slope, mass = (
        np.array([getattr(law, name) for law in laws])[:, None]
        for name in ("log10_s_water_mol_l", "slope", "molar_mass_g")
    )
    kelvin = np.array([law.kelvin for law in laws])
    f, t = abv / 100.0, at_c + ZERO_C_K
    left = np.minimum((f * (len(NODES) - 1)).astype(int), len(NODES) - 2)
    part = f * (len(NODES) - 1) - left
    warmth = kelvin[:, left] * (1.0 - part) + kelvin[:, left + 1] * part
    straight = water + slope * f + bend(f, slope) + warming(f, t, slope)
    return np.asarray(mass * 10.0 ** (straight + warmth * (1.0 / ROOM_K - 1.0 / t)))


def solubility_law(compound_id: str, own: Own | None = None) -> Solubility:
    """Return the numbers by which a compound dissolves.

    Parameters
    ----------
    compound_id : str
        Such as ``"linalool"``.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.

    Returns
    -------
    Solubility
        With its source in words.

    Raises
    ------
    UnknownNameError
        If neither ``own`` nor the library has the compound.

    Examples
    --------
    >>> from potsim.liquid.solubility import solubility_law
    >>> round(solubility_law("linalool").slope, 1)
    3.0
    """
    if own is not None and compound_id in own:
        return own[compound_id]
    if compound_id not in _library():
        raise UnknownNameError("compound", compound_id, [*_library(), *(own or ())])
    return _of(compound_id)


def solubility(
    compound_id: str, abv: ArrayLike, own: Own | None = None, at_c: float = ROOM_C
) -> FloatOrArray:
    """Return how many grams of one compound a litre of spirit dissolves beside drops of it.

    Parameters
    ----------
    compound_id : str
        Such as ``"linalool"``.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    at_c : float
        Temperature [°C], 0 to 40.

    Returns
    -------
    float or ndarray
        Solubility [g/L]; ``inf`` for a compound that is never held to cloud a spirit (its ``source`` says
        why).

    Raises
    ------
    RangeError
        If the strength lies outside 0 to 100 % vol or the temperature outside 0 to 40 °C.
    UnknownNameError
        If the compound is not known.

    Notes
    -----
    ``S = c / gamma``, with the activity coefficient of `potsim.liquid.traces.ln_gamma`, by which the
    compound also leaves the pot, and ``c`` the moles of ethanol and water in a litre.

    Expected error: 0.2 in log10 S common to all and 0.2 of each; 0.4 for sesquiterpenes, of which none was
    measured.

    Meant for dilute oil: where it gives more than about 75 g/L, oil and spirit mix in all proportions, see
    `saturated`.

    Examples
    --------
    >>> from potsim.liquid.solubility import solubility
    >>> round(solubility("limonene", 40.0), 2)
    0.42
    """
    strength = within("abv", abv, 0.0, 100.0, VOL)
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    return plain(solubility_law(compound_id, own).g_per_l(strength, at_c))


def solubility_mol_per_l(
    compound_id: str, abv: ArrayLike, own: Own | None = None, at_c: float = ROOM_C
) -> FloatOrArray:
    """Return how many moles of one compound a litre of spirit dissolves; otherwise as `solubility`.

    Parameters
    ----------
    compound_id, abv, own, at_c
        See `solubility`.

    Returns
    -------
    float or ndarray
        Solubility [mol/L].

    Raises
    ------
    RangeError, UnknownNameError
        See `solubility`.
    """
    law = solubility_law(compound_id, own)
    return plain(np.asarray(solubility(compound_id, abv, own, at_c)) / law.molar_mass_g)


def dilute(phi: ArrayLike) -> Array:
    """Return what a saturated solution says of the solubility at high dilution.

    Parameters
    ----------
    phi : array_like
        Volume fraction of oil in the saturated solution, 0 to 2/7.

    Returns
    -------
    ndarray
        Solubility at high dilution, as a volume of pure oil in a volume of spirit [-].

    Notes
    -----
    Dissolved oil makes a spirit a better solvent of oil: taken as a regular solution in volume fractions,
    ``ln gamma = (1 - phi)^2 ln gamma_inf``, beside drops of nearly pure oil. Measured tie lines of limonene
    at 84 to 91 % vol, which hold 8 to 19 % of oil, agree with the law at high dilution to 0.1 decades.

    Examples
    --------
    >>> from potsim.liquid.solubility import dilute
    >>> float(dilute(0.1).round(3))
    0.058
    """
    share = np.asarray(phi, dtype=float)
    return np.asarray(share ** (1.0 / (1.0 - share) ** 2))


def saturated(share: float) -> float:
    """Return the volume fraction of oil that a spirit takes up, from its solubility at high dilution.

    Parameters
    ----------
    share : float
        Volume of pure oil in a volume of spirit, by the law at high dilution.

    Returns
    -------
    float
        Volume fraction in the saturated solution; 1 where they mix in all proportions.

    Examples
    --------
    >>> from potsim.liquid.solubility import saturated
    >>> round(saturated(0.058), 2)
    0.1
    """
    if share >= MOST_DILUTE:
        return 1.0
    low, high = 0.0, 2.0 / 7.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if float(dilute(middle)) < share else (low, middle)
    return (low + high) / 2.0


def estimated_in_water(log10_kow: float) -> float:
    """Return the solubility of a liquid in water estimated from its partition coefficient.

    Parameters
    ----------
    log10_kow : float
        Decadic logarithm of the octanol-water partition coefficient [-].

    Returns
    -------
    float
        Decadic logarithm of mol/L, near 25 °C.

    Notes
    -----
    General solubility equation, ``log10 S = 0.5 - log10 Kow`` (Ran & Yalkowsky, J. Chem. Inf. Comput. Sci. 41
    (2001) 354); its deviation from the solubilities at hand is among the comparisons of `potsim evidence`.

    Examples
    --------
    >>> from potsim.liquid.solubility import estimated_in_water
    >>> estimated_in_water(4.5)
    -4.0
    """
    return LIQUID_IN_WATER - log10_kow


def prepare(compound_ids: Iterable[str]) -> None:
    """Tabulate several compounds at once, which is faster than one by one.

    Parameters
    ----------
    compound_ids : iterable of str
        Of the library; others are passed over.
    """
    missing = [name for name in compound_ids if name in _library() and name not in _KNOWN]
    tied = [name for name in missing if compound(name).anchor is not None]
    if tied:
        x = np.asarray(x_from_abv(100.0 * NODES), dtype=float)
        groups = [compound(name).groups for name in tied]
        cold, warm = (from_groups(groups, x, np.full(x.size, t)) / LN10 for t in (FRIDGE_K, ROOM_K))
        kelvin = (cold - warm) / (1.0 / FRIDGE_K - 1.0 / ROOM_K)
        ends = ends_of([compound(name) for name in tied])
        for name, end, row in zip(tied, ends.tolist(), kelvin, strict=True):
            _KNOWN[name] = _tied(name, end, row)
    for name in missing:
        if name not in _KNOWN:
            row = _library()[name]
            why = row["note"] or "dissolves by tens of grams even in water"
            _KNOWN[name] = Solubility(
                math.inf, 0.0, compound(name).molar_mass_g, f"never held to cloud: {why}"
            )


_KNOWN: dict[str, Solubility] = {}


def _of(compound_id: str) -> Solubility:
    if compound_id not in _KNOWN:
        prepare([compound_id])
    return _KNOWN[compound_id]


def _tied(name: str, ends: Sequence[float], kelvin: Array) -> Solubility:
    one = compound(name)
    water, ethanol = ends
    melting = _melting().get(name, {"melting_k": "0", "heat_of_fusion_j_per_mol": "0"})
    assert one.anchor is not None
    return Solubility(
        water,
        ethanol - water,
        one.molar_mass_g,
        f"in water: {one.anchor.kind} ({one.anchor.source}); in ethanol: groups",
        tuple(kelvin.tolist()),
        float(melting["melting_k"]),
        float(melting["heat_of_fusion_j_per_mol"]),
    )


@cache
def _library() -> dict[str, dict[str, str]]:
    return {row["compound_id"]: row for row in read_table("cosolvency.csv")}


@cache
def _melting() -> dict[str, dict[str, str]]:
    return {row["compound_id"]: row for row in read_table("melting.csv")}
