"""Proofing, blends and the account of alcohol: balances, refusals, and what is read back."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import Record, refused

from potsim.errors import RangeError
from potsim.interfaces.report import render
from potsim.interfaces.report.jars import gauged_section
from potsim.interfaces.wording import exactly
from potsim.liquid import strength
from potsim.planning.notes import hint
from potsim.planning.proofing import Part, blend_to, costs, from_gauged, gauge, pair, proof_down

few = settings(max_examples=50, deadline=None)
DRAWN = {
    "volume": st.floats(0.05, 200.0),
    "abv": st.floats(20.0, 96.0),
    "share": st.floats(0.2, 1.0),
    "at_c": st.floats(5.0, 35.0),
}


@few
@given(**DRAWN, steps=st.integers(1, 8))
def test_proofed_and_read_back_it_has_the_target(
    volume: float, abv: float, share: float, at_c: float, steps: int
) -> None:
    target = max(share * abv, 5.0)
    made = proof_down(volume, abv, target, at_c=at_c, steps=steps)
    assert made.mass_kg == pytest.approx(float(strength.mass_of(volume, abv)) + made.water_kg, rel=1e-10)
    assert made.ethanol_l == pytest.approx(volume * abv / 100.0, rel=1e-9)
    assert made.contraction_l == pytest.approx(volume + made.water_l - made.volume_l, abs=1e-9 * volume)
    assert strength.true_abv(made.reading_abv, at_c) == pytest.approx(target, abs=1e-8)
    assert strength.mass_of(made.volume_l, target) == pytest.approx(made.mass_kg, rel=1e-9)
    w = strength.w_from_abv(target)
    assert made.volume_at_c_l * strength.density(w, at_c) == pytest.approx(1000.0 * made.mass_kg, rel=1e-9)
    assert made.water_at_c_l * strength.density(0.0, at_c) == pytest.approx(1000.0 * made.water_kg, rel=1e-9)
    assert len(made.additions) == steps
    assert sum(a.water_l for a in made.additions) == pytest.approx(made.water_l, rel=1e-9, abs=1e-12)
    assert sum(a.water_kg for a in made.additions) == pytest.approx(made.water_kg, rel=1e-9, abs=1e-12)
    last = made.additions[-1]
    assert last.abv == target
    assert last.volume_l == pytest.approx(made.volume_l, rel=1e-12)


def test_the_alcohol_of_what_was_gauged_is_told() -> None:
    read = gauge(68.0, at_c=26.0, volume_at_c_l=1.25)
    assert read.volume_l is not None
    assert exactly(read.volume_l * read.abv / 100.0) in render([gauged_section(read)])


@few
@given(**DRAWN)
def test_a_warm_reading_leads_to_the_same_proofing(
    volume: float, abv: float, share: float, at_c: float
) -> None:
    direct = proof_down(volume, abv, share * abv, at_c=20.0)
    warm_l = float(strength.volume_at(volume, abv, 20.0, at_c))
    shown = float(strength.reading_abv(abv, at_c))
    read = from_gauged(gauge(shown, at_c=at_c, volume_at_c_l=warm_l), share * abv * (1 - 1e-9))
    assert read.from_l == pytest.approx(volume, rel=1e-9)
    assert read.from_abv == pytest.approx(abv, abs=1e-8)
    assert read.water_l == pytest.approx(direct.water_l, rel=1e-6, abs=1e-6 * volume)


def test_each_addition_lowers_the_strength_by_as_much() -> None:
    made = proof_down(2.0, 72.0, 42.0, steps=3)
    assert [a.abv for a in made.additions] == pytest.approx([62.0, 52.0, 42.0])
    assert [a.number for a in made.additions] == [1, 2, 3]
    poured = strength.mix([2.0, made.additions[0].water_l], [72.0, 0.0])
    assert poured.abv == pytest.approx(62.0, abs=1e-9)
    assert poured.volume_l == pytest.approx(made.additions[0].volume_l)
    water = [a.water_l for a in made.additions]
    assert water == sorted(water), "the weaker the spirit, the more water for as much"


def test_bottles_and_what_is_left_over() -> None:
    made = proof_down(1.0, 80.0, 40.0, bottle_l=0.7)
    assert made.bottles == 2
    assert made.left_over_l == pytest.approx(made.volume_l - 1.4)
    unnamed = proof_down(1.0, 80.0, 40.0)
    assert unnamed.bottles is None
    assert unnamed.left_over_l == unnamed.volume_l
    exact = proof_down(made.volume_l, 40.0, 40.0, bottle_l=made.volume_l / 3)
    assert exact.bottles == 3
    assert exact.left_over_l == pytest.approx(0.0, abs=1e-9)
    assert exact.water_l == 0.0


def test_notes_warn_of_warmth_and_sugar() -> None:
    cool, room = proof_down(1.0, 70.0, 40.0), proof_down(1.0, 70.0, 40.0, at_c=25.0)
    for made in (cool, room):
        assert {"rest", "falsified_reading"} <= {note.kind for note in made.notes}
    assert len(room.notes) == len(cool.notes) + 2
    shown = {"at_c": 25.0, "calibrated_c": 20.0, "reading_abv": room.reading_abv, "abv": 40.0}
    assert room.notes[0] == hint("reading_away", **shown)
    assert room.reading_abv > 41.5


REFUSALS = [
    (lambda: proof_down(1.0, 40.0, 42.0), ("too_strong", "target_abv", 42.0, 40.0)),
    (
        lambda: proof_down(1.0, 40.0, 42.0),
        ("too_strong", "target_abv", 42.0),
    ),
    (lambda: proof_down(0.0, 40.0, 30.0), ("range", "volume", "0 L", "more than 0 L")),
    (
        lambda: proof_down(1.0, 40.0, 0.0),
        ("range", "target_abv", "0 % vol", "more than 0 and at most 100 % vol"),
    ),
    (lambda: proof_down(1.0, 101.0, 40.0), ("range", "abv", "101 % vol")),
    (
        lambda: proof_down(1.0, 60.0, 40.0, at_c=45.0),
        ("range", "at_c", "45 °C", "at least 0 and at most 40 °C"),
    ),
    (lambda: proof_down(1.0, 60.0, 40.0, steps=0), ("range", "steps", "0 additions")),
    (lambda: proof_down(1.0, 60.0, 40.0, bottle_l=0.0), ("range", "bottle", "0 L", "more than 0 L")),
    (
        lambda: from_gauged(gauge(41.0, at_c=30.0, volume_at_c_l=1.0), 40.0),
        ("too_strong", "target_abv", 40.0),
    ),
    (lambda: blend_to([Part(40.0)], 50.0, 1.0), ("too_strong", "target_abv", 50.0, 40.0)),
    (lambda: blend_to([Part(40.0)], 30.0, 0.0), ("range", "volume", "0 L")),
    (lambda: Part(40.0, 0.0), ("range", "parts", "0", "more than 0")),
    (
        lambda: pair(40.0, 40.0, 40.0, 1.0),
        ("same_strength", "b_abv", 40.0),
    ),
    (
        lambda: pair(60.0, 40.0, 70.0, 1.0),
        ("not_between", "target_abv", 70.0),
    ),
    (
        lambda: costs(0.1, proof_down(1.0, 60.0, 40.0)),
        ("more_came_out", "alcohol_in", 0.1, 0.6),
    ),
    (lambda: costs(1.0, proof_down(1.0, 60.0, 40.0), spent=-1.0), ("range", "spent", "-1", "at least 0")),
]


@pytest.mark.parametrize(("act", "record"), REFUSALS, ids=range(len(REFUSALS)))
def test_refusals_say_what_is_allowed(act: Callable[[], object], record: Record) -> None:
    with refused(*record, error=RangeError):
        act()


def test_a_blend_needs_a_spirit() -> None:
    with refused("too_few_to_blend", "", 0):
        blend_to([], 40.0, 1.0)


@few
@given(
    parts=st.lists(st.tuples(st.floats(30.0, 96.0), st.floats(0.1, 10.0)), min_size=1, max_size=4),
    target=st.floats(5.0, 30.0),
    volume=st.floats(0.1, 100.0),
)
def test_a_blend_poured_is_what_was_asked_for(
    parts: list[tuple[float, float]], target: float, volume: float
) -> None:
    made = blend_to([Part(*p) for p in parts], target, volume)
    poured = strength.mix([*made.spirits_l, made.water_l], [*(p[0] for p in parts), 0.0])
    assert (poured.volume_l, poured.abv) == pytest.approx((volume, target), rel=1e-8)
    assert poured.contraction_l == pytest.approx(made.contraction_l, abs=1e-8 * volume)
    assert made.water_kg == pytest.approx(float(strength.mass_of(made.water_l, 0.0)), abs=1e-12)
    proportions = [v / p[1] for v, p in zip(made.spirits_l, parts, strict=True)]
    assert proportions == pytest.approx([proportions[0]] * len(parts))


@few
@given(
    a=st.floats(0.0, 45.0), b=st.floats(46.0, 100.0), share=st.floats(0.0, 1.0), volume=st.floats(0.1, 100.0)
)
def test_a_pair_poured_is_what_was_asked_for(a: float, b: float, share: float, volume: float) -> None:
    target = min(max(a + share * (b - a), a), b)
    made = pair(a, b, target, volume)
    poured = strength.mix([max(v, 0.0) for v in made.spirits_l], [a, b])
    assert (poured.volume_l, poured.abv) == pytest.approx((volume, target), rel=1e-8, abs=1e-8)
    turned = pair(b, a, target, volume)
    assert turned.spirits_l[::-1] == pytest.approx(made.spirits_l, rel=1e-9, abs=1e-9)


def test_a_pair_with_water_is_proofing() -> None:
    made = proof_down(1.0, 80.0, 42.0)
    assert pair(80.0, 0.0, 42.0, made.volume_l).spirits_l == pytest.approx((1.0, made.water_l), rel=1e-9)


def test_the_account_of_alcohol_and_money() -> None:
    made = proof_down(0.3, 70.0, 42.0, bottle_l=0.12)
    account = costs(0.4, made, spent=12.0, bottle_price=0.5)
    assert account.alcohol_out_l == pytest.approx(0.21)
    assert account.alcohol_left_l == pytest.approx(0.19)
    assert account.bottles == 4
    assert account.per_bottle == pytest.approx(3.5)
    assert costs(0.4, made).per_bottle is None
    assert costs(0.4, proof_down(0.3, 70.0, 42.0), spent=12.0).per_bottle is None


def test_nothing_to_add_is_not_refused() -> None:
    just_below = 70.0 * (1.0 - 2.0**-53)
    assert proof_down(1.0, 70.0, just_below, steps=3).water_l == pytest.approx(0.0, abs=1e-12)
    assert blend_to([Part(30.0)], 30.0, 1.0).water_l == pytest.approx(0.0, abs=1e-9)
    with refused("too_strong", "target_abv", 30.001, 30.0):
        blend_to([Part(30.0)], 30.001, 1.0)
