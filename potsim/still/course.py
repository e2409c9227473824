"""Curves that only rise, through points with given slopes, and where they reach a level."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from potsim.errors import RangeError, RequestError
from potsim.liquid import heat, strength
from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.still import Conditions, Still, Stills
from potsim.still.tables import ROWS, Curves, curves, many_curves, refuse_weak_heat

STEPS = 60  # at most, in the search for a level; four or five do
STEP_CLOSE = 1e-10  # of a step of the grid


class Rising:
    """Several curves on one grid, by cubic Hermite interpolation that never falls.

    Parameters
    ----------
    position : ndarray, shape (n,)
        The grid, rising.
    values : ndarray, shape (curves, n)
        The curves; they must not fall.
    slopes : ndarray, shape (curves, n)
        Their derivatives; 0 and more.

    Notes
    -----
    Slopes above three times the rise of a step next to them are cut to that, which is enough for the cubic
    not to overshoot (Fritsch & Carlson, SIAM J. Numer. Anal. 17 (1980) 238). Elsewhere the error falls with
    the fourth power of the step.

    Examples
    --------
    >>> import numpy as np
    >>> from potsim.still.course import Rising
    >>> line = Rising(np.array([0.0, 1.0, 3.0]), np.array([[0.0, 2.0, 6.0]]), np.full((1, 3), 2.0))
    >>> float(line(np.array([2.0]))[0, 0])
    4.0
    >>> round(float(line.reaches(np.array([5.0]))[0, 0]), 6)
    2.5
    """

    def __init__(self, position: Array, values: Array, slopes: Array) -> None:
        self.position = position
        self.values = values
        self._step = np.diff(position)
        rise = np.diff(values, axis=1)
        steepest = 3.0 * rise
        begin = np.minimum(slopes[:, :-1] * self._step, steepest)
        finish = np.minimum(slopes[:, 1:] * self._step, steepest)
        bend, twist = 3.0 * rise - 2.0 * begin - finish, begin + finish - 2.0 * rise
        self._cubic = (values[:, :-1], begin, bend, twist)

    def __call__(self, position: Array) -> Array:
        """Every curve at positions inside the grid, shape (curves, m)."""
        step = np.clip(np.searchsorted(self.position, position, side="right") - 1, 0, self._step.size - 1)
        along = (position - self.position[step]) / self._step[step]
        a, b, c, d = (column[:, step] for column in self._cubic)
        return np.asarray(((d * along + c) * along + b) * along + a)

    def reaches(self, level: Array) -> Array:
        """Positions at which curves reach levels, (curves, m) or (m,); beyond, the end of the grid."""
        wanted = np.broadcast_to(level, (len(self.values), np.shape(level)[-1]))
        below = (self.values[:, None, :] < wanted[:, :, None]).sum(axis=2)
        step = np.clip(below - 1, 0, self._step.size - 1)
        every = np.arange(len(self.values))[:, None]
        a, b, c, d = (column[every, step] for column in self._cubic)
        along = _first_root(a - wanted, b, c, d)
        return np.asarray(self.position[step] + along * self._step[step])


def _first_root(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Where rising cubics on 0 to 1 reach zero: Newton's rule, halving where it would leave the bracket."""
    low, high = np.zeros(a.shape), np.ones(a.shape)
    rise = b + c + d
    t = np.clip(-a / np.where(rise > 0.0, rise, 1.0), 0.0, 1.0)
    for _ in range(STEPS):
        value = ((d * t + c) * t + b) * t + a
        slope = (3.0 * d * t + 2.0 * c) * t + b
        short = value < 0.0
        low, high = np.where(short, t, low), np.where(short, high, t)
        following = t - np.divide(value, slope, out=np.full(t.shape, np.inf), where=slope > 0.0)
        following = np.where((following >= low) & (following <= high), following, 0.5 * (low + high))
        if np.all(np.abs(following - t) <= STEP_CLOSE):
            return following
        t = following
    return t


# --- A charge in a still, from the first drop to exhaustion, by look-up.


ROUNDING = 1e-9  # of a depletion
CLOSE = 1e-12  # depletion to which a condition is placed
EVEN = np.linspace(0.0, 1.0, 17)  # parts of a step at which it is looked at next, whatever the condition
NEAR = 10.0 ** -np.arange(1.0, 10.0)  # and how near, in steps, to where a straight line would cross
SEVERAL = 3  # changes of power from which on their tables are made together, and short
BALANCED = 257  # points of the balance of energy
SLACK = 0.05  # of depletion, and of 1 + depletion, by which such a table is longer than seems needed
EXHAUSTED = float(np.log(1000.0))  # depletion at which 99.9 % of the charge's moles are over


