"""How trace compounds leave the pot: released by the plant, held by its fat, carried over by the vapour.

Every source is followed apart, and all is linear in the amounts but for the fat, which grows with the dose;
any unit of amount will do. The second part follows a few charges in a few stills at once, as a spout shows
them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import strength, traces
from potsim.liquid.compounds import Compound
from potsim.liquid.equilibrium import bubble_point
from potsim.liquid.pure import distinct
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, States
from potsim.still.courses import Family, Look
from potsim.still.escape import (
    NODES,
    ROOM_K,
    RUNNING,
    SHARES,
    Compounds,
    cold_partition_table,
    escape,
    partition_table,
    weights,
)
from potsim.still.still import Stills

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Pools = tuple[tuple[float, float], ...]  # shares, and the rate at which each is released [1/s]

STEPS = 96  # of the grid; the error falls with about the fifth power, and is 1e-7 here
EVEN_UPTO = 0.02  # depletion up to which the steps are even; beyond they widen in proportion

GAS_J_PER_MOL_K = 8.314462618
BOILING_SPIRIT_K = 356.15  # 83 °C, the temperature at which easy time is real time
ACTIVATION_J_PER_MOL = 25e3  # of washing and diffusion in soaked plant material; from memory, 20 to 30 kJ/mol
LIFTED = 0.01  # ease at the boil of what steam carries through the piece itself, without dissolving
# what the film of liquid around a piece does to washing, as wax does to diffusion; order of magnitude
FILM = 0.005
RAMP = (0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15))  # Gauss points of a stage of the soak


@dataclass(frozen=True)
class Soak:
    """Time that plant material lies in a liquid before the first drop.

    Parameters
    ----------
    seconds : float
        How long [s].
    x : float
        Mole fraction of ethanol in the liquid.
    from_k, to_k : float
        Temperature at the beginning and at the end, even in between [K].
    """

    seconds: float
    x: float
    from_k: float
    to_k: float


@dataclass(frozen=True)
class Source:
    """Something that brings trace compounds: the charge itself, or one botanical.

    Parameters
    ----------
    amounts : mapping of str to float
        Compound id to all that can come out of it, in any unit.
    washed, pools : tuple of (float, float)
        What is still in the plant at the beginning, as shares of it and rates at which each is released [1/s
        of easy time, see `ease`]: what lies at hand and only has to pass the film of liquid around the piece;
        and what diffuses out of it. What they leave of 1 is in the liquid. None: all is in the liquid.
    wax : float
        Fat and wax in a soaked piece per volume of liquid in it [-].
    lipid_l : float
        Fat and wax that it brings into the pot, in which compounds stay dissolved [L].
    soaks : tuple of Soak
        What happens to it before the first drop, in order.
    in_vapour : bool
        Whether it hangs in the rising vapour instead of lying in the liquid.
    """

    amounts: Mapping[str, float]
    washed: Pools = ()
    pools: Pools = ()
    wax: float = 0.0
    lipid_l: float = 0.0
    soaks: tuple[Soak, ...] = ()
    in_vapour: bool = False


@dataclass(frozen=True)
class Shares:
    """Where each row is at given depletions, as shares of all that can come out of it.

    Parameters
    ----------
    in_plant, in_pot, over : ndarray, shape (rows, m)
        Still in the plant, in the pot (dissolved there, or held by its fat), in the distillate; they sum to
        1.
    """

    in_plant: Array
    in_pot: Array
    over: Array


@dataclass(frozen=True)
class Rows:
    """One row for each compound of each source.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Each compound once; once a source where every source is followed alone.
    lipid_l : ndarray, shape (compounds,)
        Fat and wax in the liquid in which a compound is dissolved [L].
    source, compound : ndarray of int, shape (rows,)
        Which source and which compound a row is of.
    amount : ndarray, shape (rows,)
        All that can come out.
    hold : ndarray, shape (2, 1, rows)
        What holds back washing, then diffusion: the film, and the wax of the source.
    pool, per_s : ndarray, shape (2, pools, rows)
        What is in the plant at the beginning and how fast each part is released, washed and by diffusion.
    in_vapour : ndarray of bool, shape (rows,)
        Whether the source hangs in the vapour.
    """

    compounds: Compounds
    lipid_l: Array
    source: Index
    compound: Index
    amount: Array
    hold: Array
    pool: Array
    per_s: Array
    in_vapour: NDArray[np.bool_]

    def in_plant(self, easy_s: Array) -> Array:
        """Share of each row still in the plant after easy times [s] of shape (2, ..., rows)."""
        return np.asarray(sum((share for share, _ in self._pools(easy_s)), np.zeros(easy_s.shape[1:])))

    def released(self, easy_s: Array, gain: Array) -> Array:
        """Share of each row released for a unit in which easy time grows by ``gain``; (2, ..., rows)."""
        rates = (share * rate for share, rate in self._pools(easy_s, gain))
        return np.asarray(sum(rates, np.zeros(easy_s.shape[1:])))

    def _pools(self, easy_s: Array, gain: Array | None = None) -> Iterator[tuple[Array, Array]]:
        """What is left of each pool, and how fast that goes."""
        for kind, (shares, rates) in enumerate(zip(self.pool, self.per_s, strict=True)):
            for share, per_s in zip(shares, rates, strict=True):
                if share.any():
                    left = share * np.exp(-per_s * easy_s[kind])
                    yield left, per_s if gain is None else per_s * gain[kind]


@dataclass(frozen=True)
class Carried:
    """The course of trace compounds.

    Parameters
    ----------
    course : Course
        The run.
    rows : Rows
        What each row is of.
    depletion : ndarray, shape (n,)
        The grid, ln(W0 / W), from the first drop until 99.9 % of the charge is over.
    easy_s : ndarray, shape (2, n, rows)
        Easy time of washing and of diffusion on the grid [s], see `ease`.
    grid : Shares
        Shares on the grid, arrays of shape (rows, n).
    """

    course: Course
    rows: Rows
    depletion: Array
    easy_s: Array
    grid: Shares

    @cached_property
    def compound_ids(self) -> tuple[str, ...]:
        """Every compound, each once."""
        return tuple(c if isinstance(c, str) else c.id for c in self.rows.compounds)

    @cached_property
    def states(self) -> States:
        """States of the run on the grid."""
        return self.course.at(self.depletion)

    @cached_property
    def collected_l(self) -> Array:
        """Pooled distillate on the grid [L at 20 °C]."""
        return self.states.collected_l

    def at(self, depletion: Array) -> Shares:
        """Shares at any depletions, each by a step from the grid point before it.

        Parameters
        ----------
        depletion : ndarray, shape (m,)
            0 to the end of the grid.

        Returns
        -------
        Shares
            Arrays of shape (rows, m).

        Raises
        ------
        RangeError
            Beyond the grid.
        """
        s = np.asarray(depletion, dtype=float)
        end = float(self.depletion[-1])
        if s.size and not (s.min() >= 0.0 and s.max() <= end):
            raise RangeError(
                "depletion", f"{s.min():g} to {s.max():g}", f"0 to {end:g}", "Ask within the run."
            )
        known = self._known(s)
        if known is not None:
            return Shares(
                *(part[:, known] for part in (self.grid.in_plant, self.grid.in_pot, self.grid.over))
            )
        before = np.clip(np.searchsorted(self.depletion, s, side="right") - 1, 0, self.depletion.size - 2)
        steps = _steps(self.course, self.rows, self.depletion[before], s, lambda _: self.easy_s[:, before])
        there = self.grid.in_pot[:, before]
        gone = there * steps.lost.T
        return Shares(
            steps.plant_end.T, there - gone + steps.kept.T, self.grid.over[:, before] + gone + steps.left.T
        )

    def rate(self, depletion: Array) -> Array:
        """How fast each row comes over.

        Parameters
        ----------
        depletion : ndarray, shape (m,)
            0 to the end of the grid.

        Returns
        -------
        ndarray, shape (rows, m)
            Share of all that can come out, for each unit of depletion.
        """
        s = np.asarray(depletion, dtype=float)
        known = self._known(s)
        if known is not None:
            return self.grid_rate[:, known]
        there = self.at(s)
        return self._rate(self.course.at(s), there.in_pot, self._easy_s(s) if self._vapour.size else None)

    def _easy_s(self, depletion: Array) -> Array:
        """Easy time at any depletions [s], shape (2, m, rows)."""
        before = np.clip(
            np.searchsorted(self.depletion, depletion, side="right") - 1, 0, self.depletion.size - 2
        )
        nodes = self.depletion[before] + (depletion - self.depletion[before]) * NODES[:, None]
        along = _along(self.course, self.rows, nodes.ravel())
        width = (depletion - self.depletion[before])[:, None]
        gain = along.ease_s.reshape(2, 3, before.size, -1)
        return np.asarray(self.easy_s[:, before] + width * np.einsum("n,knsr->ksr", SHARES, gain))

    def _known(self, depletion: Array) -> Index | None:
        """Places on the grid, if all of these are points of it."""
        place = np.minimum(np.searchsorted(self.depletion, depletion), self.depletion.size - 1)
        return place if np.array_equal(self.depletion[place], depletion) else None

    @cached_property
    def _vapour(self) -> Index:
        return np.flatnonzero(self.rows.in_vapour)

    @cached_property
    def grid_rate(self) -> Array:
        """`rate` on the grid."""
        return self._rate(self.states, self.grid.in_pot, self.easy_s)

    def _rate(self, states: States, in_pot: Array, easy_s: Array | None) -> Array:
        rows, vapour = self.rows, self._vapour
        along = _along_states(self.course, rows, states)
        flow = along.per_depletion[:, rows.compound].T * in_pot
        if vapour.size and easy_s is not None:
            released = rows.released(easy_s, along.ease_s)
            flow[vapour] += (along.past_neck[:, rows.compound] * released)[:, vapour].T
        return flow


def ease(hold: Array, partition: Array, temperature_k: Array, boiling: bool) -> Array:
    """Return how easily a compound leaves a piece, against one that nothing holds back at 83 °C.

    Parameters
    ----------
    hold : ndarray
        Fat and wax in the soaked piece per volume of liquid in it [-]; `FILM` for washing.
    partition : ndarray
        Concentration of the compound in fat over that in the liquid [-].
    temperature_k : ndarray
        Temperature [K].
    boiling : bool
        Whether steam rises through the piece.

    Returns
    -------
    ndarray
        Easy seconds a second [-]; all are broadcast.

    Notes
    -----
    ``A(T) [1 / (1 + hold P) + lifted]``. Only what is dissolved in the liquid of a piece can diffuse; the
    share dissolved is ``1 / (1 + wax P)`` at equilibrium with the wax around it. What lies at hand has to
    pass the film of liquid around the piece, the slower the less of it dissolves there. At the boil some oil
    travels as vapour besides, whatever dissolves (`LIFTED`). Both run at rates that are fixed in easy time,
    so that what is left is a sum of exponentials in it.
    """
    arrhenius = np.exp(
        ACTIVATION_J_PER_MOL / GAS_J_PER_MOL_K * (1.0 / BOILING_SPIRIT_K - 1.0 / np.asarray(temperature_k))
    )
    return np.asarray(arrhenius * (1.0 / (1.0 + hold * partition) + (LIFTED if boiling else 0.0)))


def carry(
    course: Course,
    sources: Sequence[Source],
    own: Mapping[str, Compound] | None = None,
    also: Sequence[float] = (),
    alone: bool = False,
    steps: int = STEPS,
) -> Carried:
    """Follow trace compounds from the first drop until 99.9 % of the charge is over.

    Parameters
    ----------
    course : Course
        The run.
    sources : sequence of Source
        What brings the compounds.
    own : mapping of str to Compound, optional
        Compounds that the library lacks.
    also : sequence of float
        Depletions that the grid is to hold besides its own, as they will be asked for.
    alone : bool
        Whether each source is in a pot of its own: the fat of the others holds nothing back.
    steps : int
        Of the grid; fewer where a thousandth will do.

    Returns
    -------
    Carried
        One row for each compound of each source, in their order.

    Raises
    ------
    RangeError
        If pot or reflux are stronger than volatilities are known for.
    UnknownNameError
        If no compound goes by an id.

    Notes
    -----
    With depletion ``s``, easy time ``I`` and pools ``m_j`` of the plant, amount ``n`` in the pot:
    ``m_j = m_j0 exp(-r_j I)``, ``dI/dt`` by `ease`; ``dn/ds = sum r_j m_j dI/ds - k n``; the distillate gains
    ``k n`` for each unit of ``s``. ``k`` is the escape (`potsim.still.escape`) over ``1 + V_fat P / V_pot``:
    what is dissolved in the fat and wax of the bill does not evaporate. From a basket the share that passes
    the neck goes over at once, the rest runs back into the pot; the liquid around its pieces is taken as the
    condensate of the vapour, at most 96 % vol. The equations are stiff (k is 600 and more for pinene), so
    each step is taken with the exact exponential, see `potsim.still.exponential`. Each compound's total
    agrees within 1e-5 with an implicit integrator; what is released equals what is over and in the pot, to
    rounding.

    Linear in the amounts but for the fat, which grows with the dose.
    """
    rows = _rows(sources, {} if own is None else own, alone)
    depletion = _grid(course, also, steps)
    first = _soaked(course, sources, rows)
    found = _steps(course, rows, depletion[:-1], depletion[1:], lambda gained: _running(first, gained))
    return Carried(course, rows, depletion, _running(first, found.gained_s), _march(found, rows, first))


def _rows(sources: Sequence[Source], own: Mapping[str, Compound], alone: bool) -> Rows:
    pairs = [(k, name) for k, source in enumerate(sources) for name in source.amounts]
    keys = list(dict.fromkeys((k if alone else 0, name) for k, name in pairs))
    place = {key: n for n, key in enumerate(keys)}
    source = np.array([k for k, _ in pairs], dtype=np.intp)
    lipid_l = np.array([0.0 if one.in_vapour else one.lipid_l for one in sources])
    both = [(one.washed, one.pools) for one in sources]
    most = max((len(pools) for pair in both for pools in pair), default=0)
    padded = [[[*pools, *[(0.0, 0.0)] * (most - len(pools))] for pools in pair] for pair in both]
    pools = np.array(padded, dtype=float).reshape(len(sources), 2, most, 2)[source]
    wax = np.array([one.wax for one in sources], dtype=float)[source]
    return Rows(
        compounds=tuple(own.get(name, name) for _, name in keys),
        lipid_l=np.array([lipid_l[k] for k, _ in keys]) if alone else np.full(len(keys), lipid_l.sum()),
        source=source,
        compound=np.array([place[(k if alone else 0, name)] for k, name in pairs], dtype=np.intp),
        amount=np.array([a for one in sources for a in one.amounts.values()], dtype=float),
        hold=np.stack([np.full(wax.size, FILM), wax])[:, None],
        pool=np.moveaxis(pools[..., 0], 0, 2),
        per_s=np.moveaxis(pools[..., 1], 0, 2),
        in_vapour=np.array([one.in_vapour for one in sources], dtype=bool)[source],
    )


def _grid(course: Course, also: Sequence[float], steps: int) -> Array:
    """Depletions, dense at the first drop, with a point wherever the power changes."""
    even = EVEN_UPTO * np.sinh(np.linspace(0.0, np.arcsinh(EXHAUSTED / EVEN_UPTO), steps + 1))
    even[-1] = EXHAUSTED
    return distinct(np.concatenate([even, [leg.from_depletion for leg in course.legs], also]))


def _running(first: Array, gained: Array) -> Array:
    """Easy time at the ends of steps, shape (2, steps + 1, rows)."""
    return np.concatenate([first[:, None], first[:, None] + np.cumsum(gained, axis=1)], axis=1)


def _soaked(course: Course, sources: Sequence[Source], rows: Rows) -> Array:
    """Easy time of each row at the first drop [s], shape (2, rows)."""
    total = np.zeros((2, rows.source.size))
    for soak in dict.fromkeys(soak for one in sources for soak in one.soaks):
        times = np.array([one.soaks.count(soak) for one in sources], dtype=float)[rows.source]
        cold, warm = (part[rows.compound] for part in _partitions(course, rows, soak))
        for share, along in zip(SHARES, RAMP, strict=True):
            t = soak.from_k + (soak.to_k - soak.from_k) * along
            part = cold if soak.to_k == soak.from_k else _between(cold, warm, soak, t)
            total += share * soak.seconds * times * ease(rows.hold[:, 0], part, np.array(t), False)
    return total


def _between(cold: Array, warm: Array, soak: Soak, t: float) -> Array:
    """Partition at a temperature of a soak, its logarithm being even in 1/T."""
    along = (1.0 / soak.from_k - 1.0 / t) / (1.0 / soak.from_k - 1.0 / soak.to_k)
    some = cold > 0.0
    low, high = np.where(some, cold, 1.0), np.where(some, warm, 1.0)
    return np.where(some, low ** (1.0 - along) * high**along, 0.0)


def _partitions(course: Course, rows: Rows, soak: Soak) -> tuple[Array, Array]:
    """Partition of each compound at both temperatures of a soak, carried from 20 °C and the boil by 1/T."""
    pressure, x = _pressure(course), np.array([soak.x])
    cold = cold_partition_table(rows.compounds)(x)[0]
    warm = partition_table(rows.compounds, pressure)(x)[0]
    whole = Soak(0.0, soak.x, ROOM_K, _boil_k(soak.x, pressure))
    return _between(cold, warm, whole, soak.from_k), _between(cold, warm, whole, soak.to_k)


@lru_cache(maxsize=256)
def _boil_k(x: float, pressure_pa: float) -> float:
    return float(np.asarray(bubble_point(x, pressure_pa).temperature_k))


@dataclass(frozen=True)
class _Along:
    """What decides the fate of compounds at points of a run."""

    per_depletion: Array  # escape of what is in the pot, the fat's share taken off, shape (points, compounds)
    past_neck: Array  # share of what enters the vapour that passes the neck, shape (points, compounds)
    ease_s: Array  # easy time for each unit of depletion [s], shape (2, points, rows)


def _along(course: Course, rows: Rows, depletion: Array) -> _Along:
    return _along_states(course, rows, course.at(depletion))


def _along_states(course: Course, rows: Rows, states: States) -> _Along:
    out = escape(rows.compounds, states, _pressure(course))
    k = out.per_depletion
    if rows.lipid_l.any():
        k = k / (1.0 + rows.lipid_l * out.partition / states.pot_l[:, None])
    parts = out.partition.take(rows.compound, axis=1)
    kelvin = np.broadcast_to(states.pot_k[:, None], parts.shape)
    if rows.in_vapour.any():
        condensate = np.minimum(states.stream_x, traces.X_MAX)
        vapour = partition_table(rows.compounds, _pressure(course))(condensate).take(rows.compound, axis=1)
        parts = np.where(rows.in_vapour, vapour, parts)
        kelvin = np.where(rows.in_vapour, states.vapour_k[:, None], kelvin)
    seconds = (states.pot_mol / states.rate_mol_per_s)[:, None]
    return _Along(k, out.past_neck, seconds * ease(rows.hold, parts, kelvin, True))


@dataclass(frozen=True)
class _Steps:
    """What happens in steps; arrays of shape (steps, rows)."""

    lost: Array  # share of what is in the pot at the start that comes over
    kept: Array  # share released during the step that is in the pot at its end
    left: Array  # share released during the step that is over at its end
    plant_end: Array  # share in the plant at the end
    gained_s: Array  # easy time of the step, shape (2, steps, rows)


def _steps(course: Course, rows: Rows, start: Array, end: Array, easy_at: Callable[[Array], Array]) -> _Steps:
    width = end - start
    along = _along(course, rows, (start + width * NODES[:, None]).ravel())
    shape = (3, width.size, -1)
    gain, source = along.ease_s.reshape(2, 3, width.size, rows.source.size), rows.compound
    gained = width[:, None] * np.einsum("n,knsr->ksr", SHARES, gain)
    edges = easy_at(gained)  # at the start of each step, and of the one after the last where they follow on
    begin = edges[:, : width.size]
    inside = begin[:, None] + width[:, None] * np.einsum("mn,knsr->kmsr", RUNNING, gain)
    w = weights(along.per_depletion.reshape(shape), width[:, None])
    given = rows.released(inside, gain)
    direct = np.zeros(1)
    if rows.in_vapour.any():
        past = np.where(rows.in_vapour, along.past_neck.take(source, axis=1).reshape(given.shape), 0.0)
        direct = width[:, None] * np.tensordot(SHARES, past * given, axes=1)
        given *= 1.0 - past
    kept, left = (np.einsum("isr,isr->sr", part.take(source, axis=2), given) for part in (w.kept, w.left))
    left += direct
    lost = w.lost.take(source, axis=1)
    plant = rows.in_plant(edges)
    following_on = len(plant) > width.size
    plant_start, plant_end = plant[: width.size], plant[1:] if following_on else rows.in_plant(begin + gained)
    kept, left = _parts(plant_start - plant_end, lost, np.maximum(kept, 0.0), np.maximum(left, 0.0))
    return _Steps(lost, kept, left, plant_end, gained)


def _parts(released: Array, lost: Array, kept: Array, left: Array) -> tuple[Array, Array]:
    """Scale both parts of what is released, which is known exactly, so that they add up to it."""
    found = kept + left
    unseen = (found <= 0.0) & (released > 0.0)
    if unseen.any():  # all is released long before the first look into a step that takes days
        kept, left = np.where(unseen, 1.0 - lost, kept), np.where(unseen, lost, left)
        found = kept + left
    scale = released / np.where(found > 0.0, found, 1.0)
    return kept * scale, left * scale


def _march(steps: _Steps, rows: Rows, first: Array) -> Shares:
    plant = rows.in_plant(first)
    in_pot = _dissolved(1.0 - plant, 1.0 - steps.lost, steps.kept)
    over = np.zeros(in_pot.shape)
    np.cumsum(in_pot[:-1] * steps.lost + steps.left, axis=0, out=over[1:])
    return Shares(np.vstack([plant, steps.plant_end]).T, in_pot.T, over.T)


def _dissolved(first: Array, stays: Array, kept: Array) -> Array:
    """What is dissolved at every point, ``n[j + 1] = stays[j] n[j] + kept[j]``, in ever longer strides."""
    share, total = stays, kept  # of one step, then of two, four and so on that end at a point
    stride = 1
    while stride < len(share):
        ahead = total.copy()
        ahead[stride:] += share[stride:] * total[:-stride]
        share = np.concatenate([share[:stride], share[stride:] * share[:-stride]])
        total, stride = ahead, 2 * stride
    return np.vstack([first, share * first + total])


def _pressure(course: Course) -> float:
    return course.still.conditions.pressure_pa


# --- A few charges in a few stills followed at once, as a spout shows them: by volume, or by the clock.


TRACK_POINTS = 129  # of each track, evenly spaced in moles that are over
# Where the age of a well-mixed volume's content is looked at: Gauss-Legendre in 1 - exp(-age / mean age).
_AT, _WEIGHT = (
    0.5 * (v + shift) for v, shift in zip(np.polynomial.legendre.leggauss(8), (1.0, 0.0), strict=True)
)


@dataclass(frozen=True)
class TrackRows:
    """What differs from track to track; arrays of shape (k,).

    Parameters
    ----------
    ratio : ndarray
        Neck heat over the bench's net power, at the family's temperature of reference.
    time_scale : ndarray
        The bench's net power over that which the pot really gets: what the run takes longer.
    charge_abv, charge_l : ndarray
        Strength [% vol] and volume at 20 °C [L] of the charge.
    volatility_error : ndarray
        Relative error of ln alpha.
    start_s : ndarray
        Time of the first drop at the neck [s], were the power what it was known to be.
    hold_up_l : ndarray
        Spirit that the condenser holds back, well mixed [L].
    lost : ndarray
        Share of what passes the neck that is never collected, 0 to 1.
    """

    ratio: Array
    time_scale: Array
    charge_abv: Array
    charge_l: Array
    volatility_error: Array
    start_s: Array
    hold_up_l: Array
    lost: Array


@dataclass(frozen=True)
class Bench:
    """What all tracks have in common.

    Parameters
    ----------
    family : Family
        The tables.
    power_w : float
        Power that reaches the pot at the first drop, as far as it was known before [W].
    net_power_w : float
        The part of it that the pot does not shed, at the temperature of reference, where the time scale is 1.
    heat_share : float
        Share of the power on the plate that ``power_w`` is.
    room_k : float
        Temperature of the room [K].
    power_changes : tuple of (float, float)
        Collected volume [L] and power from there on [W].
    parrot_l : float
        What a parrot under the spout holds [L]; 0 for none.
    share : float
        Share of the charge's moles that is followed, below 1.
    """

    family: Family
    power_w: float
    net_power_w: float
    heat_share: float
    room_k: float
    power_changes: tuple[tuple[float, float], ...]
    parrot_l: float
    share: float

    @property
    def shed_w(self) -> float:
        """What the pot sheds at the temperature of reference [W]; held, as one run does not part it."""
        return self.power_w - self.net_power_w

    def stills(self, rows: TrackRows) -> Stills:
        """Return the stills of the rows under the first power.

        Parameters
        ----------
        rows : Rows
            The tracks.

        Returns
        -------
        Stills
            One for each; the pot's loss is as it was known, and what is left of the power carries the doubt.
        """
        above = self.family.reference_k - self.room_k
        net = self.net_power_w / rows.time_scale
        alike = np.ones_like(net)
        return Stills(
            power_w=net + self.shed_w,
            neck_loss_w_per_k=rows.ratio * self.net_power_w / above,
            pot_loss_w_per_k=self.shed_w / above * alike,
            room_k=self.room_k * alike,
            volatility_error=rows.volatility_error,
        )

    def arrives(self, rows: TrackRows) -> Array:
        """Power that reaches the pot over what was known of it, shape (k,)."""
        return np.asarray((self.net_power_w / rows.time_scale + self.shed_w) / self.power_w)


@dataclass(frozen=True)
class Points:
    """Quantities along tracks; arrays of one shape, the first axis that of the tracks.

    Parameters
    ----------
    over_mol, ethanol_mol : ndarray
        Moles that have passed the neck, and those of ethanol.
    over_l, over_g : ndarray
        The same as a volume at 20 °C [L] and as a mass [g].
    stream_abv, stream_x : ndarray
        Strength at the neck [% vol], and its mole fraction of ethanol.
    ethanol_per_l, water_per_l : ndarray
        Moles in a litre at the neck.
    pot_x, pot_mol : ndarray
        Mole fraction of ethanol in the pot, and moles there.
    pot_k, vapour_k : ndarray
        Temperatures [K].
    elapsed_s : ndarray
        Time since switch-on [s].
    """

    over_mol: Array
    ethanol_mol: Array
    over_l: Array
    over_g: Array
    stream_abv: Array
    stream_x: Array
    ethanol_per_l: Array
    water_per_l: Array
    pot_x: Array
    pot_mol: Array
    pot_k: Array
    vapour_k: Array
    elapsed_s: Array


class Tracks:
    """Tracks of a few rows.

    Parameters
    ----------
    bench : Bench
        What they have in common.
    rows : Rows
        What differs.

    Attributes
    ----------
    points : Points
        Along each track, shape (k, m).
    """

    def __init__(self, bench: Bench, rows: TrackRows) -> None:
        self.bench, self.rows = bench, rows
        self.charge_x = np.asarray(strength.x_from_abv(rows.charge_abv))
        ethanol, water = strength.moles(rows.charge_l, rows.charge_abv)
        self.charge_mol = np.asarray(ethanol + water)
        over = np.linspace(0.0, bench.share, TRACK_POINTS)
        self._depletion = -np.log1p(-over)
        self.points = self._follow()
        self._reach = 1.0 + float(self.points.over_l[:, -1].max())
        self._count = self.points.over_l.shape[0]
        steps = self._reach * np.arange(self._count)[:, None]
        self._flat = (self.points.over_l + steps).ravel()

    def _follow(self) -> Points:
        """Walk each leg of constant power, and put them together."""
        bench, rows, s = self.bench, self.rows, self._depletion
        stills = bench.stills(rows)
        walks = bench.family.walks(self.charge_x, stills)
        look = walks.at(s)
        columns = _columns(look)
        start_s = rows.start_s / bench.arrives(rows)  # the heat-up waits for the same share of the power
        seconds = look.seconds() * self.charge_mol[:, None] + start_s[:, None]
        hold = (rows.hold_up_l + bench.parrot_l)[:, None]
        for from_l, power_w in bench.power_changes:
            over_l = _litres(*self._over(columns["x"]))
            at = np.array([np.interp(from_l + h, row, s) for h, row in zip(hold[:, 0], over_l, strict=True)])
            here = at[:, None]
            x = np.array([np.interp(a, s, row) for a, row in zip(at, columns["x"], strict=True)])
            t = np.array([np.interp(a, s, row) for a, row in zip(at, seconds, strict=True)])
            changed = replace(stills, power_w=power_w * bench.arrives(rows))
            walks = bench.family.walks(x, changed)
            look = walks.at(np.maximum(s - here, 0.0))
            later = s > here
            columns = {name: np.where(later, v, columns[name]) for name, v in _columns(look).items()}
            left = (self.charge_mol * np.exp(-at))[:, None]
            seconds = np.where(later, t[:, None] + left * look.seconds(), seconds)
        return self._points(columns, seconds)

    def _over(self, x: Array) -> tuple[Array, Array]:
        """Moles collected, and those of ethanol."""
        mol = self.charge_mol[:, None]
        left = mol * np.exp(-self._depletion)
        over = mol - left
        ethanol = (self.charge_mol * self.charge_x)[:, None] - left * x
        return over, np.minimum(np.maximum(ethanol, 0.0), over)

    def _points(self, columns: dict[str, Array], seconds: Array) -> Points:
        over, ethanol = self._over(columns["x"])
        ethanol[:, 0] = 0.0
        litres = _litres(over, ethanol)
        y = columns["y"]
        litres_per_mol = _litres(np.ones_like(y), y)
        return Points(
            over_mol=over,
            ethanol_mol=ethanol,
            over_l=litres,
            over_g=_ETHANOL_G * ethanol + _WATER_G * (over - ethanol),
            stream_abv=columns["stream_abv"],
            stream_x=y,
            ethanol_per_l=y / litres_per_mol,
            water_per_l=(1.0 - y) / litres_per_mol,
            pot_x=columns["x"],
            pot_mol=self.charge_mol[:, None] * np.exp(-self._depletion),
            pot_k=columns["pot_k"],
            vapour_k=columns["vapour_k"],
            elapsed_s=seconds,
        )

    def at(self, over_l: Array, *names: str) -> tuple[Array, ...]:
        """Read quantities where so much has passed the neck.

        Parameters
        ----------
        over_l : ndarray, shape (k, n)
            Volumes [L], within the tracks.
        *names : str
            Fields of `Points`.

        Returns
        -------
        tuple of ndarray, shape (k, n)
            One for each name.
        """
        shift = self._reach * np.arange(self._count)[:, None]
        place = (over_l + shift).ravel()
        size = self.points.over_l.shape[1]
        row = np.searchsorted(self._flat, place, side="right") - 1
        first = np.repeat(np.arange(self._count) * size, over_l.shape[1])
        row = np.clip(row, first, first + size - 2)
        low = self._flat.take(row)
        part = (place - low) / (self._flat.take(row + 1) - low)
        out = []
        for name in names:
            flat = getattr(self.points, name).ravel()
            value = flat.take(row)
            out.append((value + part * (flat.take(row + 1) - value)).reshape(over_l.shape))
        return tuple(out)

    def where(self, name: str, value: Array) -> Array:
        """Find how much has passed the neck when a rising quantity takes a value.

        Parameters
        ----------
        name : str
            A field of `Points` that rises along every track.
        value : ndarray, shape (n,) or (k, n)
            The values.

        Returns
        -------
        ndarray, shape (k, n)
            Volumes [L]; the end of the track beyond it.
        """
        wanted = np.broadcast_to(value, (self._count, value.shape[-1]))
        rising = getattr(self.points, name)
        return np.stack(
            [np.interp(v, r, u) for v, r, u in zip(wanted, rising, self.points.over_l, strict=True)]
        )

    def mixed(self, over_l: Array, held_l: Array) -> tuple[Array, Array]:
        """What is in a well-mixed volume behind the neck: moles of ethanol and of water in a litre.

        Parameters
        ----------
        over_l : ndarray, shape (k, n)
            What has passed the neck [L].
        held_l : ndarray, shape (k, n)
            The volume that mixes [L]; where it is 0, the stream itself.

        Returns
        -------
        ethanol, water : ndarray, shape (k, n)
            Moles in a litre.

        Notes
        -----
        It fills first, and then gives as much as it takes: ``V dc/du = c_in - c``.
        """
        since = np.maximum(over_l - held_l, 0.0)
        some = np.maximum(held_l, 1e-9)
        fresh = -np.expm1(-since / some)[..., None]  # share that came since it was full
        ages = np.minimum(-np.log1p(-fresh * _AT) * some[..., None], since[..., None])
        later = over_l[..., None] - ages
        filled = np.minimum(some, over_l)[..., None] * _AT
        shape = (over_l.shape[0], -1)
        places = np.concatenate([later.reshape(shape), filled.reshape(shape)], axis=1)
        out = []
        for values in self.at(places, "ethanol_per_l", "water_per_l"):
            new, old = np.split(values, 2, axis=1)
            mean_new = new.reshape(later.shape) @ _WEIGHT
            mean_old = old.reshape(later.shape) @ _WEIGHT
            out.append(fresh[..., 0] * mean_new + (1.0 - fresh[..., 0]) * mean_old)
        return out[0], out[1]


_ETHANOL_G, _WATER_G = strength.molar_mass_of("ethanol"), strength.molar_mass_of("water")


def _columns(look: Look) -> dict[str, Array]:
    return {"x": look.x, **{name: look(name) for name in ("y", "pot_k", "vapour_k", "stream_abv")}}


def _litres(over_mol: Array, ethanol_mol: Array) -> Array:
    return np.asarray(strength.volume_from_moles(ethanol_mol, over_mol - ethanol_mol))
