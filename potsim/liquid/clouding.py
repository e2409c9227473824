"""How much oil a spirit keeps clear, and at what strength it clouds when water is added."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.errors import RangeError, require
from potsim.liquid.compounds import compound
from potsim.liquid.pure import Array, FloatOrArray, plain, within
from potsim.liquid.solubility import (
    COLDEST_C,
    ROOM_C,
    WARMEST_C,
    Own,
    Solubility,
    prepare,
    solubility,
    solubility_law,
    solubility_mol_per_l,
)
from potsim.records import dataclass

__all__ = [
    "CHILLED_C",
    "COLDEST_C",
    "ROOM_C",
    "WARMEST_C",
    "Amounts",
    "ClearLimit",
    "Haze",
    "Load",
    "Solubility",
    "clear_limit",
    "haze",
    "learn",
    "load",
    "loads",
    "solubility",
    "solubility_law",
    "solubility_mol_per_l",
]

Concentrations = Mapping[str, ArrayLike]
State = Literal["clouds below", "always clear", "always cloudy"]
Verdict = Literal["clear", "may cloud", "cloudy"]

CHILLED_C = 5.0  # a fridge
VISIBLE_G_PER_L = 0.004  # oil dispersed that the eye sees: 3 to 5 mg/L, from memory
# Spreads in decades, one standard deviation; independent of each other.
COMMON = 0.2  # of all solubilities at once
EACH = 0.2  # of the solubility of each compound
SESQUITERPENES = 0.4  # of all sesquiterpenes at once, on top: none was measured
VISIBLE = 0.09  # of what the eye sees: 3 to 5 mg/L as 10 to 90 %
LOT, RELEASE = 0.2, 0.2  # of the oil in a lot of a botanical, and of what the still gets out of it
BASE = 0.35  # of what a base spirit brings of its own: kinds spread threefold either way
READING_ABV = 1.0  # how closely the strength at which a glass hazes is read [% vol]
TENTH = 1.2816  # standard deviations from the middle to the 10th and the 90th percentile
MOST_TAUGHT = 2.5  # standard deviations that a glass may move the forecast by
DENSEST_G_PER_L = 1500.0  # no oil weighs as much
_ABV = "Give % vol of ethanol at 20 °C."
_AT_C = "Give °C between freezing and a warm day; a fridge has 5."
_G_PER_L = "Give grams in a litre of spirit at 20 °C."
_GRID = np.linspace(0.0, 100.0, 401)  # strengths along a dilution, % vol


class Amounts(NamedTuple):
    """Where the oil comes from, for the error of its amount.

    Parameters
    ----------
    share : ndarray, shape (compounds, lots)
        Share of each compound that each lot brings, in the order of the concentrations; rows sum to 1 or 0.
    spread_log10 : ndarray, shape (lots,)
        Spread of the amount of each lot [decades].
    released : ndarray of bool, shape (lots,)
        Whether it is got out of a plant.
    """

    share: Array
    spread_log10: Array
    released: Array


class Load(NamedTuple):
    """How far spirits are filled with oil.

    Parameters
    ----------
    value : ndarray, shape (spirits,)
        At 1 and more a haze shows [-].
    part : ndarray, shape (compounds, spirits)
        Share of each compound, summing to 1; 0 where there is no load.
    lasting, passing : ndarray, shape (spirits,)
        Spread of its logarithm [decades]: of what the next batch will share, and of what it will not.
    """

    value: Array
    part: Array
    lasting: Array
    passing: Array

    def spread(self, taught: bool = False) -> Array:
        """Return the spread of the logarithm [decades], before any glass or after one."""
        lasting, passing = self.lasting**2, self.passing**2
        if taught:
            lasting = lasting * (1.0 - self.gain())
        return np.asarray(np.sqrt(lasting + passing))

    def gain(self) -> Array:
        """Return how much of what one glass shows is to be believed of the next batch, 0 to 1."""
        seen = self.lasting**2 + self.passing**2 + (READING_ABV * 0.04) ** 2
        return np.asarray(self.lasting**2 / seen)


@dataclass(frozen=True)
class Haze:
    """Oil that a spirit cannot hold.

    Parameters
    ----------
    mg_per_l : float
        Dispersed [mg/L].
    visible : bool
        Whether an eye sees it.
    composition : dict of str to float
        Share of each compound in what is dispersed, largest first, summing to 1; empty where it is clear.
    """

    mg_per_l: float
    visible: bool
    composition: dict[str, float]


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
        10th and 90th percentile of it [% vol].
    blame : dict of str to float
        Share of each compound in the load at ``abv``, largest first, summing to 1; where there is no limit,
        at the strength of the largest load. Empty without oil.
    at_c : float
        Temperature [°C].
    """

    state: State
    abv: float
    low_abv: float
    high_abv: float
    blame: dict[str, float]
    at_c: float = ROOM_C

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


