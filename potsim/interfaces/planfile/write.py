"""A `Plan` written as TOML that reads back to an equal plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from potsim.interfaces.planfile import keys
from potsim.interfaces.planfile.own import write_own
from potsim.planning.plan import Cuts, Ingredient, LeftOver, Plan


def write_plan(plan: Plan) -> str:
    """Return a plan as the text of a plan file.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        TOML. What is as by default is left out; jars of an earlier run bring that run's plan with them.

    Raises
    ------
    RequestError
        If the plan holds a volume, a name or else that a plan file could not hold.

    Examples
    --------
    >>> from potsim.planning.plan import Ingredient
    >>> print(write_plan(Plan((Ingredient("apple spirit", 0.9, 62.0),), title="First")))
    title = "First"
    <BLANKLINE>
    [[charge]]
    name = "apple spirit"
    volume = "900 mL"
    abv = "62 %"
    <BLANKLINE>
    """
    import tomlkit

    return tomlkit.dumps(inlined(tables_of(plan)))


def tables_of(plan: Plan) -> dict[str, Any]:
    """Return a plan as the tables of a plan file, key to value as typed.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    dict
        What a TOML reader would return for the file.
    """
    still = keys.table_of(plan.still, keys.STILL)
    if plan.still.power_steps:
        still["power_step"] = [keys.table_of(step, keys.POWER_STEP) for step in plan.still.power_steps]
    bottling = keys.table_of(plan.bottling, keys.BOTTLING)
    if plan.bottling.stretch is not None:
        bottling["stretch"] = keys.table_of(plan.bottling.stretch, keys.STRETCH)
    tables = {
        "title": keys.TOP["title"].write(plan.title),
        "charge": [_part(part) for part in plan.charge],
        "still": still,
        "botanical": [keys.table_of(dose, keys.BOTANICAL) for dose in plan.botanicals],
        "cuts": _cuts(plan.cuts),
        "jars": keys.table_of(plan.jars, keys.JARS),
        "bottling": bottling,
        "uncertainty": keys.table_of(plan.uncertainty, keys.UNCERTAINTY),
        **write_own(plan.own_botanicals, plan.own_compounds),
    }
    return {name: table for name, table in tables.items() if table}


def _part(part: Ingredient | LeftOver) -> dict[str, Any]:
    if isinstance(part, LeftOver):
        return {**keys.table_of(part, keys.LEFT_OVER), "from_run": tables_of(part.plan)}
    table = keys.table_of(part, keys.INGREDIENT)
    if "abv" not in table and not keys.is_water(part.name):
        table["abv"] = "0 %"
    return table


def _cuts(cuts: Cuts) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key in keys.HEADS.values():
        size = getattr(cuts, key.field)
        if size is not None:
            table["heads"] = key.write(size)
    for name in ("stop", "tails_from"):
        stop = getattr(cuts, name)
        if stop is not None and stop.named:
            table[name] = keys.table_of(stop, keys.STOP)
    return table


def inlined(tables: dict[str, Any]) -> Any:
    """Put the small tables of conditions on one line, as a person would.

    Parameters
    ----------
    tables : dict
        Tables of a plan file.

    Returns
    -------
    dict
        The same, ready for a TOML writer.
    """
    import tomlkit

    def one_line(table: Mapping[str, Any]) -> Any:
        line = tomlkit.inline_table()
        line.update({key: one_line(v) if isinstance(v, dict) else v for key, v in table.items()})
        return line

    def written(name: str, value: Any) -> Any:
        if name in ("stop", "tails_from", "stretch", "composition", "groups", "piece"):
            return one_line(value)
        if isinstance(value, dict):
            return {key: written(key, inner) for key, inner in value.items()}
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [written("", inner) for inner in value]
        return value

    return written("", tables)
