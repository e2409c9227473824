"""How trace compounds leave the pot: released by the plant, held by its fat, carried over by the vapour.

Every source is followed apart, and all is linear in the amounts but for the fat, which grows with the dose;
any unit of amount will do. One run and many are followed alike: runs are a last axis of every array.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import factorial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import DTypeLike, NDArray

from potsim.errors import RangeError
from potsim.liquid import traces
from potsim.liquid.compounds import Compound
from potsim.liquid.pure import Array, distinct
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, States
from potsim.still.escape import (
    FILM,
    NODES,
    SHARES,
    Easy,
    Plant,
    Rows,
    Source,
    eased,
    escape,
    partition_table,
    rows_of,
    soaked,
    soaks_of,
    spread,
    warmth,
)

if TYPE_CHECKING:
    from potsim.still.courses import Courses, ManyStates

Index = NDArray[np.intp]

MANY_STEPS = 14  # of each of many runs: the fewest by which shares of oil are good to 1e-4 over drawn plans
BLOCK = 32  # of them taken at a time, so that the work stays in the processor's cache
STEPS = 64  # of the grid; the error falls with about the fifth power, and is 1e-6 at most here
EVEN_UPTO = 0.01  # depletion up to which the steps are even; beyond they widen in proportion


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
class Carried:
    """The course of trace compounds.

    Parameters
    ----------
    course : Course
        The run.
    rows : Rows
        What each row is of.
    first_s : ndarray, shape (2, rows)
        Easy time of washing and of diffusion before the first drop [s], see `ease`.
    depletion : ndarray, shape (n,)
        The grid, ln(W0 / W), from the first drop until 99.9 % of the charge is over.
    easy_s : Easy
        Easy time on the grid since the first drop.
    grid : Shares
        Shares on the grid, arrays of shape (rows, n).
    wanted : tuple of float
        Depletions that will be asked for again, see `holding`.
    """

    course: Course
    rows: Rows
    first_s: Array
    depletion: Array
    easy_s: Easy
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
    def plant(self) -> Plant:
        """What is in the plant."""
        return Plant(self.rows, self.first_s)

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
            given = float(s.max() if s.max() > end else s.min())
            raise RangeError.of("range", "depletion", given=given, allowed=[0.0, end], unit="")
        points, held = self._held
        known = _places(points, s)
        if known is None:
            return self._step_to(s)
        return Shares(held.in_plant[:, known], held.in_pot[:, known], held.over[:, known])

    def _before(self, s: Array) -> tuple[Index, Easy]:
        """Grid point before each depletion, and the easy time there."""
        before = np.clip(np.searchsorted(self.depletion, s, side="right") - 1, 0, self.depletion.size - 2)
        return before, Easy(*(part[:, before] for part in self.easy_s))

    def _step_to(self, s: Array) -> Shares:
        before, easy = self._before(s)
        start, width = self.depletion[before], s - self.depletion[before]
        steps = _steps(self.rows, self.plant, self.course.at(_nodes(start, width)), width, easy)
        there = self.grid.in_pot[:, before]
        gone = there * steps.lost
        return Shares(steps.plant, there - gone + steps.kept, self.grid.over[:, before] + gone + steps.left)

    def rate(self, depletion: Array) -> Array:
        """Share of all that can come out, for a unit of depletion, shape (rows, m)."""
        s = np.asarray(depletion, dtype=float)
        known = _places(self.depletion, s)
        if known is not None:
            return self.grid_rate[:, known]
        return self._rate(
            self.course.at(s), self.at(s).in_pot, self._easy_at(s) if self.rows.basket else None
        )

    def _easy_at(self, s: Array) -> Easy:
        """Easy time since the first drop at any depletions."""
        before, easy = self._before(s)
        width = s - self.depletion[before]
        along = _along(self.rows, self.course.at(_nodes(self.depletion[before], width)), width)
        return Easy(*(begin + _whole(gain) for begin, gain in zip(easy, along.ease_s, strict=True)))

    @cached_property
    def grid_rate(self) -> Array:
        """`rate` on the grid."""
        return self._rate(self.states, self.grid.in_pot, self.easy_s)

    def _rate(self, states: States, in_pot: Array, easy_s: Easy | None) -> Array:
        rows = self.rows
        along = _along(rows, states)
        flow = along.escape.take(rows.pot, axis=0) * in_pot
        if along.past_neck is not None and easy_s is not None:
            flow += along.past_neck * self.plant.released(easy_s, along.ease_s)
        return np.asarray(flow)


def _places(points: Array, depletion: Array) -> Index | None:
    """Places among rising points, if all of these are among them."""
    place = np.minimum(np.searchsorted(points, depletion), points.size - 1)
    return place if np.array_equal(points[place], depletion) else None


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
    each step is taken with the exact exponential, see `weights`. Each compound's total
    agrees within 1e-5 with an implicit integrator; what is released equals what is over and in the pot, to
    rounding.

    Linear in the amounts but for the fat, which grows with the dose.
    """
    rows = rows_of(sources, {} if own is None else own, course.still.conditions.pressure_pa, alone)
    depletion = _grid(course, also, steps)
    first = soaked(rows, *soaks_of(sources, rows.pressure_pa))
    width = np.diff(depletion)
    found = _steps(rows, Plant(rows, first), course.at(_nodes(depletion[:-1], width)), width)
    return Carried(course, rows, first, depletion, found.easy_s, _march(found))


