"""Plans as the browser holds them: the tables of a plan file, key to text as typed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from potsim.errors import RequestError
from potsim.interfaces.page.answers import SOURCE
from potsim.interfaces.planfile import Source, example_plan, plan_of, read_plan, tables_of
from potsim.planning.botanicals import PREPARED, WHERE, library
from potsim.planning.plan import Plan
from potsim.planning.sweep import CHARGE_ABV, Number, numbers

MOST_RUNS = 30  # earlier runs whose jars go into a charge, and those that go into theirs
MOST_ROWS = 40  # of the charge, and of the bill
# Units that a slider counts in, and how many there are in the unit of the plain number.
_SHOWN = {"L": ("mL", 1000.0), "% vol": ("%", 1.0), "of 1": ("%", 100.0)}


def plan_from(tables: object) -> Plan:
    """Return the plan that a browser sent."""
    if not isinstance(tables, dict):
        raise RequestError("The plan is not a set of tables.", "Start again from the example.")
    for name in ("charge", "botanical", "own_botanical", "own_compound"):
        rows = tables.get(name)
        if isinstance(rows, list) and len(rows) > MOST_ROWS:
            raise RequestError(f"[[{name}]] stands {len(rows)} times; at most {MOST_ROWS} are taken.", "")
    if _runs_inside(tables) > MOST_RUNS:
        raise RequestError(f"The charge goes back to more than {MOST_RUNS} runs.", "Take fewer left-overs.")
    return plan_of(tables, Source(SOURCE))


def _runs_inside(tables: dict[str, Any]) -> int:
    """How many earlier runs would have to be computed; counting ends where there are too many."""
    found, waiting = 0, [tables]
    while waiting and found <= MOST_RUNS:
        rows = waiting.pop().get("charge")
        inside = (
            [row.get("from_run") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
        )
        inner = [run for run in inside if isinstance(run, dict)]
        found += len(inner)
        waiting += inner
    return found


def opened(text: object, name: object) -> dict[str, Any]:
    """Return the tables of an opened plan file."""
    if not isinstance(text, str) or not isinstance(name, str):
        raise RequestError("The file is not text.", "Open a plan file (.toml).")
    shown = "".join(letter for letter in name if letter.isprintable())[:60]
    return tables_of(read_plan(text, shown or "The file"))


@cache
def start() -> dict[str, Any]:
    """Return what a new page begins with: the example, and the library to choose from."""
    return {
        "plan": tables_of(example_plan()),
        "prepared": list(PREPARED),
        "where": list(WHERE),
        "library": [
            {
                "name": one.common_name,
                "latin": ", ".join(one.latin_names),
                "aliases": list(one.aliases),
                "part": one.part,
                "states": list(one.states),
                "state": one.yield_state,
                "piece": None if one.piece is None else one.piece.name,
                "piece_g": None if one.piece is None else one.piece.mass_g,
                "usual_g_per_l": None
                if one.usual_dose is None
                else [one.usual_dose.low_g_per_l, one.usual_dose.high_g_per_l],
            }
            for one in sorted(library().values(), key=lambda b: b.common_name.lower())
        ],
    }


def counted(plan: Plan) -> dict[str, dict[str, Any]]:
    """Return the numbers of a plan as sliders count them."""
    found = {}
    for one in numbers(plan).values():
        value = None if one.name == CHARGE_ABV else one.get(plan)
        if value is not None:
            unit, per = _SHOWN.get(one.unit, (one.unit, 1.0))
            found[_path(one)] = {"value": float(f"{value * per:.10g}"), "unit": unit}
    return found


def _path(one: Number) -> str:
    """Where a number stands in the tables of a plan file."""
    if one.table == "cuts.heads":
        return one.table
    row = [str(step) for step in one.path if isinstance(step, int)]
    return ".".join([one.table, *row, one.key])


def as_rows(columns: Mapping[str, list[float]]) -> dict[str, list[float]]:
    """Return columns shortened to what a picture shows, six digits."""
    return {name: [float(f"{value:.6g}") for value in values] for name, values in columns.items()}
