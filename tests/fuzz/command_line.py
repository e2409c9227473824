"""The command line: one argument a line, then what is typed on standard input."""

from __future__ import annotations

import contextlib
import io
import json
import os
import shlex
import sys
import tempfile
from pathlib import Path
from unittest import mock

from potsim.interfaces import cli
from potsim.interfaces.cli import COMMANDS, command
from tests.fuzz.readings import SEEDS as READINGS
from tests.fuzz.target import Target

TYPED = "<<typed>>"
MADE = "old content\n"
ONE = """
[[charge]]
name = "wine spirit"
volume = "0.5 L"
abv = "50 %"
[[botanical]]
name = "{of}"
mass = "10 g"
[bottling]
abv = "42 %"
"""
NOTE = """
[[note]]
botanical = "juniper"
verdict = "more"
"""
FILES = {
    "trial-1.toml": ONE.format(of="juniper") + NOTE,
    "trial-2.toml": 'parent = "trial-1.toml"\n' + ONE.format(of="juniper").replace("10 g", "12 g"),
    "readings.csv": READINGS[0],
    **{
        f"{name}.toml": ONE.format(of=of)
        for name, of in (("gin", "juniper"), ("juniper", "juniper"), ("coriander", "coriander seed"))
    },
    "there.txt": MADE,
    "there.svg": MADE,
}
MORE = (
    "run trial-1.toml --force --plot there.svg --json",
    "run trial-1.toml --csv a.csv --report b.html --debug",
    "proof '1 L' '70 %' '42 %' --at '24 °C'",
    "blend '300 mL @ 72 %' '200 mL @ 45 %'",
    "strengths trial-1.toml --vary still.power --values '400 W, 700 W' --csv s.csv",
    "reach trial-1.toml --keep '300 mL @ 72 %'",
    "jars --sizes '12 x 60 mL, 6 x 250 mL' --keep 2-9,11",
    "--help",
    "--version",
    "run --help",
)
_folder = Path(tempfile.mkdtemp(prefix="potsim-fuzz-"))


def attempt(data: bytes) -> str:
    """Try one command line."""
    text, _, typed = data.decode("utf-8", "surrogateescape").partition(f"\n{TYPED}\n")
    arguments = text.replace("\0", "").split("\n")  # no system hands a program a zero byte
    if any(not _harmless(argument) for argument in arguments):
        return "left out"
    for path in _folder.iterdir():
        if path.name not in FILES:
            _remove(path)
    for name, content in FILES.items():
        (_folder / name).write_text(content, encoding="utf-8")
    code, out, err = _called(arguments, typed)
    assert code in (0, 1, 2), f"exit code {code}"
    for fault in ("something unforeseen", "object at 0x", "<class '"):
        assert fault not in err, err[-3000:]
    if "--debug" not in arguments:
        assert "Traceback" not in err, err[-3000:]
    if code:
        assert "potsim: error:" in err, f"exit code {code} without a word: {err[-500:]}"
    _files_are_whole(code, replaced="--force" in arguments)
    if code == 0 and "--json" in arguments and out.startswith("{"):
        json.loads(out, parse_constant=_no_number)
    return ("done", "not finished", "refused")[code]


def _called(arguments: list[str], typed: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    before = os.getcwd()
    os.chdir(_folder)
    try:
        with (
            mock.patch.object(sys, "stdin", io.StringIO(typed)),
            mock.patch("potsim.interfaces.page.app.serve"),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            return cli.main(arguments), out.getvalue(), err.getvalue()
    finally:
        os.chdir(before)


def _harmless(argument: str) -> bool:
    """Whether an argument names nothing outside the folder."""
    if (
        ".." in argument
        or argument.startswith("~")
        or len(argument.encode("utf-8", "surrogateescape")) > 2000
    ):
        return False
    return "/" not in argument or not argument.startswith(("/", "-"))


def _files_are_whole(code: int, *, replaced: bool) -> None:
    """Nothing half-written; nothing new, and nothing changed, where the command did not do its work."""
    for path in _folder.iterdir():
        assert not path.name.endswith(".part"), f"{path.name} is left behind"
        if path.is_dir():
            continue
        content = path.read_bytes()
        if path.name in FILES and (code or not replaced):
            assert content == FILES[path.name].encode(), f"{path.name} was changed, exit code {code}"
        if path.name not in FILES:
            assert code == 0, f"{path.name} was written, exit code {code}"
            assert content, f"{path.name} is empty"


def _remove(path: Path) -> None:
    if path.is_dir():
        for inner in path.iterdir():
            _remove(inner)
        path.rmdir()
    else:
        path.unlink()


def _no_number(text: str) -> None:
    raise AssertionError(f"{text} in JSON")


def _examples() -> list[str]:
    """The examples that the commands themselves give."""
    found = list(MORE)
    for name in COMMANDS:
        declared = command(name)
        found += [
            line.removeprefix("potsim ") for one in (declared, *declared.commands) for line in one.examples
        ]
    return found


def _seed(line: str) -> bytes:
    arguments = shlex.split(line.partition(" > ")[0])
    typed = "100 mL 79 %\n220 mL, 77 % at 24 °C\n\n" if "--enter" in arguments else ""
    return "\n".join([*arguments, TYPED, typed]).encode() if typed else "\n".join(arguments).encode()


TARGET = Target("command", [_seed(line) for line in dict.fromkeys(_examples())], tuple(FILES), attempt)
