"""At the limits of every model, and for random plans: finite answers, or refusals that say what to do."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import digest
import numpy as np
import pytest
from fuzz.checks import plain, says_something
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from refusals import refused

import potsim
from potsim.errors import PotsimError, RangeError
from potsim.liquid import clouding, equilibrium, heat, strength, traces
from potsim.liquid.compounds import Compound
from potsim.planning.charge import blend
from potsim.planning.forecast import follow
from potsim.planning.plan import (
    BotanicalDose,
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    JarStock,
    Plan,
    PowerStep,
    StillPlan,
    Stop,
    Stretch,
)
from potsim.planning.proofing import Part, blend_to, proof_down
from potsim.planning.readings import Entry, next_reading
from potsim.planning.run import Run
from potsim.planning.stops import cut_table
from potsim.still.course import EXHAUSTED, course
from potsim.still.still import Conditions, Still, pressure_at_altitude
from potsim.still.tables import balance

LOW_PA, SEA_PA = 60_000.0, 101_325.0
AZEOTROPE = float(equilibrium.azeotrope(SEA_PA).x)
X = np.array([0.0, 1e-15, 1e-9, 0.5, AZEOTROPE, 1.0 - 1e-9, 1.0])
ABV = np.array([0.0, 1e-12, 1e-6, 40.0, 97.0, 100.0 - 1e-9, 100.0])
T_K = np.array([[273.15], [300.0], [373.15]])

LIQUID: dict[str, tuple[Callable[..., Any], tuple[Any, ...]]] = {
    "bubble_point": (equilibrium.bubble_point, (X, np.array([[LOW_PA], [SEA_PA]]))),
    "dew_point": (equilibrium.dew_point, (X, np.array([[LOW_PA], [SEA_PA]]))),
    "azeotrope": (equilibrium.azeotrope, (np.array([LOW_PA, SEA_PA, 110_000.0]),)),
    "limiting_volatility": (equilibrium.limiting_volatility, (np.array([LOW_PA, SEA_PA]),)),
    "activity_coefficients": (equilibrium.activity_coefficients, (X, np.array([[330.0], [373.15]]))),
    "boiling_point_water": (equilibrium.boiling_point_water, (np.array([LOW_PA, SEA_PA]),)),
    "boiling_point_ethanol": (equilibrium.boiling_point_ethanol, (np.array([LOW_PA, SEA_PA]),)),
    "liquid_enthalpy": (heat.liquid_enthalpy, (X, T_K)),
    "vapour_enthalpy": (heat.vapour_enthalpy, (X, T_K)),
    "liquid_heat_capacity": (heat.liquid_heat_capacity, (X, T_K)),
    "liquid_density": (heat.liquid_density, (X, T_K)),
    "abv_from_x": (strength.abv_from_x, (X,)),
    "x_from_abv": (strength.x_from_abv, (ABV,)),
    "w_from_abv": (strength.w_from_abv, (ABV,)),
    "abv_from_w": (strength.abv_from_w, (X,)),
    "mass_of": (strength.mass_of, (np.array([[0.0], [1e-9], [1e5]]), ABV)),
    "moles": (strength.moles, (np.array([[0.0], [1e-9], [1e5]]), ABV)),
    "density": (strength.density, (X, np.array([[-20.0], [20.0], [40.0]]))),
    "proof_from_abv": (strength.proof_from_abv, (ABV,)),
    "volume_at": (strength.volume_at, (1.0, ABV[3:], np.array([[-20.0], [40.0]]), 20.0)),
    "water_to_reach": (strength.water_to_reach, (1.0, ABV[3:], np.array([[1e-6], [40.0]]))),
    "volatility": (
        traces.volatility,
        ("limonene", np.array([0.0, 1e-9, 0.5, 0.86]), np.array([[LOW_PA], [SEA_PA]])),
    ),
    "escape": (traces.escape, (np.array([0.0, 1e-300, 1.0, 1e12]), 0.0, np.array([[0.0], [0.5]]))),
    "solubility": (clouding.solubility, ("anethole", ABV)),
    "load": (clouding.load, ({"anethole": 0.0, "limonene": 1e-12}, ABV)),
}


def numbers(answer: Any) -> np.ndarray:
    """All numbers of an answer, be it a number, an array, or a dataclass of them."""
    return np.concatenate([np.ravel(np.asarray(one, dtype=float)) for one in parts(answer)])


def parts(answer: Any) -> list[Any]:
    """The fields of an answer that has several, else the answer."""
    if hasattr(answer, "__dataclass_fields__"):
        return [getattr(answer, name) for name in answer.__dataclass_fields__]
    return list(answer) if isinstance(answer, tuple) else [answer]


@pytest.mark.parametrize("name", LIQUID)
def test_the_liquid_at_its_limits(name: str) -> None:
    function, arguments = LIQUID[name]
    whole = function(*arguments)
    assert np.all(np.isfinite(numbers(whole)))
    np.testing.assert_array_equal(numbers(function(*arguments)), numbers(whole))
    alone = function(*(float(np.ravel(a)[0]) if isinstance(a, np.ndarray) else a for a in arguments))
    assert all(isinstance(one, float) for one in parts(alone))
    first = [np.ravel(np.asarray(one))[0] for one in parts(whole)]
    np.testing.assert_allclose(numbers(alone), first, rtol=1e-12, atol=1e-300)


@pytest.mark.parametrize("name", LIQUID)
@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf, -1e6])
def test_beyond_its_limits_the_liquid_refuses(name: str, wrong: float) -> None:
    function, arguments = LIQUID[name]
    given = [float(np.ravel(a)[0]) if isinstance(a, np.ndarray) else a for a in arguments]
    for place in (k for k, argument in enumerate(given) if isinstance(argument, float)):
        with pytest.raises(RangeError) as refused:
            function(*given[:place], wrong, *given[place + 1 :])
        says_something(refused.value)


@pytest.mark.parametrize("pressure_pa", [LOW_PA, SEA_PA])
@pytest.mark.parametrize("room_k", [273.15, 318.15])
@pytest.mark.parametrize("x", [0.0, 1e-12, 0.2, 0.8])
def test_a_still_at_its_limits_to_the_last_drop(pressure_pa: float, room_k: float, x: float) -> None:
    conditions = Conditions(pressure_pa, 700.0, 0.6, 1.0, room_k)
    state = balance(np.array([1e-15, 1e-6, 0.5, 0.8]), conditions)
    assert np.all(np.isfinite(numbers(state)))
    run = course(1e-3, x, Still(1.0, conditions, 700.0))
    states = run.at(np.array([0.0, 1e-12, 1.0, 6.0, EXHAUSTED]))
    for name in ("collected_l", "stream_abv", "pot_abv", "pot_l", "pot_k", "vapour_k", "elapsed_s"):
        assert np.all(np.isfinite(getattr(states, name))), name
    assert np.all(np.diff(states.collected_l) >= 0.0)
    assert np.all(np.diff(states.elapsed_s) >= 0.0)


def test_a_balance_of_water_alone_is_refused() -> None:
    with refused("water_alone", "x", 0, error=RangeError):
        balance(np.array([0.2, 0.0]), Conditions())


def test_no_room_for_a_wave_of_groups_in_an_own_compound() -> None:
    with refused("too_many_groups", "groups", 10**9 + 3, 7):
        Compound.own("wax", 86.13, groups={1: 10**9, 2: 3}, tb_k=376.2)
    with refused("none_of_a_group", "groups", 0, 1):
        Compound.own("nothing", 86.13, groups={1: 0}, tb_k=376.2)
    heaviest = Compound.own("wax", 2000.0, groups={2: 166}, tb_k=250.0)
    assert np.all(np.isfinite(traces.volatility(heaviest, np.array([0.0, 0.3, 0.86]))))


def test_altitude_to_the_highest_town() -> None:
    assert 58_000 < pressure_at_altitude(4200.0) < 62_000


def test_proofing_and_blending_at_their_limits() -> None:
    assert proof_down(1e-6, 100.0, 1e-3).water_l > 0.0
    assert proof_down(1.0, 40.0, 40.0).water_l == 0.0
    mixed = blend_to([Part(100.0), Part(1e-6)], 1e-3, 1.0)
    assert all(math.isfinite(value) for value in (*mixed.spirits_l, mixed.water_l, mixed.abv))


def checked(plan: Plan) -> Run | None:
    """Run a plan and hold what every run must; None if it is refused in words, with what to do."""
    try:
        run = potsim.distil(plan)
        document = run.to_dict()
    except PotsimError as error:
        says_something(error, hint=True)
        return None
    plain(document)
    assert {len(values) for values in document["curve"].values()} == {201}
    over = run.course.at(np.array([run.end.depletion]))
    held = strength.mass_of(run.charge.volume_l, run.charge.abv)
    left = run.stop.pot_l, run.stop.pot_abv
    away = run.stop.collected_l, run.stop.mean_abv
    assert strength.mass_of(*left) + strength.mass_of(*away) == pytest.approx(held, rel=1e-6)
    ethanol = sum(volume * abv / 100.0 for volume, abv in (left, away))
    # A strength is looked up to 2e-6 % vol of what the law of density says; in moles the balance is exact.
    assert ethanol == pytest.approx(run.charge.ethanol_l, rel=1e-6, abs=2e-8 * run.charge.volume_l)
    assert abs(document["closure"]["ethanol"]) < 1e-9
    # Where hardly more heat arrives than is shed, the look-up of time is good to 1.2e-6; else far better.
    assert abs(document["closure"]["energy"]) < 2e-6
    jars = sum(jar.ethanol_l for jar in run.jars) + run.row.left_over.ethanol_l
    assert jars == pytest.approx(away[0] * away[1] / 100.0, rel=1e-6, abs=1e-12 * run.charge.volume_l)
    assert run.keep.ethanol_l <= jars * (1.0 + 1e-9)
    for name in ("collected_l", "recovered", "elapsed_min"):
        assert np.all(np.diff(document["curve"][name]) >= -1e-9 * abs(over.pot_l[0] + over.collected_l[0])), (
            name
        )
    for flavour in run.flavours:
        assert 0.0 <= flavour.over_g <= flavour.releasable_g * (1.0 + 1e-9)
        assert -1e-9 <= flavour.left_in_pot <= 1.0 + 1e-9
    return run


def of(*charge: Ingredient, **parts: Any) -> Plan:
    return Plan(charge, **parts)


SPIRIT = Ingredient("spirit", 2.4, 38.0)
EDGES = {
    "water": (of(Ingredient("water", 1.0)), True),
    "a trace of alcohol": (of(Ingredient("beer", 1.0, 1e-4)), True),
    "pure alcohol": (of(Ingredient("alcohol", 1.0, 100.0)), False),
    "the azeotrope": (of(Ingredient("alcohol", 1.0, 97.2)), False),
    "just weaker than the azeotrope": (of(Ingredient("alcohol", 1.0, 96.0)), True),
    "a thimble in a pot": (of(Ingredient("spirit", 1e-3, 40.0), still=StillPlan(capacity_l=4.0)), True),
    "a pot nearly emptied": (of(SPIRIT, cuts=Cuts(stop=Stop(pot_abv=1e-9))), True),
    "all alcohol but a ten-thousandth": (of(SPIRIT, cuts=Cuts(stop=Stop(recovered=0.9999))), True),
    "60 kPa": (of(SPIRIT, still=StillPlan(pressure_hpa=600.0)), True),
    "110 kPa": (of(SPIRIT, still=StillPlan(pressure_hpa=1100.0)), True),
    "a hot room": (of(SPIRIT, still=StillPlan(room_c=45.0), bottling=Bottling(abv=42.0)), True),
    "a room at freezing point": (of(SPIRIT, still=StillPlan(room_c=0.0), bottling=Bottling(abv=42.0)), True),
    "hardly any heat": (of(SPIRIT, still=StillPlan(power_w=1.0)), False),
    "a power station": (of(SPIRIT, still=StillPlan(power_w=1e6)), True),
    "no losses": (of(SPIRIT, still=StillPlan(neck_loss_w_per_k=0.0, pot_loss_w_per_k=0.0)), True),
    "a kiln": (of(Ingredient("spirit", 5e4, 30.0)), True),
    "drops": (of(Ingredient("spirit", 1e-6, 40.0), bottling=Bottling(abv=40.0)), False),
    "more heads than there is": (of(SPIRIT, cuts=Cuts(heads_l=5.0)), False),
}


@pytest.mark.parametrize("name", EDGES)
def test_plans_at_the_limits(name: str) -> None:
    plan, runs = EDGES[name]
    assert (checked(plan) is not None) == runs


@pytest.mark.parametrize("room_c", [-20.0, 45.1, math.nan])
def test_a_room_beyond_the_heats_is_refused(room_c: float) -> None:
    with refused("range", "still.room", f"{room_c:g} °C"):
        potsim.distil(of(SPIRIT, still=StillPlan(room_c=room_c)))


@pytest.mark.parametrize("volume_l", [1e-219, 0.0009])
def test_less_than_a_millilitre_is_no_charge(volume_l: float) -> None:
    with refused("range", "charge", f"{volume_l:g} L", "at least 0.001 and"):
        potsim.distil(of(replace(SPIRIT, volume_l=volume_l)))


def log(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(math.log(low), math.log(high)).map(lambda v: float(f"{math.exp(v):.6g}"))


def maybe(what: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | what


def plain_stop(stop: Stop) -> dict[str, Any]:
    """What a stop says."""
    return {name: value for name, value in vars(stop).items() if value}


STRENGTH = st.floats(10.0, 70.0) | st.floats(0.0, 100.0) | st.sampled_from([0.0, 96.0, 100.0])
VOLUME = log(0.5, 5.0) | log(1e-3, 1e3)
INGREDIENT = st.builds(
    Ingredient, st.just("spirit"), VOLUME, STRENGTH, maybe(st.sampled_from(["neutral", "pot rum"]))
)
STILL = st.builds(
    StillPlan,
    capacity_l=maybe(log(20.0, 1e4)),
    power_w=maybe(log(300.0, 1e5)),
    heat_up_power_w=maybe(log(300.0, 1e5)),
    neck_loss_w_per_k=maybe(st.just(0.0) | log(1e-3, 3.0)),
    pot_loss_w_per_k=maybe(st.just(0.0) | log(1e-3, 3.0)),
    room_c=maybe(st.floats(0.0, 45.0)),
    pressure_hpa=maybe(st.floats(600.0, 1100.0)),
    min_level_l=maybe(log(1e-3, 0.3)),
    pot_mass_kg=maybe(log(0.1, 100.0)),
    power_steps=st.just(()) | log(0.01, 2.0).map(lambda litres: (PowerStep(litres, 400.0),)),
)


@st.composite
def stills_near_their_limit(draw: st.DrawFn) -> StillPlan:
    """Hardly more power than pot and neck shed: most of the vapour runs back.

    From 1 % more on; at 0.1 % the table's energy balance closes to 1e-4 only.
    """
    neck, pot = draw(log(0.05, 3.0)), draw(log(0.05, 3.0))
    power_w = 80.0 * (neck + pot) * (1.0 + draw(log(0.01, 1.0)))
    return StillPlan(50.0, power_w=power_w, heat_up_power_w=1e4, neck_loss_w_per_k=neck, pot_loss_w_per_k=pot)


ONE_STOP = st.one_of(
    st.builds(Stop, stream_abv=st.floats(1.0, 90.0)),
    st.builds(Stop, pot_abv=st.floats(1e-6, 30.0)),
    st.builds(Stop, vapour_c=st.floats(75.0, 100.0)),
    st.builds(Stop, collected_l=log(0.01, 5.0)),
    st.builds(Stop, recovered=st.floats(0.01, 0.9999)),
    st.builds(Stop, elapsed_min=log(10.0, 1e3)),
    st.builds(Stop, cloudy=st.just(True)),
)
STOP = ONE_STOP | st.tuples(ONE_STOP, ONE_STOP).map(lambda two: replace(two[0], **plain_stop(two[1])))
DOSE = st.builds(
    BotanicalDose,
    st.sampled_from(["juniper", "star anise", "lemon peel", "vanilla bean", "clove", "hibiscus"]),
    mass_g=log(1e-3, 500.0),
    where=st.sampled_from(["pot", "basket"]),
)


@st.composite
def bottlings(draw: st.DrawFn) -> Bottling:
    """Any that the plan file takes: a stretch needs a strength to which it is let down, and is no weaker."""
    abv = draw(maybe(st.floats(1.0, 100.0)))
    stretch = None
    if abv is not None and draw(st.booleans()):
        stretch = Stretch(draw(log(0.01, 10.0)), draw(st.floats(abv, 100.0)))
    return Bottling(abv, draw(maybe(log(0.02, 5.0))), draw(st.integers(1, 4)), stretch)


STOCK = st.lists(st.builds(JarStock, log(0.02, 50.0), maybe(st.integers(1, 12))), max_size=2)
PLAN = st.builds(
    Plan,
    charge=st.lists(INGREDIENT, min_size=1, max_size=3).map(tuple),
    still=st.just(StillPlan()) | STILL | stills_near_their_limit(),
    botanicals=st.lists(DOSE, max_size=2).map(tuple),
    cuts=st.builds(
        Cuts, heads_share=maybe(st.floats(0.0, 0.2)), stop=st.just(Stop()) | STOP, tails_from=maybe(STOP)
    ),
    jars=st.builds(JarPlan, sizes=STOCK.map(tuple)),
    bottling=bottlings(),
)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(PLAN)
@example(of(Ingredient("a", 1.0, 40.0), bottling=Bottling(abv=40.0)))  # rounding at the end of the jars
@example(of(Ingredient("a", 1.0, 3.9e-131, "neutral")))  # a strength that is none
def test_any_plan_gives_a_run_that_balances_or_a_refusal_with_a_hint(plan: Plan) -> None:
    run = checked(plan)
    if run is not None:
        assert potsim.distil(plan).to_dict() == run.to_dict()


def test_two_processes_give_the_same_to_the_last_digit() -> None:
    script = Path(digest.__file__).read_text("utf-8")
    said = [
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    ]
    assert said == [digest.digest(), digest.digest()]


def test_what_ran_before_changes_nothing() -> None:
    plan = potsim.example_plan()
    before = potsim.distil(plan).to_dict()
    for altitude_m in (0.0, 2000.0):
        potsim.distil(replace(plan, still=replace(plan.still, altitude_m=altitude_m)))
    assert potsim.distil(plan).to_dict() == before


def test_a_run_to_the_last_drop_can_be_followed() -> None:
    stop = Cuts(stop=Stop(collected_l=0.998))
    weak = of(Ingredient("beer", 1.0, 5.0), cuts=stop, still=StillPlan(min_level_l=0.0))
    run = potsim.distil(replace(weak, botanicals=(BotanicalDose("juniper", mass_g=1.0),)))
    seen = follow(run, [next_reading([], Entry(collected_l=0.05, read_abv=30.0))])
    assert 0.96 < seen.stop_l.value <= 0.998  # what is followed ends at 97 % of the charge


def test_cut_tables_are_finite_to_the_end() -> None:
    run = potsim.distil(potsim.example_plan())
    table = cut_table(run.course, run.points)
    assert all(np.all(np.isfinite(numbers(row))) for rows in vars(table).values() for row in rows)
    assert blend([SPIRIT]).volume_l == pytest.approx(2.4)


# --- A still of which only the size is known: what sheds heat is a surface, and goes as volume to the 2/3.


@pytest.mark.parametrize(("capacity_l", "surface"), [(4.0, 1.0), (0.5, 0.25), (32.0, 4.0), (108.0, 9.0)])
def test_losses_not_given_go_with_the_surface_of_the_pot(capacity_l: float, surface: float) -> None:
    charge = (Ingredient("spirit", 0.6 * capacity_l, 40.0),)
    there = potsim.distil(Plan(charge, still=StillPlan(capacity_l=capacity_l))).setting.still.conditions
    assert there.neck_loss_w_per_k == pytest.approx(0.6 * surface)
    assert there.pot_loss_w_per_k == pytest.approx(1.0 * surface)
    # 300 W/L, at most 3 kW; or three times what is shed 80 K above the room, where that is more.
    power = max(min(300.0 * capacity_l, 3000.0), 3.0 * 80.0 * (0.6 + 1.0) * surface)
    assert there.power_w == pytest.approx(power)
