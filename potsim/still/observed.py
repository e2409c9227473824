"""Readings to be met by tracks: what spout and thermometers would show along them, and least squares."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from potsim.errors import ConvergenceError
from potsim.liquid import strength
from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.courses import Bench, TrackRows, Tracks

KINDS = ("strength", "vapour", "pot", "time")


@dataclass(frozen=True)
class Observed:
    """Readings in the order of the run; arrays of shape (n,), NaN for what was not read.

    Parameters
    ----------
    collected_l, mass_g : ndarray
        All collected by then [L at 20 °C; g]; each line has one of them, or a time.
    elapsed_s : ndarray
        Time since switch-on [s].
    abv : ndarray
        Strength at 20 °C [% vol].
    vapour_k, pot_k : ndarray
        Temperatures [K].
    from_l, from_g : ndarray
        What had been collected when the jar was put under the spout of which the strength is the mean.
    in_parrot : ndarray of bool
        Whether the strength was read in the parrot.
    """

    collected_l: Array
    mass_g: Array
    elapsed_s: Array
    abv: Array
    vapour_k: Array
    pot_k: Array
    from_l: Array
    from_g: Array
    in_parrot: NDArray[np.bool_]

    @property
    def by_volume(self) -> NDArray[np.bool_]:
        """Lines placed by volume."""
        return ~np.isnan(self.collected_l)

    @property
    def by_mass(self) -> NDArray[np.bool_]:
        """Lines placed by mass."""
        return ~self.by_volume & ~np.isnan(self.mass_g)

    @property
    def of_jar(self) -> NDArray[np.bool_]:
        """Lines whose strength is the mean of a jar."""
        return ~(np.isnan(self.from_l) & np.isnan(self.from_g))

    def targets(self) -> tuple[Array, NDArray[np.intp], NDArray[np.intp]]:
        """List what is to be met.

        Returns
        -------
        values : ndarray, shape (t,)
            Strengths [% vol], temperatures [K], times [s].
        kind : ndarray of int
            Place in `KINDS`.
        line : ndarray of int
            The reading.
        """
        by_clock = ~self.by_volume & ~self.by_mass
        time = np.where(by_clock, np.nan, self.elapsed_s)
        table = np.stack([self.abv, self.vapour_k, self.pot_k, time])
        kind, line = np.nonzero(~np.isnan(table))
        return table[kind, line], kind, line

    def only(self, chosen: NDArray[np.bool_]) -> Observed:
        """Return some of the readings."""
        return Observed(**{item.name: getattr(self, item.name)[chosen] for item in fields(self)})

    def moved(self, noise: Noise) -> Observed:
        """Return the readings with every place off by its standard error."""
        by_clock = ~self.by_volume & ~self.by_mass
        return replace(
            self,
            collected_l=self.collected_l + noise.volume_l,
            mass_g=self.mass_g + noise.mass_g,
            elapsed_s=np.where(by_clock, self.elapsed_s + noise.time_s, self.elapsed_s),
        )


@dataclass(frozen=True)
class Noise:
    """Standard errors of what is read off; the defaults are common practice, no source.

    Parameters
    ----------
    abv : float
        Of a strength [% vol].
    volume_l, mass_g : float
        Of what is collected [L, g].
    temperature_k, time_s : float
        Of a temperature [K] and a time [s].
    """

    abv: float = 0.5
    volume_l: float = 0.002
    mass_g: float = 2.0
    temperature_k: float = 0.5
    time_s: float = 30.0

    def of(self, kind: NDArray[np.intp]) -> Array:
        """Standard error of each target by its kind."""
        each = np.array([self.abv, self.temperature_k, self.temperature_k, self.time_s])
        return each[kind]


def places(tracks: Tracks, observed: Observed) -> Array:
    """Volume past the neck at each reading, (tracks, n) [L at 20 °C]: held back and lost included."""
    held, kept = _held(tracks), _kept(tracks)
    over = tracks.where("elapsed_s", observed.elapsed_s)
    by_volume = held + np.where(observed.by_volume, observed.collected_l, 0.0) / kept
    over = np.where(observed.by_volume, by_volume, over)
    if observed.by_mass.any():
        over = np.where(observed.by_mass, held + tracks.where("over_g", observed.mass_g / kept), over)
    return np.asarray(np.minimum(over, tracks.points.over_l[:, -1:]))


def predict(tracks: Tracks, observed: Observed, over_l: Array | None = None) -> Array:
    """What the readings would be on each track, shape (tracks, t), in the order of `Observed.targets`."""
    over = places(tracks, observed) if over_l is None else over_l
    _, kind, line = observed.targets()
    columns = [_strengths(tracks, observed, over), *tracks.at(over, "vapour_k", "pot_k", "elapsed_s")]
    return np.asarray(np.stack(columns)[kind, :, line].T)


def _held(tracks: Tracks) -> Array:
    return np.asarray(tracks.rows.hold_up_l + tracks.bench.parrot_l)[:, None]


def _kept(tracks: Tracks) -> Array:
    """Share of what runs out that is collected."""
    return np.asarray(1.0 - tracks.rows.lost)[:, None]


def _strengths(tracks: Tracks, observed: Observed, over: Array) -> Array:
    """Strength [% vol] of stream, parrot or jar at every reading."""
    held = _held(tracks)
    mixing = np.where(observed.in_parrot, held, tracks.rows.hold_up_l[:, None])
    ethanol, water = tracks.mixed(over, mixing)
    jars = observed.of_jar
    if jars.any():
        part = observed.only(jars)
        end = over[:, jars]
        kept = _kept(tracks)
        begin = held + np.where(np.isnan(part.from_l), 0.0, part.from_l) / kept
        by_mass = part.by_mass
        if by_mass.any():
            begin = np.where(by_mass, held + tracks.where("over_g", part.from_g / kept), begin)
        begin = np.minimum(begin, end - 1e-6)
        ethanol[:, jars], water[:, jars] = _poured(tracks, begin, end, held)
    return np.asarray(strength.abv_from_moles(ethanol, water))


def _poured(tracks: Tracks, begin: Array, end: Array, held: Array) -> tuple[Array, Array]:
    """Moles that have run into a jar: what has passed the neck, less what more mixes behind it."""
    after, before = run_out(tracks, end, held), run_out(tracks, begin, held)
    return np.maximum(after[0] - before[0], 1e-12), np.maximum(after[1] - before[1], 1e-12)


def run_out(tracks: Tracks, over_l: Array, held_l: Array) -> tuple[Array, Array]:
    """Find what has run out behind condenser and parrot.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    over_l : ndarray, shape (k, n)
        What has passed the neck [L].
    held_l : ndarray, shape (k, 1)
        What mixes behind it [L].

    Returns
    -------
    ethanol, water : ndarray, shape (k, n)
        Moles; below nothing while it is still being filled.
    """
    total, ethanol = tracks.at(over_l, "over_mol", "ethanol_mol")
    in_ethanol, in_water = tracks.mixed(over_l, np.broadcast_to(held_l, over_l.shape))
    return ethanol - held_l * in_ethanol, total - ethanol - held_l * in_water


# --- Readings to be met by tracks: least squares, held by what is known before.


NAMES = (
    "ratio",
    "time_scale",
    "charge_abv",
    "charge_l",
    "volatility_error",
    "start_s",
    "hold_up_l",
    "lost",
    "vapour_offset_k",
    "pot_offset_k",
)
STEP = 0.05  # of the plan's standard error, for differences
ROBUST = 1.5  # standard errors from which on a reading pulls less than in proportion, when the odd are sought
STEPS = 4  # at most, when the search begins at the answer to one reading less
CLOSE = 0.1  # standard errors within which such a search ends
Loss = Literal["linear", "soft_l1"]


@dataclass(frozen=True)
class Prior:
    """What is known before the first reading; arrays in the order of `NAMES`.

    Parameters
    ----------
    mean, error : ndarray, shape (10,)
        Values and their standard errors: ratio [-], ln of the time scale [-], strength of the charge [% vol],
        ln of its volume over the plan's [-], error of ln alpha [-], first drop [s], hold-up [L], share lost
        [-], and what the two thermometers show too much [K].
    low, high : ndarray, shape (10,)
        Bounds.
    charge_l : float
        Volume of the charge in the plan [L].
    """

    mean: Array
    error: Array
    low: Array
    high: Array
    charge_l: float

    def loosened(self, factor: float) -> Prior:
        """Return the same with standard errors so many times as large; the bounds stay."""
        return replace(self, error=self.error * factor)

    def rows(self, values: Array) -> TrackRows:
        """Return the rows of tracks for sets of values, shape (k, 10)."""
        v = dict(zip(NAMES, values.T, strict=True))
        return TrackRows(
            ratio=v["ratio"],
            time_scale=np.exp(v["time_scale"]),
            charge_abv=v["charge_abv"],
            charge_l=self.charge_l * np.exp(v["charge_l"]),
            volatility_error=v["volatility_error"],
            start_s=v["start_s"],
            hold_up_l=v["hold_up_l"],
            lost=v["lost"],
        )


def quadratic(slopes: Array, covariance: Array) -> Array:
    """Variances of what has slopes, shape (10, ...), in values with a covariance, shape (10, 10)."""
    return np.asarray(np.einsum("i...,ij,j...->...", slopes, covariance, slopes))


def _bounded_step(inner: Array, pull: Array, at: Array, bounds: tuple[Array, Array]) -> Array:
    """Solve ``inner step = pull``, holding what would leave its bounds at them."""
    step = np.zeros(at.size)
    free = np.ones(at.size, dtype=bool)
    for _ in range(at.size):
        rest = pull[free] - inner[np.ix_(free, ~free)] @ step[~free]
        step[free] = np.linalg.solve(inner[np.ix_(free, free)], rest)
        out = free & ((at + step < bounds[0]) | (at + step > bounds[1]))
        if not out.any():
            break
        step[out] = np.clip(at[out] + step[out], bounds[0][out], bounds[1][out]) - at[out]
        free &= ~out
    return step


class Problem:
    """Readings to be met by tracks.

    Parameters
    ----------
    bench : Bench
        What is held.
    prior : Prior
        What is known before.
    observed : Observed
        The readings; may be none.
    noise : Noise
        Their standard errors.
    """

    def __init__(self, bench: Bench, prior: Prior, observed: Observed, noise: Noise) -> None:
        self.bench, self.prior, self.observed, self.noise = bench, prior, observed, noise
        self.read, self.kind, self.line = observed.targets()
        self.offset = np.zeros((len(NAMES), self.read.size))  # analytic: what a thermometer shows too much
        for name, kind in (("vapour_offset_k", "vapour"), ("pot_offset_k", "pot")):
            self.offset[NAMES.index(name)] = self.kind == KINDS.index(kind)
        self.error = np.ones(self.read.size)
        self._last: tuple[bytes, Array, Array, Tracks, Array] | None = None

    def look(self, values: Array) -> tuple[Array, Array, Tracks, Array]:
        """Predict at values, shape (10,): predictions, slopes (10, t), the tracks and their steps."""
        key = values.tobytes()
        if self._last is None or self._last[0] != key:
            steps = STEP * self.prior.error
            steps = np.where(values + steps > self.prior.high, -steps, steps)
            table = values + np.vstack([np.zeros(len(NAMES)), np.diag(steps)])
            tracks = Tracks(self.bench, self.prior.rows(table))
            if self.read.size:
                seen = predict(tracks, self.observed) + table @ self.offset
            else:
                seen = np.zeros((len(table), 0))
            self._last = (key, seen[0], (seen[1:] - seen[0]) / steps[:, None], tracks, steps)
        return self._last[1:]

    def scaled(self, values: Array) -> Array:
        """Values as standard errors from what was known before, within the bounds."""
        p = self.prior
        return np.asarray(np.clip((values - p.mean) / p.error, *self.bounds))

    def plain(self, scaled: Array) -> Array:
        """The inverse of `scaled`."""
        return np.asarray(self.prior.mean + self.prior.error * scaled)

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Bounds in standard errors from what was known before."""
        p = self.prior
        return (p.low - p.mean) / p.error, (p.high - p.mean) / p.error

    def weigh(self, values: Array) -> None:
        """Set the standard error of each target, that of its place included, from the tracks at values."""
        if not self.read.size:
            return
        seen, _, tracks, _ = self.look(values)
        over = places(tracks, self.observed.moved(self.noise))
        moved = predict(tracks, self.observed, over)[0] + values @ self.offset
        self.error = np.hypot(self.noise.of(self.kind), moved - seen)

    def solve(self, start: Array, kept: NDArray[np.bool_], loss: Loss, most: int) -> Array:
        """Seek the values, shape (10,), that meet the readings kept."""
        from scipy.optimize import least_squares  # start-up: scipy only for a fit

        def misfit(scaled: Array) -> Array:
            seen = self.look(self.plain(scaled))[0]
            return np.concatenate([((seen - self.read) / self.error)[kept], scaled])

        def slopes(scaled: Array) -> Array:
            each = self.look(self.plain(scaled))[1]
            return np.vstack([(each * self.prior.error[:, None] / self.error).T[kept], np.eye(len(NAMES))])

        found: Any = least_squares(
            misfit,
            self.scaled(start),
            jac=slopes,
            bounds=self.bounds,
            method="dogbox",
            loss=loss,
            f_scale=ROBUST,
            xtol=1e-4,
            ftol=1e-5,
            gtol=1e-5,
            max_nfev=most,
        )
        if not np.isfinite(found.x).all():
            raise ConvergenceError.of("not_converged", of="readings")
        return self.plain(found.x)

    def nearby(self, start: Array) -> Array | None:
        """Seek the values from close by, all readings kept: Gauss-Newton, ``None`` if it leads nowhere."""
        kept = np.ones(self.read.size, dtype=bool)
        scaled, before = self.scaled(start), np.inf
        for _ in range(STEPS):
            off, pull, inner = self._normal(self.plain(scaled), scaled, kept)
            cost = float(off @ off + scaled @ scaled)
            if cost > before * (1.0 + 1e-9):
                return None
            before = cost
            step = _bounded_step(inner, pull, scaled, self.bounds)
            if step @ inner @ step < CLOSE**2:
                return self.plain(scaled)
            scaled = scaled + step
        return None

    def _normal(self, values: Array, scaled: Array, kept: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """How far the readings kept are off, and pull and matrix of the normal equations of scaled values."""
        seen, slopes = self.look(values)[:2]
        off = ((self.read - seen) / self.error)[kept]
        slopes = (slopes * self.prior.error[:, None] / self.error)[:, kept]
        return off, slopes @ off - scaled, np.eye(len(NAMES)) + slopes @ slopes.T

    def toward(self, values: Array, k: int, kept: NDArray[np.bool_]) -> tuple[float, float]:
        """Where number k would be without bounds, seen from values, and its standard error."""
        _, pull, inner = self._normal(values, self.scaled(values), kept)
        inverse = np.linalg.inv(inner)
        size = float(self.prior.error[k])
        return float(values[k]) + size * float(inverse[k] @ pull), size * float(np.sqrt(inverse[k, k]))

    def holding(self, values: Array, k: int, value: float, kept: NDArray[np.bool_]) -> Array:
        """Seek the values from close by with number k held."""
        if value == values[k]:
            return values
        scaled = self.scaled(values)
        low, high = (bound.copy() for bound in self.bounds)
        low[k] = high[k] = scaled[k] = (value - self.prior.mean[k]) / self.prior.error[k]
        for _ in range(STEPS):
            _, pull, inner = self._normal(self.plain(scaled), scaled, kept)
            step = _bounded_step(inner, pull, scaled, (low, high))
            scaled = scaled + step
            if step @ inner @ step < CLOSE**2:
                break
        return self.plain(scaled)

    def covariance(self, values: Array, kept: NDArray[np.bool_]) -> Array:
        """Covariance of the values by the readings kept and by what was known before."""
        scaled = np.linalg.inv(np.eye(len(NAMES)) + self.information(values, kept))
        return np.asarray(scaled * np.outer(self.prior.error, self.prior.error))

    def information(self, values: Array, kept: NDArray[np.bool_]) -> Array:
        """What the readings kept tell, each number in units of its standard error before."""
        slopes = (self.look(values)[1] * self.prior.error[:, None] / self.error)[:, kept]
        return np.asarray(slopes @ slopes.T)

    def distances(self, values: Array, covariance: Array, kept: NDArray[np.bool_]) -> Array:
        """How far each target lies from what all others lead to expect, in standard errors."""
        seen, slopes = self.look(values)[:2]
        share = quadratic(slopes, covariance) / self.error**2
        # Of a target that took part, the part that it has in the answer is taken out again.
        spread = np.where(kept, np.sqrt(np.maximum(1.0 - share, 1e-6)), np.sqrt(1.0 + share))
        return np.asarray((self.read - seen) / (self.error * spread))
