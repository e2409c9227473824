"""Run every benchmark, print the table and write it beside this file."""

from __future__ import annotations

import datetime
import os
import platform
import sys
from pathlib import Path

from benchmarks import ensembles, flavours, follow, notebook, page, start, still

TABLE = Path(__file__).parent / "RESULTS.md"
SUBJECTS = (still, flavours, ensembles, notebook, follow, page, start)


def main() -> int:
    """Measure, print, write; exit 1 if a budget is missed."""
    rows = [row for subject in SUBJECTS for row in subject.rows()]
    lines = ["| what | measured | budget | met | answers agree |", "| --- | --- | --- | --- | --- |"]
    for row in rows:
        limit, met = "none", "reported"
        if row.budget is not None:
            limit = f"{'at least' if row.at_least else 'at most'} {row.budget:g} {row.unit}"
            met = "yes" if row.met else "NO"
        lines.append(f"| {row.what} | {row.measured:.3g} {row.unit} | {limit} | {met} | {row.agreement} |")
    table = "\n".join(lines)
    where = f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores"
    TABLE.write_text(
        "# Budgets\n\nRatios of times taken side by side in one run; "
        "`python -m benchmarks` measures them anew.\n\n"
        f"{table}\n\n{ensembles.table()}\n\n{datetime.date.today().isoformat()}, {where}.\n",
        encoding="utf-8",
    )
    print(table)
    return 0 if all(row.met for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
