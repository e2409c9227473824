"""Plan files, read and written."""

from __future__ import annotations

import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.interfaces.planfile import (
    example_plan,
    load_plan,
    new_plan_text,
    read_plan,
    write_plan,
)
from potsim.interfaces.tomlfile import read_value, write_value
from potsim.liquid.compounds import Compound
from potsim.planning import plan
from potsim.planning.botanicals import Botanical, Piece, Share, Spread, UsualDose
from potsim.planning.plan import (
    TABLES,
    BotanicalDose,
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    JarStock,
    LeftOver,
    Plan,
    PowerStep,
    StillPlan,
    Stop,
    Stretch,
    Uncertainty,
)

CHARGE = '[[charge]]\nname = "apple spirit"\nvolume = "1 L"\nabv = "60 %"\n'
JUNIPER = CHARGE + '[[botanical]]\nname = "juniper"\nmass = "3 g"\n'


def test_the_example_is_the_bench_spirit() -> None:
    plan = example_plan()
    assert plan.title == "Bench spirit, trial 1"
    assert plan.charge == (
        Ingredient("apple spirit", 0.9, 62.0),
        Ingredient("barley spirit", 0.6, 58.0),
        Ingredient("water", 0.9),
    )
    assert plan.still == StillPlan(
        capacity_l=4,
        power_w=700,
        heat_up_power_w=1200,
        neck_loss_w_per_k=0.6,
        pot_loss_w_per_k=1,
        room_c=20,
        altitude_m=60,
        min_level_l=0.5,
    )
    assert plan.botanicals[0] == BotanicalDose("juniper", mass_g=14, macerated_h=12)
    assert plan.botanicals[2] == BotanicalDose("lemon peel", pieces=2, state="fresh")
    assert plan.botanicals[4] == BotanicalDose("bay leaf", mass_g=0.8, where="basket")
    assert len(plan.botanicals) == 7
    assert plan.cuts == Cuts(heads_l=0.03, stop=Stop(stream_abv=55))
    assert plan.jars == JarPlan((JarStock(0.06),))
    assert plan.bottling == Bottling(abv=42, bottle_l=0.35)
    assert plan.uncertainty == Uncertainty()


def test_a_charge_is_enough() -> None:
    plan = read_plan('[[charge]]\nname = "spring water"\nvolume = "1 L"\n')
    assert plan == Plan((Ingredient("spring water", 1.0),))


def test_the_starter_is_read_as_it_is_and_with_every_comment_taken_away() -> None:
    text = new_plan_text()
    assert read_plan(write_plan(read_plan(text))) == read_plan(text)
    needs_a_file = r"# (\[\[charge\]\] .*|from_run .*|jars .*|times .*|from_file .*)\n"
    everything = re.sub(r"^# (?=\[|[a-z_]+ = )", "", re.sub(needs_a_file, "", text), flags=re.MULTILINE)
    plan = read_plan(everything, "starter.toml")
    assert (plan.still.pot_mass_kg, plan.still.power_steps) == (2.5, (PowerStep(0.4, 500),))
    assert plan.uncertainty == Uncertainty()
    assert set(plan.own_botanicals) == {"spruce_tips"}
    assert set(plan.own_compounds) == {"pentanal"}
    assert read_plan(write_plan(plan)) == plan


@pytest.mark.parametrize(
    ("table", "name"), [(table, name) for table, of in TABLES.items() for name in of.keys]
)
def test_the_example_of_every_key_is_read_and_written_back(table, name) -> None:
    key = TABLES[table].keys[name]
    bare = key.example == "true" or key.example.startswith("{")
    typed = tomllib.loads(f"x = {key.example}" if bare else f'x = "{key.example}"')["x"]
    value = read_value(key, typed)
    key.check(value, table)
    assert read_value(key, write_value(key, value)) == value


