"""How readily a trace compound leaves pot and neck, and the weights of its stiff decay over whole steps.

``dn/ds = f(s) - k(s) n`` over a step: what is there at the start decays by ``exp(-z)``, ``z = integral of k
ds``; of what the source gives, a part is left at the end. In the variable ``u = (integral of k so far) / z``
the decay is exactly exponential, and ``f ds/du`` is smooth however stiff the decay, so that a parabola
through three points of it serves.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import factorial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import DTypeLike, NDArray

from potsim.errors import RangeError
from potsim.liquid import compounds as library
from potsim.liquid import strength, traces
from potsim.liquid.equilibrium import bubble_point
from potsim.still.course import States
from potsim.still.lookup import SmoothFit, product

if TYPE_CHECKING:
    from potsim.still.carry import Across

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
LEAST = 1e-30  # added where a decay is divided by, which may be nought


class Weights(NamedTuple):
    """Weights of steps; ``shape`` is that of one node of ``decay``."""

    lost: Array  # share of what is there at the start that has left at the end, ``1 - exp(-z)``, shape (...)
    kept: Array  # for the source at each node, what of it is still there at the end, shape (3, ...)
    left: Array  # what of it has left


def weights(decay: Array, width: float | Array = 1.0) -> Weights:
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
    >>> import numpy as np
    >>> from potsim.still.escape import weights
    >>> w = weights(np.full((3, 1), 2.0), np.array([0.5]))
    >>> bool(abs(w.kept.sum() - 0.5 * (1 - np.exp(-1))) < 1e-15)
    True
    """
    k = decay + LEAST
    shares, running = SHARES.astype(k.dtype), RUNNING.astype(k.dtype)
    mean = np.einsum("n,n...->...", shares, k)
    u = np.einsum("mn,n...->m...", running, k) / mean
    z = np.einsum("n,n...->...", shares, decay) * width
    still_there, gone = _moments(z)
    kept, left = np.empty_like(k), np.empty_like(k)
    further = u - u[[1, 2, 0]]  # each node from the next
    scale = width * mean / (k * further * -further[[2, 0, 1]])
    for i in range(3):
        a, b = u[i - 2], u[i - 1]
        both, product_ab = a + b, a * b
        for out, moment in ((kept, still_there), (left, gone)):
            part = moment[2] - both * moment[1]
            part += product_ab * moment[0]
            np.multiply(part, scale[i], out=out[i])
    return Weights(-np.expm1(-z), kept, left)


def _moments(z: Array) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Integrals over u of ``u^j exp(-z (1 - u))``, j = 0, 1, 2, and of ``u^j (1 - exp(-z (1 - u)))``."""
    low = np.minimum(z, SMALL)
    terms = SERIES if z.dtype == np.float64 else SERIES[:6]
    series = np.full_like(z, terms[-1])
    for factor in terms[-2::-1]:
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


# --- Escape of compounds, looked up along a run.


Compounds = tuple[str | library.Compound, ...]

POINTS = 40  # at which volatilities are computed, between water and the strongest pot
SCALE_X = 0.02  # composition over which ln K bends most
ROWS = 512  # of the look-up table
ROOM_K = 293.15  # the colder of the two temperatures at which partitions are tabulated
OIL_KG_PER_L = 0.9  # of a compound as a liquid; 0.85 for hydrocarbons, 1.05 for phenols, from memory


class Escape(NamedTuple):
    """Escape of compounds at points of a run; arrays of shape (..., compounds)."""

    per_depletion: Array  # ``k = -d ln n / ds`` of what is dissolved in the pot
    past_neck: Array  # share of what enters the rising vapour that passes the neck
    partition: Array  # concentration in fat or wax over that in the pot's liquid, both at the boil


def escape(
    compounds: Compounds, states: States | Across, pressure_pa: float, dtype: DTypeLike = np.float64
) -> Escape:
    """Look up the escape of compounds.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    states : States
        Points of a run.
    pressure_pa : float
        Pressure of the air [Pa].
    dtype : data-type
        Of the answers.

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
    refuse_strong(states)
    here, part = np.split(_both_table(compounds, pressure_pa)(states.pot_x, dtype), 2, axis=-1)
    runs_back = np.asarray(states.reflux, dtype)[..., None]
    if not runs_back.any():
        return Escape(here, (here > 0.0).astype(dtype), part)
    richer = volatility_table(compounds, pressure_pa)(states.x_reflux, dtype)  # than the vapour of the pot
    on = 1.0 - runs_back
    passing = on * richer
    passing += runs_back
    passing[passing == 0.0] = 1.0  # where all runs back, of what stays
    richer /= passing
    return Escape(here * richer, on * richer, part)


