"""Behind the neck and under the pot: the parrot, the condenser, lost spirit, losses by size, stored heat."""

from __future__ import annotations

import numpy as np
import pytest
from refusals import refused
from scipy.integrate import quad, solve_ivp

from potsim.liquid import strength
from potsim.still.course import Course, course
from potsim.still.courses import courses
from potsim.still.family import family
from potsim.still.receiver import Parrot, condensing_power_w, condensing_w, first_parrot_abv
from potsim.still.still import (
    HEATERS,
    Conditions,
    PowerChange,
    Span,
    Still,
    Stills,
    full_power_s,
    losses,
    mass_kg,
    shed_w_per_m2_k,
)
from potsim.still.tables import balance

BARE = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)


def run_of(litres: float, abv: float, still: Still) -> Course:
    ethanol, water = (float(amount) for amount in strength.moles(litres, abv))
    return course(ethanol + water, ethanol / (ethanol + water), still)


def stream_at(run: Course, collected_l: float) -> float:
    s = run.first(lambda states: states.collected_l - collected_l)
    assert s is not None
    return float(run.at(np.array([s])).stream_abv[0])


@pytest.mark.parametrize("volume_l", [0.02, 0.08, 0.3])
def test_parrot_is_a_mixed_vessel_integrated_plainly(volume_l: float) -> None:
    run = run_of(2.4, 38.0, Still(4.0, BARE, 700.0))
    s = np.array([0.4, 0.6, 0.9])
    states = run.at(s)
    start = run.first(lambda states: states.collected_l - volume_l)
    full = run.at(np.array([start]))
    plain = solve_ivp(
        lambda v, a: [(stream_at(run, v) - a[0]) / volume_l],
        (volume_l, float(states.collected_l[-1])),
        [float(full.mean_abv[0])],
        t_eval=states.collected_l,
        rtol=1e-10,
        atol=1e-10,
    )
    assert np.abs(Parrot(run, volume_l).at(states) - plain.y[0]).max() < 1e-6


def test_parrot_while_it_fills_shows_what_is_pooled() -> None:
    run = run_of(2.4, 38.0, Still(4.0, BARE, 700.0))
    states = run.at(np.array([0.0, 0.01, 0.02]))
    assert states.collected_l[-1] < 0.08
    assert np.array_equal(Parrot(run, 0.08).at(states), states.mean_abv)


def test_parrot_lags_as_worked_out_by_hand() -> None:
    """A parrot of next to no size shows the stream; a small one lags by its own volume."""
    run = run_of(2.4, 38.0, Still(4.0, BARE, 700.0))
    states = run.at(np.array([0.3, 0.6]))
    assert np.abs(Parrot(run, 5e-5).at(states) - states.stream_abv).max() < 0.01
    s = run.first(lambda states: 55.0 - states.stream_abv)
    there = run.at(np.array([s]))
    slope = stream_at(run, float(there.collected_l[0])) - stream_at(run, float(there.collected_l[0]) - 0.005)
    lag = Parrot(run, 0.005).at(there)[0] - 55.0
    assert lag == pytest.approx(-slope, rel=0.03)


def test_parrot_through_a_change_of_power() -> None:
    still = Still(4.0, BARE, 700.0, power_changes=(PowerChange(0.5, 300.0),))
    run = run_of(2.4, 38.0, still)
    states = run.at(run.first(lambda s: s.collected_l - 0.9) * np.ones(1))
    start = run.at(np.array([run.first(lambda s: s.collected_l - 0.08)]))
    a, v = float(start.mean_abv[0]), 0.08
    for end in (0.5 - 1e-9, 0.5 + 1e-9, float(states.collected_l[0])):  # the stream jumps there
        plain = solve_ivp(
            lambda v, a: [(stream_at(run, v) - a[0]) / 0.08], (v, end), [a], rtol=1e-9, atol=1e-9
        )
        a, v = float(plain.y[0, -1]), end
    assert Parrot(run, 0.08).at(states)[0] == pytest.approx(a, abs=1e-5)


def test_many_parrots_as_one() -> None:
    stills = Stills.like(BARE, neck_loss_w_per_k=np.array([0.3, 0.6, 1.2]))
    ethanol, water = (float(amount) for amount in strength.moles(2.4, 38.0))
    mol, x = np.full(3, ethanol + water), np.full(3, ethanol / (ethanol + water))
    still = Still(4.0, BARE, 700.0)
    many = courses(family(Span.over(stills, BARE.pressure_pa)), mol, x, stills, still)
    found = first_parrot_abv(many, 0.08, 55.0, 2.0)
    for k, loss in enumerate(stills.neck_loss_w_per_k):
        one = course(
            mol[k],
            x[k],
            Still(4.0, Conditions(power_w=700.0, neck_loss_w_per_k=loss, pot_loss_w_per_k=1.0), 700.0),
        )
        parrot = Parrot(one, 0.08)
        assert found[k] == pytest.approx(one.first(lambda s, p=parrot: 55.0 - p.at(s)), abs=2e-5)
    assert np.isinf(first_parrot_abv(many, 0.08, 0.0, 2.0)).all()
    assert (first_parrot_abv(many, 0.08, 99.0, 2.0) == 0.0).all()


