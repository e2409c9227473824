"""Weights of a stiff linear decay with a source, for whole steps at once.

``dn/ds = f(s) - k(s) n`` over a step: what is there at the start decays by ``exp(-z)``,
``z = integral of k ds``; of what the source gives, a part is left at the end. In the variable
``u = (integral of k so far) / z`` the decay is exactly exponential, and ``f ds/du`` is smooth however stiff
the decay, so that a parabola through three points of it serves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from math import factorial

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import compounds, strength, traces
from potsim.liquid.compounds import Compound
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, States
from potsim.still.courses import Family, Look
from potsim.still.still import Stills
from potsim.still.tables import SmoothFit

Array = NDArray[np.float64]

_ROOT = np.sqrt(15.0)
NODES = np.array([0.5 - _ROOT / 10.0, 0.5, 0.5 + _ROOT / 10.0])  # Gauss-Legendre points of a step
SHARES = np.array([5.0, 8.0, 5.0]) / 18.0  # and their weights
# Integrals from the start of the step to each node, of the parabola through the nodes: rows nodes.
RUNNING = np.array(
    [
        [5.0 / 36.0, 2.0 / 9.0 - _ROOT / 15.0, 5.0 / 36.0 - _ROOT / 30.0],
        [5.0 / 36.0 + _ROOT / 24.0, 2.0 / 9.0, 5.0 / 36.0 - _ROOT / 24.0],
        [5.0 / 36.0 + _ROOT / 30.0, 2.0 / 9.0 + _ROOT / 15.0, 5.0 / 36.0],
    ]
)
SMALL = 0.5  # below this z the moments are summed as series
SERIES = tuple(-2.0 * (-1.0) ** j / factorial(j + 3) for j in range(1, 13))  # of z, z^2 and so on
LEAST = 1e-200  # added where a decay is divided by, which may be nought


@dataclass(frozen=True)
class Weights:
    """Weights of steps; ``shape`` is that of one node of ``decay``.

    Parameters
    ----------
    lost : ndarray, shape (...)
        Share of what is there at the start that has left at the end, ``1 - exp(-z)``.
    kept, left : ndarray, shape (3, ...)
        For the source at each node: what of it is still there at the end, and what has left.
    """

    lost: Array
    kept: Array
    left: Array


def weights(decay: Array, width: Array) -> Weights:
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
    >>> w = weights(np.full((3, 1), 2.0), np.array([0.5]))
    >>> bool(abs(w.kept.sum() - 0.5 * (1 - np.exp(-1))) < 1e-15)
    True
    """
    k = decay + LEAST
    mean = np.tensordot(SHARES, k, axes=1)
    u = np.tensordot(RUNNING, k, axes=1) / mean
    z = np.tensordot(SHARES, decay, axes=1) * width
    still_there, gone = _moments(z)
    kept, left = np.empty_like(k), np.empty_like(k)
    for i in range(3):
        a, b = u[i - 2], u[i - 1]
        scale = width * mean / (k[i] * (u[i] - a) * (u[i] - b))
        kept[i] = scale * (still_there[2] - (a + b) * still_there[1] + a * b * still_there[0])
        left[i] = scale * (gone[2] - (a + b) * gone[1] + a * b * gone[0])
    return Weights(-np.expm1(-z), kept, left)


