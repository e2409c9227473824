"""How trace compounds leave the pot: released by the plant, carried over by the vapour.

Everything is linear in the amounts, so any unit of amount will do, and every source is followed apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid.traces import Compound
from potsim.still.course import EXHAUSTED, Course, States
from potsim.still.escape import Compounds, escape
from potsim.still.exponential import NODES, SHARES, weights

Array = NDArray[np.float64]
Index = NDArray[np.intp]

STEPS = 96  # of the grid; the error falls with about the fifth power, and is 1e-7 here
EVEN_UPTO = 0.02  # depletion up to which the steps are even; beyond they widen in proportion
GRID = EVEN_UPTO * np.sinh(np.linspace(0.0, np.arcsinh(EXHAUSTED / EVEN_UPTO), STEPS + 1))
GRID[-1] = EXHAUSTED


@dataclass(frozen=True)
class Source:
    """Something that brings trace compounds: the charge itself, or one botanical.

    Parameters
    ----------
    amounts : mapping of str to float
        Compound id to all that can come out of it, in any unit.
    share_in_liquid : float
        Share of it that is in the charge before the first drop, 0 to 1.
    rate_per_s : float
        First-order rate at which the rest is released from the first drop on [1/s].
    in_vapour : bool
        Whether it is released into the rising vapour instead of the liquid.
    """

    amounts: Mapping[str, float]
    share_in_liquid: float = 1.0
    rate_per_s: float = 0.0
    in_vapour: bool = False


@dataclass(frozen=True)
class Shares:
    """Where each row is at given depletions, as shares of all that can come out of it.

    Parameters
    ----------
    in_plant, in_pot, over : ndarray, shape (rows, m)
        Still in the plant, dissolved in the pot, in the distillate; they sum to 1.
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
    source, compound : ndarray of int, shape (rows,)
        Which source and which compound a row is of.
    amount : ndarray, shape (rows,)
        All that can come out.
    """

    compounds: Compounds
    source: Index
    compound: Index
    amount: Array


@dataclass(frozen=True)
class Carried:
    """The course of trace compounds.

    Parameters
    ----------
    course : Course
        The run.
    sources : tuple of Source
        What brings the compounds.
    rows : Rows
        What each row is of.
    depletion : ndarray, shape (n,)
        The grid, ln(W0 / W), from the first drop until 99.9 % of the charge is over.
    grid : Shares
        Shares on the grid, arrays of shape (rows, n).
    """

    course: Course
    sources: tuple[Source, ...]
    rows: Rows
    depletion: Array
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
        steps = _steps(self.course, self.sources, self.rows, self.depletion[before], s)
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
        return self._rate(self.course.at(s), self.at(s).in_pot) if known is None else self.grid_rate[:, known]

    def _known(self, depletion: Array) -> Index | None:
        """Places on the grid, if all of these are points of it."""
        place = np.minimum(np.searchsorted(self.depletion, depletion), self.depletion.size - 1)
        return place if np.array_equal(self.depletion[place], depletion) else None

    def in_plant(self, depletion: float) -> Array:
        """Share of each source that is still in the plant at a depletion, shape (sources,)."""
        elapsed = self.course.at(np.array([depletion])).elapsed_s
        return np.asarray(_in_plant(self.sources, self.course, elapsed)[0])

    @cached_property
    def grid_rate(self) -> Array:
        """`rate` on the grid."""
        return self._rate(self.states, self.grid.in_pot)

    def _rate(self, states: States, in_pot: Array) -> Array:
        rows = self.rows
        out = escape(rows.compounds, states, _pressure(self.course))
        flow = out.per_depletion[:, rows.compound].T * in_pot
        vapour = np.flatnonzero(_in_vapour(self.sources, rows))
        if vapour.size:
            plant = _in_plant(self.sources, self.course, states.elapsed_s)
            release = _release(self.sources, states, plant)[:, rows.source[vapour]].T
            flow[vapour] += out.past_neck[:, rows.compound[vapour]].T * release
        return flow


def carry(
    course: Course,
    sources: Sequence[Source],
    own: Mapping[str, Compound] | None = None,
    also: Sequence[float] = (),
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
    With depletion ``s``, plant reservoir ``m``, amount ``n`` dissolved, rate of release ``c``:
    ``dm/dt = -c m``; ``dn/ds = c m dt/ds - k n``; the distillate gains ``k n`` for each unit of ``s``; k is
    the escape (`potsim.still.escape`). From a basket the share that passes the neck goes over at once, the
    rest runs back into the pot. The equations are stiff (k is 600 and more for pinene), so each step is
    taken with the exact exponential, see `potsim.still.exponential`. Each compound's total agrees within
    1e-5 with an implicit integrator; what is released equals what is over and dissolved, to rounding.
    """
    known = {} if own is None else own
    ids = list(dict.fromkeys(name for source in sources for name in source.amounts))
    place = {name: k for k, name in enumerate(ids)}
    pairs = [(k, place[name]) for k, source in enumerate(sources) for name in source.amounts]
    rows = Rows(
        compounds=tuple(known.get(name, name) for name in ids),
        source=np.array([k for k, _ in pairs], dtype=np.intp),
        compound=np.array([k for _, k in pairs], dtype=np.intp),
        amount=np.array([a for source in sources for a in source.amounts.values()], dtype=float),
    )
    depletion = _grid(course, also)
    steps = _steps(course, sources, rows, depletion[:-1], depletion[1:])
    return Carried(course, tuple(sources), rows, depletion, _march(steps, sources, rows))


