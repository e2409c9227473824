"""Any one number of a plan set to another value, under the key that it has in the plan file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from potsim.errors import UnknownNameError
from potsim.planning.asking.letting_down import Same, charge_of, with_strength
from potsim.planning.botanicals.names import key as spelling
from potsim.planning.plan import Ingredient, Plan, Stop

CHARGE_ABV = "charge.abv"


@dataclass(frozen=True)
class Number:
    """A number of a plan.

    Parameters
    ----------
    name : str
        Its key, such as ``"still.power"``.
    table, key : str
        Table of the plan file and key in it that the number is typed under.
    unit : str
        Unit of the plain number; empty for a count.
    path : tuple of str or int
        Where it lies in a `Plan`: fields and rows down to the field itself.
    clears : str
        Field beside it that cannot be said at the same time; empty for none.
    """

    name: str
    table: str
    key: str
    unit: str
    path: tuple[str | int, ...]
    clears: str = ""

    def get(self, plan: Plan) -> float | None:
        """Return the number; ``None`` where the plan does not say it."""
        if self.name == CHARGE_ABV:
            return charge_of(plan).abv
        thing: Any = plan
        for step in self.path:
            thing = thing[step] if isinstance(step, int) else getattr(thing, step, None)
        return None if thing is None else float(thing)

    def put(self, plan: Plan, value: float, same: Same = "alcohol") -> Plan:
        """Return the plan with another value.

        Parameters
        ----------
        plan : Plan
            The plan.
        value : float
            The number in ``unit``.
        same : {'alcohol', 'volume'}
            What stays when the strength of the charge changes.

        Returns
        -------
        Plan
            All else is as it was.

        Raises
        ------
        RequestError
            If the plan cannot hold the number.
        """
        if self.name == CHARGE_ABV:
            return with_strength(plan, value, same)
        changes = {str(self.path[-1]): value, **({self.clears: None} if self.clears else {})}
        changed: Plan = _changed(plan, self.path[:-1], changes)
        return changed


def _changed(thing: Any, path: tuple[str | int, ...], changes: dict[str, Any]) -> Any:
    """Return a part of a plan with fields changed below it; a stop that is not there is made."""
    if not path:
        return replace(Stop() if thing is None else thing, **changes)
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        return tuple(_changed(row, rest, changes) if k == step else row for k, row in enumerate(thing))
    return replace(thing, **{step: _changed(getattr(thing, step), rest, changes)})


# Key of the plan file: field, unit.
Keys = Mapping[str, tuple[str, str]]
_INGREDIENT: Keys = {"volume": ("volume_l", "L"), "abv": ("abv", "% vol")}
_DOSE: Keys = {
    "mass": ("mass_g", "g"),
    "pieces": ("pieces", ""),
    "macerated": ("macerated_h", "h"),
    "oil_yield": ("oil_yield_pct", "%"),
}
_STILL: Keys = {
    "capacity": ("capacity_l", "L"),
    "power": ("power_w", "W"),
    "heat_up_power": ("heat_up_power_w", "W"),
    "neck_loss": ("neck_loss_w_per_k", "W/K"),
    "pot_loss": ("pot_loss_w_per_k", "W/K"),
    "room": ("room_c", "°C"),
    "altitude": ("altitude_m", "m"),
    "pressure": ("pressure_hpa", "hPa"),
    "min_level": ("min_level_l", "L"),
    "pot_mass": ("pot_mass_kg", "kg"),
}
_CLEARS = {"altitude": "pressure_hpa", "pressure": "altitude_m"}
_POWER_STEP: Keys = {"from_collected": ("from_collected_l", "L"), "power": ("power_w", "W")}
_STOP: Keys = {
    "stream_abv": ("stream_abv", "% vol"),
    "pot_abv": ("pot_abv", "% vol"),
    "vapour_c": ("vapour_c", "°C"),
    "collected": ("collected_l", "L"),
    "recovered": ("recovered", "of 1"),
    "elapsed": ("elapsed_min", "min"),
}
_BOTTLING: Keys = {"abv": ("abv", "% vol"), "bottle": ("bottle_l", "L")}
_STRETCH: Keys = {"spirit": ("spirit_l", "L"), "abv": ("abv", "% vol")}


def numbers(plan: Plan) -> dict[str, Number]:
    """Return the numbers of a plan that can be varied.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    dict of str to Number
        By key: ``charge.abv`` is the strength in the pot, ``charge.NAME`` and ``botanical.NAME`` are the
        amounts of one ingredient, ``still.KEY``, ``cuts.heads``, ``cuts.stop.KEY``, ``cuts.tails_from.KEY``
        and ``bottling.KEY`` what they are in the plan file.
    """
    known: dict[str, Number] = {}
    for found in (Number(CHARGE_ABV, "charge", "abv", "% vol", ()), *_rows(plan), *_tables(plan)):
        known.setdefault(found.name, found)
    return known


def number(plan: Plan, key: str) -> Number:
    """Return the number of a plan that goes by a key.

    Parameters
    ----------
    plan : Plan
        The plan.
    key : str
        Such as ``"still.power"``; capitals, blanks and plurals do not count.

    Returns
    -------
    Number
        The number.

    Raises
    ------
    UnknownNameError
        If nothing goes by it; the nearest keys are suggested.
    """
    known = numbers(plan)
    by_spelling = {_spelled(name): name for name in known}
    if _spelled(key) not in by_spelling:
        raise UnknownNameError("number of the plan", key, known)
    return known[by_spelling[_spelled(key)]]


def _spelled(key: str) -> str:
    return ".".join(spelling(part) for part in key.split("."))


def _rows(plan: Plan) -> Iterator[Number]:
    """Numbers of tables that may stand several times; an amount goes by the name alone, too."""
    for k, part in enumerate(plan.charge):
        if isinstance(part, Ingredient):
            yield _renamed(_of(("charge", k), "charge", {"volume": _INGREDIENT["volume"]}), part.name)
            yield from _of(("charge", k), "charge", _INGREDIENT, f"charge.{part.name}")
    for k, dose in enumerate(plan.botanicals):
        counted = "pieces" if dose.mass_g is None else "mass"
        keys = {key: _DOSE[key] for key in (counted, "macerated", "oil_yield")}
        yield _renamed(_of(("botanicals", k), "botanical", {counted: _DOSE[counted]}), dose.name)
        yield from _of(("botanicals", k), "botanical", keys, f"botanical.{dose.name}")
    for k in range(len(plan.still.power_steps)):
        name = f"still.power_step.{k + 1}"
        yield from _of(("still", "power_steps", k), "still.power_step", _POWER_STEP, name)


def _tables(plan: Plan) -> Iterator[Number]:
    yield from _of(("still",), "still", _STILL)
    if plan.cuts.heads_share is None:
        yield Number("cuts.heads", "cuts.heads", "volume", "L", ("cuts", "heads_l"))
    else:
        yield Number("cuts.heads", "cuts.heads", "share", "of 1", ("cuts", "heads_share"))
    yield from _of(("cuts", "stop"), "cuts.stop", _STOP)
    yield from _of(("cuts", "tails_from"), "cuts.tails_from", _STOP)
    yield from _of(("bottling",), "bottling", _BOTTLING)
    if plan.bottling.stretch is not None:
        yield from _of(("bottling", "stretch"), "bottling.stretch", _STRETCH)


def _of(path: tuple[str | int, ...], table: str, keys: Keys, name: str = "") -> Iterator[Number]:
    for key, (field, unit) in keys.items():
        clears = _CLEARS.get(key, "") if table == "still" else ""
        yield Number(f"{name or table}.{key}", table, key, unit, (*path, field), clears)


def _renamed(found: Iterator[Number], name: str) -> Number:
    only = next(found)
    return replace(only, name=f"{only.table}.{name}")
