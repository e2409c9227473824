"""Trial files: read, and changed where they stand."""

from __future__ import annotations

import datetime
import re
import tomllib
from pathlib import Path

import pytest
from refusals import refused

from potsim.data import read_text
from potsim.interfaces.cli import main
from potsim.interfaces.trialfile import next_text, read_trial
from potsim.planning.next_trial import next_trial
from potsim.planning.trials import compare

TODAY = datetime.date(2025, 3, 9)


def run(*arguments: str) -> int:
    return main(["trial", *arguments])


def comments(text: str) -> list[str]:
    """Every comment of a file whose strings hold no number sign; of one in another, the inner one."""
    return [found.strip() for found in re.findall(r"#([^#\n]*)$", text, flags=re.MULTILINE)]


# --- Reading


def test_a_trial_file_is_a_plan_and_what_happened(folder: Path) -> None:
    trial = read_trial("trial-1.toml").trial
    assert trial.result is not None
    assert (trial.result.collected_l, trial.result.abv, trial.result.jars_kept) == (
        1.1,
        73.0,
        tuple(range(2, 10)),
    )
    assert trial.result.date == datetime.date(2025, 3, 1)
    assert [note.verdict for note in trial.notes] == ["a touch more", "less", "drop"]
    assert (trial.notes[0].words, trial.notes[0].tasted_at) == ("quiet", "20 %")


@pytest.mark.parametrize(
    ("added", "message", "hint"),
    [
        ('[[note]]\nbotanical = "gin"\nverdict = "more"', "'gin' is not in the bill", "Known: "),
        (
            '[[note]]\nbotanical = "juniper"\nverdict = "more"\n'
            '[[note]]\nbotanical = "juniper"\nverdict = "drop"',
            "the notes about juniper contradict each other: 'more' and 'drop'",
            "Agree on one verdict",
        ),
        (
            '[result]\ncollected = "1.2 L"\nstrength = "95 %"',
            "more alcohol than the charge: 1.2 L",
            "[[charge]]",
        ),
        ('[result]\ncollected = "0 L"', "[result] collected is 0 L; allowed is more than 0", ""),
        ('[[note]]\nverdict = "more"', "[[note]] 1 has no botanical", "coriander seed"),
        (
            '[[note]]\nbotanical = "juniper"\nverdict = "moar"',
            "[[note]] 'juniper' verdict: Unknown verdict 'moar'",
            "'more'",
        ),
    ],
)
def test_what_contradicts_itself_is_refused(
    folder: Path, added: str, message: str, hint: str, capsys
) -> None:
    Path("bad.toml").write_text(read_text("example_plan.toml") + "\n" + added + "\n", encoding="utf-8")
    for command in (["next", "bad.toml"], ["compare", "bad.toml", "bad.toml"], ["blend", "bad.toml:1"]):
        assert run(*command) == 2
        said = capsys.readouterr()
        assert "error: bad.toml" in said.err
        assert message in said.err.replace("\n", " ")
        assert hint in said.err
        assert said.out == ""


# --- Writing


def test_the_next_trial_explains_each_change_and_keeps_all_else(folder: Path) -> None:
    assert run("next", "trial-1.toml", "-o", "trial-2.toml") == 0
    old, new = (Path(f"trial-{k}.toml").read_text(encoding="utf-8") for k in (1, 2))
    assert '# a touch more after trial-1.toml ("quiet"): 14 g x 1.2 = 16.8 g\nmass = "16.8 g"' in new
    assert "# less after trial-1.toml: 2 / 1.5 = 1.33\npieces = 1.33 " in new
    assert '# dropped after trial-1.toml\n# [[botanical]]\n# name = "black pepper"\n' in new
    assert comments(old) == [c for c in comments(new) if c in comments(old)]
    untouched = [
        line for line in old.splitlines() if line and not line.startswith(("mass", "pieces", "title"))
    ]
    assert all(line in new for line in untouched)
    made = tomllib.loads(new)
    assert made["title"] == "Bench spirit, trial 2"
    assert made["parent"] == "trial-1.toml"
    assert made["result"] == {"date": datetime.date.today()}
    assert "note" not in made


