"""Numbers back to words for people: one table of formats for every face; and exact text for files.

Each kind of quantity has its steps by size, in each system of units. The page gets the table as data and goes
by it too, so that a volume turns to litres at the same size everywhere.
"""

from __future__ import annotations

import contextlib
import functools
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextvars import ContextVar
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple, ParamSpec, TypeVar, get_args

from potsim.interfaces.quantities import System

if TYPE_CHECKING:
    from potsim.planning.plan import Plan

P = ParamSpec("P")
T = TypeVar("T")
SYSTEMS: tuple[System, ...] = get_args(System)


class Step(NamedTuple):
    """How values up to a size are told."""

    below: float  # size of the plain value, in the unit that the code counts in
    unit: str
    times: float  # of the unit in one of the plain unit
    decimals: int
    trim: bool = False  # whether zeros at the end are left out


class Format(NamedTuple):
    """How a kind of quantity is told."""

    steps: tuple[Step, ...]  # rising; the last has no bound
    plus: float = 0.0  # added to the told number, for scales that begin elsewhere
    nought: int = 0  # which step tells nothing at all
    beside: str = ""  # as which metric kind a sentence tells it too


def _one(unit: str, times: float = 1.0, decimals: int = 0, trim: bool = False, plus: float = 0.0) -> Format:
    return Format((Step(math.inf, unit, times, decimals, trim),), plus)


def _rough(unit: str, times: float = 1.0) -> Format:
    """Two digits in one unit, whatever the size."""
    bounds = ((0.0995, 3), (0.995, 2), (9.95, 1), (math.inf, 0))
    return Format(tuple(Step(below / times, unit, times, decimals, trim=True) for below, decimals in bounds))


# of them in a litre; NIST HB 44, exact
ML, FL_OZ, CUP, GALLON = 1000.0, 1.0 / 0.0295735295625, 16.0 / 3.785411784, 1.0 / 3.785411784
OZ, LB = 1.0 / 28.349523125, 1.0 / 453.59237  # of them in a gram; NIST HB 44, exact
IN_HG = 1.0 / 33.86389  # inches of mercury at 0 °C in a hectopascal; NIST SP 811

