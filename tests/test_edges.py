"""Plans at the edges of what can be run: full pots, cold and hot rooms, oil by the spoon."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from refusals import refused

import potsim
from potsim.interfaces.planfile import read_plan
from potsim.planning.notes import hint
from potsim.planning.plan import BotanicalDose, Bottling, Ingredient, Plan, StillPlan

SPIRIT = Plan(charge=(Ingredient("apple spirit", 2.0, 40.0),))


def test_a_charge_that_fits_cold_but_not_at_the_boil_is_refused() -> None:
    hot_l = float(potsim.distil(SPIRIT).course.at([0.0]).pot_hot_l[0])
    assert hot_l > 2.05
    with refused("overfull", "", 2.10596, 0.75 * 2.05):
        potsim.distil(replace(SPIRIT, still=StillPlan(capacity_l=2.05)))
    assert potsim.distil(replace(SPIRIT, still=StillPlan(capacity_l=hot_l * 1.001))).end.reason == "recovered"


def test_a_room_below_freezing_is_refused_by_its_key() -> None:
    with refused("range", "still.room", "-5 °C", "at least 0 and at most 45 °C"):
        StillPlan(room_c=-5.0)
    assert potsim.distil(replace(SPIRIT, still=StillPlan(room_c=0.0))).end.reason == "recovered"


def test_in_a_room_too_hot_for_proofing_it_is_told_for_20_degrees() -> None:
    run = potsim.distil(replace(SPIRIT, still=StillPlan(room_c=45.0), bottling=Bottling(abv=42.0)))
    assert run.proofing is not None
    assert run.proofing.at_c == 20.0
    assert run.proofing.notes[0] == hint("hot_room", "still.room", room_c=pytest.approx(45.0), at_c=20.0)
    warm = potsim.distil(replace(SPIRIT, still=StillPlan(room_c=40.0), bottling=Bottling(abv=42.0)))
    assert warm.proofing is not None
    assert warm.proofing.at_c == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("mass_g", "abv", "least_l"),
    [(0.1, 40.0, None), (10.0, 5.0, 0.001), (200.0, 10.0, 0.001), (500.0, 0.5, math.inf)],
)
def test_oil_that_no_drop_can_hold_is_a_cloud(mass_g: float, abv: float, least_l: float | None) -> None:
    juniper = BotanicalDose("juniper", mass_g=mass_g, prepared="ground", macerated_h=24.0)
    charge = (Ingredient("apple spirit", 2.0, abv),)
    run = potsim.distil(Plan(charge=charge, botanicals=(juniper,)))
    cloud = run.to_dict()["cloud"]
    if least_l is None:
        assert cloud is None or cloud["stream"] is None or cloud["stream"]["clears_l"] is None
    elif least_l == math.inf:  # so weak a stream stays hazy to the end
        assert run.cloud is not None
        assert run.cloud.stream is not None
        assert run.cloud.stream.clears_l == math.inf
        assert cloud["stream"]["clears_l"] is None
    else:
        assert cloud["stream"]["clears_l"] is None or cloud["stream"]["clears_l"] > least_l
        assert (
            cloud["stream"]["clears_l"] is not None or mass_g > 400.0
        )  # hazy from the first drop to the last


def test_a_part_of_the_charge_needs_no_name() -> None:
    parts = read_plan(
        """
        [[charge]]
        volume = "1 L"
        abv = "60 %"
        [[charge]]
        kind = "malt"
        volume = "1 L"
        abv = "40 %"
        [[charge]]
        volume = "1 L"
        abv = "0 %"
        """
    ).charge
    assert [part.name for part in parts] == ["spirit", "malt", "water"]
