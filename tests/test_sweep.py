"""One number of a plan varied: against single runs, against a calculation of its own, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import Record, is_refusal, refused

import potsim
from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.interfaces.commands.ask import evenly
from potsim.interfaces.report.sweep import text_of_sweep, value_reader, value_words
from potsim.planning.frames import outcome
from potsim.planning.notes import worst
from potsim.planning.plan import Bottling, Cuts, Ingredient, Plan, PowerStep, StillPlan, Stop, Stretch
from potsim.planning.sweep import charge_of, in_other_form, number, numbers, sweep

LOSSLESS = StillPlan(capacity_l=150.0, neck_loss_w_per_k=0.0, pot_loss_w_per_k=0.0)


# --- Equal to runs one at a time.


def same_run(one: potsim.Run, other: potsim.Run) -> None:
    for name in ("collected_l", "stream_abv", "pot_abv", "recovered", "elapsed_min"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-12)
    assert one.keep.volume_l == pytest.approx(other.keep.volume_l, rel=1e-12)


def test_each_row_is_the_run_of_a_plan_written_by_hand(bare: Plan) -> None:
    spirits = [part for part in bare.charge if part.abv > 0.0]
    for row in sweep(bare, "charge.abv", [25.0, 40.0, 55.0]).rows:
        by_hand = charge_of(bare).ethanol_l * 100.0 / row.value
        assert row.run.charge.volume_l == pytest.approx(by_hand, rel=1e-9)
        water = Ingredient("water", row.plan.charge[-1].volume_l)
        same_run(row.run, potsim.distil(replace(bare, charge=(*spirits, water))))
        assert row.outcome == outcome(potsim.distil(row.plan))


@pytest.mark.parametrize(
    ("key", "values", "change"),
    [
        ("still.power", [400.0, 900.0], lambda p, v: replace(p, still=replace(p.still, power_w=v))),
        (
            "still.pressure",
            [900.0],
            lambda p, v: replace(p, still=replace(p.still, pressure_hpa=v, altitude_m=None)),
        ),
        ("still.altitude", [1500.0], lambda p, v: replace(p, still=replace(p.still, altitude_m=v))),
        ("cuts.heads", [0.01, 0.05], lambda p, v: replace(p, cuts=replace(p.cuts, heads_l=v))),
        (
            "cuts.tails_from.stream_abv",
            [65.0],
            lambda p, v: replace(p, cuts=replace(p.cuts, tails_from=Stop(stream_abv=v))),
        ),
        (
            "cuts.stop.elapsed",
            [30.0],
            lambda p, v: replace(p, cuts=replace(p.cuts, stop=replace(p.cuts.stop, elapsed_min=v))),
        ),
        (
            "Charge.Apple Spirit",
            [0.5],
            lambda p, v: replace(p, charge=(replace(p.charge[0], volume_l=v), *p.charge[1:])),
        ),
        (
            "botanical.juniper",
            [7.0, 28.0],
            lambda p, v: replace(p, botanicals=(replace(p.botanicals[0], mass_g=v), *p.botanicals[1:])),
        ),
        ("bottling.abv", [45.0], lambda p, v: replace(p, bottling=replace(p.bottling, abv=v))),
    ],
)
def test_any_number_varied_is_that_number_changed(example_plan: Plan, key: str, values, change) -> None:
    for row in sweep(example_plan, key, values).rows:
        assert row.plan == change(example_plan, row.value)
        same_run(row.run, potsim.distil(change(example_plan, row.value)))


def test_the_plan_itself_stands_among_the_rows(example_plan: Plan) -> None:
    own = charge_of(example_plan).abv
    made = sweep(example_plan, "charge.abv", [30.0, 45.0])
    assert [row.planned for row in made.with_own] == [False, True, False]
    assert made.own.value == own
    assert made.own.plan == example_plan
    again = sweep(example_plan, "charge.abv", [30.0, own])
    assert [row.planned for row in again.with_own] == [False, True]
    assert again.rows[1].plan is example_plan
    assert sweep(replace(example_plan, cuts=Cuts()), "cuts.heads", [0.01]).own is None


# --- Against an independent calculation: one stage, nothing lost, Rayleigh's equation.


@pytest.mark.parametrize(
    ("charge_abv", "collected_l", "mean_abv"), [(30.0, 30.4, 70.1), (50.0, 58.5, 76.5), (60.0, 71.1, 79.1)]
)
def test_a_hundred_litres_down_to_60_at_the_stream(charge_abv, collected_l, mean_abv) -> None:
    plan = Plan((Ingredient("spirit", 100.0, 70.0),), still=LOSSLESS, cuts=Cuts(stop=Stop(stream_abv=60.0)))
    (row,) = sweep(plan, "charge.abv", [charge_abv], same="volume").rows
    assert row.outcome.charge_l == pytest.approx(100.0, abs=1e-6)
    assert row.outcome.distillate_l == pytest.approx(collected_l, abs=1.0)
    assert row.outcome.distillate_abv == pytest.approx(mean_abv, abs=1.0)


def test_a_jar_full_to_the_last_drop_of_a_run_is_no_obstacle() -> None:
    still = StillPlan(capacity_l=30.0, power_w=2000.0, neck_loss_w_per_k=1.0, pot_loss_w_per_k=2.0)
    plan = Plan((Ingredient("spirit", 2.0, 80.0),), still=still, cuts=Cuts(stop=Stop(stream_abv=40.0)))
    for row in sweep(plan, "charge.abv", [25.22613065326633, 40.904522613065325, 42.91457286432161]).rows:
        assert row.refusal == ""


@given(
    weak=st.floats(12.0, 55.0),
    more=st.floats(0.1, 20.0),
    stop=st.sampled_from([Stop(stream_abv=40.0), Stop(pot_abv=2.0), Stop(vapour_c=97.0)]),
    same=st.sampled_from(["alcohol", "volume"]),
)
@settings(max_examples=30, deadline=None)
def test_a_stronger_charge_never_yields_less_alcohol(weak: float, more: float, stop: Stop, same: str) -> None:
    still = StillPlan(capacity_l=30.0, power_w=2000.0, neck_loss_w_per_k=1.0, pot_loss_w_per_k=2.0)
    plan = Plan((Ingredient("spirit", 2.0, 80.0),), still=still, cuts=Cuts(stop=stop))
    low, high = (row.run for row in sweep(plan, "charge.abv", [weak, weak + more], same).rows)
    over = [run.stop.collected_l * run.stop.mean_abv for run in (low, high)]
    assert over[1] >= over[0] * (1.0 - 1e-9)


# --- What is refused, and what a row says that cannot be run.


def test_unknown_keys_suggest_the_nearest(example_plan: Plan) -> None:
    for key, near in (
        ("still.pwer", "still.power"),
        ("botanical.junper", "botanical.juniper"),
        ("charge.abw", "charge.abv"),
    ):
        with refused("unknown_name", "", key, None, near):
            sweep(example_plan, key, [1.0])
    with refused("unknown_name", "", "xyz") as caught:
        sweep(example_plan, "xyz", [1.0])
    assert isinstance(caught.value, UnknownNameError)
    assert (caught.value.near, bool(caught.value.hint)) == ((), True)


def test_no_value_a_text_and_no_such_thing_to_keep(example_plan: Plan) -> None:
    with refused("no_values", "still.power"):
        sweep(example_plan, "still.power", [])
    with refused("wrong_type", "still.power", "'700 W'"):
        sweep(example_plan, "still.power", ["700 W"])  # type: ignore[list-item]
    with refused("unknown_name", "", "alcohl", None, "alcohol"):
        sweep(example_plan, "charge.abv", [30.0], "alcohl")  # type: ignore[arg-type]


def test_rows_that_cannot_run_say_why(example_plan: Plan) -> None:
    overfull, fine, stronger, strong, nothing, negative = sweep(
        example_plan, "charge.abv", [10.0, 30.0, 80.0, 97.0, 0.0, -5.0]
    ).rows
    assert overfull.run is None
    assert overfull.plan is not None
    assert overfull.refusal.startswith("The charge takes 9.45 L at the boil, but the pot holds 4 L.")
    assert (fine.refusal, fine.run is not None) == ("", True)
    # beyond what the plan's spirits make: as much alcohol of a stronger one
    assert stronger.stronger
    assert not fine.stronger
    assert stronger.run is not None
    assert stronger.run.charge.ethanol_l == pytest.approx(fine.run.charge.ethanol_l, rel=1e-4)
    assert strong.plan is None
    assert strong.refusal == (
        "charge.abv is 97 % vol; allowed is at most 60.27 % vol, the spirits of the plan without water. "
        "Take stronger spirit: water only weakens."
    )
    assert strong.outcome is None
    assert strong.notes[0].kind == "strong_charge"
    lights_c = next(note.values["lights_c"] for note in stronger.notes if note.kind == "strong_charge")
    assert lights_c == pytest.approx(19.0, abs=0.5)
    assert nothing.refusal.startswith("charge.abv is 0 % vol; allowed is more than 0")
    assert negative.refusal.startswith("charge.abv is -5 % vol")


def test_the_same_volume_stays_with_stronger_spirit_too(bare: Plan) -> None:
    plan = replace(bare, charge=(Ingredient("base spirit", 1.0, 60.0), Ingredient("water", 0.5)))
    rows = sweep(plan, "charge.abv", [55.0, 60.0, 65.0], "volume").rows
    assert [row.stronger for row in rows] == [False, False, True]
    volume = pytest.approx(charge_of(plan).volume_l, rel=1e-9)
    assert [row.outcome.charge_l for row in rows] == [volume] * 3


def test_heads_are_varied_in_either_form(bare: Plan) -> None:
    as_volume = replace(bare, cuts=Cuts(0.03, stop=Stop(55.0)))
    as_share = in_other_form(as_volume, number(as_volume, "cuts.heads"))
    assert as_share.cuts.heads_share == pytest.approx(0.03 / charge_of(bare).volume_l)
    back = in_other_form(as_share, number(as_share, "cuts.heads"))
    assert back.cuts.heads_l == pytest.approx(0.03)
    assert number(as_share, "cuts.heads").unit == ""


def test_of_cautions_that_differ_the_worst_is_told(bare: Plan) -> None:
    rows = sweep(bare, "still.heat_share", [0.4, 1.0, 0.6]).rows
    notes = [note for row in rows for note in row.notes if note.kind == "condenser_unknown"]
    duties = [note.values["duty_w"] for note in notes]
    assert worst(notes) == duties.index(max(duties)) == 1


def test_a_strength_that_no_pot_should_hold_carries_the_caution() -> None:
    plan = Plan((Ingredient("neutral spirit", 2.0, 99.0),), still=LOSSLESS)
    low, near, beyond = sweep(plan, "charge.abv", [30.0, 90.0, 97.0]).rows
    assert "strong_charge" not in {note.kind for note in low.notes}
    (strong,) = (note for note in near.notes if note.kind == "strong_charge")
    assert strong.values["usual_botanicals_abv"] == 60.0
    assert beyond.run is None
    assert beyond.refusal.startswith("charge has 97.0 % vol in the pot; allowed is at most ")
    assert [note.kind for note in beyond.notes] == ["strong_charge"]


def test_a_plan_that_cannot_be_run_may_still_be_varied(example_plan: Plan) -> None:
    small = replace(example_plan, still=replace(example_plan.still, capacity_l=2.0))
    made = sweep(small, "still.capacity", [3.0])
    assert made.own.run is None
    assert made.rows[0].run is not None
    water = Plan((Ingredient("water", 2.0),))
    assert sweep(water, "charge.abv", [30.0]).rows[0].refusal == (
        "charge.abv: the charge holds no alcohol. Add a spirit to the charge."
    )


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((20, 60, 0), ("endless", "", 0)),
        ((20, 60, -5), ("endless", "", -5)),
        ((60, 20, 5), ("range_backwards",)),
        ((20, 60, 0.1), ("range_long", "", 401)),
        ((20, float("inf"), 1), ("no_range",)),
        ((20, 60, float("nan")), ("no_range",)),
        ((0, 1e300, 1e-300), ("range_long",)),
    ],
)
def test_ranges_that_are_none(args, words: Record) -> None:
    with pytest.raises(RequestError) as caught:
        evenly(*args)
    assert is_refusal(caught.value, *words)


def test_ranges() -> None:
    assert evenly(20, 60, 5) == (20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0)
    assert evenly(0.1, 0.7, 0.2) == (0.1, 0.3, 0.5, 0.7)
    assert evenly(1, 6, 2) == (1.0, 3.0, 5.0)
    assert evenly(7, 7, 1) == (7.0,)
    assert len(evenly(1, 200, 1)) == 200


# --- Keys.


@pytest.fixture(scope="module")
def full(example_plan: Plan) -> Plan:
    return replace(
        example_plan,
        still=replace(example_plan.still, power_steps=(PowerStep(0.4, 500.0),)),
        cuts=replace(example_plan.cuts, tails_from=Stop(stream_abv=62.0)),
        bottling=Bottling(42.0, 0.35, stretch=Stretch(0.2, 96.0)),
    )


def test_every_number_has_a_key_of_the_plan_file_and_goes_there_and_back(full: Plan) -> None:
    known = numbers(full)
    assert {"still.power_step.1.power", "bottling.stretch.spirit", "botanical.lemon peel.pieces"} <= set(
        known
    )
    for name, found in known.items():
        if found.path:
            assert found.key.field == found.path[-1], name
        value = found.get(full)
        if value is None:
            continue
        assert found.get(found.put(full, 0.9 * value)) == pytest.approx(0.9 * value), name
        typed = value_words(found, 0.5)
        assert value_reader(found)(typed) == pytest.approx(0.5, rel=1e-5), name


def test_two_rows_of_one_name_are_the_first(example_plan: Plan) -> None:
    twice = replace(
        example_plan, botanicals=(*example_plan.botanicals, replace(example_plan.botanicals[0], mass_g=99.0))
    )
    assert number(twice, "botanical.juniper").get(twice) == 14.0
    shares = replace(example_plan, cuts=Cuts(heads_share=0.02))
    assert number(shares, "cuts.heads").get(shares) == 0.02
    with pytest.raises(RangeError) as caught:
        number(shares, "cuts.heads").put(shares, 0.9)
    assert caught.value.path == "cuts.heads"


# --- Frames.


def test_frames(example_plan: Plan) -> None:
    made = potsim.sweep(example_plan, "charge.abv", [10.0, 30.0, 45.0])
    frame = made.to_frame()
    assert frame["value"].tolist() == [10.0, 30.0, 45.0]
    assert frame["distillate_l"].isna().tolist() == [True, False, False]
    assert frame["distillate_l"][1] == made.rows[1].run.stop.collected_l
    assert frame["recovered"][2] > frame["recovered"][1]
    places = made.flavours_to_frame()
    assert len(places) == 2 * len(example_plan.botanicals)
    assert {"value", "botanical", "class", "start_l", "half_l", "peak_l", "gives_up", "noticed"} <= set(
        places.columns
    )
    juniper = next(f for f in made.rows[2].run.flavours if f.botanical == "juniper")
    row = places[(places["value"] == 45.0) & (places["botanical"] == "juniper")].iloc[0]
    assert (row["class"], row["start_l"]) == (juniper.klass, juniper.passage.start_l)
    assert sweep(example_plan, "still.capacity", [1.0]).flavours_to_frame().empty
    assert json.loads(json.dumps(made.to_dict(), allow_nan=False))["same"] == "alcohol"


def test_clouds_are_told(example_plan: Plan) -> None:
    oily = replace(
        example_plan,
        botanicals=tuple(replace(d, mass_g=300.0, pieces=None) for d in example_plan.botanicals[:2]),
    )
    made = sweep(oily, "bottling.abv", [25.0, 60.0])
    weak, strong = made.rows
    assert weak.outcome.bottle_clouds == "cloudy"
    assert strong.outcome.bottle_clouds != "cloudy"
    assert "25 %: the bottle clouds" in text_of_sweep(made) or "and the bottle clouds" in text_of_sweep(made)
