"""What README says is so: its commands parse, its plan and its Python run, its output is what is printed."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from pathlib import Path

import pytest

import potsim
from potsim.interfaces.cli import main
from potsim.interfaces.planfile import read_plan
from potsim.planning.run import Run

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
TABLED = re.findall(r"\| `(potsim [^`]*)`", README)


def blocks(language: str) -> list[str]:
    return [text for found, text in BLOCKS if found == language]


def printed(*arguments: str) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main(list(arguments)) == 0
    return out.getvalue()


def test_opens_with_the_job_in_one_paragraph() -> None:
    title, job = README.split("\n\n")[:2]
    assert title == "# potsim"
    assert "small pot still" in job
    assert not job.startswith(("#", "-", "|", ">"))


def test_two_commands_set_everything_up() -> None:
    commands = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert "potsim run" in commands[0]
    assert "pytest" in commands[1]


def test_the_plan_runs() -> None:
    text, still, after = blocks("toml")
    charge = '[[charge]]\nname = "base"\nvolume = "2.4 L"\nabv = "38 %"\n'
    assert potsim.distil(read_plan(charge + still, "README.md")).setting.still.heat_share == 0.6
    read_plan(text + after, "README.md")
    run = potsim.distil(read_plan(text, "README.md"))
    assert run.end.reason == "stream_abv"
    assert run.proofing is not None


def test_the_python_runs() -> None:
    (text,) = blocks("python")
    names: dict[str, object] = {}
    exec(compile(text, "README.md", "exec"), names)
    assert isinstance(names["run"], Run)


def test_the_output_is_what_is_printed() -> None:
    shown = next(text for text in blocks("") if "Bench spirit" in text)
    assert shown.strip() == printed("run").strip()


@pytest.mark.parametrize("command", TABLED)
def test_every_command_of_the_table_is_understood(command: str) -> None:
    """Words in capitals and files stand for the reader's own: the command's help must know the rest."""
    words = shlex.split(command.replace("[PLAN]", ""))[1:]
    name = words[:2] if words[0] == "trial" else words[:1]
    with contextlib.redirect_stdout(io.StringIO()) as out:
        assert main([*name, "--help"]) == 0
    for option in (word for word in words if word.startswith("--")):
        assert option in out.getvalue(), f"{option} of {command}"


def test_pictures_and_links_are_there() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
