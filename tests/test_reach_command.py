"""`potsim reach`: what it tells, the plan it saves, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from refusals import Record, is_refusal

import potsim
from potsim.interfaces.planfile import load_plan


def test_reach_tells_within_80_columns_and_saves_the_plan(say, tmp_path: Path) -> None:
    said = say("reach", "--keep", "300 mL @ 72 %", "--save", "next.toml")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert "1 full bottle\n" in said.out
    run = potsim.distil(load_plan(tmp_path / "next.toml"))
    assert 0.3 <= run.keep.volume_l <= 0.33
    assert run.keep.abv == pytest.approx(72.0, rel=1e-3)
    assert "Written: next.toml" in said.err
    again = say("reach", "--bottles", "6", "--save", "next.toml")
    assert is_refusal(again.error, "file_there", "--save", "next.toml")


def test_reach_with_another_bottle_in_several_runs(say) -> None:
    said = say("reach", "--bottles", "24", "--bottle", "500 mL", "--abv", "40 %")
    assert "24 bottles of 500 mL at 40 % vol" in said.out
    assert "equal runs of a still of 4 L" in " ".join(said.out.split())
    assert "What to charge, for each run" in said.out
    small = say("reach", "quince.toml", "--keep", "72 %", "--json")
    assert json.loads(small.out)["each"]["keep_abv"] == pytest.approx(72.0, rel=1e-3)
    assert "(none is named, so one is sized to it)" in say(
        "reach", "quince.toml", "--keep", "1 L"
    ).out.replace("\n  ", " ")
    assert "80 % of the alcohol" in say("reach", "--recover", "80 %", "--by", "amount").out


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), ("nothing_asked", "potsim reach")),
        (("--bottles", "6", "--keep", "1 L"), ("usage", "potsim reach", "--keep")),
        (("--bottles", "x"), ("quantity", "--bottles", "x")),
        (("--bottles", "7.5"), ("quantity", "--bottles", "7.5")),
        (("--bottles", "0"), ("range", "--bottles", "0 bottles")),
        (("--keep", "300"), ("quantity", "--keep", "300")),
        (("--keep", "300 mL @"), ("quantity", "--keep", "300 mL @")),
        (("--keep", "90 %"), ("keep_too_strong", "", 90.0)),
        (("--keep", "300 mL @ 0 %"), ("range", "--keep", "0 % vol")),
        (("--recover", "120 %"), ("quantity", "--recover", "120 %")),
        (("--bottles", "6", "--save", "a.txt"), ("suffix", "--save", "a.txt")),
        (("--bottles", "6", "--by", "magic"), ("usage", "potsim reach", "'magic'")),
        (("quince.toml", "--bottles", "6"), ("no_bottle", "bottling.abv")),
    ],
)
def test_what_reach_refuses(say, args: tuple[str, ...], words: Record) -> None:
    said = say("reach", *args)
    assert said.code == 2
    assert is_refusal(said.error, *words)
    assert said.out == ""
