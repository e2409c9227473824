"""What a spout and two thermometers would show along a track, for the readings that were taken."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.still.tracks import Tracks

Array = NDArray[np.float64]

KINDS = ("strength", "vapour", "pot", "time")


@dataclass(frozen=True)
class Observed:
    """Readings in the order of the run; arrays of shape (n,), NaN for what was not read.

    Parameters
    ----------
    collected_l, mass_g : ndarray
        All collected by then [L at 20 °C; g]; each line has one of them, or a time.
    elapsed_s : ndarray
        Time since switch-on [s].
    abv : ndarray
        Strength at 20 °C [% vol].
    vapour_k, pot_k : ndarray
        Temperatures [K].
    from_l, from_g : ndarray
        What had been collected when the jar was put under the spout of which the strength is the mean.
    in_parrot : ndarray of bool
        Whether the strength was read in the parrot.
    """

    collected_l: Array
    mass_g: Array
    elapsed_s: Array
    abv: Array
    vapour_k: Array
    pot_k: Array
    from_l: Array
    from_g: Array
    in_parrot: NDArray[np.bool_]

    @property
    def by_volume(self) -> NDArray[np.bool_]:
        """Lines placed by volume."""
        return ~np.isnan(self.collected_l)

    @property
    def by_mass(self) -> NDArray[np.bool_]:
        """Lines placed by mass."""
        return ~self.by_volume & ~np.isnan(self.mass_g)

    @property
    def of_jar(self) -> NDArray[np.bool_]:
        """Lines whose strength is the mean of a jar."""
        return ~(np.isnan(self.from_l) & np.isnan(self.from_g))

    def targets(self) -> tuple[Array, NDArray[np.intp], NDArray[np.intp]]:
        """List what is to be met.

        Returns
        -------
        values : ndarray, shape (t,)
            Strengths [% vol], temperatures [K], times [s].
        kind : ndarray of int
            Place in `KINDS`.
        line : ndarray of int
            The reading.
        """
        by_clock = ~self.by_volume & ~self.by_mass
        time = np.where(by_clock, np.nan, self.elapsed_s)
        table = np.stack([self.abv, self.vapour_k, self.pot_k, time])
        kind, line = np.nonzero(~np.isnan(table))
        return table[kind, line], kind, line

    def only(self, chosen: NDArray[np.bool_]) -> Observed:
        """Return some of the readings."""
        return Observed(**{item.name: getattr(self, item.name)[chosen] for item in fields(self)})

    def moved(self, noise: Noise) -> Observed:
        """Return the readings with every place off by its standard error."""
        by_clock = ~self.by_volume & ~self.by_mass
        return replace(
            self,
            collected_l=self.collected_l + noise.volume_l,
            mass_g=self.mass_g + noise.mass_g,
            elapsed_s=np.where(by_clock, self.elapsed_s + noise.time_s, self.elapsed_s),
        )


@dataclass(frozen=True)
class Noise:
    """Standard errors of what is read off; the defaults are common practice, no source.

    Parameters
    ----------
    abv : float
        Of a strength [% vol].
    volume_l, mass_g : float
        Of what is collected [L, g].
    temperature_k, time_s : float
        Of a temperature [K] and a time [s].
    """

    abv: float = 0.5
    volume_l: float = 0.002
    mass_g: float = 2.0
    temperature_k: float = 0.5
    time_s: float = 30.0

    def of(self, kind: NDArray[np.intp]) -> Array:
        """Standard error of each target by its kind."""
        each = np.array([self.abv, self.temperature_k, self.temperature_k, self.time_s])
        return each[kind]


def places(tracks: Tracks, observed: Observed) -> Array:
    """Find how much has passed the neck at each reading.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    observed : Observed
        The readings.

    Returns
    -------
    ndarray, shape (k, n)
        Volumes at 20 °C [L]; what condenser and parrot hold back comes on top of what is collected.
    """
    held = _held(tracks)
    over = tracks.where("elapsed_s", observed.elapsed_s)
    by_volume = held + np.where(observed.by_volume, observed.collected_l, 0.0)
    over = np.where(observed.by_volume, by_volume, over)
    if observed.by_mass.any():
        over = np.where(observed.by_mass, held + tracks.where("over_g", observed.mass_g), over)
    return np.asarray(np.minimum(over, tracks.points.over_l[:, -1:]))


def predict(tracks: Tracks, observed: Observed, over_l: Array | None = None) -> Array:
    """Return what the readings would be on each track.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    observed : Observed
        Which readings.
    over_l : ndarray, shape (k, n), optional
        From `places`.

    Returns
    -------
    ndarray, shape (k, t)
        In the order of `Observed.targets`.
    """
    over = places(tracks, observed) if over_l is None else over_l
    _, kind, line = observed.targets()
    columns = [_strengths(tracks, observed, over), *tracks.at(over, "vapour_k", "pot_k", "elapsed_s")]
    return np.asarray(np.stack(columns)[kind, :, line].T)


def _held(tracks: Tracks) -> Array:
    return np.asarray(tracks.rows.hold_up_l + tracks.bench.parrot_l)[:, None]


def _strengths(tracks: Tracks, observed: Observed, over: Array) -> Array:
    """Strength [% vol] of stream, parrot or jar at every reading."""
    held = _held(tracks)
    mixing = np.where(observed.in_parrot, held, tracks.rows.hold_up_l[:, None])
    ethanol, water = tracks.mixed(over, mixing)
    jars = observed.of_jar
    if jars.any():
        part = observed.only(jars)
        end = over[:, jars]
        begin = held + np.where(np.isnan(part.from_l), 0.0, part.from_l)
        by_mass = part.by_mass
        if by_mass.any():
            begin = np.where(by_mass, held + tracks.where("over_g", part.from_g), begin)
        begin = np.minimum(begin, end - 1e-6)
        ethanol[:, jars], water[:, jars] = _poured(tracks, begin, end, held)
    return np.asarray(strength.abv_from_moles(ethanol, water))


def _poured(tracks: Tracks, begin: Array, end: Array, held: Array) -> tuple[Array, Array]:
    """Moles that have run into a jar: what has passed the neck, less what more mixes behind it."""
    after, before = run_out(tracks, end, held), run_out(tracks, begin, held)
    return np.maximum(after[0] - before[0], 1e-12), np.maximum(after[1] - before[1], 1e-12)


def run_out(tracks: Tracks, over_l: Array, held_l: Array) -> tuple[Array, Array]:
    """Find what has run out behind condenser and parrot.

    Parameters
    ----------
    tracks : Tracks
        The tracks.
    over_l : ndarray, shape (k, n)
        What has passed the neck [L].
    held_l : ndarray, shape (k, 1)
        What mixes behind it [L].

    Returns
    -------
    ethanol, water : ndarray, shape (k, n)
        Moles; below nothing while it is still being filled.
    """
    total, ethanol = tracks.at(over_l, "over_mol", "ethanol_mol")
    in_ethanol, in_water = tracks.mixed(over_l, np.broadcast_to(held_l, over_l.shape))
    return ethanol - held_l * in_ethanol, total - ethanol - held_l * in_water
