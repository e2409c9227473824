"""Runs that differ in one number, as files: picture and numbers."""

from __future__ import annotations

import csv
import io

from potsim.planning.asking.sweep import Sweep


def content(sweep: Sweep, what: str, kind: str) -> str | bytes:
    """Return what a file of a sweep holds.

    Parameters
    ----------
    sweep : Sweep
        The runs.
    what : {'plot', 'csv'}
        Picture or numbers.
    kind : {'svg', 'png', 'pdf'}
        Kind of picture.

    Returns
    -------
    str or bytes
        The content.
    """
    if what == "csv":
        return numbers(sweep)
    from potsim.interfaces.plots.sweep import figure_of_sweep
    from potsim.interfaces.run_files import saved

    return saved(figure_of_sweep(sweep), kind)


def numbers(sweep: Sweep) -> str:
    """Return the table of a sweep as CSV.

    Parameters
    ----------
    sweep : Sweep
        The runs.

    Returns
    -------
    str
        RFC 4180; a row a value, in the order given, then start and peak of each botanical.
    """
    rows = []
    for row in sweep.rows:
        cells = row.numbers()
        cells["cautions"] = " ".join(row.cautions)
        for place in row.places:
            name = place.botanical.replace(" ", "_")
            cells |= {f"{name}_class": place.klass, f"{name}_start_l": place.start_l}
            cells[f"{name}_peak_l"] = place.peak_l
        rows.append(cells)
    columns = list(dict.fromkeys(name for cells in rows for name in cells))
    made = io.StringIO()
    writer = csv.DictWriter(made, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return made.getvalue()
