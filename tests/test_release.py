"""How fast botanicals give up their oil."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from potsim.data import read_table
from potsim.errors import RangeError, UnknownNameError
from potsim.planning.botanicals import PREPARED, BotanicalDose, find, library, materials, resolve
from potsim.planning.release import rate_per_min, release_rate, release_rates, release_term, share_macerated

JUNIPER = find("juniper")


def test_every_material_has_every_preparation_once() -> None:
    rows = [(row["category"], row["prepared"]) for row in read_table("release_rates.csv")]
    assert sorted(rows) == sorted((c, p) for c in materials() for p in PREPARED)
    assert len(release_rates()) == len(rows)


@pytest.mark.parametrize("botanical_id", sorted(library()))
def test_every_botanical_has_a_rate_in_its_usual_preparation(botanical_id: str) -> None:
    term = release_term(resolve(BotanicalDose(botanical_id, mass_g=1)))
    assert 0.004 / 60 <= term.rate_per_s <= 0.3 / 60
    assert term.share_in_liquid == 0


@pytest.mark.parametrize("category", sorted(materials()))
def test_finer_is_faster(category: str) -> None:
    whole, cracked, ground = (release_rates()[category, p].per_min for p in ("whole", "cracked", "ground"))
    assert whole.typical < cracked.typical < ground.typical
    assert whole.low < whole.typical < whole.high


def test_peel_and_leaf_are_fast_roots_and_bark_slow() -> None:
    order = ["peel", "seed", "root"]
    rates = [release_rates()[category, "whole"].per_min.typical for category in order]
    assert rates == sorted(rates, reverse=True)
    assert release_rates()["leaf", "whole"].per_min.typical > release_rates()["bark", "whole"].per_min.typical


def test_the_rate_of_the_table_and_its_range() -> None:
    assert rate_per_min(JUNIPER, "whole") == 0.02
    assert rate_per_min(JUNIPER, "whole", "low") == 0.008
    assert rate_per_min(JUNIPER, "whole", "high") == 0.05
    assert release_rate(JUNIPER, "whole").source == "common practice, no source"


def test_maceration_is_the_closed_form() -> None:
    assert share_macerated(JUNIPER, "whole", 12) == pytest.approx(1 - math.exp(-0.02 * 0.02 * 720), rel=1e-12)
    assert share_macerated(JUNIPER, "whole", 0) == 0
    assert share_macerated(JUNIPER, "ground", 12) > share_macerated(JUNIPER, "whole", 12)


@given(first=st.floats(0, 200), more=st.floats(0, 200))
@settings(max_examples=50, deadline=None)
def test_maceration_only_goes_on_and_adds_up(first: float, more: float) -> None:
    left = [1 - share_macerated(JUNIPER, "whole", t) for t in (first, more, first + more)]
    assert left[2] == pytest.approx(left[0] * left[1], abs=1e-12)
    assert left[2] <= left[0] <= 1


def test_a_term_carries_the_dose() -> None:
    dose = BotanicalDose("juniper", mass_g=14, macerated_h=12)
    resolved = resolve(dose)
    term = release_term(resolved)
    assert (term.botanical_id, term.where) == ("juniper", "pot")
    assert term.oil_g == resolved.oil_g
    assert term.rate_per_s == pytest.approx(0.02 / 60)
    assert term.share_in_liquid == pytest.approx(0.25, abs=0.01)
    assert release_term(resolved, "high").share_in_liquid > term.share_in_liquid


def test_the_basket_is_passed_on() -> None:
    term = release_term(resolve(BotanicalDose("bay leaf", mass_g=0.8, where="basket")))
    assert (term.where, term.share_in_liquid) == ("basket", 0)


def test_refusals() -> None:
    with pytest.raises(UnknownNameError, match=r"Unknown preparation 'crackd'. Did you mean 'cracked'"):
        release_rate(JUNIPER, "crackd")  # type: ignore[arg-type]
    with pytest.raises(RangeError, match=r"botanical.macerated is -1 h; allowed is at least 0"):
        share_macerated(JUNIPER, "whole", -1)
