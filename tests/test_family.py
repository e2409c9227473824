"""Tables of many stills against tables made for each, and many courses against each course."""

from __future__ import annotations

import itertools
import pickle
from unittest.mock import ANY

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import Record, refused

from potsim.liquid import equilibrium, strength
from potsim.still.course import EXHAUSTED, course
from potsim.still.courses import courses
from potsim.still.family import Family, family, family_over
from potsim.still.still import Conditions, PowerChange, Span, Still, Stills, reference_k
from potsim.still.tables import Curves, balance

BASE = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)
SIGMA = float(np.sqrt(np.log1p(0.3**2)))  # of a loss uncertain by 30 %
ROOM, ERROR = 3.0, 0.02
DEPLETION = np.linspace(0.0, 1.6, 33)


def drawn(z: np.ndarray) -> Stills:
    """Stills so many standard deviations off in neck loss, pot loss, room and volatility."""
    return Stills.like(
        BASE,
        neck_loss_w_per_k=BASE.neck_loss_w_per_k * np.exp(SIGMA * z[:, 0]),
        pot_loss_w_per_k=BASE.pot_loss_w_per_k * np.exp(SIGMA * z[:, 1]),
        room_k=BASE.room_k + ROOM * z[:, 2],
        volatility_error=ERROR * z[:, 3],
    )


def conditions(stills: Stills, k: int) -> Conditions:
    return Conditions(
        BASE.pressure_pa,
        float(stills.power_w[k]),
        float(stills.neck_loss_w_per_k[k]),
        float(stills.pot_loss_w_per_k[k]),
        float(stills.room_k[k]),
        float(stills.volatility_error[k]),
    )


@pytest.fixture(scope="module")
def wide() -> Family:
    """Four standard deviations to either side of everything."""
    corners = np.array([(0, 0, 0, 0), *itertools.product((-4.0, 4.0), repeat=4)])
    return family(Span.over(drawn(corners), BASE.pressure_pa))


@pytest.fixture(scope="module")
def necks() -> Family:
    return family_over(BASE, 0.3, 0.9)


def misses(tables: Family, z: np.ndarray, charge_x: np.ndarray) -> dict[str, float]:
    """Largest difference from tables made for each still; of the clock, relative to the whole walk."""
    stills = drawn(z)
    look = tables.walks(charge_x, stills).at(DEPLETION)
    seconds = look.seconds()
    worst = dict.fromkeys(("x", "pot_k", "vapour_k", "stream_abv", "clock"), 0.0)
    for k in range(len(z)):
        own = Curves(conditions(stills, k))
        start = float(own.position(charge_x[k]))
        row = own.at(start - DEPLETION)
        spent = (row.clock - row.clock[0]) * np.exp(-start)
        found = {name: np.abs(look(name)[k] - getattr(row, name)).max() for name in list(worst)[1:-1]}
        found["x"] = np.abs(look.x[k] - row.x).max()
        found["clock"] = np.abs(seconds[k] - spent).max() / spent[-1]
        worst = {name: max(worst[name], float(found[name])) for name in worst}
    return worst


@pytest.mark.parametrize("size", [1.0, 3.0])
def test_losses_and_room_act_through_ratio_and_tilt(wide: Family, size: float) -> None:
    """All combinations of so many standard deviations."""
    z = size * np.array(list(itertools.product((-1.0, 1.0), repeat=3)))
    off = misses(wide, np.column_stack([z, np.zeros(8)]), np.linspace(0.04, 0.4, 8))
    assert off["x"] < 5e-6
    assert off["stream_abv"] < 5e-3
    assert off["pot_k"] < 1e-3
    assert off["vapour_k"] < 1e-3
    assert off["clock"] < 2e-6


def test_the_volatility_too_at_three_standard_deviations(wide: Family) -> None:
    z = 3.0 * np.array(list(itertools.product((-1.0, 1.0), repeat=4)))
    off = misses(wide, z, np.tile(np.linspace(0.04, 0.4, 8), 2))
    assert off["x"] < 1e-4
    assert off["stream_abv"] < 0.15
    assert off["clock"] < 3e-5


def test_power_only_scales_the_clock(necks: Family) -> None:
    """Twice the heat in and out: the same run in half the time."""
    one = Stills.like(BASE)
    two = Stills.like(BASE, power_w=1400.0, neck_loss_w_per_k=1.2, pot_loss_w_per_k=2.0)
    x = np.array([0.15])
    first, second = (necks.walks(x, s).at(DEPLETION) for s in (one, two))
    assert np.allclose(first.x, second.x, atol=1e-14)
    assert np.allclose(first.seconds(), 2.0 * second.seconds(), rtol=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 0.9), st.floats(0.01, 0.6))
def test_any_neck_and_charge_begin_where_they_should(neck: float, x: float) -> None:
    tables = family_over(BASE, 0.3, 0.9)
    stills = Stills.like(BASE, neck_loss_w_per_k=neck)
    assert tables.weights(stills).sum() == pytest.approx(1.0, abs=1e-12)
    look = tables.walks(np.array([x]), stills).at(DEPLETION)
    assert look.x[0, 0] == pytest.approx(x, abs=1e-7)
    assert np.all(np.diff(look.x[0]) < 0.0)
    assert np.all(np.diff(look.seconds()[0]) > 0.0)


