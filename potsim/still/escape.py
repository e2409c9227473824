"""How readily a trace compound escapes from pot and neck, looked up along a run."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import strength, traces
from potsim.still.course import States
from potsim.still.lookup import SmoothFit

Array = NDArray[np.float64]
Compounds = tuple[str | traces.Compound, ...]

POINTS = 40  # at which volatilities are computed, between water and the strongest pot
SCALE_X = 0.02  # composition over which ln K bends most
ROWS = 512  # of the look-up table


@dataclass(frozen=True)
class Escape:
    """Escape of compounds at points of a run; arrays of shape (points, compounds).

    Parameters
    ----------
    volatility : ndarray
        K of what is dissolved in the pot.
    gain : ndarray
        How much richer the stream is than the vapour of the pot.
    on : ndarray, shape (points, 1)
        Share of the vapour that passes the neck.
    """

    volatility: Array
    gain: Array
    on: Array

    @property
    def per_depletion(self) -> Array:
        """``k = -d ln n / ds`` of what is dissolved in the pot."""
        return self.volatility * self.gain

    @property
    def past_neck(self) -> Array:
        """Share of what enters the rising vapour that passes the neck."""
        return self.on * self.gain


def escape(compounds: Compounds, states: States, pressure_pa: float) -> Escape:
    """Look up the escape of compounds.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    states : States
        Points of a run, arrays of shape (points,).
    pressure_pa : float
        Pressure of the air [Pa].

    Returns
    -------
    Escape
        At each point.

    Raises
    ------
    RangeError
        If pot or reflux are stronger than 96 % vol, beyond which volatilities are not known.

    Notes
    -----
    ``k = K(x) / [(1 - r) + r / K(x_r)]``, past the neck ``(1 - r) / [(1 - r) + r / K(x_r)]``; r is the share
    of the vapour that runs back, x_r its composition.
    """
    _refuse_strong(states)
    k = volatility_table(compounds, pressure_pa)(np.concatenate([states.pot_x, states.x_reflux]))
    here, back = k[: states.pot_x.size], k[states.pot_x.size :]
    on = 1.0 - states.reflux[:, None]
    passing = on * back
    passing += states.reflux[:, None]
    passing[passing == 0.0] = 1.0  # where all runs back, of what stays
    back /= passing
    return Escape(here, back, on)


class VolatilityTable:
    """Volatilities of compounds at one pressure as smooth functions of the liquid's composition.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    pressure_pa : float
        Pressure [Pa].

    Notes
    -----
    ln K as a Chebyshev series in ``z = arcsinh(x / 0.02)``, tabulated at equal steps of z and looked up by
    cubic Hermite interpolation; within 1e-6 of `potsim.liquid.traces.volatilities`.
    """

    def __init__(self, compounds: Compounds, pressure_pa: float) -> None:
        top = float(np.arcsinh(traces.X_MAX / SCALE_X))
        z = SmoothFit.points(0.0, top, POINTS)
        k = traces.volatilities(compounds, SCALE_X * np.sinh(z), pressure_pa)
        self.stays = np.flatnonzero(k[:, 0] == 0.0)
        k[self.stays] = 1.0
        series = SmoothFit(0.0, top, np.log(k).T).coefficients
        self._step = top / ROWS
        unit = np.linspace(-1.0, 1.0, ROWS + 1)
        values = chebyshev.chebval(unit, series).T
        slopes = chebyshev.chebval(unit, chebyshev.chebder(series)).T * (2.0 / ROWS)
        rise = np.diff(values, axis=0)
        self._cubic = np.ascontiguousarray(
            [
                values[:-1],
                slopes[:-1],
                3.0 * rise - 2.0 * slopes[:-1] - slopes[1:],
                slopes[:-1] + slopes[1:] - 2.0 * rise,
            ]
        )

    def __call__(self, x: Array) -> Array:
        """Volatilities at mole fractions of shape (points,); shape (points, compounds)."""
        place = np.arcsinh(x / SCALE_X) / self._step
        row = np.minimum(place.astype(np.intp), ROWS - 1)
        along = (place - row)[:, None]
        a, b, c, k = (np.asarray(column) for column in self._cubic.take(row, axis=1))
        for lower in (c, b, a):
            k *= along
            k += lower
        np.exp(k, out=k)
        k[:, self.stays] = 0.0
        return k


@lru_cache(maxsize=64)
def volatility_table(compounds: Compounds, pressure_pa: float) -> VolatilityTable:
    """Return the volatilities of compounds, tabulated at the first call and kept.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    pressure_pa : float
        Pressure [Pa].

    Returns
    -------
    VolatilityTable
        The table.
    """
    return VolatilityTable(compounds, pressure_pa)


def _refuse_strong(states: States) -> None:
    strongest = float(max(np.max(states.pot_x, initial=0.0), np.max(states.x_reflux, initial=0.0)))
    if strongest > traces.X_MAX:
        raise RangeError(
            "the strength of pot and reflux",
            f"{float(strength.abv_from_x(strongest)):.1f} % vol",
            "at most 96 % vol where flavours are followed",
            "Let the charge down with water, or leave out the botanicals and the kind of the spirit.",
        )
