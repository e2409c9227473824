"""`potsim strengths`: its table, its files, lists of values, and what it refuses."""

from __future__ import annotations

import csv
import io
import json

import pytest
from refusals import Record, is_refusal

from potsim.interfaces.commands.ask import evenly


def test_strengths_prints_a_table_within_80_columns(say) -> None:
    said = say("strengths")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert "38.1 % *" in said.out
    assert "20 %: The charge takes 4.75 L" in said.out
    assert "Neither stream, up to the stop," in said.out
    assert said.out.count("savin") == 1  # a caution for all is said once
    assert "The plan names no capacity" not in said.out


def test_strengths_of_a_plan_without_a_still(say, quince: str, tmp_path) -> None:
    (tmp_path / "small.toml").write_text('[[charge]]\nname = "x"\nvolume = "2 L"\nabv = "70 %"\n', "utf-8")
    said = say("strengths", str(tmp_path / "small.toml"), "--from", "30", "--to", "50 %", "--step", "10")
    assert "The plan names no capacity: the pot is sized to each charge." in said.out
    assert "-        -" not in said.out.splitlines()[5].split("%")[0]


def test_strengths_as_data_and_files(say, tmp_path) -> None:
    picture, table = tmp_path / "s.svg", tmp_path / "s.csv"
    said = say("strengths", "--json", "--same", "volume", "--plot", str(picture), "--csv", str(table))
    data = json.loads(said.out)
    assert (data["key"], data["same"]) == ("charge.abv", "volume")
    assert [row["value"] for row in data["rows"]] == list(evenly(20, 60, 5))
    assert data["rows"][0]["flavours"][0]["botanical"] == "juniper"
    assert picture.read_text("utf-8").lstrip().startswith("<?xml")
    rows = list(csv.DictReader(io.StringIO(table.read_text("utf-8"))))
    assert float(rows[3]["distillate_l"]) == data["rows"][3]["distillate_l"]
    assert rows[3]["juniper_class"] == data["rows"][3]["flavours"][0]["class"]
    assert "Written: " in said.err
    assert say("strengths", "--csv", str(table)).code == 2


@pytest.mark.parametrize(
    ("values", "read"),
    [
        ("10 mL, 20 mL,0.05 L", [0.01, 0.02, 0.05]),
        ("10 mL; 20 mL", [0.01, 0.02]),
        ("0,01 L, 0,02 L", [0.01, 0.02]),
    ],
)
def test_lists_of_values(say, values: str, read: list[float]) -> None:
    data = json.loads(say("strengths", "--vary", "cuts.heads", "--values", values, "--json").out)
    assert [row["value"] for row in data["rows"]] == pytest.approx(read)


def test_another_number_by_range_and_what_the_table_calls_it(say) -> None:
    said = say("strengths", "--vary", "Still.Power", "--from", "400 W", "--to", "1 kW", "--step", "300 W")
    lines = said.out.splitlines()
    assert lines[0].endswith(": power")
    assert [line.split("  ")[1] for line in lines[3:6]] == ["400 W", "700 W *", "1000 W"]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--step", "0"), ("endless", "", 0)),
        (("--step", "0.01"), ("range_long", "", 4001)),
        (("--from", "60", "--to", "20"), ("range_backwards",)),
        (("--from", "97", "--to", "99"), ("none_runs",)),
        (("--from", "30 mL"), ("quantity", "--from", "30 mL")),
        (("--vary", "still.pwer", "--values", "1 W"), ("unknown_name", "--vary", "still.pwer")),
        (("--vary", "still.power"), ("vary_no_values", "", "still.power")),
        (("--vary", "still.power", "--values", ";"), ("no_values", "still.power")),
        (("--vary", "still.power", "--values", "7"), ("quantity", "--values", "7")),
        (("--values", "30 %", "--from", "20"), ("exclude", "", "--values")),
        (
            ("--vary", "still.power", "--values", "7 W", "--same", "volume"),
            ("same_of_charge", "--same", "volume"),
        ),
        (("--same", "water"), ("usage", "potsim strengths", "'water'")),
        (("--plot", "a.bmp"), ("suffix", "--plot", "a.bmp")),
    ],
)
def test_what_strengths_refuses(say, args: tuple[str, ...], words: Record) -> None:
    said = say("strengths", *args)
    assert said.code == 2
    assert is_refusal(said.error, *words)
    assert said.out == ""
