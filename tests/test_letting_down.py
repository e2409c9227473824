"""A charge let down to a strength: what stays, and where water and left-overs go."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import potsim
from potsim.planning.plan import Ingredient, JarPlan, LeftOver, Plan
from potsim.planning.sweep import charge_of, strongest, with_strength


@given(abv=st.floats(3.0, 60.0), same=st.sampled_from(["alcohol", "volume"]))
@settings(max_examples=50, deadline=None)
def test_the_charge_is_as_strong_as_asked_and_the_rest_stays(abv: float, same: str) -> None:
    example_plan = potsim.example_plan()
    own, made = charge_of(example_plan), charge_of(with_strength(example_plan, abv, same))
    assert made.abv == pytest.approx(abv, abs=1e-9)
    kept = "ethanol_l" if same == "alcohol" else "volume_l"
    assert getattr(made, kept) == pytest.approx(getattr(own, kept), rel=1e-9)


def test_water_goes_where_water_is(bare: Plan) -> None:
    wet = replace(bare, charge=(*bare.charge, Ingredient("rain water", 0.3)))
    weaker = with_strength(wet, 20.0)
    assert [part.name for part in weaker.charge] == ["apple spirit", "barley spirit", "water", "rain water"]
    assert weaker.charge[2].volume_l == pytest.approx(3.0 * weaker.charge[3].volume_l)
    neat = replace(bare, charge=bare.charge[:2])
    assert [part.name for part in with_strength(neat, 30.0).charge][-1] == "water"
    assert with_strength(wet, strongest(wet)).charge == wet.charge[:2]
    lemon = potsim.example_plan()
    assert strongest(lemon) < strongest(bare)  # the peel is wet


def test_left_overs_stay_or_become_spirit(bare: Plan) -> None:
    first = replace(bare, jars=JarPlan())
    plan = replace(bare, charge=(*bare.charge, LeftOver("tails", first, (1, 2))))
    kept = with_strength(plan, 25.0)
    assert kept.charge[-1] == plan.charge[-1]
    poured = with_strength(plan, 25.0, "volume")
    assert isinstance(poured.charge[-1], Ingredient)
    assert charge_of(poured).abv == pytest.approx(25.0)
    assert charge_of(poured).volume_l == pytest.approx(charge_of(plan).volume_l)
