"""Bottles as they are told: spirit by which a keep is stretched, oil, alcohol and money."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from refusals import refused

import potsim
from potsim.interfaces.planfile import read_plan
from potsim.liquid import strength
from potsim.planning.plan import Bottling, Stretch

CONCENTRATE = """
title = "Concentrate"
[[charge]]
name = "grain spirit"
volume = "1 L"
abv = "60 %"
price = "20 per L"
[[charge]]
name = "water"
volume = "0.5 L"
[[botanical]]
name = "juniper"
mass = "60 g"
prepared = "ground"
[cuts]
stop = { stream_abv = "50 %" }
[bottling]
abv = "42 %"
bottle = "500 mL"
bottle_price = 0.8
stretch = { spirit = "3 L", abv = "96 %" }
"""


@pytest.fixture
def concentrate(say, tmp_path: Path) -> str:
    (tmp_path / "strong.toml").write_text(CONCENTRATE, encoding="utf-8")
    return "strong.toml"


# --- Concentrates.


def test_a_stretched_keep_is_told_with_the_spirit_the_water_and_the_oil(say, concentrate: str) -> None:
    data = json.loads(say("run", concentrate, "--json").out)
    keep, made, by = data["keep"], data["proofing"], data["proofing"]["stretch"]
    assert (by["spirit_l"], by["abv"]) == (3.0, 96.0)
    both = strength.mix([keep["volume_l"], 3.0], [keep["abv"], 96.0])
    assert made["from_l"] == by["together_l"] == pytest.approx(both.volume_l)
    assert made["from_abv"] == by["together_abv"] == pytest.approx(both.abv)
    assert made["volume_l"] == pytest.approx(both.ethanol_l / 0.42, rel=1e-6)
    grams = potsim.distil(read_plan(CONCENTRATE, "strong.toml")).flavours.kept_g.sum()
    oil = made["oil_mg_per_l"]
    assert oil == data["cloud"]["oil_mg_per_l"] == pytest.approx(1000.0 * grams / made["volume_l"], rel=1e-6)
    assert oil < keep["oil_mg_per_l"] / 5.0
    said = " ".join(say("run", concentrate, "--full").out.split())
    assert "with 3 L of spirit at 96.0 % vol and" in said
    told = "spirit added 3 L at 96.0 % vol together {:.2f} L at {:.1f} % vol water"
    assert told.format(both.volume_l, both.abv) in said
    assert f"{made['bottles']} of 500 mL" in said
    assert f"oil in it {oil:.0f} mg/L of the botanicals" in said


def test_a_stretch_keeps_clear_what_would_cloud() -> None:
    plan = read_plan(CONCENTRATE.replace('"60 g"', '"150 g"'), "strong.toml")
    pure = potsim.distil(replace(plan, bottling=replace(plan.bottling, stretch=None)))
    stretched = potsim.distil(plan)
    assert pure.cloud is not None
    assert stretched.cloud is not None
    assert stretched.cloud.limit.abv < 42.0 < pure.cloud.limit.abv


def test_a_keep_without_stretch_says_so(say) -> None:
    made = json.loads(say("run", "--json").out)["proofing"]
    assert made["stretch"] is None
    assert made["from_l"] > 1.0
    text = say("run", "--full").out
    assert re.search(r"\nKeep\n.*\n  volume +1.04 L at 73.4 % vol.*\nProofing\n  water ", text, re.DOTALL)
    assert "spirit added" not in text


def test_a_stretch_that_cannot_be_is_refused() -> None:
    with refused("weak_stretch", "bottling.stretch.abv", 40.0, 42.0):
        Bottling(42.0, stretch=Stretch(1.0, 40.0))
    assert Bottling(42.0, stretch=Stretch(1.0, 42.0)).stretch is not None
    with refused("alone", "bottling.stretch"):
        Bottling(stretch=Stretch(1.0, 96.0))
    for litres in (0.0, -1.0):
        with refused("range", "bottling.stretch.spirit", f"{litres:.0f} L", "more than 0"):
            Stretch(litres, 96.0)


# --- Alcohol and money.


def test_alcohol_and_money_are_told(say, concentrate: str) -> None:
    data = json.loads(say("run", concentrate, "--json").out)
    account, made = data["costs"], data["proofing"]
    assert account["alcohol_in_l"] == pytest.approx(0.6 + 2.88)
    assert account["alcohol_out_l"] == pytest.approx(0.42 * made["volume_l"])
    assert account["alcohol_left_l"] == pytest.approx(account["alcohol_in_l"] - account["alcohol_out_l"])
    assert (account["spent"], account["bottles"]) == (pytest.approx(20.0), made["bottles"])
    assert account["per_bottle"] == pytest.approx(20.0 / made["bottles"] + 0.8)
    assert account["unpriced"] == ["bottling.stretch"]
    text = say("run", concentrate, "--full").out
    for line in (
        r"Alcohol and money\n  Of 3.48 L of pure alcohol ",
        r"  spent +20.00 on the charge\n",
        r"  not counted +the spirit added before bottling: no price is known\n",
        rf"  bottles +{made['bottles']} empty ones at 0.80: {0.8 * made['bottles']:.2f}\n",
        rf"  a full bottle +at least {account['per_bottle']:.2f}, with the bottle, without botanicals",
    ):
        assert re.search(line, text), line


def test_without_prices_only_the_alcohol_is_told(say) -> None:
    data = json.loads(say("run", "--json").out)
    account, out_l = data["costs"], 0.42 * data["proofing"]["volume_l"]
    assert account["alcohol_in_l"] == pytest.approx(0.906)
    assert account["alcohol_out_l"] == pytest.approx(out_l)
    assert (account["spent"], account["per_bottle"], account["unpriced"]) == (None, None, [])
    told = r"\nAlcohol\n  Of 906 mL of pure alcohol "
    told += rf"{1000.0 * out_l:.0f} mL are bottled, {100.0 * out_l / 0.906:.0f} %"
    assert re.search(told, say("run", "--full").out)


def test_without_a_bottle_the_keep_is_what_comes_out(say, quince: str, tmp_path: Path) -> None:
    (tmp_path / "dear.toml").write_text(quince.replace('"55 %"\n', '"55 %"\nprice = "10 per L"\n', 1))
    data = json.loads(say("run", "dear.toml", "--json").out)
    assert data["costs"]["alcohol_out_l"] == pytest.approx(data["keep"]["ethanol_l"])
    assert data["costs"]["spent"] == pytest.approx(12.0)
    assert data["costs"]["per_bottle"] is None
    text = say("run", "dear.toml", "--full").out
    assert " are kept, " in text
    assert "a full bottle" not in text


def test_water_alone_has_an_account_too(say, tmp_path: Path) -> None:
    (tmp_path / "water.toml").write_text('[[charge]]\nname = "water"\nvolume = "1 L"\nprice = "1 per L"\n')
    said = say("run", "water.toml", "--full")
    assert said.code == 0
    assert re.search(r"\n  spent +1.00 on the charge\n", said.out)
