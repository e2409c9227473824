"""What a distiller is told where a run is not the usual one, and what every refusal says."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from refusals import Record, is_refusal

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.interfaces.quantities import as_typed
from potsim.interfaces.wording import masses, volumes

GIN = """
title = "Gin"
[[charge]]
name = "wheat spirit"
volume = "2 L"
abv = "96 %"
[[charge]]
name = "water"
volume = "3 L"
[still]
capacity = "8 L"
min_level = "1 L"
power = "1 kW"
[[botanical]]
name = "juniper"
mass = "40 g"
macerated = "12 h"
[[botanical]]
name = "orris root"
mass = "1 g"
[[botanical]]
name = "liquorice root"
mass = "2 g"
[cuts]
heads = "50 mL"
stop = { stream_abv = "50 %" }
[bottling]
abv = "43 %"
bottle = "500 mL"
"""
WATER = '[[charge]]\nname = "water"\nvolume = "2 L"\n[cuts]\nstop = { collected = "700 mL" }\n'
ROSE = '[[botanical]]\nname = "juniper"\nmass = "50 g"\n'
READINGS = "time,collected,strength\n40 min,700 mL,78 %\n55 min,1400 mL,74 %\n"


@pytest.fixture
def gin(say, tmp_path: Path) -> str:
    (tmp_path / "gin.toml").write_text(GIN, encoding="utf-8")
    return "gin.toml"


def words(text: str) -> str:
    return " ".join(text.split())


def flavour(text: str, name: str) -> list[str]:
    """Cells of a botanical in the table of flavours, without its name."""
    table = text.partition("Flavours\n")[2]
    return next(line for line in table.splitlines() if line.startswith(f"  {name} ")).split()[
        len(name.split()) :
    ]


# --- Flavours.


def test_what_stays_is_said_and_all_else_has_its_places(say, gin: str) -> None:
    whole = say("flavours", gin).out
    glycyrrhizin = next(line for line in whole.splitlines() if line.startswith("  glycyrrhizin"))
    assert glycyrrhizin.split()[1] == "stays"
    vanilla = GIN + '[[botanical]]\nname = "vanilla bean"\nmass = "2 g"\n'
    Path("vanilla.toml").write_text(vanilla, encoding="utf-8")
    text = say("run", "vanilla.toml", "--full").out
    assert "Stays: less than a twentieth of what is dissolved ever comes over." in words(text)
    rows = {name: flavour(text, name) for name in ("juniper", "orris root", "vanilla bean")}
    assert rows["vanilla bean"] == ["stays"]
    assert [len(row) for name, row in rows.items() if name != "vanilla bean"] == [5, 5]


def test_two_numbers_are_told_apart_the_class_and_this_run(say, gin: str) -> None:
    text = words(say("run", gin, "--full").out)
    assert "whatever pot, power and dose" in text
    assert "All else is this run to its stop" in text


# --- Water.


def test_water_with_botanicals_says_why_no_cloud_is_told(say, tmp_path: Path) -> None:
    (tmp_path / "rose.toml").write_text(WATER + ROSE, encoding="utf-8")
    for command in (("run", "rose.toml", "--full"), ("jars", "rose.toml")):
        text = say(*command).out
        assert "this charge holds no alcohol" in words(text.partition("\nCloud\n")[2])
        assert "% vol" not in text.partition("\nHow it runs")[2]
        assert "hydrometer" not in text


def test_a_cleaning_run_keeps_nothing_and_advises_no_hydrometer(say, tmp_path: Path) -> None:
    (tmp_path / "clean.toml").write_text(WATER, encoding="utf-8")
    text = say("run", "clean.toml", "--full").out
    heads = [line for line in text.splitlines() if line and not line.startswith(" ")]
    assert "Nothing to keep" in heads
    assert not {"Cuts", "Jars", "Keep", "Proofing", "Alcohol", "Cloud"} & set(heads)
    assert "2 L of water in the pot give 700 mL in" in text
    assert "hydrometer" not in text
    assert "jar" not in say("jars", "clean.toml").out.replace("nor jars", "").replace("jars are told", "")
    said = say("run", "clean.toml", "--report", "clean.html", "--full")
    assert said.code == 0
    page = (tmp_path / "clean.html").read_text(encoding="utf-8")
    assert "Jar sheet" not in page
    assert "<h2>Nothing to keep</h2>" in page


def test_heads_that_take_the_whole_run_are_refused(say, gin: str, tmp_path: Path) -> None:
    whole = GIN.replace('stream_abv = "50 %"', 'collected = "50 mL"')
    (tmp_path / "heads.toml").write_text(whole, encoding="utf-8")
    said = say("run", "heads.toml", "--full")
    assert said.code == 2
    assert is_refusal(said.error, "all_heads", "cuts.heads", 0.05)


# --- Large runs, and blends.


def test_columns_change_their_unit_at_ten_litres_and_ten_grams() -> None:
    assert volumes([0.5, 9.994])[0] == "mL"
    assert volumes([0.5, 10.0]) == ("L", ["0.50", "10.00"])
    assert masses([9.99])[0] == "mg"
    assert masses([10.0, 0.00004]) == ("g", ["10", "0.00004"])


def test_a_large_run_is_told_in_litres_throughout(say, tmp_path: Path) -> None:
    large = (
        GIN.replace('"2 L"', '"70 L"')
        .replace('"3 L"', '"130 L"')
        .replace('"8 L"', '"300 L"')
        .replace("1 kW", "15 kW")
    )
    (tmp_path / "large.toml").write_text(large.replace('"50 mL"', '"1 L"'), encoding="utf-8")
    for arguments in (("run", "large.toml", "--sure", "--runs", "50"), ("strengths", "large.toml")):
        said = say(*arguments)
        assert said.code == 0
        numbers = [float(cell) for cell in said.out.split() if cell.replace(".", "", 1).isdigit()]
        assert max(numbers) < 10_000.0
        assert "mL" not in said.out.partition("How sure")[2]
        assert max(map(len, said.out.splitlines())) <= 80


def test_a_blend_of_trials_says_whether_it_clouds(say, gin: str, tmp_path: Path) -> None:
    (tmp_path / "rose.toml").write_text(WATER + ROSE, encoding="utf-8")
    blend = words(say("trial", "blend", f"{gin}:1", "quince.toml:1").out)
    assert "cloud clear at" in blend
    assert "One glass settles it" in blend
    assert "cloud not told: there is no alcohol" in words(say("trial", "blend", "rose.toml").out)
    assert "cloud none: no botanicals" in words(say("trial", "blend", "quince.toml").out)


def test_a_strong_oil_clouds_a_blend(say, gin: str, tmp_path: Path) -> None:
    rich = GIN.replace('"40 g"', '"600 g"').replace('abv = "43 %"', 'abv = "20 %"')
    (tmp_path / "rich.toml").write_text(rich, encoding="utf-8")
    run = words(say("run", "rich.toml", "--full").out)
    alone = words(say("trial", "blend", "rich.toml").out)
    assert "The bottle: hazy at 20.0 % vol" in run
    assert "cloud hazy at 20.0 % vol" in alone


# --- Refusals.


@pytest.mark.parametrize(
    "arguments",
    [
        ("run", "gin.toml", "--csv", "-"),
        ("run", "gin.toml", "--plot", "-"),
        ("run", "gin.toml", "--report", "-"),
        ("strengths", "gin.toml", "--csv", "-"),
        ("trial", "next", "gin.toml", "-o", "-"),
        ("trial", "book", ".", "--csv", "-"),
        ("new", "-"),
    ],
)
def test_no_file_is_called_minus(say, gin: str, tmp_path: Path, arguments: tuple[str, ...]) -> None:
    said = say(*arguments)
    assert said.code == 2
    assert getattr(said.error, "kind", "") == "no_output_file"
    assert not (tmp_path / "-").exists()


@pytest.mark.parametrize(
    ("arguments", "given"),
    [
        (("run", "--sure", "--runs", "0"), ("range", "--runs", "0 runs")),
        (("jars", "--sizes", "0 mL"), ("range", "jars.sizes", "0 L")),
        (("jars", "--most", "0"), ("range", "--most", "0 of the whole (0 to 1)")),
        (("strengths", "--same", "both"), ("usage", "potsim strengths", "'both'")),
        (("strengths", "--vary", "still.room", "--values", "200 °F"), ("none_runs",)),
        (
            ("reach", "--recover", "100 %"),
            ("range", "--recover", "100 %, that is 1 of the whole (0 to 1)"),
        ),
        (("reach", "--keep", "0.000001 mL"), ("range", "--keep", "0.000001 mL, that is 1e-09 L")),
        (
            ("reach", "--bottles", "1", "--bottle", "0.0001 mL"),
            ("range", "bottling.bottle", "1e-07 L", "at least 0.001 L"),
        ),
        (
            ("proof", "1 L", "72 %", "42 %", "--at", "200 °F"),
            ("range", "--at", "200 °F, that is 93.3 °C"),
        ),
        (("proof", "0 US gal", "72 %", "42 %"), ("range", "VOLUME", "0 US gal")),
        (("proof", "1 L", "72 %", "0 %"), ("range", "TARGET", "0 %")),
        (("trial", "scale", "gin.toml"), ("usage", "potsim trial scale", "--charge")),
        (("trial", "scale", "gin.toml", "--bottles", "0"), ("range", "--bottles", "0 bottles")),
        (("blend", "72 %", "45 %"), ("two_strengths",)),
        (("follow", "gin.toml", "no.csv"), ("no_file", "", "no.csv")),
    ],
)
def test_a_refusal_says_what_was_typed_and_what_to_do(
    say, gin: str, arguments: tuple[str, ...], given: Record
) -> None:
    said = say(*arguments)
    assert said.code == 2
    assert is_refusal(said.error, *given)
    assert said.err.rstrip().splitlines()[-1].startswith("hint: ")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('room = "200 °F"', ("range", "still.room", "200 °F, that is 93.3 °C")),
        ('altitude = "30000 ft"', ("range", "still.altitude", "30000 ft, that is 9144 m")),
        ('power = "0 kW"', ("range", "still.power", "0 kW")),
    ],
)
def test_a_plan_is_refused_in_its_own_words(say, tmp_path: Path, line: str, said: Record) -> None:
    text = GIN.replace('power = "1 kW"\n', "").replace("[still]", f"[still]\n{line}")
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    refused = say("run", "odd.toml")
    assert refused.code == 2
    assert is_refusal(refused.error, *said)
    assert "hint: Change it in the plan." in refused.err


def test_a_value_is_told_as_typed_only_where_that_says_more() -> None:
    for typed, given, unit, told in (
        (None, 3.0, "L", 3.0),
        ("60 %", 60.0, "% vol", 60.0),
        ("1e9 W", 1e9, "W", "1e9 W"),
        ("x" * 10_000, 3.0, "L", 3.0),
    ):
        error = RangeError.of("range", given=given, allowed=[0.0, 1.0], unit=unit)
        assert as_typed(typed, error) == told


def test_two_strengths_make_a_litre_if_not_said(say) -> None:
    short, long = (say("blend", "72 %", "45 %", "--to", "50 %", *more) for more in ((), ("--make", "1 L")))
    assert short.code == 0
    assert short.out == long.out


def test_an_impossible_keep_is_refused(say, gin: str) -> None:
    said = say("reach", gin, "--keep", "0.000000001 %")
    assert said.code == 2
    assert is_refusal(said.error, "keep_too_weak", "", 1e-09)


def test_what_is_not_written_yet_is_said(say, gin: str) -> None:
    assert "--save FILE writes this plan" in say("reach", gin, "--keep", "1 L").err
    assert say("reach", gin, "--keep", "1 L", "--json").err == ""
    assert "-o FILE writes the recipe" in say("trial", "scale", gin, "--bottles", "12").err


def test_every_figure_behind_the_cautions_has_a_source() -> None:
    for row in read_table("safety.csv"):
        assert row["source"].strip()
        if row["value"]:
            assert any(kind in row["source"] for kind in ("IEC 60079-20-1 (2010)", "molar mass", "no source"))


def test_readings_may_come_through_a_pipe(say, gin: str, tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text(READINGS, encoding="utf-8")
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=(READINGS,))
    writer.start()
    piped = say("follow", gin, "pipe")
    writer.join()
    assert piped.code == 0
    assert piped.out == say("follow", gin, "r.csv").out
