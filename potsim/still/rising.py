"""Curves that only rise, through points with given slopes, and where they reach a level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEPS = 60  # at most, in the search for a level; four or five do
CLOSE = 1e-10  # of a step of the grid


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
        """Evaluate every curve.

        Parameters
        ----------
        position : ndarray, shape (m,)
            Inside the grid.

        Returns
        -------
        ndarray, shape (curves, m)
            Values.
        """
        step = np.clip(np.searchsorted(self.position, position, side="right") - 1, 0, self._step.size - 1)
        along = (position - self.position[step]) / self._step[step]
        a, b, c, d = (column[:, step] for column in self._cubic)
        return np.asarray(((d * along + c) * along + b) * along + a)

    def reaches(self, level: Array) -> Array:
        """Where each curve reaches levels of its own.

        Parameters
        ----------
        level : ndarray, shape (curves, m) or (m,)
            Levels; those outside a curve give the end of the grid next to them.

        Returns
        -------
        ndarray, shape (curves, m)
            Positions.
        """
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
        if np.all(np.abs(following - t) <= CLOSE):
            return following
        t = following
    return t
