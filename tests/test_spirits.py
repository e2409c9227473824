"""What base spirits bring besides ethanol."""

from __future__ import annotations

import pytest
from refusals import refused

from potsim.planning.botanicals import composition, spirit_kinds, volatiles

# Regulation (EU) 2019/787: art. 5 for neutral spirit, annex I for fruit spirit (general) and wine spirit.
METHANOL_LIMITS = {"neutral": 30, "fruit": 1000, "wine": 200}


def test_the_kinds() -> None:
    assert list(spirit_kinds()) == ["neutral", "pot rum", "fruit", "malt", "wine"]
    for rows in spirit_kinds().values():
        named = [row.compound_id for row in rows]
        assert "methanol" in named
        assert len(set(named)) == len(named)


@pytest.mark.parametrize(("kind", "limit"), METHANOL_LIMITS.items())
def test_methanol_stays_within_the_law(kind: str, limit: float) -> None:
    methanol = next(row for row in composition(kind) if row.compound_id == "methanol")
    assert methanol.g_per_hl.high == limit
    assert methanol.g_per_hl.typical < limit


def test_grams_follow_the_alcohol() -> None:
    one, two = volatiles("malt", 0.5), volatiles("malt", 1.0)
    assert one["methylbutanol_3"] == pytest.approx(0.95)
    assert two == pytest.approx({c: 2 * g for c, g in one.items()})
    assert volatiles("malt", 1.0, "high")["methanol"] == pytest.approx(0.1)
    assert set(volatiles("malt", 0.0).values()) == {0.0}


def test_a_kind_not_said_is_not_followed() -> None:
    assert volatiles(None, 1.0) == {}


@pytest.mark.parametrize("typed", ["pot rum", "Pot-Rum", "POTRUM"])
def test_spelling_of_a_kind(typed: str) -> None:
    assert volatiles(typed, 1.0) == volatiles("pot rum", 1.0)


def test_refusals() -> None:
    with refused("unknown_name", "", "xyz"):
        volatiles("xyz", 1.0)
    with refused("unknown_name", "", "nutral", None, "neutral"):
        volatiles("nutral", 1.0)
    with refused("range", "ethanol", "-1 L", "at least 0 and at most 1,000,000 L"):
        volatiles("wine", -1.0)
