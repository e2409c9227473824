"""The library of botanicals, its names, and what a line of a bill brings."""

from __future__ import annotations

import pickle
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import Record, refused

from potsim.data import read_table
from potsim.errors import RequestError, UnknownNameError
from potsim.planning.botanicals import (
    Spread,
    choose,
    find,
    kind_named,
    library,
    resolve,
    spelling,
)
from potsim.planning.notes import for_dose, for_limits, hint
from potsim.planning.plan import BotanicalDose

COMPOUNDS = {row["id"] for row in read_table("compounds.csv")}
IDS = sorted(library())


# --- the tables ---------------------------------------------------------------------------------------


def test_the_library_is_whole() -> None:
    assert len(library()) == 57
    assert sum(len(b.composition) for b in library().values()) == 483


@pytest.mark.parametrize(
    ("table", "columns"),
    [
        ("botanicals.csv", ["yield_source", "yield_confidence", "piece_source", "dose_source"]),
        ("composition.csv", ["source", "confidence"]),
        ("parts.csv", ["soak_source", "solids_source"]),
        ("pieces.csv", ["source"]),
        ("preparations.csv", ["source"]),
        ("base_spirits.csv", ["source", "confidence"]),
        ("cautions.csv", ["source", "confidence"]),
    ],
)
def test_every_row_says_where_it_is_from(table: str, columns: list[str]) -> None:
    assert [row for row in read_table(table) if not all(row[c].strip() for c in columns)] == []


def test_a_water_content_has_its_source() -> None:
    for row in read_table("botanicals.csv"):
        assert bool(row["fresh_water_fraction"]) == bool(row["fresh_water_source"]), row["id"]


def test_tables_join() -> None:
    for table in ("composition.csv", "base_spirits.csv", "cautions.csv"):
        named = {row["compound_id"] for row in read_table(table)} - {""}
        assert named <= COMPOUNDS, table
    for table in ("composition.csv", "cautions.csv"):
        assert {row["botanical_id"] for row in read_table(table)} <= set(library()), table


@pytest.mark.parametrize("botanical_id", IDS)
def test_a_composition_never_passes_100_percent(botanical_id: str) -> None:
    botanical = library()[botanical_id]
    assert 0 < botanical.listed_pct <= 100
    named = [share.compound_id for share in botanical.composition]
    assert len(set(named)) == len(named)


@pytest.mark.parametrize(
    ("botanical_id", "compound_id", "typical"),
    [("juniper", "alpha_pinene", 36), ("coriander_seed", "linalool", 69), ("star_anise", "anethole", 90)],
)
def test_main_compound(botanical_id: str, compound_id: str, typical: float) -> None:
    main = max(library()[botanical_id].composition, key=lambda share: share.pct.typical)
    assert main.compound_id == compound_id
    assert main.pct.typical == pytest.approx(typical, abs=3)


# --- names ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("botanical_id", IDS)
def test_common_name_and_id_find_it(botanical_id: str) -> None:
    botanical = library()[botanical_id]
    for name in (botanical.common_name, botanical.id, botanical.common_name.upper()):
        assert find(name) is botanical


@pytest.mark.parametrize("botanical_id", IDS)
def test_every_other_name_finds_it_or_says_what_else_it_may_be(botanical_id: str) -> None:
    botanical = library()[botanical_id]
    for name in botanical.names:
        meant = library().called(name)
        assert botanical in meant
        if len(meant) > 1:
            taken, choice = choose(name)
            assert taken == meant[0]
            assert choice is not None
            assert botanical.common_name in {taken.common_name, *choice.others}


@pytest.mark.parametrize(
    ("name", "botanical_id"),
    [
        ("juniper", "juniper"),
        ("coriander seed", "coriander_seed"),
        ("lemon peel", "lemon_peel"),
        ("fennel seed", "fennel_seed"),
        ("bay leaf", "bay_leaf"),
        ("angelica root", "angelica_root"),
        ("black pepper", "black_pepper"),
        ("Juniper Berries", "juniper"),
        ("BAY-LEAVES", "bay_leaf"),
        ("bayleaf", "bay_leaf"),
        ("licorice", "liquorice_root"),
        ("lemon zest", "lemon_peel"),
        ("szechuan peppercorns", "sichuan_pepper"),
        ("Mentha × piperita", "peppermint"),
        ("Rosmarinus officinalis", "rosemary"),
        ("cardamom pods", "cardamom"),
        ("curaçao peel", "bitter_orange_peel"),
        ("hops", "hops"),
        ("tonka beans", "tonka_bean"),
        ("camomile", "chamomile"),
    ],
)
def test_names_as_typed(name: str, botanical_id: str) -> None:
    assert find(name).id == botanical_id


