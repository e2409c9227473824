"""Answers as tables of pandas, with the unit of each column beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

# Units by how a name ends; the longest ending that fits counts. Of others a number is a share or a count.
ENDINGS = {
    "_l": "L",
    "abv": "% vol",
    "_min": "min",
    "_c": "°C",
    "_k": "K",
    "_g": "g",
    "_kg": "kg",
    "_w": "W",
    "_wh": "Wh",
    "_kwh": "kWh",
    "_mg_per_l": "mg/L",
    "_g_per_l": "g/L",
    "_w_per_k": "W/K",
    "_pa": "Pa",
    "_hpa": "hPa",
}


def unit_of(name: str) -> str:
    """Return the unit of a number by its name; empty for shares, counts and words."""
    fitting = [ending for ending in ENDINGS if name.endswith(ending)]
    return ENDINGS[max(fitting, key=len)] if fitting else ""


def frame(
    rows: Iterable[Mapping[str, Any]] | Mapping[str, Any], units: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Return rows, or columns, as a table with ``attrs["units"]``: name of a column to its unit."""
    import pandas as pd

    made = pd.DataFrame(rows if isinstance(rows, Mapping) else list(rows))
    told = {name: unit_of(str(name)) for name in made.columns} | dict(units or {})
    made.attrs["units"] = {name: unit for name, unit in told.items() if unit}
    return made
