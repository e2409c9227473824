"""Questions asked backwards: what is found, run again, gives what was asked; what cannot be says why."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import potsim
from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.interfaces.planfile.text import load_plan, read_plan, write_plan
from potsim.planning.asking import aim
from potsim.planning.asking.amount import hot_l
from potsim.planning.asking.outcome import outcome
from potsim.planning.asking.reach import reach
from potsim.planning.asking.scaling import scaled
from potsim.planning.plan import Bottling, Cuts, Ingredient, JarPlan, JarStock, LeftOver, Plan, Stop, Stretch
from potsim.planning.still_plan import PowerStep, StillPlan

ASKED = 1e-3  # relative, to which an answer gives what was asked


@pytest.fixture(scope="module")
def example() -> Plan:
    return potsim.example_plan()


@pytest.fixture(scope="module")
def bare(example: Plan) -> Plan:
    return replace(example, botanicals=())


def again(found: potsim.planning.asking.reach.Reach) -> potsim.Run:
    """The run of the answer, by way of a plan file."""
    run = potsim.distil(read_plan(write_plan(found.plan)))
    assert run.keep.volume_l == pytest.approx(found.run.keep.volume_l, rel=1e-12)
    return run


# --- Bottles.


@pytest.mark.parametrize(("bottles", "runs"), [(1, 1), (3, 1), (6, 1), (7, 2), (20, 4)])
def test_bottles_are_filled_in_equal_runs_of_a_pot_three_quarters_full(example, bottles, runs) -> None:
    found = reach(example, bottles=bottles)
    run = again(found)
    assert found.runs == runs
    made = found.runs * run.proofing.volume_l
    assert bottles * 0.35 <= made <= bottles * 0.35 * (1.0 + ASKED)
    assert run.proofing.target_abv == 42.0
    assert hot_l(found.plan) <= 0.75 * 4.0 * (1.0 + 1e-5)
    assert not any("leaves room for foam" in text for text in run.cautions)
    if runs == 1:
        assert found.one_run_pot_l is None
        assert run.proofing.bottles == bottles
    else:
        assert hot_l(found.plan) * runs == pytest.approx(0.75 * found.one_run_pot_l)
        assert f"one of {found.one_run_pot_l:.3g} L does all in one run" in found.limits[0]


def test_a_charge_scales_with_all_that_belongs_to_it(example: Plan) -> None:
    found = reach(example, bottles=6)
    factor = found.plan.charge[0].volume_l / example.charge[0].volume_l
    for part, own in zip(found.plan.charge, example.charge, strict=True):
        assert part.volume_l == pytest.approx(factor * own.volume_l, rel=1e-5)
        assert part.abv == own.abv
    for dose, own in zip(found.plan.botanicals, example.botanicals, strict=True):
        assert (dose.mass_g or dose.pieces) == pytest.approx(factor * (own.mass_g or own.pieces), rel=1e-5)
    assert found.plan.cuts.heads_l == pytest.approx(factor * example.cuts.heads_l, rel=1e-5)
    assert found.plan.still == example.still
    assert found.plan.cuts.stop == example.cuts.stop
    assert found.run.charge.abv == pytest.approx(potsim.distil(example).charge.abv, abs=1e-3)
    assert found.spirit_l == pytest.approx(factor * 1.5, rel=1e-5)
    assert found.water_l == pytest.approx(factor * 0.9, rel=1e-5)
    assert found.spirit_abv == pytest.approx(60.4, abs=0.05)
    assert found.moved == (
        f"Everything in the pot is {factor:.4g} times as much as in the plan, botanicals and heads with it.",
    )


def test_a_pot_that_is_not_named_is_sized_to_the_charge(example: Plan) -> None:
    found = reach(replace(example, still=StillPlan(), botanicals=()), bottles=12)
    assert found.runs == 1
    assert found.run.setting.still.capacity_l == pytest.approx(found.run.charge.volume_l / 0.7)
    assert again(found).proofing.bottles == 12


# --- Keeps.


@pytest.mark.parametrize("keep_l", [0.05, 0.3, 0.9, 3.0])
@pytest.mark.parametrize("keep_abv", [68.0, 72.0, 76.0])
def test_a_keep_of_a_volume_and_a_strength(bare: Plan, keep_l: float, keep_abv: float) -> None:
    found = reach(bare, keep_l=keep_l, keep_abv=keep_abv)
    run = again(found)
    assert found.runs * run.keep.volume_l == pytest.approx(keep_l, rel=ASKED)
    assert run.keep.abv == pytest.approx(keep_abv, rel=ASKED)
    assert any(words.startswith("The run ends when the stream has fallen to") for words in found.moved)
    assert run.end.reason == "stream_abv"


def test_a_small_keep_is_taken_from_a_weaker_charge_rather_than_bare_the_element(example: Plan) -> None:
    found = reach(example, keep_l=0.3, keep_abv=72.0)
    assert found.run.charge.abv < 38.0
    assert found.moved[0] == (
        f"The charge is let down to {found.run.charge.abv:.2f} % vol instead of 38.06, "
        "so that the pot keeps its least level."
    )
    end = found.run.course.at(np.array([found.run.end.depletion]))
    assert float(end.pot_hot_l[0]) + aim.opened(found.plan).solids_l >= 0.5
    assert reach(example, keep_l=0.9, keep_abv=72.0).run.charge.abv == pytest.approx(38.06, abs=0.01)


def test_a_volume_by_the_strength_of_the_charge(bare: Plan) -> None:
    found = reach(bare, keep_l=1.0, keep_abv=72.0, by="strength")
    run = again(found)
    assert (found.runs, run.keep.volume_l) == (1, pytest.approx(1.0, rel=ASKED))
    assert run.keep.abv == pytest.approx(72.0, rel=ASKED)
    assert found.plan.charge[:2] == bare.charge[:2]
    assert found.moved[0] == (f"The charge is let down to {run.charge.abv:.2f} % vol instead of 38.11.")
    assert again(reach(bare, keep_l=1.03, by="strength")).keep.volume_l == pytest.approx(1.03, rel=ASKED)


def test_a_strength_alone_moves_the_stop_alone(example: Plan) -> None:
    found = reach(example, keep_abv=76.0)
    assert replace(found.plan, cuts=example.cuts) == example
    assert again(found).keep.abv == pytest.approx(76.0, rel=ASKED)
    last = potsim.distil(example)
    assert reach(example, keep_abv=last.keep.abv).plan.cuts.stop.stream_abv == pytest.approx(55.0, abs=1e-3)


def test_tails_stay_where_the_stop_comes_later_than_the_keep_ends(bare: Plan) -> None:
    plan = replace(bare, cuts=replace(bare.cuts, tails_from=Stop(stream_abv=65.0)))
    found = reach(plan, keep_abv=75.0)
    assert found.plan.cuts.stop == plan.cuts.stop
    assert again(found).keep.abv == pytest.approx(75.0, rel=ASKED)
    assert found.moved[-1].startswith("The keep ends when")
    longer = reach(plan, keep_abv=73.0)
    assert longer.plan.cuts.tails_from is None
    assert again(longer).keep.abv == pytest.approx(73.0, rel=ASKED)
    assert longer.moved[-1] == "No tails are taken: the run ends with the keep."
    by_what_comes_over = replace(plan, cuts=replace(plan.cuts, stop=Stop(cloudy=True, stream_abv=40.0)))
    assert reach(by_what_comes_over, keep_abv=75.0).plan.cuts.tails_from is None


def test_where_the_power_changes_the_stop_is_told_by_volume(bare: Plan) -> None:
    plan = replace(bare, still=replace(bare.still, power_steps=(PowerStep(0.5, 400.0),)))
    found = reach(plan, keep_l=0.6, keep_abv=75.0)
    assert list(found.plan.cuts.stop.named) == ["collected"]
    run = again(found)
    assert (run.keep.volume_l, run.keep.abv) == (
        pytest.approx(0.6, rel=ASKED),
        pytest.approx(75.0, rel=ASKED),
    )
    steps = found.plan.still.power_steps
    assert steps[0].from_collected_l / 0.5 == pytest.approx(found.plan.charge[0].volume_l / 0.9, rel=1e-5)


@given(
    abv=st.floats(25.0, 60.0),
    want=st.floats(0.1, 0.9),
    heads=st.floats(0.0, 0.1),
    litres=st.floats(0.05, 30.0),
)
@settings(max_examples=15, deadline=None)
def test_whatever_is_found_gives_what_was_asked(abv: float, want: float, heads: float, litres: float) -> None:
    still = StillPlan(capacity_l=8.0, power_w=1500.0, neck_loss_w_per_k=0.9, pot_loss_w_per_k=1.5)
    plan = Plan((Ingredient("spirit", 4.0, abv),), still=still, cuts=Cuts(heads_l=heads))
    whole = aim.opened(plan)
    strengths, _ = whole.keep(np.array([whole.heads, whole.last]))
    keep_abv = float(strengths[1] + want * (strengths[0] - strengths[1]))
    found = reach(plan, keep_l=litres, keep_abv=keep_abv)
    run = again(found)
    assert found.runs * run.keep.volume_l == pytest.approx(litres, rel=ASKED)
    assert run.keep.abv == pytest.approx(keep_abv, rel=ASKED)


# --- A share of the alcohol.


@pytest.mark.parametrize("share", [0.3, 0.8, 0.95])
def test_the_strongest_keep_that_holds_a_share(bare: Plan, share: float) -> None:
    run = again(reach(bare, recover=share))
    assert outcome(run).kept == pytest.approx(share, rel=1e-5)
    earlier = replace(run.plan, cuts=replace(run.plan.cuts, stop=Stop(stream_abv=run.stop.stream_abv + 0.5)))
    later = replace(run.plan, cuts=replace(run.plan.cuts, stop=Stop(stream_abv=run.stop.stream_abv - 0.5)))
    assert outcome(potsim.distil(earlier)).kept < share  # a stronger keep holds too little
    assert potsim.distil(later).keep.abv < run.keep.abv


# --- Jars.


def test_own_jars_are_kept_where_they_hold_the_keep(bare: Plan) -> None:
    assert reach(bare, bottles=6).plan.jars == JarPlan((JarStock(0.06),))
    named = replace(bare, jars=JarPlan((JarStock(0.06),), keep=(2, 3)))
    found = reach(named, bottles=6)
    assert found.plan.jars.keep == ()
    assert found.moved[-1] == "jars.keep is left out: all jars between heads and tails count."
    few = replace(bare, jars=JarPlan((JarStock(0.06, 4),)))
    found = reach(few, bottles=6)
    assert found.plan.jars == JarPlan()
    assert found.moved[-1] == "The jars of the plan do not hold it: a row is proposed."
    many = replace(bare, still=StillPlan(), jars=JarPlan((JarStock(0.001),)))
    assert reach(many, bottles=6).moved[-1] == "The jars of the plan do not hold it: a row is proposed."


# --- What cannot be.


def refused(plan: Plan, kind: type[Exception] = RequestError, **asked: object) -> str:
    with pytest.raises(kind) as caught:
        reach(plan, **asked)  # type: ignore[arg-type]
    return str(caught.value)


def test_one_question_at_a_time(example: Plan) -> None:
    ask = " Ask for one: bottles, a keep (its volume, its strength or both), or a share to recover."
    assert refused(example) == f"Nothing is asked for.{ask}"
    assert refused(example, bottles=6, recover=0.8) == f"Two things are asked for.{ask}"
    assert refused(example, bottles=6, keep_l=1.0) == f"Two things are asked for.{ask}"
    said = refused(example, UnknownNameError, bottles=6, by="strenght")
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
def test_numbers_out_of_range(example: Plan, asked, argument: str) -> None:
    with pytest.raises(RangeError) as caught:
        reach(example, **asked)
    assert caught.value.argument == argument


def test_bottles_need_a_size_and_a_strength(example: Plan) -> None:
    assert refused(replace(example, bottling=Bottling(42.0)), bottles=6) == (
        "bottling.bottle is not given: how much 6 bottles hold is open. "
        "Give the bottling strength and the bottle."
    )
    assert "bottling.abv is not given" in refused(replace(example, bottling=Bottling(None, 0.35)), bottles=6)
    assert refused(example, bottles=2.5).startswith("2.5 bottles are not a whole number.")
    strong = replace(example, bottling=Bottling(79.0, 0.35))
    assert "bottling.abv is 79 % vol; allowed is at most 73.4 % vol" in refused(strong, bottles=6)


def test_too_strong_and_too_weak_say_what_is_possible(example: Plan) -> None:
    run = potsim.distil(example)
    strongest = run.at(collected_l=0.03).stream_abv
    said = refused(example, keep_abv=82.0)
    told = float(said.partition("this charge has ")[2].split(" ")[0])
    assert strongest - 0.011 < told <= strongest
    assert said.endswith(
        "at the first drop after the heads. Let the charge be stronger, take less power, or ask for less."
    )
    assert reach(example, keep_abv=told - 0.1).run.keep.abv == pytest.approx(told - 0.1, rel=ASKED)
    said = refused(example, keep_abv=40.0)
    assert "the weakest that comes of this charge has 46.5 % vol; the least level" in said
    assert reach(example, keep_abv=46.6).run.keep.abv == pytest.approx(46.6, rel=ASKED)
    dry = replace(example, still=replace(example.still, min_level_l=None))
    assert "% vol; the pot is then exhausted." in refused(dry, keep_abv=30.0)


def test_more_alcohol_than_comes_over(example: Plan) -> None:
    said = refused(example, recover=0.99)
    assert said == (
        "A keep with 99 % of the alcohol is out of reach: the most that comes of this charge is 97.34 %; "
        "the least level of the pot ends the run there. "
        "Ask for less, take less heads, or lower still.min_level."
    )
    assert outcome(reach(example, recover=0.9734).run).kept == pytest.approx(0.9734, rel=ASKED)


def test_more_runs_than_anyone_would_make(example: Plan) -> None:
    said = refused(example, bottles=10_000)
    assert said.startswith("10000 bottles of 350 mL at 42 % vol would take 1615 runs; allowed are 100.")
    assert "Three quarters of the pot give 2.17 L." in said


def test_volumes_out_of_reach_of_letting_down(bare: Plan) -> None:
    said = refused(bare, keep_l=0.3, keep_abv=72.0, by="strength")
    least, most = (float(word) for word in said.partition("give ")[2].split(" L")[0].split(" to "))
    assert "a keep of 300 mL at 72 % vol is out of reach by letting the charge down" in said
    assert 0.9 < least < most < 1.3
    inside = 0.5 * (least + most)
    found = reach(bare, keep_l=inside, keep_abv=72.0, by="strength")
    assert found.run.keep.volume_l == pytest.approx(inside, rel=ASKED)
    tiny = replace(bare, still=replace(bare.still, capacity_l=1.0, min_level_l=None))
    assert "no charge of these spirits fits the pot" in refused(tiny, keep_l=0.3, by="strength")


def test_a_run_that_the_level_ends_says_so(bare: Plan) -> None:
    found = reach(bare, bottles=1)
    assert found.run.end.reason == "min_level"
    assert found.limits[-1] == "The run ends early: the pot is down to its least level of 0.5 L."
    assert again(found).proofing.volume_l == pytest.approx(0.35, rel=ASKED)


def test_nothing_to_ask_of_water_or_of_heads_alone(bare: Plan) -> None:
    assert "The charge holds no alcohol." in refused(Plan((Ingredient("water", 2.0),)), keep_abv=40.0)
    greedy = replace(bare, cuts=Cuts(heads_l=2.2))
    assert refused(greedy, keep_abv=60.0).startswith("cuts.heads is 2.2 L, and no more comes over.")


# --- Scaling.


def test_scaling_leaves_strengths_times_and_vessels(example: Plan) -> None:
    plan = replace(
        example,
        charge=(*example.charge, LeftOver("tails", replace(example, jars=JarPlan()), (1,))),
        still=replace(example.still, power_steps=(PowerStep(0.4, 500.0),)),
        cuts=Cuts(
            heads_share=0.01, stop=Stop(collected_l=0.8, elapsed_min=90.0), tails_from=Stop(pot_abv=9.0)
        ),
        bottling=Bottling(42.0, 0.35, stretch=Stretch(0.2, 96.0)),
    )
    twice = scaled(plan, 2.0)
    assert twice.cuts == Cuts(
        heads_share=0.01, stop=Stop(collected_l=1.6, elapsed_min=90.0), tails_from=Stop(pot_abv=9.0)
    )
    assert twice.still.power_steps == (PowerStep(0.8, 500.0),)
    assert twice.bottling.stretch == Stretch(0.4, 96.0)
    assert [part.name for part in twice.charge][-1] == "tails"
    assert twice.botanicals[2].pieces == 4.0
    assert scaled(plan, 1.0 / 3.0, digits=3).botanicals[0].mass_g == 4.67
    with pytest.raises(RangeError, match="factor"):
        scaled(plan, 0.0)


# --- Frames and the command line.


def test_data_and_frame(example: Plan) -> None:
    found = potsim.reach(example, bottles=20)
    data = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert (data["runs"], data["each"]["bottles"], data["pot_l"]) == (4, 5, 4.0)
    assert data["parts"][0]["name"] == "apple spirit"
    frame = found.to_frame()
    assert frame["run"].tolist() == [1, 2, 3, 4]
    assert frame["bottled_l"].sum() == pytest.approx(7.0, rel=ASKED)


def test_reach_tells_within_80_columns_and_saves_the_plan(say, tmp_path: Path) -> None:
    said = say("reach", "--keep", "300 mL @ 72 %", "--save", "next.toml")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert "1 full bottle\n" in said.out
    run = potsim.distil(load_plan(tmp_path / "next.toml"))
    assert (run.keep.volume_l, run.keep.abv) == (
        pytest.approx(0.3, rel=ASKED),
        pytest.approx(72.0, rel=ASKED),
    )
    assert "Written: next.toml" in said.err
    assert "is there already" in say("reach", "--bottles", "6", "--save", "next.toml").err


def test_reach_with_another_bottle_in_several_runs(say) -> None:
    said = say("reach", "--bottles", "24", "--bottle", "500 mL", "--abv", "40 %")
    assert "24 bottles of 500 mL at 40 % vol" in said.out
    assert "equal runs of a 4 L still" in said.out
    assert "What to charge, for each run" in said.out
    small = say("reach", "quince.toml", "--keep", "72 %", "--json")
    assert json.loads(small.out)["each"]["keep_abv"] == pytest.approx(72.0, rel=ASKED)
    assert "(none is named, so one is sized to it)" in say(
        "reach", "quince.toml", "--keep", "1 L"
    ).out.replace("\n  ", " ")
    assert "80 % of the alcohol" in say("reach", "--recover", "80 %", "--by", "amount").out


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "nothing is asked for"),
        (("--bottles", "6", "--keep", "1 L"), "exclude each other"),
        (("--bottles", "x"), "--bottles: 'x'"),
        (("--bottles", "7.5"), "--bottles: '7.5' will not do"),
        (("--bottles", "0"), "--bottles is 0 bottles; allowed is at least 1"),
        (("--keep", "300"), "--keep: '300' has no unit"),
        (("--keep", "300 mL @"), "--keep: '300 mL @' is not VOLUME@ABV"),
        (("--keep", "90 %"), "A keep of 90 % vol is out of reach: the strongest"),
        (("--keep", "300 mL @ 0 %"), "--keep is 0 % vol; allowed is more than 0"),
        (("--recover", "120 %"), "--recover: '120 %'"),
        (("--bottles", "6", "--save", "a.txt"), "'a.txt' ends in .txt; allowed: .toml."),
        (("--bottles", "6", "--by", "magic"), "--by"),
        (("quince.toml", "--bottles", "6"), "bottling.abv is not given"),
    ],
)
def test_what_reach_refuses(say, args: tuple[str, ...], words: str) -> None:
    said = say("reach", *args)
    assert said.code == 2
    assert words in " ".join(said.err.split())
    assert said.out == ""
