"""How trace compounds leave the pot: released by the plant, held by its fat, carried over by the vapour.

Every source is followed apart, and all is linear in the amounts but for the fat, which grows with the dose;
any unit of amount will do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import traces
from potsim.liquid.compounds import Compound
from potsim.liquid.equilibrium import bubble_point
from potsim.liquid.pure import distinct
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, States
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

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Pools = tuple[tuple[float, float], ...]  # shares, and the rate at which each is released [1/s]

STEPS = 64  # of the grid; the error falls with about the fifth power, and is 1e-6 at most here
EVEN_UPTO = 0.01  # depletion up to which the steps are even; beyond they widen in proportion

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
        Each compound once.
    pot_compound, lipid_l : ndarray, shape (pots,)
        A compound in a pot, and the fat and wax there [L]; one pot holds all sources, unless each is alone.
    source, compound, pot : ndarray of int, shape (rows,)
        Which source and which compound a row is of, and which compound in which pot.
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
    pot_compound: Index
    lipid_l: Array
    source: Index
    compound: Index
    pot: Index
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
    wanted : tuple of float
        Depletions that will be asked for again, see `holding`.
    """

    course: Course
    rows: Rows
    depletion: Array
    easy_s: Array
    grid: Shares
    wanted: tuple[float, ...] = ()

    def holding(self, wanted: Iterable[float]) -> Carried:
        """Return the same, with shares at depletions that will be asked for found together, and kept."""
        return replace(self, wanted=tuple(sorted(set(wanted))))

    @cached_property
    def _held(self) -> tuple[Array, Shares]:
        """Depletions at which shares are known, rising, and the shares."""
        if not self.wanted:
            return self.depletion, self.grid
        extra = np.array(self.wanted)
        there = self._step_to(extra)
        points = np.concatenate([self.depletion, extra])
        order = np.argsort(points, kind="stable")
        both = zip(vars(self.grid).values(), vars(there).values(), strict=True)
        return points[order], Shares(*(np.concatenate(pair, axis=1)[:, order] for pair in both))

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
        points, held = self._held
        known = _places(points, s)
        if known is None:
            return self._step_to(s)
        return Shares(held.in_plant[:, known], held.in_pot[:, known], held.over[:, known])

    def _step_to(self, s: Array) -> Shares:
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
        known = _places(self.depletion, s)
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
        flow = along.per_depletion[:, rows.pot].T * in_pot
        if vapour.size and easy_s is not None:
            released = rows.released(easy_s, along.ease_s)
            flow[vapour] += (along.past_neck[:, rows.compound] * released)[:, vapour].T
        return flow


def _places(points: Array, depletion: Array) -> Index | None:
    """Places among rising points, if all of these are among them."""
    place = np.minimum(np.searchsorted(points, depletion), points.size - 1)
    return place if np.array_equal(points[place], depletion) else None


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
    names = {name: n for n, name in enumerate(dict.fromkeys(name for _, name in pairs))}
    pots = {key: n for n, key in enumerate(dict.fromkeys((k if alone else 0, name) for k, name in pairs))}
    source = np.array([k for k, _ in pairs], dtype=np.intp)
    lipid_l = np.array([0.0 if one.in_vapour else one.lipid_l for one in sources])
    both = [(one.washed, one.pools) for one in sources]
    most = max((len(pools) for pair in both for pools in pair), default=0)
    padded = [[[*pools, *[(0.0, 0.0)] * (most - len(pools))] for pools in pair] for pair in both]
    pools = np.array(padded, dtype=float).reshape(len(sources), 2, most, 2)[source]
    wax = np.array([one.wax for one in sources], dtype=float)[source]
    return Rows(
        compounds=tuple(own.get(name, name) for name in names),
        pot_compound=np.array([names[name] for _, name in pots], dtype=np.intp),
        lipid_l=np.array([lipid_l[k] if alone else lipid_l.sum() for k, _ in pots]),
        source=source,
        compound=np.array([names[name] for _, name in pairs], dtype=np.intp),
        pot=np.array([pots[k if alone else 0, name] for k, name in pairs], dtype=np.intp),
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

    per_depletion: Array  # escape of what is in each pot, the fat's share taken off, shape (points, pots)
    past_neck: Array  # share of what enters the vapour that passes the neck, shape (points, compounds)
    ease_s: Array  # easy time for each unit of depletion [s], shape (2, points, rows)


def _along(course: Course, rows: Rows, depletion: Array) -> _Along:
    return _along_states(course, rows, course.at(depletion))


def _along_states(course: Course, rows: Rows, states: States) -> _Along:
    out = escape(rows.compounds, states, _pressure(course))
    k = out.per_depletion.take(rows.pot_compound, axis=1)
    if rows.lipid_l.any():
        held = rows.lipid_l * out.partition.take(rows.pot_compound, axis=1)
        k /= 1.0 + held / states.pot_l[:, None]
    parts, seconds = (
        out.partition.take(rows.compound, axis=1),
        (states.pot_mol / states.rate_mol_per_s)[:, None],
    )
    easy = ease(rows.hold, parts, states.pot_k[:, None], True)
    vapour = np.flatnonzero(rows.in_vapour)
    if vapour.size:
        condensate = np.minimum(states.stream_x, traces.X_MAX)
        above = partition_table(rows.compounds, _pressure(course))(condensate)
        parts = above.take(rows.compound[vapour], axis=1)
        easy[..., vapour] = ease(rows.hold[..., vapour], parts, states.vapour_k[:, None], True)
    return _Along(k, out.past_neck, seconds * easy)


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
    gain = along.ease_s.reshape(2, 3, width.size, rows.source.size)
    gained = width[:, None] * np.einsum("n,knsr->ksr", SHARES, gain)
    edges = easy_at(gained)  # at the start of each step, and of the one after the last where they follow on
    begin = edges[:, : width.size]
    inside = begin[:, None] + width[:, None] * np.einsum("mn,knsr->kmsr", RUNNING, gain)
    w = weights(along.per_depletion.reshape(shape), width[:, None])
    given = rows.released(inside, gain)
    direct = np.zeros(1)
    if rows.in_vapour.any():
        past = np.where(rows.in_vapour, along.past_neck.take(rows.compound, axis=1).reshape(given.shape), 0.0)
        direct = width[:, None] * np.tensordot(SHARES, past * given, axes=1)
        given *= 1.0 - past
    kept, left = (np.einsum("isr,isr->sr", part.take(rows.pot, axis=2), given) for part in (w.kept, w.left))
    left += direct
    lost = w.lost.take(rows.pot, axis=1)
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
