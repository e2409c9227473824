"""Strength: published rows, round trips, refusals and what mixing must conserve."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import Record, refused

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.interfaces.evidence.liquid import of_strength
from potsim.liquid import strength

CASES = of_strength()
ABV = st.floats(0.0, 100.0)
VOLUME = st.floats(0.001, 1000.0)
Change = Callable[..., Any]
few = settings(max_examples=50, deadline=None)


def test_every_published_row_is_compared() -> None:
    """Tables of n rows make so many comparisons of n values; single rows one value each, limits two."""
    rows = {name: len(read_table(f"published/{name}.csv")) for name in PUBLISHED}
    expected = sum(times * rows[name] for name, times in PUBLISHED.items())
    in_proportion = sum(
        float(r["water_per_100_volumes"]) >= 5 for r in read_table("published/dilution_gay_lussac_15c.csv")
    )
    at_both_ends = 4
    assert sum(case.n for case in CASES) == expected + in_proportion + at_both_ends


PUBLISHED = {
    "density_nbs_1913": 1,
    "usp29_alcoholometric_table": 3,
    "hydrometer_readings_60f": 1,
    "dilution_gay_lussac_15c": 1,
    "dilution_pharmacopoeia_20c": 2,
    "strength_check_values": 1,
    "dilution_compendial": 1,
    "us_gauging": 1,
}


def test_the_formula_has_its_54_coefficients() -> None:
    rows = read_table("oiml_r22.csv")
    assert len(rows) == 54
    assert [sum(r["family"] == f for r in rows) for f in "ABC"] == [12, 6, 36]
    assert [sum(r["family"] == "C" and r["i"] == str(i) for r in rows) for i in range(1, 6)] == [
        11,
        10,
        9,
        4,
        2,
    ]


def test_every_coefficient_matters() -> None:
    """A wrong copy of any of the 54 moves the density by more than the formula's own rounding."""
    from potsim.liquid.strength.density import general_formula

    matrix = general_formula()
    w, above = np.meshgrid(np.linspace(0, 1, 21), np.linspace(-40, 20, 13))
    by_hand = sum(
        matrix[i, k] * above**i * w**k for i in range(matrix.shape[0]) for k in range(matrix.shape[1])
    )
    np.testing.assert_allclose(strength.density(w, 20.0 + above), by_hand, rtol=1e-12)
    assert np.count_nonzero(matrix) == 54


def test_water_agrees_with_iapws_95() -> None:
    """R 22 prints 0.01 kg/m³, on the scale of water of its day."""
    t_c = np.array([1.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0])
    iapws = [PropsSI("D", "T", 273.15 + t, "P", 101325.0, "Water") for t in t_c]
    np.testing.assert_allclose(strength.density(0.0, t_c), iapws, rtol=0, atol=0.01)


@pytest.mark.parametrize("t_c", [-20.0, 0.0, 20.0, 40.0])
def test_density_falls_with_strength(t_c: float) -> None:
    assert (np.diff(strength.density(np.linspace(0, 1, 501), t_c)) < 0).all()


ROUND_TRIPS = [
    ("abv by w", 100.0, strength.w_from_abv, strength.abv_from_w, 1e-10),
    ("abv by x", 100.0, strength.x_from_abv, strength.abv_from_x, 1e-10),
    ("w by abv", 1.0, strength.abv_from_w, strength.w_from_abv, 1e-12),
    ("w by x", 1.0, strength.x_from_w, strength.w_from_x, 1e-14),
    ("abv by proof", 100.0, strength.proof_from_abv, strength.abv_from_proof, 1e-10),
    ("w by density", 1.0, strength.density, strength.w_from_density, 1e-11),
]


@pytest.mark.parametrize(
    ("name", "top", "there", "back", "atol"), ROUND_TRIPS, ids=[r[0] for r in ROUND_TRIPS]
)
def test_round_trips_and_scalars(name: str, top: float, there: Change, back: Change, atol: float) -> None:
    values = top * np.linspace(0.0, 1.0, 97)
    gone = there(values)
    np.testing.assert_allclose(back(gone), values, rtol=0, atol=atol)
    for value, other in zip(values[::12], gone[::12], strict=True):
        assert isinstance(there(float(value)), float)
        assert there(float(value)) == pytest.approx(other, rel=1e-13, abs=1e-13)


@pytest.mark.parametrize("calibrated_c", [20.0, 28.0 / 1.8, 15.0])
def test_readings_go_both_ways(calibrated_c: float) -> None:
    abv, t_c = np.meshgrid(np.linspace(12, 92, 17), np.linspace(-5, 38, 9))
    shown = np.asarray(strength.reading_abv(abv, t_c, calibrated_c=calibrated_c))
    np.testing.assert_allclose(
        strength.true_abv(shown, t_c, calibrated_c=calibrated_c), abv, rtol=0, atol=1e-9
    )
    assert (np.diff(shown[:, 1:], axis=0) > 0).all(), "from 17 % vol on, warmer spirit reads higher"
    scalar = strength.reading_abv(40.0, 30.0, calibrated_c=calibrated_c)
    assert isinstance(scalar, float)