def evenly(upto: float, points: int, since: float = 0.0) -> Array:
    """Depletions evenly spaced in what is over."""
    over = np.linspace(-np.expm1(-since), -np.expm1(-upto), points)
    return np.maximum(np.minimum(-np.log1p(-over), upto), since)


class _Held:
    """What states hold, be they of one run or of many."""

    if TYPE_CHECKING:

        @property
        def depletion(self) -> Array: ...
        @property
        def charged_mol(self) -> Array: ...
        @property
        def pot_mol(self) -> Array: ...
        @property
        def pot_x(self) -> Array: ...
        @property
        def over_mol(self) -> Array: ...
        @property
        def over_ethanol_mol(self) -> Array: ...
        @property
        def pot_abv(self) -> Array: ...
        @property
        def stream_abv(self) -> Array: ...
        @property
        def pot_k(self) -> Array: ...
        @property
        def vapour_k(self) -> Array: ...
        @property
        def elapsed_s(self) -> Array: ...


class Derived(_Held):
    """What follows from states, be they of one run or of many."""

    @cached_property
    def collected_l(self) -> Array:
        """Volume at 20 °C of all that has come over [L]."""
        water = self.over_mol - self.over_ethanol_mol
        return np.asarray(strength.volume_from_moles(self.over_ethanol_mol, water))

    @cached_property
    def mean_abv(self) -> Array:
        """Strength of all that has come over [% vol at 20 °C]; the stream's before anything has."""
        some = self.over_mol > 0.0
        x = self.over_ethanol_mol / np.where(some, self.over_mol, 1.0)
        return np.where(some, strength.abv_from_x(x), self.stream_abv)

    @cached_property
    def recovered(self) -> Array:
        """Share of the charged ethanol that is collected; 0 for a charge of water."""
        return np.asarray(self.over_ethanol_mol / np.where(self.charged_mol > 0.0, self.charged_mol, 1.0))

    @cached_property
    def pot_l(self) -> Array:
        """Volume at 20 °C of what is in the pot [L]."""
        ethanol = self.pot_mol * self.pot_x
        return np.asarray(strength.volume_from_moles(ethanol, self.pot_mol - ethanol))

    @cached_property
    def pot_hot_l(self) -> Array:
        """Volume of the boiling liquid in the pot [L]."""
        grams = self.pot_mol * strength.molar_mass(self.pot_x)
        return np.asarray(grams / np.asarray(heat.liquid_density(self.pot_x, self.pot_k)))


@dataclass(frozen=True)
class States(Derived):
    """States of a run at given depletions; all arrays of one shape.

    Parameters
    ----------
    depletion : ndarray
        ln(W0 / W).
    charged_mol : ndarray
        Moles of ethanol charged.
    pot_mol, pot_x : ndarray
        Moles in the pot, and the mole fraction of ethanol there.
    stream_x : ndarray
        Mole fraction in the stream.
    over_mol, over_ethanol_mol : ndarray
        Moles collected since the first drop, and those of ethanol; without what is lost behind the neck.
    pot_abv, stream_abv : ndarray
        Strengths [% vol at 20 °C].
    pot_k, vapour_k : ndarray
        Temperatures [K].
    rate_mol_per_s, reflux, x_reflux, condenser_w : ndarray
        As in `potsim.still.tables.Balance`.
    elapsed_s : ndarray
        Time since switch-on [s].
    """

    depletion: Array
    charged_mol: Array
    pot_mol: Array
    pot_x: Array
    stream_x: Array
    over_mol: Array
    over_ethanol_mol: Array
    pot_abv: Array
    stream_abv: Array
    pot_k: Array
    vapour_k: Array
    rate_mol_per_s: Array
    reflux: Array
    x_reflux: Array
    condenser_w: Array
    elapsed_s: Array


@dataclass(frozen=True)
class _Leg:
    """A stretch of the run under one power."""

    curves: Curves
    from_depletion: float
    position: float  # ln W of the table there
    from_s: float

    @cached_property
    def first_y(self) -> float:
        """Mole fraction in the stream where it begins."""
        return float(self.curves.at(np.array([self.position])).y[0])

    @cached_property
    def clock(self) -> float:
        """What the table's clock shows there."""
        return float(self.curves.at(np.array([self.position])).clock[0])


