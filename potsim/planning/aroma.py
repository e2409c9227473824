"""How strongly a botanical can be noticed, by odour thresholds: a rough guide.

The measure is the sum of concentration over threshold of its compounds. The thresholds are those in water;
ethanol raises them tenfold and more, sources differ by as much, and compounds mask and strengthen each
other. So the size of the number says little; how it changes along a run says more, and that is what
`leading` goes by.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from potsim.liquid.compounds import compound
from potsim.planning.flavours import Flavours, Span
from potsim.planning.portion import between

Array = NDArray[np.float64]

NOTICED = 10.0  # from which a botanical is counted: thresholds in water, raised tenfold by ethanol
UG_PER_G = 1e6


def activities(flavours: Flavours, spans: Sequence[Span]) -> Array:
    """Sum of concentration over odour threshold for each botanical.

    Parameters
    ----------
    flavours : Flavours
        The run.
    spans : sequence of (float, float)
        Depletions at which each jar begins and ends.

    Returns
    -------
    ndarray, shape (lines of the bill, jars)
        In the order of ``flavours.bill``; 0 where no compound has a known threshold.
    """
    rows = flavours.carried.rows
    thresholds = [compound(flavours.own.get(name, name)).odour_threshold for name in flavours.compound_ids]
    per_g = np.array([0.0 if t is None else UG_PER_G / t.ug_per_l for t in thresholds])
    noticed = flavours.over_by_row(spans) * per_g[rows.compound][:, None]
    volumes = np.array([between(flavours.course, start, end).volume_l for start, end in spans])
    lines = [noticed[flavours.rows_of(k + 1)].sum(axis=0) for k in range(len(flavours.bill))]
    return np.asarray(np.array(lines).reshape(len(lines), len(spans)) / volumes)


def leading(flavours: Flavours, spans: Sequence[Span], most: int = 3) -> tuple[tuple[str, ...], ...]:
    """Botanicals that mark each jar.

    Parameters
    ----------
    flavours : Flavours
        The run.
    spans : sequence of (float, float)
        Depletions at which each jar begins and ends.
    most : int
        How many to name at the most.

    Returns
    -------
    tuple of tuple of str
        For each jar the common names, leading one first; empty if none can be noticed.

    Notes
    -----
    Ranked by how far each stands above its own mean over all the jars given, not by size: by size the same
    two or three botanicals with a keenly smelt compound would lead every jar, while a taster wants to know
    what a jar has that its neighbours lack. Counted are those with an activity of 10 and more that stand
    above their mean; if none does, the one nearest to its mean.
    """
    found = activities(flavours, spans)
    names = labels(flavours)
    volumes = np.array([between(flavours.course, start, end).volume_l for start, end in spans])
    mean = found @ volumes / volumes.sum() if spans else np.zeros(len(names))
    marks = []
    for jar in found.T:
        above = {k: float(jar[k] / mean[k]) for k in range(len(names)) if jar[k] >= NOTICED}
        ranked = sorted(above, key=above.__getitem__, reverse=True)
        marked = [k for k in ranked if above[k] > 1.0] or ranked[:1]
        marks.append(tuple(names[k] for k in marked[:most]))
    return tuple(marks)


def labels(flavours: Flavours) -> tuple[str, ...]:
    """Common name of each line of the bill, with its place where the same botanical lies in both."""
    names = [dose.botanical.common_name for dose in flavours.bill]
    return tuple(
        name if names.count(name) == 1 else f"{name} ({dose.dose.where})"
        for name, dose in zip(names, flavours.bill, strict=True)
    )
