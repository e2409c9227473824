"""Plans whose keeps are poured together to be like another: what is printed, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from refusals import Record, is_refusal

import potsim
from potsim.interfaces.planfile import read_plan
from potsim.liquid import strength
from potsim.planning.blends import blend_to_profile, oils_mg_per_l, pour

SPIRIT = """
[[charge]]
name = "grain spirit"
volume = "1 L"
abv = "60 %"
[[charge]]
name = "water"
volume = "0.5 L"
[cuts]
stop = { stream_abv = "50 %" }
"""
BOTTLED = '[bottling]\nabv = "42 %"\n'


def plan(title: str, after: str = "", **grams: float) -> str:
    bill = [(name.replace("_", " "), mass) for name, mass in grams.items()]
    lines = [f'[[botanical]]\nname = "{name}"\nmass = "{mass} g"\n' for name, mass in bill]
    return f'title = "{title}"\n{SPIRIT}{"".join(lines)}{after}'


PLANS = {
    "juniper": plan("All juniper", juniper=30),
    "coriander": plan("All coriander", coriander_seed=30),
    "fennel": plan("All fennel", fennel_seed=5),
    "gin": plan("The gin", BOTTLED, juniper=12, coriander_seed=6),
    "thin": plan("A little juniper", juniper=3),
    "weak": """
