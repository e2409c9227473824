"""Jars and keep as they are told: grams, oil, the one small jar, the cloud, heads cuts."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from refusals import Record, is_refusal

import potsim
from potsim.interfaces.planfile import read_plan
from potsim.interfaces.report.flavours import sentences
from potsim.planning import flavours
from potsim.planning.plan import BotanicalDose

HUGE = """
[[charge]]
name = "wash"
volume = "2000 L"
abv = "9 %"
[still]
power = "12 kW"
[[botanical]]
name = "juniper"
mass = "20 kg"
[cuts]
stop = { recovered = 0.9 }
[jars]
keep = "2-3"
"""


def test_oil_of_the_jars_adds_up_to_that_of_the_keep_and_of_its_botanicals() -> None:
    run = potsim.distil(potsim.example_plan())
    mg = flavours.jars_mg_per_l(run) * [jar.volume_l for jar in run.jars]
    kept = [jar.number in run.keep.jars for jar in run.jars]
    assert flavours.keep_mg_per_l(run) * run.keep.volume_l == pytest.approx(float(mg[kept].sum()))
    assert 1000.0 * run.flavours.kept_g.sum() == pytest.approx(float(mg[kept].sum()))
    assert run.cloud is not None
    assert run.cloud.oil_mg_per_l * 100.0 / 42.0 == pytest.approx(
        flavours.keep_mg_per_l(run) * 100.0 / run.keep.abv
    )


def test_without_botanicals_there_is_no_oil(say) -> None:
    data = json.loads(say("jars", "quince.toml", "--json").out)
    assert data["keep"]["oil_mg_per_l"] == 0.0
    assert {jar["oil_mg_per_l"] for jar in data["jars"]} == {0.0}
    assert "oil" not in say("jars", "quince.toml").out


def test_the_base_spirits_own_volatiles_are_no_oil(quince: str) -> None:
    text = quince.replace('"55 %"\n', '"55 %"\nkind = "fruit"\n', 1)
    run = potsim.distil(read_plan(text, "quince.toml"))
    assert len(run.flavours.base) > 5
    np.testing.assert_array_equal(flavours.jars_mg_per_l(run), np.zeros(len(run.jars)))


def test_jars_are_told_in_grams_and_with_their_oil(say) -> None:
    data = json.loads(say("jars", "--json").out)
    text = say("jars").out
    for jar in data["jars"]:
        row = next(line for line in text.splitlines() if re.match(rf" +{jar['number']}  (heads|keep)", line))
        assert f" {jar['mass_g']:.1f} " in row
        assert row.endswith(f" {jar['oil_mg_per_l']:.0f}")
    assert re.search(rf"\n  oil +{data['keep']['oil_mg_per_l']:.0f} mg/L", text)


@pytest.mark.parametrize("sizes", [(), ("60 L",), ("12 L", "2.55 L")])
def test_the_table_of_a_large_run_stays_a_table(say, tmp_path: Path, sizes: tuple[str, ...]) -> None:
    (tmp_path / "huge.toml").write_text(HUGE, encoding="utf-8")
    said = say("jars", "huge.toml", *(("--sizes", *sizes) if sizes else ()))
    assert max(map(len, said.out.splitlines())) <= 80
    assert re.search(r"\n  jar  for +size +holds +mass +until +jar  stream  vapour +at +oil\n", said.out)


# --- One small jar, emptied into the keep.


def test_jars_tell_of_one_small_jar_emptied_into_the_keep(say) -> None:
    said = say("jars", "--away", "30 s", "--most", "5 %", "--json")
    jar = json.loads(said.out)["working_jar"]
    assert (jar["away_min"], jar["most_share"], jar["refused"]) == (0.5, 0.05, None)
    assert 0.0 < jar["size_l"] <= jar["largest_l"]
    assert jar["lost_share"] <= 0.05
    text = say("jars", "--away", "30 s", "--most", "5 %").out
    assert "30 s away may cost at most 5 % of the keep" in text
    assert f"filled {jar['emptied']} times" in text
    assert max(map(len, text.splitlines())) <= 80


def test_away_for_too_long_is_told_and_the_rest_stands(say) -> None:
    said = say("jars", "--away", "1 h")
    assert said.code == 0
    text = " ".join(said.out.split())
    assert "There is no such jar here. In 60 min as much as" in text
    assert "Stay away for less than 3.1 min, allow a larger loss, or lower the power." in text
    assert "One jar more or less" in text
    data = json.loads(say("jars", "--away", "1 h", "--json").out)["working_jar"]
    assert data["refused"].startswith("In 60 min")
    assert data["size_l"] is None


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--most", "0 %", ("range", "--most", "0 %")),
        ("--most", "120 %", ("quantity", "--most", "120 %")),
        ("--away", "soon", ("quantity", "--away", "soon")),
        ("--away", "2000 h", ("range", "--away", "2000 h, that is 120,000 min")),
    ],
)
def test_the_small_jar_refuses_by_the_name_typed(say, option: str, value: str, words: Record) -> None:
    said = say("jars", option, value)
    assert said.code == 2
    assert is_refusal(said.error, *words)


def test_jars_tell_the_cloud(say) -> None:
    text = " ".join(say("jars").out.split())
    for sentence in sentences(potsim.distil(potsim.example_plan()).cloud):
        assert sentence in text
    assert json.loads(say("jars", "quince.toml", "--json").out)["cloud"] is None
    assert "Cloud" not in say("jars", "quince.toml").out


# --- Oil of each botanical in the keep, and heads cuts.


def test_flavours_tell_how_much_of_each_oil_is_kept(say) -> None:
    data = json.loads(say("flavours", "--json").out)
    run = potsim.distil(potsim.example_plan())
    grams = dict(zip([dose.botanical.common_name for dose in run.bill], run.flavours.kept_g, strict=True))
    text = say("flavours").out
    assert data["heads"] == []
    for one in data["flavours"]:
        kept_g = one["in_keep"] * one["releasable_g"]
        assert kept_g == pytest.approx(grams[one["botanical"]], rel=1e-9)
        assert 0.0 < kept_g < one["over_g"]
        rows = [line for line in text.splitlines() if line.startswith(f"  {one['botanical']}")]
        noticed = next(row for row in rows if one["noticed"] in row.split())
        assert float(noticed.split()[-1]) == pytest.approx(1000.0 * kept_g, rel=6e-3)


def test_two_lines_of_one_botanical_are_told_apart() -> None:
    doses = (
        BotanicalDose("juniper", mass_g=5.0, prepared="ground"),
        BotanicalDose("juniper", mass_g=20.0, prepared="whole"),
    )
    run = potsim.distil(replace(potsim.example_plan(), botanicals=doses))
    assert sorted(flavour.line for flavour in run.flavours) == [0, 1]
    for flavour in run.flavours:
        assert flavour.releasable_g == pytest.approx(run.bill[flavour.line].oil_total_g, rel=0.2)
    kept = [one.in_keep * one.releasable_g for one in sorted(run.flavours, key=lambda one: one.line)]
    assert kept == pytest.approx(run.flavours.kept_g.tolist())


@pytest.mark.parametrize("heads", ['heads = "20 mL"', ""])
def test_heads_cuts_of_a_few_sizes(say, quince: str, tmp_path: Path, heads: str) -> None:
    text = quince.replace('"55 %"\n', '"55 %"\nkind = "fruit"\n', 1).replace('heads = "20 mL"', heads)
    (tmp_path / "kind.toml").write_text(text.replace('keep = "2-5"', ""), encoding="utf-8")
    cuts = json.loads(say("flavours", "kind.toml", "--json").out)["heads"]
    sizes = [1000.0 * cut["heads_l"] for cut in cuts]
    volume_ml = 1000.0 * potsim.distil(potsim.load_plan(tmp_path / "kind.toml")).charge.volume_l
    shares = (0.005, 0.01, 0.02, 0.04)
    expected = [10.0, 20.0, 40.0, 60.0] if heads else [share * volume_ml for share in shares]
    assert sizes == pytest.approx(expected)
    for cut in cuts:
        taken = cut["taken"]
        assert taken["ethyl_acetate"] > 3.0 * cut["ethanol_share"]
        assert taken["methanol"] == pytest.approx(cut["ethanol_share"], rel=0.3)
    said = say("flavours", "kind.toml").out
    assert max(map(len, said.splitlines())) <= 80
    assert ("plan 20.0" in said) == bool(heads)
    row = next(line for line in said.splitlines() if line.startswith("  the alcohol"))
    assert row.split()[2:] == [f"{100.0 * cut['ethanol_share']:.1f}" for cut in cuts]
    assert "A heads cut does not make bad spirit safe" in " ".join(said.split())
    assert "does not make bad spirit safe" in " ".join(say("run", "kind.toml", "--full").out.split())
