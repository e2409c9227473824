"""Heat and hot volume of ethanol-water: equations of state, derivatives, limits, refusals."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.liquid import equilibrium, heat, strength
from potsim.liquid.equilibrium import excess

few = settings(max_examples=50, deadline=None)
FLUIDS = [(0.0, "Water"), (1.0, "Ethanol")]
FUNCTIONS = [heat.liquid_enthalpy, heat.vapour_enthalpy, heat.liquid_heat_capacity, heat.liquid_density]


@pytest.mark.parametrize(("x", "fluid"), FLUIDS)
@pytest.mark.parametrize("t", [273.2, 293.15, 323.15, 351.44, 373.15, 423.0])
def test_density_of_the_pure_liquids(x: float, fluid: str, t: float) -> None:
    assert heat.liquid_density(x, t) == pytest.approx(PropsSI("D", "T", t, "Q", 0, fluid), rel=8e-4)


@pytest.mark.parametrize(("x", "fluid"), FLUIDS)
@pytest.mark.parametrize("pressure_pa", [60e3, 80e3, 101325.0, 110e3])
def test_heat_of_vaporisation_of_the_pure_liquids(x: float, fluid: str, pressure_pa: float) -> None:
    t = equilibrium.bubble_point(x, pressure_pa).temperature_k
    ours = heat.vapour_enthalpy(x, t) - heat.liquid_enthalpy(x, t)
    dry, wet = (PropsSI("HMOLAR", "T", t, "Q", q, fluid) for q in (1, 0))
    assert ours == pytest.approx(dry - wet, rel=0.005)


@pytest.mark.parametrize(
    ("x", "fluid", "rel"),
    # the equation of state for ethanol lies up to 3.6 % below the evaluated measurements towards 373 K
    [(0.0, "Water", 0.003), (1.0, "Ethanol", 0.04)],
)
@pytest.mark.parametrize("t", [273.2, 298.15, 330.0, 351.44, 373.15])
def test_heat_capacity_of_the_pure_liquids(x: float, fluid: str, rel: float, t: float) -> None:
    assert heat.liquid_heat_capacity(x, t) == pytest.approx(
        PropsSI("CPMOLAR", "T", t, "Q", 0, fluid), rel=rel
    )


def test_heat_to_boil_the_pure_liquids() -> None:
    for x, fluid, rel in ((0.0, "Water", 0.003), (1.0, "Ethanol", 0.02)):
        ours = heat.liquid_enthalpy(x, 351.0) - heat.liquid_enthalpy(x, 293.15)
        ends = [PropsSI("HMOLAR", "T", t, "Q", 0, fluid) for t in (293.15, 351.0)]
        assert ours == pytest.approx(ends[1] - ends[0], rel=rel)


@pytest.mark.parametrize("t_c", [20.0, 30.0, 40.0])
@pytest.mark.parametrize("w", [0.0, 0.1, 0.3, 0.5, 0.8, 1.0])
def test_density_meets_the_oiml_formula_while_cold(w: float, t_c: float) -> None:
    x = strength.x_from_w(w)
    assert heat.liquid_density(x, t_c + 273.15) == pytest.approx(strength.density(w, t_c), rel=8e-4)


def test_density_falls_with_warmth_and_has_no_step() -> None:
    t = np.linspace(274.0, 400.0, 400)
    for x in (0.02, 0.1, 0.3, 0.7):
        steps = np.diff(np.asarray(heat.liquid_density(x, t[t > 290.0])))
        assert (steps < 0.0).all()
        assert np.ptp(steps) < 0.35


def test_mixing_costs_and_contracts() -> None:
    """Half and half at 25 °C: 0.46 kJ/mol given off (Larkin), 1.07 cm3/mol lost (OIML)."""
    x, t = 0.5, 298.15
    apart = x * heat.liquid_enthalpy(1.0, t) + (1.0 - x) * heat.liquid_enthalpy(0.0, t)
    assert heat.liquid_enthalpy(x, t) - apart == pytest.approx(-463.0, abs=20.0)
    volumes = [m / heat.liquid_density(z, t) for z, m in ((x, 32.0419), (1.0, 46.06844), (0.0, 18.01527))]
    assert 1000.0 * (volumes[0] - 0.5 * (volumes[1] + volumes[2])) == pytest.approx(-1.07, abs=0.01)


@few
@given(x=st.floats(0.0, 1.0), t=st.floats(274.0, 423.0))
def test_heat_capacity_is_the_slope_of_enthalpy(x: float, t: float) -> None:
    slope = (heat.liquid_enthalpy(x, t + 0.1) - heat.liquid_enthalpy(x, t - 0.1)) / 0.2
    assert heat.liquid_heat_capacity(x, t) == pytest.approx(slope, rel=1e-6)


@few
@given(y=st.floats(0.0, 1.0), t=st.floats(274.0, 423.0))
def test_vapour_mixes_without_heat(y: float, t: float) -> None:
    apart = y * heat.vapour_enthalpy(1.0, t) + (1.0 - y) * heat.vapour_enthalpy(0.0, t)
    assert heat.vapour_enthalpy(y, t) == pytest.approx(apart, rel=1e-12)


def test_enthalpy_starts_at_the_pure_liquids_at_0_c() -> None:
    assert heat.liquid_enthalpy(0.0, 273.15) == 0.0
    assert heat.liquid_enthalpy(1.0, 273.15) == 0.0
    model = excess()
    x, t = np.array(0.3), np.array(273.15)
    mixing = float(np.sum(model.mixture(x).gibbs * model.heat_weights(t)))
    assert heat.liquid_enthalpy(0.3, 273.15) == pytest.approx(mixing, rel=1e-12)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_scalar_gives_what_an_array_gives(function: Callable[..., object]) -> None:
    x, t = np.array([0.0, 0.02, 0.5, 1.0]), np.array([[280.0], [313.15], [370.0]])
    table = np.asarray(function(x, t))
    assert table.shape == (3, 4)
    for i, row in enumerate(t[:, 0]):
        for j, column in enumerate(x):
            one = function(float(column), float(row))
            assert type(one) is float
            assert one == pytest.approx(table[i, j], rel=1e-13, abs=1e-9)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_refusals_say_what_is_allowed(function: Callable[..., object]) -> None:
    name = "y" if function is heat.vapour_enthalpy else "x"
    for x, t, *record in (
        (1.01, 350.0, name, 1.01, [0, 1]),
        (0.1, 90.0, "temperature_k", 90, [273.15, 423.15]),
        (0.1, [300.0, float("nan")], "temperature_k", "nan K", [273.15, 423.15]),
    ):
        with refused("range", *record) as caught:
            function(x, t)
        assert caught.value.hint
