"""Questions asked backwards: what is found, run again, gives what was asked; what cannot be says why."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from refusals import refused

import potsim
from potsim.interfaces.planfile import read_plan, write_plan
from potsim.planning.frames import outcome
from potsim.planning.notes import caution, hint
from potsim.planning.plan import (
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    JarStock,
    LeftOver,
    Plan,
    PowerStep,
    StillPlan,
    Stop,
    Stretch,
)
from potsim.planning.reach import hot_l, opened, reach
from potsim.planning.sweep import scaled

ASKED = 1e-3  # relative, to which an answer gives the strength asked
MOST = 1.25  # of a volume asked: 3 % to spare, and small amounts rounded up to what can be measured
LIMITS = {"usual_abv": 40.0, "most_abv": 60.0}  # of a charge [% vol]; common practice, no source


def enough(given_l: float, asked_l: float) -> bool:
    """Whether a run gives the volume asked, and not much more."""
    return asked_l * (1.0 - ASKED) <= given_l <= asked_l * MOST


def again(found: potsim.planning.reach.Reach) -> potsim.Run:
    """The run of the answer, by way of a plan file."""
    run = potsim.distil(read_plan(write_plan(found.plan)))
    assert run.keep.volume_l == pytest.approx(found.run.keep.volume_l, rel=1e-12)
    return run


# --- Bottles.


@pytest.mark.parametrize(("bottles", "runs"), [(1, 1), (3, 1), (6, 1), (7, 2), (20, 4)])
def test_bottles_are_filled_in_equal_runs_of_a_pot_three_quarters_full(example_plan, bottles, runs) -> None:
    found = reach(example_plan, bottles=bottles)
    run = again(found)
    assert found.runs == runs
    made = found.runs * run.proofing.volume_l
    assert enough(made, bottles * 0.35)
    assert run.proofing.target_abv == 42.0
    assert hot_l(found.plan) <= 0.75 * 4.0 * (1.0 + 1e-5)
    assert "fill" not in {note.kind for note in run.notes}
    if runs == 1:
        assert found.one_run_pot_l is None
        assert run.proofing.bottles == bottles
    else:
        assert hot_l(found.plan) * runs == pytest.approx(0.75 * found.one_run_pot_l)
        assert found.limits[0].kind == "pot_full"
        assert found.limits[0].values["one_run_l"] == found.one_run_pot_l


def test_a_charge_scales_with_all_that_belongs_to_it(example_plan: Plan) -> None:
    found = reach(example_plan, bottles=6)
    factor = found.plan.charge[0].volume_l / example_plan.charge[0].volume_l
    for part, own in zip(found.plan.charge, example_plan.charge, strict=True):
        assert part.volume_l == pytest.approx(factor * own.volume_l, abs=0.01)
        assert part.volume_l * 100.0 == pytest.approx(round(part.volume_l * 100.0))  # whole 10 mL
        assert part.abv == own.abv
    for dose, own in zip(found.plan.botanicals, example_plan.botanicals, strict=True):
        step = 0.1 if dose.mass_g else 0.5
        amount = dose.mass_g or dose.pieces
        assert amount == pytest.approx(factor * (own.mass_g or own.pieces), abs=2.0 * step)
        assert amount / step == pytest.approx(round(amount / step))
    assert found.plan.cuts.heads_l == pytest.approx(factor * example_plan.cuts.heads_l, abs=0.001)
    assert found.plan.still == example_plan.still
    assert found.plan.cuts.stop == example_plan.cuts.stop
    assert found.run.charge.abv == pytest.approx(potsim.distil(example_plan).charge.abv, abs=0.2)
    assert found.spirit_l == pytest.approx(factor * 1.5, abs=0.02)
    assert found.water_l == pytest.approx(factor * 0.9, abs=0.01)
    assert found.spirit_abv == pytest.approx(60.4, abs=0.05)
    assert [note.kind for note in found.moved] == ["charge_scaled", "spare_given"]


def test_the_spirit_that_stretches_the_keeps_is_counted_for_all_runs(bare: Plan) -> None:
    found = reach(replace(bare, bottling=Bottling(42.0, 0.35, stretch=Stretch(0.5, 96.0))), bottles=20)
    each = found.plan.bottling.stretch
    assert found.runs > 1
    assert found.to_dict()["stretch"] == {"spirit_l": found.runs * each.spirit_l, "abv": 96.0}


def test_a_pot_that_is_not_named_is_sized_to_the_charge(example_plan: Plan) -> None:
    found = reach(replace(example_plan, still=StillPlan(), botanicals=()), bottles=12)
    assert found.runs == 1
    assert found.run.setting.still.capacity_l == pytest.approx(found.run.charge.volume_l / 0.7)
    assert again(found).proofing.bottles == 12


def test_a_run_that_the_level_ends_says_so(bare: Plan) -> None:
    found = reach(bare, bottles=1)
    assert found.run.end.reason == "min_level"
    assert found.limits[-1] == caution("ends_early", "still.min_level", least_level_l=0.5)
    assert enough(again(found).proofing.volume_l, 0.35)


def test_only_strong_spirit_is_let_down_to_the_strength_of_the_rule(bare: Plan) -> None:
    strong = replace(bare, charge=(Ingredient("neutral spirit", 1.0, 96.0),))
    found = reach(strong, bottles=4)
    assert found.run.charge.abv == pytest.approx(40.0, abs=0.2)
    assert again(found).proofing.bottles >= 4
    let_down, grown, given = found.moved
    assert (let_down.kind, let_down.values["why"]) == ("charge_let_down", "too_strong")
    assert grown.values["factor"] == pytest.approx(found.spirit_l / 1.0, rel=1e-9)
    assert given.values == {"spare": 0.03, "gives_l": found.run.proofing.volume_l}
    assert given.values["gives_l"] >= 4 * 0.35


@pytest.mark.parametrize("abv", [30.0, 40.0, 50.0, 58.0])
@pytest.mark.parametrize("stop_abv", [60.0, 55.0, 50.0, 45.0, 40.0])
def test_six_bottles_of_twenty_plans_typed_back_are_six(bare: Plan, abv: float, stop_abv: float) -> None:
    plan = replace(
        bare,
        charge=(Ingredient("spirit", 2.0, abv),),
        still=StillPlan(),
        cuts=Cuts(0.03, stop=Stop(stop_abv)),
    )
    found = reach(plan, bottles=6)
    assert found.runs * again(found).proofing.bottles == 6


# --- Keeps.


@pytest.mark.parametrize("keep_l", [0.05, 0.3, 0.9, 3.0])
@pytest.mark.parametrize("keep_abv", [68.0, 72.0, 76.0])
def test_a_keep_of_a_volume_and_a_strength(bare: Plan, keep_l: float, keep_abv: float) -> None:
    found = reach(bare, keep_l=keep_l, keep_abv=keep_abv)
    run = again(found)
    assert enough(found.runs * run.keep.volume_l, keep_l)
    assert run.keep.abv == pytest.approx(keep_abv, rel=ASKED)
    (ends,) = (note for note in found.moved if note.kind == "ends_at")
    assert ends.subject == "run"
    assert ends.values["stream_abv"] == pytest.approx(run.stop.stream_abv, rel=1e-6)
    assert run.end.reason == "stream_abv"


def test_a_small_keep_is_taken_from_a_weaker_charge_rather_than_bare_the_element(example_plan: Plan) -> None:
    found = reach(example_plan, keep_l=0.3, keep_abv=72.0)
    assert found.run.charge.abv < 38.0
    before = pytest.approx(38.06, abs=0.01)
    let_down = {"abv": found.run.charge.abv, "abv_before": before, "why": "least_level"} | LIMITS
    assert found.moved[0] == hint("charge_let_down", "charge.abv", **let_down)
    end = found.run.course.at(np.array([found.run.end.depletion]))
    assert float(end.pot_hot_l[0]) + opened(found.plan).solids_l >= 0.5
    assert reach(example_plan, keep_l=0.9, keep_abv=72.0).run.charge.abv == pytest.approx(38.06, abs=0.01)


def test_a_volume_by_the_strength_of_the_charge(bare: Plan) -> None:
    found = reach(bare, keep_l=1.0, keep_abv=72.0, by="strength")
    run = again(found)
    assert found.runs == 1
    assert enough(run.keep.volume_l, 1.0)
    assert run.keep.abv == pytest.approx(72.0, rel=ASKED)
    assert found.plan.charge[:2] == bare.charge[:2]
    before = pytest.approx(38.11, abs=0.01)
    let_down = {"abv": run.charge.abv, "abv_before": before, "why": None} | LIMITS
    assert found.moved[0] == hint("charge_let_down", "charge.abv", **let_down)
    assert enough(again(reach(bare, keep_l=1.0, by="strength")).keep.volume_l, 1.0)


def test_a_strength_alone_moves_the_stop_alone(example_plan: Plan) -> None:
    found = reach(example_plan, keep_abv=76.0)
    assert replace(found.plan, cuts=example_plan.cuts) == example_plan
    assert again(found).keep.abv == pytest.approx(76.0, rel=ASKED)
    last = potsim.distil(example_plan)
    assert reach(example_plan, keep_abv=last.keep.abv).plan.cuts.stop.stream_abv == pytest.approx(
        55.0, abs=1e-3
    )


def test_tails_stay_where_the_stop_comes_later_than_the_keep_ends(bare: Plan) -> None:
    plan = replace(bare, cuts=replace(bare.cuts, tails_from=Stop(stream_abv=65.0)))
    found = reach(plan, keep_abv=75.0)
    assert found.plan.cuts.stop == plan.cuts.stop
    assert again(found).keep.abv == pytest.approx(75.0, rel=ASKED)
    assert (found.moved[-1].kind, found.moved[-1].subject) == ("ends_at", "keep")
    longer = reach(plan, keep_abv=73.0)
    assert longer.plan.cuts.tails_from is None
    assert again(longer).keep.abv == pytest.approx(73.0, rel=ASKED)
    assert longer.moved[-1].kind == "no_tails_taken"
    by_what_comes_over = replace(plan, cuts=replace(plan.cuts, stop=Stop(cloudy=True, stream_abv=40.0)))
    assert reach(by_what_comes_over, keep_abv=75.0).plan.cuts.tails_from is None


def test_where_the_power_changes_the_stop_is_told_by_volume(bare: Plan) -> None:
    plan = replace(bare, still=replace(bare.still, power_steps=(PowerStep(0.5, 400.0),)))
    found = reach(plan, keep_l=0.6, keep_abv=75.0)
    assert list(found.plan.cuts.stop.named) == ["collected"]
    run = again(found)
    assert enough(run.keep.volume_l, 0.6)
    assert run.keep.abv == pytest.approx(75.0, rel=ASKED)
    steps = found.plan.still.power_steps
    assert steps[0].from_collected_l / 0.5 == pytest.approx(found.plan.charge[0].volume_l / 0.9, rel=0.05)


@given(
    abv=st.floats(25.0, 60.0),
    want=st.floats(0.1, 0.9),
    heads=st.floats(0.0, 0.1),
    litres=st.floats(0.05, 30.0),
)
@example(abv=math.nextafter(60.0, 0.0), want=0.875, heads=0.0, litres=1.0)
@settings(max_examples=15, deadline=None)
def test_whatever_is_found_gives_what_was_asked(abv: float, want: float, heads: float, litres: float) -> None:
    still = StillPlan(capacity_l=8.0, power_w=1500.0, neck_loss_w_per_k=0.9, pot_loss_w_per_k=1.5)
    plan = Plan((Ingredient("spirit", 4.0, abv),), still=still, cuts=Cuts(heads_l=heads))
    whole = opened(plan)
    strengths, _ = whole.keep(np.array([whole.heads, whole.last]))
    keep_abv = float(strengths[1] + want * (strengths[0] - strengths[1]))
    found = reach(plan, keep_l=litres, keep_abv=keep_abv)
    run = again(found)
    assert enough(found.runs * run.keep.volume_l, litres)
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
    assert found.moved[-1].kind == "jars_kept_left_out"
    few = replace(bare, jars=JarPlan((JarStock(0.06, 4),)))
    found = reach(few, bottles=6)
    assert found.plan.jars == JarPlan()
    assert found.moved[-1].kind == "jars_do_not_hold"
    many = replace(bare, still=StillPlan(), jars=JarPlan((JarStock(0.001),)))
    assert reach(many, bottles=6).moved[-1].kind == "jars_do_not_hold"


# --- Scaling.


def test_scaling_leaves_strengths_times_and_vessels(example_plan: Plan) -> None:
    plan = replace(
        example_plan,
        charge=(*example_plan.charge, LeftOver("tails", replace(example_plan, jars=JarPlan()), (1,))),
        still=replace(example_plan.still, power_steps=(PowerStep(0.4, 500.0),)),
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
    assert scaled(plan, 1.0 / 3.0, measurable=True).botanicals[0].mass_g == 4.7
    with refused("range", "factor", "0"):
        scaled(plan, 0.0)


# --- Frames.


def test_data_and_frame(example_plan: Plan) -> None:
    found = potsim.reach(example_plan, bottles=20)
    data = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert (data["runs"], data["each"]["bottles"], data["pot_l"]) == (4, 5, 4.0)
    assert data["parts"][0]["name"] == "apple spirit"
    frame = found.to_frame()
    assert frame["run"].tolist() == [1, 2, 3, 4]
    assert enough(frame["bottled_l"].sum(), 7.0)
