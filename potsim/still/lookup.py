"""Functions kept as tables: a smooth fit to build from, and a uniform table to look up in."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from potsim.liquid.pure import Array

# Points handled at a time, so that the work stays in the processor's cache.
BLOCK = 8192
ONE_THREAD = 250_000  # multiplications; OpenBLAS shares larger products among threads


def product(left: Array, right: Array) -> Array:
    """Product of matrices in blocks too small for a second thread, which would only wait for the first."""
    out = np.empty((left.shape[0], right.shape[1]))
    block = max(1, ONE_THREAD // max(right.size, 1))
    for k in range(0, left.shape[0], block):
        np.matmul(left[k : k + block], right, out=out[k : k + block])
    return out


class SmoothFit:
    """Chebyshev interpolation of a smooth function between two ends.

    Parameters
    ----------
    low, high : float
        Ends of the interval.
    values : ndarray, shape (n,) or (n, m)
        The function, or m of them, at `points`.

    Notes
    -----
    The error falls geometrically with n for an analytic function; with values at the Chebyshev points it
    is within a small factor of the best polynomial's.
    """

    def __init__(self, low: float, high: float, values: Array) -> None:
        self.low, self.high = low, high
        n = values.shape[0]
        # Not by BLAS, which would wake a second thread for it and let it wait.
        self.coefficients = np.einsum("ij,i...->j...", _waves(n), values) * (2.0 / n)
        self.coefficients[0] *= 0.5

    @staticmethod
    def points(low: float, high: float, n: int) -> Array:
        """Where the values are wanted: n points in rising order, neither end among them."""
        return np.asarray(low + (high - low) * 0.5 * (chebyshev.chebpts1(n) + 1.0))

    def __call__(self, z: Array) -> Array:
        """Evaluate at ``z``; shape of ``z``, or (m, ...) for m functions."""
        return np.asarray(chebyshev.chebval(self._unit(z), self.coefficients))

    def waves(self, z: Array) -> Array:
        """What the coefficients count, at ``z``; shape (z, coefficients)."""
        return np.asarray(chebyshev.chebvander(self._unit(z), len(self.coefficients) - 1))

    @property
    def ends(self) -> tuple[float, float]:
        """What it is at both ends."""
        odd, even = self.coefficients[1::2].sum(), self.coefficients[::2].sum()
        return float(even - odd), float(even + odd)

    def integral(self) -> SmoothFit:
        """Return the integral from ``low``."""
        out = object.__new__(SmoothFit)
        out.low, out.high = self.low, self.high
        out.coefficients = chebyshev.chebint(self.coefficients, lbnd=-1, scl=0.5 * (self.high - self.low))
        return out

    def _unit(self, z: Array) -> Array:
        return 2.0 * (z - self.low) / (self.high - self.low) - 1.0


@lru_cache(maxsize=8)
def _waves(n: int) -> Array:
    """The first n Chebyshev polynomials on the n points on which they are orthogonal."""
    return np.asarray(chebyshev.chebvander(chebyshev.chebpts1(n), n - 1))


def hermite(values: Array, slopes: Array) -> list[Array]:
    """Powers, the lowest first, of the cubics between rows; ``slopes`` are changes for each step."""
    rise, low, high = np.diff(values, axis=0), slopes[:-1], slopes[1:]
    return [values[:-1], low, 3.0 * rise - 2.0 * low - high, low + high - 2.0 * rise]


class UniformTable:
    """Columns tabulated at equal steps, looked up together by cubic Hermite interpolation.

    Parameters
    ----------
    start, step : float
        Position of the first row, and the distance of rows.
    values : ndarray, shape (n, m)
        The columns.
    slopes : ndarray, shape (n, m), optional
        Their derivatives; by fourth-order differences when left out.
    """

    def __init__(self, start: float, step: float, values: Array, slopes: Array | None = None) -> None:
        self.start, self.step = start, step
        self.last = values.shape[0] - 2
        powers = hermite(values, difference(values) if slopes is None else slopes * step)
        self.cubic = np.ascontiguousarray(np.stack(powers).transpose(2, 0, 1))  # column, power, row

    def __call__(self, position: Array) -> Array:
        """Evaluate at positions inside the table (the caller sees to that); shape (m, ...)."""
        scaled = (position - self.start) / self.step
        row = np.minimum(scaled.astype(np.intp), self.last)
        along = scaled - row
        c = self.cubic.take(row, axis=2)
        return np.asarray(((c[:, 3] * along + c[:, 2]) * along + c[:, 1]) * along + c[:, 0])


def four_rows(
    position: Array, start: float, step: float, rows: int
) -> tuple[NDArray[np.intp], tuple[Array, Array, Array, Array]]:
    """Find the four rows around positions and the share of each in a cubic through them.

    Parameters
    ----------
    position : ndarray
        Positions inside a table of equal steps.
    start, step : float
        Position of the first row, and the distance of rows.
    rows : int
        Number of rows.

    Returns
    -------
    row : ndarray of int
        The first of the four rows.
    shares : tuple of ndarray
        Their shares; the interpolated value is the sum of shares times values.
    """
    scaled = (position - start) * (1.0 / step)
    row = scaled.astype(np.intp)
    row -= 1
    np.maximum(row, 0, out=row)
    np.minimum(row, rows - 4, out=row)
    t = scaled - row
    a, b, c = t - 1.0, t - 2.0, t - 3.0
    ab, tc = a * b, t * c
    c *= ab
    c *= -1.0 / 6.0
    b *= tc
    b *= 0.5
    a *= tc
    a *= -0.5
    t *= ab
    t *= 1.0 / 6.0
    return row, (c, b, a, t)


def difference(values: Array) -> Array:
    """Change for each step along the first axis, of five rows or more; fourth order throughout."""
    v = values
    out = np.empty_like(v)
    out[2:-2] = (8.0 * (v[3:-1] - v[1:-3]) - (v[4:] - v[:-4])) / 12.0
    for row, sign in ((0, 1), (-1, -1)):
        a, b, c, d, e = (v[row + sign * k] for k in range(5))
        out[row] = sign * (-25.0 * a + 48.0 * b - 36.0 * c + 16.0 * d - 3.0 * e) / 12.0
        out[row + sign] = sign * (-3.0 * a - 10.0 * b + 18.0 * c - 6.0 * d + e) / 12.0
    return out


def running_integral(step: float, values: Array) -> Array:
    """Integral of values, shape (n,), at equal steps from the first row to each, exact for cubics."""
    m = difference(values)
    panels = 0.5 * (values[:-1] + values[1:]) + (m[:-1] - m[1:]) / 12.0
    return np.concatenate([[0.0], np.cumsum(panels) * step])
