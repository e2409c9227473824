"""Jars along a run: they fill, they add up, and they end at the cuts."""

from __future__ import annotations

import math
from collections import Counter
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.planning.charge import amounts, between, blend
from potsim.planning.jars import KITCHEN_L, TOO_SMALL, Jar, Row, emptied, lay, wanted_sizes, working_jar
from potsim.planning.plan import Ingredient, JarStock
from potsim.planning.stops import CutPoints, cut_points
from potsim.still.course import EXHAUSTED, Course, course
from potsim.still.still import Conditions, PowerChange, Still


@cache
def run_of(
    volume_l: float = 2.4, abv: float = 38.0, power_w: float = 700.0, steps: tuple[PowerChange, ...] = ()
) -> Course:
    charge = blend([Ingredient("spirit", volume_l, abv)])
    conditions = Conditions(101325.0, power_w, 0.6, 1.0, 293.15)
    return course(charge.mol, charge.x, Still(volume_l / 0.7, conditions, power_w, power_changes=steps))


def falls_to(run: Course, abv: float) -> float:
    there = run.first(lambda s: abv - s.stream_abv)
    assert there is not None
    return there


@cache
def points_of(
    run: Course, heads_l: float = 0.03, tails_abv: float = 62.0, stop_abv: float = 55.0
) -> CutPoints:
    return cut_points(run, heads_l, falls_to(run, tails_abv), falls_to(run, stop_abv))


def stock(*sizes_ml: float) -> tuple[JarStock, ...]:
    return tuple(JarStock(size / 1000.0) for size in sizes_ml)


def assert_sound(row: Row, run: Course, points: CutPoints) -> None:
    """What must hold of any row."""
    whole = between(run, 0.0, points.end)
    parts = [jar.portion for jar in row.jars] + [row.left_over]
    assert sum(p.ethanol_mol for p in parts) == pytest.approx(whole.ethanol_mol, rel=1e-12)
    assert sum(p.water_mol for p in parts) == pytest.approx(whole.water_mol, rel=1e-12)
    grams = sum(jar.mass_g for jar in row.jars) + row.left_over.mass_g
    assert grams == pytest.approx(whole.mass_g, rel=1e-10)
    assert [jar.number for jar in row.jars] == list(range(1, len(row.jars) + 1))
    assert row.jars[0].from_l == 0.0
    for before, after in pairwise(row.jars):
        assert before.to_l == after.from_l
        assert before.end_depletion == after.start_depletion
        assert before.full_min < after.full_min
        if before.role == after.role:
            assert before.volume_l == pytest.approx(before.size_l, rel=1e-9)
    ends = [before.number for before, after in pairwise(row.jars) if before.role != after.role]
    ends.append(len(row.jars))
    for jar in row.jars:
        # To the brim; before a cut a millionth may go on top, where jars come out even.
        assert 0.0 < jar.volume_l <= jar.size_l * (1.0 + (1e-6 if jar.number in ends else 1e-9))
        assert jar.volume_l >= (jar.to_l - jar.from_l) * (1.0 - 1e-9)
        assert jar.end_abv - 1e-9 <= jar.abv <= jar.start_abv + 1e-9
        assert jar.portion.volume_l == pytest.approx(jar.volume_l, rel=1e-12)
    roles = [jar.role for jar in row.jars]
    assert roles == sorted(roles, key=["heads", "keep", "tails"].index)