@dataclass(frozen=True)
class Course:
    """The course of one charge.

    Parameters
    ----------
    still : Still
        The vessel.
    charge_mol : float
        Moles of ethanol and water charged.
    charge_x : float
        Mole fraction of ethanol in the charge.
    first_drop_s : float
        Time from switch-on to the first drop [s].
    legs : tuple
        Stretches of constant power.
    """

    still: Still
    charge_mol: float
    charge_x: float
    first_drop_s: float
    legs: tuple[_Leg, ...]

    @cached_property
    def first_abv(self) -> float:
        """Strength of the first drop [% vol at 20 °C]."""
        return float(self.at(np.array([0.0])).stream_abv[0])

    def at(self, depletion: float | Array) -> States:
        """States at given depletions.

        Parameters
        ----------
        depletion : float or ndarray
            ln(W0 / W), 0 at the first drop to `EXHAUSTED`.

        Returns
        -------
        States
            Arrays of the shape of ``depletion``.

        Raises
        ------
        RangeError
            If a depletion lies outside; what rounding puts outside is taken.
        """
        s = np.asarray(depletion, dtype=float)
        if s.size and not (s.min() >= -ROUNDING and s.max() <= EXHAUSTED + ROUNDING):
            out = float(s.max()) if s.min() >= -ROUNDING else float(s.min())
            raise RangeError.of("range", "depletion", given=out, allowed=[0.0, EXHAUSTED], unit="")
        if len(self.legs) == 1:
            return self._on(self.legs[0], s)
        starts = np.array([leg.from_depletion for leg in self.legs])
        which = np.searchsorted(starts, s.ravel(), side="right") - 1
        order = np.argsort(which, kind="stable")
        ends = np.searchsorted(which[order], np.arange(len(self.legs) + 1))
        parts = [
            self._on(leg, s.ravel()[order[ends[k] : ends[k + 1]]])
            for k, leg in enumerate(self.legs)
            if ends[k] < ends[k + 1]
        ]
        columns = {}
        for field in fields(States):
            column = np.empty(s.size)
            if parts:
                column[order] = np.concatenate([getattr(part, field.name) for part in parts])
            columns[field.name] = column.reshape(s.shape)
        return States(**columns)

    def _on(self, leg: _Leg, s: Array) -> States:
        place = leg.position - (s - leg.from_depletion)
        row = leg.curves.at(place)
        x, y, x_r, pot_abv, stream_abv = row.x, row.y, row.x_reflux, row.pot_abv, row.stream_abv
        left = self.charge_mol * np.exp(-s)
        if self.charge_x == 0.0:
            x = y = x_r = pot_abv = stream_abv = np.zeros(s.shape)
        over = -self.charge_mol * np.expm1(-s)
        ethanol = np.minimum(np.maximum(self.charge_mol * self.charge_x - left * x, 0.0), over)
        if (
            leg is self.legs[0]
        ):  # a difference of next to equals: rounding must not leave the strengths that ran
            low, high = np.minimum(y, leg.first_y), np.maximum(y, leg.first_y)
            ethanol = np.minimum(np.maximum(ethanol, low * over), high * over)
        got = 1.0 - self.still.lost
        moles_per_row = self.charge_mol * np.exp(-leg.from_depletion - leg.position)
        elapsed = leg.from_s + moles_per_row * (row.clock - leg.clock)
        return States(
            depletion=s,
            charged_mol=0.0 * s + self.charge_mol * self.charge_x,
            pot_mol=left,
            pot_x=x,
            stream_x=y,
            over_mol=got * over,
            over_ethanol_mol=got * ethanol,
            pot_abv=pot_abv,
            stream_abv=stream_abv,
            pot_k=row.pot_k,
            vapour_k=row.vapour_k,
            rate_mol_per_s=row.rate,
            reflux=row.reflux,
            x_reflux=x_r,
            condenser_w=row.condenser_w,
            elapsed_s=elapsed,
        )

    def first(
        self, margin: Callable[[States], Array], upto: float = EXHAUSTED, since: float = 0.0
    ) -> float | None:
        """Find the depletion at which a condition first comes true.

        Parameters
        ----------
        margin : callable
            Function of `States`, negative before and zero or more once the condition is true.
        upto : float
            How far to look.
        since : float
            Where to begin.

        Returns
        -------
        float or None
            The depletion, to about 1e-12; ``since`` if it is true from there on; ``None`` if it never comes.

        Notes
        -----
        Looks at 257 points evenly spaced in what is over, then zooms into the step in which the sign changes,
        with points that crowd where a straight line would cross. A condition that comes true and false again
        between two of them is missed.
        """
        s = evenly(upto, 257, since)
        while True:
            reached = margin(self.at(s))
            true = np.flatnonzero(reached >= 0.0)
            if true.size == 0:
                return None
            k = int(true[0])
            if k == 0 or s[k] - s[k - 1] <= CLOSE:
                return float(s[k])
            crossing = reached[k - 1] / (reached[k - 1] - reached[k])
            along = np.concatenate([EVEN, crossing - NEAR, crossing + NEAR])
            along = np.sort(np.minimum(np.maximum(along, 0.0), 1.0))
            s = s[k - 1] + (s[k] - s[k - 1]) * along

    def at_power(self, depletion: float, power_w: float, table: Curves | None = None) -> Course:
        """Return the same charge under another power [W] from a depletion on; `table` is of it."""
        here = self.at(np.array([depletion]))
        conditions = replace(self.legs[-1].curves.conditions, power_w=power_w)
        refuse_weak_heat(conditions, "still.power_step.power")
        new = table or curves(conditions)
        leg = _Leg(new, depletion, float(new.position(here.pot_x)[0]), float(here.elapsed_s[0]))
        return replace(self, legs=(*self.legs, leg))

    def in_whole_table(self) -> Course:
        """Return the same course with the whole table of its last power."""
        leg = self.legs[-1]
        return replace(self, legs=(*self.legs[:-1], replace(leg, curves=curves(leg.curves.conditions))))

    def energy_error(self, upto: float) -> float:
        """(Heat in - out - stored) / heat in, to a depletion, integrated along the look-up."""
        ends = [leg.from_depletion for leg in self.legs if leg.from_depletion < upto] + [upto]
        heat_in = heat_out = stored = 0.0
        for leg, start, end in zip(self.legs, ends[:-1], ends[1:], strict=False):
            states = self._on(leg, np.linspace(start, end, BALANCED))
            c = leg.curves.conditions
            shed = c.neck_loss_w_per_k * (states.vapour_k - c.room_k) + c.pot_loss_w_per_k * (
                states.pot_k - c.room_k
            )
            vapour = states.rate_mol_per_s * np.asarray(
                heat.vapour_enthalpy(states.stream_x, states.vapour_k)
            )
            heat_in += c.power_w * float(states.elapsed_s[-1] - states.elapsed_s[0])
            heat_out += _simpson((shed + vapour) * states.pot_mol / states.rate_mol_per_s, end - start)
            liquid = states.pot_mol * np.asarray(heat.liquid_enthalpy(states.pot_x, states.pot_k))
            stored += float(liquid[-1] - liquid[0])
        return (heat_in - heat_out - stored) / heat_in


