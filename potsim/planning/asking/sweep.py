"""One number of a plan varied, all else left as it is: what a stronger or weaker charge does."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from potsim.errors import PotsimError, RequestError
from potsim.planning import cautions
from potsim.planning.asking.letting_down import Same, check_same
from potsim.planning.asking.outcome import Outcome, Place, outcome, particular, places, plain
from potsim.planning.asking.vary import CHARGE_ABV, Number, number
from potsim.planning.plan import Plan
from potsim.planning.run import Run, distil

if TYPE_CHECKING:
    import pandas as pd

MOST_VALUES = 200
NEAR = 1e-9  # relative; closer values are the same


@dataclass(frozen=True)
class Row:
    """A plan with one number set, and its run.

    Parameters
    ----------
    value : float
        The number.
    planned : bool
        Whether it is the plan's own.
    plan : Plan or None
        The plan with it; ``None`` if no plan can hold it.
    run : Run or None
        The run; ``None`` if it cannot be run.
    refusal : str
        Why it cannot; empty if it can.
    cautions : tuple of str
        What to take care of, but for what goes for every run.
    """

    value: float
    planned: bool
    plan: Plan | None
    run: Run | None
    refusal: str
    cautions: tuple[str, ...]

    @cached_property
    def outcome(self) -> Outcome | None:
        """What came of the run."""
        return None if self.run is None else outcome(self.run)

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """Where each botanical comes over; nothing if it cannot be run."""
        return () if self.run is None else places(self.run)

    def to_dict(self) -> dict[str, Any]:
        """Return the row as plain data."""
        return {**self.numbers(), "flavours": [place.to_dict() for place in self.places]}

    def numbers(self) -> dict[str, Any]:
        """Return the row as plain data, without the flavours."""
        return {
            "value": self.value,
            "planned": self.planned,
            **plain(self.outcome),
            "refusal": self.refusal,
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True)
class Sweep:
    """Runs that differ in one number.

    Parameters
    ----------
    plan : Plan
        The plan they come from.
    number : Number
        What is varied.
    same : {'alcohol', 'volume'} or None
        What stays when the strength of the charge changes; ``None`` when another number is varied.
    rows : tuple of Row
        In the order of the values given.
    own : Row or None
        The plan as it is; ``None`` if it does not say the number.
    """

    plan: Plan
    number: Number
    same: Same | None
    rows: tuple[Row, ...]
    own: Row | None

    @property
    def with_own(self) -> tuple[Row, ...]:
        """All rows, the plan's own among them, by their values; each value once."""
        own = [] if self.own is None or any(row.planned for row in self.rows) else [self.own]
        return tuple(sorted([*self.rows, *own], key=lambda row: row.value))

    def to_frame(self) -> pd.DataFrame:
        """Return the rows as a table.

        Returns
        -------
        pandas.DataFrame
            One row a value, in the order given; numbers are missing where a plan cannot be run.
        """
        import pandas as pd

        return pd.DataFrame([row.numbers() for row in self.rows])

    def flavours_to_frame(self) -> pd.DataFrame:
        """Return where the botanicals come over as a table.

        Returns
        -------
        pandas.DataFrame
            One row a value and botanical: ``value``, ``botanical``, ``class``, ``start_l``, ``peak_l``.
        """
        import pandas as pd

        columns = ["value", "botanical", "class", "start_l", "peak_l"]
        rows = [{"value": row.value, **place.to_dict()} for row in self.rows for place in row.places]
        return pd.DataFrame(rows, columns=columns)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        return {
            "key": self.number.name,
            "unit": self.number.unit,
            "same": self.same,
            "own": None if self.own is None else self.own.to_dict(),
            "rows": [row.to_dict() for row in self.rows],
        }


