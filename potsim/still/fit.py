"""A still's own losses learnt from readings: weighted least squares, held by what the plan says."""

from __future__ import annotations

from functools import cached_property
from math import erf, pi, sqrt
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from potsim.liquid.pure import Array
from potsim.records import dataclass
from potsim.still.courses import Bench, Tracks
from potsim.still.observed import KINDS, NAMES, Noise, Observed, Prior, Problem, quadratic

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
        """Standard errors, shape (...), of anything computed on all `tracks`, shape (11, ...)."""
        return np.asarray(np.sqrt(np.maximum(quadratic(self._slopes(per_row), self.covariance), 0.0)))

    def _slopes(self, per_row: Array) -> Array:
        steps = self.steps.reshape(-1, *[1] * (per_row.ndim - 1))
        return np.asarray((per_row[1:] - per_row[0]) / steps)

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
        slopes = self._slopes(per_row).reshape(len(NAMES), -1)
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
    noise = noise or Noise()
    problem = Problem(bench, prior, observed, noise)
    start = problem.plain(problem.scaled(prior.mean if before is None else before.values))
    problem.weigh(start)
    kept = np.ones(problem.read.size, dtype=bool)
    values = start
    if problem.read.size:
        values, kept = _search(problem, start, before)
        if _many_left_out(problem, kept):
            loose = Problem(bench, prior.loosened(LOOSE), observed, noise)
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
    from scipy.special import ndtr  # start-up: scipy only for a fit

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