def test_every_table() -> None:
    plan = read_plan(
        JUNIPER
        + 'oil_yield = "1.1 %"\nprepared = "ground"\n'
        + '[still]\npressure = "29.5 inHg"\npot_mass = "2 kg"\npot_metal = "copper"\n'
        + '[[still.power_step]]\nfrom_collected = "400 mL"\npower = "500 W"\n'
        + '[cuts]\nheads = "2 %"\ntails_from = { stream_abv = "62 %", cloudy = true }\n'
        + '[cuts.stop]\npot_abv = "5 %"\nvapour_c = "203 °F"\ncollected = "700 mL"\nrecovered = "90 %"\n'
        + 'elapsed = "1 h 30 min"\nover = { juniper = "95 %" }\n'
        + '[jars]\nsizes = "12 x 60 mL, 250 mL"\nkeep = "2-4"\n'
        + '[bottling]\nabv = "84 proof"\nsteps = 3\nbottle_price = 0.8\n'
        + 'stretch = { spirit = "1 L", abv = "96 %" }\n'
        + '[uncertainty]\nabv = "1 %"\nvolume = "1 %"\nneck_loss = "20 %"\npot_loss = 0.2\nroom = "9 °F"\n'
        + '[result]\ndate = 2025-03-01\ncollected = "640 mL"\nstrength = "71 %"\n'
        + 'jars_kept = "2-4"\nbottled = 3\n'
        + '[[note]]\nbotanical = "juniper"\nverdict = "too little"\nwords = ""\ntasted_at = "20 %"\n'
    )
    assert plan.still.pressure_hpa == pytest.approx(998.98, abs=0.01)
    assert plan.still.power_steps == (PowerStep(0.4, 500),)
    assert plan.cuts.heads_share == 0.02
    assert plan.cuts.stop.named == {
        "pot_abv": 5.0,
        "vapour_c": 95.0,
        "collected": 0.7,
        "recovered": 0.9,
        "elapsed": 90.0,
        "over": {"juniper": 0.95},
    }
    assert plan.cuts.tails_from == Stop(stream_abv=62, cloudy=True)
    assert plan.jars == JarPlan((JarStock(0.06, 12), JarStock(0.25)), (2, 3, 4))
    assert plan.bottling.abv == pytest.approx(42, abs=0.2)
    assert plan.bottling.stretch == Stretch(1, 96)
    assert plan.uncertainty == Uncertainty(1, 0.01, 0.2, 0.2, 5)
    assert read_plan(write_plan(plan)) == plan


def test_title_and_parent() -> None:
    assert read_plan(f'title = "Second"\nparent = "trial-1.toml"\n{CHARGE}').title == "Second"


def test_a_byte_order_mark_is_passed_over(tmp_path) -> None:
    (tmp_path / "plan.toml").write_text(CHARGE, encoding="utf-8-sig")
    assert load_plan(tmp_path / "plan.toml") == read_plan("\ufeff" + CHARGE) == read_plan(CHARGE)


def test_jars_of_an_earlier_run(tmp_path) -> None:
    (tmp_path / "trial-1.toml").write_text(CHARGE)
    second = tmp_path / "trial-2.toml"
    second.write_text(CHARGE + '[[charge]]\nfrom_run = "trial-1.toml"\njars = "1,17-20"\n')
    plan = load_plan(second)
    first = load_plan(tmp_path / "trial-1.toml")
    assert plan.charge[1] == LeftOver("jars of trial-1", first, (1, 17, 18, 19, 20))
    assert read_plan(write_plan(plan)) == plan


def test_a_still_in_a_file_of_its_own(tmp_path) -> None:
    (tmp_path / "still.toml").write_text('[still]\ncapacity = "4 L"\npower = "700 W"\naltitude = "60 m"\n')
    (tmp_path / "plan.toml").write_text(
        CHARGE + '[still]\nfrom_file = "still.toml"\npower = "500 W"\npressure = "1004 hPa"\n'
    )
    assert load_plan(tmp_path / "plan.toml").still == StillPlan(capacity_l=4, power_w=500, pressure_hpa=1004)
    (tmp_path / "still.toml").write_text('[still]\nfrom_file = "still.toml"\n')
    with refused("circle", "still.from_file"):
        load_plan(tmp_path / "plan.toml")
    (tmp_path / "still.toml").write_text("")
    with refused("no_still_in", "still.from_file"):
        load_plan(tmp_path / "plan.toml")
    (tmp_path / "still.toml").unlink()
    with refused("no_file", "still.from_file"):
        load_plan(tmp_path / "plan.toml")


def test_a_botanical_and_a_compound_of_ones_own() -> None:
    compound = Compound.own("pentanal", 86.13, groups={1: 1, 2: 3, 20: 1}, tb_k=376.2)
    botanical = Botanical(
        id="spruce_tips",
        common_name="spruce tips",
        category="leaf",
        oil_yield_pct=Spread(0.5, 0.8, 1.0),
        composition=(Share("limonene", Spread(20, 30, 40)), Share("pentanal", Spread(1, 1, 1))),
        fresh_water_fraction=0.7,
        aliases=("spruce shoots",),
        piece=Piece(1.5, "shoot", "fresh"),
        usual_dose=UsualDose(2, 8),
    )
    plan = Plan(
        (Ingredient("apple spirit", 1, 60),),
        botanicals=(BotanicalDose("spruce shoots", pieces=3),),
        own_botanicals={"spruce_tips": botanical},
        own_compounds={"pentanal": compound},
    )
    assert read_plan(write_plan(plan)) == plan