def sweep(plan: Plan, key: str, values: Iterable[float], same: Same = "alcohol") -> Sweep:
    """Run a plan with one of its numbers set to each of several values.

    Parameters
    ----------
    plan : Plan
        The plan.
    key : str
        The number: ``"charge.abv"``, ``"still.power"``, ``"cuts.heads"``, ``"botanical.juniper"``, or any
        other of `potsim.planning.asking.vary.numbers`.
    values : iterable of float
        1 to 200 values, in the plan's plain units: L, % vol, W, min, g.
    same : {'alcohol', 'volume'}
        For ``"charge.abv"``: what stays. The alcohol, so that only the water changes; or the volume in the
        pot, so that spirit and water both change.

    Returns
    -------
    Sweep
        A row for each value, with the plan and its run; or with the refusal, where a plan cannot be run.

    Raises
    ------
    UnknownNameError
        If the plan has no such number, or ``same`` is neither; the nearest are suggested.
    RequestError
        If there is no value, or more than 200.

    Notes
    -----
    All else stays, the stop and the heads too. A pot that the plan leaves to the defaults is sized to each
    charge.

    Examples
    --------
    >>> import potsim
    >>> made = sweep(potsim.example_plan(), "charge.abv", [25, 35, 45])
    >>> [round(row.outcome.recovered, 2) for row in made.rows]
    [0.75, 0.85, 0.91]
    """
    check_same(same)
    varied = number(plan, key)
    of_charge = varied.name == CHARGE_ABV
    wanted = _checked(values, varied)
    own = varied.get(plan)
    rows = [_row(plan, varied, value, same, planned=_is(value, own)) for value in wanted]
    at_home = next((row for row in rows if row.planned), None)
    if at_home is None and own is not None:
        at_home = _run(plan, own, planned=True, at_abv=own if of_charge else 0.0)
    return Sweep(plan, varied, same if of_charge else None, tuple(rows), at_home)


def evenly(first: float, last: float, step: float) -> tuple[float, ...]:
    """Return values from one to another.

    Parameters
    ----------
    first, last : float
        Ends; the last is met only if a whole number of steps leads there.
    step : float
        Distance, above 0.

    Returns
    -------
    tuple of float
        Rising; at most 200.

    Raises
    ------
    RequestError
        If the range is empty, or the step leads nowhere or to too many values.

    Examples
    --------
    >>> evenly(20, 60, 20)
    (20.0, 40.0, 60.0)
    """
    if not all(math.isfinite(value) for value in (first, last, step)):
        raise RequestError(f"From {first:g} to {last:g} by {step:g} is no range.", "Give three numbers.")
    if step <= 0.0:
        raise RequestError(f"A step of {step:g} never ends.", "Give a step above 0.")
    if last < first:
        raise RequestError(f"From {first:g} to {last:g} there is nothing.", "Put the smaller number first.")
    count = (last - first) / step * (1.0 + NEAR) + 1.0
    if count >= MOST_VALUES + 1:
        raise RequestError(
            f"From {first:g} to {last:g} in steps of {step:g} are {count:.0f} values; "
            f"allowed are {MOST_VALUES}.",
            "Take a larger step, or a shorter range.",
        )
    return tuple(round(float(first + k * step), 12) for k in range(int(count)))


def _checked(values: Iterable[float], varied: Number) -> list[float]:
    wanted: list[float] = []
    for value in values:
        wanted.append(float(value))
        if len(wanted) > MOST_VALUES:
            raise RequestError(f"More than {MOST_VALUES} values of {varied.name} are given.", "Take fewer.")
    if not wanted:
        raise RequestError(f"No value of {varied.name} is given.", "Give at least one.")
    return wanted


def _is(value: float, own: float | None) -> bool:
    return own is not None and math.isclose(value, own, rel_tol=NEAR, abs_tol=1e-12)


def _row(plan: Plan, varied: Number, value: float, same: Same, *, planned: bool) -> Row:
    of_charge = varied.name == CHARGE_ABV
    try:
        changed = plan if planned else varied.put(plan, value, same)
    except PotsimError as error:
        return Row(value, planned, None, None, str(error), _fire(value) if of_charge else ())
    return _run(changed, value, planned=planned, at_abv=value if of_charge else 0.0)


def _run(plan: Plan, value: float, *, planned: bool, at_abv: float = 0.0) -> Row:
    try:
        run = distil(plan)
    except PotsimError as error:
        return Row(value, planned, plan, None, str(error), _fire(at_abv))
    return Row(value, planned, plan, run, "", particular(run))


def _fire(abv: float) -> tuple[str, ...]:
    """Caution against a strong charge, also where it cannot be run."""
    return cautions.fire(abv) if 0.0 <= abv <= 100.0 else ()