def _moments(z: Array) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Integrals over u of ``u^j exp(-z (1 - u))``, j = 0, 1, 2, and of ``u^j (1 - exp(-z (1 - u)))``."""
    low = np.minimum(z, SMALL)
    series = np.full_like(z, SERIES[-1])
    for factor in SERIES[-2::-1]:
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


# --- How readily a trace compound escapes from pot and neck, looked up along a run.


Compounds = tuple[str | compounds.Compound, ...]

POINTS = 40  # at which volatilities are computed, between water and the strongest pot
SCALE_X = 0.02  # composition over which ln K bends most
ROWS = 512  # of the look-up table


@dataclass(frozen=True)
class Escape:
    """Escape of compounds at points of a run; arrays of shape (points, compounds).

    Parameters
    ----------
    volatility : ndarray
        K of what is dissolved in the pot.
    gain : ndarray
        How much richer the stream is than the vapour of the pot.
    on : ndarray, shape (points, 1)
        Share of the vapour that passes the neck.
    """

    volatility: Array
    gain: Array
    on: Array

    @property
    def per_depletion(self) -> Array:
        """``k = -d ln n / ds`` of what is dissolved in the pot."""
        return self.volatility * self.gain

    @property
    def past_neck(self) -> Array:
        """Share of what enters the rising vapour that passes the neck."""
        return self.on * self.gain


def escape(compounds: Compounds, states: States, pressure_pa: float) -> Escape:
    """Look up the escape of compounds.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    states : States
        Points of a run, arrays of shape (points,).
    pressure_pa : float
        Pressure of the air [Pa].

    Returns
    -------
    Escape
        At each point.

    Raises
    ------
    RangeError
        If pot or reflux are stronger than 96 % vol, beyond which volatilities are not known.

    Notes
    -----
    ``k = K(x) / [(1 - r) + r / K(x_r)]``, past the neck ``(1 - r) / [(1 - r) + r / K(x_r)]``; r is the share
    of the vapour that runs back, x_r its composition.
    """
    _refuse_strong(states)
    k = volatility_table(compounds, pressure_pa)(np.concatenate([states.pot_x, states.x_reflux]))
    here, back = k[: states.pot_x.size], k[states.pot_x.size :]
    on = 1.0 - states.reflux[:, None]
    passing = on * back
    passing += states.reflux[:, None]
    passing[passing == 0.0] = 1.0  # where all runs back, of what stays
    back /= passing
    return Escape(here, back, on)


class VolatilityTable:
    """Volatilities of compounds at one pressure as smooth functions of the liquid's composition.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    pressure_pa : float
        Pressure [Pa].

    Notes
    -----
    ln K as a Chebyshev series in ``z = arcsinh(x / 0.02)``, tabulated at equal steps of z and looked up by
    cubic Hermite interpolation; within 1e-6 of `potsim.liquid.traces.volatilities`.
    """

    def __init__(self, compounds: Compounds, pressure_pa: float) -> None:
        top = float(np.arcsinh(traces.X_MAX / SCALE_X))
        z = SmoothFit.points(0.0, top, POINTS)
        k = traces.volatilities(compounds, SCALE_X * np.sinh(z), pressure_pa)
        self.stays = np.flatnonzero(k[:, 0] == 0.0)
        k[self.stays] = 1.0
        series = SmoothFit(0.0, top, np.log(k).T).coefficients
        self._step = top / ROWS
        unit = np.linspace(-1.0, 1.0, ROWS + 1)
        values = chebyshev.chebval(unit, series).T
        slopes = chebyshev.chebval(unit, chebyshev.chebder(series)).T * (2.0 / ROWS)
        rise = np.diff(values, axis=0)
        self._cubic = np.ascontiguousarray(
            [
                values[:-1],
                slopes[:-1],
                3.0 * rise - 2.0 * slopes[:-1] - slopes[1:],
                slopes[:-1] + slopes[1:] - 2.0 * rise,
            ]
        )

    def __call__(self, x: Array) -> Array:
        """Volatilities at mole fractions of shape (points,); shape (points, compounds)."""
        place = np.arcsinh(x / SCALE_X) / self._step
        row = np.minimum(place.astype(np.intp), ROWS - 1)
        along = (place - row)[:, None]
        a, b, c, k = (np.asarray(column) for column in self._cubic.take(row, axis=1))
        for lower in (c, b, a):
            k *= along
            k += lower
        np.exp(k, out=k)
        k[:, self.stays] = 0.0
        return k


@lru_cache(maxsize=64)
def volatility_table(compounds: Compounds, pressure_pa: float) -> VolatilityTable:
    """Return the volatilities of compounds, tabulated at the first call and kept.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    pressure_pa : float
        Pressure [Pa].

    Returns
    -------
    VolatilityTable
        The table.
    """
    return VolatilityTable(compounds, pressure_pa)


def _refuse_strong(states: States) -> None:
    strongest = float(max(np.max(states.pot_x, initial=0.0), np.max(states.x_reflux, initial=0.0)))
    if strongest > traces.X_MAX:
        raise RangeError(
            "the strength of pot and reflux",
            f"{float(strength.abv_from_x(strongest)):.1f} % vol",
            "at most 96 % vol where flavours are followed",
            "Let the charge down with water, or leave out the botanicals and the kind of the spirit.",
        )


# --- How trace compounds leave the pot: released by the plant, carried over by the vapour.


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
    the escape (`potsim.still.carry`). From a basket the share that passes the neck goes over at once, the
    rest runs back into the pot. The equations are stiff (k is 600 and more for pinene), so each step is
    taken with the exact exponential, see `potsim.still.carry`. Each compound's total agrees within
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
        Neck heat over net power at the family's temperature of reference, under the first power.
    time_scale : ndarray
        Time that the run takes over that which the plan's net power would take.
    charge_abv, charge_l : ndarray
        Strength [% vol] and volume at 20 °C [L] of the charge.
    volatility_error : ndarray
        Relative error of ln alpha.
    start_s : ndarray
        Time of the first drop at the neck [s].
    hold_up_l : ndarray
        Spirit that the condenser holds back, well mixed [L].
    """

    ratio: Array
    time_scale: Array
    charge_abv: Array
    charge_l: Array
    volatility_error: Array
    start_s: Array
    hold_up_l: Array


