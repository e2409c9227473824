"""Charges in many stills that differ a little, from the first drop to exhaustion, by look-up.

The same questions as of one `potsim.still.course.Course`, asked of thousands at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import heat, strength
from potsim.still.course import EXHAUSTED, warming_s
from potsim.still.family import Family
from potsim.still.still import Still
from potsim.still.stills import Stills
from potsim.still.walks import Walks

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

POINTS = 65  # at which a condition is looked for, evenly spaced in moles that are over
CLOSE = 1e-10  # depletion to which it is found
MOST_STEPS = 40
CORRECTIONS = 2  # of the first guess at a volume; each leaves a thousandth


@dataclass(frozen=True)
class Leg:
    """Walks under one power.

    Parameters
    ----------
    walks : Walks
        One for each run, begun where this power begins.
    begin : ndarray, shape (n,)
        Depletion there; infinite where it never comes.
    begin_s : ndarray, shape (n,)
        Time there [s].
    """

    walks: Walks
    begin: Array
    begin_s: Array

    def where(self, chosen: Mask) -> Leg:
        """Return some of the walks."""
        return Leg(self.walks.where(chosen), self.begin[chosen], self.begin_s[chosen])


@dataclass(frozen=True)
class Courses:
    """The courses of n runs.

    Parameters
    ----------
    charge_mol, charge_x : ndarray, shape (n,)
        Moles charged, and the mole fraction of ethanol.
    first_drop_s : ndarray, shape (n,)
        Time from switch-on to the first drop [s].
    legs : tuple of Leg
        Stretches of constant power.
    """

    charge_mol: Array
    charge_x: Array
    first_drop_s: Array
    legs: tuple[Leg, ...]

    def where(self, chosen: Mask) -> Courses:
        """Return some of the runs."""
        legs = tuple(leg.where(chosen) for leg in self.legs)
        return Courses(self.charge_mol[chosen], self.charge_x[chosen], self.first_drop_s[chosen], legs)

    def at(self, depletion: Array) -> ManyStates:
        """States of all runs.

        Parameters
        ----------
        depletion : ndarray, shape (m,) or (n, m)
            ln(W0 / W), 0 at the first drop to `potsim.still.course.EXHAUSTED`.

        Returns
        -------
        ManyStates
            Shape (n, m); each quantity is computed when asked for.
        """
        shape = (self.charge_mol.size, np.shape(depletion)[-1])
        return ManyStates(self, np.broadcast_to(np.asarray(depletion, dtype=float), shape))

    def first(self, margin: Callable[[ManyStates], Array], upto: float = EXHAUSTED) -> Array:
        """Find the depletion at which a condition first comes true in each run.

        Parameters
        ----------
        margin : callable
            Function of `ManyStates`, negative before and zero or more once the condition is true; it must
            not mix the runs.
        upto : float
            How far it is likely to come; where it has not, the rest of the run is searched too.

        Returns
        -------
        ndarray, shape (n,)
            The depletion, to about 1e-10; 0 where it is true from the first drop, infinite where it never
            comes.

        Notes
        -----
        Looks at 65 points evenly spaced in what is over, then closes in by false position. A condition that
        comes true and false again between two of them is missed.
        """
        s = _even(upto)
        f = margin(self.at(s))
        true = f >= 0.0
        k = np.argmax(true, axis=1)
        found: Mask = np.asarray(true.any(axis=1))
        out = np.where(found, 0.0, np.inf)
        inside = found & (k > 0)
        if inside.any():
            rows, k = np.flatnonzero(inside), k[inside]
            runs = self if inside.all() else self.where(inside)
            out[inside] = _close_in(runs, margin, s[k - 1], s[k], f[rows, k - 1], f[rows, k])
        late = np.logical_not(found)
        if upto < EXHAUSTED and late.any():
            out[late] = self.where(late).first(margin)
        return out

    def at_collected(self, collected_l: Array, upto: float = EXHAUSTED) -> Array:
        """Find the depletion at which so much is collected.

        Parameters
        ----------
        collected_l : ndarray, shape (k,) or (n, k)
            Pooled distillate [L at 20 °C].
        upto : float
            How far to look.

        Returns
        -------
        ndarray, shape (n, k)
            The depletion; infinite where there is not so much by then.
        """
        s = _even(upto)
        over = -np.expm1(-s)
        volumes = self.at(s).collected_l
        wanted = np.broadcast_to(collected_l, (volumes.shape[0], np.shape(collected_l)[-1]))
        k = np.clip((volumes[:, None, :] <= wanted[:, :, None]).sum(axis=2) - 1, 0, s.size - 2)
        low = np.take_along_axis(volumes, k, axis=1)
        slope = (np.take_along_axis(volumes, k + 1, axis=1) - low) / (over[1] - over[0])
        there = np.minimum(over[k] + (wanted - low) / slope, over[-1])
        for _ in range(CORRECTIONS):
            short = wanted - self.at(-np.log1p(-there)).collected_l
            there = np.clip(there + short / slope, 0.0, over[-1])
        return np.where(wanted <= volumes[:, -1:], -np.log1p(-there), np.inf)

    def at_power(self, begin: Array, family: Family, power_w: float) -> Courses:
        """Return the courses that take another power from a point on.

        Parameters
        ----------
        begin : ndarray, shape (n,)
            Depletion where the power changes; infinite where it never does.
        family : Family
            Tables that serve the stills under both powers.
        power_w : float
            Power from there on [W].

        Returns
        -------
        Courses
            The same charges in the same stills.
        """
        here = self.at(np.where(np.isfinite(begin), begin, 0.0)[:, None])
        stills = self.legs[0].walks.stills.with_power(power_w)
        leg = Leg(family.walks(here.pot_x[:, 0], stills), begin, here.elapsed_s[:, 0])
        return replace(self, legs=(*self.legs, leg))


class ManyStates:
    """States of n runs at m depletions each; all arrays of shape (n, m), each computed when first asked for.

    Parameters
    ----------
    courses : Courses
        The runs.
    depletion : ndarray, shape (n, m)
        ln(W0 / W).
    """

    def __init__(self, courses: Courses, depletion: Array) -> None:
        self.courses, self.depletion = courses, depletion
        self._looks = [leg.walks.at(np.maximum(depletion - leg.begin[:, None], 0.0)) for leg in courses.legs]

    def _told(self, *parts: Array) -> Array:
        """Put the legs' parts together, each from its beginning on."""
        out = parts[0]
        for leg, part in zip(self.courses.legs[1:], parts[1:], strict=True):
            out = np.where(self.depletion >= leg.begin[:, None], part, out)
        return out

    def _column(self, name: str) -> Array:
        return self._told(*[look(name) for look in self._looks])

    @cached_property
    def pot_mol(self) -> Array:
        """Moles in the pot."""
        return np.asarray(self.courses.charge_mol[:, None] * np.exp(-self.depletion))

    @cached_property
    def pot_x(self) -> Array:
        """Mole fraction of ethanol in the pot; 0 for a charge of water."""
        x = self._told(*[look.x for look in self._looks])
        return np.where(self.courses.charge_x[:, None] > 0.0, x, 0.0)

    @cached_property
    def over_mol(self) -> Array:
        """Moles that have come over since the first drop."""
        return np.asarray(-self.courses.charge_mol[:, None] * np.expm1(-self.depletion))

    @cached_property
    def over_ethanol_mol(self) -> Array:
        """Moles of ethanol among them."""
        charged = self.courses.charge_mol * self.courses.charge_x
        ethanol = charged[:, None] - self.pot_mol * self.pot_x
        return np.clip(ethanol, 0.0, self.over_mol)

    @cached_property
    def recovered(self) -> Array:
        """Share of the charged ethanol that is over; 0 for a charge of water."""
        charged = (self.courses.charge_mol * self.courses.charge_x)[:, None]
        return np.asarray(self.over_ethanol_mol / np.where(charged > 0.0, charged, 1.0))

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
    def pot_hot_l(self) -> Array:
        """Volume of the boiling liquid in the pot [L]."""
        grams = self.pot_mol * strength.molar_mass(self.pot_x)
        return np.asarray(grams / np.asarray(heat.liquid_density(self.pot_x, self.pot_k)))

    @cached_property
    def pot_abv(self) -> Array:
        """Strength of the pot [% vol at 20 °C]."""
        return np.where(self.courses.charge_x[:, None] > 0.0, self._column("pot_abv"), 0.0)

    @cached_property
    def stream_abv(self) -> Array:
        """Strength of the stream [% vol at 20 °C]."""
        return np.where(self.courses.charge_x[:, None] > 0.0, self._column("stream_abv"), 0.0)

    @cached_property
    def pot_k(self) -> Array:
        """Bubble point of the pot [K]."""
        return self._column("pot_k")

    @cached_property
    def vapour_k(self) -> Array:
        """Dew point of the vapour that leaves the neck [K]."""
        return self._column("vapour_k")

    @cached_property
    def elapsed_s(self) -> Array:
        """Time since switch-on [s]."""
        parts = []
        for leg, look in zip(self.courses.legs, self._looks, strict=True):
            mol = self.courses.charge_mol * np.exp(-leg.begin)
            parts.append(leg.begin_s[:, None] + mol[:, None] * look.seconds())
        return self._told(*parts)


