"""How much oil a spirit keeps clear, and at what strength it clouds when water is added."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from potsim.errors import VOL, RequestError, require, require_sort
from potsim.liquid.compounds import compound
from potsim.liquid.pure import Array, FloatOrArray, plain, within
from potsim.liquid.solubility import (
    COLDEST_C,
    ROOM_C,
    WARMEST_C,
    Own,
    Solubility,
    g_per_l_of_all,
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
    "Believed",
    "ClearLimit",
    "Dissolved",
    "Haze",
    "Knowing",
    "Load",
    "Oils",
    "Solubility",
    "clear_limit",
    "haze",
    "limit",
    "load",
    "loads",
    "pooled",
    "solubility",
    "solubility_law",
    "solubility_mol_per_l",
]

Concentrations = Mapping[str, ArrayLike]
State = Literal["clouds below", "always clear", "always cloudy"]
Verdict = Literal["clear", "may cloud", "cloudy"]
Knowing = Literal["nothing", "another batch", "this batch"]

CHILLED_C = 5.0  # a fridge
VISIBLE_G_PER_L = 0.004  # oil dispersed that the eye sees: 3 to 5 mg/L, from memory
# Spreads in decades, one standard deviation; independent of each other.
COMMON = 0.2  # of all solubilities at once
EACH = 0.2  # of the solubility of each compound
SESQUITERPENES = 0.4  # of all sesquiterpenes at once, on top: none was measured
VISIBLE = 0.09  # of what the eye sees: 3 to 5 mg/L as 10 to 90 %
LOT, RELEASE = 0.2, 0.2  # of the oil in a lot of a botanical, and of what the still gets out of it
BASE = 0.35  # of what a base spirit brings of its own: kinds spread threefold either way
DOSE = math.log10(4.0) / math.sqrt(12.0)  # of a dose in another batch: half to double, all alike likely
SEEN_LOG10 = 0.04  # of what a glass shows: 1 % vol, at a factor of two in 8 % vol
TENTH = 1.2816  # standard deviations from the middle to the 10th and the 90th percentile
MOST_SEEN = 10.0  # decades that a glass of one batch may tell: beyond that there is no oil to speak of
DENSEST_G_PER_L = 1500.0  # no oil weighs as much
_LN_10 = math.log(10.0)
_GRID = np.linspace(0.0, 100.0, 101)  # strengths along a dilution, % vol


class Oils(NamedTuple):
    """What is dissolved, a row for each compound of each lot that brings it.

    Parameters
    ----------
    names : tuple of str
        Compound of each row; one name may come back.
    lot : ndarray of int, shape (rows,)
        Lot of each row; -1 where the amount is known.
    spread_log10 : ndarray, shape (lots,)
        Spread of the amount that a lot brings [decades].
    released : ndarray of bool, shape (lots,)
        Whether it is got out of a plant.
    """

    names: tuple[str, ...]
    lot: NDArray[np.intp]
    spread_log10: Array
    released: NDArray[np.bool_]

    @classmethod
    def known(cls, names: Sequence[str]) -> Oils:
        """Return rows whose amounts are known."""
        none = np.zeros(0)
        return cls(tuple(names), np.full(len(names), -1, dtype=np.intp), none, none.astype(bool))


class Believed(NamedTuple):
    """What glasses have taught of the solubilities of one batch.

    Parameters
    ----------
    shift_log10 : float
        Added to the logarithm of every solubility [decades].
    knowing : {'nothing', 'another batch', 'this batch'}
        What the glass was of; the band narrows with it.
    seen : float, optional
        Shift that the glass of another batch showed [decades]; the band reaches as far.
    """

    shift_log10: float = 0.0
    knowing: Knowing = "nothing"
    seen: float | None = None


class Dissolved(NamedTuple):
    """Oil in a litre of pure alcohol.

    Parameters
    ----------
    oils : Oils
        What is dissolved.
    g_per_l : ndarray, shape (rows,)
        Grams of each row in a litre of pure alcohol at 20 °C.
    believed : Believed
        What glasses have taught of it.
    """

    oils: Oils
    g_per_l: Array
    believed: Believed = Believed()


class Load(NamedTuple):
    """How far spirits are filled with oil.

    Parameters
    ----------
    value : ndarray, shape (spirits,)
        At 1 and more a haze shows [-].
    part : ndarray, shape (rows, spirits)
        Share of each row, summing to 1; 0 where there is no load.
    lasting, passing : ndarray, shape (spirits,)
        Spread of its logarithm [decades]: of what the next batch will share, and of what it will not.
    lift : ndarray, shape (spirits,)
        By how much errors that do not agree raise the median of its logarithm [decades].
    unlike : ndarray, shape (spirits,)
        Spread of what lasts between two batches, whose doses and lots differ [decades].
    """

    value: Array
    part: Array
    lasting: Array
    passing: Array
    lift: Array
    unlike: Array

    def spread(self, knowing: Knowing = "nothing") -> Array:
        """Return the spread of the logarithm [decades], by what a glass has taught."""
        lasting, passing = self.lasting**2, self.passing**2
        if knowing == "this batch":
            return np.where(lasting + passing > 0.0, SEEN_LOG10, 0.0)
        if knowing == "another batch":
            lasting = self._left()
        return np.asarray(np.sqrt(lasting + passing))

    def edges(self, believed: Believed) -> tuple[Array, Array]:
        """Return what is to be added to the logarithm for its 10th and 90th percentile [decades].

        They reach as far as what the glass of another batch showed: less of it is believed than was seen, and
        that takes no doubt away.
        """
        spread, whole = self.spread(believed.knowing), np.maximum(self.spread(), 1e-9)
        lift = self.lift * np.minimum(spread / whole, 1.0) ** 2
        low, high = np.minimum(lift - TENTH * spread, 0.0), np.maximum(lift + TENTH * spread, 0.0)
        if believed.seen is None:
            return low, high
        off = believed.shift_log10 - believed.seen
        return np.minimum(low, off - TENTH * SEEN_LOG10), np.maximum(high, off + TENTH * SEEN_LOG10)

    def gain(self, knowing: Knowing = "nothing") -> Array:
        """Return how much of what a glass shows is to be believed of the next batch, 0 to 1."""
        lasting = self._left() if knowing == "another batch" else self.lasting**2
        return np.asarray(self._shared(lasting) / self._seen(lasting))

    def _left(self) -> Array:
        """Variance of what lasts, once a glass of another batch is known."""
        lasting = self.lasting**2
        seen = self._seen(lasting)
        return np.asarray(lasting - self._shared(lasting) ** 2 / np.where(seen > 0.0, seen, 1.0))

    def _shared(self, lasting: Array) -> Array:
        """Covariance of the logarithms of two batches of other doses."""
        return np.maximum(lasting - 0.5 * self.unlike**2, 0.0)

    def _seen(self, lasting: Array) -> Array:
        """Variance of what a glass shows."""
        return np.asarray(lasting + self.passing**2 + SEEN_LOG10**2)


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
        require("abv", abv, 0.0, 100.0, VOL, open_low=True)
        if self.high_abv == 0.0 or (abv > self.high_abv and self.state != "always cloudy"):
            return "clear"
        return "cloudy" if abv <= self.low_abv else "may cloud"


def loads(oils: Oils, g_per_l: Array, abv: Array, own: Own | None = None, at_c: float = ROOM_C) -> Load:
    """Return how far spirits are filled with oil, and how surely.

    Parameters
    ----------
    oils : Oils
        What is dissolved.
    g_per_l : ndarray, shape (rows, spirits)
        Grams of each row in a litre at 20 °C.
    abv : ndarray, shape (spirits,)
        Strength [% vol at 20 °C], 0 to 100.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    at_c : float
        Temperature [°C], 0 to 40.

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
    the share of the load it bears on. To second order, errors that do not agree raise the sum: by half of ln
    10 times the mean variance of the parts less the variance of the whole. Of the errors, those of
    solubilities, of the eye and of what the still gets out of a plant last from batch to batch, those of a
    lot do not. Doses and lots that differ move the share ``p_k`` of lot ``k`` in the load by ``ln 10 p_k (d_k
    - mean d)``, and with it what the error of each compound weighs in another batch.
    """
    laws, row, which, late = _that_cloud(oils.names, own) if own else _known_that_cloud(oils.names)
    part = np.zeros((len(oils.names), *abv.shape))
    if not row.size:
        nothing = np.zeros(abv.shape)
        return Load(nothing, part, nothing, nothing, nothing, nothing)
    mine = g_per_l[row]
    held = _sums(which, len(laws)) @ mine
    on_grid = abv is _GRID and not own
    liquid = _on_grid(oils.names, at_c) if on_grid else g_per_l_of_all(laws, abv, at_c)
    drops = held / (liquid + VISIBLE_G_PER_L)
    dropped = most = drops.sum(axis=0)
    of_load, dissolved = drops / np.where(dropped > 0.0, dropped, 1.0), liquid
    crystals = np.array([law.crystals(at_c) for law in laws])[:, None]
    if crystals.min() < 1.0:
        frozen = liquid * crystals
        parted = np.where(crystals < 1.0, held / (frozen + VISIBLE_G_PER_L), 0.0)
        most = np.maximum(parted.max(axis=0), dropped)
        freezes = most > dropped
        alone = np.arange(len(laws))[:, None] == parted.argmax(axis=0)
        of_load, dissolved = np.where(freezes, alone, of_load), np.where(freezes, frozen, liquid)
    bears = dissolved / (dissolved + VISIBLE_G_PER_L)  # of an error in a solubility
    seen = of_load * bears
    part[row] = mine_of = (of_load / np.where(held > 0.0, held, 1.0))[which] * mine
    of_lot = _sums(oils.lot[row], oils.spread_log10.size) @ mine_of
    all_seen, all_late, alone_seen = seen.sum(axis=0), seen[late].sum(axis=0), (seen**2).sum(axis=0)
    lasting = (
        (COMMON * all_seen) ** 2
        + EACH**2 * alone_seen
        + (SESQUITERPENES * all_late) ** 2
        + (VISIBLE * (1.0 - all_seen)) ** 2 * (most > 0.0)
        + (RELEASE * of_lot[oils.released].sum(axis=0)) ** 2
    )
    passing = ((oils.spread_log10[:, None] * of_lot) ** 2).sum(axis=0)
    alike = seen * bears
    of_parts = (COMMON**2 + EACH**2) * alike.sum(axis=0) + SESQUITERPENES**2 * alike[late].sum(axis=0)
    of_lots = (oils.spread_log10**2 + RELEASE**2 * oils.released) @ of_lot
    lift = 0.5 * math.log(10.0) * np.maximum(of_parts + of_lots - lasting - passing, 0.0)
    unlike = _unlike(oils, oils.lot[row], mine_of * bears[which], seen[which], of_lot, late[which])
    return Load(most, part, np.sqrt(lasting), np.sqrt(passing), lift, np.sqrt(unlike))


class _Clouding(NamedTuple):
    """Of oils, those compounds that can cloud."""

    laws: tuple[Solubility, ...]  # each compound once
    row: NDArray[np.intp]  # rows of theirs
    which: NDArray[np.intp]  # which of them each is
    late: NDArray[np.bool_]  # whether they are sesquiterpenes


def _that_cloud(names: tuple[str, ...], own: Own) -> _Clouding:
    prepare(name for name in names if name not in own)
    laws = {n: law for n in names if not (law := solubility_law(n, own)).never_clouds}
    place = {name: k for k, name in enumerate(laws)}
    row = np.array([k for k, name in enumerate(names) if name in laws], dtype=np.intp)
    which = np.array([place[names[k]] for k in row], dtype=np.intp)
    late = np.array([n not in own and "sesquiterpene" in compound(n).family for n in laws], dtype=bool)
    return _Clouding(tuple(laws.values()), row, which, late)


@lru_cache(maxsize=32)
def _known_that_cloud(names: tuple[str, ...]) -> _Clouding:
    return _that_cloud(names, {})


@lru_cache(maxsize=32)
def _on_grid(names: tuple[str, ...], at_c: float) -> Array:
    """Solubilities along a dilution of what can cloud, shape (compounds, strengths); asked for often."""
    return g_per_l_of_all(_known_that_cloud(names).laws, _GRID, at_c)


def _sums(group: NDArray[np.intp], count: int) -> Array:
    """What adds rows up by group, shape (count, rows); those of group -1 count nowhere."""
    return np.asarray(np.arange(count)[:, None] == group, dtype=float)


def _unlike(
    oils: Oils, lot: NDArray[np.intp], own: Array, seen: Array, of_lot: Array, late: NDArray[np.bool_]
) -> Array:
    """Variance of what errors of compounds come to in two batches whose doses and lots differ.

    The arrays have a row for each row of oil: its own part of the load, and that of its compound.
    """
    moves = np.where(oils.released, 2.0 * (DOSE**2 + oils.spread_log10**2), 0.0)
    if not moves.any():
        return np.zeros(of_lot.shape[1:])
    pulled, sums = moves @ of_lot**2, _sums(lot, moves.size)
    each = moves @ (sums @ own**2 - 2.0 * of_lot * (sums @ (own * seen)))
    each += (own * seen).sum(axis=0) * pulled
    late_of_lot = sums[:, late] @ own[late]
    together = moves @ (late_of_lot - own[late].sum(axis=0) * of_lot) ** 2
    return np.asarray(math.log(10.0) ** 2 * np.maximum(EACH**2 * each + SESQUITERPENES**2 * together, 0.0))


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
    >>> from potsim.liquid.clouding import load
    >>> round(load({"anethole": 2.0}, 45.0), 2)
    0.7
    """
    strength = within("abv", abv, 0.0, 100.0, VOL)
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    names = list(concentrations_g_per_l)
    columns = [_concentration(name, concentrations_g_per_l[name]) for name in names]
    *held, strengths = np.broadcast_arrays(*columns, strength)
    flat = np.stack([one.ravel() for one in held]) if held else np.zeros((0, strengths.size))
    found = loads(Oils.known(names), flat, strengths.ravel(), own, at_c).value
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
    >>> from potsim.liquid.clouding import haze
    >>> haze({"anethole": 2.0}, 45.0).visible
    False
    """
    strength = within("abv", [abv], 0.0, 100.0, VOL)
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    names = [n for n in concentrations_g_per_l if not solubility_law(n, own).never_clouds]
    c = np.array([float(_concentration(name, concentrations_g_per_l[name])) for name in names])
    laws = [solubility_law(name, own) for name in names]
    s = g_per_l_of_all(laws, strength, at_c)[:, 0] if laws else np.zeros(0)
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
    concentrations_g_per_l: Mapping[str, float], abv: float, own: Own | None = None, at_c: float = ROOM_C
) -> ClearLimit:
    """Return the strength at which a spirit clouds when it is diluted with water.

    Parameters
    ----------
    concentrations_g_per_l : mapping of str to float
        Grams of each compound in a litre of the spirit at 20 °C, at the strength ``abv``; taken as known.
    abv : float
        Strength at which the concentrations hold [% vol at 20 °C], more than 0. It need not be clear there.
    own : mapping of str to Solubility, optional
        The user's compounds; they go before the library.
    at_c : float
        Temperature [°C], 0 to 40.

    Returns
    -------
    ClearLimit
        With the band, of the solubilities and the eye, and the compounds to blame.

    Raises
    ------
    RangeError
        If the strength is not more than 0 and at most 100 % vol, a concentration lies outside 0 to 1500 g/L
        or the temperature outside 0 to 40 °C.
    UnknownNameError
        If a compound is not known.

    Notes
    -----
    See `limit`.

    Examples
    --------
    >>> from potsim.liquid.clouding import clear_limit
    >>> found = clear_limit({"anethole": 2.0}, 45.0)
    >>> found.low_abv < found.abv < found.high_abv < 55.0
    True
    """
    require_sort("concentrations_g_per_l", concentrations_g_per_l, Mapping, "concentrations")
    for name, grams in concentrations_g_per_l.items():
        if np.ndim(grams) > 0:
            raise RequestError.of("wrong_type", name, given=repr(grams), allowed="float")
    oils = Oils.known(list(concentrations_g_per_l))
    held = [float(_concentration(name, c)) for name, c in concentrations_g_per_l.items()]
    return limit(oils, np.array(held), abv, own, at_c)


def limit(
    oils: Oils,
    g_per_l: Array,
    abv: float,
    own: Own | None = None,
    at_c: float = ROOM_C,
    shift_log10: float = 0.0,
    knowing: Knowing = "nothing",
) -> ClearLimit:
    """Return the strength at which a spirit clouds, from oils whose amounts may be unsure.

    Parameters
    ----------
    oils : Oils
        What is dissolved.
    g_per_l : ndarray, shape (rows,)
        Grams of each row in a litre at 20 °C, at the strength ``abv``.
    abv, own, at_c
        See `clear_limit`.
    shift_log10 : float
        What a glass has taught: added to the logarithm of every solubility [decades], -10 to 10.
    knowing : {'nothing', 'another batch', 'this batch'}
        What the glass was of; the band narrows with it.

    Returns
    -------
    ClearLimit
        With the band and the compounds to blame.

    Raises
    ------
    RangeError, UnknownNameError
        See `clear_limit`; also if the shift lies outside -10 to 10.

    Notes
    -----
    Water added to a spirit leaves the ethanol, so that every concentration goes with the strength: ``c_i(abv)
    = c_i abv / abv_given``, exactly, since abv counts the ethanol at 20 °C. Solubility falls faster: the
    limit is the highest strength at which the load of `loads` reaches 1. If it lies above the strength
    given, the spirit is cloudy as it stands, and would not be had it been given less water. Far below the
    limit it may clear again, when nearly all is water.

    The band: where the 90th and the 10th percentile of the load reach 1.
    """
    within("at_c", at_c, COLDEST_C, WARMEST_C, "°C")
    require("shift_log10", shift_log10, -MOST_SEEN, MOST_SEEN, "decades")
    held = g_per_l * 100.0 / _strength(abv)
    return pooled([Dissolved(oils, held, Believed(shift_log10, knowing))], own, at_c)


def pooled(spirits: Sequence[Dissolved], own: Own | None = None, at_c: float = ROOM_C) -> ClearLimit:
    """Return the strength at which spirits poured together cloud.

    Parameters
    ----------
    spirits : sequence of Dissolved
        What each brings to a litre of pure alcohol of them all.
    own, at_c
        See `limit`.

    Returns
    -------
    ClearLimit
        With the band and the compounds to blame.

    Raises
    ------
    RangeError, UnknownNameError
        See `limit`.

    Notes
    -----
    Their loads add up, and those at the 10th and at the 90th percentile: errors are taken to agree.
    """
    loaded = [loads(one.oils, one.g_per_l[:, None] * _GRID / 100.0, _GRID, own, at_c) for one in spirits]
    lines = []
    for one, along in zip(spirits, loaded, strict=True):
        middle_of = np.log10(np.maximum(along.value, 1e-300)) - one.believed.shift_log10
        low_off, high_off = along.edges(one.believed)
        lines.append(np.stack([middle_of, middle_of + low_off, middle_of + high_off]))
    log_load = lines[0] if len(lines) == 1 else np.logaddexp.reduce(np.array(lines) * _LN_10) / _LN_10
    middle, low, high = map(_highest, log_load)
    states: dict[float, State] = {0.0: "always clear", 100.0: "always cloudy"}
    state = states.get(middle, "clouds below")
    at = int(np.argmax(log_load[0])) if state == "always clear" else int(np.searchsorted(_GRID, middle))
    at = min(at, _GRID.size - 1)
    names = [name for one in spirits for name in one.oils.names]
    each = [10.0 ** (line[0, at] - log_load[0, at]) for line in lines]
    parts = [along.part[:, at] * share for along, share in zip(loaded, each, strict=True)]
    return ClearLimit(state, middle, low, high, _blame(names, np.concatenate(parts)), at_c)


def _concentration(name: str, value: ArrayLike) -> Array:
    return within(name, value, 0.0, DENSEST_G_PER_L, "g/L", of="g_per_l")


def _strength(abv: float) -> float:
    """The strength of a spirit to be let down, refused if there is none."""
    require("abv", abv, 0.0, 100.0, VOL, open_low=True, of="let_down")
    return float(abv)


def _blame(names: Sequence[str], part: Array) -> dict[str, float]:
    """Share of each compound, largest first."""
    blame: dict[str, float] = {}
    for name, share in zip(names, part.tolist(), strict=True):
        if share > 0.0:
            blame[name] = blame.get(name, 0.0) + share
    return dict(sorted(blame.items(), key=lambda pair: -pair[1]))


def _highest(log_load: Array) -> float:
    """Return the highest strength of the grid at which a logarithm reaches 0; 0 nowhere, 100 at the top."""
    reached = np.flatnonzero(log_load >= 0.0)
    if reached.size == 0:
        return 0.0
    last = int(reached[-1])
    if last == _GRID.size - 1:
        return 100.0
    inside, outside = float(log_load[last]), float(log_load[last + 1])
    part = inside / (inside - outside)
    if 0 < last < _GRID.size - 2:  # the curve bends: what four points tell of it, in one step from the chord
        bend = 0.5 * (float(log_load[last - 1]) - inside - outside + float(log_load[last + 2]))
        part -= 0.5 * part * (1.0 - part) * bend / (inside - outside)
    return float(_GRID[last] + (_GRID[1] - _GRID[0]) * min(max(part, 0.0), 1.0))