def _grid(course: Course, also: Sequence[float]) -> Array:
    """Depletions, dense at the first drop, with a point wherever the power changes."""
    return np.unique(np.concatenate([GRID, [leg.from_depletion for leg in course.legs], also]))


@dataclass(frozen=True)
class _Steps:
    """What happens in steps; arrays of shape (steps, rows)."""

    lost: Array  # share of what is dissolved at the start that comes over
    kept: Array  # share released during the step that is dissolved at its end
    left: Array  # share released during the step that is over at its end
    plant_end: Array  # share in the plant at the end


def _steps(course: Course, sources: Sequence[Source], rows: Rows, start: Array, end: Array) -> _Steps:
    width, n = end - start, 3 * end.size
    nodes = (start + width * NODES[:, None]).ravel()
    states = course.at(np.concatenate([nodes, start, end]))
    inner = _head(states, n)
    out = escape(rows.compounds, inner, _pressure(course))
    plant = _in_plant(sources, course, states.elapsed_s)
    source, compound = rows.source, rows.compound
    w = weights(out.per_depletion.reshape(3, width.size, -1), width[:, None])
    given = _release(sources, inner, plant[:n]).take(source, axis=1).reshape(3, width.size, -1)
    direct = np.zeros(1)
    vapour = _in_vapour(sources, rows)
    if vapour.any():
        past = np.where(vapour, out.past_neck.take(compound, axis=1).reshape(given.shape), 0.0)
        direct = width[:, None] * np.tensordot(SHARES, past * given, axes=1)
        given *= 1.0 - past
    kept, left = (np.einsum("isr,isr->sr", part.take(compound, axis=2), given) for part in (w.kept, w.left))
    left += direct
    lost = w.lost.take(compound, axis=1)
    plant_start, plant_end = np.split(plant[n:].take(source, axis=1), 2)
    kept, left = _parts(plant_start - plant_end, lost, np.maximum(kept, 0.0), np.maximum(left, 0.0))
    return _Steps(lost, kept, left, plant_end)


def _parts(released: Array, lost: Array, kept: Array, left: Array) -> tuple[Array, Array]:
    """Scale both parts of what is released, which is known exactly, so that they add up to it."""
    found = kept + left
    unseen = (found <= 0.0) & (released > 0.0)
    if unseen.any():  # all is released long before the first look into a step that takes days
        kept, left = np.where(unseen, 1.0 - lost, kept), np.where(unseen, lost, left)
        found = kept + left
    scale = released / np.where(found > 0.0, found, 1.0)
    return kept * scale, left * scale


def _march(steps: _Steps, sources: Sequence[Source], rows: Rows) -> Shares:
    plant = np.array([1.0 - source.share_in_liquid for source in sources])[rows.source]
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


def _head(states: States, count: int) -> States:
    """The first so many states."""
    return States(**{name: column[:count] for name, column in vars(states).items()})


def _pressure(course: Course) -> float:
    return course.still.conditions.pressure_pa


def _in_vapour(sources: Sequence[Source], rows: Rows) -> NDArray[np.bool_]:
    return np.array([source.in_vapour for source in sources], dtype=bool)[rows.source]


def _in_plant(sources: Sequence[Source], course: Course, elapsed_s: Array) -> Array:
    """Share of each source still in the plant, shape (points, sources)."""
    rate = np.array([source.rate_per_s for source in sources])
    whole = np.array([1.0 - source.share_in_liquid for source in sources])
    return np.asarray(whole * np.exp(-np.outer(elapsed_s - course.first_drop_s, rate)))


def _release(sources: Sequence[Source], states: States, plant: Array) -> Array:
    """Share of each source released for each unit of depletion, shape (points, sources)."""
    rate = np.array([source.rate_per_s for source in sources])
    return np.asarray(rate * (states.pot_mol / states.rate_mol_per_s)[:, None] * plant)