SIZES = st.lists(
    st.tuples(
        st.sampled_from([20.0, 30.0, 60.0, 75.0, 110.0, 250.0, 700.0, 3000.0]), st.none() | st.integers(1, 9)
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda pair: pair[0],
)


@settings(max_examples=50, deadline=None)
@given(
    sizes=SIZES,
    heads_l=st.sampled_from([0.0, 0.02, 0.03, 0.06, 0.41]),
    tails_abv=st.sampled_from([55.0, 62.0, 74.0]),
    stepped=st.booleans(),
)
@example(sizes=[(20.0, None), (30.0, None)], heads_l=0.41, tails_abv=55.0, stepped=False)
@example(sizes=[(20.0, None)], heads_l=0.06, tails_abv=55.0, stepped=False)  # three, but for a sliver
def test_any_row_adds_up(
    sizes: list[tuple[float, int | None]], heads_l: float, tails_abv: float, stepped: bool
) -> None:
    run = run_of(steps=(PowerChange(0.5, 450.0),) if stepped else ())
    points = points_of(run, heads_l, tails_abv)
    owned = [JarStock(size / 1000.0, count) for size, count in sizes]
    row = lay(run, points, owned)
    whole = between(run, 0.0, points.end)
    parts = [jar.portion for jar in row.jars] + [row.left_over]
    assert sum(p.ethanol_mol for p in parts) == pytest.approx(whole.ethanol_mol, rel=1e-12)
    if not stepped:  # the stream may rise where the power falls
        assert_sound(row, run, points)
    for jar_stock in owned:
        used = sum(jar.size_l == jar_stock.size_l for jar in row.jars)
        assert jar_stock.count is None or used <= jar_stock.count
    if any(jar_stock.count is None for jar_stock in owned):
        assert row.left_over.ethanol_mol == 0.0
    elif row.left_over.ethanol_mol > 0.0:
        assert len(row.jars) == sum(jar_stock.count or 0 for jar_stock in owned)
        assert row.notes[0].kind == "jars_too_few"


def test_jars_fill_to_their_size_by_their_own_volume() -> None:
    run = run_of(steps=(PowerChange(0.31, 450.0),))
    row = lay(run, points_of(run, 0.0), stock(60))
    full = [jar for jar in row.jars if jar.role == "keep"][:-1]
    assert np.array([jar.volume_l for jar in full]) == pytest.approx(0.06, rel=1e-7)
    assert all(jar.to_l - jar.from_l < jar.volume_l for jar in full[1:])  # contraction when pooled


def test_every_cut_ends_a_jar() -> None:
    run = run_of()
    points = points_of(run)
    row = lay(run, points, stock(60))
    heads = [jar for jar in row.jars if jar.role == "heads"]
    keep = [jar for jar in row.jars if jar.role == "keep"]
    assert len(heads) == 1
    assert heads[0].volume_l == pytest.approx(0.03, rel=1e-9)
    assert heads[0].to_l == pytest.approx(0.03, rel=1e-9)
    assert keep[-1].end_abv == pytest.approx(62.0, abs=1e-6)
    assert row.jars[-1].end_abv == pytest.approx(55.0, abs=1e-6)
    (change,) = (note for note in row.notes if (note.kind, note.subject) == ("jar_at_cut", "jar 1"))
    assert (change.values["number"], change.values["cut"], change.values["size_l"]) == (1, "heads", 0.06)
    assert change.values["volume_l"] == pytest.approx(0.03)


def test_a_jar_tells_its_place_as_the_course_does() -> None:
    run = run_of()
    jar = lay(run, points_of(run), stock(60)).jars[4]
    end = run.at(np.array([jar.end_depletion]))
    assert jar.to_l == pytest.approx(float(end.collected_l[0]), rel=1e-12)
    assert jar.vapour_c == pytest.approx(float(end.vapour_k[0]) - 273.15, abs=1e-9)
    assert jar.full_min == pytest.approx(float(end.elapsed_s[0]) / 60.0, rel=1e-12)
    contents = between(run, jar.start_depletion, jar.end_depletion)
    assert jar.abv == pytest.approx(contents.abv, abs=1e-9)
    assert jar.mass_g == pytest.approx(contents.mass_g, rel=1e-9)
    assert jar.ethanol_l == pytest.approx(contents.ethanol_l, rel=1e-9)


@pytest.mark.parametrize("heads_l", [0.4, 0.75])
def test_large_heads_take_several_jars(heads_l: float) -> None:
    run = run_of()
    for sizes in (stock(60), stock(125, 20), ()):
        row = lay(run, points_of(run, heads_l), sizes)
        assert_sound(row, run, points_of(run, heads_l))
        assert sum(jar.role == "heads" for jar in row.jars) >= (3 if sizes else 1)


def test_too_few_jars_say_what_is_left_over_and_from_where() -> None:
    run = run_of()
    row = lay(run, points_of(run), [JarStock(0.1, 3)])
    assert len(row.jars) == 3
    assert row.jars[-1].to_l == pytest.approx(0.23, abs=1e-4)
    left_ml, minute = 1000.0 * row.left_over.volume_l, row.jars[-1].full_min
    few = row.notes[0]
    assert (few.kind, few.severity, few.values["number"]) == ("jars_too_few", "caution", 3)
    assert few.values["full_l"] == pytest.approx(0.23, abs=1e-4)
    assert (few.values["full_min"], few.values["left_over_l"]) == (minute, left_ml / 1000.0)
    whole = between(run, 0.0, points_of(run).end).volume_l
    assert left_ml == pytest.approx(1000.0 * whole - 230.0, abs=2.0)


def test_of_several_sizes_the_small_ones_go_near_the_cuts() -> None:
    run = run_of()
    row = lay(run, points_of(run), stock(60, 125))
    keep = [jar for jar in row.jars if jar.role == "keep"]
    sizes = [jar.size_l for jar in keep]
    assert sizes[0] == sizes[-1] == 0.06
    assert max(sizes) == 0.125
    assert sizes[len(sizes) // 2] == 0.125


def test_few_small_jars_are_spared_for_both_cuts() -> None:
    run = run_of()
    row = lay(run, points_of(run, 0.0, 55.0), [JarStock(0.06, 4), JarStock(0.125)])
    sizes = [jar.size_l for jar in row.jars]
    assert sizes.count(0.06) <= 4
    assert sizes[0] == sizes[-1] == 0.06


def test_at_stake_is_the_jar_of_the_keep_with_most_alcohol() -> None:
    run = run_of()
    row = lay(run, points_of(run))
    keep = [jar for jar in row.jars if jar.role == "keep"]
    assert row.at_stake is not None
    worst = row.jars[row.at_stake.number - 1]
    assert worst.role == "keep"
    assert worst.ethanol_l == max(jar.ethanol_l for jar in keep)
    assert row.at_stake.volume_l == worst.volume_l
    assert row.at_stake.share == pytest.approx(worst.ethanol_l / sum(jar.ethanol_l for jar in keep), rel=1e-9)


def test_no_kept_jar_nothing_at_stake() -> None:
    run = run_of()
    assert lay(run, points_of(run), [JarStock(0.03, 1)]).at_stake is None


def test_small_jars_cannot_be_read_with_a_hydrometer() -> None:
    run = run_of()
    rows = {ml: lay(run, points_of(run), stock(ml)) for ml in (30, 60, 125)}
    told = {ml: [n.values["size_l"] for n in row.notes if n.kind == TOO_SMALL] for ml, row in rows.items()}
    assert told == {30: [0.03], 60: [0.06], 125: []}


def test_more_than_500_jars_are_refused() -> None:
    run = run_of()
    with refused("too_many_jars", "jars.sizes", 0.001):
        lay(run, points_of(run), stock(1))
    row = lay(run, points_of(run), stock(2.2))
    assert 480 < len(row.jars) <= 500
    assert_sound(row, run, points_of(run))


@pytest.mark.parametrize("size_l", [0.0, 1e-12])
def test_a_jar_of_less_than_two_drops_is_refused(size_l: float) -> None:
    with refused("range", "jars.sizes", f"{size_l:g} L", "at least 0.0001 and"):
        JarStock(size_l)


def test_a_run_of_water_has_jars_too() -> None:
    run = run_of(2.4, 0.0)
    points = cut_points(run, 0.0, 0.2, 0.2)
    row = lay(run, points)
    assert sum(jar.volume_l for jar in row.jars) == pytest.approx(between(run, 0.0, 0.2).volume_l, rel=1e-9)
    assert row.at_stake is not None
    assert {jar.abv for jar in row.jars} == {0.0}


def test_a_run_to_exhaustion_has_jars_too() -> None:
    run = run_of()
    points = CutPoints(0.0, falls_to(run, 55.0), EXHAUSTED)
    assert_sound(lay(run, points, stock(60)), run, points)


def keep_sizes(row: Row) -> list[Jar]:
    return [jar for jar in row.jars if jar.role == "keep"]


@pytest.mark.parametrize(
    ("volume_l", "abv", "heads_l"), [(20.0, 40.0, 0.1), (25.0, 30.0, 0.2), (60.0, 35.0, 0.5)]
)
def test_a_proposed_row_is_small_at_the_cuts_and_large_between(
    volume_l: float, abv: float, heads_l: float
) -> None:
    run = run_of(volume_l, abv, 3000.0)
    points = points_of(run, heads_l)
    row = lay(run, points)
    assert row.proposed
    assert_sound(row, run, points)
    assert {jar.size_l for jar in row.jars} <= set(KITCHEN_L)
    sizes = [jar.size_l for jar in row.jars if jar.role == "keep"]
    assert max(sizes[0], sizes[-1]) < max(sizes)
    assert row.notes[0].kind == "jars_proposed"
    counted = [(jar["size_l"], jar["count"]) for jar in row.notes[0].values["row"]]
    assert counted == sorted(Counter(jar.size_l for jar in row.jars).items())


@pytest.mark.parametrize("volume_l", [20.0, 22.0, 25.0])
def test_practice_ten_to_twenty_jars_for_20_to_25_l(volume_l: float) -> None:
    """Common practice, no source: what distillers lay out for a charge of that size."""
    run = run_of(volume_l, 30.0, 3000.0)
    assert 10 <= len(lay(run, points_of(run, 0.1)).jars) <= 20


@pytest.mark.parametrize("volume_l", [0.75, 2.4, 300.0, 3000.0])
def test_a_proposal_scales_with_the_run(volume_l: float) -> None:
    run = run_of(volume_l, 38.0, 300.0 * volume_l)
    row = lay(run, points_of(run, volume_l / 100.0))
    assert 5 <= len(row.jars) <= 24
    assert row.at_stake is not None
    assert row.at_stake.share < 1.0 / 6.0
    assert_sound(row, run, points_of(run, volume_l / 100.0))


def test_amounts_follow_the_course_to_a_billionth() -> None:
    run = run_of(steps=(PowerChange(0.31, 450.0), PowerChange(0.7, 900.0)))
    end = falls_to(run, 50.0)
    curve = amounts(run, end)
    s = np.linspace(0.0, end, 1001)
    states = run.at(s)
    assert curve.ethanol(states.over_mol) == pytest.approx(states.over_ethanol_mol, abs=2e-9 * run.charge_mol)
    assert curve.depletion(states.over_mol) == pytest.approx(s, abs=1e-12)
    wanted = np.array([0.0, 0.001, 0.31, 0.5, 0.9])
    found = run.at(curve.depletion(curve.at_collected_l(wanted)))
    assert found.collected_l == pytest.approx(wanted, abs=1e-9)


def test_a_working_jar_costs_no_more_than_allowed() -> None:
    run = run_of()
    points = points_of(run)
    jar = working_jar(run, points.heads, points.keep_end, minutes=1.0, most_lost=0.1)
    keep_l = between(run, points.heads, points.keep_end).volume_l
    assert jar.size_l in KITCHEN_L
    assert jar.size_l <= jar.largest_l
    assert jar.lost_share <= 0.1
    assert jar.lost_l == pytest.approx(jar.lost_share * keep_l, rel=1e-12)
    assert (jar.emptied - 1) * jar.size_l < keep_l <= jar.emptied * jar.size_l
    assert jar.lost_l == pytest.approx(jar.size_l * (1.0 + 1.0 / jar.every_min), rel=1e-9)
    closer = working_jar(run, points.heads, points.keep_end, minutes=0.2, most_lost=0.1)
    assert closer.largest_l > jar.largest_l


def test_the_working_jar_fills_at_the_fastest_flow_of_the_course() -> None:
    run = run_of()
    points = points_of(run)
    jar = working_jar(run, points.heads, points.keep_end)
    s = np.linspace(points.heads, points.keep_end, 401)
    states = run.at(s)
    flow = np.diff(states.collected_l) / np.diff(states.elapsed_s / 60.0)
    assert jar.size_l / jar.every_min == pytest.approx(float(flow.max()), rel=2e-3)


def test_too_long_a_distraction_is_refused() -> None:
    run = run_of()
    points = points_of(run)
    with refused("away_too_long", "", 30.0):
        working_jar(run, points.heads, points.keep_end, minutes=30.0, most_lost=0.05)
    with refused("range", "most_lost", "0 of the whole (0 to 1)"):
        working_jar(run, points.heads, points.keep_end, most_lost=0.0)


@pytest.mark.parametrize("most_lost", [1.0, 0.3, 0.1, 0.02, 0.004])
def test_a_working_jar_is_emptied_as_often_as_the_keep_fills_it(most_lost: float) -> None:
    run = run_of()
    points = points_of(run)
    jar = working_jar(run, points.heads, points.keep_end, minutes=0.0, most_lost=most_lost)
    keep_l = between(run, points.heads, points.keep_end).volume_l
    assert (jar.emptied - 1) * jar.size_l < keep_l <= jar.emptied * jar.size_l


@pytest.mark.parametrize("times", [1000, 2000])
def test_a_jar_below_every_kitchen_size_goes_into_the_keep_a_whole_number_of_times(times: int) -> None:
    run = run_of()
    points = points_of(run)
    jar = working_jar(run, points.heads, points.keep_end, minutes=0.0, most_lost=1.0 / times)
    assert jar.size_l < min(KITCHEN_L)
    assert jar.emptied == times


@pytest.mark.parametrize(
    ("whole_l", "jars"), [(0.05, 6.0), (0.3, 6.0), (0.6, 10.0), (0.72, 12.0), (0.88, 14.0)]
)
def test_jars_wanted_add_up_to_six_to_fourteen_along_a_run(whole_l: float, jars: float) -> None:
    """Our choice: one for each 60 mL, 6 to 14 of them; each place wants one over so many jars a litre."""
    run = run_of()
    curve = amounts(run, falls_to(run, 50.0))
    wanted = wanted_sizes(curve, [0.03, 0.03 + 0.8 * whole_l, 0.03 + whole_l])
    assert np.trapezoid(1.0 / np.array(wanted.size_l), wanted.stream_l) == pytest.approx(jars, rel=1e-9)


def test_jars_that_float_no_hydrometer_are_told_of() -> None:
    """Below 100 mL it may not float: common practice, no source."""
    run = run_of(24.0, 38.0, 3000.0)
    points = points_of(run, 0.3)
    told = {ml: len(lay(run, points, stock(ml, 1000.0)).notes) for ml in (95.0, 99.9, 100.0, 105.0)}
    assert told[95.0] == told[99.9] == told[100.0] + 1 == told[105.0] + 1


def test_a_working_jar_of_a_plan_says_how_often_and_what_is_at_risk() -> None:
    run = run_of()
    points = points_of(run)
    jar = emptied(run, points.heads, points.keep_end, 0.06)
    keep_l = between(run, points.heads, points.keep_end).volume_l
    assert jar.times == math.ceil(keep_l / 0.06)
    assert 0.0 < jar.every_min <= jar.slowest_min
    # filled at its fastest all along, the keep would be done sooner than it is
    span_min = float(np.ptp(run.at(np.array([points.heads, points.keep_end])).elapsed_s)) / 60.0
    assert (jar.times - 1) * jar.every_min <= span_min <= jar.times * jar.slowest_min
    for minutes, lost, share in jar.away:
        assert lost == pytest.approx(min(0.06 + 0.06 / jar.every_min * minutes, keep_l))
        assert share == pytest.approx(lost / keep_l)
