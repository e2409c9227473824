"""Weights of a stiff linear decay with a source, for whole steps at once.

``dn/ds = f(s) - k(s) n`` over a step: what is there at the start decays by ``exp(-z)``,
``z = integral of k ds``; of what the source gives, a part is left at the end. In the variable
``u = (integral of k so far) / z`` the decay is exactly exponential, and ``f ds/du`` is smooth however stiff
the decay, so that a parabola through three points of it serves.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray

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
