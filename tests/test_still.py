"""The still: balances, curves and course against closed forms, independent solutions and published runs."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from unittest.mock import ANY

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused
from scipy.integrate import solve_ivp

from potsim.errors import RangeError
from potsim.interfaces.evidence import still
from potsim.liquid import equilibrium, heat, strength
from potsim.liquid.boiling import Boiling
from potsim.still import tables
from potsim.still.course import EXHAUSTED, course
from potsim.still.lookup import SmoothFit, UniformTable, running_integral
from potsim.still.still import Conditions, PowerChange, Still, metal_heat_capacity, pressure_at_altitude
from potsim.still.tables import Curves, balance, curves

PLAIN = Conditions(power_w=700.0)
REFLUX = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)


def charge(volume_l: float = 2.4, abv: float = 38.0) -> tuple[float, float]:
    ethanol, water = strength.moles(volume_l, abv)
    return float(ethanol + water), float(ethanol / (ethanol + water))


def run(conditions: Conditions = REFLUX, volume_l: float = 2.4, abv: float = 38.0, **still: float):  # type: ignore[no-untyped-def]
    return course(*charge(volume_l, abv), Still(4.0, conditions, 1200.0, **still))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("conditions", "abv", "upto"),
    [(PLAIN, 8.0, 2.5), (PLAIN, 38.0, 2.5), (PLAIN, 80.0, 2.5), (REFLUX, 38.0, 0.7)],
)
def test_table_agrees_with_plain_integration(conditions: Conditions, abv: float, upto: float) -> None:
    """The balances integrated step by step give the same pot composition to 1e-6."""
    mol, x0 = charge(2.4, abv)
    s = np.linspace(0.0, upto, 15)

    def fall(_: float, x: np.ndarray) -> np.ndarray:
        return x - balance(np.maximum(x, 1e-30), conditions).y_distillate

    solved = solve_ivp(fall, (0.0, upto), [x0], t_eval=s, rtol=1e-9, atol=1e-12, method="LSODA")
    ours = course(mol, x0, Still(4.0, conditions, 1200.0)).at(s).pot_x
    assert np.abs(solved.y[0] - ours).max() < 1e-6


@pytest.mark.parametrize("conditions", [PLAIN, REFLUX], ids=["single stage", "reflux"])
def test_clock_agrees_with_plain_integration(conditions: Conditions) -> None:
    mol, x0 = charge()
    r = course(mol, x0, Still(4.0, conditions, 1200.0))

    def rates(_: float, state: np.ndarray) -> list[float]:
        amount, x = state
        b = balance(np.array([x]), conditions)
        rate = float(b.rate_mol_per_s[0])
        return [-rate, -rate / amount * float(b.y_distillate[0] - x)]

    seconds = 1800.0
    solved = solve_ivp(rates, (0.0, seconds), [mol, x0], rtol=1e-8, atol=1e-10)
    states = r.at(np.array([np.log(mol / solved.y[0, -1])]))
    assert states.elapsed_s[0] - r.first_drop_s == pytest.approx(seconds, rel=1e-6)
    assert states.pot_x[0] == pytest.approx(solved.y[1, -1], abs=1e-7)


@pytest.mark.parametrize("conditions", [PLAIN, REFLUX], ids=["single stage", "reflux"])
@pytest.mark.parametrize("name", ["NODES", "ROWS"])
def test_halving_the_grid_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, conditions: Conditions, name: str
) -> None:
    fine = Curves(conditions)
    monkeypatch.setattr(tables, name, getattr(tables, name) // 2)
    coarse = Curves(conditions)
    x = np.array([0.01, 0.05, 0.15, 0.4, 0.8])
    fall = np.array([0.02, 0.2, 1.0, 2.0])
    for column in ("x", "y", "reflux"):
        a, b = (getattr(c.at(c.position(x)[:, None] - fall), column) for c in (fine, coarse))
        assert np.abs(a - b).max() < 1e-6


def equilibrium_of(boils: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]) -> SimpleNamespace:
    """An equilibrium without an azeotrope, of given boiling points and vapours."""

    def ln_volatility(x: np.ndarray) -> np.ndarray:
        y = boils(x)[1]
        return np.log(y / (1.0 - y) * (1.0 - x) / x)

    def boil(x: np.ndarray, pressure_pa: np.ndarray, model: object, start_k: object = None) -> Boiling:
        (t, y), (low, high) = boils(x), (x * (1.0 - 1e-6), x * (1.0 + 1e-6))
        warmer = (boils(high)[0] - boils(low)[0]) / (high - low)
        more_volatile = (ln_volatility(high) - ln_volatility(low)) / (high - low)
        return Boiling(t, warmer, y, ln_volatility(x), more_volatile)

    return SimpleNamespace(
        boil=boil,
        excess=lambda: None,
        azeotrope=lambda pressure_pa: SimpleNamespace(x=1.0),
        bubble_point=lambda x, pressure_pa: boils(np.asarray(x, dtype=float)),
    )


def test_closed_form_at_constant_volatility(monkeypatch: pytest.MonkeyPatch) -> None:
    """Textbook identity: alpha 3, x from 0.30 to 0.20, 100 mol leaves 66.8292."""
    fake = equilibrium_of(lambda x: (np.full_like(x, 360.0), 3.0 * x / (1.0 + 2.0 * x)))
    monkeypatch.setattr(tables, "equilibrium", fake)
    table = Curves(PLAIN)
    left = 100.0 * np.exp(float(table.position(0.20) - table.position(0.30)))
    assert left == pytest.approx(66.8292, abs=5e-5)
    assert (30.0 - 0.20 * left) / (100.0 - left) == pytest.approx(0.50147, abs=5e-6)


def test_methanol_water_stopped_on_the_mean_of_the_distillate(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lecture example, ideal methanol-water by its own Antoine constants: 75 mol at 0.82, mean 0.900."""

    def psat(a: float, b: float, c: float, t_c: np.ndarray) -> np.ndarray:
        return 10.0 ** (a - b / (t_c + c))  # mmHg

    def boils(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        low, high = np.full_like(x, 50.0), np.full_like(x, 110.0)
        for _ in range(60):
            t = 0.5 * (low + high)
            light = x * psat(8.081, 1582.0, 239.7, t)
            over = light + (1.0 - x) * psat(8.071, 1731.0, 233.4, t) > 760.0
            low, high = np.where(over, low, t), np.where(over, t, high)
        return t + 273.15, light / 760.0

    fake = equilibrium_of(boils)
    monkeypatch.setattr(tables, "equilibrium", fake)
    table = Curves(PLAIN)
    x = np.linspace(0.3, 0.7, 4001)
    left = 75.0 * np.exp(table.position(x) - float(table.position(0.82)))
    mean = (75.0 * 0.82 - left * x) / (75.0 - left)
    k = int(np.argmin(np.abs(mean - 0.900)))
    assert left[k] == pytest.approx(12.38, abs=0.1)  # published 12.5; exact integration 12.377
    assert x[k] == pytest.approx(0.4152, abs=0.005)  # published 0.42


def test_groening_fits_better_with_reflux() -> None:
    """One neck-heat ratio brings the old measurements to well under the single-stage misfit."""
    pot, spout = still.groening_pairs()
    single = np.sqrt(np.mean((still.spout_abv(pot, PLAIN) - spout) ** 2))
    losses = [Conditions(power_w=700.0, neck_loss_w_per_k=u) for u in np.linspace(0.1, 2.0, 20)]
    best = min(np.sqrt(np.mean((still.spout_abv(pot, c) - spout) ** 2)) for c in losses)
    assert best < 0.75 * single


def test_material_and_energy_of_the_neck_close() -> None:
    x = np.geomspace(1e-9, 0.85, 50)
    b = balance(x, REFLUX)
    assert np.allclose(b.y, b.reflux * b.x_reflux + (1 - b.reflux) * b.y_distillate, rtol=1e-9, atol=0)
    vapour = b.rate_mol_per_s / (1 - b.reflux)
    t_pot, _ = equilibrium.bubble_point(x)
    shed = vapour * (
        heat.vapour_enthalpy(b.y, t_pot)
        - b.reflux * heat.liquid_enthalpy(b.x_reflux, b.vapour_k)
        - (1 - b.reflux) * heat.vapour_enthalpy(b.y_distillate, b.vapour_k)
    )
    assert np.allclose(shed, 0.6 * (b.vapour_k - 293.15), rtol=1e-6)


@pytest.mark.parametrize("conditions", [PLAIN, REFLUX])
@pytest.mark.parametrize("abv", [0.0, 5.0, 38.0, 90.0])
def test_energy_of_the_run_closes(conditions: Conditions, abv: float) -> None:
    assert abs(run(conditions, abv=abv).energy_error(1.5)) < 1e-5


def test_energy_closes_over_a_change_of_power() -> None:
    r = course(*charge(), Still(4.0, REFLUX, 1200.0, power_changes=(PowerChange(0.4, 500.0),)))
    assert abs(r.energy_error(1.2)) < 1e-5


def test_a_change_of_power_changes_the_pace_and_nothing_in_the_pot() -> None:
    steady = run()
    slowed = course(*charge(), Still(4.0, REFLUX, 1200.0, power_changes=(PowerChange(0.4, 400.0),)))
    s = np.linspace(0.0, 1.0, 201)
    a, b = steady.at(s), slowed.at(s)
    before = a.collected_l < 0.4
    assert np.array_equal(a.elapsed_s[before], b.elapsed_s[before])
    assert np.all(b.elapsed_s[~before] > a.elapsed_s[~before])
    there = slowed.legs[1].from_depletion
    last, first = slowed.at(there - 1e-9), slowed.at(there)
    assert first.pot_x == pytest.approx(float(last.pot_x), rel=1e-7)
    assert first.elapsed_s == pytest.approx(float(last.elapsed_s), abs=1e-3)
    assert first.stream_abv > last.stream_abv + 0.5  # slower is stronger: more reflux


@settings(max_examples=25, deadline=None)
@given(
    abv=st.floats(0.5, 90.0),
    volume=st.floats(0.1, 1000.0),
    neck=st.floats(0.0, 3.0),
    kpa=st.floats(60.0, 110.0),
)
def test_balances_and_order(abv: float, volume: float, neck: float, kpa: float) -> None:
    conditions = Conditions(kpa * 1e3, 1000.0, round(neck, 1), 1.0)
    mol, x0 = charge(volume, abv)
    states = course(mol, x0, Still(volume * 2, conditions, 1000.0)).at(np.linspace(0.0, 4.0, 101))
    assert np.allclose(states.over_mol + states.pot_mol, mol, rtol=1e-12)
    ethanol = states.over_ethanol_mol + states.pot_mol * states.pot_x
    assert np.allclose(ethanol, mol * x0, rtol=1e-7)
    for falling in (states.stream_abv, states.pot_abv, states.pot_mol):
        assert np.all(np.diff(falling) < 1e-9)
    for rising in (states.over_ethanol_mol, states.collected_l, states.elapsed_s, states.pot_k):
        assert np.all(np.diff(rising) > -1e-9 * np.abs(rising[1:]))
    assert np.all((states.over_ethanol_mol >= 0) & (states.over_ethanol_mol <= mol * x0 * (1 + 1e-12)))


def test_water_alone_comes_over_as_water() -> None:
    states = run(abv=0.0).at(np.linspace(0.0, EXHAUSTED, 50))
    assert np.all(states.stream_abv == 0.0)
    assert np.all(states.over_ethanol_mol == 0.0)
    assert states.pot_k[0] == pytest.approx(float(equilibrium.bubble_point(0.0)[0]), abs=1e-5)
    # latent heat of water at its boiling point, 40.65 kJ/mol (CRC handbook, from memory)
    through = 700.0 - (373.15 - 293.15) * 1.6
    assert states.rate_mol_per_s[0] == pytest.approx(through / 40650.0, rel=0.01)


def test_scalar_equals_array() -> None:
    r = run()
    s = np.array([0.1, 0.7])
    both = r.at(s)
    for k in range(2):
        assert r.at(float(s[k])).stream_abv == both.stream_abv[k]


def test_many_charges_at_once_equal_one_by_one() -> None:
    table = curves(REFLUX)
    x, left = np.linspace(0.01, 0.5, 37), np.linspace(1.0, 0.05, 20)
    stream, pot = table.distil(x, left)
    for k in (0, 17, 36):
        states = course(10.0, x[k], Still(4.0, REFLUX, 1200.0)).at(-np.log(left))
        assert np.allclose(stream[k], states.stream_abv, atol=1e-9)
        assert np.allclose(pot[k], states.pot_abv, atol=1e-9)


def test_gentler_is_stronger_and_slower() -> None:
    x = np.geomspace(1e-4, 0.8, 20)
    quick = balance(x, Conditions(power_w=1000.0, neck_loss_w_per_k=0.6))
    gentle = balance(x, Conditions(power_w=300.0, neck_loss_w_per_k=0.6))
    assert np.all(gentle.y_distillate > quick.y_distillate)
    assert np.all(gentle.rate_mol_per_s < quick.rate_mol_per_s)


def test_heat_up_agrees_with_stepwise_warming() -> None:
    r = run()
    mol, x0 = charge()
    t_boil = float(r.at(0.0).pot_k)
    capacity = mol * (heat.liquid_enthalpy(x0, t_boil) - heat.liquid_enthalpy(x0, 293.15)) / (t_boil - 293.15)
    t, seconds, dt = 293.15, 0.0, 0.05
    while t < t_boil:
        t += dt * (1200.0 - 1.0 * (t - 293.15)) / capacity
        seconds += dt
    assert r.first_drop_s == pytest.approx(seconds, abs=0.5)


def test_metal_delays_the_first_drop() -> None:
    assert run(metal_j_per_k=metal_heat_capacity(2.5, "copper")).first_drop_s > run().first_drop_s
    with refused("unknown_name", "still.pot_metal", "lead"):
        metal_heat_capacity(2.5, "lead")


@pytest.mark.parametrize(
    ("altitude_m", "kpa"), [(0, 101.325), (500, 95.461), (1000, 89.876), (2000, 79.501), (4000, 61.660)]
)
def test_standard_atmosphere(altitude_m: float, kpa: float) -> None:
    """U.S. Standard Atmosphere 1976."""
    assert pressure_at_altitude(altitude_m) / 1e3 == pytest.approx(kpa, abs=0.02)


def test_a_kettle_on_a_mountain_boils_cooler() -> None:
    """Boiling point of water at 2,000 m, standard atmosphere, by IAPWS: 93.32 °C."""
    high = run(Conditions(pressure_at_altitude(2000.0), 700.0), abv=0.0).at(0.0).pot_k
    assert float(high) - 273.15 == pytest.approx(93.32, abs=0.05)


def test_losses_that_the_power_cannot_overcome() -> None:
    with refused("shed_by_both", "still.power", 100.0, ANY) as caught:
        run(Conditions(power_w=100.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0))
    assert caught.value.allowed == pytest.approx(128.0, abs=0.5)
    with refused("shed_by_pot", "still.heat_up_power", 50.0, ANY) as caught:
        course(*charge(), Still(4.0, REFLUX, 50.0))
    assert caught.value.allowed == pytest.approx(64.0, abs=0.5)


def test_a_pot_at_the_azeotrope_is_refused() -> None:
    with refused("too_strong_to_part", "charge", 98.0, ANY, error=RangeError) as caught:
        run(abv=98.0)
    assert caught.value.allowed == pytest.approx(96.3, abs=0.05)


@pytest.mark.parametrize("kpa", [59.0, 111.0])
def test_pressures_outside_the_earth_are_refused(kpa: float) -> None:
    with refused("range", "pressure", f"{kpa:.0f} kPa", "at least 60 and at most 110 kPa"):
        Conditions(kpa * 1e3)


def test_a_condition_that_never_comes_and_one_true_from_the_start() -> None:
    r = run()
    assert r.first(lambda s: s.stream_abv - 99.0) is None
    assert r.first(lambda s: s.stream_abv - 10.0) == 0.0
    half = r.first(lambda s: s.collected_l - 0.5)
    assert half is not None
    assert r.at(half).collected_l == pytest.approx(0.5, abs=1e-9)


def test_a_condition_that_jumps_is_found_where_it_jumps() -> None:
    r = run()
    looked_at = -np.log1p(-np.linspace(0.0, -np.expm1(-EXHAUSTED), 257)[1:-1])
    for at in looked_at:  # these very points, where rounding could miss the end of a step
        found = r.first(lambda s, at=at: np.where(s.depletion >= at, 0.0, -1.0))  # type: ignore[misc]
        assert found is not None
        assert 0.0 <= found - at <= 2e-12


def test_lookups_against_functions_known_in_closed_form() -> None:
    z = SmoothFit.points(0.0, 2.0, 24)
    fit = SmoothFit(0.0, 2.0, np.exp(z))
    there = np.linspace(0.0, 2.0, 77)
    assert np.allclose(fit(there), np.exp(there), atol=1e-13)
    assert np.allclose(fit.integral()(there), np.exp(there) - 1.0, atol=1e-13)
    at = np.linspace(0.0, 1.0, 201)
    table = UniformTable(0.0, at[1], np.stack([np.sin(at), np.exp(at)], axis=1))
    assert np.allclose(table(there / 2), [np.sin(there / 2), np.exp(there / 2)], atol=1e-9)
    assert np.allclose(running_integral(at[1], at**3), at**4 / 4, atol=1e-12)


def test_water_comes_over_at_an_even_rate_however_strong_the_reflux() -> None:
    for loss in (0.0, 0.6, 4.0, 4.8, 4.95):
        still = Still(4.0, Conditions(power_w=400.0, neck_loss_w_per_k=loss), 1000.0)
        run = course(100.0, 0.0, still)
        states = run.at(np.array([0.5, 2.0, 6.9]))
        passed = (states.elapsed_s - run.first_drop_s) * states.rate_mol_per_s
        np.testing.assert_allclose(passed, states.over_mol, rtol=1e-6)


def test_a_neck_that_returns_nearly_all_vapour_is_followed_to_the_end() -> None:
    """Where the ethanol is less than numbers can tell, the pot goes on as water, at an even rate."""
    still = Still(4.0, Conditions(power_w=130.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0), 1200.0)
    run = course(100.0, 0.16, still)
    table = run.legs[0].curves
    assert run.legs[0].position - EXHAUSTED < table.first
    states = run.at(np.linspace(0.0, EXHAUSTED, 4001))
    assert np.diff(states.elapsed_s).min() > 0.0
    end = run.at(np.array([EXHAUSTED - 0.02, EXHAUSTED]))
    assert np.diff(end.over_mol) / np.diff(end.elapsed_s) == pytest.approx(end.rate_mol_per_s[1], rel=1e-6)
