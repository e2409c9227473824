"""Readings to be met by tracks: least squares, held by what is known before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from potsim.errors import ConvergenceError
from potsim.still.observed import KINDS, Noise, Observed, places, predict
from potsim.still.tracks import Bench, Rows, Tracks

Array = NDArray[np.float64]

NAMES = (
    "ratio",
    "time_scale",
    "charge_abv",
    "charge_l",
    "volatility_error",
    "start_s",
    "hold_up_l",
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
    mean, error : ndarray, shape (9,)
        Values and their standard errors: ratio [-], ln of the time scale [-], strength of the charge [% vol],
        ln of its volume over the plan's [-], error of ln alpha [-], first drop [s], hold-up [L], and what the
        two thermometers show too much [K].
    low, high : ndarray, shape (9,)
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

    def rows(self, values: Array) -> Rows:
        """Return the rows of tracks for sets of values, shape (k, 9)."""
        v = dict(zip(NAMES, values.T, strict=True))
        return Rows(
            ratio=v["ratio"],
            time_scale=np.exp(v["time_scale"]),
            charge_abv=v["charge_abv"],
            charge_l=self.charge_l * np.exp(v["charge_l"]),
            volatility_error=v["volatility_error"],
            start_s=v["start_s"],
            hold_up_l=v["hold_up_l"],
        )


def quadratic(slopes: Array, covariance: Array) -> Array:
    """Variances of what has slopes, shape (9, ...), in values with a covariance, shape (9, 9)."""
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
        """Predict at values, shape (9,): predictions, slopes (9, t), the tracks and their steps."""
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
        """Seek the values, shape (9,), that meet the readings kept."""
        from scipy.optimize import least_squares

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