def test_all_right_changes_only_title_date_and_parent(folder: Path) -> None:
    names = [b["name"] for b in tomllib.loads(read_text("example_plan.toml"))["botanical"]]
    notes = "".join(f'\n[[note]]\nbotanical = "{name}"\nverdict = "right"\n' for name in names)
    Path("right.toml").write_text(read_text("example_plan.toml") + notes, encoding="utf-8")
    assert run("next", "right.toml", "-o", "after.toml") == 0
    old, new = (
        tomllib.loads(Path(name).read_text(encoding="utf-8")) for name in ("right.toml", "after.toml")
    )
    differing = {key for key in {**old, **new} if old.get(key) != new.get(key)}
    assert differing == {"title", "parent", "result", "note"}
    assert new["result"] == {"date": datetime.date.today()}


@pytest.mark.parametrize(
    "command",
    [
        ["next", "trial-1.toml"],
        ["scale", "trial-1.toml", "--charge", "25 L"],
        ["scale", "trial-1.toml", "--charge", "10 L @ 30 %", "--per", "charge"],
        ["scale", "trial-1.toml", "--bottles", "12"],
        ["blend", "trial-1.toml:1", "trial-1.toml:2"],
    ],
    ids=lambda command: " ".join(command),
)
def test_comments_and_order_survive_every_command(folder: Path, command: list[str]) -> None:
    before = Path("trial-1.toml").read_bytes()
    assert run(*command, "-o", "made.toml") == 0
    assert Path("trial-1.toml").read_bytes() == before
    text = Path("made.toml").read_text(encoding="utf-8")
    left = comments(text)
    for comment in comments(before.decode()):
        assert comment in left
        left = left[left.index(comment) + 1 :]  # in the same order
    headers = re.findall(r"^\[+(?!\[|result|note).*?\]+", before.decode(), flags=re.MULTILINE)
    found = re.findall(r"^\[+(?!\[|result|note).*?\]+", text, flags=re.MULTILINE)
    assert list(dict.fromkeys(headers)) == list(dict.fromkeys(found))


def test_there_and_back_in_files(folder: Path) -> None:
    assert run("scale", "trial-1.toml", "--charge", "25 L", "-o", "large.toml") == 0
    charge_l = compare(*[read_trial("trial-1.toml").trial] * 2).run_a.charge.volume_l
    assert run("scale", "large.toml", "--charge", f"{charge_l!r} L", "-o", "small.toml") == 0
    one, other = (read_trial(name).trial.plan for name in ("trial-1.toml", "small.toml"))
    for dose, again in zip(one.botanicals, other.botanicals, strict=True):
        assert (again.mass_g or again.pieces) == pytest.approx(dose.mass_g or dose.pieces, abs=0.01)