# By kind. Volumes count in L at 20 °C, masses in g, strengths in % vol, temperatures in °C, power in W,
# durations in min, shares from 0 to 1, pressure in hPa.
METRIC: Mapping[str, Format] = {
    # as people say it
    "volume": Format(
        (
            Step(0.01995, "mL", ML, 1, trim=True),
            Step(0.9995, "mL", ML, 0),
            Step(9.995, "L", 1.0, 2, trim=True),
            Step(math.inf, "L", 1.0, 1, trim=True),
        )
    ),
    # in a column or along an axis, by the largest there
    "volume_column": Format(
        (Step(0.09995, "mL", ML, 1), Step(10.0, "mL", ML, 0), Step(math.inf, "L", 1.0, 2))
    ),
    "volume_axis": Format((Step(10.0, "mL", ML, 0), Step(math.inf, "L", 1.0, 1))),
    # as it is measured out
    "volume_exact": Format(
        (
            Step(0.09995, "mL", ML, 1, trim=True),
            Step(0.9995, "mL", ML, 0),
            Step(10.0, "L", 1.0, 3),
            Step(math.inf, "L", 1.0, 2),
        )
    ),
    "mass": Format(
        (
            Step(0.09995, "mg", 1000.0, 1, trim=True),
            Step(9.995, "g", 1.0, 2, trim=True),
            Step(999.5, "g", 1.0, 1, trim=True),
            Step(math.inf, "kg", 0.001, 2, trim=True),
        ),
        nought=1,
    ),
    # as the scales show it, by the largest of a column
    "mass_column": Format(
        (Step(999.95, "g", 1.0, 1), Step(10_000.0, "g", 1.0, 0), Step(math.inf, "kg", 0.001, 2))
    ),
    "mass_about": Format((Step(9_999.5, "g", 1.0, 0), Step(math.inf, "kg", 0.001, 1, trim=True))),
    "water": _one("g"),  # poured onto scales
    "abv": _one("% vol", decimals=1),
    "abv_short": _one("% vol", decimals=1, trim=True),
    "abv_about": _one("% vol"),
    "abv_exact": _one("% vol", decimals=3, trim=True),
    "abv_typed": _one("% vol", decimals=7, trim=True),  # beside a limit that it is just beyond
    "abv_column": _one("% vol", decimals=1),
    "abv_step": _one("% vol", decimals=2),  # from one strength to another
    "abv_difference": _one("% vol", decimals=1),
    "temperature": _one("°C", decimals=1),
    "temperature_short": _one("°C", decimals=1, trim=True),
    "temperature_about": _one("°C"),
    "temperature_exact": _one("°C", decimals=3, trim=True),
    "temperature_difference": _one("K", decimals=1, trim=True),
    "share": Format((Step(0.0995, "%", 100.0, 1, trim=True), Step(math.inf, "%", 100.0, 0))),
    "share_exact": _one("%", 100.0, 2, trim=True),
    "share_about": _one("%", 100.0),
    "share_column": _one("%", 100.0, 1),
    "power": Format((Step(999.5, "W", 1.0, 0), Step(math.inf, "kW", 0.001, 2, trim=True))),
    "pressure": _one("hPa"),
    "height": _one("m"),
    "loss": _one("W/K", decimals=2, trim=True),
    "minutes": _one("min"),
    "minutes_exact": _one("min", decimals=2, trim=True),
    "minutes_short": Format(
        (Step(1.495, "s", 60.0, 0), Step(9.95, "min", 1.0, 1, trim=True), Step(math.inf, "min", 1.0, 0))
    ),
    "dose": Format((Step(0.0995, "g/L", 1.0, 3, trim=True), Step(math.inf, "g/L", 1.0, 2, trim=True))),
    "mass_rough": _rough("g"),
    "per_kg": Format((Step(9.95, "mg/kg", 1.0, 1, trim=True), Step(math.inf, "mg/kg", 1.0, 0))),
    "hours": _one("h", decimals=1, trim=True),
    "percent": _one("%", decimals=3, trim=True),  # of what counts in % already
    "percent_about": _one("%"),
    "factor": _one("", decimals=3, trim=True),
    "times": Format((Step(9.95, "", 1.0, 1), Step(math.inf, "", 1.0, 0))),
    "decades": _one("", decimals=2),
    "oil_column": _one("mg/L"),
    "oil": Format((Step(1000.0, "mg/L", 1.0, 0), Step(math.inf, "g/L", 0.001, 1))),  # in mg/L
    "money": _one("", decimals=2),
    "count": _one(""),
}
PROOF, CUPS = "proof", "US cups"
US: Mapping[str, Format] = {
    **METRIC,
    "volume": Format(
        (
            Step(1.0 / CUP, "US fl oz", FL_OZ, 2, trim=True),
            Step(1.0 / GALLON, CUPS, CUP, 2, trim=True),
            Step(math.inf, "US gal", GALLON, 2, trim=True),
        ),
        beside="volume",
    ),
    "volume_column": Format((Step(10.0, "fl oz", FL_OZ, 2), Step(math.inf, "US gal", GALLON, 3))),
    "volume_axis": Format((Step(10.0, "fl oz", FL_OZ, 1), Step(math.inf, "US gal", GALLON, 2))),
    "volume_exact": Format(
        (
            Step(1.0 / CUP, "US fl oz", FL_OZ, 2),
            Step(1.0 / GALLON, "US fl oz", FL_OZ, 1),
            Step(math.inf, "US gal", GALLON, 3),
        ),
        beside="volume_exact",
    ),
    # twice the % vol, good to 0.3 proof, as the strength at 60 °F is that at 20 °C to 0.15 % vol
    "abv": Format((Step(math.inf, PROOF, 2.0, 0),), beside="abv"),
    "abv_short": Format((Step(math.inf, PROOF, 2.0, 0),), beside="abv_short"),
    "abv_about": Format((Step(math.inf, PROOF, 2.0, 0),), beside="abv_about"),
    "abv_exact": Format((Step(math.inf, PROOF, 2.0, 0),), beside="abv_short"),
    "abv_column": _one(PROOF, 2.0),
    "abv_step": _one(PROOF, 2.0, 1),
    "abv_difference": _one(PROOF, 2.0),
    "mass": Format(
        (Step(453.6, "oz", OZ, 3, trim=True), Step(math.inf, "lb", LB, 2, trim=True)), beside="mass"
    ),
    "mass_column": Format((Step(10_000.0, "oz", OZ, 2), Step(math.inf, "lb", LB, 2))),
    "mass_about": Format((Step(10_000.0, "oz", OZ, 1), Step(math.inf, "lb", LB, 1, trim=True))),
    "mass_rough": _rough("oz", OZ),
    "water": Format((Step(math.inf, "oz", OZ, 1),), beside="water"),
    "temperature": _one("°F", 1.8, 0, plus=32.0),
    "temperature_short": _one("°F", 1.8, 0, plus=32.0),
    "temperature_about": _one("°F", 1.8, 0, plus=32.0),
    "temperature_exact": _one("°F", 1.8, 2, trim=True, plus=32.0),
    "temperature_difference": _one("°F", 1.8, 0),
    "pressure": _one("inHg", IN_HG, 2),
    "height": _one("ft", 1.0 / 0.3048),
}
FORMATS: Mapping[System, Mapping[str, Format]] = {"metric": METRIC, "us": US}
_SYSTEM: ContextVar[System] = ContextVar("system of units", default="metric")
MOST_MG = 10_000.0  # more oil is told in grams


