"""A recipe for another size, and bottles of several trials poured together."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused
from trial_cases import FIRST, PLAN, RUN, SECOND

from potsim.liquid import strength
from potsim.planning.blends import blend_trials
from potsim.planning.next_trial import to_bottles, to_charge
from potsim.planning.plan import BotanicalDose, Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.planning.trials import (
    CLOSE,
    WEIGHING_G,
    WRITTEN,
    Trial,
    bottled_l,
    doses,
    in_bottle,
    kept_g,
    on_scale,
    short,
)

# --- Another size


@settings(max_examples=12, deadline=None)
@given(factor=st.floats(0.2, 40.0))
def test_there_and_back_is_the_same_within_what_a_scale_shows(factor: float) -> None:
    there = to_charge(PLAN, RUN.charge.volume_l * factor)
    back = to_charge(there.plan, RUN.charge.volume_l)
    for dose, again in zip(PLAN.botanicals, back.plan.botanicals, strict=True):
        if dose.mass_g is not None and again.mass_g is not None:
            assert abs(again.mass_g - dose.mass_g) <= WEIGHING_G
        assert (again.where, again.prepared, again.macerated_h) == (
            dose.where,
            dose.prepared,
            dose.macerated_h,
        )
    for part, other in zip(RUN.charge.parts, back.after.charge.parts, strict=True):
        assert other.volume_l == pytest.approx(part.volume_l, rel=4 * WRITTEN)
    for name in ("capacity_l", "power_w", "heat_up_power_w", "neck_loss_w_per_k", "min_level_l"):
        assert getattr(back.plan.still, name) == pytest.approx(getattr(PLAN.still, name), rel=4 * WRITTEN)


def test_there_and_back_through_another_strength() -> None:
    for per in ("alcohol", "charge"):
        there = to_charge(PLAN, 25.0, 30.0, per)  # type: ignore[arg-type]
        back = to_charge(there.plan, RUN.charge.volume_l, RUN.charge.abv, per)  # type: ignore[arg-type]
        for dose, again in zip(PLAN.botanicals, back.plan.botanicals, strict=True):
            if dose.mass_g is not None:
                assert again.mass_g == pytest.approx(dose.mass_g, abs=WEIGHING_G)


def test_doses_go_by_the_litre_that_is_named() -> None:
    juniper = doses(RUN)[0]
    by_alcohol = to_charge(PLAN, 25.0, 30.0, "alcohol")
    by_charge = to_charge(PLAN, 25.0, 30.0, "charge")
    assert by_alcohol.after.charge.abv == pytest.approx(30.0, abs=0.005)
    assert by_alcohol.after.charge.volume_l == pytest.approx(25.0, rel=2e-4)
    assert doses(by_alcohol.after)[0].g_per_l_alcohol == pytest.approx(juniper.g_per_l_alcohol, rel=3e-4)
    assert doses(by_charge.after)[0].g_per_l_charge == pytest.approx(juniper.g_per_l_charge, rel=3e-4)
    assert doses(by_charge.after)[0].g_per_l_alcohol > 1.2 * juniper.g_per_l_alcohol


def test_another_size_is_as_full_takes_about_as_long_and_has_as_many_jars() -> None:
    made = to_charge(PLAN, 25.0)
    before, after = made.before, made.after
    assert after.setting.still.capacity_l / before.setting.still.capacity_l == pytest.approx(
        10.5026, rel=2e-4
    )
    assert after.stop.elapsed_min == pytest.approx(before.stop.elapsed_min, rel=0.1)
    assert after.setting.heads_l == pytest.approx(0.03 * made.charge_factor, rel=3e-4)
    assert abs(len(after.jars) - len(before.jars)) <= 1
    assert after.setting.still.conditions.neck_loss_w_per_k == pytest.approx(
        0.6 * made.charge_factor ** (2 / 3), rel=3e-4
    )
    neck, release, weighing = made.unscaled
    kinds = ("neck_does_not_scale", "release_does_not_scale", "weighing")
    assert (neck.kind, release.kind, weighing.kind) == kinds
    assert (weighing.values["step_g"], weighing.values["most_off"], weighing.values["coarse"]) == (
        0.01,
        0.02,
        [],
    )
    took = after.stop.elapsed_min - after.first_drop_min
    assert release.values["minutes"] == pytest.approx(took)
    assert len(release.values["changes"]) == 3


def test_what_a_scale_cannot_show_is_named() -> None:
    weighing = to_charge(PLAN, 0.24).unscaled[-1]
    coarse = {one["botanical"]: one["mass_g"] for one in weighing.values["coarse"]}
    assert coarse["lemon peel"] == pytest.approx(0.403, abs=5e-4)
    assert coarse["fennel seed"] == pytest.approx(0.151, abs=5e-4)


def test_so_many_bottles() -> None:
    for count in (1, 40):
        made = to_bottles(PLAN, count)
        assert made.after.proofing is not None
        assert made.after.proofing.bottles == count
        assert made.after.proofing.left_over_l < 0.001 * count * 0.35
    with refused("no_bottle", "bottling.bottle"):
        to_bottles(replace(PLAN, bottling=replace(PLAN.bottling, bottle_l=None)), 3)
    with refused("range", "bottles", "0 bottles"):
        to_bottles(PLAN, 0)


def test_another_still_is_taken_as_it_is() -> None:
    other = StillPlan(capacity_l=50.0, power_w=3000.0)
    made = to_charge(PLAN, 25.0, still=other)
    assert made.plan.still == other
    assert made.after.stop.elapsed_min > 1.5 * made.before.stop.elapsed_min


def test_sizes_that_cannot_be_are_refused() -> None:
    with refused("range", "charge", "0 L"):
        to_charge(PLAN, 0.0)
    with refused("too_strong", "charge.abv", 70.0, 60.2774):
        to_charge(PLAN, 25.0, 70.0)
    with refused("unknown_name", "", "bottle"):
        to_charge(PLAN, 25.0, per="bottle")  # type: ignore[arg-type]
    water = Plan((Ingredient("water", 2.0),), botanicals=(BotanicalDose("juniper", mass_g=5),))
    with refused("no_alcohol", "per", "alcohol"):
        to_charge(water, 4.0)
    assert to_charge(water, 4.0, per="charge").plan.botanicals[0].mass_g == 10.0


@settings(max_examples=50)
@given(amount=st.floats(1e-6, 1e6))
def test_amounts_are_rounded_no_further_than_stated(amount: float) -> None:
    assert abs(short(amount) - amount) <= WRITTEN * amount
    assert abs(on_scale(amount) - amount) <= min(0.5 * WEIGHING_G, CLOSE / 2 * amount) * (1 + 1e-9)


# --- Blends


def test_a_trial_blended_with_itself_changes_nothing() -> None:
    made = blend_trials([FIRST, replace(FIRST, name="again")], [1, 3])
    assert made.plan == PLAN
    assert made.abv == 42.0
    for line, own in zip(made.oils, in_bottle(RUN), strict=True):
        assert line.blend_mg_per_l == pytest.approx(own.oil_mg_per_l, rel=1e-9)
        assert line.run_mg_per_l == pytest.approx(own.oil_mg_per_l, rel=1e-9)
    assert blend_trials([FIRST, FIRST], [1, 1]).volume_l == pytest.approx(bottled_l(RUN), rel=1e-9)


def test_oils_alcohol_and_mass_of_a_blend_balance() -> None:
    stronger = replace(SECOND.plan, bottling=replace(PLAN.bottling, abv=50.0))
    made = blend_trials([FIRST, Trial("trial-2.toml", stronger)], [2, 1])
    a, b = made.shares
    assert (a.poured_l, b.poured_l / a.poured_l) == (pytest.approx(a.bottled_l), pytest.approx(0.5))
    mixed = strength.mix([a.poured_l, b.poured_l], [42.0, 50.0])
    assert (made.volume_l, made.abv) == (pytest.approx(mixed.volume_l), pytest.approx(mixed.abv))
    for name, content in made.compounds_mg_per_l.items():
        poured = sum(1000 * kept_g(s.run).get(name, 0.0) * s.poured_l / s.bottled_l for s in made.shares)
        assert content * made.volume_l == pytest.approx(poured, rel=1e-9)
    total = sum(line.blend_mg_per_l for line in made.oils)
    assert total == pytest.approx(sum(made.compounds_mg_per_l.values()), rel=1e-9)
    for line in made.oils:
        low, high = sorted(line.each_mg_per_l)
        assert low - 1e-9 <= line.blend_mg_per_l <= high + 0.01 * high
        assert line.run_mg_per_l == pytest.approx(line.blend_mg_per_l, rel=0.05)
    assert made.plan.bottling.abv == pytest.approx(made.abv)


def test_a_combined_recipe_takes_its_share_of_each() -> None:
    other = Plan(
        charge=(Ingredient("Apple Spirit", 1.2, 62.0), Ingredient("water", 0.8)),
        botanicals=(BotanicalDose("juniper", mass_g=6, macerated_h=12), BotanicalDose("cassia", mass_g=2)),
        still=PLAN.still,
        cuts=Cuts(heads_l=0.05, stop=Stop(stream_abv=45)),
        bottling=PLAN.bottling,
        title="Other",
    )
    made = blend_trials([FIRST, Trial("other", other)], [1, 1])
    assert made.run.charge.volume_l == pytest.approx(RUN.charge.volume_l, rel=0.01)
    assert [part.name for part in made.plan.charge] == ["apple spirit", "barley spirit", "water"]
    assert [dose.name for dose in made.plan.botanicals][-1] == "cassia"
    assert len(made.plan.botanicals) == len(PLAN.botanicals) + 1
    assert 45 < (made.plan.cuts.stop.stream_abv or 0) < 55
    assert 0.03 < (made.plan.cuts.heads_l or 0) < 0.05
    assert made.plan.title == "Bench spirit, trial 1 and Other"
    unlike = replace(other, cuts=Cuts(stop=Stop(recovered=0.8)), still=StillPlan())
    notes = blend_trials([FIRST, Trial("other", unlike)], [1, 1]).notes
    assert {("stills_differ", "still"), ("stops_differ", "cuts.stop")} <= {(n.kind, n.subject) for n in notes}


def test_blends_that_cannot_be_are_refused() -> None:
    with refused("too_few_to_blend", "", 0):
        blend_trials([], [])
    with refused("range", "parts", "0"):
        blend_trials([FIRST], [0])
