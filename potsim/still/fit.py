"""What a spout and two thermometers would show along a track, for the readings that were taken."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cached_property
from math import erf, pi, sqrt
from statistics import NormalDist
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from potsim.errors import ConvergenceError
from potsim.liquid import strength
from potsim.records import dataclass
from potsim.still.courses import Bench, TrackRows, Tracks

Array = NDArray[np.float64]

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
    """Find how much has passed the neck at each reading.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    observed : Observed
        The readings.

    Returns
    -------
    ndarray, shape (k, n)
        Volumes at 20 °C [L]; what condenser and parrot hold back, and what is lost, comes on top of what is
        collected.
    """
    held, kept = _held(tracks), _kept(tracks)
    over = tracks.where("elapsed_s", observed.elapsed_s)
    by_volume = held + np.where(observed.by_volume, observed.collected_l, 0.0) / kept
    over = np.where(observed.by_volume, by_volume, over)
    if observed.by_mass.any():
        over = np.where(observed.by_mass, held + tracks.where("over_g", observed.mass_g / kept), over)
    return np.asarray(np.minimum(over, tracks.points.over_l[:, -1:]))


def predict(tracks: Tracks, observed: Observed, over_l: Array | None = None) -> Array:
    """Return what the readings would be on each track.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    observed : Observed
        Which readings.
    over_l : ndarray, shape (k, n), optional
        From `places`.

    Returns
    -------
    ndarray, shape (k, t)
        In the order of `Observed.targets`.
    """
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
            raise ConvergenceError("The still was not found from these readings.", "Please report them.")
        return self.plain(found.x)

    def nearby(self, start: Array) -> Array | None:
        """Seek the values from close by, all readings kept: Gauss-Newton, ``None`` if it leads nowhere."""
        kept = np.ones(self.read.size, dtype=bool)
        scaled, before = self.scaled(start), np.inf
        for _ in range(STEPS):
            seen, slopes = self.look(self.plain(scaled))[:2]
            off = (self.read - seen) / self.error
            cost = float(off @ off + scaled @ scaled)
            if cost > before * (1.0 + 1e-9):
                return None
            before = cost
            pull = (slopes * self.prior.error[:, None] / self.error) @ off - scaled
            inner = np.eye(len(NAMES)) + self.information(self.plain(scaled), kept)
            step = _bounded_step(inner, pull, scaled, self.bounds)
            if step @ inner @ step < CLOSE**2:
                return self.plain(scaled)
            scaled = scaled + step
        return None

    def toward(self, values: Array, k: int, kept: NDArray[np.bool_]) -> tuple[float, float]:
        """Where number k would be without bounds, seen from values, and its standard error."""
        seen, slopes = self.look(values)[:2]
        off = ((self.read - seen) / self.error)[kept]
        scaled = self.scaled(values)
        pull = (slopes * self.prior.error[:, None] / self.error)[:, kept] @ off - scaled
        inverse = np.linalg.inv(np.eye(len(NAMES)) + self.information(values, kept))
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
            seen, slopes = self.look(self.plain(scaled))[:2]
            off = ((self.read - seen) / self.error)[kept]
            pull = (slopes * self.prior.error[:, None] / self.error)[:, kept] @ off - scaled
            inner = np.eye(len(NAMES)) + self.information(self.plain(scaled), kept)
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


# --- A still's own losses learnt from readings: weighted least squares, held by what the plan says.


LOGARITHMS = ("time_scale", "charge_l")  # sought and told as logarithms of a factor
AS_PLANNED = 0.5  # probability that what is lost is as planned, mostly nothing: nobody knows; no source
PARTS, TAIL, HALVINGS = 32, 6.0, 18  # amounts lost that are counted, to so many errors; bisections of a band
AT_BOUND = 1e-3  # standard errors before from a bound at which a number lies on it
FAR = 4.0  # standard errors beyond which a reading is left out
LOOSE = 4.0  # factor on what is known before, when readings will not have it


@dataclass(frozen=True)
class Residual:
    """One thing read off, against the fit.

    Parameters
    ----------
    line : int
        Which reading, from 0.
    kind : {'strength', 'vapour', 'pot', 'time'}
        What was read.
    read, fitted : float
        As read, and by the fit [% vol, K or s].
    error : float
        Standard error of the reading, that of its place included.
    distance : float
        How far it lies from what the other readings and the plan lead to expect, in standard errors.
    left_out : bool
        Whether it lies so far that it is left out.
    """

    line: int
    kind: str
    read: float
    fitted: float
    error: float
    distance: float
    left_out: bool

    @property
    def off(self) -> float:
        """Read less fitted."""
        return self.read - self.fitted


@dataclass(frozen=True)
class Lost:
    """What may be lost, by the readings and by what was known before.

    Parameters
    ----------
    planned : float
        The share that the plan says, 0 to 1; mostly nothing.
    as_planned : float
        Probability that it is that.
    shares, weights : ndarray, shape (m,)
        Other shares, and how far each is to be believed if it is not; the weights add up to 1.
    """

    planned: float
    as_planned: float
    shares: Array
    weights: Array

    @property
    def middle(self) -> float:
        """The share that is as likely too high as too low; that of the plan unless much speaks against it."""
        edges = np.append(self.shares[0] - 0.5 * self.each, self.shares + 0.5 * self.each)
        up_to = (1.0 - self.as_planned) * np.append(0.0, np.cumsum(self.weights))
        below = float(np.interp(self.planned, edges, up_to))
        if below <= 0.5 <= below + self.as_planned:
            return self.planned
        return float(np.interp(0.5 if below > 0.5 else 0.5 - self.as_planned, up_to, edges))

    @property
    def each(self) -> float:
        """The interval of shares that one of them stands for."""
        return float(self.shares[1] - self.shares[0])

    @property
    def error(self) -> float:
        """Standard error if it is not as planned."""
        mean = float(self.weights @ self.shares)
        return float(np.sqrt(self.weights @ (self.shares - mean) ** 2))


@dataclass(frozen=True)
class Fit:
    """A still learnt.

    Parameters
    ----------
    bench : Bench
        What was held.
    prior : Prior
        What was known before, as far as it was trusted.
    loosened : bool
        Whether what was known had to count less, because too many readings did not fit it.
    values : ndarray, shape (10,)
        The numbers sought, as in `Prior`.
    covariance : ndarray, shape (10, 10)
        Theirs, as if what is lost were doubted to both sides; widened where the readings scatter more than
        their errors.
    tracks : Tracks
        Row 0 at the values, row j + 1 with number j moved by ``steps[j]``.
    steps : ndarray, shape (10,)
        Signed steps.
    residuals : tuple of Residual
        Everything read off.
    widened : float
        Factor by which standard errors were widened for scatter, at least 1.
    information : ndarray, shape (10, 10)
        What the readings tell by themselves, each number in units of its standard error before: two numbers
        whose rows point the same way cannot be told apart.
    lost : Lost
        What may be lost; the value is its middle.
    """

    bench: Bench
    prior: Prior
    loosened: bool
    values: Array
    covariance: Array
    tracks: Tracks
    steps: Array
    residuals: tuple[Residual, ...]
    widened: float
    information: Array
    lost: Lost

    @cached_property
    def errors(self) -> Array:
        """Standard errors, shape (10,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> Array:
        """Correlations, shape (10, 10)."""
        return np.asarray(self.covariance / np.outer(self.errors, self.errors))

    def value(self, name: str) -> float:
        """A number by its name; a factor where the logarithm is sought."""
        value = float(self.values[NAMES.index(name)])
        return float(np.exp(value)) if name in LOGARITHMS else value

    def error(self, name: str) -> float:
        """The standard error of a number, relative where the logarithm is sought."""
        return float(self.errors[NAMES.index(name)])

    def told(self, name: str) -> float:
        """How far the readings narrow a number down, 0 for not at all to 1."""
        k = NAMES.index(name)
        return max(0.0, 1.0 - float(self.errors[k] / self.prior.error[k]))

    def alike(self, one: str, other: str) -> float:
        """How alike two numbers show in the readings: 1 and -1 for what cannot be told apart, 0 for not."""
        i, j = NAMES.index(one), NAMES.index(other)
        size = float(np.sqrt(self.information[i, i] * self.information[j, j]))
        return float(self.information[i, j]) / size if size > 0.0 else 0.0

    def spread(self, per_row: Array) -> Array:
        """Standard errors of anything computed on all tracks.

        Parameters
        ----------
        per_row : ndarray, shape (11, ...)
            Its value on each of `tracks`.

        Returns
        -------
        ndarray
            Shape of one row.
        """
        steps = self.steps.reshape(-1, *[1] * (per_row.ndim - 1))
        slopes = (per_row[1:] - per_row[0]) / steps
        return np.asarray(np.sqrt(np.maximum(quadratic(slopes, self.covariance), 0.0)))

    def band(self, per_row: Array, share: float) -> tuple[Array, Array]:
        """Ends of the band that holds anything computed on all tracks so often.

        Parameters
        ----------
        per_row : ndarray, shape (11, ...)
            Its value on each of `tracks`.
        share : float
            How often it is to be held, 0 to 1: as often missed below as above.

        Returns
        -------
        low, high : ndarray
            Shape of one row; less spirit than none is never lost, so that they lie unevenly about the value.

        Notes
        -----
        For each share lost the rest is normal, and moves with it in proportion. The band reaches over that of
        a still that loses what is planned and that of one that may lose any share: it holds in both.
        """
        steps = self.steps.reshape(-1, *[1] * (per_row.ndim - 1))
        slopes = ((per_row[1:] - per_row[0]) / steps).reshape(len(NAMES), -1)
        k = NAMES.index("lost")
        variance = float(self.covariance[k, k])
        with_lost = self.covariance[:, k] / variance if variance > 0.0 else np.zeros(len(NAMES))
        rest = self.covariance - np.outer(with_lost, with_lost) * variance
        known = np.sqrt(np.maximum(quadratic(slopes, rest), 0.0))
        moves = with_lost @ slopes
        centres = np.outer(self.lost.shares - self.values[k], moves)
        spread = np.hypot(known, moves * self.lost.each / sqrt(12.0))
        low, high = _ends(centres, self.lost.weights, spread, share)
        as_planned = (self.lost.planned - self.values[k]) * moves
        away = NormalDist().inv_cdf(0.5 * (1.0 + share)) * known
        ends = np.minimum(low, as_planned - away), np.maximum(high, as_planned + away)
        low, high = (np.reshape(per_row[0].ravel() + end, per_row[0].shape) for end in ends)
        return low, high

    @cached_property
    def net_power_w(self) -> float:
        """Net power at the temperature of reference, under the first power [W]."""
        return self.bench.net_power_w / self.value("time_scale")

    @property
    def neck_loss_w_per_k(self) -> float:
        """Heat that the neck sheds for each degree above the room [W/K]."""
        return self.value("ratio") * self.bench.net_power_w / self.above_k

    @property
    def planned_neck_loss_w_per_k(self) -> float:
        """What was known of it before [W/K]."""
        return float(self.prior.mean[NAMES.index("ratio")]) * self.bench.net_power_w / self.above_k

    @property
    def neck_share(self) -> float:
        """Share of the net power that the neck takes."""
        return self.value("ratio") * self.value("time_scale")

    @property
    def pot_loss_w_per_k(self) -> float:
        """The same of the pot [W/K], held: one run cannot part it from the share that arrives."""
        return self.bench.shed_w / self.above_k

    @property
    def first_drop_s(self) -> float:
        """Time of the first drop [s]."""
        return self.value("start_s") / float(self.bench.arrives(self.tracks.rows)[0])

    @property
    def heat_share(self) -> float:
        """Share of the power on the plate that reaches the pot, the pot's loss being as it was known."""
        return self.bench.heat_share * (self.net_power_w + self.bench.shed_w) / self.bench.power_w

    @property
    def above_k(self) -> float:
        """Temperature of reference above the room [K]."""
        return self.bench.family.reference_k - self.bench.room_k

    @property
    def neck_loss_error(self) -> float:
        """Standard error of the neck's loss [W/K]."""
        return self.error("ratio") * self.bench.net_power_w / self.above_k

    @property
    def heat_share_error(self) -> float:
        """Standard error of the share of the power that arrives."""
        return self.error("time_scale") * self.bench.heat_share * self.net_power_w / self.bench.power_w

    def at_bound(self, name: str) -> Literal["low", "high"] | None:
        """Whether a number was sought no further than to here."""
        k = NAMES.index(name)
        value, close = self.values[k], AT_BOUND * self.prior.error[k]
        if value <= self.prior.low[k] + close:
            return "low"
        return "high" if value >= self.prior.high[k] - close else None


def fit(
    bench: Bench,
    prior: Prior,
    observed: Observed,
    noise: Noise | None = None,
    before: Fit | None = None,
) -> Fit:
    """Learn a still from readings.

    Parameters
    ----------
    bench : Bench
        What is held.
    prior : Prior
        What is known before the first reading.
    observed : Observed
        The readings; with none the answer is what was known.
    noise : Noise, optional
        Standard errors of the readings.
    before : Fit, optional
        The answer before the last reading, where the search begins.

    Returns
    -------
    Fit
        Values, standard errors, residuals.

    Raises
    ------
    ConvergenceError
        If the search comes to no end.

    Notes
    -----
    ``sum ((read - fitted) / error)^2 + sum ((value - mean) / error)^2`` is least. A reading more than four
    standard errors from what all others lead to expect is left out; such readings are sought with a loss that
    lets far ones pull little. If more than a third of one kind would be left out, the plan is trusted less:
    its standard errors count four times as large. Where what is kept scatters more than its errors, the
    covariance grows by the ratio of the squares.

    What is lost has a prior of its own: as planned in half of all stills, in the others a normal round the
    plan, cut off at nothing. The search takes the normal alone; the value is then the middle of both, with
    all else where it meets the readings best beside it: noise is not told as a loss. Bands reach
    over both, so that a loss that the readings leave open is in them.
    """
    problem = Problem(bench, prior, observed, noise or Noise())
    start = problem.plain(problem.scaled(prior.mean if before is None else before.values))
    problem.weigh(start)
    kept = np.ones(problem.read.size, dtype=bool)
    values = start
    if problem.read.size:
        values, kept = _search(problem, start, before)
        if _many_left_out(problem, kept):
            loose = Problem(bench, prior.loosened(LOOSE), observed, noise or Noise())
            loose.weigh(values)
            again, kept_now = _search(loose, values, None)
            if kept_now.sum() > kept.sum():
                problem, values, kept = loose, again, kept_now
        middle = _lost(problem, values, kept, _widened(problem, values, kept)).middle
        values = problem.holding(values, NAMES.index("lost"), middle, kept)
    covariance = problem.covariance(values, kept)
    distances = problem.distances(values, covariance, kept)
    widened = _widened(problem, values, kept)
    seen, _, tracks, steps = problem.look(values)
    return Fit(
        bench=bench,
        prior=problem.prior,
        loosened=problem.prior is not prior,
        values=values,
        covariance=covariance * widened**2,
        tracks=tracks,
        steps=steps,
        residuals=tuple(
            Residual(int(line), KINDS[kind], row[0], row[1], row[2], row[3], not keep)
            for line, kind, row, keep in zip(
                problem.line,
                problem.kind,
                np.stack([problem.read, seen, problem.error, distances], axis=1).tolist(),
                kept.tolist(),
                strict=True,
            )
        ),
        widened=widened,
        information=problem.information(values, kept),
        lost=_lost(problem, values, kept, widened),
    )


def _lost(problem: Problem, values: Array, kept: NDArray[np.bool_], widened: float) -> Lost:
    """What may be lost: as planned with the probability `AS_PLANNED`, else any share within the bounds."""
    k, prior = NAMES.index("lost"), problem.prior
    planned, doubt, low, high = (float(v[k]) for v in (prior.mean, prior.error, prior.low, prior.high))
    mean, error = problem.toward(values, k, kept)
    error = min(error * widened, doubt)
    begin = max(low, min(mean, high) - TAIL * error)
    end = min(high, max(mean, low) + TAIL * error)
    shares = begin + (end - begin) * (np.arange(PARTS) + 0.5) / PARTS
    # If not as planned, a normal round the plan is what was believed of it, cut off at the bounds.
    within = 0.5 * (erf((high - planned) / doubt / sqrt(2.0)) - erf((low - planned) / doubt / sqrt(2.0)))
    part = (end - begin) / PARTS / (sqrt(2.0 * pi) * doubt * within)
    fits = -0.5 * ((np.append(shares, planned) - mean) / error) ** 2
    *other, as_planned = np.exp(fits - fits.max())
    weights, alone = (1.0 - AS_PLANNED) * part * np.array(other), AS_PLANNED * float(as_planned)
    return Lost(planned, alone / (alone + float(weights.sum())), shares, weights / weights.sum())


def _ends(centres: Array, weights: Array, spread: Array, share: float) -> tuple[Array, Array]:
    """Ends of the band that holds a share of normals of one spread about weighed centres, shape (m, n)."""
    from scipy.special import ndtr

    wide = np.maximum(spread, 1e-12)
    below = np.array([[0.5 * (1.0 - share)], [0.5 * (1.0 + share)]])
    low = np.stack(2 * [centres.min(axis=0) - TAIL * wide])
    high = np.stack(2 * [centres.max(axis=0) + TAIL * wide])
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        less = np.tensordot(weights, ndtr((middle - centres[:, None]) / wide), axes=1) < below
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    return middle[0], middle[1]


def _search(problem: Problem, start: Array, before: Fit | None) -> tuple[Array, NDArray[np.bool_]]:
    """Values, and which targets are kept; after a fit that went well one short search will do."""
    everything = np.ones(problem.read.size, dtype=bool)
    if before is not None and not any(r.left_out for r in before.residuals):
        near = problem.nearby(start)
        if near is not None and not _far(problem, near, everything).any():
            return near, everything
    values = problem.solve(start, everything, "soft_l1", 12)
    kept = ~_far(problem, values, everything)
    for _ in range(3):
        values = problem.solve(values, kept, "linear", 12)
        now = ~_far(problem, values, kept)
        if (now == kept).all():
            break
        kept = now
    return values, kept


def _many_left_out(problem: Problem, kept: NDArray[np.bool_]) -> bool:
    """Whether of any kind more than a third, and more than one, is left out: then the plan may be off."""
    for kind in range(len(KINDS)):
        of_kind = problem.kind == kind
        left = int(np.sum(of_kind & ~kept))
        if left > 1 and 3 * left > int(of_kind.sum()):
            return True
    return False


def _far(problem: Problem, values: Array, kept: NDArray[np.bool_]) -> NDArray[np.bool_]:
    distances = problem.distances(values, problem.covariance(values, kept), kept)
    return np.abs(distances) > FAR


def _widened(problem: Problem, values: Array, kept: NDArray[np.bool_]) -> float:
    """Factor on standard errors, at least 1, from the scatter of what is kept."""
    covariance = problem.covariance(values, kept)
    seen, slopes = problem.look(values)[:2]
    share = quadratic(slopes, covariance) / problem.error**2
    free = float(np.sum(1.0 - share[kept]))
    if free < 2.0:
        return 1.0
    scatter = float(np.sum(((problem.read - seen) / problem.error)[kept] ** 2))
    return max(1.0, float(np.sqrt(scatter / free)))
