"""Copy the parameters of the group model from the library ``thermo``: ``python -m benchmarks.copy_groups``.

Wanted after a compound with a new group has been added, so that a run need not load ``thermo`` for it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path

import thermo
from thermo import unifac

import potsim.data
from potsim.data import read_table
from potsim.liquid.compounds import ETHANOL, WATER

FOLDER = Path(potsim.data.__file__).parent
SOURCE = f"""\
# Source: modified UNIFAC 2.0, Hayer, Hasse & Jirasek, Ind. Eng. Chem. Res. 64 (2025) 10304, on the groups of
# modified UNIFAC (Dortmund). Copied from the library thermo {thermo.__version__}
# by `python -m benchmarks.copy_groups`; tests compare.
"""
GROUPS = SOURCE + (
    "# Groups of the compounds in compound_volatility.csv. volume, surface: van der Waals R and Q [-].\n"
)
PAIRS = SOURCE + (
    "# psi = exp(-(a + b T + c T^2) / T) of `main` towards `other`, T in K; a [K], b [-], c [1/K].\n"
)


def used() -> list[int]:
    """Subgroups of the compounds of the library, and of ethanol and water."""
    texts = [row["dortmund_groups"] for row in read_table("compound_volatility.csv")]
    numbers = {int(part.split(":")[0]) for text in texts for part in text.split()}
    return sorted(numbers | {number for number, _ in (*ETHANOL, *WATER)})


def write(name: str, header: str, columns: list[str], rows: Iterable[Iterable[object]]) -> None:
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    (FOLDER / name).write_text(header + made.getvalue(), encoding="utf-8")


def main() -> None:
    groups = [(number, unifac.DOUFSG[number]) for number in used()]
    write(
        "groups.csv",
        GROUPS,
        ["subgroup", "name", "main", "volume", "surface"],
        [(number, g.group, g.main_group_id, g.R, g.Q) for number, g in groups],
    )
    mains = sorted({g.main_group_id for _, g in groups})
    pairs = [(one, other) for one in mains for other in mains if one != other]
    write(
        "group_interactions.csv",
        PAIRS,
        ["main", "other", "a", "b", "c"],
        [(*pair, *unifac.DOUF2IP[pair[0]][pair[1]]) for pair in pairs],
    )


if __name__ == "__main__":
    main()
