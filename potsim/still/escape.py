"""How readily trace compounds leave: the plant, by washing and diffusion; the pot, by its vapour; the neck.

What lies at hand in a plant is washed off, the rest diffuses; both at rates that are fixed in easy time, see
`ease`. Where there are many runs they are a last axis of every array.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import DTypeLike, NDArray

from potsim.errors import RangeError
from potsim.liquid import compounds as library
from potsim.liquid import strength, traces
from potsim.liquid.equilibrium import bubble_point
from potsim.liquid.pure import Array, R
from potsim.records import dataclass
from potsim.still.course import States
from potsim.still.lookup import SmoothFit, hermite, product

if TYPE_CHECKING:
    from potsim.still.carry import Across

Index = NDArray[np.intp]
Pools = tuple[tuple[float, float], ...]  # shares, and the rate at which each is released [1/s]

NODES = 0.5 + np.array([-1.0, 0.0, 1.0]) * np.sqrt(15.0) / 10.0  # Gauss-Legendre points of a step
SHARES = np.array([5.0, 8.0, 5.0]) / 18.0  # and their weights

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
        self.cubic: Array = np.ascontiguousarray(hermite(values_there, slopes))
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


# --- What is in the plant, and how it gives that up.


BOILING_SPIRIT_K = 356.15  # 83 °C, the temperature at which easy time is real time
# Of washing and diffusion in soaked plant material; from memory, 20 to 30 kJ/mol. Eugenol out of cloves has
# 58 kJ/mol (abstract, see release_in_time.csv): there the partition between fat and liquid has its part.
ACTIVATION_J_PER_MOL = 25e3
LIFTED = 0.01  # ease at the boil of what steam carries through the piece itself, without dissolving
# what the film of liquid around a piece does to washing, as wax does to diffusion; order of magnitude
FILM = 0.005


@dataclass(frozen=True)
class Soak:
    """Time that plant material lies in a liquid before the first drop.

    Parameters
    ----------
    seconds : float or ndarray, shape (runs,)
        How long [s].
    x : float or ndarray, shape (runs,)
        Mole fraction of ethanol in the liquid.
    from_k, to_k : float or ndarray, shape (runs,)
        Temperature at the beginning and at the end, even in between [K].
    """

    seconds: float | Array
    x: float | Array
    from_k: float | Array
    to_k: float | Array


@dataclass(frozen=True)
class Source:
    """Something that brings trace compounds: the charge itself, or one botanical.

    Parameters
    ----------
    amounts : mapping of str to float or ndarray, shape (runs,)
        Compound id to all that can come out of it, in any unit.
    washed, pools : tuple of (float, float)
        What is still in the plant at the beginning, as shares of it and rates at which each is released [1/s
        of easy time, see `ease`]: what lies at hand and only has to pass the film of liquid around the piece;
        and what diffuses out of it. What they leave of 1 is in the liquid. None: all is in the liquid.
    wax : float
        Fat and wax in a soaked piece per volume of liquid in it [-].
    lipid_l : float or ndarray, shape (runs,)
        Fat and wax that it brings into the pot, in which compounds stay dissolved [L].
    soaks : tuple of Soak
        What happens to it before the first drop, in order.
    in_vapour : bool
        Whether it hangs in the rising vapour instead of lying in the liquid.
    """

    amounts: Mapping[str, float | Array]
    washed: Pools = ()
    pools: Pools = ()
    wax: float = 0.0
    lipid_l: float | Array = 0.0
    soaks: tuple[Soak, ...] = ()
    in_vapour: bool = False


@dataclass(frozen=True)
class Rows:
    """One row for each compound of each source.

    Parameters
    ----------
    compounds : tuple of str or Compound
        Each compound once.
    pot_compound : ndarray of int, shape (pots,), or slice
        A compound in a pot; one pot holds all sources, unless each is alone.
    lipid_l : ndarray, shape (pots,) or (pots, runs)
        The fat and wax there [L].
    source, compound, pot : ndarray of int, shape (rows,)
        Which source and which compound a row is of, and which compound in which pot.
    amount : ndarray, shape (rows,) or (rows, runs)
        All that can come out.
    hold : ndarray, shape (2, rows)
        What holds back washing, then diffusion: the film, and the wax of the source.
    pool, per_s : ndarray, shape (2, pools, rows)
        What is in the plant at the beginning and how fast each part is released, washed and by diffusion.
    in_vapour : ndarray of bool, shape (rows,)
        Whether the source hangs in the vapour.
    pressure_pa : float
        Pressure of the air under which all boils [Pa].
    """

    compounds: Compounds
    pot_compound: Index | slice
    lipid_l: Array
    source: Index
    compound: Index
    pot: Index
    amount: Array
    hold: Array
    pool: Array
    per_s: Array
    in_vapour: NDArray[np.bool_]
    pressure_pa: float

    @cached_property
    def basket(self) -> bool:
        """Whether anything hangs in the vapour."""
        return bool(self.in_vapour.any())

    @cached_property
    def place(self) -> Index:
        """Compound of each row, counted on where the row hangs in the vapour: what washing depends on."""
        return self.compound + len(self.compounds) * self.in_vapour


class Easy(NamedTuple):
    """Easy time, of washing by place, shape (places, ...), and of diffusion by row, shape (rows, ...) [s]."""

    washing: Array
    diffusion: Array


class _Pools:
    """What is in the plant and washed, or diffuses, from the first drop on.

    Parameters
    ----------
    share, per_s : ndarray, shape (pools, rows)
        Share of each row before `first_s`, and the rate at which it is released [1/s].
    first_s : ndarray, shape (rows,) or (rows, runs)
        Easy time before the first drop [s].
    place : ndarray of int, shape (rows,), optional
        Where each row's easy time stands, if not in its own row.
    """

    def __init__(self, share: Array, per_s: Array, first_s: Array, place: Index | None) -> None:
        self.place = place
        self.parts: list[tuple[bool, Array, Array, Array]] = []
        for shares, rates in zip(share, per_s, strict=True):
            some = shares > 0.0
            if some.any():
                rate = np.where(some, rates, rates[some][0])
                alike = bool((rate == rate[0]).all())
                rate, share = (spread(v, first_s.ndim).astype(first_s.dtype) for v in (rate, shares))
                left = share * np.exp(-rate * first_s)
                self.parts.append((alike, -rate[:1] if alike else -rate, left, rate * left))

    def __call__(self, easy: Array, gain: Array | None = None) -> Array | float:
        """Share of each row that is left, or is released for a unit in which easy time grows by ``gain``."""
        out: Array | float = 0.0
        place = self.place
        for alike, fall, left, flow in self.parts:
            part = easy if alike or place is None else easy.take(place, axis=0)
            part = part * spread(fall, part.ndim)
            np.exp(part, out=part)
            if alike and place is not None:  # what lies at hand of a compound goes alike from all sources
                part = part.take(place, axis=0)
            part *= spread(left if gain is None else flow, part.ndim)
            out = np.add(part, out, out=part)
        if gain is not None:
            out *= gain if place is None else gain.take(place, axis=0)
        return out


def spread(by_row: NDArray[Any], ndim: int) -> NDArray[Any]:
    """Rows, and runs if many, with points in between."""
    return by_row.reshape(len(by_row), *(1,) * (ndim - by_row.ndim), *by_row.shape[1:])


class Plant:
    """What is in the plant from the first drop on.

    Parameters
    ----------
    rows : Rows
        What each row is of.
    first_s : ndarray, shape (2, rows) or (2, rows, runs)
        Easy time of washing and of diffusion before the first drop [s].
    """

    def __init__(self, rows: Rows, first_s: Array) -> None:
        places = (rows.place, None)
        self.dtype = first_s.dtype
        self.kinds = [_Pools(*of) for of in zip(rows.pool, rows.per_s, first_s, places, strict=True)]

    def left(self, easy: Easy) -> Array:
        """Share of each row still there after easy times since the first drop."""
        washed, slow = (pools(s) for pools, s in zip(self.kinds, easy, strict=True))
        return np.broadcast_to(washed + slow, easy.diffusion.shape)

    def released(self, easy: Easy, gain: Easy) -> Array:
        """Share of each row released for a unit in which easy time grows by ``gain``."""
        washed, slow = (pools(*both) for pools, *both in zip(self.kinds, easy, gain, strict=True))
        return np.broadcast_to(washed + slow, easy.diffusion.shape)


def ease(hold: Array, partition: Array, temperature_k: Array, boiling: bool) -> Array:
    """Return how easily a compound leaves a piece, against one that nothing holds back at 83 °C.

    Parameters
    ----------
    hold : ndarray
        Fat and wax in the soaked piece per volume of liquid in it [-]; `FILM` for washing.
    partition : ndarray
        Concentration of the compound in fat over that in the liquid [-].
    temperature_k : ndarray
        Temperature [K].
    boiling : bool
        Whether steam rises through the piece.

    Returns
    -------
    ndarray
        Easy seconds a second [-]; all are broadcast.

    Notes
    -----
    ``A(T) [1 / (1 + hold P) + lifted]``. Only what is dissolved in the liquid of a piece can diffuse; the
    share dissolved is ``1 / (1 + wax P)`` at equilibrium with the wax around it. What lies at hand has to
    pass the film of liquid around the piece, the slower the less of it dissolves there. At the boil some oil
    travels as vapour besides, whatever dissolves (`LIFTED`). Both run at rates that are fixed in easy time,
    so that what is left is a sum of exponentials in it.
    """
    return np.asarray(warmth(temperature_k) * (1.0 / (1.0 + hold * partition) + (LIFTED if boiling else 0.0)))


def warmth(temperature_k: Array) -> Array:
    """Arrhenius factor of washing and diffusion against 83 °C [-]."""
    return np.exp(ACTIVATION_J_PER_MOL / R * (1.0 / BOILING_SPIRIT_K - 1.0 / np.asarray(temperature_k)))


def eased(parts: Array, hold: float | Array, warm: Array) -> Array:
    """`ease` at the boil, the factor of warmth being known."""
    out = parts * hold
    out += 1.0
    np.divide(1.0, out, out=out)
    out += LIFTED
    out *= warm
    return out


def rows_of(
    sources: Sequence[Source], own: Mapping[str, library.Compound], pressure_pa: float, alone: bool = False
) -> Rows:
    """Return a row for each compound of each source; ``alone`` puts every source in a pot of its own."""
    names: dict[str, int] = {}
    compound = np.array(
        [names.setdefault(name, len(names)) for one in sources for name in one.amounts], np.intp
    )
    source = np.repeat(np.arange(len(sources)), [len(one.amounts) for one in sources])
    lipid_l = _stacked([0.0 if one.in_vapour else one.lipid_l for one in sources])
    both = [(one.washed, one.pools) for one in sources]
    most = max((len(pools) for pair in both for pools in pair), default=0)
    padded = [[[*pools, *[(0.0, 0.0)] * (most - len(pools))] for pools in pair] for pair in both]
    pools = np.array(padded, dtype=float).reshape(len(sources), 2, most, 2)[source]
    wax = np.array([one.wax for one in sources], dtype=float)[source]
    every = np.arange(source.size)
    return Rows(
        compounds=tuple(own.get(name, name) for name in names),
        pot_compound=compound if alone else slice(None),
        lipid_l=lipid_l[source] if alone else np.repeat(lipid_l.sum(axis=0)[None], len(names), axis=0),
        source=source,
        compound=compound,
        pot=every if alone else compound,
        amount=_stacked([amount for one in sources for amount in one.amounts.values()]),
        hold=np.stack([np.full(wax.size, FILM), wax]),
        pool=pools[..., 0].transpose(1, 2, 0),
        per_s=pools[..., 1].transpose(1, 2, 0),
        in_vapour=np.array([one.in_vapour for one in sources], dtype=bool)[source],
        pressure_pa=pressure_pa,
    )


def _stacked(values: Sequence[float | Array]) -> Array:
    """One row each, with an axis of runs if any has."""
    return np.array(np.broadcast_arrays(*values) if any(np.ndim(v) for v in values) else values, dtype=float)


def soaks_of(sources: Sequence[Source], pressure_pa: float) -> tuple[Array, Array]:
    """How often each soak befalls each source; numbers of each soak and its boil, shape (5, soaks, ...)."""
    soaks = list({id(soak): soak for one in sources for soak in one.soaks}.values())
    times = np.array([[sum(s is soak for s in one.soaks) for soak in soaks] for one in sources], dtype=float)
    values = _stacked([value for s in soaks for value in (s.seconds, s.x, s.from_k, s.to_k)])
    four = np.moveaxis(values.reshape(len(soaks), 4, *values.shape[1:]), 1, 0)
    return times, np.concatenate([four, _boil_k(four[1], pressure_pa)[None]])


def soaked(rows: Rows, times: Array, soaks: Array, dtype: DTypeLike = np.float64) -> Array:
    """Easy time of each row at the first drop [s], shape (2, rows) or (2, rows, runs)."""
    seconds, x, from_k, to_k, boil_k = soaks
    if not len(x):
        return np.zeros((2, rows.source.size, *x.shape[1:]), dtype)
    # The partition's logarithm is even in 1/T; it is known at 20 °C and at the boil.
    cold = cold_partition_table(rows.compounds)(x, dtype)
    warm = partition_table(rows.compounds, rows.pressure_pa)(x, dtype)
    kelvin = np.stack([from_k + (to_k - from_k) * along for along in NODES])
    along = ((1.0 / ROOM_K - 1.0 / kelvin) / (1.0 / ROOM_K - 1.0 / boil_k))[..., None]
    some = cold > 0.0
    low, high = (np.log(np.where(some, each, 1.0)) for each in (cold, warm))
    part = np.where(some, np.exp(low + (high - low) * along.astype(dtype)), 0.0)
    part = np.moveaxis(part, -1, 2).take(rows.compound, axis=2)  # ramp, soaks, rows
    befalls = times.T[:, rows.source].reshape(len(x), -1, *(1,) * (x.ndim - 1))
    weight = (np.multiply.outer(SHARES, seconds) * warmth(kelvin))[:, :, None].astype(dtype)
    holds = (spread(hold, x.ndim).astype(dtype) for hold in rows.hold)
    eased = (weight / (1.0 + hold * part) for hold in holds)  # see `ease`
    return np.stack([(one * befalls.astype(dtype)).sum(axis=(0, 1)) for one in eased])


def _boil_k(x: Array, pressure_pa: float) -> Array:
    if x.ndim > 1:
        return np.asarray(bubble_point(x.ravel(), pressure_pa).temperature_k).reshape(x.shape)
    return np.array([_one_boil_k(one, pressure_pa) for one in x.tolist()])


@lru_cache(maxsize=256)
def _one_boil_k(x: float, pressure_pa: float) -> float:
    return float(np.asarray(bubble_point(x, pressure_pa).temperature_k))
