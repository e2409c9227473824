"""Transport of trace compounds: against an implicit integrator, closed forms and balances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from refusals import refused
from scipy.integrate import solve_ivp

from potsim.liquid import compounds, strength, traces
from potsim.liquid.equilibrium import bubble_point
from potsim.still.carry import Carried, carry, weights
from potsim.still.course import EXHAUSTED, Course, Rising, course
from potsim.still.escape import (
    LIFTED,
    NODES,
    SHARES,
    Soak,
    Source,
    cold_partition_table,
    ease,
    escape,
    partition,
    partition_table,
    volatility_table,
)
from potsim.still.still import Conditions, PowerChange, Still

Array = NDArray[np.float64]
REFLUX = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)
# 40 compounds from the most volatile to those that stay.
MANY = (*[c.id for c in compounds.compounds()][:74:2], "vanillin", "piperine", "methanol")


def run(abv: float = 40.0, conditions: Conditions = REFLUX, *changes: PowerChange) -> Course:
    ethanol, water = (float(amount) for amount in strength.moles(2.4, abv))
    still = Still(4.0, conditions, 1200.0, power_changes=changes)
    return course(ethanol + water, ethanol / (ethanol + water), still)


WARM = (Soak(6 * 3600.0, 0.3, 293.15, 293.15), Soak(1200.0, 0.17, 293.15, 355.0))


def sources(names: tuple[str, ...] = MANY, rate_per_min: float = 0.05) -> list[Source]:
    third, rate = len(names) // 3, rate_per_min / 60.0
    washed, pools = ((0.3, 5.0 * rate),), ((0.4, rate), (0.1, 30.0 * rate))
    return [
        Source(dict.fromkeys(names[:third], 1.0)),
        Source(dict.fromkeys(names[third : 2 * third], 1.0), washed, pools, 0.1, 0.01, WARM),
        Source(dict.fromkeys(names[2 * third :], 1.0), (), ((1.0, 2 * rate),), 0.03, in_vapour=True),
    ]


def by_lsoda(carried: Carried, at: Array, rtol: float) -> Array:
    """Shares over by LSODA, with the equations of the release, the fat and the escape written plainly."""
    rows, course = carried.rows, carried.course
    pressure, basket = course.still.conditions.pressure_pa, rows.in_vapour

    def slope(s: float, y: Array) -> Array:
        states = course.at(np.array([s]))
        out = escape(rows.compounds, states, pressure)
        liquids = np.array([states.pot_x[0], min(float(states.stream_x[0]), traces.X_MAX)])
        in_pot, in_basket = partition_table(rows.compounds, pressure)(liquids)[:, rows.compound]
        parts = np.where(basket, in_basket, in_pot)
        kelvin = np.where(basket, states.vapour_k[0], states.pot_k[0])
        arrhenius = np.exp(25e3 / 8.314462618 * (1.0 / 356.15 - 1.0 / kelvin))
        hours = states.pot_mol[0] / states.rate_mol_per_s[0]
        easy = [arrhenius * (1.0 / (1.0 + h * parts) + LIFTED) * hours for h in rows.hold]
        release = sum(
            (share * r * np.exp(-r * y[kind::4])).sum(axis=0) * easy[kind]
            for kind, (share, r) in enumerate(zip(rows.pool, rows.per_s, strict=True))
        )
        direct = np.where(basket, out.past_neck[0, rows.compound] * release, 0.0)
        held = 1.0 + rows.lipid_l[rows.compound] * out.partition[0, rows.compound] / states.pot_l[0]
        flow = out.per_depletion[0, rows.compound] / held * y[2::4]
        return np.stack([*easy, release - direct - flow, direct + flow], axis=1).ravel()

    first = carried.first_s
    there = carried.grid
    start = np.stack([*first, there.in_pot[:, 0], there.over[:, 0]], axis=1).ravel()
    found = np.empty((first.shape[1], at.size))
    # Afresh at every change of power, where the right-hand side jumps.
    stops = [leg.from_depletion for leg in carried.course.legs[1:]] + [float(at[-1])]
    begin = 0.0
    for end in stops:
        inside = (at >= begin) & (at <= end)
        upto = end - 1e-13 if end < at[-1] else end
        points = np.union1d(np.minimum(at[inside], upto), [upto])
        part = solve_ivp(
            slope, (begin, upto), start, "LSODA", points, rtol=rtol, atol=1e-4 * rtol, lband=3, uband=0
        )
        assert part.success
        found[:, inside] = part.y[3::4, np.searchsorted(points, np.minimum(at[inside], upto))]
        start, begin = part.y[:, -1], end
    return found


def test_agrees_with_lsoda_for_forty_compounds() -> None:
    found = carry(run(), sources())
    assert len(found.rows.compounds) == 40
    at = np.array([0.003, 0.02, 0.1, 0.4, 0.8, EXHAUSTED])
    np.testing.assert_allclose(found.at(at).over, by_lsoda(found, at, 1e-7), atol=3e-6)


@pytest.mark.parametrize("abv", [10.0, 75.0, 0.0])
def test_agrees_with_lsoda_from_weak_strong_and_water(abv: float) -> None:
    found = carry(run(abv), sources(MANY[::5]))
    at = np.array([0.02, 0.4, 1.5])
    np.testing.assert_allclose(found.at(at).over, by_lsoda(found, at, 1e-7), atol=3e-6)


def test_agrees_with_lsoda_when_the_power_changes() -> None:
    changes = (PowerChange(0.2, 400.0), PowerChange(0.5, 900.0))
    found = carry(run(40.0, REFLUX, *changes), sources(MANY[::5]))
    at = np.array([0.05, 0.2, 0.5, 1.0])
    assert len(found.course.legs) == 3
    np.testing.assert_allclose(found.at(at).over, by_lsoda(found, at, 1e-7), atol=3e-6)


@settings(max_examples=15, deadline=None)
@given(
    abv=st.floats(0.0, 85.0),
    rate=st.floats(1e-4, 1.0),
    loss=st.floats(0.0, 2.0),
    cut=st.floats(0.0, EXHAUSTED),
)
def test_nothing_is_lost_and_nothing_runs_back(abv: float, rate: float, loss: float, cut: float) -> None:
    there = run(abv, Conditions(power_w=700.0, neck_loss_w_per_k=loss))
    found = carry(there, sources(MANY[::5], rate))
    for shares in (found.grid, found.at(np.array([0.0, cut]))):
        np.testing.assert_allclose(shares.in_plant + shares.in_pot + shares.over, 1.0, rtol=0, atol=1e-12)
        assert min(shares.in_plant.min(), shares.in_pot.min(), shares.over.min()) >= -1e-12
    assert np.diff(found.grid.over, axis=1).min() >= -1e-12


def test_what_is_dissolved_at_constant_escape_decays_exactly() -> None:
    # From water the escape does not change: n = exp(-k s).
    there = run(0.0)
    found = carry(there, [Source({"eugenol": 1.0})])
    k = escape(("eugenol",), there.at(np.array([0.3])), 101325.0).per_depletion[0, 0]
    s = np.array([0.01, 0.3, 2.0])
    np.testing.assert_allclose(found.at(s).in_pot[0], np.exp(-k * s), rtol=1e-10)


def test_release_alone_follows_the_clock_and_the_warmth() -> None:
    # Without wax easy time is the Arrhenius factor times real time; what does not evaporate stays in the pot.
    found = carry(run(), [Source({"piperine": 1.0}, pools=((0.75, 0.1 / 60.0),))])
    s = np.array([0.1, 0.7])
    grid = np.linspace(0.0, 0.7, 20001)
    there = found.course.at(grid)
    warmth = np.exp(25e3 / 8.314462618 * (1.0 / 356.15 - 1.0 / there.pot_k)) * (1.0 + LIFTED)
    easy = np.interp(
        s, grid, np.append(0.0, np.cumsum(0.5 * (warmth[1:] + warmth[:-1]) * np.diff(there.elapsed_s)))
    )
    shares = found.at(s)
    np.testing.assert_allclose(shares.in_plant[0], 0.75 * np.exp(-0.1 / 60.0 * easy), rtol=1e-7)
    np.testing.assert_allclose(shares.in_pot[0], 1.0 - shares.in_plant[0], rtol=1e-12)
    assert (shares.over == 0.0).all()


def test_a_soak_is_the_integral_of_its_ease() -> None:
    there = run()
    soak = Soak(3000.0, 0.1, 291.0, 353.0)
    found = carry(
        there, [Source({"linalool": 1.0, "limonene": 1.0}, pools=((1.0, 1e-4),), wax=0.1, soaks=(soak, soak))]
    )
    t = np.linspace(0.0, 1.0, 2001)
    kelvin = 291.0 + 62.0 * t
    boil_k = float(np.asarray(bubble_point(0.1).temperature_k))
    for k, name in enumerate(("linalool", "limonene")):
        low, high = (partition((name,), np.array([0.1]), np.array([at]))[0, 0] for at in (293.15, boil_k))
        along = (1.0 / 293.15 - 1.0 / kelvin) / (1.0 / 293.15 - 1.0 / boil_k)
        part = low ** (1.0 - along) * high**along
        whole = 6000.0 * np.trapezoid(ease(np.array(0.1), part, kelvin, False), t)
        assert found.first_s[1, k] == pytest.approx(whole, rel=1e-4)


def test_fat_in_the_pot_holds_back_what_it_dissolves_best() -> None:
    names = {"alpha_pinene": 1.0, "linalool": 1.0, "methanol": 1.0}
    free = carry(run(), [Source(names)])
    fat = carry(run(), [Source(names, lipid_l=0.02)])
    alone = carry(run(), [Source(names), Source({}, lipid_l=0.02)], alone=True)
    both = carry(run(), [Source(names), Source({}, lipid_l=0.02)])
    s = np.array([0.0, 0.02])
    less = fat.rate(s)[:, 0] / free.rate(s)[:, 0]
    assert less[0] < less[1] < less[2]
    assert less[2] == pytest.approx(1.0, abs=0.01)
    np.testing.assert_array_equal(both.at(s).over, fat.at(s).over)
    np.testing.assert_array_equal(alone.at(s).over, free.at(s).over)


def test_the_rate_is_the_slope_of_what_is_over() -> None:
    found = carry(run(), sources(MANY[::3]))
    s = np.array([0.05, 0.3, 0.9])
    step = 1e-4
    slope = (found.at(s + step).over - found.at(s - step).over) / (2 * step)
    np.testing.assert_allclose(found.rate(s), slope, rtol=1e-3, atol=1e-6)
    near = found.rate(found.depletion[40:41] + 1e-12)[:, 0]
    np.testing.assert_allclose(near, found.grid_rate[:, 40], rtol=1e-6, atol=1e-9)


def test_points_between_the_grid_join_it() -> None:
    found = carry(run(), sources(MANY[::3]))
    s = found.depletion[[0, 7, 50, -1]].copy()
    np.testing.assert_array_equal(found.at(s).over, found.grid.over[:, [0, 7, 50, -1]])
    s[1:] -= 1e-13
    np.testing.assert_allclose(found.at(s).over, found.grid.over[:, [0, 7, 50, -1]], atol=1e-9)
    np.testing.assert_allclose(found.at(s).in_pot, found.grid.in_pot[:, [0, 7, 50, -1]], atol=1e-9)


def test_a_basket_sends_ahead_what_a_pot_holds_back() -> None:
    names, washed = {"eugenol": 1.0, "limonene": 1.0}, ((1.0, 0.1 / 60.0),)
    pot = carry(run(), [Source(names, washed)])
    basket = carry(run(), [Source(names, washed, in_vapour=True)])
    s = np.array([0.1])
    assert basket.at(s).over[0, 0] > 3.0 * pot.at(s).over[0, 0]
    # Limonene does not mind the vapour, but the condensate on the pieces is stronger and washes it off.
    assert basket.at(s).over[1, 0] > pot.at(s).over[1, 0]
    # With a bare neck that returns some, part of the eugenol runs back into the pot.
    assert basket.at(s).in_pot[0, 0] > 0.01
    dry = carry(run(40.0, Conditions(power_w=700.0)), [Source(names, washed, in_vapour=True)])
    assert dry.at(s).in_pot.max() == pytest.approx(0.0, abs=1e-12)


def test_reflux_holds_the_heavy_back_and_lets_the_light_go() -> None:
    names, first = ("limonene", "eugenol"), np.array([0.0])
    bare = escape(names, run(40.0, Conditions(power_w=700.0)).at(first), 101325.0).per_depletion[0]
    held = escape(names, run(40.0, REFLUX).at(first), 101325.0).per_depletion[0]
    assert held[0] == pytest.approx(bare[0], rel=0.1)
    assert held[1] < 0.75 * bare[1]


def test_the_table_of_volatilities_is_the_function() -> None:
    names = tuple(c.id for c in compounds.compounds())
    x = np.array([0.0, 1e-6, 0.003, 0.05, 0.3, 0.62, traces.X_MAX])
    direct = traces.volatilities(names, x, 95e3).T
    np.testing.assert_allclose(volatility_table(names, 95e3)(x), direct, rtol=1e-6)
    boil_k = np.atleast_1d(bubble_point(x, 95e3).temperature_k)
    np.testing.assert_allclose(partition_table(names, 95e3)(x), partition(names, x, boil_k).T, rtol=1e-5)
    cold = partition(names, x, np.full(x.shape, 293.15)).T
    np.testing.assert_allclose(cold_partition_table(names)(x), cold, rtol=1e-5)


def test_own_compounds_and_unknown_ones() -> None:
    own = {"mine": compounds.Compound.own("mine", 150.0, relative_to_ethanol=1.0)}
    found = carry(run(), [Source({"mine": 1.0, "methanol": 2.0})], own)
    assert found.compound_ids == ("mine", "methanol")
    assert found.rows.amount.tolist() == [1.0, 2.0]
    with refused("unknown_name", "", "limonine"):
        carry(run(), [Source({"limonine": 1.0})])


def test_something_as_volatile_as_ethanol_leaves_with_it() -> None:
    own = {"mine": compounds.Compound.own("mine", 150.0, relative_to_ethanol=1.0)}
    found = carry(run(40.0, Conditions(power_w=700.0)), [Source({"mine": 1.0})], own)
    s = np.array([0.05, 0.2, 0.6])
    there = found.course.at(s)
    share = there.over_ethanol_mol / (found.course.charge_mol * found.course.charge_x)
    np.testing.assert_allclose(found.at(s).over[0], share, rtol=1e-4)


def test_beyond_the_grid_is_refused() -> None:
    found = carry(run(), sources(MANY[::9]))
    with refused("range", "depletion", 7, [0, 6.90776]):
        found.at(np.array([7.0]))


def test_nothing_to_carry() -> None:
    assert carry(run(), []).grid.over.shape[0] == 0


@pytest.mark.parametrize("z", [0.0, 1e-12, 0.2, 0.49999, 0.50001, 3.0, 1e3, 1e7])
def test_weights_are_exact_for_a_parabola(z: float) -> None:
    w = weights(np.full((3, 1), z), np.array([1.0]))
    x, gauss = np.polynomial.legendre.leggauss(80)
    low = max(0.0, 1.0 - 60.0 / max(z, 1.0))
    u = low + (1.0 - low) * 0.5 * (x + 1.0)
    for power in range(3):
        kept = float(np.sum(gauss * 0.5 * (1.0 - low) * u**power * np.exp(-z * (1.0 - u))))
        assert float(NODES**power @ w.kept[:, 0]) == pytest.approx(kept, rel=1e-9)
        assert float(NODES**power @ w.left[:, 0]) == pytest.approx(1.0 / (power + 1) - kept, abs=1e-13)
    assert w.lost[0] == pytest.approx(-np.expm1(-z), rel=1e-14)
    assert SHARES.sum() == pytest.approx(1.0)


def test_rising_curves_keep_rising_and_turn_back() -> None:
    s = np.array([0.0, 0.1, 0.5, 2.0])
    values = np.stack([-np.expm1(-3.0 * s), -np.expm1(-80.0 * s)])
    curve = Rising(s, values, np.stack([3.0 * np.exp(-3.0 * s), 80.0 * np.exp(-80.0 * s)]))
    fine = curve(np.linspace(0.0, 2.0, 301))
    assert np.diff(fine, axis=1).min() >= 0.0
    levels = np.array([0.1, 0.5, 0.9])
    back = curve.reaches(levels)
    for row in range(2):
        np.testing.assert_allclose(curve(back[row])[row], levels, atol=1e-7)


@pytest.mark.parametrize(
    ("abv", "conditions"),
    [
        (56.4, Conditions(101325.0, 87.66, 0.9306, 0.0664, 285.3)),  # most of the vapour runs back
        (2e-6, Conditions(101325.0, 3.047, 0.01195, 0.0206, 279.6)),  # a first step of years
    ],
)
def test_nothing_is_lost_or_comes_back_where_the_neck_returns_nearly_all(
    abv: float, conditions: Conditions
) -> None:
    names = dict.fromkeys(MANY, 1.0)
    there = course(20.0, float(strength.x_from_abv(abv)), Still(103.0, conditions, 2.0 * conditions.power_w))
    both = [
        Source(names, pools=((1.0, 0.1 / 60.0),), wax=0.1),
        Source(names, ((0.9, 0.1 / 60.0),), in_vapour=True),
    ]
    grid = carry(there, both).grid
    np.testing.assert_allclose(grid.in_plant + grid.in_pot + grid.over, 1.0, atol=1e-12)
    assert min(grid.in_plant.min(), grid.in_pot.min()) >= 0.0
    assert np.diff(grid.over, axis=1).min() >= 0.0
