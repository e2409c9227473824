"""Charges in many stills, followed at once: each by its depletion, or a few as a spout shows them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Derived, evenly, heat_up_s
from potsim.still.family import Family, Look, Walks
from potsim.still.still import Still, Stills

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
    got : ndarray, shape (n,)
        Share of what leaves the neck that is collected.
    number : ndarray of int, shape (n,)
        Which of the runs first put in each is, so that a condition can hang on the run.
    """

    charge_mol: Array
    charge_x: Array
    first_drop_s: Array
    legs: tuple[Leg, ...]
    got: Array
    number: NDArray[np.intp]

    def where(self, chosen: Mask) -> Courses:
        """Return some of the runs."""
        legs = tuple(leg.where(chosen) for leg in self.legs)
        columns = (self.charge_mol[chosen], self.charge_x[chosen], self.first_drop_s[chosen])
        return Courses(*columns, legs, self.got[chosen], self.number[chosen])

    def at(self, depletion: Array) -> ManyStates:
        """States of all runs, (n, m), at depletions of shape (m,) or (n, m); computed when asked for."""
        shape = (self.charge_mol.size, np.shape(depletion)[-1])
        return ManyStates(self, np.broadcast_to(np.asarray(depletion, dtype=float), shape))

    @cached_property
    def _evenly(self) -> dict[float, ManyStates]:
        return {}

    def evenly(self, upto: float) -> ManyStates:
        """States at depletions evenly spaced in what is over; looked up once."""
        if upto not in self._evenly:
            self._evenly[upto] = replace(self).at(
                evenly(upto, POINTS)
            )  # of a copy: no circle keeps large arrays
        return self._evenly[upto]

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
        s = evenly(upto, POINTS)
        f = margin(self.evenly(upto))
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
        """Depletion, (n, k), at which volumes [L at 20 °C] are collected; infinite if not by `upto`."""
        s = evenly(upto, POINTS)
        over = -np.expm1(-s)
        volumes = self.evenly(upto).collected_l
        wanted = np.broadcast_to(collected_l, (volumes.shape[0], np.shape(collected_l)[-1]))
        k = np.clip((volumes[:, None, :] <= wanted[:, :, None]).sum(axis=2) - 1, 0, s.size - 2)
        low = np.take_along_axis(volumes, k, axis=1)
        slope = (np.take_along_axis(volumes, k + 1, axis=1) - low) / (over[1] - over[0])
        there = np.minimum(over[k] + (wanted - low) / slope, over[-1])
        for _ in range(CORRECTIONS):
            short = wanted - self.at(-np.log1p(-there)).collected_l
            there = np.clip(there + short / slope, 0.0, over[-1])
        return np.where(wanted <= volumes[:, -1:], -np.log1p(-there), np.inf)

    def at_power(self, begin: Array, family: Family, power_w: float | Array) -> Courses:
        """Return the courses that take another power from a point on.

        Parameters
        ----------
        begin : ndarray, shape (n,)
            Depletion where the power changes; infinite where it never does.
        family : Family
            Tables that serve the stills under both powers.
        power_w : float or ndarray, shape (n,)
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


class ManyStates(Derived):
    """States of n runs at m depletions each; all arrays of shape (n, m), each computed when first asked for.

    Parameters
    ----------
    courses : Courses
        The runs.
    depletion : ndarray, shape (n, m)
        ln(W0 / W).
    """

    def __init__(self, courses: Courses, depletion: Array) -> None:
        self.courses = courses
        self.depletion: Array = depletion
        self._looks = [leg.walks.at(np.maximum(depletion - leg.begin[:, None], 0.0)) for leg in courses.legs]

    def _told(self, *parts: Array) -> Array:
        """Put the legs' parts together, each from its beginning on."""
        out = parts[0]
        for leg, part in zip(self.courses.legs[1:], parts[1:], strict=True):
            out = np.where(self.depletion >= leg.begin[:, None], part, out)
        return out

    def _column(self, name: str) -> Array:
        return self._told(*[look(name) for look in self._looks])

    @property
    def charged_mol(self) -> Array:
        """Moles of ethanol charged."""
        return np.asarray((self.courses.charge_mol * self.courses.charge_x)[:, None])

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
        """Moles collected since the first drop."""
        return np.asarray(-(self.courses.charge_mol * self.courses.got)[:, None] * np.expm1(-self.depletion))

    @cached_property
    def over_ethanol_mol(self) -> Array:
        """Moles of ethanol among them."""
        ethanol = (self.charged_mol - self.pot_mol * self.pot_x) * self.courses.got[:, None]
        return np.clip(ethanol, 0.0, self.over_mol)

    @cached_property
    def pot_abv(self) -> Array:
        """Strength of the pot [% vol at 20 °C]."""
        return np.where(self.courses.charge_x[:, None] > 0.0, self._column("pot_abv"), 0.0)

    @cached_property
    def stream_abv(self) -> Array:
        """Strength of the stream [% vol at 20 °C]."""
        return np.where(self.courses.charge_x[:, None] > 0.0, self._column("stream_abv"), 0.0)

    @cached_property
    def stream_x(self) -> Array:
        """Mole fraction of ethanol in the stream."""
        return self._column("y")

    @cached_property
    def reflux(self) -> Array:
        """Share of the vapour that runs back from the neck."""
        return self._column("reflux")

    @cached_property
    def x_reflux(self) -> Array:
        """Mole fraction of ethanol in what runs back."""
        return self._column("x_reflux")

    @cached_property
    def rate_mol_per_s(self) -> Array:
        """What leaves the neck [mol/s]."""
        return self._told(*[look.rate() for look in self._looks])

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


def courses(
    family: Family,
    charge_mol: Array,
    charge_x: Array,
    stills: Stills,
    still: Still,
    got: Array | None = None,
    heating_w: Array | None = None,
    metal_j_per_k: Array | None = None,
) -> Courses:
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
        What they have in common: heat-up power, metal, changes of power; powers grow with a still's own.
    got : ndarray, shape (n,), optional
        Share of what leaves the neck that is collected; the still's own if left out.
    heating_w, metal_j_per_k : ndarray, shape (n,), optional
        Heat-up power [W] and heat capacity of the metal [J/K], where they differ.

    Returns
    -------
    Courses
        From switch-on to exhaustion.
    """
    walks = family.walks(charge_x, stills)
    boiling_k = walks.at(np.zeros(1))("pot_k")[:, 0]
    told = stills.power_w / still.conditions.power_w  # what the powers are, over what the plan says
    heating = told * still.heat_up_power_w if heating_w is None else heating_w
    metal = still.metal_j_per_k if metal_j_per_k is None else metal_j_per_k
    drop_s = heat_up_s(charge_mol, charge_x, boiling_k, stills, heating, metal)
    legs = (Leg(walks, np.zeros_like(drop_s), drop_s),)
    collected = np.full_like(drop_s, 1.0 - still.lost) if got is None else got
    out = Courses(charge_mol, charge_x, drop_s, legs, collected, np.arange(drop_s.size))
    for change in still.power_changes:
        there = out.at_collected(np.array([change.from_collected_l]))[:, 0]
        out = out.at_power(there, family, told * change.power_w)
    return out


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