def loads(
    names: Sequence[str],
    g_per_l: Array,
    abv: Array,
    own: Own | None = None,
    at_c: float = ROOM_C,
    amounts: Amounts | None = None,
) -> Load:
    """Return how far spirits are filled with oil, and how surely.

    Parameters
    ----------
    names : sequence of str
        Compounds.
    g_per_l : ndarray, shape (compounds, spirits)
        Grams of each in a litre at 20 °C.
    abv : ndarray, shape (spirits,)
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    at_c : float
        Temperature [°C], 0 to 40.
    amounts : Amounts, optional
        Where the oil comes from; without it the amounts are taken as known.

    Returns
    -------
    Load
        One value a spirit.

    Raises
    ------
    UnknownNameError
        If a compound is not known.

    Notes
    -----
    Drops that part from a spirit hold oil ``i`` in the share ``y_i`` and leave ``y_i S_i`` of it dissolved
    (ideal drops), so that with ``P`` grams of drops in a litre ``c_i = y_i (S_i + P)`` and ``sum of c_i /
    (S_i + P) = 1``. ``P`` is 4 mg/L here, what an eye sees. Crystals hold one compound alone: they show where
    ``c_i / (S_crystal + P)`` reaches 1. The load is the larger of the two.

    Its spread, to first order: each error in the logarithm of an amount or of a solubility weighs as much as
    the share of the load it bears on. Of the errors, those of solubilities, of the eye and of what the still
    gets out of a plant last from batch to batch, those of a lot do not.
    """
    own = own or {}
    prepare(name for name in names if name not in own)
    laws = [solubility_law(name, own) for name in names]
    counted = [k for k, law in enumerate(laws) if not law.never_clouds]
    part = np.zeros((len(names), *abv.shape))
    if not counted:
        nothing = np.zeros(abv.shape)
        return Load(nothing, part, nothing, nothing)
    held, liquid = g_per_l[counted], np.stack([laws[k].g_per_l(abv, at_c) for k in counted])
    frozen = liquid * np.array([laws[k].crystals(at_c) for k in counted])[:, None]
    drops = held / (liquid + VISIBLE_G_PER_L)
    crystals = np.where(frozen < liquid, held / (frozen + VISIBLE_G_PER_L), 0.0)
    dropped, first = drops.sum(axis=0), crystals.argmax(axis=0)
    columns = np.arange(abv.size)
    freezes = crystals[first, columns] > dropped
    value = np.where(freezes, crystals[first, columns], dropped)
    alone = np.arange(len(counted))[:, None] == first
    of_load = np.where(freezes, alone, drops / np.where(dropped > 0.0, dropped, 1.0))
    part[counted] = of_load
    dissolved = np.where(freezes, frozen, liquid)
    seen = of_load * dissolved / (dissolved + VISIBLE_G_PER_L)
    late = np.array([names[k] not in own and "sesquiterpene" in compound(names[k]).family for k in counted])
    lasting = (
        (COMMON * seen.sum(axis=0)) ** 2
        + EACH**2 * (seen**2).sum(axis=0)
        + (SESQUITERPENES * seen[late].sum(axis=0)) ** 2
        + (VISIBLE * (of_load - seen).sum(axis=0)) ** 2
    )
    passing = np.zeros(abv.shape)
    if amounts is not None:
        of_lot = amounts.share.T @ part
        passing = ((amounts.spread_log10[:, None] * of_lot) ** 2).sum(axis=0)
        lasting = lasting + (RELEASE * of_lot[amounts.released].sum(axis=0)) ** 2
    return Load(value, part, np.sqrt(lasting), np.sqrt(passing))