def test_at_its_own_temperature_a_hydrometer_shows_the_truth() -> None:
    abv = np.linspace(0, 100, 11)
    np.testing.assert_allclose(strength.true_abv(abv, 20.0), abv, rtol=0, atol=1e-9)
    shown = strength.reading_abv(abv, strength.US_REFERENCE_C, calibrated_c=strength.US_REFERENCE_C)
    np.testing.assert_allclose(2.0 * np.asarray(shown), strength.proof_from_abv(abv), rtol=0, atol=1e-8)


def test_speed() -> None:
    """Two hundred points in a moment: a run asks for a few curves, a study for a thousand."""
    from timeit import repeat

    abv = np.linspace(0, 100, 200)
    strength.w_from_abv(abv)
    least = min(repeat(lambda: strength.w_from_abv(abv), number=20, repeat=10)) / 20
    horner = min(
        repeat(lambda: np.polynomial.polynomial.polyval(abv / 100, np.ones(12)), number=20, repeat=10)
    )
    assert least < 8 * horner / 20


REFUSALS = [
    (lambda: strength.density(1.2), ("range", "w", 1.2, [0, 1])),
    (lambda: strength.density(-0.1), ("range", "w", -0.1, [0, 1])),
    (lambda: strength.density(0.5, 41.0), ("range", "t_c", 41)),
    (lambda: strength.density(0.5, [10.0, -21.0]), ("range", "t_c", -21)),
    (lambda: strength.w_from_abv(101.0), ("range", "abv", 101, [0, 100])),
    (lambda: strength.w_from_abv([1.0, np.nan]), ("range", "abv", "nan % vol", [0, 100])),
    (lambda: strength.x_from_w(1.1), ("range", "w", 1.1, [0, 1])),
    (lambda: strength.abv_from_x(-1e-9), ("range", "x", -1e-09, [0, 1])),
    (lambda: strength.molar_mass(2.0), ("range", "x", 2, [0, 1])),
    (lambda: strength.w_from_density(700.0), ("range", "density_kg_m3", 700, [789.239, 998.201])),
    (lambda: strength.true_abv(0.0, 30.0), ("off_scale", "reading_abv", 0, "higher")),
    (lambda: strength.true_abv(99.9, 5.0), ("off_scale", "reading_abv", 99.9, "lower")),
    (lambda: strength.reading_abv(100.0, 30.0), ("off_scale", "abv", 100, "lower")),
    (lambda: strength.reading_abv(0.0, 10.0), ("off_scale", "abv", 0, "higher")),
    (lambda: strength.volume_at(-1.0, 40.0, 10.0, 20.0), ("range", "volume_l", -1, [0, None])),
    (lambda: strength.water_to_reach(1.0, 40.0, 50.0), ("too_strong", "target_abv", 50, 40)),
    (lambda: strength.water_to_reach(1.0, 40.0, 0.0), ("range", "target_abv", 0, [0, 100])),
    (lambda: strength.mix([0.0, 0.0], [40.0, 0.0]), ("nothing_there", "volumes_l", 0)),
    (lambda: strength.abv_from_moles(0.0, 0.0), ("nothing_there", "ethanol_mol", 0)),
    (lambda: strength.volume_from_moles(-1.0, 1.0), ("range", "ethanol_mol", -1, [0, None])),
    (lambda: strength.abv_from_proof(201.0), ("range", "proof", 201, [0, 200])),
    (
        lambda: strength.proof_gallons(-1.0, 100.0),
        ("range", "volume_us_gal", -1, [0, None]),
    ),
    (lambda: strength.percent_at(40.0, 50.0), ("range", "t_c", 50)),
]


@pytest.mark.parametrize(("act", "record"), REFUSALS, ids=range(len(REFUSALS)))
def test_refusals_say_what_is_allowed(act: Change, record: Record) -> None:
    with refused(*record, error=RangeError) as caught:
        act()
    assert caught.value.hint or caught.value.allowed


def test_a_target_too_strong_is_answered_with_what_to_do() -> None:
    with refused("too_strong", "target_abv", 42, 40, error=RangeError):
        strength.water_to_reach(1.0, 40.0, 42.0)


def test_as_many_volumes_as_strengths() -> None:
    with refused("lengths_differ", "abvs", 3, 2):
        strength.mix([1.0, 1.0], [40.0, 0.0, 0.0])


