"""The journal: nothing told is lost, whatever happens; what cannot be is refused and not written."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from potsim.errors import PotsimError, RequestError
from potsim.planning import journal as journal_module
from potsim.planning.journal import (
    FilledJar,
    Journal,
    event_record,
    jar_record,
    reading_record,
    strike_record,
)
from potsim.planning.readings import Entry

PLAN = "title = 'x'\n"


def told(collected_l: float, abv: float | None = None) -> dict[str, object]:
    return reading_record(Entry(collected_l=collected_l, read_abv=abv))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.readings.jsonl"


def test_what_is_told_is_there_when_it_is_opened_again(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.1, 80.0))
        journal.append(jar_record(FilledJar(1, 0.06)))
        journal.append(event_record("door open"))
        journal.append(jar_record(FilledJar(1, word="green apple")))
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.2, 78.0))
        assert [r.collected_l for r in journal.readings] == [0.1, 0.2]
        assert journal.jars == (FilledJar(1, 0.06, "green apple"),)
        assert [r.kind for r in journal.records] == ["start", "reading", "jar", "event", "jar", "reading"]
        assert [r.line for r in journal.records] == [1, 2, 3, 4, 5, 6]
        assert journal.plan_text == PLAN
        assert journal.torn == ()


def test_each_record_is_on_disk_at_once(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    monkeypatch.setattr(journal_module.os, "fsync", lambda handle: synced.append(os.fstat(handle).st_size))
    with Journal.open(path, PLAN) as journal:
        before = path.stat().st_size
        journal.append(told(0.1))
        assert path.stat().st_size > before
        assert synced[-1] == path.stat().st_size


def test_a_torn_last_line_is_left_out_and_told_of(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.1))
    whole = path.read_bytes()
    for torn in (b'{"record": "rea', b'{"record": "reading", "entry": {"collected_l": 0.2}}', b"\xc3"):
        path.write_bytes(whole + torn)
        assert "torn off" in Journal.read(path).torn[0]
        with Journal.open(path, PLAN) as journal:
            assert "torn off while it was written" in journal.torn[0]
            assert [r.collected_l for r in journal.readings] == [0.1]
        assert path.read_bytes() == whole
    path.write_bytes(b'{"record": "st')
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.3))
    assert [r.collected_l for r in Journal.read(path).readings] == [0.3]


def test_what_cannot_be_is_not_written(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.2))
        before = path.read_bytes()
        for record, words in (
            (told(0.1), "collected falls from 200 mL to 100 mL"),
            ({"record": "picture"}, "Unknown record 'picture'"),
            ({"record": "event"}, "the record 'event' has words = None"),
            (
                {"record": "event", "words": "x", "colour": "red"},
                "field of the record 'event' 'colour'",
            ),
            ({"record": "event", "words": float("nan")}, "no record of a journal"),
            ({"record": "event", "words": "x" * 3_000_000}, "at most 2000000 are kept"),
            ({"record": "start", "journal": 1, "plan": ""}, "cannot begin twice"),
            (jar_record(FilledJar(1)) | {"number": 0}, "jar is 0"),
            (strike_record(2), "there is no reading 2"),
        ):
            with pytest.raises(PotsimError, match=words):
                journal.append(record)
        assert path.read_bytes() == before
        assert len(journal.readings) == 1


def test_a_reading_is_taken_back(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        for place in (0.1, 0.9, 0.95):
            journal.append(told(place))
        journal.append(strike_record(2))
        assert [(r.number, r.collected_l) for r in journal.readings] == [(1, 0.1), (2, 0.95)]
        journal.append(strike_record(2))
        journal.append(told(0.2))
    assert [r.collected_l for r in Journal.read(path).readings] == [0.1, 0.2]


def test_a_full_disk_leaves_no_half_line(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Journal.open(path, PLAN) as journal:
        before = path.read_bytes()
        write = os.write

        def half(handle: int, content: bytes) -> int:
            write(handle, content[:10])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(journal_module.os, "write", half)
        with pytest.raises(PotsimError, match="cannot be used: no space left") as full:
            journal.append(told(0.1))
        assert full.value.exit_code == 1
        assert "enter it once more" in full.value.hint
        monkeypatch.setattr(journal_module.os, "write", lambda handle, content: write(handle, content[:10]))
        with pytest.raises(PotsimError, match="no space left"):
            journal.append(told(0.1))
        monkeypatch.undo()
        assert path.read_bytes() == before
        journal.append(told(0.1))
    assert len(Journal.read(path).readings) == 1


def test_files_that_are_no_journal_stay_as_they_are(path: Path, tmp_path: Path) -> None:
    for content in (b"collected,abv\n1,2\n", b'{"record": "event", "words": "x"}\n', b"[1]\n", b"hello"):
        path.write_bytes(content)
        with pytest.raises(RequestError, match="is not a journal of readings"):
            Journal.open(path, PLAN)
        assert path.read_bytes() == content
    with pytest.raises(RequestError, match="is a folder"):
        Journal.open(tmp_path, PLAN)
    with pytest.raises(RequestError, match="There is no"):
        Journal.read(tmp_path / "nothing")
    (tmp_path / "empty").touch()
    with pytest.raises(RequestError, match="holds no run"):
        Journal.read(tmp_path / "empty")
    with (tmp_path / "large").open("wb") as file:
        file.truncate(30_000_000)
    with pytest.raises(RequestError, match="is larger than 20 MB"):
        Journal.read(tmp_path / "large")


def test_a_line_damaged_in_the_midst_is_refused_with_its_number(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(told(0.1))
    whole = path.read_bytes()
    path.write_bytes(whole + b"{{\n" + whole.splitlines(keepends=True)[1])
    with pytest.raises(RequestError, match="line 3 is damaged: it is not JSON"):
        Journal.read(path)
    path.write_bytes(whole + b'{"record": "reading", "entry": {"collected_l": 0.05}}\n')
    with pytest.raises(RequestError, match="line 3: collected falls"):
        Journal.read(path)


def test_one_run_one_plan_one_writer(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        with pytest.raises(RequestError, match="being added to by another session"):
            Journal.open(path, PLAN)
        journal.append(told(0.1))
        reader = Journal.read(path)
        assert len(reader.readings) == 1
        with pytest.raises(RequestError, match="only read here"):
            reader.append(told(0.2))
    with pytest.raises(RequestError, match="journal of another plan"):
        Journal.open(path, PLAN + "# changed")


# The prompt as it is, but for its answers, which would take longer to make than to test.
PROMPT = """
import sys
from potsim.interfaces import readingsfile as enter
from potsim.planning.journal import Journal

class Follower:
    def update(self, readings):
        return None

enter._say = lambda forecast: None
with Journal.open(sys.argv[1], "plan") as journal:
    enter.enter(Follower(), journal)
"""


def test_killed_in_the_middle_of_an_entry_ten_times_nothing_is_lost(path: Path) -> None:
    expected: list[float] = []
    for round_ in range(10):
        child = subprocess.Popen(
            [sys.executable, "-c", PROMPT, str(path)],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
        assert child.stdin is not None
        assert child.stderr is not None
        for part in (1, 2):
            place = 40.0 * (2 * round_ + part)
            child.stdin.write(f"{place:g} mL, 70 %\n")
            child.stdin.flush()
            expected.append(place / 1000.0)
            while "Saved: reading" not in (line := child.stderr.readline()):
                assert line, "the prompt has ended"
        child.stdin.write(f"{place + 20.0:g} mL, 6"[: 3 + round_])
        child.stdin.flush()
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stderr.close()
        found = [r.collected_l for r in Journal.read(path).readings]
        assert found == pytest.approx(expected)
        child.stdin.close()