def load(
    concentrations_g_per_l: Concentrations, abv: ArrayLike, own: Own | None = None, at_c: float = ROOM_C
) -> FloatOrArray:
    """Return how far a spirit is filled with oil; at 1 and above a haze shows.

    Parameters
    ----------
    concentrations_g_per_l : mapping of str to array_like
        Grams of each compound in a litre of spirit at 20 °C; arrays broadcast against ``abv``.
    abv : array_like
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    at_c : float
        Temperature [°C], 0 to 40.

    Returns
    -------
    float or ndarray
        Load [-], see `loads`.

    Raises
    ------
    RangeError
        If a strength lies outside 0 to 100 % vol, a concentration outside 0 to 1500 g/L or the temperature
        outside 0 to 40 °C.
    UnknownNameError
        If a compound is not known.

    Examples
    --------
    >>> round(load({"anethole": 2.0}, 45.0), 2)
    0.6
    """
    strength = within("abv", abv, 0.0, 100.0, "% vol", _ABV)
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C", _AT_C)
    names = list(concentrations_g_per_l)
    columns = [_concentration(name, concentrations_g_per_l[name]) for name in names]
    *held, strengths = np.broadcast_arrays(*columns, strength)
    flat = np.stack([one.ravel() for one in held]) if held else np.zeros((0, strengths.size))
    found = loads(names, flat, strengths.ravel(), own, at_c).value
    return plain(found.reshape(strengths.shape))


def haze(
    concentrations_g_per_l: Mapping[str, float], abv: float, own: Own | None = None, at_c: float = ROOM_C
) -> Haze:
    """Return how much oil a spirit cannot hold, and which.

    Parameters
    ----------
    concentrations_g_per_l, abv, own, at_c
        See `load`; single numbers.

    Returns
    -------
    Haze
        Drops, or crystals where those part first.

    Raises
    ------
    RangeError, UnknownNameError
        See `load`.

    Examples
    --------
    >>> haze({"anethole": 2.0}, 45.0).visible
    False
    """
    strength = within("abv", [abv], 0.0, 100.0, "% vol", _ABV)
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C", _AT_C)
    names = [n for n in concentrations_g_per_l if not solubility_law(n, own).never_clouds]
    c = np.array([float(_concentration(name, concentrations_g_per_l[name])) for name in names])
    laws = [solubility_law(name, own) for name in names]
    s = np.array([float(law.g_per_l(strength, at_c)[0]) for law in laws])
    frozen = {
        name: float(held - kept * law.crystals(at_c))
        for name, held, kept, law in zip(names, c, s, laws, strict=True)
        if law.crystals(at_c) < 1.0 and held > kept * law.crystals(at_c)
    }
    dispersed = 0.0
    if c.size and (c / s).sum() > 1.0:
        low, high = 0.0, float(c.sum())
        for _ in range(100):
            dispersed = (low + high) / 2.0
            low, high = (dispersed, high) if (c / (s + dispersed)).sum() > 1.0 else (low, dispersed)
    parted = dict(zip(names, (dispersed * c / (s + dispersed)).tolist(), strict=True)) if dispersed else {}
    if sum(frozen.values()) > dispersed:
        parted = frozen
    total = sum(parted.values())
    ranked = sorted(parted, key=lambda name: -parted[name])
    composition = {name: parted[name] / total for name in ranked if parted[name] > 0.0}
    return Haze(1000.0 * total, total >= VISIBLE_G_PER_L, composition)


