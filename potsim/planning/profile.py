"""The course of a run in the distiller's units."""

from __future__ import annotations

from dataclasses import dataclass, fields

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


QUANTITIES = tuple(field.name for field in fields(Profile))


def recovered(states: States, course: Course) -> Array:
    """Share of the charged ethanol that is over.

    Parameters
    ----------
    states : States
        States of the run.
    course : Course
        The run.

    Returns
    -------
    ndarray
        0 to 1; 0 for a charge of water.
    """
    charged = course.charge_mol * course.charge_x
    return states.over_ethanol_mol / charged if charged > 0 else np.zeros(states.depletion.shape)


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
    return Profile(
        collected_l=states.collected_l,
        stream_abv=states.stream_abv,
        pot_abv=states.pot_abv,
        mean_abv=np.asarray(strength.abv_from_x(states.over_x)),
        recovered=recovered(states, course),
        pot_l=states.pot_l,
        pot_c=states.pot_k - ZERO_C,
        vapour_c=states.vapour_k - ZERO_C,
        elapsed_min=states.elapsed_s / 60.0,
    )
