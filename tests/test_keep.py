"""Jars poured together, left-overs of an earlier run, and what small stills are known to give."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused

import potsim
from potsim.interfaces import quantities
from potsim.liquid import strength
from potsim.planning.charge import between, blend, resolve
from potsim.planning.jars import Jar, lay
from potsim.planning.plan import Ingredient, JarStock, LeftOver, Plan
from potsim.planning.proofing import pool, proof_down
from potsim.planning.run import distil
from potsim.planning.stops import CutPoints, cut_points
from potsim.still.course import Course, course
from potsim.still.still import Conditions, Still


@cache
def run_of(volume_l: float = 2.4, abv: float = 38.0, neck_loss: float = 0.6) -> Course:
    charge = blend([Ingredient("spirit", volume_l, abv)])
    power = 300.0 * volume_l
    return course(
        charge.mol,
        charge.x,
        Still(volume_l / 0.7, Conditions(101325.0, power, neck_loss, 1.0, 293.15), power),
    )


@cache
def points_of(run: Course, heads_l: float = 0.03, tails_abv: float = 62.0) -> CutPoints:
    tails, stop = (run.first(lambda s, abv=abv: abv - s.stream_abv) for abv in (tails_abv, 55.0))
    assert tails is not None
    assert stop is not None
    return cut_points(run, heads_l, tails, stop)


@cache
def jars_of(size_l: float = 0.06) -> tuple[Jar, ...]:
    return lay(run_of(), points_of(run_of()), [JarStock(size_l)]).jars


@given(numbers=st.lists(st.integers(1, 19), min_size=1, max_size=19, unique=True), seed=st.randoms())
@settings(max_examples=40, deadline=None)
def test_pooling_does_not_depend_on_the_order(numbers: list[int], seed: object) -> None:
    shuffled = list(numbers)
    seed.shuffle(shuffled)  # type: ignore[attr-defined]
    once, again = pool(jars_of(), numbers), pool(jars_of(), shuffled)
    assert once == again
    chosen = [jar for jar in jars_of() if jar.number in numbers]
    mixed = strength.mix([jar.volume_l for jar in chosen], [jar.abv for jar in chosen])
    assert once.volume_l == pytest.approx(mixed.volume_l, rel=1e-9)
    assert once.abv == pytest.approx(mixed.abv, abs=1e-7)
    assert once.mass_g == pytest.approx(1000.0 * mixed.mass_kg, rel=1e-9)
    assert once.ethanol_l == pytest.approx(sum(jar.ethanol_l for jar in chosen), rel=1e-9)
    assert once.volume_l <= sum(jar.volume_l for jar in chosen) * (1.0 + 1e-12)


@given(st.lists(st.floats(0.004, 2.0), min_size=1, max_size=3, unique=True))
@settings(max_examples=30, deadline=None)
def test_a_finer_row_never_changes_the_keep(sizes_l: list[float]) -> None:
    run, points = run_of(), points_of(run_of())
    whole = between(run, points.heads, points.keep_end)
    keep = pool(lay(run, points, [JarStock(size) for size in sizes_l]).jars)
    assert keep.volume_l == pytest.approx(whole.volume_l, rel=1e-11)
    assert keep.abv == pytest.approx(whole.abv, abs=1e-9)
    assert keep.mass_g == pytest.approx(whole.mass_g, rel=1e-9)


def test_by_default_the_keep_is_what_lies_between_the_cuts() -> None:
    assert pool(jars_of()).jars == tuple(jar.number for jar in jars_of() if jar.role == "keep")


def test_a_change_is_what_pooling_anew_would_show() -> None:
    jars = jars_of()
    keep = pool(jars, [2, 3, 5])
    assert [change.number for change in keep.changes] == [jar.number for jar in jars]
    for change in keep.changes:
        assert change.kept == (change.number in {2, 3, 5})
        other = pool(jars, sorted({2, 3, 5} ^ {change.number}))
        assert other.volume_l - keep.volume_l == pytest.approx(change.volume_l, abs=1e-12)
        assert other.abv - keep.abv == pytest.approx(change.abv, abs=1e-9)


def test_a_jar_that_is_the_whole_keep_cannot_be_dropped() -> None:
    keep = pool(jars_of(), [4])
    assert 4 not in {change.number for change in keep.changes}
    assert len(keep.changes) == len(jars_of()) - 1


def test_unknown_jars_are_refused_with_what_exists() -> None:
    last = len(jars_of())
    for number in (0, last + 1, -3):
        with refused("no_such_jar", "jars.keep", number, list(range(1, last + 1))):
            pool(jars_of(), [2, number])


def test_a_jar_named_twice_is_refused() -> None:
    with refused("jar_twice", "jars.keep", 3):
        pool(jars_of(), [3, 4, 3])
    with refused("quantity", "", "2-5,4"):
        quantities.numbers("2-5,4")


def test_no_jar_between_the_cuts_is_refused() -> None:
    heads_only = [jar for jar in jars_of() if jar.role == "heads"]
    with refused("no_jar_kept", "jars.keep"):
        pool(heads_only)


@dataclass(frozen=True)
class EarlierRun:
    jars: tuple[Jar, ...]


def test_left_over_jars_become_a_spirit() -> None:
    earlier = Plan((Ingredient("spirit", 2.4, 38.0),), title="Trial 1")
    seen: list[Plan] = []

    def distil(plan: Plan) -> EarlierRun:
        seen.append(plan)
        return EarlierRun(jars_of())

    water = Ingredient("water", 0.5)
    spirit, same = resolve((LeftOver("tails of trial 1", earlier, (1, 19, 18)), water), distil)
    assert same is water
    assert seen == [earlier]
    keep = pool(jars_of(), (1, 18, 19))
    assert spirit.name == "tails of trial 1"
    assert spirit.volume_l == pytest.approx(keep.volume_l, rel=1e-12)
    assert spirit.abv == pytest.approx(keep.abv, abs=1e-10)


def test_left_over_jars_that_do_not_exist_are_refused() -> None:
    earlier = Plan((Ingredient("spirit", 2.4, 38.0),), title="Trial 1")
    last = len(jars_of())
    with refused("no_such_jar", "charge.tails.jars", 77, list(range(1, last + 1))):
        resolve((LeftOver("tails", earlier, (1, 77)),), lambda _: EarlierRun(jars_of()))
    with refused("jar_twice", "charge.tails.jars", 2):
        resolve((LeftOver("tails", earlier, (2, 2)),), lambda _: EarlierRun(jars_of()))
    with refused("range", "charge.times", "0 times"):
        LeftOver("tails", earlier, (), 0.0)


def test_all_of_an_earlier_run_several_times_is_charged() -> None:
    earlier = Plan((Ingredient("wash", 4.0, 12.0),), title="Strip")
    made = distil(earlier)
    (part,) = resolve((LeftOver("strip", earlier, times=4.0),), distil)
    assert part.volume_l == pytest.approx(4.0 * made.stop.collected_l, rel=1e-9)
    assert part.abv == pytest.approx(made.stop.mean_abv, rel=1e-9)
    assert made.in_one_vessel
    assert "jars" not in str(made)


def test_practice_a_botanical_run_at_drinking_strength() -> None:
    """Common practice, no source: about 0.44 of the charge kept; proofs down to 42 %."""
    run = run_of(0.75, 40.0, 0.0)
    stop = run.first(lambda s: 60.0 - s.stream_abv)
    assert stop is not None
    keep = pool(lay(run, cut_points(run, 0.0, stop, stop)).jars)
    assert keep.volume_l == pytest.approx(0.34, abs=0.01)
    assert keep.abv == pytest.approx(73.6, abs=0.5)
    assert keep.volume_l / 0.75 == pytest.approx(0.44, abs=0.016)
    assert proof_down(keep.volume_l, keep.abv, 42.0).volume_l == pytest.approx(0.59, abs=0.01)


def test_the_pot_boils_where_its_strength_does_and_the_vapour_is_no_hotter() -> None:
    run = potsim.distil(potsim.example_plan())
    x = potsim.strength.x_from_abv(run.pot_abv)
    boils_k = potsim.bubble_point(x, run.setting.still.conditions.pressure_pa)[0]
    assert run.pot_c == pytest.approx(boils_k - 273.15, abs=1e-3)
    assert (run.vapour_c <= run.pot_c + 1e-6).all()
    assert 75.0 < run.vapour_c.min() < run.vapour_c.max() < 100.0