def test_pure_liquids_keep_their_limits() -> None:
    assert strength.abv_from_w(1.0) == pytest.approx(100.0, abs=1e-10)
    assert strength.abv_from_w(0.0) == strength.abv_from_x(0.0) == strength.w_from_abv(0.0) == 0.0
    assert strength.w_from_abv(100.0) == pytest.approx(1.0, abs=1e-12)
    assert strength.volume_from_moles(0.0, 0.0) == 0.0
    assert strength.mix([1.0, 2.0], [0.0, 0.0]).contraction_l == pytest.approx(0.0, abs=1e-12)


@few
@given(st.lists(st.tuples(VOLUME, ABV), min_size=1, max_size=5))
def test_mixing_conserves_mass_and_ethanol_in_any_order(parts: list[tuple[float, float]]) -> None:
    volumes, abvs = np.array(parts).T
    both = strength.mix(volumes, abvs)
    mass = np.asarray(strength.mass_of(volumes, abvs))
    assert both.mass_kg == pytest.approx(mass.sum(), rel=1e-12)
    assert strength.mass_of(both.volume_l, both.abv) == pytest.approx(both.mass_kg, rel=1e-10)
    ethanol_kg = float(mass @ np.atleast_1d(strength.w_from_abv(abvs)))
    assert both.ethanol_l * strength.mass_of(1.0, 100.0) == pytest.approx(ethanol_kg, rel=1e-9, abs=1e-12)
    assert min(abvs) - 1e-9 <= both.abv <= max(abvs) + 1e-9
    assert both.contraction_l == pytest.approx(volumes.sum() - both.volume_l, abs=1e-9)
    turned = strength.mix(volumes[::-1], abvs[::-1])
    assert (turned.volume_l, turned.abv) == pytest.approx((both.volume_l, both.abv), rel=1e-9, abs=1e-9)
    running = strength.mix(volumes[:1], abvs[:1])
    for volume, abv in parts[1:]:
        running = strength.mix([running.volume_l, volume], [running.abv, abv])
    assert (running.volume_l, running.abv) == pytest.approx((both.volume_l, both.abv), rel=1e-9, abs=1e-9)


@few
@given(VOLUME, st.floats(0.5, 100.0), st.floats(0.01, 1.0))
def test_the_water_found_gives_the_strength_asked_for(volume: float, abv: float, share: float) -> None:
    water = float(strength.water_to_reach(volume, abv, share * abv))
    made = strength.mix([volume, water], [abv, 0.0])
    assert made.abv == pytest.approx(share * abv, abs=1e-8)
    assert made.ethanol_l == pytest.approx(volume * abv / 100.0, rel=1e-9)


@few
@given(st.floats(70.0, 100.0), st.floats(0.01, 0.99))
def test_spirit_and_water_contract(abv: float, share: float) -> None:
    """By 3.5 % at the most, near equal volumes of ethanol and water."""
    made = strength.mix([1.0 - share, share], [abv, 0.0])
    assert 0.0 < made.contraction_l < 0.036


@few
@given(st.floats(0.0, 20.0), st.floats(0.1, 0.99))
def test_weak_spirit_and_water_expand_a_little(abv: float, share: float) -> None:
    made = strength.mix([1.0 - share, share], [abv, 0.0])
    assert -0.0016 < made.contraction_l < 1e-9


@few
@given(VOLUME, ABV)
def test_moles_go_both_ways(volume: float, abv: float) -> None:
    ethanol, water = strength.moles(volume, abv)
    assert strength.volume_from_moles(ethanol, water) == pytest.approx(volume, rel=1e-10)
    assert strength.abv_from_moles(ethanol, water) == pytest.approx(abv, abs=1e-9)
    x = ethanol / (ethanol + water)
    grams = (ethanol + water) * strength.molar_mass(x)
    assert grams == pytest.approx(1000.0 * strength.mass_of(volume, abv), rel=1e-12)


@few
@given(VOLUME, ABV, st.floats(-20, 40), st.floats(-20, 40))
def test_a_volume_comes_back(volume: float, abv: float, one_c: float, other_c: float) -> None:
    there = strength.volume_at(volume, abv, one_c, other_c)
    assert strength.volume_at(there, abv, other_c, one_c) == pytest.approx(volume, rel=1e-12)


@few
@given(ABV, st.floats(-20, 40))
def test_percent_at_another_temperature_comes_back(abv: float, t_c: float) -> None:
    assert strength.abv_from_percent_at(strength.percent_at(abv, t_c), t_c) == pytest.approx(abv, abs=1e-9)


def test_rounding_of_a_density_never_keeps_its_share_from_being_found() -> None:
    w = np.linspace(0.8, 1.0, 30_001)
    assert np.max(np.abs(strength.w_from_density(strength.density(w)) - w)) < 5e-12
    at_c = 16.381118222227503
    assert strength.true_abv(strength.reading_abv(95.0, at_c), at_c) == pytest.approx(95.0, abs=1e-8)
