"""What has come over along a run, as a curve of moles that is quick to ask and to ask backwards."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.still.course import Course

Array = NDArray[np.float64]

POINTS = 257  # evenly spaced in moles that are over
BEFORE = 1e-9  # depletion by which the side before a change of power is looked at
STEPS = 40  # at most; three or four do


@dataclass(frozen=True)
class Amounts:
    """Moles that have come over from the first drop to the end of a run.

    Parameters
    ----------
    charge_mol : float
        Moles charged.
    over_mol, ethanol_mol : ndarray, shape (n,)
        Moles that are over, and those of ethanol.
    stream_x, stream_abv : ndarray, shape (n,)
        Mole fraction of ethanol in the stream, and its strength [% vol at 20 °C].
    stream_l : ndarray, shape (n,)
        Volume at 20 °C of the stream, each drop by itself [L]: jars as small as drops would hold so much.

    Notes
    -----
    Between the points ethanol is a cubic in the moles that are over, with the stream's mole fraction as its
    slope; a change of power lies between two points, as the stream jumps there.
    """

    charge_mol: float
    over_mol: Array
    ethanol_mol: Array
    stream_x: Array
    stream_abv: Array
    stream_l: Array

    def ethanol(self, over_mol: Array) -> Array:
        """Ethanol that is over [mol] when so many moles are over.

        Parameters
        ----------
        over_mol : ndarray
            Moles, within the run.

        Returns
        -------
        ndarray
            Moles of ethanol.
        """
        n, e, y = self.over_mol, self.ethanol_mol, self.stream_x
        k = np.minimum(np.searchsorted(n, over_mol, side="right") - 1, n.size - 2)
        h = n[k + 1] - n[k]
        t = (over_mol - n[k]) / h
        rise = e[k + 1] - e[k]
        first, last = y[k] * h - rise, rise - y[k + 1] * h  # how the cubic leaves its chord at both ends
        return np.asarray(e[k] + t * (rise + (1.0 - t) * (first + t * (last - first))))

    def volume_l(self, start_mol: Array, end_mol: Array) -> Array:
        """Own volume at 20 °C [L] of what comes over between two points.

        Parameters
        ----------
        start_mol, end_mol : ndarray
            Moles that are over at either.

        Returns
        -------
        ndarray
            Volumes.
        """
        return volume_l(end_mol - start_mol, self.ethanol(end_mol) - self.ethanol(start_mol))

    def at_stream_l(self, stream_l: Array) -> Array:
        """Moles that are over when so much has run, each drop by itself; held within the run."""
        return np.interp(stream_l, self.stream_l, self.over_mol)

    def at_collected_l(self, collected_l: Array) -> Array:
        """Moles that are over when so much is collected, pooled.

        Parameters
        ----------
        collected_l : ndarray
            Volume at 20 °C [L], 0 to that of the whole run.

        Returns
        -------
        ndarray
            Moles, to about 1e-11 of the run.
        """
        along = volume_l(self.over_mol, self.ethanol_mol)
        moles = np.interp(collected_l, along, self.over_mol)
        l_per_mol = np.interp(moles, self.over_mol, np.gradient(along, self.over_mol))
        for _ in range(STEPS):
            short = collected_l - volume_l(moles, self.ethanol(moles))
            moles = np.clip(moles + short / l_per_mol, 0.0, self.over_mol[-1])
            if np.all(np.abs(short) <= 1e-12 * along[-1]):
                break
        return moles

    def depletion(self, over_mol: Array) -> Array:
        """Depletion ln(W0 / W) when so many moles are over."""
        return np.asarray(-np.log1p(-over_mol / self.charge_mol))


@lru_cache(maxsize=16)
def amounts(course: Course, end: float) -> Amounts:
    """Follow a run to its end; done once and kept, as cuts and jars ask for the same.

    Parameters
    ----------
    course : Course
        The run.
    end : float
        Depletion at its end, above 0.

    Returns
    -------
    Amounts
        The curve.
    """
    s = np.minimum(-np.log1p(np.linspace(0.0, np.expm1(-end), POINTS)), end)
    jumps = [leg.from_depletion for leg in course.legs[1:] if BEFORE < leg.from_depletion < end]
    if jumps:
        s = np.unique(np.concatenate([s, jumps, np.array(jumps) - BEFORE]))
    states = course.at(s)
    y = states.stream_x
    l_per_mol = np.asarray(strength.volume_from_moles(y, 1.0 - y))
    steps = 0.5 * (l_per_mol[1:] + l_per_mol[:-1]) * np.diff(states.over_mol)
    return Amounts(
        charge_mol=course.charge_mol,
        over_mol=states.over_mol,
        ethanol_mol=states.over_ethanol_mol,
        stream_x=y,
        stream_abv=states.stream_abv,
        stream_l=np.concatenate([[0.0], np.cumsum(steps)]),
    )


def volume_l(moles: Array, ethanol_mol: Array) -> Array:
    """Volume at 20 °C [L] of moles of which some are ethanol; rounding below nothing counts as nothing."""
    ethanol = np.maximum(ethanol_mol, 0.0)
    return np.asarray(strength.volume_from_moles(ethanol, np.maximum(moles - ethanol, 0.0)))