def _simpson(values: Array, width: float) -> float:
    """Integral of what is known at an odd number of even places."""
    inner = 4.0 * values[1:-1:2].sum() + 2.0 * values[2:-1:2].sum()
    return float(values[0] + inner + values[-1]) * width / (3.0 * (values.size - 1))


def course(charge_mol: float, charge_x: float, still: Still, table: Curves | None = None) -> Course:
    """Put a charge into a still.

    Parameters
    ----------
    charge_mol : float
        Moles of ethanol and water.
    charge_x : float
        Mole fraction of ethanol; 0 for the cleaning run with water.
    still : Still
        The vessel.
    table : Curves, optional
        That of the still, where one of its own is to serve.

    Returns
    -------
    Course
        From switch-on to exhaustion.

    Raises
    ------
    RequestError
        If the power cannot bring the charge over.
    RangeError
        If the charge is stronger than a pot separates.
    """
    table = table or curves(still.conditions)
    position = float(table.position(charge_x))
    boiling_k = float(table.at(np.array([position])).pot_k[0])
    first_drop_s = _first_drop_s(charge_mol, charge_x, boiling_k, still)
    run = Course(still, charge_mol, charge_x, first_drop_s, (_Leg(table, 0.0, position, first_drop_s),))
    short = _short_tables(run)
    upto = EXHAUSTED
    for k, change in enumerate(still.power_changes):

        def margin(states: States, at: float = change.from_collected_l) -> Array:
            return states.collected_l - at

        there = run.first(margin, upto, run.legs[-1].from_depletion)
        if there is None and upto < EXHAUSTED:  # later than it was expected
            run, upto = run.in_whole_table(), EXHAUSTED
            there = run.first(margin, upto, run.legs[-1].from_depletion)
        if there is None:
            return run
        if not short:
            run = run.at_power(there, change.power_w)
            continue
        table, upto = short[k]
        run = run.at_power(there, change.power_w, table)
        leg = run.legs[-1]
        if not (table.covers(leg.position) and table.covers(leg.position - (upto - there))):
            run, upto = run.in_whole_table(), EXHAUSTED
    return run


