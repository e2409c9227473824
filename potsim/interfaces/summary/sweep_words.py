"""What a varied number is called, and how its values are read and told."""

from __future__ import annotations

from collections.abc import Callable

from potsim.interfaces.planfile import keys
from potsim.interfaces.planfile.keys import Key
from potsim.planning.asking.vary import CHARGE_ABV, Number

DIGITS = 6  # of a value told


def key_of(number: Number) -> Key:
    """Return the key of the plan file under which a number is typed.

    Parameters
    ----------
    number : Number
        A number of a plan.

    Returns
    -------
    Key
        How it is read and written.
    """
    table = keys.HEADS if number.table == "cuts.heads" else keys.PLAN_KEYS[number.table]
    return table[number.key]


def value_reader(number: Number) -> Callable[[str], float]:
    """Return what turns typed text into the plain number, such as ``"1 kW"`` into 1000."""
    read = key_of(number).read
    return lambda text: float(read(text))


def value_words(number: Number, value: float, *, planned: bool = False) -> str:
    """Return a value with its unit, such as ``"700 W"``.

    Parameters
    ----------
    number : Number
        What it is a value of.
    value : float
        The plain number.
    planned : bool
        Whether it is the plan's own, which may come of a calculation and is told to one decimal if it does.

    Returns
    -------
    str
        As it may be typed.
    """
    told = round(value, 1) if planned and number.name == CHARGE_ABV else float(f"{value:.{DIGITS}g}")
    return str(key_of(number).write(told))


def number_words(number: Number) -> str:
    """Return what a number is called in a heading."""
    return "strength of the charge" if number.name == CHARGE_ABV else number.name


def short_words(number: Number) -> str:
    """Return what a number is called above a column."""
    return "charge" if number.name == CHARGE_ABV else number.name.rpartition(".")[2]
