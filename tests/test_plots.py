"""Pictures: drawn on the axes given, every label clear of the others and inside the picture."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import figure_of_run, plot_run
from potsim.planning.botanicals import BotanicalDose
from potsim.planning.plan import Cuts, Ingredient, JarPlan, Plan, Stop

FOURTEEN = [
    "juniper",
    "coriander seed",
    "lemon peel",
    "fennel seed",
    "bay leaf",
    "angelica root",
    "black pepper",
    "green cardamom",
    "cassia bark",
    "liquorice root",
    "orris root",
    "clove",
    "star anise",
    "vanilla bean",
]


def plan(kind: str) -> Plan:
    example = potsim.example_plan()
    if kind == "example":
        return example
    if kind == "bare":
        return replace(example, botanicals=(), jars=JarPlan())
    long = Cuts(heads_l=0.05, stop=Stop(stream_abv=15.0), tails_from=Stop(stream_abv=40.0))
    bill = tuple(BotanicalDose(name, mass_g=6.0) for name in FOURTEEN)
    return replace(example, botanicals=bill, cuts=long, jars=JarPlan())


def words(figure: Figure) -> list[Text]:
    """Every piece of text that a reader sees."""
    found = [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]
    return [t for t in found if all(p.get_visible() for p in ([t.axes] if t.axes else []))]


@pytest.mark.parametrize("kind", ["example", "bare", "fourteen"])
def test_no_label_covers_another_or_leaves_the_picture(kind: str) -> None:
    figure = figure_of_run(potsim.distil(plan(kind)))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    boxes = []
    for text in words(figure):
        box = text.get_window_extent(renderer)
        if box.width > 0 and box.height > 0:
            boxes.append((text.get_text(), box))
    assert len(boxes) > 10
    for _, box in boxes:
        assert box.x0 >= -1
        assert box.x1 <= figure.bbox.width + 1
        assert box.y0 >= -1
        assert box.y1 <= figure.bbox.height + 1
    for (a, first), (b, second) in itertools.combinations(boxes, 2):
        width = min(first.x1, second.x1) - max(first.x0, second.x0)
        height = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert width < 2 or height < 2, f"'{a}' covers '{b}'"


def test_draws_on_the_axes_given_and_no_other() -> None:
    run = potsim.distil(potsim.example_plan())
    figure = Figure()
    first, second = figure.subplots(1, 2)
    assert run.plot(first) is first
    assert first.lines
    assert not second.lines


def test_a_large_run_is_drawn_in_litres() -> None:
    run = potsim.distil(Plan((Ingredient("spirit", 60.0, 40.0),)))
    drawn = figure_of_run(run)
    assert drawn.axes[0].get_xlabel() == "distillate collected, L at 20 °C"
    assert f"stop at {run.stop.collected_l:.1f} L, minute" in " ".join(t.get_text() for t in words(drawn))


def test_every_axis_has_its_unit() -> None:
    ax = plot_run(potsim.distil(potsim.example_plan()))
    assert ax.get_xlabel() == "distillate collected, mL at 20 °C"
    assert ax.get_ylabel() == "% vol, and % of the alcohol"


def test_lines_differ_by_more_than_colour() -> None:
    ax = plot_run(potsim.distil(potsim.example_plan()))
    dashes = [line._unscaled_dash_pattern for line in ax.lines[:4]]
    assert len({str(d) for d in dashes}) == 4


def test_the_curve_is_the_run() -> None:
    run = potsim.distil(potsim.example_plan())
    stream = plot_run(run).lines[0]
    assert list(stream.get_ydata()) == list(run.stream_abv)
    assert list(stream.get_xdata()) == list(1000.0 * run.collected_l)


def test_labels_move_as_little_as_it_takes() -> None:
    assert ink.spread([10.0, 50.0], 5.0, 0.0, 100.0) == [10.0, 50.0]
    placed = ink.spread([99.0, 98.0, 97.0], 5.0, 0.0, 100.0)
    assert placed == [100.0, 95.0, 90.0]


def test_a_bill_shows_one_ribbon_for_each_line() -> None:
    figure = figure_of_run(potsim.distil(plan("fourteen")))
    assert len(figure.axes[2].collections) == 14
    assert "cloudy from" in " ".join(t.get_text() for t in words(figure))
