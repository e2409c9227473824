"""How much of one oil dissolves in water, and how that grows with the strength."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import RangeError, UnknownNameError
from potsim.liquid.arrays import Array, FloatOrArray, plain, within

__all__ = ["Solubility", "solubility", "solubility_law", "solubility_mol_per_l"]

SLOPE_OF_LOG_KOW, SLOPE_CONSTANT = 0.93, 0.40  # Li & Yalkowsky 1994, see potsim/data/cosolvency.csv
LIQUID_IN_WATER = 0.5  # log10 of mol/L at Kow = 1; Ran & Yalkowsky 2001, see potsim/data/cosolvency.csv
_ABV = "Give % vol of ethanol at 20 °C."
_OWN = "Give log10 of the solubility in water in mol/L, the slope from pure water to pure ethanol, and g/mol."


@dataclass(frozen=True)
class Solubility:
    """How one compound dissolves in ethanol-water at 20 to 25 °C.

    Parameters
    ----------
    log10_s_water_mol_l : float
        Decadic logarithm of the solubility in pure water [mol/L]; ``math.inf`` for a compound that never
        clouds.
    slope : float
        Growth of the logarithm from pure water to pure ethanol, at least 0 [-].
    molar_mass_g : float
        Molar mass [g/mol].
    source : str
        Where the numbers come from.

    Raises
    ------
    RangeError
        If a number cannot be: a falling solubility, a molar mass of nothing, something that is no number.
    """

    log10_s_water_mol_l: float
    slope: float
    molar_mass_g: float
    source: str = ""

    def __post_init__(self) -> None:
        if not (-15.0 <= self.log10_s_water_mol_l <= 3.0 or self.never_clouds):
            allowed = "-15 to 3, or math.inf for a compound that never clouds"
            raise RangeError("log10_s_water_mol_l", f"{self.log10_s_water_mol_l:g}", allowed, _OWN)
        if not 0.0 <= self.slope <= 15.0:
            raise RangeError("slope", f"{self.slope:g}", "0 to 15", _OWN)
        if not 0.0 < self.molar_mass_g < 1e4:
            raise RangeError(
                "molar_mass_g", f"{self.molar_mass_g:g} g/mol", "more than 0 and less than 10000 g/mol", _OWN
            )

    @property
    def never_clouds(self) -> bool:
        """Whether the compound is taken as soluble in any amount."""
        return self.log10_s_water_mol_l == math.inf

    def log10_mol_l(self, abv: Array) -> Array:
        """Return the decadic logarithm of the solubility.

        Parameters
        ----------
        abv : ndarray
            Strength [% vol at 20 °C].

        Returns
        -------
        ndarray
            Logarithm of mol/L.
        """
        result: Array = self.log10_s_water_mol_l + self.slope * abv / 100.0
        return result

    def g_per_l(self, abv: Array) -> Array:
        """Return the solubility.

        Parameters
        ----------
        abv : ndarray
            Strength [% vol at 20 °C].

        Returns
        -------
        ndarray
            Grams in a litre of spirit [g/L].
        """
        result: Array = self.molar_mass_g * 10.0 ** self.log10_mol_l(abv)
        return result


Own = Mapping[str, Solubility]


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
    >>> round(solubility_law("linalool").slope, 2)
    3.16
    """
    if own is not None and compound_id in own:
        return own[compound_id]
    library = _library()
    if compound_id not in library:
        raise UnknownNameError("compound", compound_id, [*library, *(own or ())])
    return library[compound_id]


def solubility(compound_id: str, abv: ArrayLike, own: Own | None = None) -> FloatOrArray:
    """Return how many grams of one compound a litre of spirit dissolves at 20 to 25 °C.

    Parameters
    ----------
    compound_id : str
        Such as ``"linalool"``.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.

    Returns
    -------
    float or ndarray
        Solubility [g/L]; ``inf`` for a compound that is never held to cloud a spirit (its ``source`` says
        why).

    Raises
    ------
    RangeError
        If the strength lies outside 0 to 100 % vol.
    UnknownNameError
        If the compound is not known.

    Notes
    -----
    Log-linear cosolvency (Li & Yalkowsky 1994): ``log10 S = log10 S_water + s f`` with S in mol/L and f the
    volume fraction of ethanol, taken as abv/100 (the contraction on mixing, at most 4 %, is neglected). Where
    nothing was measured ``s = 0.93 log10 Kow + 0.40`` and ``log10 S_water = 0.5 - log10 Kow``.

    Expected error: 0.3 in log10 S, a factor of two; 0.4 where the solubility in water is estimated.

    Meant for dilute oil near room temperature: there is no temperature term, and cold clouds sooner. Nothing
    caps the law: where it gives more than about 700 g/L, the compound mixes with the spirit in all
    proportions.

    Examples
    --------
    >>> round(solubility("limonene", 40.0), 2)
    0.85
    """
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    return plain(solubility_law(compound_id, own).g_per_l(strength))


def solubility_mol_per_l(compound_id: str, abv: ArrayLike, own: Own | None = None) -> FloatOrArray:
    """Return how many moles of one compound a litre of spirit dissolves; otherwise as `solubility`.

    Parameters
    ----------
    compound_id, abv, own
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
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    return plain(10.0 ** solubility_law(compound_id, own).log10_mol_l(strength))


@cache
def _library() -> dict[str, Solubility]:
    masses = {row["id"]: float(row["molar_mass_g"]) for row in read_table("compounds.csv")}
    water = {row["compound_id"]: row for row in read_table("water_solubility.csv")}
    return {
        row["compound_id"]: _from_rows(row, water.get(row["compound_id"]), masses[row["compound_id"]])
        for row in read_table("cosolvency.csv")
    }


def _from_rows(row: dict[str, str], water: dict[str, str] | None, molar_mass_g: float) -> Solubility:
    if row["treatment"] == "freely soluble":
        return Solubility(math.inf, 0.0, molar_mass_g, f"never held to cloud: {row['note']}")
    log10_kow = float(row["log10_kow"])
    slope = SLOPE_OF_LOG_KOW * log10_kow + SLOPE_CONSTANT
    said = f"slope from log10 Kow {log10_kow:g} ({row['source']})"
    if water is None:
        return Solubility(
            estimated_in_water(log10_kow), slope, molar_mass_g, f"solubility in water and {said}"
        )
    measured = math.log10(float(water["solubility_mol_per_l"]))
    return Solubility(
        measured, slope, molar_mass_g, f"solubility in water measured ({water['confidence']}), {said}"
    )


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
    >>> estimated_in_water(4.5)
    -4.0
    """
    return LIQUID_IN_WATER - log10_kow