class CompositionTable:
    """Positive quantities of compounds as smooth functions of the liquid's composition.

    Parameters
    ----------
    values : callable
        From mole fractions of ethanol, shape (n,), to the quantities, shape (compounds, n); 0 throughout for
        a compound that has none.

    Notes
    -----
    Logarithms as Chebyshev series in ``z = arcsinh(x / 0.02)``, tabulated at equal steps of z and looked up
    by cubic Hermite interpolation; volatilities within 1e-6 of `potsim.liquid.traces.volatilities`.
    """

    def __init__(self, values: Callable[[Array], Array]) -> None:
        top = float(np.arcsinh(traces.X_MAX / SCALE_X))
        k = values(SCALE_X * np.sinh(SmoothFit.points(0.0, top, POINTS)))
        self.none = np.flatnonzero(k[:, 0] == 0.0)
        k[self.none] = 1.0
        fit = SmoothFit(0.0, top, np.log(k).T)
        self._step = top / ROWS
        waves = fit.waves(np.linspace(0.0, top, ROWS + 1))
        values_there = product(waves, fit.coefficients)
        slopes = product(waves[:, :-1], chebyshev.chebder(fit.coefficients)) * (2.0 / ROWS)
        rise = np.diff(values_there, axis=0)
        self.cubic: Array = np.ascontiguousarray(
            [
                values_there[:-1],
                slopes[:-1],
                3.0 * rise - 2.0 * slopes[:-1] - slopes[1:],
                slopes[:-1] + slopes[1:] - 2.0 * rise,
            ]
        )
        self._cubics: dict[DTypeLike, Array] = {}

    def _cubic(self, dtype: DTypeLike) -> Array:
        if dtype not in self._cubics:
            self._cubics[dtype] = self.cubic.astype(dtype)
        return self._cubics[dtype]

    def beside(self, other: CompositionTable) -> CompositionTable:
        """Return a table of both, the columns of the other behind these."""
        out = object.__new__(CompositionTable)
        out.none = np.concatenate([self.none, other.none + self.cubic.shape[2]])
        out._step, out._cubics = self._step, {}
        out.cubic = np.concatenate([self.cubic, other.cubic], axis=2)
        return out

    def __call__(self, x: Array, dtype: DTypeLike = np.float64) -> Array:
        """The quantities at mole fractions of any shape; shape (..., compounds)."""
        place = np.arcsinh(x / SCALE_X) / self._step
        row = np.minimum(place.astype(np.intp), ROWS - 1)
        along = np.asarray(place - row, dtype)[..., None]
        a, b, c, k = (column.take(row, axis=0) for column in self._cubic(dtype))
        for lower in (c, b, a):
            k *= along
            k += lower
        np.exp(k, out=k)
        k[..., self.none] = 0.0
        return np.asarray(k)


@lru_cache(maxsize=64)
def volatility_table(compounds: Compounds, pressure_pa: float) -> CompositionTable:
    """Return the volatilities of compounds in the boiling liquid, tabulated at the first call and kept."""
    return CompositionTable(lambda x: traces.volatilities(compounds, x, pressure_pa))


@lru_cache(maxsize=64)
def partition_table(compounds: Compounds, pressure_pa: float) -> CompositionTable:
    """Return the partitions of compounds in the boiling liquid, tabulated at the first call and kept."""
    return CompositionTable(
        lambda x: partition(compounds, x, np.atleast_1d(bubble_point(x, pressure_pa).temperature_k))
    )


@lru_cache(maxsize=64)
def _both_table(compounds: Compounds, pressure_pa: float) -> CompositionTable:
    """Volatilities, and partitions behind them."""
    return volatility_table(compounds, pressure_pa).beside(partition_table(compounds, pressure_pa))


@lru_cache(maxsize=64)
def cold_partition_table(compounds: Compounds) -> CompositionTable:
    """Return the partitions of compounds at 20 °C, tabulated at the first call and kept."""
    return CompositionTable(lambda x: partition(compounds, x, np.full(x.shape, ROOM_K)))


def partition(compounds: Compounds, x: Array, temperature_k: Array) -> Array:
    """Return how compounds part between fat, wax or oil and the liquid around it.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Which.
    x : ndarray, shape (n,)
        Mole fraction of ethanol in the liquid.
    temperature_k : ndarray, shape (n,)
        Temperature [K].

    Returns
    -------
    ndarray, shape (compounds, n)
        Concentration in the fat over that in the liquid, both per volume [-], at high dilution. Nought for
        what the group model does not describe.

    Notes
    -----
    ``P = gamma v_liquid / (e v)``: gamma at high dilution in the liquid, v the molar volumes of liquid and
    compound; in the fat ``ln a = ln phi + 1``, the limit of Flory and Huggins for a small molecule among
    large ones without heat of mixing. Good to a factor of two or three, as gamma is.
    """
    known = [library.compound(one) for one in compounds]
    rows = [row for row, one in enumerate(known) if one.vapour_pressure is not None]
    out = np.zeros((len(known), x.size))
    if rows:
        liquid_l = np.asarray(strength.volume_from_moles(x, 1.0 - x))
        oil_l = np.array([known[row].molar_mass_g for row in rows]) / (1e3 * OIL_KG_PER_L)
        gamma = np.exp(traces.ln_gamma([known[row] for row in rows], x, temperature_k))
        out[rows] = gamma * liquid_l / (np.e * oil_l[:, None])
    return out


def refuse_strong(states: States | Across) -> None:
    """Refuse pots and refluxes stronger than volatilities are known for."""
    strongest = float(max(np.max(states.pot_x, initial=0.0), np.max(states.x_reflux, initial=0.0)))
    if strongest > traces.X_MAX:
        given, most = (float(strength.abv_from_x(x)) for x in (strongest, traces.X_MAX))
        raise RangeError.of("too_strong_to_follow", "charge", given=given, allowed=most)
