"""The picture of a number varied: no label meets another, and the axes are those given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from refusals import refused

import potsim
from potsim.interfaces.plots.others import figure_of_sweep, plot_sweep
from potsim.planning.plan import Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.planning.sweep import sweep


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    (ax,) = figure.axes
    renderer = canvas.get_renderer()
    ticks = [t for axis in (ax.xaxis, ax.yaxis) for t in axis.get_ticklabels()]
    texts = [t for t in (*ax.texts, *ticks, ax.xaxis.label, ax.yaxis.label) if t.get_text().strip()]
    boxes = [(t.get_text(), Text.get_window_extent(t, renderer)) for t in texts]
    return [
        (one, other)
        for k, (one, box) in enumerate(boxes)
        for other, box2 in boxes[k + 1 :]
        if box.overlaps(box2)
    ]


@pytest.mark.parametrize("same", ["alcohol", "volume"])
@pytest.mark.parametrize(
    "values", [(25, 40, 55), tuple(range(20, 65, 5)), (37.9, 38.0, 38.1, 38.2), range(20, 60)]
)
def test_no_two_labels_overlap(bare: Plan, values, same: str) -> None:
    figure = figure_of_sweep(sweep(bare, "charge.abv", values, same))
    assert overlaps(figure) == []
    (own,) = [t for t in figure.axes[0].texts if t.get_fontweight() == "bold"]
    assert own.get_text() == "plan, 38.1 %"
    widest = max(figure.axes[0].lines, key=lambda line: line.get_linewidth())
    np.testing.assert_allclose(widest.get_ydata(), potsim.distil(bare).stream_abv)


def test_labels_stand_where_curves_lie_apart(bare: Plan) -> None:
    lasting = replace(bare, cuts=Cuts(stop=Stop(recovered=0.97)), still=replace(bare.still, min_level_l=None))
    figure = figure_of_sweep(sweep(lasting, "still.power", [300, 500, 700, 1500]))
    assert overlaps(figure) == []
    assert "700 W" in [t.get_text().removeprefix("plan, ") for t in figure.axes[0].texts]


def test_the_picture_goes_on_the_axes_given_and_in_litres_for_much() -> None:
    figure = Figure()
    ax = figure.subplots(1, 2)[0]
    plan = Plan((Ingredient("spirit", 100.0, 70.0),), still=StillPlan(capacity_l=150.0))
    assert plot_sweep(sweep(plan, "charge.abv", [30.0, 60.0], "volume"), ax) is ax
    assert ax.get_xlabel() == "distillate collected, L at 20 °C; each curve ends at the stop"
    assert not figure.axes[1].lines
    assert plot_sweep(sweep(plan, "charge.abv", [40.0], "volume")).figure is not figure
    with refused("none_runs", "still.power"):
        plot_sweep(sweep(replace(plan, still=StillPlan(capacity_l=1.0)), "still.power", [500.0]))
