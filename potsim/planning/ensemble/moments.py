"""Means, spreads and what they hang on, gathered chunk by chunk in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLOCK = 64  # draws in a product of matrices
STILL = 1e-6  # of a number's size; what spreads less does not spread


@dataclass(frozen=True)
class Moments:
    """Sums over draws; a draw without an answer is left out of that answer.

    Parameters
    ----------
    count : ndarray, shape (answers,)
        Draws that have the answer.
    mean, squares : ndarray, shape (answers,)
        Their mean, and the sum of squared deviations from it.
    z_mean, z_squares : ndarray, shape (inputs, answers)
        The same of the inputs, over the same draws.
    products : ndarray, shape (inputs, answers)
        Sum of products of deviations of input and answer.
    """

    count: Array
    mean: Array
    squares: Array
    z_mean: Array
    z_squares: Array
    products: Array

    def merge(self, other: Moments) -> Moments:
        """Return the moments of both sets of draws together.

        Parameters
        ----------
        other : Moments
            Of other draws.

        Returns
        -------
        Moments
            Free of cancellation: Chan, Golub & LeVeque, Am. Stat. 37 (1983) 242.
        """
        count = self.count + other.count
        safe = np.maximum(count, 1.0)
        pair = self.count * other.count / safe
        apart, z_apart = other.mean - self.mean, other.z_mean - self.z_mean
        return Moments(
            count=count,
            mean=self.mean + apart * other.count / safe,
            squares=self.squares + other.squares + apart**2 * pair,
            z_mean=self.z_mean + z_apart * other.count / safe,
            z_squares=self.z_squares + other.z_squares + z_apart**2 * pair,
            products=self.products + other.products + z_apart * apart * pair,
        )

    @property
    def sd(self) -> Array:
        """Standard deviations; 0 for what hardly spreads, NaN for what fewer than two draws have."""
        sd = np.sqrt(self.squares / np.where(self.count > 1.0, self.count - 1.0, np.nan))
        return np.where(sd <= STILL * np.abs(self.mean), 0.0, sd)

    @property
    def shares(self) -> Array:
        """Part of each answer's variance that goes straight with each input, shape (inputs, answers).

        Squared correlations; the inputs are independent, so they add up to 1 but for what is crooked. 0 for
        an answer that does not spread.
        """
        both = self.z_squares * self.squares
        spread = (self.sd > 0.0) & (both > 0.0)
        return np.divide(self.products**2, both, out=np.zeros_like(both), where=spread)


def moments(z: Array, answers: Array) -> Moments:
    """Return the moments of one chunk of draws.

    Parameters
    ----------
    z : ndarray, shape (n, inputs)
        Inputs.
    answers : ndarray, shape (n, answers)
        What came of them; NaN for no answer.

    Returns
    -------
    Moments
        Of these draws.
    """
    finite = np.isfinite(answers)
    there = finite.astype(float)
    count = there.sum(axis=0)
    safe = np.maximum(count, 1.0)
    mean = np.where(finite, answers, 0.0).sum(axis=0) / safe
    away = np.where(finite, answers - mean, 0.0)
    z_mean = _products(z, there) / safe
    z_squares = _products(z**2, there) - z_mean**2 * count
    products = _products(z, away) - z_mean * away.sum(axis=0)
    return Moments(count, mean, (away**2).sum(axis=0), z_mean, z_squares, products)


def _products(z: Array, values: Array) -> Array:
    """Sums over draws of products, in blocks too small for a second thread, which would only wait."""
    out = np.zeros((z.shape[1], values.shape[1]))
    for k in range(0, z.shape[0], BLOCK):
        out += z[k : k + BLOCK].T @ values[k : k + BLOCK]
    return out
