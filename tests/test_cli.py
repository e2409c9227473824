"""The command line: what it refuses, what it could not finish, how it starts."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest
from refusals import is_refusal

import potsim
from potsim.errors import ConvergenceError
from potsim.interfaces import output
from potsim.interfaces.cli import COMMANDS
from potsim.interfaces.commands import run as run_command


def process(*arguments: str, **options) -> subprocess.CompletedProcess[bytes]:
    """Run a command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "potsim", *arguments], capture_output=True, timeout=60, check=False, **options
    )


def test_nothing_is_written_when_one_of_several_files_is_refused(say, tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text("mine", encoding="utf-8")
    said = say("run", "--plot", "a.svg", "--csv", "b.csv", "--report", "c.html")
    assert said.code == 2
    assert is_refusal(said.error, "file_there", "--csv", "b.csv")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b.csv", "folder", "quince.toml"]
    assert (tmp_path / "b.csv").read_text(encoding="utf-8") == "mine"


def test_a_run_that_is_refused_writes_nothing(say, quince: str, tmp_path: Path) -> None:
    (tmp_path / "quince.toml").write_text(quince.replace('"40 %"', '"90 %"'), encoding="utf-8")
    said = say("run", "quince.toml", "--csv", "a.csv")
    assert said.code == 2
    assert is_refusal(said.error, "true_already", "cuts.stop.stream_abv")
    assert not (tmp_path / "a.csv").exists()


# --- What could not be finished.


def test_a_full_disk_is_said_and_nothing_half_written_stays(
    say, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(output.os, "fsync", full)
    (tmp_path / "a.csv").write_text("mine", encoding="utf-8")
    said = say("run", "--csv", "a.csv", "--report", "b.html", "--force")
    assert said.code == 1
    assert said.out == ""
    assert is_refusal(said.error, "unwritten", "", "a.csv")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "folder", "quince.toml"]
    assert (tmp_path / "a.csv").read_text(encoding="utf-8") == "mine"


def test_a_device_is_written_to_and_never_replaced(say) -> None:
    said = say("run", "--csv", "/dev/full", "--force")
    assert said.code == 1
    assert is_refusal(said.error, "unwritten", "", "/dev/full")
    assert "Traceback" not in said.err
    assert output.target("/dev/full").special
    assert say("run", "--csv", "/dev/null").code == 0
    assert output.target("/dev/null").special


def test_a_folder_that_may_not_be_written_to_is_refused(say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(output.os, "access", lambda path, mode: mode != os.W_OK)
    said = say("new", "a.toml")
    assert said.code == 2
    assert is_refusal(said.error, "may_not_write", "", "a.toml")


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (KeyboardInterrupt(), "stopped by Ctrl-C"),
        (MemoryError(), "there is not enough memory"),
        (ConvergenceError.of("not_converged", of="reflux"), "The reflux of the neck was not found."),
        (PermissionError(errno.EACCES, "Permission denied", "secret"), "'secret': Permission denied"),
        (ZeroDivisionError("of all things"), "something unforeseen: ZeroDivisionError: of all things"),
    ],
    ids=lambda value: type(value).__name__,
)
@pytest.mark.parametrize("debug", [False, True])
def test_what_goes_wrong_on_the_way_is_told_with_a_trace_only_if_asked(
    say, monkeypatch: pytest.MonkeyPatch, error: BaseException, message: str, debug: bool
) -> None:
    def fail(_: object) -> object:
        raise error

    monkeypatch.setattr(run_command, "the_batch", fail)
    said = say("run", *(["--debug"] if debug else []))
    assert said.code == 1
    assert f"potsim: error: {message}" in said.err
    assert ("Traceback" in said.err) == debug


def test_debug_shows_where_a_refusal_arose_wherever_it_stands(say) -> None:
    for arguments in (("--debug", "run", "no.toml"), ("run", "no.toml", "--debug"), ("rnu", "--debug")):
        said = say(*arguments)
        assert said.code == 2
        assert said.err.startswith("Traceback")
        assert "potsim: error: " in said.err


def test_a_reader_that_has_seen_enough_ends_it_quietly() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "potsim", "botanicals", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        assert child.stdout.readline() == b"[\n"
        child.stdout.close()
        assert child.wait(timeout=60) == 0
        assert child.stderr.read() == b""


def test_standard_output_on_a_full_disk() -> None:
    with Path("/dev/full").open("wb") as full:
        for arguments in (["run"], ["--version"]):
            done = subprocess.run(
                [sys.executable, "-m", "potsim", *arguments],
                stdout=full,
                stderr=subprocess.PIPE,
                timeout=60,
                check=False,
            )
            assert done.returncode == 1
            assert b"potsim: error: standard output: No space left on device." in done.stderr
            assert b"Traceback" not in done.stderr
            assert b"Exception ignored" not in done.stderr


def test_standard_output_that_is_closed(say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    said = say("proof", "1 L", "72 %", "42 %")
    assert said.code == 1
    assert is_refusal(said.error, "output_closed")


def test_a_terminal_that_cannot_show_a_degree_sign() -> None:
    ascii_only = {**os.environ, "LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}
    done = process("run", env=ascii_only)
    assert done.returncode == 0
    text = done.stdout.decode("ascii")
    plain = process("run", env={**os.environ, "PYTHONIOENCODING": "utf-8"}).stdout.decode("utf-8")
    assert " °C" in plain
    assert text == plain.replace("°", " ")


def test_stand_ins_are_as_wide_as_what_they_stand_for() -> None:
    for letter in "°·–—−×…≥≤’‘“”³²µμéÜ漢":
        stand_in = letter.encode("ascii", output.PLAIN).decode()
        assert len(stand_in) == 1
    assert "Grün – 20 °C, 漢".encode("ascii", output.PLAIN) == b"Grun - 20  C, ?"


# --- Start-up and help.


def test_help_loads_nothing_heavy() -> None:
    script = (
        "import sys; sys.argv = ['potsim', '--help']\n"
        "from potsim.__main__ import main\n"
        "assert main() == 0\n"
        "heavy = {'numpy', 'scipy', 'thermo', 'chemicals', 'pandas', 'matplotlib', 'tomlkit'}\n"
        "print('LOADED', sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert "LOADED []" in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_of_80_columns_with_examples(say, command: str) -> None:
    said = say(command, "--help")
    assert said.code == 0
    assert said.err == ""
    assert f"  potsim {command}" in said.out
    assert all(len(line) <= 80 for line in said.out.splitlines())
    assert say("--help").out.count(f"\n    {command} ") == 1


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_wraps_in_a_narrow_terminal_and_loses_nothing(
    say, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    wide = say(command, "--help").out
    monkeypatch.setenv("COLUMNS", "50")
    narrow = say(command, "--help").out
    assert "".join(narrow.split()) == "".join(wide.split())
    below = narrow[narrow.index("\n\n") :]  # argparse does not part what excludes each other
    assert all(len(line) <= 50 for line in below.splitlines())


def test_version(say) -> None:
    assert say("--version").out == f"potsim {potsim.__version__}\n"
