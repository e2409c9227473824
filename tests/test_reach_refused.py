"""Questions asked backwards that have no answer: what is said, and what is possible."""

from __future__ import annotations

from dataclasses import replace

import pytest

import potsim
from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.planning.plan import Bottling, Cuts, Ingredient, Plan
from potsim.planning.reach import reach
from potsim.planning.sweep import outcome

ASKED = 1e-3  # relative, to which an answer gives what was asked


def refused(plan: Plan, kind: type[Exception] = RequestError, **asked: object) -> str:
    with pytest.raises(kind) as caught:
        reach(plan, **asked)  # type: ignore[arg-type]
    return str(caught.value)


def test_one_question_at_a_time(example_plan: Plan) -> None:
    ask = " Ask for one: bottles, a keep (its volume, its strength or both), or a share to recover."
    assert refused(example_plan) == f"Nothing is asked for.{ask}"
    assert refused(example_plan, bottles=6, recover=0.8) == f"Two things are asked for.{ask}"
    assert refused(example_plan, bottles=6, keep_l=1.0) == f"Two things are asked for.{ask}"
    said = refused(example_plan, UnknownNameError, bottles=6, by="strenght")
    assert said == "Unknown way to get a volume 'strenght'. Did you mean 'strength'?"


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
    assert refused(replace(example_plan, bottling=Bottling(42.0)), bottles=6) == (
        "bottling.bottle is not given: how much 6 bottles hold is open. "
        "Give the bottling strength and the bottle."
    )
    assert "bottling.abv is not given" in refused(
        replace(example_plan, bottling=Bottling(None, 0.35)), bottles=6
    )
    assert refused(example_plan, bottles=2.5).startswith("2.5 bottles are not a whole number.")
    strong = replace(example_plan, bottling=Bottling(79.0, 0.35))
    assert "bottling.abv is 79 % vol; allowed is at most 73.4 % vol" in refused(strong, bottles=6)


def test_too_strong_and_too_weak_say_what_is_possible(example_plan: Plan) -> None:
    run = potsim.distil(example_plan)
    strongest = run.at(collected_l=0.03).stream_abv
    said = refused(example_plan, keep_abv=82.0)
    told = float(said.partition("this charge has ")[2].split(" ")[0])
    assert strongest - 0.011 < told <= strongest
    assert said.endswith(
        "at the first drop after the heads. Let the charge be stronger, take less power, or ask for less."
    )
    assert reach(example_plan, keep_abv=told - 0.1).run.keep.abv == pytest.approx(told - 0.1, rel=ASKED)
    said = refused(example_plan, keep_abv=40.0)
    assert "the weakest that comes of this charge has 46.5 % vol; the least level" in said
    assert reach(example_plan, keep_abv=46.6).run.keep.abv == pytest.approx(46.6, rel=ASKED)
    dry = replace(example_plan, still=replace(example_plan.still, min_level_l=None))
    assert "% vol; the pot is then exhausted." in refused(dry, keep_abv=30.0)


def test_more_alcohol_than_comes_over(example_plan: Plan) -> None:
    said = refused(example_plan, recover=0.99)
    assert said == (
        "A keep with 99 % of the alcohol is out of reach: the most that comes of this charge is 97.34 %; "
        "the least level of the pot ends the run there. "
        "Ask for less, take less heads, or lower still.min_level."
    )
    assert outcome(reach(example_plan, recover=0.9734).run).kept == pytest.approx(0.9734, rel=ASKED)


def test_more_runs_than_anyone_would_make(example_plan: Plan) -> None:
    said = refused(example_plan, bottles=10_000)
    assert said.startswith("10000 bottles of 350 mL at 42 % vol would take 1665 runs; allowed are 100.")
    assert "Three quarters of the pot give 2.17 L." in said


def test_volumes_out_of_reach_of_letting_down(bare: Plan) -> None:
    said = refused(bare, keep_l=0.3, keep_abv=72.0, by="strength")
    least, most = (float(word) for word in said.partition("give ")[2].split(" L")[0].split(" to "))
    assert "a keep of 300 mL at 72 % vol is out of reach by letting the charge down" in said
    assert 0.9 < least < most < 1.3
    inside = 0.5 * (least + most)
    found = reach(bare, keep_l=inside, keep_abv=72.0, by="strength")
    assert inside * (1.0 - ASKED) <= found.run.keep.volume_l <= 1.05 * inside
    tiny = replace(bare, still=replace(bare.still, capacity_l=1.0, min_level_l=None))
    assert "no charge of these spirits fits the pot" in refused(tiny, keep_l=0.3, by="strength")


def test_nothing_to_ask_of_water_or_of_heads_alone(bare: Plan) -> None:
    assert "The charge holds no alcohol." in refused(Plan((Ingredient("water", 2.0),)), keep_abv=40.0)
    greedy = replace(bare, cuts=Cuts(heads_l=2.2))
    assert refused(greedy, keep_abv=60.0).startswith("cuts.heads is 2.2 L, and no more comes over.")