def over_at(
    runs: Courses,
    sources: Sequence[Source],
    depletion: Array,
    pressure_pa: float,
    own: Mapping[str, Compound] | None = None,
) -> tuple[Rows, Array]:
    """Follow trace compounds through many runs, each as far as it is asked for.

    Parameters
    ----------
    runs : Courses
        The runs, n of them.
    sources : sequence of Source
        What brings the compounds; what differs from run to run is an array of shape (n,).
    depletion : ndarray, shape (m, n)
        Where shares are wanted.
    pressure_pa : float
        Pressure of the air [Pa].
    own : mapping of str to Compound, optional
        Compounds that the library lacks.

    Returns
    -------
    rows : Rows
        What each row is of.
    over : ndarray, shape (rows, m, n)
        Shares of all that can come out that are over, as of `Shares`; to a part in ten thousand.
    """
    rows = rows_of(sources, {} if own is None else own, pressure_pa)
    end = depletion.max(axis=0)
    even = EVEN_UPTO * np.sinh(np.linspace(0.0, 1.0, MANY_STEPS + 1)[:, None] * np.arcsinh(end / EVEN_UPTO))
    points = np.concatenate([even[:-1], depletion])
    order = np.argsort(points, axis=0, kind="stable")
    points, place = np.take_along_axis(points, order, axis=0), np.argsort(order, axis=0)[MANY_STEPS:]
    width = np.diff(points, axis=0)
    nodes = _nodes(points[:-1], width)
    states = Across(runs.at(nodes.reshape(-1, end.size).T), nodes.shape[:-1])
    times, soaks = soaks_of(sources, pressure_pa)
    soaks = np.broadcast_to(soaks, (*soaks.shape[:2], end.size))
    out = np.empty((rows.source.size, *depletion.shape), np.float32)
    for k in range(0, end.size, BLOCK):
        part = slice(k, k + BLOCK)
        some = replace(rows, lipid_l=rows.lipid_l[..., part]) if rows.lipid_l.ndim > 1 else rows
        first = soaked(some, times, soaks[..., part], np.float32)
        found = _steps(some, Plant(some, first), states.part(part), width[:, part])
        out[..., part] = np.take_along_axis(_march(found).over, place[None, :, part], axis=1)
    return rows, out


