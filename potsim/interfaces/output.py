"""The two streams: results to standard output, words about them to standard error."""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import json
import os
import sys
import unicodedata
from typing import TYPE_CHECKING, Any

from potsim.errors import PotsimError
from potsim.planning.run import Run
from potsim.planning.stops import QUANTITIES
from potsim.planning.sweep import Sweep

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from potsim.planning.ensemble import Ensemble


PLAIN = "potsim-plain"
# As wide as what they stand for, so that tables stay in line.
_SUBSTITUTES = {"°": " ", "·": ".", "–": "-", "—": "-", "−": "-", "×": "x", "…": ".", "≥": ">", "≤": "<"}
_SUBSTITUTES |= {"’": "'", "‘": "'", "“": '"', "”": '"', "³": "3", "²": "2", "µ": "u", "μ": "u"}


def _plain(error: UnicodeError) -> tuple[str, int]:
    """Stand-ins for characters that a terminal cannot show."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_stand_in(letter) for letter in error.object[error.start : error.end]), error.end


def _stand_in(letter: str) -> str:
    bare = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
    return _SUBSTITUTES.get(letter) or bare or "?"


codecs.register_error(PLAIN, _plain)


def prepare() -> None:
    """Let both streams show a plain character where theirs cannot show the right one."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=PLAIN)


def result(text: str) -> None:
    """Write a result to standard output."""
    if sys.stdout is None:
        raise PotsimError("Standard output is closed: there is nowhere to write the result.", "")
    sys.stdout.write(f"{text}\n")


def result_json(value: Any) -> None:
    """Write plain data to standard output as JSON, in ASCII so that any program reads it."""
    result(json.dumps(value, indent=2, allow_nan=False))


def words(text: str) -> None:
    """Write words about the work to standard error; where that is closed, they are lost."""
    if sys.stderr is not None:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.write(f"{text}\n")
            sys.stderr.flush()


def finish() -> None:
    """Send all results off; what then goes wrong is not to be told by the interpreter on its way out."""
    if sys.stdout is None:
        return
    try:
        sys.stdout.flush()
    except OSError:
        abandon()
        raise


def abandon() -> None:
    """Send what is still to be written to standard output nowhere."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


# --- A run as files: picture, numbers and page.


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
    from potsim.interfaces.plots.run import figure_of_run
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
    made = io.StringIO()
    writer = csv.writer(made)
    writer.writerow(QUANTITIES)
    columns = [getattr(run.profile, name).tolist() for name in QUANTITIES]
    writer.writerows([[repr(value) for value in row] for row in zip(*columns, strict=True)])
    return made.getvalue()


# --- Runs that differ in one number, as files: picture and numbers.


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
            cells |= {f"{name}_class": place.klass, f"{name}_start_l": place.start_l}
            cells[f"{name}_peak_l"] = place.peak_l
        rows.append(cells)
    columns = list(dict.fromkeys(name for cells in rows for name in cells))
    made = io.StringIO()
    writer = csv.DictWriter(made, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return made.getvalue()
