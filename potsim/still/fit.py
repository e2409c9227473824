"""A still's own losses learnt from readings: weighted least squares, held by what the plan says.

Nine numbers are sought. Strengths tell the neck's heat over the net power, times tell the net power, through
how long the run takes; the rest is what may be off besides. Each begins at what the plan says, and is pulled
back to it with the weight of the plan's own doubt, so that few readings change little.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from potsim.still.observed import KINDS, Noise, Observed
from potsim.still.problem import NAMES, Prior, Problem, quadratic
from potsim.still.tracks import Bench, Tracks

Array = NDArray[np.float64]

LOGARITHMS = ("time_scale", "charge_l")  # sought and told as logarithms of a factor
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
    values : ndarray, shape (9,)
        The numbers sought, as in `Prior`.
    covariance : ndarray, shape (9, 9)
        Theirs; widened where the readings scatter more than their errors.
    tracks : Tracks
        Row 0 at the values, row j + 1 with number j moved by ``steps[j]``.
    steps : ndarray, shape (9,)
        Signed steps.
    residuals : tuple of Residual
        Everything read off.
    widened : float
        Factor by which standard errors were widened for scatter, at least 1.
    information : ndarray, shape (9, 9)
        What the readings tell by themselves, each number in units of its standard error before: two numbers
        whose rows point the same way cannot be told apart.
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

    @cached_property
    def errors(self) -> Array:
        """Standard errors, shape (9,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> Array:
        """Correlations, shape (9, 9)."""
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
        per_row : ndarray, shape (10, ...)
            Its value on each of `tracks`.

        Returns
        -------
        ndarray
            Shape of one row.
        """
        steps = self.steps.reshape(-1, *[1] * (per_row.ndim - 1))
        slopes = (per_row[1:] - per_row[0]) / steps
        return np.asarray(np.sqrt(np.maximum(quadratic(slopes, self.covariance), 0.0)))

    @cached_property
    def net_power_w(self) -> float:
        """Net power at the temperature of reference, under the first power [W]."""
        return self.bench.net_power_w / self.value("time_scale")

    @property
    def neck_loss_w_per_k(self) -> float:
        """Heat that the neck sheds for each degree above the room [W/K]."""
        return self.value("ratio") * self.net_power_w / self._above_k

    @property
    def pot_loss_w_per_k(self) -> float:
        """The same of the pot [W/K]; below nothing if there is more power than was said."""
        return (self.bench.power_w - self.net_power_w) / self._above_k

    @property
    def _above_k(self) -> float:
        return self.bench.family.reference_k - self.bench.room_k

    @property
    def loss_errors(self) -> tuple[float, float]:
        """Standard errors of the losses of neck and pot [W/K]."""
        ratio, scale = NAMES.index("ratio"), NAMES.index("time_scale")
        part = self.covariance[np.ix_([ratio, scale], [ratio, scale])]
        per_net = self.net_power_w / self._above_k
        slopes = np.array([[per_net, -self.neck_loss_w_per_k], [0.0, per_net]])
        errors = np.sqrt(np.diag(slopes @ part @ slopes.T))
        return float(errors[0]), float(errors[1])


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
    covariance = problem.covariance(values, kept)
    distances = problem.distances(values, covariance, kept)
    widened = _widened(problem, values, covariance, kept)
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
    )


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


def _widened(problem: Problem, values: Array, covariance: Array, kept: NDArray[np.bool_]) -> float:
    """Factor on standard errors, at least 1, from the scatter of what is kept."""
    seen, slopes = problem.look(values)[:2]
    share = quadratic(slopes, covariance) / problem.error**2
    free = float(np.sum(1.0 - share[kept]))
    if free < 2.0:
        return 1.0
    scatter = float(np.sum(((problem.read - seen) / problem.error)[kept] ** 2))
    return max(1.0, float(np.sqrt(scatter / free)))
