"""Where the cuts lie, and what moving one costs."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from refusals import refused

from potsim.planning.charge import between, blend
from potsim.planning.plan import Ingredient
from potsim.planning.stops import CutPoints, CutTable, cut_points, cut_table
from potsim.still.course import Course, course
from potsim.still.still import Conditions, PowerChange, Still


@cache
def run_of(abv: float = 38.0, steps: tuple[PowerChange, ...] = ()) -> Course:
    charge = blend([Ingredient("spirit", 2.4, abv)])
    conditions = Conditions(101325.0, 700.0, 0.6, 1.0, 293.15)
    return course(charge.mol, charge.x, Still(4.0, conditions, 1200.0, power_changes=steps))


def falls_to(run: Course, abv: float) -> float:
    there = run.first(lambda s: abv - s.stream_abv)
    assert there is not None
    return there


@cache
def table_of(heads_l: float = 0.03) -> tuple[CutPoints, CutTable]:
    points = cut_points(run_of(), heads_l, falls_to(run_of(), 62.0), falls_to(run_of(), 55.0))
    return points, cut_table(run_of(), points)


def test_heads_are_cut_at_their_volume() -> None:
    points, _ = table_of()
    assert float(run_of().at(np.array([points.heads])).collected_l[0]) == pytest.approx(0.03, abs=1e-10)
    assert cut_points(run_of(), 0.0, 0.3, 0.4) == CutPoints(0.0, 0.3, 0.4)


def test_heads_that_leave_no_keep_are_refused() -> None:
    points, _ = table_of()
    with refused("all_heads", "cuts.heads", 1.2):
        cut_points(run_of(), 1.2, points.keep_end, points.end)


@pytest.mark.parametrize("places", [(0.3, 0.3, 0.4), (0.1, 0.5, 0.4), (-0.1, 0.2, 0.4)])
def test_cuts_out_of_order_are_refused(places: tuple[float, float, float]) -> None:
    with refused("no_keep", "cuts"):
        CutPoints(*places)


def test_the_plan_has_its_row_in_both_tables() -> None:
    points, table = table_of()
    keep = between(run_of(), points.heads, points.keep_end)
    charged_l = 2.4 * 0.38
    for rows in (table.keep_end, table.heads):
        (planned,) = (row for row in rows if row.planned)
        assert planned.keep_l == pytest.approx(keep.volume_l, rel=1e-12)
        assert planned.keep_abv == pytest.approx(keep.abv, abs=1e-9)
        assert planned.left_l == pytest.approx(charged_l - keep.ethanol_l, abs=1e-9)


def test_a_later_end_keeps_more_at_less_strength_and_takes_longer() -> None:
    _, table = table_of()
    assert [row.stream_abv for row in table.keep_end] == pytest.approx(
        [72.5, 70.0, 67.5, 65.0, 62.0, 60.0, 57.5, 55.0, 52.5], abs=1e-8
    )
    for before, after in pairwise(table.keep_end):
        assert after.keep_l > before.keep_l
        assert after.keep_abv < before.keep_abv
        assert after.left_l < before.left_l
        assert after.elapsed_min > before.elapsed_min
        assert after.heads_l == before.heads_l


def test_a_row_is_what_the_course_says_there() -> None:
    points, table = table_of()
    row = table.keep_end[-1]
    end = falls_to(run_of(), 52.5)
    keep = between(run_of(), points.heads, end)
    assert row.keep_l == pytest.approx(keep.volume_l, rel=1e-9)
    assert row.keep_abv == pytest.approx(keep.abv, abs=1e-8)
    there = run_of().at(np.array([end]))
    assert row.collected_l == pytest.approx(float(there.collected_l[0]), rel=1e-9)
    assert row.vapour_c == pytest.approx(float(there.vapour_k[0]) - 273.15, abs=1e-8)


def test_more_heads_cost_keep_and_alcohol() -> None:
    _, table = table_of()
    assert [row.heads_l for row in table.heads] == pytest.approx([0.0, 0.015, 0.03, 0.045, 0.06], abs=1e-9)
    for before, after in pairwise(table.heads):
        assert after.keep_l < before.keep_l
        assert after.left_l > before.left_l
        assert after.elapsed_min > before.elapsed_min


def test_without_heads_a_few_shares_of_the_charge_are_shown() -> None:
    _, table = table_of(0.0)
    assert [row.heads_l for row in table.heads] == pytest.approx([0.0, 0.024, 0.048, 0.072, 0.12], abs=1e-8)
    assert [row.planned for row in table.heads] == [True, False, False, False, False]


def test_ends_that_never_come_or_leave_no_keep_are_left_out() -> None:
    points, whole = table_of()
    short = cut_table(run_of(), points, upto=falls_to(run_of(), 54.0))
    assert [row.stream_abv for row in short.keep_end] == pytest.approx(
        [row.stream_abv for row in whole.keep_end[:-1]], abs=1e-8
    )
    early = cut_points(run_of(), 0.0, falls_to(run_of(), 79.0), falls_to(run_of(), 55.0))
    assert cut_table(run_of(), early).keep_end[0].planned


def test_a_run_of_water_has_a_table_too() -> None:
    table = cut_table(run_of(0.0), CutPoints(0.0, 0.2, 0.2))
    assert len(table.keep_end) == 1
    assert table.keep_end[0].keep_abv == 0.0
    assert table.keep_end[0].left_l == 0.0


def test_a_change_of_power_is_crossed() -> None:
    run = run_of(steps=(PowerChange(0.8, 500.0),))
    points = CutPoints(0.0, falls_to(run, 62.0), falls_to(run, 55.0))
    strengths = [row.stream_abv for row in cut_table(run, points).keep_end]
    assert strengths == pytest.approx([72.5, 70.0, 67.5, 65.0, 62.0, 60.0, 57.5, 55.0, 52.5], abs=1e-6)
