"""Readings: tables of every sort read rightly, and what cannot be refused with its line."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from refusals import Record, refused

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.commands import follow as command
from potsim.interfaces.readingsfile import column, entry_of, load_readings, read_entry_fields, read_readings
from potsim.liquid import strength
from potsim.planning.notes import sentences
from potsim.planning.readings import Entry, next_reading


def test_raw_and_corrected_values_are_both_kept() -> None:
    (reading,) = read_readings("collected (mL),strength (%),read at (°C)\n220,71,24").readings
    assert reading.entry.read_abv == 71.0
    assert reading.entry.read_c == 24.0
    assert reading.abv == pytest.approx(float(strength.true_abv(71.0, 24.0)))
    assert reading.line == 2
    assert reading.collected_l == pytest.approx(0.22)


SAME = [
    "time (min),collected (mL),strength (%),vapour (°C)\n42,220,71,84.5\n",
    "Elapsed;Volume;Hydrometer;Head temperature\n42 min;220 mL;71 %;84,5 °C\n",
    "\ufefftime (min)\tCollected [mL]\tABV\tvapor temp (C)\n42\t220\t71\t84.5\n",
    "elapsed_min,collected_l,abv,vapour_c\n42,0.22,71,84.5\n",
    "# my still\n\ntime (h:min), collected (L), % vol, vapour (°F)\n\n0:42, 0.22, 71, 184.1\n",
    "sep=;\nminutes;mL;strength %;vapour °C\n42;220;71;84,5\n",
    'time,collected,strength,vapour\n"42 min","0,22 L","71 % vol","84,5 °C"\n',
]


@pytest.mark.parametrize("text", SAME)
def test_kind_to_headers_units_separators_and_commas(text: str) -> None:
    (reading,) = read_readings(text).readings
    assert reading.entry.elapsed_min == pytest.approx(42.0)
    assert reading.collected_l == pytest.approx(0.22)
    assert reading.abv == pytest.approx(71.0, abs=1e-6)
    assert reading.entry.vapour_c == pytest.approx(84.5)


def test_what_is_not_plain_is_said() -> None:
    table = read_readings("time (min);collected (mL);abv\n42;220,5;71,2\n50;0,3 L;70\n")
    assert table.readings[1].collected_l == pytest.approx(0.3)
    assert "Commas in numbers are read as decimal commas." in sentences(table.notes)
    assert any(
        "'0.3 L' under 'collected (mL)' is read with its own unit" in note for note in sentences(table.notes)
    )
    assert any("taken as read at the hydrometer's own" in note for note in sentences(table.notes))


def test_jar_by_jar_adds_up_and_tells_where_each_jar_began() -> None:
    text = "jar,jar volume (mL),strength (%),read at (°C)\n1,60,78,20\n2,55,77,20\n3,60,,\n"
    found = read_readings(text).readings
    assert [r.collected_l for r in found] == pytest.approx([0.06, 0.115, 0.175])
    assert [r.from_l for r in found] == pytest.approx([0.0, 0.06, 0.115])
    assert [r.entry.of for r in found] == ["jar"] * 3


def test_a_stream_reading_inside_a_jar_does_not_move_the_jar() -> None:
    text = "collected (mL),jar volume (mL),of,strength (%)\n40,,stream,79\n,60,jar,78\n90,,stream,77\n"
    found = read_readings(text).readings
    assert (found[1].from_l, found[1].collected_l) == (0.0, 0.06)


def test_masses_and_parrots() -> None:
    text = "mass (g),of,strength (%)\n50,parrot 60 mL,79\n120,parrot,78\n"
    found = read_readings(text).readings
    assert [r.parrot_l for r in found] == [0.06, 0.06]
    bare = text.replace(" 60 mL", "")
    assert [r.parrot_l for r in read_readings(bare, parrot_l=0.08).readings] == [0.08, 0.08]
    assert [r.mass_g for r in found] == [50.0, 120.0]
    jars = read_readings("jar mass (g),strength (%)\n50,79\n52,78\n").readings
    assert [r.from_g for r in jars] == [0.0, 50.0]


def test_time_of_day_counts_from_the_first_line_over_midnight() -> None:
    table = read_readings("clock,collected (mL)\n23:40,\n0:10,0\n00:30,50\n")
    assert [r.entry.elapsed_min for r in table.readings] == [0.0, 30.0, 50.0]
    assert "The time of day on line 2 is taken as the switch-on." in sentences(table.notes)


def test_a_proof_hydrometer_is_made_for_60_fahrenheit() -> None:
    (reading,) = read_readings("collected (mL),strength (proof),read at (°F)\n100,140,60\n").readings
    assert reading.entry.read_abv == pytest.approx(70.0, abs=1e-6)
    assert reading.abv == pytest.approx(float(strength.abv_from_proof(140.0)), abs=0.01)


H = "time (min),collected (mL),strength (%)\n"
REFUSED = [
    ("", None, ("no_readings",)),
    ("time (min)\n", None, ("header_alone",)),
    (
        H + "40,220,71\n30,230,70\n",
        3,
        ("falls", "time", 30.0),
    ),
    (H + "40,220,71\n50,210,70\n", 3, ("falls", "collected", 0.21)),
    (H + "40,220,98\n", 2, ("beyond_azeotrope", "strength", 98.0)),
    (H + "40,220\n", 2, ("cells_differ", "", 2)),
    (H + "40,220,5,71,2\n", 2, ("cells_differ", "", 5)),
    (H + "40,,\n,,71\n", 3, ("not_placed", "")),
    (H + "-4,220,71\n", 2, ("quantity", "time (min)", "-4 min")),
    (H + "40,220,171\n", 2, ("quantity", "strength (%)", "171 %")),
    (H + "40,220,71 L\n", 2, ("quantity", "strength (%)", "71 L")),
    (H + "40,many,71\n", 2, ("quantity", "collected (mL)", "many mL")),
    ("time,collected (mL)\n40,220\n", 2, ("cell_no_unit", "time", "40")),
    ("collected\n60 mL\n120\n", 3, ("cell_no_unit", "collected", "120")),
    ("collected (mL);abv\n1,500;71\n", 2, ("two_ways", "collected (mL)", "1,500 mL")),
    ("colected (mL)\n1\n", 1, ("unknown_name", "", "colected (mL)")),
    ("temperature\n1\n", 1, ("temperature_of_what", "", "temperature")),
    (
        "volume (mL),collected (mL)\n1,2\n",
        1,
        ("columns_alike", "", "collected (mL)"),
    ),
    ("time (min),\n1,2\n", 2, ("cells_differ", "", 2)),
    ("time (min),,abv\n1,2,3\n", 1, ("no_column_name",)),
    ("time (min),jar\n1,x\n", 2, ("no_jar_number", "jar", "x")),
    ("collected (mL),of,abv\n1,tank,70\n", 2, ("unknown_name", "of", "tank")),
    ("collected (mL),of,abv\n1,parrot,70\n", 2, ("how_much", "")),
    ("time (min),of,abv\n1,jar,70\n", 2, ("how_much", "")),
    ("collected (mL),mass (g)\n100,190\n", 2, ("no_spirit_so_dense", "", 1.9)),
    ("collected (mL),jar volume (mL)\n100,190\n", 2, ("jar_of_more", "collected", 0.1)),
    (
        "collected (mL),abv,read at (°C)\n1,70,60\n",
        2,
        ("range", "read at", "60 °C", "at least -20 and at most 40 °C"),
    ),
    ("collected (mL),abv,read at (°C)\n1,0,40\n", 2, ("no_such_reading", "strength", 0.0)),
    ("collected (mL),vapour (°C)\n1,184\n", 2, ("range", "vapour temperature", "184 °C")),
    ("clock,collected (mL)\n25:00,1\n", 2, ("no_clock", "clock", "25:00")),
    ("time,collected (mL)\n1:05,1\n", 2, ("two_clocks", "time", "1:05")),
    ("time (min),words\n1,a\0b\n", 2, ("not_text",)),
]


@pytest.mark.parametrize(("text", "line", "record"), REFUSED)
def test_what_cannot_be_is_refused_with_its_line(text: str, line: int | None, record: Record) -> None:
    with refused(*record, error=PotsimError) as caught:
        read_readings(text, "r.csv")
    assert (caught.value.record["file"], caught.value.record["line"]) == ("r.csv", line)
    assert caught.value.hint or caught.value.record["allowed"]


def test_a_file_of_50_mb_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    with refused("file_large"):
        load_readings(path)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(H + "1,2,70\n", encoding="utf-8")
    with refused("no_file"):
        load_readings(tmp_path / "reading.csv")
    with refused("file_is_folder"):
        load_readings(tmp_path)
    (tmp_path / "noise.csv").write_bytes(b"\x81\x8d\x00" + os.urandom(20))
    with refused("not_text"):
        load_readings(tmp_path / "noise.csv")


def test_other_encodings_are_read_and_said(tmp_path: Path) -> None:
    text = "collected (mL);vapour (°C)\n220;84,5\n"
    for encoding, said in (("utf-8-sig", ""), ("utf-16", "UTF-16"), ("cp1252", "Windows-1252")):
        path = tmp_path / f"{encoding}.csv"
        path.write_bytes(text.encode(encoding))
        table = load_readings(path)
        assert table.readings[0].entry.vapour_c == 84.5
        assert said in " ".join(sentences(table.notes))


def test_a_field_without_end_and_too_many_readings() -> None:
    with refused("not_csv"):
        read_readings("time (min),words\n1," + "x" * 200_000, "r.csv")
    with refused("too_many_readings"):
        read_readings("time (min)\n" + "1\n" * 2001, "r.csv")


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        (
            "42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C",
            {"elapsed_min": 42.0, "collected_l": 0.22, "read_abv": 71.0, "read_c": 24.0, "vapour_c": 84.5},
        ),
        ("220 mL; 71,5 %; pot 88 C", {"collected_l": 0.22, "read_abv": 71.5, "pot_c": 88.0}),
        (
            "parrot 60 mL 71 %, 240 mL",
            {"of": "parrot", "parrot_l": 0.06, "read_abv": 71.0, "collected_l": 0.24},
        ),
        ("jar 60 mL 70 % at 22 C", {"of": "jar", "jar_l": 0.06, "read_abv": 70.0, "read_c": 22.0}),
        ("jar 52 g 70 %", {"of": "jar", "jar_g": 52.0, "read_abv": 70.0}),
        ("300 mL, power 500 W", {"collected_l": 0.3, "power_w": 500.0}),
        ("1 h 5 min, 190 g", {"elapsed_min": 65.0, "mass_g": 190.0}),
        ("1 h 5 min 100 mL 80 %", {"elapsed_min": 65.0, "collected_l": 0.1, "read_abv": 80.0}),
        ("71 % at 24 °C vapour 84 °C", {"read_abv": 71.0, "read_c": 24.0, "vapour_c": 84.0}),
    ],
)
def test_what_is_typed_at_the_still(typed: str, fields: dict[str, object]) -> None:
    assert read_entry_fields(typed) == pytest.approx(fields)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("12", ("unsaid", "", "12")),
        ("bananas 3", ("unknown_name", "", "bananas 3")),
        ("220 mL, 230 mL", ("two_things", "", "220 mL, 230 mL")),
        ("stream 60 mL", ("sized_stream", "", "60 mL")),
        ("vapour 84", ("quantity", "", "84")),
    ],
)
def test_what_is_typed_and_refused(typed: str, words: Record) -> None:
    with refused(*words):
        entry_of(read_entry_fields(typed))


@pytest.mark.parametrize("typed", [typed for typed, _ in command.READINGS])
def test_what_the_help_shows_is_taken(typed: str) -> None:
    assert next_reading([], entry_of(read_entry_fields(typed))).placed


def test_an_entry_survives_being_written_down() -> None:
    entry = Entry(elapsed_min=42.0, collected_l=0.22, read_abv=71.0, of="jar", words="clean")
    assert Entry.from_dict(entry.to_dict()) == entry
    hazy = Entry(collected_l=0.24, read_abv=79.0, hazy=True)
    assert Entry.from_dict(hazy.to_dict()) == hazy
    with refused("wrong_type", "hazy", "1"):
        Entry.from_dict({"hazy": 1})
    with refused("wrong_type", "collected_l", "'x'"):
        Entry.from_dict({"collected_l": "x"})
    with refused("unknown_name", "", "colected_l", error=PotsimError):
        Entry.from_dict({"colected_l": 1.0})


def test_names_of_readings_in_sentences() -> None:
    by_mass = next_reading([], Entry(mass_g=190.0, read_abv=70.0))
    by_time = next_reading([], Entry(elapsed_min=12.0, vapour_c=80.0))
    jar = next_reading([], Entry(jar_l=0.06, of="jar", read_abv=70.0))
    assert (by_mass.where["collected_l"], by_mass.where["mass_g"]) == (None, pytest.approx(190.0))
    assert (by_time.where["mass_g"], by_time.where["elapsed_min"]) == (None, pytest.approx(12.0))
    assert (jar.where["collected_l"], jar.where["read_of"]) == (pytest.approx(0.06), "jar")


def test_headers_name_what_they_mean() -> None:
    assert column("Vapour Temp.").quantity.name == "vapour"
    assert column("collected, mL").unit == "mL"
    assert column("ABV").unit == "%"


# --- All so far poured together.


def test_a_pool_is_told_as_people_say_it() -> None:
    said = (
        "pooled 180 mL, 74 % at 24 °C",
        "so far 180 mL at 74 %, and it is 24 °C",
        "pooled 180 mL 74 % at 24 °C",
        "180 mL, 74 % pooled at 24 °C",
    )
    for text in said:
        assert read_entry_fields(text) == {
            "of": "pooled",
            "collected_l": 0.18,
            "read_abv": 74.0,
            "read_c": 24.0,
        }
    table = read_readings("collected (mL),strength (%),read at (°C),of\n100,76,20,stream\n180,74,24,so far\n")
    assert [reading.entry.of for reading in table.readings] == ["stream", "pooled"]


def test_a_warm_pool_is_brought_to_20_degrees_by_mass() -> None:
    pool = next_reading([], Entry(of="pooled", collected_l=0.18, read_abv=74.0, read_c=24.0))
    assert pool.abv is not None
    assert pool.collected_l is not None
    w = strength.w_from_abv(pool.abv)
    assert pool.collected_l * strength.density(w) == pytest.approx(
        0.18 * strength.density(w, 24.0), rel=1e-12
    )
    assert pool.from_l == 0.0


@pytest.mark.parametrize(
    "entry",
    [
        Entry(of="pooled", read_abv=74.0, elapsed_min=20.0),
        Entry(of="pooled", read_abv=74.0, jar_l=0.06),
    ],
)
def test_a_pool_needs_all_that_is_collected(entry: Entry) -> None:
    with pytest.raises(RequestError):
        next_reading([], entry)


def test_a_pool_does_not_shrink() -> None:
    first = next_reading([], Entry(of="pooled", collected_l=0.18, read_abv=74.0))
    with pytest.raises(RequestError):
        next_reading([first], Entry(of="pooled", collected_l=0.17, read_abv=74.0))