@pytest.mark.parametrize(
    ("typed", "suggested"),
    [
        ("junper", "juniper"),
        ("lemon peal", "lemon peel"),
        ("cardamon seed", "cardamon"),
        ("star anice", "star anise"),
    ],
)
def test_a_misspelling_is_refused_with_the_nearest_name(typed: str, suggested: str) -> None:
    with refused("unknown_name", "", typed, None, suggested):
        find(typed)


def test_where_nothing_is_near_the_list_is_named() -> None:
    with refused("unknown_name", "", "qqqq"):
        find("qqqq")


@pytest.mark.parametrize(
    ("name", "choices"),
    [
        ("orange", ["sweet orange peel", "bitter orange peel"]),
        ("mint", ["peppermint", "spearmint"]),
        ("Myristica fragrans", ["nutmeg", "mace"]),
        ("ginger", ["fresh ginger", "dried ginger"]),
    ],
)
def test_an_ambiguous_name_takes_the_commonest_and_says_so(name: str, choices: list[str]) -> None:
    taken, choice = choose(name)
    assert choice is not None
    assert [taken.common_name, *choice.others] == choices
    assert choice.by == "commonest"


def test_a_hint_decides_before_the_commonest() -> None:
    assert find("ginger", state="fresh").id == "ginger_fresh"
    assert find("ginger", state="dried").id == "ginger_dried"
    taken, choice = choose("ginger", counted="slices")
    assert taken.id == "ginger_fresh"
    assert choice is not None
    assert choice.by == "piece"
    assert choose("cinnamon", counted="quill")[0].id == "cinnamon_ceylon"


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("Wacholderbeeren", "juniper"),
        ("écorce d'orange amère", "bitter_orange_peel"),
        ("hojas de laurel", "bay_leaf"),
        ("chiodi di garofano", "clove"),
        ("noz-moscada", "nutmeg"),
    ],
)
def test_names_of_other_kitchens_are_understood(name: str, meant: str) -> None:
    assert find(name).id == meant


def test_every_botanical_has_a_name_in_each_of_five_languages() -> None:
    rows = read_table("common_names.csv")
    assert {row["id"] for row in rows} == set(library())
    assert len(rows) == len(library())
    for row in rows:
        assert all(row.values()), row["id"]
        for cell in (row[language] for language in ("de", "fr", "es", "it", "pt")):
            for name in cell.split(";"):
                assert row["id"] in {b.id for b in library().called(name)}, name


@pytest.mark.parametrize("row", read_table("dangerous_names.csv"), ids=lambda row: row["name"])
def test_names_of_what_poisons_are_refused_with_the_reason(row: dict[str, str]) -> None:
    assert not library().called(row["name"])
    with pytest.raises(RequestError, match=re.escape(row["why"])):
        find(row["name"])


def test_plain_words_name_a_kind_of_base_spirit() -> None:
    assert kind_named("Rum") == "pot rum"
    assert kind_named("vodka") == "neutral"
    for row in read_table("spirit_words.csv"):
        assert kind_named(row["word"]) == row["kind"]
    with pytest.raises(UnknownNameError):
        kind_named("cocoa butter")


@given(st.text(alphabet="abcdefghiklmnopqrstuvxyz éñç-_/()×柚", max_size=30))
@settings(max_examples=50, deadline=None)
def test_case_and_blanks_do_not_count(name: str) -> None:
    assert spelling(name.upper()) == spelling(name)
    assert spelling(f"  {name} ") == spelling(name)


def test_names_in_other_scripts_stay_apart() -> None:
    assert spelling("柚子") != spelling("山椒")


