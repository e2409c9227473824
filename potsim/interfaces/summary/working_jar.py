"""What a distiller reads of the other way of collecting: one small jar, emptied into the keep."""

from __future__ import annotations

import dataclasses
from typing import Any

from potsim.errors import RangeError, RequestError
from potsim.interfaces.summary.tables import Facts, Section
from potsim.interfaces.wording import format_minutes, format_share, format_volume
from potsim.planning.run import Run
from potsim.planning.working_jar import WorkingJar, working_jar

TITLE = "The other way: one small jar, emptied into the keep"
HOW = (
    "Heads apart, then a small jar under the spout: taste it whenever it is full, and pour it into the keep "
    "as long as it is right. At worst the stream turns just after the jar was emptied, the jar is full when "
    "you are called away, and what runs on is lost with it."
)


def found(run: Run, away_min: float, most_share: float) -> WorkingJar | RequestError:
    """Return how large a working jar may be, or why there is none.

    Parameters
    ----------
    run : Run
        The run; what lies between its heads and its tails is collected.
    away_min : float
        How long one may be distracted [min].
    most_share : float
        Share of the keep that this may cost, 0 to 1.

    Returns
    -------
    WorkingJar or RequestError
        A distraction that costs more by itself is an answer, not an error.

    Raises
    ------
    RangeError
        If a number lies outside its range.
    """
    try:
        points = run.points
        return working_jar(run.course, points.heads, points.keep_end, minutes=away_min, most_lost=most_share)
    except RangeError:
        raise
    except RequestError as error:
        return error


def section(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> Section:
    """Return the working jar in words.

    Parameters
    ----------
    jar : WorkingJar or RequestError
        From `found`.
    away_min, most_share : float
        As asked for.

    Returns
    -------
    Section
        How it is done, and how large it may be.
    """
    if isinstance(jar, RequestError):
        return Section(TITLE, (HOW, f"There is no such jar here. {jar}"))
    times = "once" if jar.emptied == 1 else f"{jar.emptied} times"
    every = format_minutes(jar.every_min)
    pairs = (
        ("asked", f"{format_minutes(away_min)} away may cost at most {format_share(most_share)} of the keep"),
        ("at most", f"{format_volume(jar.largest_l)} may be in it"),
        ("take", f"{format_volume(jar.size_l)}: filled {times}, each in {every} or more"),
        ("at worst", f"{format_volume(jar.lost_l)} are lost, {format_share(jar.lost_share)} of the keep"),
    )
    return Section(TITLE, (HOW, Facts(pairs)))


def plain(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> dict[str, Any]:
    """Return the working jar as plain data; ``refused`` says why there is none, else it is ``None``."""
    asked: dict[str, Any] = {"away_min": away_min, "most_share": most_share}
    if isinstance(jar, RequestError):
        names = (field.name for field in dataclasses.fields(WorkingJar))
        return {**asked, **dict.fromkeys(names), "refused": str(jar)}
    return {**asked, **dataclasses.asdict(jar), "refused": None}