def clear_limit(
    concentrations_g_per_l: Mapping[str, float],
    abv: float,
    own: Own | None = None,
    at_c: float = ROOM_C,
    amounts: Amounts | None = None,
    shift_log10: float | None = None,
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
    at_c : float
        Temperature [°C], 0 to 40.
    amounts : Amounts, optional
        Where the oil comes from; without it the amounts are taken as known, and the band is that of the
        solubilities and the eye alone.
    shift_log10 : float, optional
        What one glass has taught: added to the logarithm of every solubility [decades], -2 to 2. None before
        any glass; the band is narrower after one, even if the shift is 0.

    Returns
    -------
    ClearLimit
        With the band and the compounds to blame.

    Raises
    ------
    RangeError
        If the strength is not more than 0 and at most 100 % vol, a concentration lies outside 0 to 1500 g/L,
        the temperature outside 0 to 40 °C or the shift outside -2 to 2.
    UnknownNameError
        If a compound is not known.

    Notes
    -----
    Water added to a spirit leaves the ethanol, so that every concentration goes with the strength: ``c_i(abv)
    = c_i abv / abv_given``, exactly, since abv counts the ethanol at 20 °C. Solubility falls faster: the
    limit is the highest strength at which the load of `loads` reaches 1. If it lies above the strength
    given, the spirit is cloudy as it stands, and would not be had it been given less water. Far below the
    limit it may clear again, when nearly all is water.

    The band: where the load, with 1.28 of its spreads added or taken off, reaches 1.

    Examples
    --------
    >>> limit = clear_limit({"anethole": 2.0}, 45.0)
    >>> limit.low_abv < limit.abv < limit.high_abv < 50.0
    True
    """
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C", _AT_C)
    shift = shift_log10 or 0.0
    require("shift_log10", shift, -2.0, 2.0, "decades")
    names, per_abv = _per_abv(concentrations_g_per_l, abv)
    path = loads(names, per_abv[:, None] * _GRID, _GRID, own, at_c, amounts)
    log_load = np.log10(np.maximum(path.value, 1e-300)) - shift
    spread = TENTH * path.spread(shift_log10 is not None)
    middle, low, high = (_highest(log_load + off) for off in (0.0, -spread, spread))
    states: dict[float, State] = {0.0: "always clear", 100.0: "always cloudy"}
    state = states.get(middle, "clouds below")
    at = int(np.argmax(log_load)) if state == "always clear" else int(np.searchsorted(_GRID, middle))
    part = path.part[:, min(at, _GRID.size - 1)]
    ranked = sorted(range(len(names)), key=lambda k: -part[k])
    blame = {names[k]: float(part[k]) for k in ranked if part[k] > 0.0}
    return ClearLimit(state, middle, low, high, blame, at_c)


class Taught(NamedTuple):
    """What one glass teaches.

    Parameters
    ----------
    seen : float
        Shift of all solubilities that puts the limit where the glass hazed [decades].
    believed : float
        What of it is carried to the next batch: the rest is the lot's, or the eye's.
    bounded : bool
        Whether it was cut to what lots and solubilities can explain.
    """

    seen: float
    believed: float
    bounded: bool


def learn(
    concentrations_g_per_l: Mapping[str, float],
    abv: float,
    clouded_at: float,
    own: Own | None = None,
    at_c: float = ROOM_C,
    amounts: Amounts | None = None,
) -> Taught:
    """Return what the strength at which a glass hazed says of the solubilities.

    Parameters
    ----------
    concentrations_g_per_l, abv, own, at_c, amounts
        See `clear_limit`; ``at_c`` is that of the glass.
    clouded_at : float
        Strength at which it hazed [% vol], more than 0 and at most ``abv``.

    Returns
    -------
    Taught
        The shift, positive where the spirit stays clear further down than computed.

    Raises
    ------
    RangeError
        If the glass hazed above the strength of the spirit, or as `clear_limit`.

    Notes
    -----
    At the strength where the haze showed the load is 1; what is computed there is the shift ``seen``. Of
    that, the share ``lasting variance / (lasting + passing + reading variance)`` is the best linear guess
    for the next batch. ``seen`` is cut at 2.5 of its spreads.
    """
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C", _AT_C)
    require("clouded_at", clouded_at, 0.0, abv, "% vol", open_low=True, hint=_ABV)
    names, per_abv = _per_abv(concentrations_g_per_l, abv)
    there = np.array([float(clouded_at)])
    found = loads(names, per_abv[:, None] * there, there, own, at_c, amounts)
    if float(found.value[0]) <= 0.0:
        return Taught(0.0, 0.0, False)
    seen, most = math.log10(float(found.value[0])), MOST_TAUGHT * float(found.spread()[0])
    cut = min(max(seen, -most), most)
    return Taught(seen, cut * float(found.gain()[0]), abs(seen) > most)


def _concentration(name: str, value: ArrayLike) -> Array:
    return within(f"concentration of {name}", value, 0.0, DENSEST_G_PER_L, "g/L", _G_PER_L)


def _per_abv(concentrations: Mapping[str, float], abv: float) -> tuple[list[str], Array]:
    """Return the names and what a dilution keeps: grams per litre and per % vol, shape (compounds,)."""
    strength = float(within("abv", abv, 0.0, 100.0, "% vol", _ABV))
    if strength == 0.0:
        hint = "Water without ethanol gets no weaker: ask `load` whether it is cloudy as it stands."
        raise RangeError("abv", "0 % vol", "more than 0 and at most 100 % vol", hint)
    kept = [float(_concentration(name, c)) / strength for name, c in concentrations.items()]
    return list(concentrations), np.array(kept)


def _highest(log_load: Array) -> float:
    """Return the highest strength of the grid at which a logarithm reaches 0; 0 nowhere, 100 at the top."""
    reached = np.flatnonzero(log_load >= 0.0)
    if reached.size == 0:
        return 0.0
    last = int(reached[-1])
    if last == _GRID.size - 1:
        return 100.0
    inside, outside = float(log_load[last]), float(log_load[last + 1])
    return float(_GRID[last] + (_GRID[1] - _GRID[0]) * inside / (inside - outside))