@dataclass(frozen=True)
class Bench:
    """What all tracks have in common.

    Parameters
    ----------
    family : Family
        The tables.
    power_w : float
        Power at the first drop [W].
    net_power_w : float
        The part of it that the pot does not shed, at the temperature of reference, where the time scale is 1.
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
    room_k: float
    power_changes: tuple[tuple[float, float], ...]
    parrot_l: float
    share: float

    def stills(self, rows: TrackRows) -> Stills:
        """Return the stills of the rows under the first power.

        Parameters
        ----------
        rows : Rows
            The tracks.

        Returns
        -------
        Stills
            One for each; the time scale divides all its heat, in and out.
        """
        above = self.family.reference_k - self.room_k
        return Stills(
            power_w=self.power_w / rows.time_scale,
            neck_loss_w_per_k=rows.ratio * self.net_power_w / (rows.time_scale * above),
            pot_loss_w_per_k=(self.power_w - self.net_power_w) / (rows.time_scale * above),
            room_k=np.full(rows.ratio.shape, self.room_k),
            volatility_error=rows.volatility_error,
        )


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
        seconds = look.seconds() * self.charge_mol[:, None] + rows.start_s[:, None]
        hold = (rows.hold_up_l + bench.parrot_l)[:, None]
        for from_l, power_w in bench.power_changes:
            over_l = _litres(*self._over(columns["x"]))
            at = np.array([np.interp(from_l + h, row, s) for h, row in zip(hold[:, 0], over_l, strict=True)])
            here = at[:, None]
            x = np.array([np.interp(a, s, row) for a, row in zip(at, columns["x"], strict=True)])
            t = np.array([np.interp(a, s, row) for a, row in zip(at, seconds, strict=True)])
            changed = replace(stills, power_w=power_w / rows.time_scale)
            walks = bench.family.walks(x, changed)
            look = walks.at(np.maximum(s - here, 0.0))
            later = s > here
            columns = {name: np.where(later, v, columns[name]) for name, v in _columns(look).items()}
            left = (self.charge_mol * np.exp(-at))[:, None]
            seconds = np.where(later, t[:, None] + left * look.seconds(), seconds)
        return self._points(columns, seconds)

    def _over(self, x: Array) -> tuple[Array, Array]:
        """Moles over, and those of ethanol."""
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
            pot_mol=self.charge_mol[:, None] - over,
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
