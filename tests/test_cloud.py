"""The cloud of a run, and how it is told."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import potsim
from potsim.interfaces.plots.run import figure_of_run
from potsim.liquid.clouding import ClearLimit, Verdict
from potsim.planning.cloud import SOONER, Cloud, Remedy, sentences
from potsim.planning.plan import BotanicalDose, Bottling, Ingredient, Plan


def a_cloud(limit: ClearLimit, verdict: Verdict | None, *remedies: Remedy) -> Cloud:
    return Cloud(None, None, False, limit, verdict, 100.0, remedies)


OILY = """
title = "An oily one"
[[charge]]
name = "grain spirit"
volume = "1 L"
abv = "60 %"
[[charge]]
name = "water"
volume = "0.5 L"
[[botanical]]
name = "star anise"
mass = "40 g"
prepared = "ground"
[cuts]
stop = { stream_abv = "40 %" }
"""
BLAMED = {"alpha_pinene": 0.62, "limonene": 0.3, "linalool": 0.08}
NEVER = ClearLimit("always clear", 0.0, 0.0, 0.0, {})
AT_WORST = ClearLimit("always clear", 0.0, 0.0, 19.2, {"limonene": 1.0})
BETWEEN = ClearLimit("clouds below", 37.3, 31.8, 43.1, BLAMED)
FULL = ClearLimit("always cloudy", 100.0, 95.0, 100.0, {"limonene": 1.0})


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (NEVER, "its oil stays clear however far it is let down, near 20 °C."),
        (
            AT_WORST,
            "its oil stays clear however far it is let down (at worst down to 19 % vol), near 20 °C.",
        ),
        (BETWEEN, "its oil stays clear down to about 37 % vol (32 to 43), near 20 °C."),
        (FULL, "its oil does not stay clear even in pure alcohol, near 20 °C."),
    ],
)
def test_the_limit_in_words(limit: ClearLimit, words: str) -> None:
    assert sentences(a_cloud(limit, None), None)[1] == f"The keep when it is let down: {words}"
    assert sentences(a_cloud(limit, "clear"), 50.0)[1] == f"The bottle is clear at 50 % vol: {words}"


def test_a_cloud_names_what_is_to_blame_and_what_would_help() -> None:
    told = {"Bottle at 44 % vol or more": 37.3, "Halve the juniper": 30.6, "Leave out the last jar kept": 0.2}
    remedies = [Remedy(words, abv) for words, abv in told.items()]
    said = sentences(a_cloud(BETWEEN, "may cloud", *remedies), 42.0)
    assert said[1].startswith("The bottle may cloud at 42 % vol: ")
    assert said[2:] == (
        "Mostly to blame: alpha-pinene (62 %) and limonene (d-) (30 %).",
        "Bottle at 44 % vol or more.",
        "Halve the juniper: clear down to about 31 % vol.",
        "Leave out the last jar kept: clear however far it is let down.",
        SOONER,
    )


def test_the_cloud_stands_in_words_under_the_picture() -> None:
    plan = potsim.example_plan()
    heavy = replace(plan, botanicals=(BotanicalDose("juniper", mass_g=120.0, prepared="ground"),))
    for run, words in (
        (potsim.distil(plan), "The bottle is clear at 42 % vol"),
        (potsim.distil(replace(plan, bottling=Bottling())), "The keep when it is let down"),
        (potsim.distil(heavy), "cloud at 42 % vol"),
    ):
        assert words in " ".join(figure_of_run(run).get_supxlabel().split())


# --- proof --of: does the keep of a plan cloud at the strength wanted?


def test_proof_tells_whether_the_keep_of_a_plan_clouds(say, tmp_path: Path) -> None:
    (tmp_path / "gin.toml").write_text(OILY, encoding="utf-8")
    asked = ("proof", "400 mL", "70 %", "38 %", "--of", "gin.toml")
    cloud = json.loads(say(*asked, "--json").out)["cloud"]
    run = potsim.distil(potsim.load_plan(tmp_path / "gin.toml"))
    found = run.cloud_at(38.0)
    assert found is not None
    assert cloud["verdict"] == found.verdict == found.limit.verdict(38.0)
    assert cloud["verdict"] != "clear"
    assert cloud["oil_mg_per_l"] == pytest.approx(
        1000.0 * run.flavours.kept_g.sum() / run.keep.ethanol_l * 0.38
    )
    text = " ".join(say(*asked).out.split())
    assert "Cloud: the keep of An oily one" in text
    assert f"It then holds {found.oil_mg_per_l:.0f} mg/L of oil." in text
    for sentence in cloud["words"]:
        assert sentence in text
    assert "cloud" not in json.loads(say(*asked[:4], "--json").out)


def test_proof_of_a_plan_without_botanicals_and_of_one_too_weak(say) -> None:
    assert "no oil of theirs" in say("proof", "1 L", "72 %", "42 %", "--of", "quince.toml").out
    said = say("proof", "1 L", "96 %", "90 %", "--of", "quince.toml")
    assert said.code == 2
    assert "quince.toml keeps spirit of 7" in said.err
    assert "weaker than TARGET" in said.err


# --- What would help: the botanical named is the one whose halving clears the bottle furthest.


@pytest.mark.parametrize("place", [0, 1, 2])
def test_the_botanical_to_halve_is_the_one_whose_halving_helps_most(place: int) -> None:
    bill = [BotanicalDose("juniper", mass_g=6.0), BotanicalDose("coriander seed", mass_g=6.0)]
    bill.insert(place, BotanicalDose("star anise", mass_g=40.0, prepared="ground"))
    plan = Plan(
        charge=(Ingredient("spirit", 1.5, 40.0),), botanicals=tuple(bill), bottling=Bottling(abv=38.0)
    )
    run = potsim.distil(plan)
    assert run.cloud is not None
    assert run.cloud.verdict != "clear"
    names = [line.botanical.common_name for line in run.bill]
    (advice,) = [
        (name, remedy.clear_abv) for remedy in run.cloud.remedies for name in names if name in remedy.words
    ]
    halved = {}
    for k, name in enumerate(names):
        less = tuple(replace(d, mass_g=d.mass_g / 2) if j == k else d for j, d in enumerate(bill))
        cloud = potsim.distil(replace(plan, botanicals=less)).cloud
        assert cloud is not None
        halved[name] = cloud.limit.abv
    assert advice[0] == min(halved, key=lambda name: halved[name]) == "star anise"
    assert advice[1] == pytest.approx(halved["star anise"], abs=0.3)
    assert min(v for name, v in halved.items() if name != "star anise") > advice[1] + 2.0
