"""Plans at the edges of what can be run: full pots, cold and hot rooms, oil by the spoon."""

from __future__ import annotations

from dataclasses import replace

import pytest

import potsim
from potsim.errors import RequestError
from potsim.planning.plan import Ingredient, Plan, StillPlan

SPIRIT = Plan(charge=(Ingredient("apple spirit", 2.0, 40.0),))


def test_a_charge_that_fits_cold_but_not_at_the_boil_is_refused() -> None:
    hot_l = float(potsim.distil(SPIRIT).course.at([0.0]).pot_hot_l[0])
    assert hot_l > 2.05
    with pytest.raises(RequestError, match=r"takes 2\.11 L at the boil, but still\.capacity is 2\.05 L"):
        potsim.distil(replace(SPIRIT, still=StillPlan(capacity_l=2.05)))
    assert potsim.distil(replace(SPIRIT, still=StillPlan(capacity_l=hot_l * 1.001))).end.reason == "recovered"
