"""Faces of plans and results: how the top floor reads, words and draws them, loaded when first asked for.

The floors below know their faces by name only, and import nothing from above.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes as Axes
    from matplotlib.figure import Figure as Figure

    from potsim.interfaces.output import target as target
    from potsim.interfaces.output import write_all as write_all
    from potsim.interfaces.planfile import plan_of as plan_of
    from potsim.interfaces.planfile import read_plan as read_plan
    from potsim.interfaces.planfile import tables_of as tables_of
    from potsim.interfaces.planfile import write_plan as write_plan
    from potsim.interfaces.plots.others import figure_of_result as figure_of_result
    from potsim.interfaces.plots.others import page_part as page_part
    from potsim.interfaces.plots.others import plot_result as plot_result
    from potsim.interfaces.readingsfile import readings_of as readings_of
    from potsim.interfaces.report.card import text_of_card as text_of_card
    from potsim.interfaces.report.refusals import fault as fault
    from potsim.interfaces.report.refusals import follows as follows
    from potsim.interfaces.report.refusals import hint as hint
    from potsim.interfaces.report.sweep import text_of_ensemble as text_of_ensemble
    from potsim.interfaces.report.sweep import text_of_sweep as text_of_sweep
    from potsim.interfaces.report.trials import text_of_comparison as text_of_comparison
    from potsim.interfaces.report.words import sentences as sentences
    from potsim.interfaces.tomlfile import Source as Source

_HOMES = {
    "target": "output",
    "write_all": "output",
    "plan_of": "planfile",
    "read_plan": "planfile",
    "tables_of": "planfile",
    "write_plan": "planfile",
    "readings_of": "readingsfile",
    "text_of_card": "report.card",
    "fault": "report.refusals",
    "follows": "report.refusals",
    "hint": "report.refusals",
    "text_of_ensemble": "report.sweep",
    "text_of_sweep": "report.sweep",
    "text_of_comparison": "report.trials",
    "sentences": "report.words",
    "figure_of_result": "plots.others",
    "page_part": "plots.others",
    "plot_result": "plots.others",
    "Source": "tomlfile",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'potsim.faces' has no attribute '{name}'")
    return getattr(importlib.import_module(f"potsim.interfaces.{_HOMES[name]}"), name)
