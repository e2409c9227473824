"""The command ``trial``: what it says, what it refuses, what it draws."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from refusals import Record, is_refusal

from potsim.interfaces.cli import main
from potsim.interfaces.ownfile import still_text
from potsim.interfaces.plots import shown_axes
from potsim.interfaces.plots.others import figure_of_comparison, plot_comparison
from potsim.interfaces.trialfile import read_factors, read_trial
from potsim.planning.learnt import Known, Learnt
from potsim.planning.next_trial import Factors, next_trial
from potsim.planning.trials import compare, pairs


def run(*arguments: str) -> int:
    return main(["trial", *arguments])


# --- Commands


def test_results_go_to_standard_output_and_fit(folder: Path, capsys) -> None:
    assert run("next", "trial-1.toml", "-o", "trial-2.toml") == 0
    commands = [
        ["next", "trial-1.toml"],
        ["compare", "trial-1.toml", "trial-2.toml"],
        ["scale", "trial-1.toml", "--charge", "25 L @ 30 %"],
        ["blend", "trial-1.toml:1", "trial-2.toml:1"],
        ["book", "."],
    ]
    capsys.readouterr()
    for command in commands:
        assert run(*command) == 0
        said = capsys.readouterr()
        assert max(map(len, said.out.splitlines())) <= 80
        writes = "-o FILE writes the recipe" in said.err
        assert writes == (command[0] in ("next", "scale", "blend"))
        assert run(*command, "--json") == 0
        assert isinstance(json.loads(capsys.readouterr().out), dict)


def test_what_the_words_say(folder: Path, capsys) -> None:
    run("next", "trial-1.toml", "-o", "trial-2.toml", "--factors", "a touch more=x1.3")
    said = " ".join(capsys.readouterr().out.split())
    assert "juniper a touch more x 1.3 14 g 18.2 g" in said
    assert "a lot more x 2, more x 1.5, a touch more x 1.3, a touch less / 1.2, less / 1.5" in said
    run("compare", "trial-1.toml", "trial-1.toml")
    assert "Nothing differs." in capsys.readouterr().out
    run("compare", "trial-1.toml", "trial-2.toml")
    said = " ".join(capsys.readouterr().out.split())
    assert "juniper 14 g 18.2 g" in said
    assert "within 0.5 %" in said
    assert "jars pooled 2-9 -" in said
    run("scale", "trial-1.toml", "--bottles", "40")
    said = " ".join(capsys.readouterr().out.split())
    assert "full bottles 5 40" in said
    for unscaled in ("Neck loss: ", "Release: ", "Weighing: "):
        assert unscaled in said


def test_the_still_of_another_plan_is_taken(folder: Path, capsys) -> None:
    charge = '[[charge]]\nname = "s"\nvolume = "1 L"\nabv = "40 %"\n'
    still = charge + '[still]\ncapacity = "50 L"\npower = "3 kW"\n'
    Path("large.toml").write_text(still, encoding="utf-8")
    arguments = ("scale", "trial-1.toml", "--charge", "25 L", "--still", "large.toml", "-o", "made.toml")
    assert run(*arguments) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "pot 4 L 50 L" in said
    made = read_trial("made.toml")
    assert made.trial.plan.still == read_trial("large.toml").trial.plan.still
    assert '# neck_loss = "0.6 W/K"' in made.text


def test_comparing_a_file_with_itself_is_empty_as_data(folder: Path, capsys) -> None:
    assert run("compare", "trial-1.toml", "trial-1.toml", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert data["decided"] == data["predicted"] == data["measured"] == data["botanicals"] == []


def test_doses_agree_between_the_commands(folder: Path, capsys) -> None:
    run("next", "trial-1.toml", "-o", "trial-2.toml")
    capsys.readouterr()
    answers = []
    for command in (
        ["compare", "trial-1.toml", "trial-2.toml"],
        ["scale", "trial-1.toml", "--charge", "25 L"],
        ["book", "."],
    ):
        run(*command, "--json")
        answers.append(json.loads(capsys.readouterr().out))
    beside, scaled, book = answers
    compared = {pair["botanical"]: pair["a"]["doses"] for pair in beside["botanicals"]}
    listed = next(trial for trial in book["trials"] if trial["file"] == "trial-1.toml")["doses"]
    for name, doses in compared.items():
        assert doses == listed[name] == scaled["before"]["doses"][name]


def test_a_book_lists_the_rest_of_a_folder_with_a_broken_file(folder: Path, capsys) -> None:
    run("next", "trial-1.toml", "-o", "trial-2.toml")
    Path("broken.toml").write_text('title = "x\n', encoding="utf-8")
    Path("notes.txt").write_text("nothing", encoding="utf-8")
    Path("still.toml").write_text(still_text(Learnt(Known(0.6, 0.1), None), "still.toml"), encoding="utf-8")
    capsys.readouterr()
    assert run("book", ".", "--csv", "book.csv") == 0
    said = capsys.readouterr()
    assert (said.out + said.err).count("broken.toml, line 1") == 1
    assert "trial-1" in said.out
    assert "After trial-1: juniper 14 g to 16.8 g, lemon peel 2 pieces to 1.33 pieces" in " ".join(
        said.out.split()
    )
    rows = list(csv.DictReader(io.StringIO(Path("book.csv").read_text(encoding="utf-8"))))
    assert [row["file"] for row in rows] == ["trial-1.toml", "trial-2.toml", "broken.toml"]
    a, b = (float(row["juniper g_per_l_charge"]) for row in rows[:2])
    assert b == pytest.approx(1.2 * a, rel=0.002)  # less fresh peel brings less water
    assert rows[0]["verdicts"] == "juniper: a touch more; lemon peel: less; black pepper: drop"
    assert rows[2]["refusal"].startswith("broken.toml, line 1")


@pytest.mark.parametrize(
    ("arguments", "record"),
    [
        (["next", "trial-1.toml", "-o", "trial-1.toml"], ("file_there", "-o", "trial-1.toml")),
        (["next", "trial-1.toml", "-o", "trial-1.toml", "--force"], ("plan_itself",)),
        (["next", "trial-1.toml", "-o", "there.toml"], ("file_there", "-o", "there.toml")),
        (["next", "trial-1.toml", "-o", "a.txt"], ("suffix", "-o", "a.txt")),
        (["next", "trial-l.toml"], ("no_file", "", "trial-l.toml")),
        (["next"], ("usage", "potsim trial next", "TRIAL")),
        (["nxt", "trial-1.toml"], ("unknown_name", "", "nxt")),
        ([], ("usage", "potsim trial", "COMMAND")),
        (["next", "trial-1.toml", "--jsn"], ("unknown_name", "", "--jsn")),
        (
            ["next", "trial-1.toml", "--factors", "more"],
            ("no_factor", "--factors", "more"),
        ),
        (["next", "trial-1.toml", "--factors", "moar=2"], ("unknown_name", "--factors", "moar")),
        (["next", "trial-1.toml", "--factors", "more=0.5"], ("range", "more", "0.5 times")),
        (
            ["next", "trial-1.toml", "--factors", "less=/1.2", "less=/1.3"],
            ("given_twice", "--factors", "less"),
        ),
        (["scale", "trial-1.toml"], ("usage", "potsim trial scale", "--charge")),
        (["scale", "trial-1.toml", "--charge", "25"], ("quantity", "--charge", "25")),
        (
            ["scale", "trial-1.toml", "--charge", "25 L", "--bottles", "3"],
            ("usage", "potsim trial scale", "--bottles"),
        ),
        (["scale", "trial-1.toml", "--bottles", "2.5"], ("quantity", "--bottles", "2.5")),
        (
            ["scale", "trial-1.toml", "--charge", "25 L @ 80 %"],
            ("too_strong", "charge.abv", 80.0, 60.2774),
        ),
        (["blend", "trial-1.toml:0"], ("takes_no_part", "TRIAL:PARTS", "trial-1.toml:0")),
        (["blend", "trial-1.toml:one"], ("no_parts", "TRIAL:PARTS", "trial-1.toml:one")),
        (["book", "nowhere"], ("not_a_folder", "", "nowhere")),
        (["book", "trial-1.toml"], ("not_a_folder", "", "trial-1.toml")),
        (["book", "empty"], ("no_trials", "", "empty")),
        (["compare", "trial-1.toml"], ("usage", "potsim trial compare", "B")),
        (["compare", "trial-1.toml", "trial-1.toml", "--plot", "a.gif"], ("suffix", "--plot", "a.gif")),
    ],
)
def test_requests_that_are_refused(folder: Path, say, arguments: list[str], record: Record) -> None:
    Path("there.toml").write_text("", encoding="utf-8")
    Path("empty").mkdir()
    before, there = Path("trial-1.toml").read_bytes(), sorted(folder.iterdir())
    said = say("trial", *arguments)
    assert said.code == 2
    assert is_refusal(said.error, *record)
    assert said.out == ""
    assert Path("trial-1.toml").read_bytes() == before
    assert Path("there.toml").read_bytes() == b""
    assert sorted(folder.iterdir()) == there


def test_factors_as_typed() -> None:
    typed = read_factors("more=x1.4; less=/1.4; A Touch  More = 1.1")
    assert typed == replace(Factors(), more=1.4, less=1 / 1.4, a_touch_more=1.1)


# --- The picture


def test_the_picture_shows_each_botanical_with_both_figures(folder: Path) -> None:
    file = read_trial("trial-1.toml")
    other = replace(file.trial, plan=next_trial(file.trial).plan)
    made = compare(file.trial, other)
    ax = shown_axes()
    bystander = shown_axes()
    assert plot_comparison(made, ax) is ax
    assert not bystander.has_data()
    every = pairs(made.run_a, made.run_b)
    assert sorted(t.get_text() for t in ax.get_yticklabels()) == sorted(pair.label for pair in every)
    words = [text.get_text() for text in ax.texts]
    juniper = next(pair for pair in every if pair.label == "juniper")
    assert juniper.a is not None
    assert juniper.b is not None
    assert f"{juniper.a.oil_mg_per_l:.3g} to {juniper.b.oil_mg_per_l:.3g}  (x 1.21)" in words
    assert any(word.endswith(" to none") for word in words)
    assert ax.get_xlabel() == "oil in the bottled spirit, mg/L"
    title = figure_of_comparison(made).get_suptitle()
    assert title == "A  ○  Bench spirit, trial 1\nB  ●  Bench spirit, trial 2"


def test_a_picture_of_plans_without_botanicals_is_drawn(folder: Path) -> None:
    Path("bare.toml").write_text('[[charge]]\nname = "s"\nvolume = "2 L"\nabv = "40 %"\n', encoding="utf-8")
    for suffix in ("svg", "png", "pdf"):
        assert run("compare", "bare.toml", "bare.toml", "--plot", f"a.{suffix}") == 0
        assert Path(f"a.{suffix}").stat().st_size > 1000