LAYOUTS = {
    "inline": """\
charge = [ { name = "spirit", volume = "1.5 L", abv = "60 %" }, { name = "water", volume = "0.9 L" } ]  # in
botanical = [
  { name = "juniper", mass = "14 g" },   # piney
  { name = "fennel seed", mass = "0.5 oz" },   # sweet
]
cuts.heads = "30 mL"   # small
note = [ { botanical = "juniper", verdict = "more" }, { botanical = "fennel", verdict = "drop" } ]  # tasted
""",
    "crlf": (
        'title = "x"\r\n# one\r\n[[charge]]\r\nname = "spirit"\r\nvolume = "2 L"\r\nabv = "40 %"  # two\r\n'
        '[[botanical]]\r\nname="juniper"\r\nmass="10 g"\r\n'
        '[[botanical]]\r\nname="fennel seed"\r\nmass="2 g"\r\n'
        '[[note]]\r\nbotanical="juniper"\r\nverdict="more"\r\n[[note]]\r\nbotanical="fennel"\r\nverdict="drop"'
    ),
    "apart": """\
[cuts.stop]
# how it ends
stream_abv = "50 %"
[[charge]]
    name = "spirit"
    volume = "2 L"
    abv = "45 %"
[jars]
sizes = ["60 mL"]
[[botanical]]
    # indented
    name = "juniper"
    mass = "10 g"     # here
[[botanical]]
    name = "fennel seed"
    mass = "2 g"
    # trailing
[cuts]
heads = "10 mL"
[[note]]
botanical = "juniper"
verdict = "more"
[[note]]
botanical = "fennel"
verdict = "drop"
""",
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_other_layouts_are_changed_where_they_stand(layout: str, tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(LAYOUTS[layout].encode())
    file = read_trial(path)
    made = next_trial(file.trial)
    text = next_text(file, made, tmp_path, TODAY)
    again = tmp_path / "b.toml"
    again.write_bytes(text.encode())
    assert read_trial(again).trial.plan == made.plan
    assert [dose.name for dose in made.plan.botanicals] == ["juniper"]
    for comment in comments(LAYOUTS[layout].replace("\r", "")):
        assert comment in text
    assert ("\r\n" in text) == (layout == "crlf")
    assert text.count("\n") == text.count("\r\n") or layout != "crlf"


def test_a_layout_that_would_not_survive_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    row = '[[charge]]\nname = "{}"\nvolume = "1 L"\nabv = "40 %"\n'
    bill = (
        '[[botanical]]\nname = "juniper"\nmass = "9 g"\n[[note]]\nbotanical = "juniper"\nverdict = "more"\n'
    )
    path.write_text(row.format("a") + bill + row.format("b"), encoding="utf-8")
    file = read_trial(path)
    with refused("unchangeable", "", "a.toml"):
        next_text(file, next_trial(file.trial), tmp_path, TODAY)


def test_files_named_by_a_trial_are_found_from_another_folder(folder: Path) -> None:
    (folder / "sub").mkdir()
    text = """\
[[charge]]
from_run = "trial-1.toml"   # tails
jars = "18,19"
[[charge]]
name = "spirit"
volume = "2 L"
abv = "40 %"
[still]
from_file = "trial-1.toml"
[[botanical]]
name = "juniper"
mass = "10 g"
[[note]]
botanical = "juniper"
verdict = "more"
"""
    Path("left.toml").write_text(text, encoding="utf-8")
    assert run("next", "left.toml", "-o", "sub/next.toml") == 0
    made = read_trial("sub/next.toml")
    assert 'from_run = "../trial-1.toml"   # tails' in made.text
    assert made.trial.parent == "../left.toml"
    assert made.trial.plan.charge == read_trial("left.toml").trial.plan.charge
    assert run("scale", "left.toml", "--charge", "20 L", "-o", "sub/large.toml") == 0
    large = read_trial("sub/large.toml")
    assert '# jars = "18,19"' in large.text
    assert large.trial.plan.charge[0].name == "jars of trial-1"


def test_a_blend_brings_what_the_first_lacks(folder: Path) -> None:
    other = """\
title = "Other"
[[charge]]
name = "rum"
volume = "2 L"
abv = "40 %"
[[botanical]]
name = "spruce"   # from the garden
mass = "3 g"
[cuts]
heads = "20 mL"
stop = { stream_abv = "45 %" }
[bottling]
abv = "45 %"
[[own_botanical]]
name = "spruce"
category = "leaf"
oil_yield = "0.8 %"
composition = { alpha_pinene = "40 %" }
"""
    Path("other.toml").write_text(other, encoding="utf-8")
    assert run("blend", "trial-1.toml:1", "other.toml:1", "-o", "made.toml") == 0
    made = read_trial("made.toml")
    assert [dose.name for dose in made.trial.plan.botanicals][-2:] == ["black pepper", "spruce"]
    assert [part.name for part in made.trial.plan.charge][-1] == "rum"
    assert made.trial.parent == "trial-1.toml, other.toml"
    assert "# from other.toml\n" in made.text
    assert made.text.startswith("# One run in place of the blend of 1 of trial-1.toml and 1 of other.toml")