class Across:
    """States of many runs with the runs as the last axis, each quantity of `ManyStates` when asked for.

    Parameters
    ----------
    states : ManyStates
        The states, shape (n, m).
    shape : tuple of int
        Axes into which the m points fall.
    part : slice
        Which of the runs.
    """

    def __init__(self, states: ManyStates, shape: tuple[int, ...], part: slice = slice(None)) -> None:
        self._states, self._shape, self._part = states, shape, part

    def part(self, part: slice) -> Across:
        """Return some of the runs."""
        return Across(self._states, self._shape, part)

    def __getattr__(self, name: str) -> Array:
        return np.ascontiguousarray(getattr(self._states, name)[self._part].T).reshape(*self._shape, -1)


def _grid(course: Course, also: Sequence[float], steps: int) -> Array:
    """Depletions, dense at the first drop, with a point wherever the power changes."""
    even = EVEN_UPTO * np.sinh(np.linspace(0.0, np.arcsinh(EXHAUSTED / EVEN_UPTO), steps + 1))
    even[-1] = EXHAUSTED
    return distinct(np.concatenate([even, [leg.from_depletion for leg in course.legs], also]))


class _Along(NamedTuple):
    """What decides the fate of compounds at points of runs, for each unit of depletion or so wide a step."""

    escape: Array  # of what is in each pot, the fat's share taken off, shape (pots, ...)
    past_neck: (
        Array | None
    )  # share of each row that passes the neck at once, from a basket, shape (rows, ...)
    ease_s: Easy  # easy time [s]


def _along(
    rows: Rows, states: States | Across, width: float | Array = 1.0, dtype: DTypeLike = np.float64
) -> _Along:
    """Look up points; what is asked of the states has their shape, the last axis being runs if many."""

    def plain(values: float | Array) -> Array:
        return np.asarray(values, dtype)

    out = escape(rows.compounds, states, rows.pressure_pa, dtype)
    parts, k = _rows_first(out.partition), _rows_first(out.per_depletion)[rows.pot_compound]
    if rows.lipid_l.any():
        held = parts[rows.pot_compound] * plain(spread(rows.lipid_l, k.ndim) / states.pot_l)
        held += 1.0
        k /= held
    k *= plain(width)
    seconds = states.pot_mol / states.rate_mol_per_s * width
    warm, past = plain(seconds * warmth(states.pot_k)), None
    hold = spread(plain(rows.hold[1]), parts.ndim)
    if rows.basket:
        condensate = np.minimum(states.stream_x, traces.X_MAX)
        above = _rows_first(partition_table(rows.compounds, rows.pressure_pa)(condensate, dtype))
        vapour = plain(seconds * warmth(states.vapour_k))
        hangs = spread(rows.in_vapour, parts.ndim)
        past = np.where(hangs, _rows_first(out.past_neck).take(rows.compound, axis=0), plain(0.0))
        washing = np.concatenate([eased(parts, FILM, warm), eased(above, FILM, vapour)])
        parts, warm = np.concatenate([parts, above]), np.where(hangs, vapour, warm)
    else:
        washing = eased(parts, FILM, warm)
    return _Along(k, past, Easy(washing, eased(parts.take(rows.place, axis=0), hold, warm)))


def _rows_first(by_compound: Array) -> Array:
    return np.ascontiguousarray(np.moveaxis(by_compound, -1, 0))


class _Steps(NamedTuple):
    """What happens in steps; arrays of shape (rows, steps) or (rows, steps, runs)."""

    lost: Array  # share of what is in the pot at the start that comes over
    kept: Array  # share released during the step that is in the pot at its end
    left: Array  # share released during the step that is over at its end
    plant: Array  # share in the plant at the end, or of steps that follow on at all ends
    easy_s: Easy  # easy time since the first drop at the end, or at all ends


def _nodes(start: Array, width: Array) -> Array:
    """Nodes of steps, shape (3, steps, ...)."""
    return np.asarray(start + width * spread(NODES, 1 + width.ndim))


