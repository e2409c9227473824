"""Pictures: drawn on the axes given, every label clear of the others and inside the picture."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import warnings
from dataclasses import replace

import pytest
from matplotlib import pyplot as plt
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text
from refusals import refused

import potsim
from potsim.interfaces.plots import DARK, LIGHT, Ground, spread
from potsim.interfaces.plots.run import (
    figure_of_run,
    plot_lanes,
    plot_lines,
    plot_run,
)
from potsim.planning.lanes import lanes
from potsim.planning.plan import BotanicalDose, Cuts, Ingredient, JarPlan, Plan, Stop

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


def test_a_run_of_water_has_a_scale_of_strength() -> None:
    run = potsim.distil(Plan((Ingredient("water", 2.0, 0.0),), cuts=Cuts(stop=Stop(collected_l=0.7))))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert figure_of_run(run).axes[0].get_ylim() == (0.0, 5.0)


def test_a_large_run_is_drawn_in_litres() -> None:
    run = potsim.distil(Plan((Ingredient("spirit", 60.0, 40.0),)))
    drawn = figure_of_run(run)
    assert drawn.axes[0].get_xlabel() == "distillate collected, L at 20 °C"
    assert f"Stop at {run.stop.collected_l:.1f} L, minute" in " ".join(t.get_text() for t in words(drawn))


def test_every_axis_has_its_unit() -> None:
    ax = plot_run(potsim.distil(potsim.example_plan()))
    assert ax.get_xlabel() == "distillate collected, mL at 20 °C"
    assert ax.get_ylabel() == "stream, % vol"
    (upper,) = ax.child_axes
    upper_words = [label.get_text() for label in upper.get_xticklabels()]
    assert all("min" in word and "°C" in word for word in upper_words)


def test_lines_differ_by_more_than_colour() -> None:
    ax = plot_lines(potsim.distil(potsim.example_plan()), Figure().add_subplot())
    assert len({str(line._unscaled_dash_pattern) for line in ax.lines}) == len(ax.lines) == 3


def test_the_curve_is_the_run() -> None:
    run = potsim.distil(potsim.example_plan())
    stream = next(line for line in plot_run(run).lines if len(line.get_xdata()) > 10)
    assert list(stream.get_ydata()) == list(run.stream_abv)
    assert list(stream.get_xdata()) == list(1000.0 * run.collected_l)


def test_every_jar_is_a_slice_with_its_number() -> None:
    run = potsim.distil(plan("fourteen"))
    ax = plot_run(run)
    numbers = [text.get_text() for text in ax.texts]
    assert [str(jar.number) for jar in run.jars] == [n for n in numbers if n.isdigit()]
    assert any("heads end" in n for n in numbers)
    assert any("keep ends" in n for n in numbers)


@pytest.mark.parametrize("ground", [LIGHT, DARK])
def test_inks_stand_out_from_paper_and_slices_also_in_grey(ground: Ground) -> None:
    # Relative luminance and contrast of WCAG 2.1.
    def luminance(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(one: str, other: str) -> float:
        high, low = sorted((luminance(one), luminance(other)), reverse=True)
        return (high + 0.05) / (low + 0.05)

    assert min(contrast(ink, ground.paper) for ink in (ground.ink, ground.faint)) >= 4.5
    assert contrast(ground.ink, ground.tint) >= 4.5
    assert contrast(ground.deep, ground.paper) >= 3.0
    assert contrast(ground.deep, ground.tint) >= 3.0
    assert contrast(ground.hatch, ground.paper) >= 3.0


def test_lanes_are_on_one_scale_and_dark_where_they_mark() -> None:
    run = potsim.distil(plan("fourteen"))
    told = lanes(run.flavours)
    ax = plot_lanes(told, Figure().add_subplot())
    assert len(ax.collections) >= len(told.lanes) + sum(len(lane.stretches) for lane in told.lanes)
    texts = {text.get_text() for text in ax.texts}
    assert {lane.group.capitalize() for lane in told.lanes} <= texts


def test_labels_move_as_little_as_it_takes() -> None:
    assert spread([10.0, 50.0], 5.0, 0.0, 100.0) == [10.0, 50.0]
    placed = spread([99.0, 98.0, 97.0], 5.0, 0.0, 100.0)
    assert placed == [100.0, 95.0, 90.0]


def test_words_under_the_picture_say_who_leads() -> None:
    said = " ".join(figure_of_run(potsim.distil(plan("fourteen"))).get_supxlabel().split())
    assert said.startswith("By size ")
    assert "leads" in said


def test_two_runs_on_one_axes_are_told_apart() -> None:
    run = potsim.distil(potsim.example_plan())
    ax = run.plot(label="one")
    assert run.plot(ax, label="other") is ax
    lines = [line for line in ax.lines if len(line.get_xdata()) > 1]
    assert [line.get_label() for line in lines] == ["one", "other"]
    assert lines[0].get_color() != lines[1].get_color()
    assert str(lines[0]._unscaled_dash_pattern) != str(lines[1]._unscaled_dash_pattern)
    assert ax.get_legend() is not None
    (own,) = run.plot(color="red", label="mine").lines[:1]
    assert own.get_color() == "red"
    plt.close("all")


def test_a_plot_takes_paper_and_ink_from_the_style() -> None:
    run = potsim.distil(potsim.example_plan())
    with plt.style.context("dark_background"):
        ax = run.plot()
        face = run.figure().get_facecolor()
    assert to_hex(ax.yaxis.label.get_color()) == "#ffffff"
    assert to_hex(face) == "#000000"
    plt.close("all")


def test_contours_over_two_numbers() -> None:
    table = potsim.study(
        potsim.example_plan(), {"charge.abv": [30.0, 40.0, 80.0], "still.power": [500.0, 900.0]}
    )
    ax = potsim.contours(table, "keep.abv")
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("charge.abv, % vol", "still.power, W")
    with refused("unknown_name", "", "keep.avb"):
        potsim.contours(table, "keep.avb")
    with refused("no_surface"):
        potsim.contours(table[table["still.power"] == 500.0], "keep.abv")
    plt.close("all")


def test_nothing_but_a_plot_loads_pyplot() -> None:
    program = (
        "import sys, potsim; run = potsim.distil(potsim.example_plan()); run.to_dict(); str(run);"
        " run.figure(); run._repr_html_(); assert 'matplotlib.pyplot' not in sys.modules;"
        " run.plot(); assert 'matplotlib.pyplot' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True, env={**os.environ, "MPLBACKEND": "Agg"})
