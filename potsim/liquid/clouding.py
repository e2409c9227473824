"""How much of one oil dissolves in water, and how that grows with the strength."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import RangeError, UnknownNameError, require
from potsim.liquid.pure import Array, FloatOrArray, plain, within

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


# --- How much oil a spirit keeps clear, and at what strength it clouds when water is added.


Concentrations = Mapping[str, ArrayLike]
State = Literal["clouds below", "always clear", "always cloudy"]
Verdict = Literal["clear", "may cloud", "cloudy"]

ERROR_LOG10 = 0.3  # of a solubility in spirit; a factor of two
DENSEST_G_PER_L = 1500.0  # no oil weighs as much
_G_PER_L = "Give grams in a litre of spirit at 20 °C."
_GRID = np.linspace(0.0, 100.0, 401)  # strengths along a dilution, % vol


@dataclass(frozen=True)
class ClearLimit:
    """The strength at which a spirit clouds when it is diluted with water.

    Parameters
    ----------
    state : {'clouds below', 'always clear', 'always cloudy'}
        Whether there is such a strength; ``'always cloudy'``: even without any water.
    abv : float
        Clear above this strength [% vol]; 0 if always clear, 100 if always cloudy.
    low_abv, high_abv : float
        The same if all solubilities are larger or smaller by the error assumed [% vol].
    blame : dict of str to float
        Share of each compound in the load at ``abv``, largest first, summing to 1; where there is no limit,
        at the strength of the largest load. Empty without oil.
    """

    state: State
    abv: float
    low_abv: float
    high_abv: float
    blame: dict[str, float]

    def verdict(self, abv: float) -> Verdict:
        """Return what to expect of the same spirit brought to a strength.

        Parameters
        ----------
        abv : float
            Strength [% vol at 20 °C], more than 0.

        Returns
        -------
        {'clear', 'may cloud', 'cloudy'}
            ``'may cloud'`` within the band. Far below the limit, where nearly all is water, a spirit may
            clear again; that is still called cloudy here, since it clouds on the way.

        Raises
        ------
        RangeError
            If the strength is not more than 0 and at most 100 % vol.
        """
        require("abv", abv, 0.0, 100.0, "% vol", open_low=True, hint=_ABV)
        if self.high_abv == 0.0 or (abv > self.high_abv and self.state != "always cloudy"):
            return "clear"
        return "cloudy" if abv <= self.low_abv else "may cloud"


def load(concentrations_g_per_l: Concentrations, abv: ArrayLike, own: Own | None = None) -> FloatOrArray:
    """Return how far a spirit is filled with oil; at 1 and above it is cloudy.

    Parameters
    ----------
    concentrations_g_per_l : mapping of str to array_like
        Grams of each compound in a litre of spirit at 20 °C; arrays broadcast against ``abv``.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.

    Returns
    -------
    float or ndarray
        Load [-].

    Raises
    ------
    RangeError
        If a strength lies outside 0 to 100 % vol or a concentration outside 0 to 1500 g/L.
    UnknownNameError
        If a compound is not known.

    Notes
    -----
    ``load = sum of c_i / S_i(abv)``, with S as in `solubility`: oils share the liquid as if the drops of oil
    that part from it were an ideal mixture. Valid for dilute oil near 20 to 25 °C; cold clouds sooner. A load
    of 1 is uncertain by a factor of two. A compound that is solid when pure is counted by the solubility of
    its crystals: on the safe side, since in drops of other oils it dissolves better.

    Examples
    --------
    >>> round(load({"anethole": 2.0}, 45.0), 2)
    0.45
    """
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    total: Array = sum(_parts(concentrations_g_per_l, strength, own).values(), start=np.zeros_like(strength))
    return plain(total)


def shares(
    concentrations_g_per_l: Concentrations, abv: ArrayLike, own: Own | None = None
) -> dict[str, FloatOrArray]:
    """Return which compounds fill a spirit.

    Parameters
    ----------
    concentrations_g_per_l, abv, own
        See `load`.

    Returns
    -------
    dict of str to float or ndarray
        Share of each compound in the load, in the order given, summing to 1; 0 for all where there is no
        load.

    Raises
    ------
    RangeError, UnknownNameError
        See `load`.

    Examples
    --------
    >>> shares({"limonene": 0.1, "methanol": 1.0}, 40.0)
    {'limonene': 1.0, 'methanol': 0.0}
    """
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    parts = _parts(concentrations_g_per_l, strength, own)
    total: Array = sum(parts.values(), start=np.zeros_like(strength))
    divisor = np.where(total > 0.0, total, 1.0)
    return {name: plain(np.asarray(part / divisor)) for name, part in parts.items()}


def clear_limit(
    concentrations_g_per_l: Mapping[str, float],
    abv: float,
    own: Own | None = None,
    error_log10: float = ERROR_LOG10,
) -> ClearLimit:
    """Return the strength at which a spirit clouds when it is diluted with water.

    Parameters
    ----------
    concentrations_g_per_l : mapping of str to float
        Grams of each compound in a litre of the spirit at 20 °C, at the strength ``abv``.
    abv : float
        Strength at which the concentrations hold [% vol at 20 °C], more than 0. It need not be clear there.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    error_log10 : float
        Error of all solubilities at once for the band, in decades; 0.3 is a factor of two.

    Returns
    -------
    ClearLimit
        With the band and the compounds to blame.

    Raises
    ------
    RangeError
        If the strength is not more than 0 and at most 100 % vol, a concentration lies outside 0 to 1500 g/L,
        or the error outside 0 to 2.
    UnknownNameError
        If a compound is not known.

    Notes
    -----
    Water added to a spirit leaves the ethanol, so that every concentration goes with the strength: ``c_i(abv)
    = c_i abv / abv_given``, exactly, since abv counts the ethanol at 20 °C. Solubility falls faster: the
    limit is the highest strength at which ``sum of c_i / S_i`` reaches 1. If it lies above the strength
    given, the spirit is cloudy as it stands, and would not be had it been given less water. Far below the
    limit it may clear again, when nearly all is water.

    The band moves all solubilities together by ``error_log10``, as a common error of the law or of the
    temperature would; errors of single compounds that cancel in a mixture make a narrower one.

    Examples
    --------
    >>> limit = clear_limit({"anethole": 2.0}, 45.0)
    >>> round(limit.abv), round(limit.low_abv), round(limit.high_abv)
    (31, 0, 43)
    """
    require("error_log10", error_log10, 0.0, 2.0)
    names, per_abv = _per_abv(concentrations_g_per_l, abv)
    path = _weights(names, own) @ per_abv
    middle, low, high = (
        float(_highest(path, threshold)) for threshold in (1.0, 10.0**error_log10, 10.0**-error_log10)
    )
    states: dict[float, State] = {0.0: "always clear", 100.0: "always cloudy"}
    state = states.get(middle, "clouds below")
    at = float(_GRID[int(np.argmax(path))]) if state == "always clear" else middle
    parts = {
        name: float(kept * at / solubility_law(name, own).g_per_l(np.asarray(at)))
        for name, kept in zip(names, per_abv, strict=True)
    }
    total = sum(parts.values())
    ranked = sorted(parts, key=lambda name: -parts[name])
    blame = {name: parts[name] / total for name in ranked if parts[name] > 0.0}
    return ClearLimit(state, middle, low, high, blame)


def limit_abv(
    concentrations_g_per_l: Concentrations,
    abv: ArrayLike,
    own: Own | None = None,
    shift_log10: ArrayLike = 0.0,
) -> FloatOrArray:
    """Return the clear limit alone, for many spirits at once.

    Parameters
    ----------
    concentrations_g_per_l : mapping of str to array_like
        Grams of each compound in a litre at 20 °C, at the strength ``abv``; arrays broadcast.
    abv : array_like
        Strength at which the concentrations hold [% vol at 20 °C], more than 0.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    shift_log10 : array_like
        Added to the logarithm of every solubility, to draw from its error.

    Returns
    -------
    float or ndarray
        Clear above this strength [% vol]; 0: clear at every strength, 100: cloudy at every strength.

    Raises
    ------
    RangeError, UnknownNameError
        See `clear_limit`.

    Notes
    -----
    See `clear_limit`. Found on strengths 0.25 % vol apart and interpolated in the logarithm of the load; the
    error of that is below 0.01 % vol.

    Examples
    --------
    >>> round(limit_abv({"anethole": 2.0}, 45.0), 1)
    30.7
    """
    shift = within("shift_log10", shift_log10, -5.0, 5.0)
    names, per_abv = _per_abv(concentrations_g_per_l, abv)
    per_abv = per_abv.reshape(len(names), *(1,) * (shift.ndim - per_abv.ndim + 1), *per_abv.shape[1:])
    path = np.tensordot(_weights(names, own), per_abv, axes=1)
    path = np.broadcast_to(path, (len(_GRID), *np.broadcast_shapes(path.shape[1:], shift.shape)))
    return plain(_highest(path, 10.0**shift))


def _parts(concentrations: Concentrations, abv: Array, own: Own | None) -> dict[str, Array]:
    return {
        name: np.asarray(_concentration(name, c) / solubility_law(name, own).g_per_l(abv))
        for name, c in concentrations.items()
    }


def _concentration(name: str, value: ArrayLike) -> Array:
    return within(f"concentration of {name}", value, 0.0, DENSEST_G_PER_L, "g/L", _G_PER_L)


def _per_abv(concentrations: Concentrations, abv: ArrayLike) -> tuple[list[str], Array]:
    """Return the names and what a dilution keeps: grams per litre and per % vol, compounds first."""
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    if np.any(strength == 0.0):
        hint = "Water without ethanol gets no weaker: ask `load` whether it is cloudy as it stands."
        raise RangeError("abv", "0 % vol", "more than 0 and at most 100 % vol", hint)
    columns = [np.asarray(_concentration(n, c) / strength) for n, c in concentrations.items()]
    rows = np.broadcast_arrays(*columns, strength)[:-1]
    return list(concentrations), np.stack(rows) if rows else np.zeros((0, *strength.shape))


def _weights(names: list[str], own: Own | None) -> Array:
    """Return abv over solubility at every strength of the grid, shape (strengths, compounds)."""
    columns = [_GRID / solubility_law(name, own).g_per_l(_GRID) for name in names]
    return np.stack(columns, axis=1) if columns else np.zeros((len(_GRID), 0))


def _highest(path: Array, threshold: ArrayLike) -> Array:
    """Return the highest strength at which a load along a dilution reaches a threshold, or 0.

    Parameters
    ----------
    path : ndarray, shape (strengths, ...)
        Load at every strength of the grid.
    threshold : array_like
        The load asked for.

    Returns
    -------
    ndarray, shape (...)
        Strength [% vol]; 100 where even the strongest reaches it.
    """
    limit = np.asarray(threshold, dtype=float)
    reached = path >= limit
    last = len(path) - 1 - np.argmax(reached[::-1], axis=0)
    low = np.minimum(last, len(path) - 2)
    crossing = np.any(reached, axis=0) & ~reached[-1]
    inside, outside = (np.take_along_axis(path, i[np.newaxis], axis=0)[0] for i in (low, low + 1))
    inside, outside = np.where(crossing, inside, limit), np.where(crossing, outside, limit / 2.0)
    step = np.log(inside / limit) / np.log(inside / outside)
    between = _GRID[low] + step * (_GRID[1] - _GRID[0])
    result: Array = np.where(crossing, between, np.where(reached[-1], 100.0, 0.0))
    return result