title = "No spirit at all"
[[charge]]
name = "water"
volume = "1 L"
[[botanical]]
name = "juniper"
mass = "1 g"
[cuts]
stop = { collected = "200 mL" }
""",
}


@pytest.fixture(autouse=True)
def files(tmp_path: Path) -> None:
    for name, text in PLANS.items():
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")


def test_two_single_distillates_are_poured_like_the_mixed_one(say) -> None:
    asked = ("blend", "juniper.toml", "coriander.toml", "--like", "gin.toml", "--make", "700 mL")
    data = json.loads(say(*asked, "--json").out)
    assert data["like"] == "The gin"
    assert [one["share"] for one in data["plans"]] == pytest.approx([2 / 3, 1 / 3], abs=0.02)
    assert data["misfit"] < 0.03
    assert data["oil_factor"] == pytest.approx(30 / 18, rel=0.05)
    assert (data["volume_l"], data["abv"]) == (pytest.approx(0.7), 42.0)
    alcohol = sum(one["volume_l"] * one["abv"] for one in data["plans"])
    assert alcohol == pytest.approx(0.7 * 42.0)
    assert sum(one["volume_l"] for one in data["plans"]) == pytest.approx(data["together_l"], rel=1e-3)
    assert data["water_kg"] > 0.3
    said = say(*asked).out
    text = " ".join(said.split())
    assert "To pour for 700 mL at 42.0 % vol, like The gin" in text
    assert re.search(
        r"1\.[67] times what is wanted, at the same strength: 0\.[67]\d? L of neutral spirit", text
    )
    assert f"at most {data['most_l']:.2f} L" in text
    assert max(map(len, said.splitlines())) <= 80


def test_a_litre_at_the_strength_asked_for_unless_said_otherwise(say) -> None:
    asked = ("blend", "juniper.toml", "fennel.toml", "--like", "juniper.toml", "--to", "40 %")
    data = json.loads(say(*asked, "--json").out)
    assert (data["volume_l"], data["abv"]) == (pytest.approx(1.0), 40.0)
    assert [one["share"] for one in data["plans"]] == pytest.approx([1.0, 0.0], abs=1e-9)
    text = say(*asked).out
    assert "Nothing: every compound is within 0.5 %." in text
    assert "as wanted, at the same strength" in text


def test_the_worst_missed_compounds_come_first(say) -> None:
    data = json.loads(say("blend", "fennel.toml", "coriander.toml", "--like", "gin.toml", "--json").out)
    misses = np.array([one["miss"] for one in data["compounds"]])
    assert np.all(np.diff(np.abs(misses)) <= 0.0)
    assert float(np.sqrt(np.mean(misses**2))) == pytest.approx(data["misfit"])
    text = say("blend", "fennel.toml", "coriander.toml", "--like", "gin.toml").out
    assert f"\n  {data['compounds'][0]['name']} " in text


def test_a_blend_thinner_than_wanted_is_told(say) -> None:
    said = say("blend", "thin.toml", "fennel.toml", "--like", "juniper.toml", "--to", "42 %")
    assert "only 0.1 times what is wanted, at the same strength" in " ".join(said.out.split())


def test_what_is_poured_lasts_as_long_as_the_keep_that_runs_out_first() -> None:
    runs = [potsim.distil(read_plan(PLANS[name], name)) for name in ("juniper", "coriander", "gin")]
    wanted = oils_mg_per_l(runs[2], 42.0)
    made = blend_to_profile(runs[:2], wanted, 42.0)
    poured = pour(made, runs[:2], 1.0, 42.0)
    most = pour(made, runs[:2], poured.most_l, 42.0)
    left = [run.keep.volume_l - volume for run, volume in zip(runs[:2], most.volumes_l, strict=True)]
    assert min(left) == pytest.approx(0.0, abs=1e-9)


def test_the_spirit_that_stretches_what_is_aimed_at_thins_it() -> None:
    text = PLANS["gin"] + 'stretch = { spirit = "1 L", abv = "96 %" }\n'
    run = potsim.distil(read_plan(text, "gin"))
    pure, thin = (oils_mg_per_l(run, 42.0, bottled=bottled)["linalool"] for bottled in (False, True))
    assert thin / pure == pytest.approx(run.keep.ethanol_l / (run.keep.ethanol_l + 0.96))
    assert run.cloud is not None
    assert sum(oils_mg_per_l(run, 42.0, bottled=True).values()) == pytest.approx(run.cloud.oil_mg_per_l)


J, C, GIN = "juniper.toml", "coriander.toml", "gin.toml"


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ((J, "1 L @ 42 %", "--like", GIN), ("plans_and_portions", "", "1 L @ 42 %")),
        ((J, C), ("like_what", "", "juniper.toml")),
        (("1 L @ 42 %", "--like", GIN), ("like_no_plans", "--like", "gin.toml")),
        (("1 L @ 42 %", "--make", "1 L"), ("two_strengths",)),
        ((J, "--like", GIN), ("too_few_to_blend", "", 1)),
        ((J, C, "--like", J), ("like_no_strength", "--like", "juniper.toml")),
        ((J, C, "--like", "fennel.toml", "--to", "90 %"), ("too_strong", "--to", 90.0)),
        ((J, C, "--like", GIN, "--to", "0 %"), ("range", "--to", "0 % vol")),
        ((J, C, "--like", GIN, "--make", "0 mL"), ("range", "--make", "0 L")),
        ((J, "weak.toml", "--like", GIN), ("no_alcohol_kept", "")),
        ((J, C, "--like", "quince.toml", "--to", "42 %"), ("no_oil_aimed", "")),
        (("quince.toml", "quince.toml", "--like", GIN), ("no_botanical_shared", "")),
        ((J, "none.toml", "--like", GIN), ("no_file", "", "none.toml")),
    ],
)
def test_refusals(say, asked: tuple[str, ...], words: Record) -> None:
    said = say("blend", *asked)
    assert said.code == 2
    assert said.out == ""
    assert is_refusal(said.error, *words)


def test_how_much_of_each_of_two_strengths(say) -> None:
    """A litre at 50 % of 80 % and 30 %: 395 and 614 mL, by mass balance."""
    pair = ("blend", "80 %", "30 %", "--to", "50 %", "--make", "1 L")
    said = say(*pair)
    assert said.code == 0
    assert "395 mL" in said.out
    assert "614 mL" in said.out
    data = json.loads(say(*pair, "--json").out)
    back = strength.mix(data["spirits_l"], [80.0, 30.0])
    assert back.volume_l == pytest.approx(1.0, abs=1e-9)
    assert back.abv == pytest.approx(50.0, abs=1e-9)
    said = say("blend", "80 %", "30 %", "--to", "90 %", "--make", "1 L")
    assert said.code == 2
    assert is_refusal(said.error, "not_between", "--to", "90 %")
