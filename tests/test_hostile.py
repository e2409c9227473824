"""What files and terminals hand over by mistake or malice: refused in words, or written harmlessly."""

from __future__ import annotations

import csv
import errno
import io
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from refusals import refused

import potsim
from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.cli import main
from potsim.interfaces.output import csv_of
from potsim.interfaces.planfile import load_plan
from potsim.interfaces.readingsfile import readings_of
from potsim.interfaces.trialfile import read_folder
from potsim.planning import events as kept
from potsim.planning.events import BusyError, Read
from potsim.planning.journal import Journal
from potsim.planning.readings import Entry

PLAN = '[[charge]]\nname = "spirit"\nvolume = "2 L"\nabv = "40 %"\n'


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    return path


@pytest.mark.parametrize("argument", ["a\x1b[2Jb", "a\x07b", "a\x9bb"])
def test_no_control_character_reaches_the_terminal(argument: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["botanicals", argument]) == 2
    assert main([argument]) == 2
    told = capsys.readouterr()
    assert not any((ord(letter) < 32 and letter != "\n") or 127 <= ord(letter) < 160 for letter in told.err)
    assert output.harmless("a\tb\nc \x1b é") == "a\tb\nc \\x1b é"


def test_a_cell_of_text_is_never_a_formula() -> None:
    cells = ["=1+1", "+a", "-b", "@c", "\td", "-1.5", "+2e-3", "juniper", -1.5]
    (row,) = csv.reader(io.StringIO(csv_of([cells])))
    assert row == ["'=1+1", "'+a", "'-b", "'@c", "'\td", "-1.5", "+2e-3", "juniper", "-1.5"]


def test_the_sheet_runs_nothing_and_asks_for_nothing(plan: Path) -> None:
    words = PLAN.replace('"spirit"', '"<script>alert(1)</script>"')
    plan.write_text(f'title = "<img src=x onerror=alert(1)>"\n{words}')
    sheet = plan.with_name("sheet.html")
    assert main(["run", str(plan), "--report", str(sheet)]) == 0
    made = sheet.read_text(encoding="utf-8")
    assert "<script" not in made
    assert "<img" not in made
    assert "Content-Security-Policy" in made.partition("<title>")[0]


def begun(path: Path) -> bytes:
    with Journal.open(path, PLAN) as journal:
        journal.append(Read(Entry(elapsed_min=60.0, collected_l=0.3)))
    return path.read_bytes()


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1" + "0" * 400])
def test_a_number_that_is_none_costs_its_line_only(tmp_path: Path, number: str) -> None:
    path = tmp_path / "run.jsonl"
    whole = begun(path)
    path.write_bytes(whole + whole.splitlines(True)[1].replace(b"0.3", number.encode()))
    journal = Journal.read(path)
    assert len(journal.readings) == 1
    assert [one.line for one in journal.damaged] == [3]


def test_a_journal_of_a_version_to_come_is_refused_by_it(tmp_path: Path) -> None:
    path = tmp_path / "run.jsonl"
    path.write_bytes(begun(path).replace(b'"journal": 2', b'"journal": 99'))
    with refused("journal_version", "journal", 99):
        Journal.read(path)


def test_a_journal_that_a_full_disk_left_empty_is_begun_anew(plan: Path, tmp_path: Path) -> None:
    path = tmp_path / "run.jsonl"
    path.touch()
    with pytest.raises(RequestError):
        Journal.read(path)
    begun(path)
    assert len(Journal.read(path).readings) == 1


def test_a_last_line_without_its_line_feed_is_told_and_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "run.jsonl"
    path.write_bytes(begun(path)[:-1])
    assert [one.torn for one in Journal.read(path).damaged] == [True]
    with Journal.open(path) as journal:
        journal.append(Read(Entry(elapsed_min=61.0, collected_l=0.31)))
    assert [reading.entry.elapsed_min for reading in Journal.read(path).readings] == [61.0]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_no_journal_and_is_not_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "run.jsonl"
    os.mkfifo(path)
    for opened in (lambda: Journal.read(path), lambda: Journal.open(path, PLAN)):
        with refused("file_not_plain"):
            opened()