# --- doses ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("botanical_id", IDS)
def test_oil_adds_up_to_the_yield_and_doubles_with_the_dose(botanical_id: str) -> None:
    botanical = library()[botanical_id]
    one, two = (resolve(BotanicalDose(botanical_id, mass_g=m)) for m in (10, 20))
    assert one.oil_total_g == pytest.approx(10 * botanical.oil_yield_pct.typical / 100, rel=1e-12)
    assert two.oil_g == pytest.approx({c: 2 * g for c, g in one.oil_g.items()}, rel=1e-12)
    assert one.unlisted_oil_g >= 0
    assert sum(one.oil_g.values()) <= one.oil_total_g * (1 + 1e-12)
    assert not set(one.oil_g) & set(one.non_volatile_g)


def test_fresh_material_holds_the_oil_of_what_is_left_on_drying() -> None:
    dried = resolve(BotanicalDose("lemon peel", mass_g=10, state="dried"))
    fresh = resolve(BotanicalDose("lemon peel", mass_g=10, state="fresh"))
    assert fresh.oil_total_g == pytest.approx((1 - 0.816) * dried.oil_total_g)
    assert (fresh.dry_mass_g, fresh.wet_mass_g) == pytest.approx((1.84, 10))
    assert fresh.water_brought_l == pytest.approx(0.00816)
    assert dried.water_brought_l == 0
    (water,) = (note for note in fresh.notes if note.kind == "fresh_water")
    assert water.values["share"] == 0.816
    assert "from memory" in water.values["source"]


def test_a_yield_per_fresh_mass_is_not_converted_twice() -> None:
    ginger = resolve(BotanicalDose("fresh ginger", mass_g=100))
    assert ginger.oil_total_g == pytest.approx(0.3)
    assert ginger.dry_mass_g == pytest.approx(21.1)
    assert ginger.counted_mass_g == 100


def test_pieces_are_weighed_in_their_own_state() -> None:
    fresh = resolve(BotanicalDose("lemon peel", pieces=2, state="fresh"))
    dried = resolve(BotanicalDose("lemon peel", pieces=2, state="dried"))
    unsaid = resolve(BotanicalDose("lemon peel", pieces=2))
    assert (fresh.wet_mass_g, fresh.dry_mass_g) == pytest.approx((4, 0.736))
    assert dried.wet_mass_g == pytest.approx(0.736)
    assert dried.oil_g == pytest.approx(fresh.oil_g)
    assert unsaid.wet_mass_g == fresh.wet_mass_g
    piece = {"pieces": 2, "piece": "peel strip", "mass_g": 2.0, "state": "fresh"}
    assert hint("piece", "lemon peel", **piece, source="from memory (kitchen weights)") in fresh.notes
    assert resolve(BotanicalDose("star anise", pieces=3)).dry_mass_g == pytest.approx(3.6)


def test_what_is_not_said_is_noted() -> None:
    taken = hint("taken_as", "juniper", state="dried", prepared="whole")
    assert resolve(BotanicalDose("juniper", 14)).notes == (taken,)
    cracked = resolve(BotanicalDose("juniper", 14, prepared="cracked")).notes
    assert cracked == (hint("taken_as", "juniper", state="dried", prepared=None),)
    assert resolve(BotanicalDose("juniper", 14, state="dried", prepared="whole")).notes == ()


def test_a_dose_of_nothing_is_told() -> None:
    nothing = hint("dose_of_nothing", "juniper")
    assert resolve(BotanicalDose("juniper", mass_g=0.0)).notes[-1] == nothing
    assert nothing not in resolve(BotanicalDose("juniper", mass_g=1.0)).notes


def test_volumes_of_solids_and_soaked_liquid() -> None:
    juniper = resolve(BotanicalDose("juniper", mass_g=100))
    assert juniper.solids_volume_l == pytest.approx(0.1 / 1.2)
    assert juniper.soaks_up_l == pytest.approx(0.09)


def test_a_yield_measured_on_the_lot_replaces_the_typical_one() -> None:
    lot = resolve(BotanicalDose("juniper", mass_g=10, oil_yield_pct=2.4))
    assert lot.oil_total_g == pytest.approx(0.24)
    assert lot.oil_yield_pct == Spread(2.4, 2.4, 2.4)


def test_what_is_not_volatile_is_kept_apart() -> None:
    pepper = resolve(BotanicalDose("black pepper", mass_g=10))
    assert pepper.non_volatile_g == pytest.approx({"piperine": 0.5})


