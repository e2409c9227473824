"""What goes into the pot and what comes over of it, as amounts of ethanol and water."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError, RequestError
from potsim.liquid import strength
from potsim.liquid.pure import distinct
from potsim.planning.plan import Ingredient, LeftOver, Plan
from potsim.records import dataclass
from potsim.still.course import Course

if TYPE_CHECKING:
    from potsim.planning.jars import Jar


# --- A portion: what comes over between two points, or several such pooled.


@dataclass(frozen=True)
class Portion:
    """An amount of ethanol-water."""

    ethanol_mol: float  # ethanol [mol]
    water_mol: float  # water [mol]

    @property
    def volume_l(self) -> float:
        """Volume at 20 °C [L]."""
        return float(strength.volume_from_moles(self.ethanol_mol, self.water_mol))

    @property
    def abv(self) -> float:
        """Strength [% vol at 20 °C]; 0 for nothing at all."""
        if self.ethanol_mol + self.water_mol == 0.0:
            return 0.0
        return float(strength.abv_from_moles(self.ethanol_mol, self.water_mol))

    @property
    def ethanol_l(self) -> float:
        """Litres of pure alcohol at 20 °C."""
        return self.volume_l * self.abv / 100.0

    @property
    def mass_g(self) -> float:
        """Mass [g]."""
        return float(strength.mass_of(self.volume_l, self.abv)) * 1000.0


def between(course: Course, start: float, end: float) -> Portion:
    """What comes over between two points of a run."""
    states = course.at(np.array([start, end]))
    # Differences of sums: of next to nothing, rounding may leave less than nothing.
    total = max(float(states.over_mol[1] - states.over_mol[0]), 0.0)
    ethanol = min(max(float(states.over_ethanol_mol[1] - states.over_ethanol_mol[0]), 0.0), total)
    return Portion(max(ethanol, 0.0), max(total - ethanol, 0.0))


def pool(portions: Iterable[Portion]) -> Portion:
    """Pool portions by mass."""
    parts = list(portions)
    return Portion(sum(p.ethanol_mol for p in parts), sum(p.water_mol for p in parts))


# --- What has come over along a run, as a curve of moles that is quick to ask and to ask backwards.


Array = NDArray[np.float64]

POINTS = 257  # evenly spaced in moles that are over
BEFORE = 1e-9  # depletion by which the side before a change of power is looked at
STEPS = 40  # at most; three or four do


@dataclass(frozen=True)
class Amounts:
    """Moles that have come over from the first drop to the end of a run.

    Between the points ethanol is a cubic in the moles that are over, with the stream's mole fraction as
    its slope; a change of power lies between two points, as the stream jumps there.
    """

    whole_mol: float  # moles that would be collected of the whole charge
    over_mol: Array  # moles that are over, and those of ethanol
    ethanol_mol: Array  # moles that are over, and those of ethanol
    stream_x: Array  # mole fraction of ethanol in the stream, and its strength [% vol at 20 °C]
    stream_abv: Array  # mole fraction of ethanol in the stream, and its strength [% vol at 20 °C]
    # volume at 20 °C of the stream, each drop by itself [L]: jars as small as drops would hold so much
    stream_l: Array

    def ethanol(self, over_mol: Array) -> Array:
        """Ethanol that is over [mol] when so many moles are over."""
        n, e, y = self.over_mol, self.ethanol_mol, self.stream_x
        k = np.minimum(np.searchsorted(n, over_mol, side="right") - 1, n.size - 2)
        h = n[k + 1] - n[k]
        t = (over_mol - n[k]) / h
        rise = e[k + 1] - e[k]
        first, last = y[k] * h - rise, rise - y[k + 1] * h  # how the cubic leaves its chord at both ends
        return np.asarray(e[k] + t * (rise + (1.0 - t) * (first + t * (last - first))))

    def volume_l(self, start_mol: Array, end_mol: Array) -> Array:
        """Own volume at 20 °C [L] of what comes over between two points."""
        return volume_l(end_mol - start_mol, self.ethanol(end_mol) - self.ethanol(start_mol))

    def at_stream_l(self, stream_l: Array) -> Array:
        """Moles that are over when so much has run, each drop by itself; held within the run."""
        return np.interp(stream_l, self.stream_l, self.over_mol)

    def at_collected_l(self, collected_l: Array) -> Array:
        """Moles that are over when so much is collected, pooled."""
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
        return np.asarray(-np.log1p(-over_mol / self.whole_mol))


@lru_cache(maxsize=16)
def amounts(course: Course, end: float) -> Amounts:
    """Follow a run to its end; done once and kept, as cuts and jars ask for the same."""
    s = np.minimum(-np.log1p(np.linspace(0.0, np.expm1(-end), POINTS)), end)
    jumps = [leg.from_depletion for leg in course.legs[1:] if BEFORE < leg.from_depletion < end]
    if jumps:
        s = distinct(np.concatenate([s, jumps, np.array(jumps) - BEFORE]))
    states = course.at(s)
    y = states.stream_x
    l_per_mol = np.asarray(strength.volume_from_moles(y, 1.0 - y))
    steps = 0.5 * (l_per_mol[1:] + l_per_mol[:-1]) * np.diff(states.over_mol)
    return Amounts(
        whole_mol=course.charge_mol * (1.0 - course.still.lost),
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


# --- Base spirits and water blended into a pot.


LEAST_ABV = 1e-4  # of a charge that is not water [% vol]: a milligram a litre, and no hydrometer shows it


@dataclass(frozen=True)
class Charge:
    """What is in the pot at switch-on."""

    volume_l: float  # volume at 20 °C [L]; less than the sum of the parts, by the contraction
    abv: float  # strength [% vol at 20 °C]
    mass_kg: float  # mass [kg]
    ethanol_mol: float  # ethanol [mol]
    water_mol: float  # water [mol]
    parts: tuple[Ingredient, ...]  # what it was blended from

    @property
    def mol(self) -> float:
        """Moles of ethanol and water."""
        return self.ethanol_mol + self.water_mol

    @property
    def x(self) -> float:
        """Mole fraction of ethanol."""
        return self.ethanol_mol / self.mol

    @property
    def ethanol_l(self) -> float:
        """Litres of pure alcohol at 20 °C."""
        return self.volume_l * self.abv / 100.0

    def with_water(self, water_l: float) -> Charge:
        """Return the charge with more water in it."""
        if water_l == 0.0:
            return self
        both = strength.mix([self.volume_l, water_l], [self.abv, 0.0])
        ethanol, water = strength.moles(both.volume_l, both.abv)
        return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), self.parts)


def blend(parts: Sequence[Ingredient]) -> Charge:
    """Blend spirits and water by mass."""
    if not parts:
        raise RequestError.of("empty_charge")
    both = strength.mix([p.volume_l for p in parts], [p.abv for p in parts])
    if 0.0 < both.abv < LEAST_ABV:
        raise RangeError.of("weak_charge", "charge.abv", given=both.abv, allowed=LEAST_ABV)
    ethanol, water = strength.moles(both.volume_l, both.abv)
    return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), tuple(parts))


# --- Jars of an earlier run that go into a charge.


class HasJars(Protocol):
    """A run, for all that is asked of it here."""

    @property
    def jars(self) -> Sequence[Jar]:
        """Jars of the run, in order."""
        ...


def check_jars(numbers: Sequence[int], there: Collection[int], path: str, of: str | None = None) -> None:
    """Refuse numbers of jars that a run, called ``of``, does not have, or named twice."""
    for k, number in enumerate(numbers):
        if number not in there:
            raise RequestError.of("no_such_jar", path, given=number, allowed=sorted(there), run=of)
        if number in numbers[:k]:
            raise RequestError.of("jar_twice", path, given=number)


def resolve(
    parts: Sequence[Ingredient | LeftOver], distil: Callable[[Plan], HasJars]
) -> tuple[Ingredient, ...]:
    """Turn jars left over from earlier runs into spirits with a volume and a strength."""
    return tuple(part if isinstance(part, Ingredient) else _spirit(part, distil) for part in parts)


def _spirit(part: LeftOver, distil: Callable[[Plan], HasJars]) -> Ingredient:
    jars = {jar.number: jar for jar in distil(part.plan).jars}
    check_jars(part.jars, jars, f"charge.{part.name}.jars", of=part.plan.title)
    both = pool(jars[number].portion for number in part.jars or jars)
    return Ingredient(part.name, part.times * both.volume_l, both.abv)