def _steps(
    rows: Rows, plant: Plant, states: States | Across, width: Array, easy: Easy | None = None
) -> _Steps:
    """Take steps that begin after such easy times; steps that follow on each other if left out.

    The states are those at the nodes of the steps.
    """
    along = _along(rows, states, width, plant.dtype)
    gained = [_whole(gain) for gain in along.ease_s]
    if easy is None:
        edges = Easy(*(_summed(gain) for gain in gained))
        begin = Easy(*(edge[:, :-1] for edge in edges))
        plants = plant.left(edges)
        before, after = plants[:, :-1], plants[:, 1:]
    else:
        begin, edges = easy, Easy(*(a + b for a, b in zip(easy, gained, strict=True)))
        before, plants = plant.left(easy), plant.left(edges)
        after = plants
    within = []
    for gain, first in zip(along.ease_s, begin, strict=True):
        within.append(np.einsum("mn,rn...->rm...", RUNNING.astype(plant.dtype), gain))
        within[-1] += first[:, None]
    given = plant.released(Easy(*within), along.ease_s)
    w = weights(np.moveaxis(along.escape, 1, 0))
    direct = None
    if along.past_neck is not None:
        direct = _whole(along.past_neck * given)
        given = given * (1.0 - along.past_neck)
    kept, left = (_whole(given, part.take(rows.pot, axis=1)) for part in (w.kept, w.left))
    if direct is not None:
        left += direct
    lost = w.lost.take(rows.pot, axis=0)
    kept, left = _parts(before - after, lost, np.maximum(kept, 0.0), np.maximum(left, 0.0))
    return _Steps(lost, kept, left, plants, edges)


def _whole(nodes: Array, weight: Array | None = None) -> Array:
    """Integral over steps of what is at their nodes, shape (rows, 3, ...), by weights of (3, rows, ...)."""
    if weight is None:
        return np.asarray(np.einsum("n,rn...->r...", SHARES.astype(nodes.dtype), nodes))
    total = nodes[:, 0] * weight[0]
    for k in (1, 2):
        total += nodes[:, k] * weight[k]
    return np.asarray(total)


def _steps_first(steps: Array) -> Array:
    """Swap rows and steps, so that what happens in one step lies together."""
    return np.ascontiguousarray(np.swapaxes(steps, 0, 1))


def _summed(steps: Array, first: Array | float = 0.0, stays: Array | None = None) -> Array:
    """What is there from the first point on, to which each step adds, and of which a share stays."""
    if stays is None and steps.ndim == 2:
        return np.concatenate([np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)], axis=1)
    added = _steps_first(steps)
    out = np.empty((len(added) + 1, *added.shape[1:]), added.dtype)
    out[0] = first
    shares = itertools.repeat(1.0) if stays is None else _steps_first(stays)
    for here, share, more, there in zip(out, shares, added, out[1:], strict=False):
        np.add(np.multiply(here, share, out=there), more, out=there)
    return _steps_first(out)


def _parts(released: Array, lost: Array, kept: Array, left: Array) -> tuple[Array, Array]:
    """Scale both parts of what is released, which is known exactly, so that they add up to it."""
    found = kept + left
    none = found <= 0.0
    unseen = none & (released > 0.0)
    if unseen.any():  # all is released long before the first look into a step that takes days
        kept, left = np.where(unseen, 1.0 - lost, kept), np.where(unseen, lost, left)
        found = kept + left
        none = found <= 0.0
    found[none] = 1.0
    scale = np.divide(released, found, out=found)
    kept *= scale
    left *= scale
    return kept, left


def _march(steps: _Steps) -> Shares:
    in_pot = _summed(steps.kept, 1.0 - steps.plant[:, 0], 1.0 - steps.lost)
    return Shares(steps.plant, in_pot, _summed(in_pot[:, :-1] * steps.lost + steps.left))


# --- A stiff decay over whole steps.


