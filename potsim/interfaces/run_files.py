"""A run as files: picture, numbers and page."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from potsim.planning.profile import QUANTITIES
from potsim.planning.run import Run

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from potsim.planning.ensemble.many import Ensemble

# Files that come out the same whenever they are written.
_UNDATED: dict[str, dict[str, Any]] = {
    "svg": {"Date": None},
    "pdf": {"CreationDate": None},
    "png": {},
}


def content(run: Run, what: str, kind: str, sure: Ensemble | None = None) -> str | bytes:
    """Return what a file of a run holds.

    Parameters
    ----------
    run : Run
        The run.
    what : {'plot', 'csv', 'report'}
        Picture, numbers or page.
    kind : str
        Kind of picture; see `picture`.
    sure : Ensemble, optional
        Runs drawn from what is uncertain, for the band in the picture.

    Returns
    -------
    str or bytes
        The content.
    """
    if what == "plot":
        return picture(run, kind, sure)
    if what == "csv":
        return numbers(run)
    from potsim.interfaces.plots.whole import figure_of_run
    from potsim.interfaces.sheet.sheet import page_of_run

    figure = figure_of_run(run, sure, words=False)  # they are said on the page itself
    return page_of_run(run, saved(figure, "svg").decode(), sure)


def picture(run: Run, kind: str, sure: Ensemble | None = None) -> bytes:
    """Return the picture of a run as a file.

    Parameters
    ----------
    run : Run
        The run.
    kind : {'svg', 'png', 'pdf'}
        Kind of file.
    sure : Ensemble, optional
        Runs drawn from what is uncertain, for the band.

    Returns
    -------
    bytes
        Its content.
    """
    from potsim.interfaces.plots.whole import figure_of_run

    return saved(figure_of_run(run, sure), kind)


def saved(figure: Figure, kind: str) -> bytes:
    """Return a figure as a file that comes out the same whenever it is written.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The picture.
    kind : {'svg', 'png', 'pdf'}
        Kind of file.

    Returns
    -------
    bytes
        Its content.
    """
    import matplotlib as mpl

    made = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "potsim"}):
        figure.savefig(made, format=kind, dpi=150, metadata=_UNDATED[kind])
    return made.getvalue()


def numbers(run: Run) -> str:
    """Return the curve of a run as CSV.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    str
        RFC 4180; names with units in the first row, then a row a point, each number as it is held.
    """
    made = io.StringIO()
    writer = csv.writer(made)
    writer.writerow(QUANTITIES)
    columns = [getattr(run.profile, name).tolist() for name in QUANTITIES]
    writer.writerows([[repr(value) for value in row] for row in zip(*columns, strict=True)])
    return made.getvalue()
