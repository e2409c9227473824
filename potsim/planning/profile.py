"""The course of a run in the distiller's units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.still.course import Course, States

Array = NDArray[np.float64]
ZERO_C = 273.15


@dataclass(frozen=True)
class Profile:
    """Nine quantities along a run; arrays of one shape.

    Parameters
    ----------
    collected_l : ndarray
        All that has come over since the first drop, heads included [L at 20 °C].
    stream_abv, pot_abv, mean_abv : ndarray
        Strength of the stream, of the pot, and of all collected [% vol at 20 °C].
    recovered : ndarray
        Share of the charged ethanol collected, 0 to 1; 0 for a charge of water.
    pot_l : ndarray
        Liquid in the pot [L at 20 °C].
    pot_c, vapour_c : ndarray
        Bubble point of the pot, dew point of the vapour that leaves the neck [°C].
    elapsed_min : ndarray
        Time since switch-on [min].
    """

    collected_l: Array
    stream_abv: Array
    pot_abv: Array
    mean_abv: Array
    recovered: Array
    pot_l: Array
    pot_c: Array
    vapour_c: Array
    elapsed_min: Array


def _recovered(states: States, course: Course) -> Array:
    """Share of the charged ethanol that is over; 0 for a charge of water."""
    charged = course.charge_mol * course.charge_x
    return states.over_ethanol_mol / charged if charged > 0 else np.zeros(states.depletion.shape)


# How each field of `Profile` is read from the states of a run.
READERS: dict[str, Callable[[States, Course], Array]] = {
    "collected_l": lambda s, _: s.collected_l,
    "stream_abv": lambda s, _: s.stream_abv,
    "pot_abv": lambda s, _: s.pot_abv,
    "mean_abv": lambda s, _: np.asarray(strength.abv_from_x(s.over_x)),
    "recovered": _recovered,
    "pot_l": lambda s, _: s.pot_l,
    "pot_c": lambda s, _: s.pot_k - ZERO_C,
    "vapour_c": lambda s, _: s.vapour_k - ZERO_C,
    "elapsed_min": lambda s, _: s.elapsed_s / 60.0,
}
QUANTITIES = tuple(READERS)


def profile(course: Course, states: States) -> Profile:
    """Turn states of a course into the distiller's units.

    Parameters
    ----------
    course : Course
        The run.
    states : States
        States of it.

    Returns
    -------
    Profile
        Arrays of the shape of the states.
    """
    return Profile(**{name: read(states, course) for name, read in READERS.items()})
