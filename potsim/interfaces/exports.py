"""Runs, and runs that differ in one number, as files: picture, numbers, page."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from potsim.interfaces.files import csv_of
from potsim.planning.run import Run
from potsim.planning.stops import QUANTITIES
from potsim.planning.sweep import Sweep

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from potsim.planning.ensemble import Ensemble

# Files that come out the same whenever they are written.
_UNDATED: dict[str, dict[str, Any]] = {
    "svg": {"Date": None},
    "pdf": {"CreationDate": None},
    "png": {},
}


def content(run: Run, what: str, kind: str, sure: Ensemble | None = None) -> str | bytes:
    """Return what a file of a run holds."""
    if what == "plot":
        return picture(run, kind, sure)
    if what == "csv":
        return numbers(run)
    from potsim.interfaces.plots.run import figure_of_run  # start-up: pictures only where they are asked for
    from potsim.interfaces.report.sheet import page_of_run

    figure = figure_of_run(run, sure, words=False)  # they are said on the page itself
    return page_of_run(run, saved(figure, "svg").decode(), sure)


def picture(run: Run, kind: str, sure: Ensemble | None = None) -> bytes:
    """Return the picture of a run as a file."""
    from potsim.interfaces.plots.run import figure_of_run

    return saved(figure_of_run(run, sure), kind)


def saved(figure: Figure, kind: str) -> bytes:
    """Return a figure as a file that comes out the same whenever it is written."""
    import matplotlib as mpl

    made = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "potsim"}):
        figure.savefig(made, format=kind, dpi=150, metadata=_UNDATED[kind])
    return made.getvalue()


def numbers(run: Run) -> str:
    """Return the curve of a run as CSV."""
    columns = [getattr(run.profile, name).tolist() for name in QUANTITIES]
    return csv_of([QUANTITIES, *([repr(value) for value in row] for row in zip(*columns, strict=True))])


def sweep_content(sweep: Sweep, what: str, kind: str) -> str | bytes:
    """Return what a file of a sweep holds."""
    if what == "csv":
        return sweep_numbers(sweep)
    from potsim.interfaces.plots.others import figure_of_sweep

    return saved(figure_of_sweep(sweep), kind)


def sweep_numbers(sweep: Sweep) -> str:
    """Return the table of a sweep as CSV."""
    rows = []
    for row in sweep.rows:
        cells = row.numbers()
        cells["cautions"] = " ".join(row.cautions)
        for place in row.places:
            name = place.botanical.replace(" ", "_")
            told = place.to_dict()
            cells |= {f"{name}_{key}": told[key] for key in told if key != "botanical"}
        rows.append(cells)
    columns = list(dict.fromkeys(name for cells in rows for name in cells))
    return csv_of([columns, *([cells.get(name, "") for name in columns] for cells in rows)])
