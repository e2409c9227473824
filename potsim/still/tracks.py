"""A few charges in a few stills followed at once, as a spout shows them: by volume, or by the clock.

Fitting a still to readings asks the same questions of the best guess and of its neighbours, each a little off
in one thing. All are rows here, looked up together in one family of tables.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.still.family import Family
from potsim.still.stills import Stills
from potsim.still.walks import Look

Array = NDArray[np.float64]

POINTS = 129  # of each track, evenly spaced in moles that are over
# Where the age of a well-mixed volume's content is looked at: Gauss-Legendre in 1 - exp(-age / mean age).
_AT, _WEIGHT = (
    0.5 * (v + shift) for v, shift in zip(np.polynomial.legendre.leggauss(8), (1.0, 0.0), strict=True)
)


@dataclass(frozen=True)
class Rows:
    """What differs from track to track; arrays of shape (k,).

    Parameters
    ----------
    ratio : ndarray
        Neck heat over net power at the family's temperature of reference, under the first power.
    time_scale : ndarray
        Time that the run takes over that which the plan's net power would take.
    charge_abv, charge_l : ndarray
        Strength [% vol] and volume at 20 °C [L] of the charge.
    volatility_error : ndarray
        Relative error of ln alpha.
    start_s : ndarray
        Time of the first drop at the neck [s].
    hold_up_l : ndarray
        Spirit that the condenser holds back, well mixed [L].
    """

    ratio: Array
    time_scale: Array
    charge_abv: Array
    charge_l: Array
    volatility_error: Array
    start_s: Array
    hold_up_l: Array


@dataclass(frozen=True)
class Bench:
    """What all tracks have in common.

    Parameters
    ----------
    family : Family
        The tables.
    power_w : float
        Power at the first drop [W].
    net_power_w : float
        The part of it that the pot does not shed, at the temperature of reference, where the time scale is 1.
    room_k : float
        Temperature of the room [K].
    power_changes : tuple of (float, float)
        Collected volume [L] and power from there on [W].
    parrot_l : float
        What a parrot under the spout holds [L]; 0 for none.
    share : float
        Share of the charge's moles that is followed, below 1.
    """

    family: Family
    power_w: float
    net_power_w: float
    room_k: float
    power_changes: tuple[tuple[float, float], ...]
    parrot_l: float
    share: float

    def stills(self, rows: Rows) -> Stills:
        """Return the stills of the rows under the first power.

        Parameters
        ----------
        rows : Rows
            The tracks.

        Returns
        -------
        Stills
            One for each; the time scale divides all its heat, in and out.
        """
        above = self.family.reference_k - self.room_k
        return Stills(
            power_w=self.power_w / rows.time_scale,
            neck_loss_w_per_k=rows.ratio * self.net_power_w / (rows.time_scale * above),
            pot_loss_w_per_k=(self.power_w - self.net_power_w) / (rows.time_scale * above),
            room_k=np.full(rows.ratio.shape, self.room_k),
            volatility_error=rows.volatility_error,
        )


@dataclass(frozen=True)
class Points:
    """Quantities along tracks; arrays of one shape, the first axis that of the tracks.

    Parameters
    ----------
    over_mol, ethanol_mol : ndarray
        Moles that have passed the neck, and those of ethanol.
    over_l, over_g : ndarray
        The same as a volume at 20 °C [L] and as a mass [g].
    stream_abv, stream_x : ndarray
        Strength at the neck [% vol], and its mole fraction of ethanol.
    ethanol_per_l, water_per_l : ndarray
        Moles in a litre at the neck.
    pot_x, pot_mol : ndarray
        Mole fraction of ethanol in the pot, and moles there.
    pot_k, vapour_k : ndarray
        Temperatures [K].
    elapsed_s : ndarray
        Time since switch-on [s].
    """

    over_mol: Array
    ethanol_mol: Array
    over_l: Array
    over_g: Array
    stream_abv: Array
    stream_x: Array
    ethanol_per_l: Array
    water_per_l: Array
    pot_x: Array
    pot_mol: Array
    pot_k: Array
    vapour_k: Array
    elapsed_s: Array


class Tracks:
    """Tracks of a few rows.

    Parameters
    ----------
    bench : Bench
        What they have in common.
    rows : Rows
        What differs.

    Attributes
    ----------
    points : Points
        Along each track, shape (k, m).
    """

    def __init__(self, bench: Bench, rows: Rows) -> None:
        self.bench, self.rows = bench, rows
        self.charge_x = np.asarray(strength.x_from_abv(rows.charge_abv))
        ethanol, water = strength.moles(rows.charge_l, rows.charge_abv)
        self.charge_mol = np.asarray(ethanol + water)
        over = np.linspace(0.0, bench.share, POINTS)
        self._depletion = -np.log1p(-over)
        self.points = self._follow()
        self._reach = 1.0 + float(self.points.over_l[:, -1].max())
        self._count = self.points.over_l.shape[0]
        steps = self._reach * np.arange(self._count)[:, None]
        self._flat = (self.points.over_l + steps).ravel()

    def _follow(self) -> Points:
        """Walk each leg of constant power, and put them together."""
        bench, rows, s = self.bench, self.rows, self._depletion
        stills = bench.stills(rows)
        walks = bench.family.walks(self.charge_x, stills)
        look = walks.at(s)
        columns = _columns(look)
        seconds = look.seconds() * self.charge_mol[:, None] + rows.start_s[:, None]
        hold = (rows.hold_up_l + bench.parrot_l)[:, None]
        for from_l, power_w in bench.power_changes:
            over_l = _litres(*self._over(columns["x"]))
            at = np.array([np.interp(from_l + h, row, s) for h, row in zip(hold[:, 0], over_l, strict=True)])
            here = at[:, None]
            x = np.array([np.interp(a, s, row) for a, row in zip(at, columns["x"], strict=True)])
            t = np.array([np.interp(a, s, row) for a, row in zip(at, seconds, strict=True)])
            changed = replace(stills, power_w=power_w / rows.time_scale)
            walks = bench.family.walks(x, changed)
            look = walks.at(np.maximum(s - here, 0.0))
            later = s > here
            columns = {name: np.where(later, v, columns[name]) for name, v in _columns(look).items()}
            left = (self.charge_mol * np.exp(-at))[:, None]
            seconds = np.where(later, t[:, None] + left * look.seconds(), seconds)
        return self._points(columns, seconds)

    def _over(self, x: Array) -> tuple[Array, Array]:
        """Moles over, and those of ethanol."""
        mol = self.charge_mol[:, None]
        left = mol * np.exp(-self._depletion)
        over = mol - left
        ethanol = (self.charge_mol * self.charge_x)[:, None] - left * x
        return over, np.minimum(np.maximum(ethanol, 0.0), over)

    def _points(self, columns: dict[str, Array], seconds: Array) -> Points:
        over, ethanol = self._over(columns["x"])
        ethanol[:, 0] = 0.0
        litres = _litres(over, ethanol)
        y = columns["y"]
        litres_per_mol = _litres(np.ones_like(y), y)
        return Points(
            over_mol=over,
            ethanol_mol=ethanol,
            over_l=litres,
            over_g=_ETHANOL_G * ethanol + _WATER_G * (over - ethanol),
            stream_abv=columns["stream_abv"],
            stream_x=y,
            ethanol_per_l=y / litres_per_mol,
            water_per_l=(1.0 - y) / litres_per_mol,
            pot_x=columns["x"],
            pot_mol=self.charge_mol[:, None] - over,
            pot_k=columns["pot_k"],
            vapour_k=columns["vapour_k"],
            elapsed_s=seconds,
        )

    def at(self, over_l: Array, *names: str) -> tuple[Array, ...]:
        """Read quantities where so much has passed the neck.

        Parameters
        ----------
        over_l : ndarray, shape (k, n)
            Volumes [L], within the tracks.
        *names : str
            Fields of `Points`.

        Returns
        -------
        tuple of ndarray, shape (k, n)
            One for each name.
        """
        shift = self._reach * np.arange(self._count)[:, None]
        place = (over_l + shift).ravel()
        size = self.points.over_l.shape[1]
        row = np.searchsorted(self._flat, place, side="right") - 1
        first = np.repeat(np.arange(self._count) * size, over_l.shape[1])
        row = np.clip(row, first, first + size - 2)
        low = self._flat.take(row)
        part = (place - low) / (self._flat.take(row + 1) - low)
        out = []
        for name in names:
            flat = getattr(self.points, name).ravel()
            value = flat.take(row)
            out.append((value + part * (flat.take(row + 1) - value)).reshape(over_l.shape))
        return tuple(out)

    def where(self, name: str, value: Array) -> Array:
        """Find how much has passed the neck when a rising quantity takes a value.

        Parameters
        ----------
        name : str
            A field of `Points` that rises along every track.
        value : ndarray, shape (n,) or (k, n)
            The values.

        Returns
        -------
        ndarray, shape (k, n)
            Volumes [L]; the end of the track beyond it.
        """
        wanted = np.broadcast_to(value, (self._count, value.shape[-1]))
        rising = getattr(self.points, name)
        return np.stack(
            [np.interp(v, r, u) for v, r, u in zip(wanted, rising, self.points.over_l, strict=True)]
        )

    def mixed(self, over_l: Array, held_l: Array) -> tuple[Array, Array]:
        """What is in a well-mixed volume behind the neck: moles of ethanol and of water in a litre.

        Parameters
        ----------
        over_l : ndarray, shape (k, n)
            What has passed the neck [L].
        held_l : ndarray, shape (k, n)
            The volume that mixes [L]; where it is 0, the stream itself.

        Returns
        -------
        ethanol, water : ndarray, shape (k, n)
            Moles in a litre.

        Notes
        -----
        It fills first, and then gives as much as it takes: ``V dc/du = c_in - c``.
        """
        since = np.maximum(over_l - held_l, 0.0)
        some = np.maximum(held_l, 1e-9)
        fresh = -np.expm1(-since / some)[..., None]  # share that came since it was full
        ages = np.minimum(-np.log1p(-fresh * _AT) * some[..., None], since[..., None])
        later = over_l[..., None] - ages
        filled = np.minimum(some, over_l)[..., None] * _AT
        shape = (over_l.shape[0], -1)
        places = np.concatenate([later.reshape(shape), filled.reshape(shape)], axis=1)
        out = []
        for values in self.at(places, "ethanol_per_l", "water_per_l"):
            new, old = np.split(values, 2, axis=1)
            mean_new = new.reshape(later.shape) @ _WEIGHT
            mean_old = old.reshape(later.shape) @ _WEIGHT
            out.append(fresh[..., 0] * mean_new + (1.0 - fresh[..., 0]) * mean_old)
        return out[0], out[1]


_ETHANOL_G, _WATER_G = strength.molar_mass_of("ethanol"), strength.molar_mass_of("water")


def _columns(look: Look) -> dict[str, Array]:
    return {"x": look.x, **{name: look(name) for name in ("y", "pot_k", "vapour_k", "stream_abv")}}


def _litres(over_mol: Array, ethanol_mol: Array) -> Array:
    return np.asarray(strength.volume_from_moles(ethanol_mol, over_mol - ethanol_mol))