@contextlib.contextmanager
def in_units(system: System) -> Iterator[None]:
    """Tell numbers in a system of units within a block."""
    before = _SYSTEM.set(system)
    try:
        yield
    finally:
        _SYSTEM.reset(before)


def step_of(kind: str, value: float) -> Step:
    """Return how a value of a kind is told; of a column, its largest."""
    found = FORMATS[_SYSTEM.get()][kind]
    if value == 0.0:
        return found.steps[found.nought]
    return next(step for step in found.steps if abs(value) < step.below)


def number(kind: str, value: float, step: Step | None = None) -> str:
    """Return the number of a value, without its unit; ``step`` where a column has one unit."""
    step = step or step_of(kind, value)
    told = value * step.times + FORMATS[_SYSTEM.get()][kind].plus
    return plain(told, step.decimals) if step.trim else _no_minus_zero(f"{told:.{step.decimals}f}")


def say(kind: str, value: float, *, with_beside: bool = True) -> str:
    """Return a value with its unit: ``say("volume", 0.25)`` is ``"250 mL"``."""
    step = step_of(kind, value)
    size = number(kind, value, step)
    unit = step.unit.removesuffix("s") if size == "1" and step.unit == CUPS else step.unit
    told = f"{size} {unit}".rstrip()
    beside = FORMATS[_SYSTEM.get()][kind].beside if with_beside else ""
    return f"{told} ({metric(beside, value)})" if beside else told


def briefly(kind: str, value: float) -> str:
    """Return a value with its unit, without what stands beside it in other units."""
    return say(kind, value, with_beside=False)


def signed(kind: str, value: float) -> str:
    """Return the number of a difference with its sign: ``"+0.37"``."""
    told = number(kind, value)
    return told if told.startswith("-") else f"+{told}"


def made_for(temperature_c: float) -> str:
    """Return what a hydrometer is made for: ``"20 °C"``; ``"60 °F"`` for one that has no round °C."""
    fahrenheit = 1.8 * temperature_c + 32.0
    odd = abs(temperature_c - round(temperature_c, 1)) > 1e-6 > abs(fahrenheit - round(fahrenheit))
    return f"{fahrenheit:.0f} °F" if odd else say("temperature_short", temperature_c)


def counted(number: int, thing: str) -> str:
    """Return a number of things: ``"1 bottle"``, ``"5 bottles"``."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def plural(piece: str) -> str:
    """Return the name of a piece for several of it: ``"leaves"``, ``"pieces of peel"``."""
    head, of, rest = piece.partition(" of ")
    if head.endswith("leaf"):
        return f"{head.removesuffix('leaf')}leaves{of}{rest}"
    if head.endswith("y") and head[-2:-1] not in "aeiou":
        return f"{head[:-1]}ies{of}{rest}"
    return f"{head}{'es' if head.endswith(('s', 'x')) else 's'}{of}{rest}"


def pieces_of(count: float, piece: str) -> str:
    """Return a number of pieces: ``"2 berries"``, ``"0.5 star"``."""
    return f"{count:.6g} {piece if count <= 1.0 else plural(piece)}"


def metric(kind: str, value: float) -> str:
    """Return a value in metric units, whatever all else is told in: the size that is printed on a jar."""
    with in_units("metric"):
        return say(kind, value)


def system() -> System:
    """Return the system of units that numbers are told in."""
    return _SYSTEM.get()


def unit_of(kind: str) -> str:
    """Return the unit that a kind of quantity has at any size, such as ``"°C"``."""
    return FORMATS[_SYSTEM.get()][kind].steps[-1].unit


def units_of(plan: Plan) -> System:
    """Return the system of units that the answers of a plan are told in."""
    return "us" if plan.units == "us" else "metric"


def as_planned(make: Callable[P, T]) -> Callable[P, T]:
    """Tell what is made of the first argument, a run or what has one, in the units of its plan."""

    @functools.wraps(make)
    def made(*args: P.args, **more: P.kwargs) -> T:
        of: Any = args[0]
        with in_units(units_of(of.plan if hasattr(of, "plan") else of.run.plan)):
            return make(*args, **more)

    return made


def column(kind: str, values: Sequence[float]) -> tuple[str, list[str]]:
    """Return the unit for a column of values, by its largest, and its numbers."""
    step = step_of(kind, max(map(abs, values), default=0.0))
    return step.unit, [number(kind, value, step) for value in values]


def formats() -> dict[str, dict[str, dict[str, Any]]]:
    """Return the table as plain data, by system and kind; ``steps`` are for values below their bounds."""
    return {
        system: {
            kind: {
                **_plain_step(one.steps[-1]),
                "plus": one.plus,
                "steps": [{"below": step.below, **_plain_step(step)} for step in one.steps[:-1]],
            }
            for kind, one in FORMATS[system].items()
        }
        for system in SYSTEMS
    }


def _plain_step(step: Step) -> dict[str, Any]:
    return {"unit": step.unit, "times": step.times, "decimals": step.decimals, "trim": step.trim}


def plain(value: float, decimals: int) -> str:
    """Return a number with at most so many decimals, without trailing zeros and without ``-0``."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _no_minus_zero(text: str) -> str:
    return text.lstrip("-") if float(text) == 0.0 else text


