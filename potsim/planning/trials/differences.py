"""In what two plans differ, key by key."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from potsim.planning.botanicals.names import key
from potsim.planning.plan import Plan

Value = float | str | None
AMOUNTS = ("mass_g", "pieces")
APART = 1e-9  # relative; closer numbers are the same
_UNITS = {
    "_l": "L",
    "_mg_per_l": "mg/L",
    "_g": "g",
    "_kg": "kg",
    "_h": "h",
    "_w": "W",
    "_w_per_k": "W/K",
    "_c": "°C",
    "_m": "m",
    "_hpa": "hPa",
    "_min": "min",
    "_pct": "%",
    "abv": "% vol",
}


@dataclasses.dataclass(frozen=True)
class Difference:
    """A key of which two plans say different things.

    Parameters
    ----------
    table, name, field : str
        Where it stands: table, name of the ingredient or botanical (empty for other tables), field.
    unit : str
        Unit of a number; empty for words and counts.
    a, b : float or str or None
        What the two say; ``None`` for nothing.
    """

    table: str
    name: str
    field: str
    unit: str
    a: Value
    b: Value

    @property
    def key(self) -> str:
        """Table, name and field in one."""
        return ".".join(part for part in (self.table, self.name, self.field) if part)


def differences(a: Plan, b: Plan) -> tuple[Difference, ...]:
    """Return in what two plans differ; title aside.

    Parameters
    ----------
    a, b : Plan
        The two.

    Returns
    -------
    tuple of Difference
        In the order of the first plan; ingredients and botanicals are matched by name. Of a botanical that
        only one of them has, the amount. Empty for equal plans.

    Examples
    --------
    >>> import potsim
    >>> differences(potsim.example_plan(), potsim.example_plan())
    ()
    """
    first, second = _flat(a), _flat(b)
    in_one, in_other = ({place[:2] for place in flat} for flat in (first, second))
    found = []
    for place in dict.fromkeys([*first, *second]):
        one, other = first.get(place), second.get(place)
        table, name, field = place
        lone = table == "botanical" and (place[:2] not in in_one or place[:2] not in in_other)
        if not same(one, other) and not (lone and field not in AMOUNTS):
            found.append(Difference(table, name, field, unit_of(field), one, other))
    return tuple(found)


def same(a: Value, b: Value) -> bool:
    """Whether two values are the same, rounding aside."""
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= APART * max(abs(a), abs(b))
    return a == b


def unit_of(field: str) -> str:
    """Return the unit that a field's name ends in; empty for none."""
    fits = [ending for ending in _UNITS if field.endswith(ending)]
    return _UNITS[max(fits, key=len)] if fits else ""


Place = tuple[str, str, str]


def _flat(plan: Plan) -> dict[Place, Value]:
    """Every leaf of a plan that says something."""
    found: dict[Place, Value] = {}
    for table, rows in (("charge", plan.charge), ("botanical", plan.botanicals)):
        for name, row in _named(rows):
            found |= {(table, name, field): value for field, value in _leaves(row) if field != "name"}
    tables = ("still", "cuts", "jars", "bottling", "uncertainty", "own_botanicals", "own_compounds")
    for table in tables:
        found |= {(table, "", field): value for field, value in _leaves(getattr(plan, table))}
    return {place: value for place, value in found.items() if value is not None}


def _named(rows: Iterable[Any]) -> Iterator[tuple[str, Any]]:
    """Rows with their names; of several with one name, the later ones are numbered."""
    seen: Counter[str] = Counter()
    first: dict[str, str] = {}
    for row in rows:
        name = first.setdefault(key(row.name), row.name)
        seen[name] += 1
        yield (name if seen[name] == 1 else f"{name} ({seen[name]})"), row


def _leaves(thing: Any, name: str = "") -> Iterator[tuple[str, Value]]:
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        inner: Iterable[tuple[str, Any]] = (
            (field.name, getattr(thing, field.name)) for field in dataclasses.fields(thing)
        )
    elif isinstance(thing, Mapping):
        inner = ((str(k), v) for k, v in thing.items())
    elif isinstance(thing, tuple) and any(dataclasses.is_dataclass(part) for part in thing):
        inner = ((str(k), part) for k, part in enumerate(thing, start=1))
    else:
        yield name, _leaf(thing)
        return
    for field, value in inner:
        yield from _leaves(value, f"{name}.{field}" if name else field)


def _leaf(value: Any) -> Value:
    if isinstance(value, bool):
        return "yes" if value else None
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or None
    return None if value is None else str(value)