def test_error_of_the_volatility_leaves_azeotrope_and_boiling_point() -> None:
    off = Conditions(volatility_error=0.05)
    azeotrope = equilibrium.azeotrope(off.pressure_pa).x
    x = np.array([1e-6, 0.05, 0.3, azeotrope])
    plain, shifted = balance(x, Conditions()), balance(x, off)
    alpha = [s.y / (1.0 - s.y) * (1.0 - x) / x for s in (plain, shifted)]
    assert np.allclose(np.log(alpha[1]), 1.05 * np.log(alpha[0]), rtol=1e-9, atol=1e-9)
    assert shifted.y[3] == pytest.approx(azeotrope, abs=1e-6)
    assert np.array_equal(plain.pot_k, shifted.pot_k)


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"neck_loss_w_per_k": 1.2}, ("range", "ratio", ANY)),
        ({"room_k": 303.15}, ("range", "tilt", ANY)),
        ({"volatility_error": 0.01}, ("range", "volatility_error", 0.01)),
    ],
)
def test_stills_outside_are_refused(necks: Family, change: dict[str, float], names: Record) -> None:
    with refused(*names):
        necks.walks(np.array([0.15]), Stills.like(BASE, **change))


def test_charges_outside_are_refused(necks: Family) -> None:
    with refused("range", "charge_x", 0.93):
        necks.walks(np.array([0.93]), Stills.like(BASE))


def test_a_still_without_heat_cannot_run() -> None:
    stills = Stills.like(BASE, power_w=np.array([700.0, 120.0, 60.0]))
    assert stills.can_run(BASE.pressure_pa).tolist() == [True, False, False]
    assert np.isinf(stills.ratio(reference_k(BASE.pressure_pa))[2])


def test_a_family_travels_by_its_span(necks: Family) -> None:
    assert len(pickle.dumps(necks)) < 1000
    assert pickle.loads(pickle.dumps(necks)) is necks


STILL = Still(4.0, BASE, 1200.0, metal_j_per_k=900.0, power_changes=(PowerChange(0.4, 500.0),))


def many(n: int = 3):  # type: ignore[no-untyped-def]
    """Three charges in three stills, and the same one by one."""
    both = Stills.like(BASE, power_w=np.array([700.0, 500.0]), neck_loss_w_per_k=np.array([0.5, 0.7]))
    span = Span.over(both, BASE.pressure_pa)
    stills = Stills.like(BASE, neck_loss_w_per_k=np.linspace(0.5, 0.7, n))
    abv = np.linspace(30.0, 45.0, n)
    ethanol, water = (np.asarray(v) for v in strength.moles(np.full(n, 2.4), abv))
    mol = ethanol + water
    together = courses(family(span), mol, ethanol / mol, stills, STILL)
    apart = [
        course(
            mol[k],
            ethanol[k] / mol[k],
            Still(4.0, conditions(stills, k), 1200.0, metal_j_per_k=900.0, power_changes=STILL.power_changes),
        )
        for k in range(n)
    ]
    return together, apart


def test_many_courses_are_the_single_ones() -> None:
    together, apart = many()
    states = together.at(DEPLETION)
    for k, one in enumerate(apart):
        single = one.at(DEPLETION)
        for name, close in (
            ("pot_mol", 1e-9), ("pot_x", 2e-6), ("over_mol", 1e-9), ("over_ethanol_mol", 2e-4),
            ("pot_abv", 1e-3), ("stream_abv", 5e-3), ("pot_k", 1e-3), ("vapour_k", 1e-3),
            ("collected_l", 1e-5), ("pot_hot_l", 1e-5), ("elapsed_s", 0.05),
        ):  # fmt: skip
            away = np.abs(getattr(states, name)[k] - getattr(single, name)).max()
            assert away < close, f"{name} is off by {away:.1e}"
        assert np.allclose(states.mean_abv[k], single.mean_abv, atol=2e-3)
        assert together.first_drop_s[k] == pytest.approx(one.first_drop_s, rel=1e-6)


def test_conditions_are_found_in_every_course() -> None:
    together, apart = many()
    found = together.first(lambda s: 50.0 - s.stream_abv, 0.4)
    for k, one in enumerate(apart):
        assert found[k] == pytest.approx(one.first(lambda s: 50.0 - s.stream_abv), abs=2e-4)
    assert np.abs(together.at(found[:, None]).stream_abv - 50.0).max() < 1e-7
    assert np.all(together.first(lambda s: s.stream_abv) == 0.0)
    assert np.all(np.isinf(together.first(lambda s: s.stream_abv - 96.0)))


def test_volumes_are_found_in_every_course() -> None:
    together, _ = many()
    wanted = np.array([0.0, 0.01, 0.4, 0.9, 1.4, 5.0])
    s = together.at_collected(wanted)
    assert np.all(np.isinf(s[:, -1]))
    assert np.allclose(together.at(s[:, :-1]).collected_l, wanted[:-1], atol=1e-9)


def test_water_marches_on() -> None:
    stills = Stills.like(BASE)
    runs = courses(
        family_over(BASE, 0.5, 0.7), np.array([100.0]), np.zeros(1), stills, Still(4.0, BASE, 900.0)
    )
    states = runs.at(np.linspace(0.0, EXHAUSTED, 9))
    assert not states.stream_abv.any()
    assert not states.recovered.any()
    assert np.all(np.diff(states.elapsed_s) > 0.0)
    one = course(100.0, 0.0, Still(4.0, BASE, 900.0)).at(states.depletion[0])
    assert np.allclose(states.elapsed_s[0], one.elapsed_s, rtol=1e-6)
    assert np.allclose(states.pot_k[0], one.pot_k, atol=1e-6)
