"""The jar under the spout and the one after it, while a run is being followed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.planning.following.outlook import JarNow
from potsim.planning.following.readings import Reading
from potsim.planning.run import Run
from potsim.still.tracks import Tracks

Array = NDArray[np.float64]

FULL = 1e-9  # relative; a jar that lacks so little is full
BEGUN_L = 1e-6


def jars_now(
    run: Run, readings: Sequence[Reading], tracks: Tracks, now_l: Array, end_l: Array
) -> tuple[JarNow | None, JarNow | None]:
    """Return the jar under the spout and the next one.

    Parameters
    ----------
    run : Run
        The run as planned, with its row of jars.
    readings : sequence of Reading
        Those so far; jars read as such are where they were.
    tracks : Tracks
        Row 0 is the likeliest.
    now_l, end_l : ndarray, shape (k,)
        What has passed the neck now, and at the stop [L].

    Returns
    -------
    jar, next_jar : JarNow or None
        ``None`` past the stop.
    """
    held = float(tracks.rows.hold_up_l[0] + tracks.bench.parrot_l)
    now, end = max(float(now_l[0]) - held, 0.0), float(end_l[0]) - held
    if end <= now:
        return None, None
    first = _jar(run, readings, tracks, held, (now, now, end))
    begins = now + first.full_in_l
    if begins >= end * (1.0 - FULL):
        return first, None
    return first, _jar(run, readings, tracks, held, (begins, now, end))


def _jar(
    run: Run, readings: Sequence[Reading], tracks: Tracks, held: float, at: tuple[float, float, float]
) -> JarNow:
    """The jar that is under the spout when so much is collected; ``at`` is that, now, and the stop [L]."""
    there, now, end = at
    number, begin, size, close = _slot(run, readings, there)
    close = min(close, end)
    u = np.broadcast_to(held + np.array([begin, max(now, begin), close, now]), (len(tracks.charge_mol), 4))
    over, ethanol, seconds = (v[0] for v in tracks.at(u, "over_mol", "ethanol_mol", "elapsed_s"))
    begun = now > begin + BEGUN_L
    return JarNow(
        number=number,
        size_l=size,
        holds_l=now - begin if begun else 0.0,
        abv=_abv(ethanol[1] - ethanol[0], over[1] - over[0]) if begun else 0.0,
        full_in_l=close - now,
        full_in_min=float(seconds[2] - seconds[3]) / 60.0,
        full_abv=_abv(ethanol[2] - ethanol[0], over[2] - over[0]),
    )


def _slot(run: Run, readings: Sequence[Reading], at_l: float) -> tuple[int, float, float, float]:
    """Number, beginning, size and end of the jar under the spout when so much is collected.

    Jars that were read are where they were; the others follow on as planned, the last size again and again.
    """
    planned, begin, number = run.jars, 0.0, 0
    read = [r.collected_l for r in readings if r.from_l is not None and r.collected_l is not None]
    while True:
        number += 1
        jar = planned[min(number, len(planned)) - 1]
        width = jar.to_l - jar.from_l if number < len(planned) else jar.size_l
        close = read[number - 1] if number <= len(read) else begin + width
        if close > at_l * (1.0 + FULL) + FULL:
            return number, begin, jar.size_l, close
        begin = max(begin, close)


def _abv(ethanol_mol: float, total_mol: float) -> float:
    ethanol = min(max(float(ethanol_mol), 0.0), float(total_mol))
    return float(strength.abv_from_x(ethanol / float(total_mol)))
