"""How much of the botanicals' oil is in each jar and in the keep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from potsim.planning.flavours import Span

if TYPE_CHECKING:
    from potsim.planning.run import Run

Array = NDArray[np.float64]


def jars_mg_per_l(run: Run) -> Array:
    """Return the botanicals' oil in each jar.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    ndarray, shape (jars,)
        Content [mg/L] of the jar as it is; what the base spirit brings of its own is not counted.

    Notes
    -----
    Yields differ between lots by a factor of two and more.
    """
    spans = [(jar.start_depletion, jar.end_depletion) for jar in run.jars]
    volumes = np.array([jar.volume_l for jar in run.jars])
    return np.asarray(1000.0 * _by_line(run, spans).sum(axis=0) / volumes)


def keep_mg_per_l(run: Run) -> float:
    """Return the botanicals' oil in the keep, as it is pooled [mg/L]; see `jars_mg_per_l`."""
    return 1000.0 * float(np.sum(kept_g(run))) / run.keep.volume_l


def kept_g(run: Run) -> Array:
    """Return how much of the oil of each botanical is in the keep.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    ndarray, shape (lines of the bill,)
        Grams, in the order of ``run.bill``.
    """
    return np.asarray(_by_line(run, run.kept_spans).sum(axis=1))


def _by_line(run: Run, spans: Sequence[Span]) -> Array:
    """Grams of each line of the bill in each span, shape (lines, spans)."""
    over = run.flavours.over_by_row(spans)
    lines = [over[run.flavours.rows_of(k + 1)].sum(axis=0) for k in range(len(run.bill))]
    return np.array(lines).reshape(len(lines), len(spans))