# ``dn/ds = f(s) - k(s) n`` over a step: what is there at the start decays by ``exp(-z)``, z the integral of
# k; of what the source gives, a part is left at the end. In ``u = (integral of k so far) / z`` the decay is
# exactly exponential, and ``f ds/du`` smooth however stiff it is: a parabola through three points serves.
ROOT = np.sqrt(15.0)
# Integrals from the start of the step to each node, of the parabola through the nodes: rows nodes.
RUNNING = np.array(
    [
        [5.0 / 36.0, 2.0 / 9.0 - ROOT / 15.0, 5.0 / 36.0 - ROOT / 30.0],
        [5.0 / 36.0 + ROOT / 24.0, 2.0 / 9.0, 5.0 / 36.0 - ROOT / 24.0],
        [5.0 / 36.0 + ROOT / 30.0, 2.0 / 9.0 + ROOT / 15.0, 5.0 / 36.0],
    ]
)
SMALL = 0.5  # below this z the moments are summed as series
SERIES = tuple(-2.0 * (-1.0) ** j / factorial(j + 3) for j in range(1, 13))  # of z, z^2 and so on
LEAST = 1e-30  # added where a decay is divided by, which may be nought


class Weights(NamedTuple):
    """Weights of steps; ``shape`` is that of one node of ``decay``."""

    lost: Array  # share of what is there at the start that has left at the end, ``1 - exp(-z)``, shape (...)
    kept: Array  # for the source at each node, what of it is still there at the end, shape (3, ...)
    left: Array  # what of it has left


def weights(decay: Array, width: float | Array = 1.0) -> Weights:
    """Return the weights of steps.

    Parameters
    ----------
    decay : ndarray, shape (3, ...)
        ``k`` at `NODES` of each step; 0 and more.
    width : ndarray
        Width of each step, broadcast against a node of ``decay``.

    Returns
    -------
    Weights
        For each step.

    Notes
    -----
    Exact for a constant ``k`` and a source that is a parabola; otherwise the error of a step falls with the
    sixth power of its width while ``k width`` is small.

    Examples
    --------
    >>> import numpy as np
    >>> from potsim.still.carry import weights
    >>> w = weights(np.full((3, 1), 2.0), np.array([0.5]))
    >>> bool(abs(w.kept.sum() - 0.5 * (1 - np.exp(-1))) < 1e-15)
    True
    """
    k = decay + LEAST
    shares, running = SHARES.astype(k.dtype), RUNNING.astype(k.dtype)
    mean = np.einsum("n,n...->...", shares, k)
    u = np.einsum("mn,n...->m...", running, k) / mean
    z = np.einsum("n,n...->...", shares, decay) * width
    still_there, gone = _moments(z)
    kept, left = np.empty_like(k), np.empty_like(k)
    further = u - u[[1, 2, 0]]  # each node from the next
    scale = width * mean / (k * further * -further[[2, 0, 1]])
    for i in range(3):
        a, b = u[i - 2], u[i - 1]
        both, product_ab = a + b, a * b
        for out, moment in ((kept, still_there), (left, gone)):
            part = moment[2] - both * moment[1]
            part += product_ab * moment[0]
            np.multiply(part, scale[i], out=out[i])
    return Weights(-np.expm1(-z), kept, left)


def _moments(z: Array) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Integrals over u of ``u^j exp(-z (1 - u))``, j = 0, 1, 2, and of ``u^j (1 - exp(-z (1 - u)))``."""
    low = np.minimum(z, SMALL)
    terms = SERIES if z.dtype == np.float64 else SERIES[:6]
    series = np.full_like(z, terms[-1])
    for factor in terms[-2::-1]:
        series *= low
        series += factor
    series *= low
    high = np.maximum(z, SMALL)
    m0 = -np.expm1(-high) / high
    m2 = (1.0 - 2.0 * (1.0 - m0) / high) / high
    gone_2 = np.where(z < SMALL, series, 1.0 / 3.0 - m2)
    there_2 = np.where(z < SMALL, 1.0 / 3.0 - series, m2)
    gone_1 = 0.5 * z * there_2
    there_1 = 0.5 - gone_1
    there_1 = np.where(z < SMALL, there_1, (1.0 - m0) / high)
    gone_0 = z * there_1
    there_0 = np.where(z < SMALL, 1.0 - gone_0, m0)
    return (there_0, there_1, there_2), (gone_0, gone_1, gone_2)
