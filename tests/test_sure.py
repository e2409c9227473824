"""``potsim run --sure``: bands in text, JSON and picture."""

from __future__ import annotations

import json
import re

import pytest
from refusals import Record, is_refusal

import potsim
from potsim.interfaces.plots.run import figure_of_run
from potsim.interfaces.report import Table
from potsim.interfaces.report.sweep import sure_section
from potsim.planning.ensemble import ensemble


def test_text_tells_the_bands_what_was_uncertain_and_what_to_measure(say) -> None:
    said = say("run", "quince.toml", "--sure")
    assert said.code == 0
    section = said.out.split("How sure\n")[1].split("\n\nNot known")[0]
    assert "strength of the keep" in section
    assert "strengths +/-0.5 % vol, volumes +/-2 %" in " ".join(section.split())
    assert "of the spread of the keep" in " ".join(section.split())
    assert "Set your own in [uncertainty]." in " ".join(section.split())
    assert all(len(line) <= 80 for line in said.out.splitlines())
    assert "How sure" not in say("run", "quince.toml").out


def test_each_number_of_the_table_lies_between_its_ends() -> None:
    parts = sure_section(ensemble(potsim.example_plan(), 60)).parts
    (table,) = [part for part in parts if isinstance(part, Table)]
    for *_, value, ends in table.rows:
        low, high = (float(end) for end in re.findall(r"\d+(?:\.\d+)?", ends))
        assert low <= float(value) <= high


def test_json_holds_bands_beside_the_values_and_the_seed_repeats_them(say) -> None:
    first, again, other = (
        json.loads(say("run", "quince.toml", "--sure", "--seed", seed, "--json").out)["band"]
        for seed in ("5", "5", "6")
    )
    assert first == again
    assert first != other
    keep = first["keep"]["abv"]
    assert keep["low"] < keep["value"] < keep["high"]
    assert "band" not in json.loads(say("run", "quince.toml", "--json").out)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--seed", "3"), ("goes_with", "--seed")),
        (("--sure", "--seed", "x"), ("quantity", "--seed", "x")),
        (("--sure", "--seed", "1.5"), ("quantity", "--seed", "1.5")),
        (("--runs", "3"), ("goes_with", "--runs")),
        (("--sure", "--runs", "0"), ("range", "--runs", "0 runs")),
    ],
)
def test_refusals(say, words: tuple[str, ...], message: Record) -> None:
    said = say("run", "quince.toml", *words)
    assert said.code == 2
    assert is_refusal(said.error, *message)
    assert said.out == ""


def test_the_picture_has_the_band_behind_the_stream() -> None:
    plan = potsim.example_plan()
    sure = ensemble(plan, n=200)
    ax = figure_of_run(potsim.distil(plan), sure).axes[0]
    band = ax.collections[0].get_datalim(ax.transData)
    assert band.height > 20.0
    assert any(text.get_text() == "9 runs in 10" for text in ax.texts)


def test_many_runs_say_beforehand_how_long_they_take(say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("potsim.interfaces.commands.run.MANY", 100)
    said = say("run", "quince.toml", "--sure", "--runs", "200")
    assert said.code == 0
    assert "Drawing 200 runs takes about" in said.err
    assert "200 runs drawn" in said.out


def test_ctrl_c_stops_the_draws_with_a_word(say, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("potsim.planning.ensemble.work", stopped)
    said = say("run", "quince.toml", "--sure", "--plot", "a.png")
    assert said.code == 1
    assert "stopped by Ctrl-C" in said.err
    assert said.out == ""
