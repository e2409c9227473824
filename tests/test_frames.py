"""Tables of answers: what goes in comes out, units beside, draws that are drawn again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from refusals import Record, refused

import potsim
from potsim import Ingredient, Plan, PowerStep, frames
from potsim.planning.schema import unit_of


@pytest.fixture(scope="module")
def run() -> potsim.Run:
    plan = potsim.example_plan()
    still = replace(plan.still, lost=0.03, power_steps=(PowerStep(0.5, 450.0),))
    cuts = replace(plan.cuts, tails_from=potsim.Stop(stream_abv=65.0))
    return potsim.distil(replace(plan, botanicals=(), still=still, cuts=cuts))


@pytest.mark.parametrize(
    ("name", "unit"), [("mg_per_l", "mg/L"), ("oil_g_per_l", "g/L"), ("stop_abv", "% vol"), ("share", "")]
)
def test_a_unit_is_how_a_name_ends(name: str, unit: str) -> None:
    assert unit_of(name) == unit


def test_the_alcohol_that_goes_in_is_told_to_the_last(run: potsim.Run) -> None:
    table = frames.balance(run).set_index("part")
    assert table.attrs["units"]["ethanol_l"] == "L"
    assert abs(table.loc["unaccounted", "share"]) < 1e-3  # volumes of alcohol contract: shares of moles close
    assert table.loc["keep", "volume_l"] == pytest.approx(run.keep.volume_l, rel=1e-6)
    collected = table.loc[["heads", "keep", "tails"], "ethanol_l"].sum()
    assert collected / table.loc["charge", "ethanol_l"] == pytest.approx(run.stop.recovered, rel=1e-3)
    assert table.loc["lost", "ethanol_l"] == pytest.approx(0.03 / 0.97 * collected, rel=1e-3)


def test_heat_is_power_times_time_and_water_carries_off_what_condenses(run: potsim.Run) -> None:
    table = frames.energy(run, 0.30, water_in_c=15.0, water_out_c=45.0).set_index("part")
    change = run.at(collected_l=0.5).elapsed_min
    by_hand = (1200.0 * run.first_drop_min + 700.0 * (change - run.first_drop_min)) / 6e4
    by_hand += 450.0 * (run.stop.elapsed_min - change) / 6e4
    assert table.loc["whole", "energy_kwh"] == pytest.approx(by_hand, rel=1e-4)
    assert table.loc["whole", "price"] == pytest.approx(0.30 * by_hand, rel=1e-4)
    # Condensing a kilogram of vapour of 1 MJ and cooling it, by hand: between 1.0 and 2.6 MJ/kg.
    grams = (run.stop.collected_l + run.lost.volume_l) * 900.0
    joule = table.loc["whole", "water_l"] * frames.WATER_J_PER_L_K * 30.0
    assert 1.0e3 < joule / grams < 2.6e3
    assert frames.energy(run)["price"].isna().all()
    with refused("range", "water_out_c", "20 °C"):
        frames.energy(run, water_in_c=20.0, water_out_c=20.0)


def test_what_is_taken_names_its_key() -> None:
    table = frames.taken(potsim.distil(Plan((Ingredient("spirit", 2.0, 40.0),))))
    assert "still.power" in set(table["about"])
    assert table["words"].str.endswith(".").all()


def test_tables_of_the_trade() -> None:
    table = frames.equilibrium(points=11)
    assert table.loc[0, "boils_c"] == pytest.approx(100.0, abs=0.03)  # water at one atmosphere
    assert (table["vapour_x"] > table["liquid_x"])[1:8].all()
    assert table.attrs["units"] == {"liquid_abv": "% vol", "vapour_abv": "% vol", "boils_c": "°C"}
    water = frames.proofing(1.0, 60.0, [50.0, 40.0])
    assert water["water_l"].round(4).tolist() == [
        round(float(potsim.strength.water_to_reach(1.0, 60.0, abv)), 4) for abv in (50.0, 40.0)
    ]
    assert (water["volume_l"] < 1.0 + water["water_l"]).all()  # alcohol and water contract


def test_a_learnt_still_is_a_table(run: potsim.Run) -> None:
    forecast = run.follow([{"time": "20 min", "collected": "250 mL", "strength": "78 %"}])
    table = frames.learnt(forecast).set_index("name")
    assert table.loc["neck_loss_w_per_k", "standard_error"] > 0.0
    assert table.loc["neck_loss_w_per_k", "unit"] == "W/K"
    assert table.loc["heat_share", "value"] == pytest.approx(1.0, abs=0.5)
    with refused("nothing_read", "readings"):
        frames.learnt(run.follow([]))


def test_draws_are_those_of_the_ensemble_and_come_again() -> None:
    plan = replace(potsim.example_plan(), botanicals=())
    sure = potsim.ensemble(plan, 600, seed=3)
    table = sure.draws()
    assert len(table) == 600
    assert np.std(table["keep.abv"], ddof=1) == pytest.approx(sure.answers["keep.abv"].sd, rel=1e-9)
    for seed in (None, np.random.default_rng(5)):
        some = potsim.ensemble(plan, 20, seed=seed)
        again = potsim.ensemble(plan, 20, seed=some.seed)
        assert again.answers["keep.abv"] == some.answers["keep.abv"]
    one, other = (potsim.ensemble(plan, 20, seed=np.random.default_rng(5)).seed for _ in range(2))
    assert one == other
    assert potsim.ensemble(plan, 20, seed=None).seed != potsim.ensemble(plan, 20, seed=None).seed
    with refused("wrong_type", "seed", "'one'"):
        potsim.ensemble(plan, 20, seed="one")  # type: ignore[arg-type]


def test_arrays_of_results_are_read_only(run: potsim.Run) -> None:
    sure = potsim.ensemble(run.plan, 20)
    for array in (
        run.stream_abv,
        run.collected_l,
        sure.curves["stream_abv"].low,
        sure.curves["pot_abv"].collected_l,
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


def test_a_run_is_asked_at_several_places(run: potsim.Run) -> None:
    there = run.at(collected_l=[[0.1, 0.2], [0.3, 0.4]])  # type: ignore[list-item]
    assert there.stream_abv.shape == (2, 2)
    assert there.stream_abv[1, 0] == pytest.approx(run.at(collected_l=0.3).stream_abv, rel=1e-12)
    with pytest.raises(potsim.RangeError):
        run.at(collected_l=[0.1, 9.0])


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            lambda: Ingredient("spirit", "0.9 L", 60.0),
            ("wrong_type", "charge.volume", "'0.9 L'"),
        ),
        (lambda: Ingredient("spirit", 0.9, "60 %"), ("wrong_type", "charge.abv", "'60 %'")),
        (lambda: potsim.StillPlan(power_w=[700.0]), ("wrong_type", "still.power", "[700.0]")),
        (lambda: potsim.strength.water_to_reach(1.0, "60 %", 40.0), ("wrong_type", "abv")),
        (lambda: Plan("spirit"), ("wrong_sort", "plan.charge")),
        (lambda: Plan((("spirit", 0.9, 60.0),)), ("wrong_sort", "plan.charge")),
        (
            lambda: Plan((Ingredient("spirit", 0.9, 60.0),), still={"power": 700.0}),
            ("wrong_sort", "plan.still", "{'power': 700.0}"),
        ),
        (lambda: potsim.distil("trial-1.toml"), ("wrong_type", "plan", "'trial-1.toml'")),
    ],
)
def test_the_wrong_sort_of_thing_is_refused_where_it_enters(make: object, said: Record) -> None:
    with refused(*said, error=potsim.PotsimError):
        make()  # type: ignore[operator]


def test_a_reach_says_itself_in_a_line_and_a_forecast_is_not_written_over(run: potsim.Run) -> None:
    found = potsim.reach(potsim.example_plan(), bottles=6)
    assert repr(found) == f"<Reach 'Bench spirit, trial 1': one run, {found.spirit_l:.3f} L of 60.4 % vol>"
    assert found.plot().get_xlabel() == found.run.plot().get_xlabel()
    assert "<img" in found._repr_html_()
    curve = run.follow([{"time": "25 min", "collected": "300 mL", "strength": "77 %"}]).curve
    for array in (curve.collected_l, curve.abv, curve.low_abv, curve.high_abv):
        assert not array.flags.writeable
