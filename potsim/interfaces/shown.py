"""Results as a notebook shows them: how each is drawn, and the small table beside its picture."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from potsim.interfaces.plots import of_style, others, picture_of
from potsim.interfaces.plots.run import figure_of_run, plot_run
from potsim.interfaces.report import Facts, Part
from potsim.interfaces.report.card import facts
from potsim.interfaces.report.sheet import part_of_page
from potsim.interfaces.report.sweep import sections_of_sweep, sure_section
from potsim.interfaces.report.trials import sections_of_comparison
from potsim.interfaces.report.underway import now_section
from potsim.interfaces.wording import in_units, units_of
from potsim.planning.ensemble import Ensemble
from potsim.planning.forecast import Forecast
from potsim.planning.reach import Reach
from potsim.planning.run import Run, distil
from potsim.planning.sweep import Sweep, card
from potsim.planning.trials import Comparison

if TYPE_CHECKING:
    from potsim.planning.frames import Shown


def plot_result(result: Shown, ax: Axes | None, label: str | None = None, color: Any = None) -> Axes:
    """Draw a result on axes."""
    result = _drawn(result)
    if isinstance(result, Run):
        alone = label is None and color is None and (ax is None or not ax.has_data())
        return plot_run(result, ax) if alone else others.plot_line(result, ax, label, color)
    if isinstance(result, Ensemble):
        return others.plot_ensemble(result, ax, label, color)
    if isinstance(result, Sweep):
        return others.plot_sweep(result, ax)
    if isinstance(result, Forecast):
        return others.plot_follow(result, ax)
    assert isinstance(result, Comparison)
    return others.plot_comparison(result, ax)


def figure_of_result(result: Shown) -> Figure:
    """Return the whole picture of a result."""
    result = _drawn(result)
    if isinstance(result, Run):
        return figure_of_run(result, ground=of_style())
    if isinstance(result, Ensemble):
        return figure_of_run(distil(result.plan), result, ground=of_style())
    if isinstance(result, Sweep):
        return others.figure_of_sweep(result)
    if isinstance(result, Forecast):
        return others.figure_of_follow(result)
    assert isinstance(result, Comparison)
    return others.figure_of_comparison(result)


def page_part(result: Shown) -> str:
    """Return a result as a notebook shows it: a small table, and its picture."""
    plan = result.a.plan if isinstance(result, Comparison) else getattr(result, "plan", None)
    with in_units(units_of(plan if plan is not None else result.run.plan)):  # type: ignore[attr-defined]
        told = "".join(map(part_of_page, _parts(result)))
    if isinstance(result, Sweep) and all(row.outcome is None for row in result.rows):
        return f"<div>{told}</div>"
    picture = base64.b64encode(picture_of(figure_of_result(result))).decode()
    return f'<div>{told}<img alt="" src="data:image/png;base64,{picture}"></div>'


def _drawn(result: Shown) -> Shown:
    """What there is to see of a result: of a question turned round, the run that answers it."""
    return result.run if isinstance(result, Reach) else result


def _parts(result: Shown) -> Sequence[Part]:
    result = _drawn(result)
    if isinstance(result, Run):
        return (Facts(tuple(facts(card(result)))),)
    if isinstance(result, Ensemble):
        return sure_section(result).parts[:1]
    if isinstance(result, Sweep):
        return sections_of_sweep(result)[0].parts
    if isinstance(result, Forecast):
        return now_section(result).parts
    assert isinstance(result, Comparison)
    return [part for section in sections_of_comparison(result) for part in section.parts]