def test_a_resolved_dose_travels_between_processes() -> None:
    juniper = resolve(BotanicalDose("juniper", mass_g=10))
    assert pickle.loads(pickle.dumps(juniper)) == juniper


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ({"mass_g": -1}, ("range", "botanical.juniper.mass", "-1 g", "at least 0 and at most 10,000,000 g")),
        ({"mass_g": float("nan")}, ("range", "botanical.juniper.mass", "nan g")),
        ({"pieces": -2}, ("range", "botanical.juniper.pieces", "-2 pieces")),
        ({"mass_g": 1, "macerated_h": -1}, ("range", "botanical.juniper.macerated", "-1 h")),
        ({"mass_g": 1, "oil_yield_pct": 120}, ("range", "botanical.juniper.oil_yield", "120 %")),
    ],
)
def test_numbers_out_of_range_are_refused(line: dict[str, float], text: Record) -> None:
    with refused(*text):
        BotanicalDose("juniper", **line)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ({}, ("no_amount", "botanical.juniper")),
        ({"mass_g": 1, "pieces": 2}, ("conflict", "botanical.juniper.mass", 1)),
        ({"mass_g": 1, "state": "frsh"}, ("unknown_name", "botanical.juniper.state", "frsh", None, "fresh")),
        (
            {"mass_g": 1, "prepared": "grond"},
            ("unknown_name", "botanical.juniper.prepared", "grond", None, "ground"),
        ),
        (
            {"mass_g": 1, "where": "baskt"},
            ("unknown_name", "botanical.juniper.where", "baskt", None, "basket"),
        ),
        (
            {"mass_g": 1, "where": "basket", "macerated_h": 3},
            ("macerated_in_basket", "botanical.juniper.macerated", 3),
        ),
    ],
)
def test_lines_that_make_no_sense_are_refused(line: dict[str, object], text: Record) -> None:
    with refused(*text):
        BotanicalDose("juniper", **line)  # type: ignore[arg-type]


def test_states_that_cannot_be_are_refused() -> None:
    with refused("dried_only", "botanical.saffron", "fresh"):
        resolve(BotanicalDose("saffron", mass_g=1, state="fresh"))
    with refused("counted_fresh", "botanical.fresh ginger", "dried"):
        resolve(BotanicalDose("fresh ginger", mass_g=1, state="dried"))


# --- warnings -------------------------------------------------------------------------------------------


def test_an_absurd_dose_is_warned_of_with_the_usual_range() -> None:
    (much,) = for_dose(resolve(BotanicalDose("clove", mass_g=50)), charge_l=1)
    assert (much.kind, much.severity, much.subject) == ("dose", "caution", "clove")
    usual = ("usual_low_g_per_l", "usual_high_g_per_l")
    assert (much.values["g_per_l"], *(much.values[key] for key in usual)) == (50.0, 0.02, 0.3)
    (little,) = for_dose(resolve(BotanicalDose("juniper", mass_g=0.014)), charge_l=2.4)
    assert little.values["g_per_l"] == pytest.approx(0.014 / 2.4)
    assert for_dose(resolve(BotanicalDose("juniper", mass_g=14)), charge_l=2.4) == ()
    with refused("range", "charge.volume", "0 L", "more than 0 and at most 1,000,000 L"):
        for_dose(resolve(BotanicalDose("juniper", mass_g=14)), charge_l=0)


def test_legal_limits_follow_the_bill() -> None:
    sage, wormwood, pepper = (resolve(BotanicalDose(n, 1)) for n in ("sage", "wormwood", "black pepper"))
    content = {"thujone": 20.0}
    (over,) = for_limits([sage], content)
    assert (over.kind, over.severity, over.subject) == ("limit", "danger", "thujone")
    assert (over.values["mg_per_kg"], over.values["limit_mg_per_kg"]) == (20.0, 10.0)
    assert for_limits([sage, wormwood], content) == ()
    assert for_limits([wormwood], {"thujone": 36.0})[0].values["limit_mg_per_kg"] == 35.0
    assert for_limits([pepper], content) == ()
    calamus = resolve(BotanicalDose("calamus", 1))
    assert "1334/2008" in for_limits([calamus], {"beta_asarone": 1.1})[0].values["source"]
