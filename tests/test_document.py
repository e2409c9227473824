"""A run as plain data: enough to compute it anew, and all that any face shows."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from refusals import refused

import potsim
from potsim.planning.stops import Moment
from potsim.records import plain

QUINCE = """
title = "Quince"

[[charge]]
name = "quince spirit"
volume = "1 L"
abv = "55 %"
kind = "fruit"

[cuts]
heads = "20 mL"
stop = { stream_abv = "50 %" }
tails_from = { stream_abv = "60 %" }
"""
ANEW = """
title = "Anew"
charge = [
    { name = "left over", from_run = "quince.toml", jars = "1-3" },
    { name = "water", volume = "300 mL" },
]

[still]
capacity = "2 L"
min_level = "300 mL"

[[still.power_step]]
from_collected = "50 mL"
power = "400 W"

[[own_botanical]]
name = "Fireweed"
category = "leaf"
oil_yield = "1 %"
composition = { linalool = "40 %", my_own = "20 %" }

[[own_compound]]
name = "my_own"
molar_mass = "150 g/mol"
relative_to_ethanol = 2.0

[[botanical]]
name = "Fireweed"
mass = "2 g"

[bottling]
abv = "42 %"
bottle = "50 mL"
"""


@pytest.fixture(params=["quince.toml", "anew.toml", "example"])
def run(request: pytest.FixtureRequest, tmp_path: Path) -> potsim.Run:
    if request.param == "example":
        return potsim.distil(potsim.example_plan())
    (tmp_path / "quince.toml").write_text(QUINCE, encoding="utf-8")
    (tmp_path / "anew.toml").write_text(ANEW, encoding="utf-8")
    return potsim.distil(potsim.load_plan(tmp_path / request.param))


def test_a_run_comes_back_from_what_it_tells(run: potsim.Run) -> None:
    data = json.loads(json.dumps(run.to_dict(), allow_nan=False))
    assert data["format"] == 0
    again = potsim.Run.from_dict(data)
    assert again.plan == run.plan
    assert again.to_dict() == run.to_dict()


@pytest.mark.parametrize("lost", ["format", "plan"])
def test_what_is_no_run_is_refused(lost: str) -> None:
    data = potsim.distil(potsim.example_plan()).to_dict()
    del data[lost]
    with refused("no_run", "format"):
        potsim.Run.from_dict(data)


def test_the_cuts_moved_are_told(run: potsim.Run) -> None:
    """Each row's alcohol kept and not kept together is what was charged."""
    told = run.to_dict()["cuts"]
    charged = run.charge.ethanol_l
    for rows in (told["keep_end"], told["heads"]):
        assert sum(row["planned"] for row in rows) == 1
        for row in rows:
            assert row["keep_l"] * row["keep_abv"] / 100.0 + row["left_l"] == pytest.approx(charged, rel=1e-9)


def test_the_heads_are_told_where_the_spirit_brings_something(run: potsim.Run) -> None:
    told = run.to_dict()["heads"]
    assert bool(told) == bool(run.flavours.base)
    for row in told:
        assert set(row["taken"]) == {one.compound_id for one in run.flavours.base}
        assert all(0.0 <= share <= 1.0 for share in row["taken"].values())


def test_notes_are_the_cautions_the_assumptions_and_what_is_said_of_jars(run: potsim.Run) -> None:
    data = run.to_dict()
    heed = [note["words"] for note in data["notes"] if note["severity"] != "hint"]
    assert heed == data["cautions"]
    hints = [note["words"] for note in data["notes"] if note["severity"] == "hint"]
    assert hints[: len(data["assumed"])] == data["assumed"]
    assert {note["severity"] for note in data["notes"]} <= {"danger", "caution", "hint"}
    assert all(note["kind"] and isinstance(note["subject"], str) for note in data["notes"])


def test_plain_data_are_plain() -> None:
    there = Moment(*range(9))
    told = plain({"a": (1, np.float64(2.5), np.array([1.0, math.inf])), 2: there, "none": None})
    assert told["a"] == [1, 2.5, [1.0, None]]
    assert told["2"]["elapsed_min"] == 8
    assert told["none"] is None
    with pytest.raises(TypeError, match="set"):
        plain({1})