LITRES = st.floats(0.001, 1000)
ABV = st.floats(0.1, 96)
SHARE = st.floats(0.001, 0.49)
NAMES = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S"]), min_size=1, max_size=20)


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.none() | strategy


INGREDIENTS = st.builds(
    plan.Ingredient,
    NAMES,
    LITRES,
    st.floats(0, 100),
    maybe(st.sampled_from(["fruit", "malt"])),
    maybe(st.floats(0, 100)),
)
STILLS = st.builds(
    StillPlan,
    *[maybe(LITRES)] * 5,
    room_c=maybe(st.floats(0, 45)),
    altitude_m=maybe(st.floats(-400, 4000)),
    min_level_l=maybe(LITRES),
    pot_mass_kg=maybe(LITRES),
    pot_metal=st.sampled_from(["copper", "stainless steel"]),
    power_steps=maybe(st.builds(PowerStep, LITRES, LITRES)).map(lambda step: (step,) if step else ()),
    heated_by=maybe(st.sampled_from(["element", "plate", "gas"])),
    heat_share=maybe(st.floats(0.01, 1.0)),
    parrot_l=maybe(st.floats(0.01, 900.0)),
    condenser_w=maybe(LITRES),
    built_of=maybe(st.sampled_from(["glass", "steel", "copper"])),
    lost=maybe(SHARE),
)
STOPS = st.builds(
    plan.Stop,
    maybe(ABV),
    maybe(ABV),
    maybe(st.floats(50, 105)),
    maybe(LITRES),
    maybe(SHARE),
    maybe(LITRES),
    st.booleans(),
    st.dictionaries(st.just("juniper"), SHARE),
    faded=st.booleans(),
    parrot_abv=maybe(ABV),
)
BILLS = st.builds(
    lambda mass, hours, prepared, pct: (
        BotanicalDose("juniper", mass_g=mass, macerated_h=hours, prepared=prepared, oil_yield_pct=pct),
    ),
    LITRES,
    st.floats(0, 1000),
    maybe(st.sampled_from(["whole", "ground"])),
    maybe(st.floats(0, 100)),
)
PLANS = st.builds(
    plan.Plan,
    charge=st.lists(INGREDIENTS, min_size=1, max_size=3).map(tuple),
    title=NAMES,
    still=STILLS,
    botanicals=BILLS,
    cuts=st.builds(
        plan.Cuts,
        heads_l=maybe(LITRES),
        stop=STOPS,
        tails_from=maybe(STOPS.filter(lambda stop: stop.named)),
    ),
    jars=st.builds(
        plan.JarPlan,
        st.lists(
            st.builds(plan.JarStock, st.floats(0.01, 10), maybe(st.integers(1, 500))),
            max_size=3,
            unique_by=lambda jar: jar.size_l,
        ).map(tuple),
        st.sets(st.integers(1, 500), max_size=9).map(lambda jars: tuple(sorted(jars))),
    ),
    bottling=st.builds(
        plan.Bottling,
        maybe(ABV),
        maybe(LITRES),
        st.integers(1, 50),
        bottle_price=maybe(st.floats(0, 100)),
    )
    | st.builds(
        plan.Bottling,
        st.floats(1, 60),
        stretch=st.builds(plan.Stretch, LITRES, st.floats(60, 99)),
    ),
    uncertainty=st.builds(
        plan.Uncertainty, st.floats(0, 20), SHARE, SHARE, st.floats(0, 2), st.floats(0, 30)
    ),
)


@settings(max_examples=50, deadline=None)
@given(PLANS)
def test_a_plan_written_reads_back_equal(plan) -> None:
    assert read_plan(write_plan(plan)) == plan


@settings(max_examples=10, deadline=None)
@given(PLANS, NAMES)
def test_a_plan_that_takes_from_another_reads_back_equal(plan, name) -> None:
    both = Plan((LeftOver(name, plan, (1, 2, 3, 9)), Ingredient("water", 1)))
    assert read_plan(write_plan(both)) == both


def test_what_a_file_cannot_hold_is_not_written() -> None:
    with refused("no_line", "charge.name"):
        write_plan(plan.Plan((plan.Ingredient("two\nlines", 1, 60),)))
