"""A run under way: what its plan foresees, and what its readings make of that."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from potsim.planning.plan import Plan
from potsim.planning.readings import Reading
from potsim.planning.run import distil


def progress(plan: Plan, readings: Sequence[Reading]) -> dict[str, Any]:
    """Return what is still to come.

    Parameters
    ----------
    plan : Plan
        As the run was begun.
    readings : sequence of Reading
        So far.
    """
    return {"run": distil(plan).to_dict()}