def test_what_is_lost_behind_the_neck_changes_nothing_before_it() -> None:
    tight, leaking = (run_of(2.4, 38.0, Still(4.0, BARE, 700.0, lost=lost)) for lost in (0.0, 0.16))
    s = np.linspace(0.0, 1.0, 7)
    a, b = tight.at(s), leaking.at(s)
    for name in ("pot_mol", "pot_x", "stream_x", "pot_k", "vapour_k", "elapsed_s", "rate_mol_per_s"):
        assert np.array_equal(getattr(a, name), getattr(b, name))
    assert np.allclose(b.over_mol, 0.84 * a.over_mol, rtol=1e-15)
    assert np.allclose(b.over_ethanol_mol, 0.84 * a.over_ethanol_mol, rtol=1e-15)
    assert np.allclose(b.mean_abv[1:], a.mean_abv[1:], rtol=1e-12)


def test_a_condenser_that_just_holds() -> None:
    x = np.array([0.05, 0.1, 0.17])
    power = condensing_power_w(BARE, x, 350.0)
    state = balance(x, Conditions(power_w=power, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0))
    duty = condensing_w(state.rate_mol_per_s, state.y_distillate, state.vapour_k, BARE.pressure_pa)
    assert duty.max() == pytest.approx(350.0, rel=2e-4)
    assert np.all(duty < state.condenser_w)  # which cools to the room besides


def test_boil_rate_by_latent_heat() -> None:
    """750 W on 40 % vol: 35 to 40 mL/min at the first drop (latent heat, losses of a bare 4 L still)."""
    still = Still(4.0, Conditions(power_w=750.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0), 750.0)
    first = run_of(2.4, 40.0, still).at(np.array([0.0]))
    y = float(first.stream_x[0])
    ml = 6e4 * float(first.rate_mol_per_s[0]) * float(strength.volume_from_moles(y, 1.0 - y))
    assert 35.0 < ml < 40.0


def test_heat_up_of_a_full_pot() -> None:
    """3.6 L of 40 % vol in a 4 L pot, 300 W: 50 to 65 min to the first drop (heat capacity and losses)."""
    still = Still(4.0, Conditions(power_w=300.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0), 300.0)
    assert 50.0 < run_of(3.6, 40.0, still).first_drop_s / 60.0 < 65.0


def test_walls_shed_what_handbooks_say() -> None:
    """Of a wall at 85 °C in a room, from memory: convection 5 to 7, black radiation 7 to 8 W/(m2 K)."""
    steel, glass, copper = (shed_w_per_m2_k(name, 0.2, 293.15) for name in ("steel", "glass", "copper"))
    black = 5.670374419e-8 * (358.15**2 + 293.15**2) * (358.15 + 293.15)
    assert 7.0 < black < 8.0
    assert 5.0 < glass - 0.90 * black < 7.0
    assert steel == pytest.approx(glass - 0.65 * black, rel=1e-12)
    assert steel < copper < glass


def test_losses_by_size() -> None:
    small, large = losses("steel", 4.0, 2.0, 293.15), losses("steel", 32.0, 16.0, 293.15)
    width = (4.0 * 4e-3 / np.pi) ** (1.0 / 3.0)
    shed = [shed_w_per_m2_k("steel", k * width, 293.15) for k in (1.0, 2.0)]
    assert sum(large) / sum(small) == pytest.approx(4.0 * shed[1] / shed[0], rel=1e-9)  # twice as wide
    emptier = losses("steel", 4.0, 1.0, 293.15)
    assert emptier.pot_w_per_k == pytest.approx(0.5 * small.pot_w_per_k)
    assert sum(emptier) == pytest.approx(sum(small), rel=1e-12)
    assert 0.8 < mass_kg("steel", 4.0) < 1.2
    with refused("unknown_name", "still.pot_metal", "tin"):
        losses("tin", 4.0, 2.0, 293.15)


def test_what_a_plate_still_gives() -> None:
    """The heat of a plate that fades exponentially, above what pot and neck shed, against its integral."""
    for shed in (0.1, 0.4, 0.8):
        end = 150.0 * np.log(1.0 / shed)
        heat = quad(lambda t, shed=shed: np.exp(-t / 150.0) - shed, 0.0, end)[0]
        assert full_power_s(150.0, shed) == pytest.approx(heat / (1.0 - shed), rel=1e-9)
    assert full_power_s(150.0, 0.0) == 150.0
    assert HEATERS["plate"].low < HEATERS["plate"].share < HEATERS["plate"].high