def _short_tables(run: Course) -> Sequence[tuple[Curves, float]]:
    """Tables for the changes of power, where there are several, and the depletion up to which each serves.

    The pot's strength at a given depletion depends on the power by the reflux alone, so the first power tells
    nearly where the others will be in use.
    """
    changes = run.still.power_changes
    if len(changes) < SEVERAL:
        return ()
    depletion = evenly(EXHAUSTED, 1025)
    litres = run.at(depletion).collected_l
    at = np.interp([change.from_collected_l for change in changes], litres, depletion)
    start = np.maximum(at - SLACK * (1.0 + at), 0.0)
    until = np.minimum(np.append(at[1:] + SLACK * (1.0 + at[1:]), EXHAUSTED), EXHAUSTED)
    leg = run.legs[0]
    x = leg.curves.at(leg.position - np.stack([until + SLACK * (1.0 + until), start])).x
    powers = [replace(run.still.conditions, power_w=change.power_w) for change in changes]
    try:
        tables = many_curves(powers, ROWS, [(low, high) for low, high in x.T.tolist()])
    except RequestError:  # refused where the run comes to it, if it does
        return ()
    return list(zip(tables, until.tolist(), strict=True))


def _first_drop_s(charge_mol: float, charge_x: float, boiling_k: float, still: Still) -> float:
    c, power_w = still.conditions, still.heat_up_power_w
    drop_s = float(heat_up_s(charge_mol, charge_x, boiling_k, c, power_w, still.metal_j_per_k))
    if not np.isfinite(drop_s):
        shed_w = c.pot_loss_w_per_k * (boiling_k - c.room_k)
        raise RequestError.of("shed_by_pot", "still.heat_up_power", given=power_w, allowed=shed_w)
    return drop_s


def heat_up_s(
    charge_mol: float | Array,
    charge_x: float | Array,
    boiling_k: float | Array,
    vessel: Conditions | Stills,
    power_w: float | Array,
    metal_j_per_k: float | Array,
) -> Array:
    """Time from switch-on to the first drop, of one charge or of many.

    Parameters
    ----------
    charge_mol, charge_x : float or ndarray
        The charges, at room temperature.
    boiling_k : float or ndarray
        Their bubble points [K].
    vessel : Conditions or Stills
        Rooms, and what the pots shed.
    power_w : float or ndarray
        Heat-up power [W].
    metal_j_per_k : float or ndarray
        Heat capacity of the metal.

    Returns
    -------
    ndarray
        Seconds; infinite where the pot sheds as much as the heat-up power gives.

    Notes
    -----
    One heat capacity, the mean of liquid and metal from the room to the boil, and a loss that grows with the
    temperature: ``t = C / UA ln[P / (P - UA dT)]``. The neck is cold until the first drop and is left out.
    """
    rise = boiling_k - vessel.room_k
    gain = np.asarray(heat.liquid_enthalpy(charge_x, boiling_k))
    gain = gain - np.asarray(heat.liquid_enthalpy(charge_x, vessel.room_k))
    needed = charge_mol * gain + metal_j_per_k * rise
    return warming_s(needed, vessel.pot_loss_w_per_k * rise / power_w, power_w)


def warming_s(heat_j: float | Array, shed: float | Array, power_w: float | Array) -> Array:
    """Time that a heat takes while a loss that grows with the temperature takes part of the power.

    Parameters
    ----------
    heat_j : float or ndarray
        Heat that the content takes up [J].
    shed : float or ndarray
        Share of the power that is shed at the end.
    power_w : float or ndarray
        Heat put in [W].

    Returns
    -------
    ndarray
        Seconds; infinite where all of the power is shed.
    """
    shed = np.asarray(shed, dtype=float)
    slight = shed < 1e-9
    inside = np.where(slight | (shed >= 1.0), 0.5, shed)
    longer = np.where(slight, 1.0, np.where(shed >= 1.0, np.inf, -np.log1p(-inside) / inside))
    return np.asarray(heat_j * longer / power_w)