def test_a_link_to_nowhere_is_called_that(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    link = tmp_path / "plan.toml"
    link.symlink_to(tmp_path / "gone.toml")
    assert main(["run", str(link)]) == 2
    assert "a link to a file that is gone" in capsys.readouterr().err


class Locks(SimpleNamespace):
    """A stand-in for the module of Windows: one byte of one file that one handle may hold."""

    LK_NBLCK, LK_UNLCK = 2, 0

    def __init__(self) -> None:
        super().__init__(held=None, places=set())

    def locking(self, handle: int, how: int, count: int) -> None:
        assert count == 1
        self.places.add(os.lseek(handle, 0, os.SEEK_CUR))
        if how == self.LK_NBLCK and self.held not in (None, handle):
            raise OSError(errno.EACCES, "Permission denied")
        self.held = handle if how == self.LK_NBLCK else None


def test_without_fcntl_one_writes_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    locks = Locks()
    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", locks)
    monkeypatch.setattr(kept, "WAIT_S", 0.02)
    path = tmp_path / "run.jsonl"
    begun(path)
    with Journal.open(path) as journal:
        journal.append(Read(Entry(elapsed_min=61.0, collected_l=0.31)))
        locks.held = -1  # another program
        with pytest.raises(BusyError):
            journal.append(Read(Entry(elapsed_min=62.0, collected_l=0.32)))
        locks.held = None
        journal.append(Read(Entry(elapsed_min=63.0, collected_l=0.33)))
    assert [reading.entry.elapsed_min for reading in Journal.read(path).readings] == [60.0, 61.0, 63.0]
    assert min(locks.places) > kept.LARGEST  # behind whatever is read


def test_the_wrong_kind_of_number_is_refused_at_the_door() -> None:
    for wrong in (10**400, True, float("nan"), "2"):
        with pytest.raises(RequestError):
            potsim.Plan.from_dict(
                {"charge": [{"name": "spirit", "volume": "2 L", "abv": "40 %"}], "still": {"power": wrong}}
            )


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_what_is_no_plain_file_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(output, "FILLED_WITHIN_S", 0)
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "gone.toml").symlink_to(tmp_path / "nowhere.toml")
    with refused("pipe_not_filled"):
        load_plan(tmp_path / "pipe.toml")
    with refused("file_to_read"):
        load_plan("/dev/zero")
    assert list(read_folder(str(tmp_path))) == ["gone.toml", "pipe.toml"]


@pytest.mark.parametrize(
    ("door", "name"),
    [
        (lambda plan: potsim.Plan.from_dict(None), "tables"),
        (lambda plan: potsim.Plan.from_dict({3: 4}), "key"),
        (lambda plan: potsim.Plan.from_text(None), "text"),
        (lambda plan: potsim.load_plan(3), "path"),
        (lambda plan: potsim.Run.from_dict(None), "data"),
        (lambda plan: potsim.sweep(None, "charge.abv", [30.0]), "plan"),
        (lambda plan: potsim.study(None, {"charge.abv": [30.0]}), "plan"),
        (lambda plan: potsim.study(plan, None), "vary"),
        (lambda plan: potsim.reach(None, bottles=1), "plan"),
        (lambda plan: potsim.contours(None, "keep.abv"), "table"),
        (lambda plan: potsim.ensemble(plan, n=10.5), "n"),
        (lambda plan: readings_of(None), "readings"),
        (lambda plan: potsim.clear_limit({"anethole": [0.5, 1.0]}, 42.0), "anethole"),
        (lambda plan: replace(plan, title=3), "plan.title"),
    ],
)
def test_another_sort_of_thing_is_refused_at_the_door(
    door: Callable[[potsim.Plan], object], name: str
) -> None:
    with refused("wrong_type", name):
        door(potsim.example_plan())


def test_a_title_moves_no_cursor_and_rows_are_counted_without_a_header() -> None:
    with refused("no_line", "plan.title"):
        replace(potsim.example_plan(), title="a\x1b[2J")
    with pytest.raises(RequestError) as caught:
        readings_of([{"collected": "100 mL"}, {"collected": "90 mL"}])
    assert caught.value.where[0].file == "reading 2"
