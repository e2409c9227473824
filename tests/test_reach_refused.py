"""Questions asked backwards that have no answer: what is said, and what is possible."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from refusals import refused

import potsim
from potsim.errors import PotsimError, RangeError
from potsim.planning.frames import outcome
from potsim.planning.plan import Bottling, Cuts, Ingredient, Plan
from potsim.planning.reach import reach

ASKED = 1e-3  # relative, to which an answer gives what was asked


def told(plan: Plan, kind: str, path: str = "", **asked: Any) -> PotsimError:
    """Hold that what is asked is refused; return the refusal."""
    with refused(kind, path) as caught:
        reach(plan, **asked)
    return caught.value


def test_one_question_at_a_time(example_plan: Plan) -> None:
    assert told(example_plan, "one_question").given == 0
    assert told(example_plan, "one_question", bottles=6, recover=0.8).given == 2
    assert told(example_plan, "one_question", bottles=6, keep_l=1.0).given == 2
    with refused("unknown_name", "", "strenght", None, "strength"):
        reach(example_plan, bottles=6, by="strenght")


@pytest.mark.parametrize(
    ("asked", "argument"),
    [
        ({"bottles": 0}, "bottles"),
        ({"bottles": -3}, "bottles"),
        ({"keep_l": 0.0}, "keep_l"),
        ({"keep_l": float("nan")}, "keep_l"),
        ({"keep_abv": 0.0}, "keep_abv"),
        ({"keep_abv": 98.0}, "keep_abv"),
        ({"recover": 0.0}, "recover"),
        ({"recover": 80.0}, "recover"),
    ],
)
def test_numbers_out_of_range(example_plan: Plan, asked, argument: str) -> None:
    with pytest.raises(RangeError) as caught:
        reach(example_plan, **asked)
    assert caught.value.argument == argument


def test_bottles_need_a_size_and_a_strength(example_plan: Plan) -> None:
    told(replace(example_plan, bottling=Bottling(42.0)), "no_bottle", "bottling.bottle", bottles=6)
    told(replace(example_plan, bottling=Bottling(None, 0.35)), "no_bottle", "bottling.abv", bottles=6)
    told(example_plan, "wrong_type", "bottles", bottles=2.5)
    strong = replace(example_plan, bottling=Bottling(79.0, 0.35))
    with refused("too_strong", "bottling.abv", 79.0):
        reach(strong, bottles=6)


def test_too_strong_and_too_weak_say_what_is_possible(example_plan: Plan) -> None:
    run = potsim.distil(example_plan)
    strongest = run.at(collected_l=0.03).stream_abv
    most = told(example_plan, "keep_too_strong", keep_abv=82.0).allowed
    assert most == pytest.approx(strongest, abs=1e-6)
    assert reach(example_plan, keep_abv=most - 0.1).run.keep.abv == pytest.approx(most - 0.1, rel=ASKED)
    weak = told(example_plan, "keep_too_weak", keep_abv=40.0)
    assert (weak.allowed, weak.values) == (pytest.approx(46.5, abs=0.01), {"by_level": True})
    assert reach(example_plan, keep_abv=46.6).run.keep.abv == pytest.approx(46.6, rel=ASKED)
    dry = replace(example_plan, still=replace(example_plan.still, min_level_l=None))
    assert told(dry, "keep_too_weak", keep_abv=30.0).values == {"by_level": False}


def test_more_alcohol_than_comes_over(example_plan: Plan) -> None:
    most = told(example_plan, "share_too_large", recover=0.99).allowed
    assert most == pytest.approx(0.9734, abs=1e-4)
    assert outcome(reach(example_plan, recover=0.9734).run).kept == pytest.approx(0.9734, rel=ASKED)


def test_more_runs_than_anyone_would_make(example_plan: Plan) -> None:
    many = told(example_plan, "too_many_runs", bottles=10_000)
    assert (many.given, many.allowed) == (1665, 100)
    assert many.values["most_l"] == pytest.approx(2.17, abs=0.005)


def test_volumes_out_of_reach_of_letting_down(bare: Plan) -> None:
    least, most = told(bare, "not_by_strength", keep_l=0.3, keep_abv=72.0, by="strength").allowed
    assert 0.9 < least < most < 1.3
    inside = 0.5 * (least + most)
    found = reach(bare, keep_l=inside, keep_abv=72.0, by="strength")
    assert inside * (1.0 - ASKED) <= found.run.keep.volume_l <= 1.05 * inside
    tiny = replace(bare, still=replace(bare.still, capacity_l=1.0, min_level_l=None))
    told(tiny, "no_charge_fits", keep_l=0.3, by="strength")


def test_nothing_to_ask_of_water_or_of_heads_alone(bare: Plan) -> None:
    told(Plan((Ingredient("water", 2.0),)), "no_alcohol", "charge.abv", keep_abv=40.0)
    greedy = replace(bare, cuts=Cuts(heads_l=2.2))
    told(greedy, "all_heads", "cuts.heads", keep_abv=60.0)