def courses(family: Family, charge_mol: Array, charge_x: Array, stills: Stills, still: Still) -> Courses:
    """Put a charge into each of many stills.

    Parameters
    ----------
    family : Family
        Tables that serve them all, under every power of the run.
    charge_mol, charge_x : ndarray, shape (n,)
        Moles of ethanol and water, and the mole fraction of ethanol.
    stills : Stills
        What differs, n of them; all must be able to run and to boil.
    still : Still
        What they have in common: heat-up power, metal, changes of power.

    Returns
    -------
    Courses
        From switch-on to exhaustion.
    """
    walks = family.walks(charge_x, stills)
    boiling_k = walks.at(np.zeros(1))("pot_k")[:, 0]
    drop_s = heat_up_s(charge_mol, charge_x, boiling_k, stills, still)
    out = Courses(charge_mol, charge_x, drop_s, (Leg(walks, np.zeros_like(drop_s), drop_s),))
    for change in still.power_changes:
        there = out.at_collected(np.array([change.from_collected_l]))[:, 0]
        out = out.at_power(there, family, change.power_w)
    return out


def heat_up_s(charge_mol: Array, charge_x: Array, boiling_k: Array, stills: Stills, still: Still) -> Array:
    """Time from switch-on to the first drop [s], as `potsim.still.course.heat_up_s` for one.

    Parameters
    ----------
    charge_mol, charge_x, boiling_k : ndarray, shape (n,)
        The charges and their bubble points [K].
    stills : Stills
        Their rooms and losses.
    still : Still
        Heat-up power and metal.

    Returns
    -------
    ndarray, shape (n,)
        Seconds; infinite where the pot sheds as much as the heat-up power gives.
    """
    rise = boiling_k - stills.room_k
    gain = np.asarray(heat.liquid_enthalpy(charge_x, boiling_k))
    gain = gain - np.asarray(heat.liquid_enthalpy(charge_x, stills.room_k))
    needed = charge_mol * gain + still.metal_j_per_k * rise
    return warming_s(needed, stills.pot_loss_w_per_k * rise / still.heat_up_power_w, still.heat_up_power_w)


def _even(upto: float) -> Array:
    """Depletions evenly spaced in what is over."""
    over = np.linspace(0.0, -np.expm1(-upto), POINTS)
    return np.minimum(-np.log1p(-over), upto)


def _close_in(
    runs: Courses, margin: Callable[[ManyStates], Array], low: Array, high: Array, f_low: Array, f_high: Array
) -> Array:
    """Illinois false position on arrays: the margin is negative at ``low`` and not at ``high``."""
    kept = np.zeros(low.shape)  # +1 where the upper end was kept in the step before, -1 the lower
    before = low
    for _ in range(MOST_STEPS):
        there = high - f_high * (high - low) / (f_high - f_low)
        f = margin(runs.at(there[:, None]))[:, 0]
        true = f >= 0.0
        f_low = np.where(true & (kept < 0), 0.5 * f_low, np.where(true, f_low, f))
        f_high = np.where(~true & (kept > 0), 0.5 * f_high, np.where(true, f, f_high))
        low, high = np.where(true, low, there), np.where(true, there, high)
        kept = np.where(true, -1.0, 1.0)
        if np.max(np.abs(there - before)) <= CLOSE:
            break
        before = there
    return np.asarray(there)
