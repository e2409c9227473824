"""A portion of the distillate: what comes over between two points, or several such pooled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from potsim.liquid import strength
from potsim.still.course import Course


@dataclass(frozen=True)
class Portion:
    """An amount of ethanol-water.

    Parameters
    ----------
    ethanol_mol, water_mol : float
        Moles.
    """

    ethanol_mol: float
    water_mol: float

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
    """What comes over between two points of a run.

    Parameters
    ----------
    course : Course
        The run.
    start, end : float
        Depletions.

    Returns
    -------
    Portion
        The amount.
    """
    states = course.at(np.array([start, end]))
    # Differences of sums: of next to nothing, rounding may leave less than nothing.
    total = max(float(states.over_mol[1] - states.over_mol[0]), 0.0)
    ethanol = min(max(float(states.over_ethanol_mol[1] - states.over_ethanol_mol[0]), 0.0), total)
    return Portion(max(ethanol, 0.0), max(total - ethanol, 0.0))


def pool(portions: Iterable[Portion]) -> Portion:
    """Pool portions by mass.

    Parameters
    ----------
    portions : iterable of Portion
        What is poured together.

    Returns
    -------
    Portion
        The sum; nothing gives nothing.
    """
    parts = list(portions)
    return Portion(sum(p.ethanol_mol for p in parts), sum(p.water_mol for p in parts))
