"""Keeps of single botanicals blended to a profile."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from refusals import refused

import potsim
from potsim.planning.blends import blend_to_profile, blend_trials, oils_mg_per_l
from potsim.planning.plan import BotanicalDose
from potsim.planning.run import Run
from potsim.planning.trials import Trial


def run_of(*doses: tuple[str, float]) -> Run:
    bill = tuple(BotanicalDose(name, mass_g=grams) for name, grams in doses)
    return potsim.distil(replace(potsim.example_plan(), botanicals=bill))


@pytest.fixture(scope="module")
def juniper() -> Run:
    return run_of(("juniper", 20.0))


@pytest.fixture(scope="module")
def coriander() -> Run:
    return run_of(("coriander seed", 20.0))


def test_two_single_distillates_make_up_the_mixed_one(juniper: Run, coriander: Run) -> None:
    """Oils disturb each other only by the fat that comes with them: 2 : 1 is poured as 2 : 1."""
    mixed = run_of(("juniper", 12.0), ("coriander seed", 6.0))
    made = blend_to_profile([juniper, coriander], oils_mg_per_l(mixed, 42.0), 42.0)
    assert made.shares == pytest.approx((2 / 3, 1 / 3), abs=0.02)
    assert made.misfit < 0.02
    assert made.oil_factor == pytest.approx(20.0 / 18.0, rel=0.05)
    assert made.abv == pytest.approx(juniper.keep.abv, abs=0.05)


def test_a_distillate_of_something_else_is_left_out(juniper: Run, coriander: Run) -> None:
    made = blend_to_profile([juniper, coriander], oils_mg_per_l(juniper, 42.0), 42.0)
    assert made.shares == pytest.approx((1.0, 0.0), abs=1e-9)


def test_what_cannot_be_matched_shows_in_the_misfit(juniper: Run, coriander: Run) -> None:
    fennel = run_of(("juniper", 10.0), ("fennel seed", 10.0))
    assert blend_to_profile([juniper, coriander], oils_mg_per_l(fennel, 42.0), 42.0).misfit > 0.3


def test_refusals(juniper: Run, coriander: Run) -> None:
    with refused("too_few_to_blend", "", 1):
        blend_to_profile([juniper], {"linalool": 1.0}, 42.0)
    with refused("no_oil_aimed"):
        blend_to_profile([juniper, coriander], {}, 42.0)
    with refused("no_botanical_shared"):
        blend_to_profile([juniper, coriander], {"vanillin": 1.0}, 42.0)


def test_what_a_glass_taught_counts_in_a_blend() -> None:
    bill = (BotanicalDose("fennel seed", mass_g=90.0, prepared="cracked"),)
    plan = replace(potsim.example_plan(), botanicals=bill)

    def clear_abv(*shifts: float | None) -> float:
        plans = [replace(plan, bottling=replace(plan.bottling, cloud_shift=one)) for one in shifts]
        trials = [Trial(str(k), each) for k, each in enumerate(plans)]
        found = blend_trials(trials, [1.0] * len(trials)).cloud
        assert found is not None
        return found.room.abv

    assert clear_abv(None) == pytest.approx(clear_abv(0.0))
    assert clear_abv(-0.6) > clear_abv(-0.6, 0.0) > clear_abv(0.0)
    both = -math.log10((10.0**0.6 + 1.0) / 2.0)  # loads add up
    assert clear_abv(-0.6, 0.0) == pytest.approx(clear_abv(both), abs=0.01)