# Kinds that are told often; `volumes` is a column.
format_volume, exactly = partial(say, "volume"), partial(say, "volume_exact")
format_mass, format_abv, format_share = partial(say, "mass"), partial(say, "abv"), partial(say, "share")
format_temperature, format_power = partial(say, "temperature"), partial(say, "power")
format_pressure = partial(say, "pressure")
volumes, in_column = partial(column, "volume_column"), partial(number, "abv_column")


def masses(masses_g: Sequence[float]) -> tuple[str, list[str]]:
    """Return the unit for a column of masses of oil, and its numbers, of three digits."""
    grams = 1000.0 * max(map(abs, masses_g), default=0.0) >= MOST_MG
    unit, per_g = ("g", 1.0) if grams else ("mg", 1000.0)
    return unit, [_digits(per_g * mass) for mass in masses_g]


def _digits(value: float) -> str:
    if abs(value) >= 99.95:
        return f"{value:.0f}"
    return f"{value:.3g}" if value == 0.0 or abs(value) >= 1e-4 else f"{value:.6f}".rstrip("0").rstrip(".")


def format_minutes(minutes: float) -> str:
    """Return a duration: ``"30 s"``, ``"7.5 min"``, ``"45 min"``, ``"1 h 05 min"``, ``"2 d 3 h"``."""
    sign, size = ("-", -minutes) if minutes < 0 else ("", minutes)
    if size < 59.5 / 60:
        seconds = plain(size * 60, 0)
        return "0 min" if seconds == "0" else f"{sign}{seconds} s"
    if size < 9.75:
        return f"{sign}{plain(round(size * 2) / 2, 1)} min"
    whole = round(size)
    if whole < 60:
        return f"{sign}{whole} min"
    if whole < 1440:
        return f"{sign}{whole // 60} h" + (f" {whole % 60:02d} min" if whole % 60 else "")
    hours = round(size / 60)
    return f"{sign}{hours // 24} d" + (f" {hours % 24} h" if hours % 24 else "")


def at_least(kind: str, value: float) -> str:
    """Return the least of a quantity, rounded down: ``"45 s"``, ``"1.8 min"``."""
    step = step_of(kind, value)
    scale = step.times * 10**step.decimals
    return say(kind, math.floor(value * scale + 1e-6) / scale)


def format_numbers(numbers: Iterable[int]) -> str:
    """Return jar numbers as a person writes them: ``"2-9,11"``."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    parts = [[f"{s[0]}-{s[-1]}"] if len(s) > 2 else [str(n) for n in s] for s in spans]
    return ",".join(itertools.chain.from_iterable(parts))


def exact(value: float, unit: str, per_unit: int = 1) -> str:
    """Return text that reads back as exactly this number."""
    size = Decimal(repr(float(value))) * per_unit
    digits = f"{size:f}" if -12 < size.adjusted() < 20 or not size else f"{size:E}"
    digits = digits.rstrip("0").rstrip(".") if "." in digits and "E" not in digits else digits
    return f"{digits} {unit}"
