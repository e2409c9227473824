"""The journal: nothing told is lost, whatever happens; what cannot be is refused and not written."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import resource
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from refusals import Record, refused

from potsim.errors import PotsimError, RequestError
from potsim.planning import events as module
from potsim.planning.events import (
    BusyError,
    Event,
    Full,
    Heat,
    HoldUp,
    Measured,
    Pool,
    Read,
    Remark,
    Start,
    Taste,
    Undo,
    Verdict,
    Volume,
    Water,
    event_of,
)
from potsim.planning.journal import Journal, StaleError
from potsim.planning.readings import Entry, Reading

PLAN = "title = 'x'\n"
NOON = datetime(2025, 3, 1, 12, tzinfo=UTC)


def reading(collected_l: float, abv: float | None = None) -> Read:
    return Read(Entry(collected_l=collected_l, read_abv=abv))


def after(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.readings.jsonl"


def test_what_is_told_is_there_when_it_is_opened_again(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.1, 80.0))
        journal.append(Full(1, 0.06))
        journal.append(Remark("door open"))
        journal.append(Taste(1, "green apple"))
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.2, 78.0))
        assert [r.collected_l for r in journal.readings] == [0.1, 0.1, 0.2]
        (jar,) = journal.jars
        assert (jar.number, jar.volume_l, jar.word) == (1, 0.06, "green apple")
        assert [r.event.kind for r in journal.records] == [
            "start",
            "reading",
            "full",
            "note",
            "taste",
            "reading",
        ]
        assert [r.line for r in journal.records] == [1, 2, 3, 4, 5, 6]
        assert journal.plan_text == PLAN
        assert journal.damaged == ()


def test_every_kind_of_event_comes_back_as_it_was(path: Path) -> None:
    events: list[Event] = [
        Heat(True, ("cooling", "stays")),
        Read(Entry(collected_l=0.1, read_abv=80.0, read_c=24.0, hazy=True), jar=None),
        Full(2, 0.06, kept=True, saw=1),
        Volume(2, 0.055),
        Taste(2, "soft"),
        HoldUp(0.02),
        Pool((2, 3)),
        Measured(362.0, None, 76.6, 20.0),
        Water(304.0),
        Verdict("juniper", "a touch more", "thin", "2-5"),
        Remark("window open"),
        Heat(False),
    ]
    with Journal.open(path, PLAN) as journal:
        for k, event in enumerate(events):
            journal.append(event, event_id=f"e-{k}", at=after(k), device="phone")
    found = Journal.read(path).records
    assert [record.event for record in found[1:]] == events
    assert [record.at for record in found[1:]] == [after(k) for k in range(len(events))]
    assert {record.device for record in found[1:]} == {"phone"}


def test_haze_that_stood_beside_a_reading_is_read(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(Read(Entry(collected_l=0.2)), event_id="seen")
    told = path.read_text().replace('"entry"', '"hazy": true, "entry"')
    path.write_text(told)
    assert [one.entry.hazy for one in Journal.read(path).readings] == [True]


def test_each_record_is_on_disk_at_once(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    monkeypatch.setattr(module.os, "fsync", lambda handle: synced.append(os.fstat(handle).st_size))
    with Journal.open(path, PLAN) as journal:
        before = path.stat().st_size
        journal.append(reading(0.1))
        assert path.stat().st_size > before
        assert synced[-1] == path.stat().st_size


def test_told_again_it_is_the_same(path: Path) -> None:
    with Journal.open(path, PLAN) as one, Journal.open(path, PLAN) as other:
        first = one.append(reading(0.1), event_id="a")
        second = other.append(reading(0.1), event_id="a")
        assert (first.again, second.again) == (False, True)
        assert first.record == second.record
        with refused("wrong_id", "id", "a b"):
            one.append(reading(0.2), event_id="a b")
    assert len(Journal.read(path).records) == 2


def test_what_is_told_late_is_put_at_its_minute(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(reading(0.3, 76.0), at=after(30))
        journal.append(reading(0.1, 79.0), at=after(15))
        journal.append(reading(0.2, 78.0), at=after(20))
        assert [(r.entry.elapsed_min, r.collected_l) for r in journal.readings] == [
            (15.0, 0.1),
            (20.0, 0.2),
            (30.0, 0.3),
        ]
        with refused("falls", "collected", 0.05):
            journal.append(reading(0.05), at=after(25))
        with refused("falls", "collected", 0.2):
            journal.append(reading(0.25), at=after(18))
        assert len(journal.readings) == 3
    assert [r.collected_l for r in Journal.read(path).readings] == [0.1, 0.2, 0.3]


def test_nothing_happens_in_the_future(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        told = journal.append(Remark("x"), at=datetime.now(UTC) + timedelta(hours=3))
        assert told.record.at <= datetime.now(UTC)


def test_a_jar_noted_meanwhile_asks(path: Path) -> None:
    with Journal.open(path, PLAN) as shed, Journal.open(path, PLAN) as kitchen:
        shed.append(Full(1, 0.03, saw=0), device="shed")
        with refused("noted_already", "", 1, error=StaleError) as stale:
            kitchen.append(Full(1, 0.04, saw=0), device="kitchen")
        assert stale.value.by.device == "shed"
        shed.append(Full(2, 0.06, saw=1))
        with pytest.raises(StaleError):
            kitchen.append(Full(1, 0.03, saw=0))
        told = kitchen.append(Full(1, 0.04, saw=0), sure=True)
        assert told.record.event == Volume(1, 0.04)
        kitchen.append(Full(4, 0.06, saw=3))  # jar 3 waits on another device
        shed.append(Full(3, 0.06, saw=2), sure=True)
        assert [(jar.number, jar.volume_l) for jar in shed.jars] == [
            (1, 0.04),
            (2, 0.06),
            (3, 0.06),
            (4, 0.06),
        ]


def test_what_is_undone_does_not_count_and_may_count_again(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(Full(1, 0.03), event_id="j1")
        journal.append(Undo("j1"), event_id="u1")
        assert journal.jars == ()
        assert journal.readings == ()
        journal.append(Undo("u1"), event_id="u2")
        assert [jar.number for jar in journal.jars] == [1]
        journal.append(Undo("u2"))
        journal.append(Full(1, 0.05))
        assert [(jar.number, jar.volume_l) for jar in journal.jars] == [(1, 0.05)]
        with refused("nothing_to_undo"):
            journal.append(Undo("j9"))
        with refused("nothing_to_undo"):
            journal.append(Undo("start"))


def test_a_reading_is_taken_back_and_what_hung_on_it_is_set_aside(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.1), event_id="a")
        journal.append(Read(Entry(of="parrot", parrot_l=0.06, read_abv=70.0, collected_l=0.2)), event_id="b")
        journal.append(Read(Entry(of="parrot", read_abv=69.0, collected_l=0.3)), event_id="c")
        journal.append(Undo("b"))
        assert [r.collected_l for r in journal.readings] == [0.1]
        ((record, error),) = journal.aside
        assert record.id == "c"
        assert "what the parrot holds" in error.message
        journal.append(reading(0.4))
    assert [r.collected_l for r in Journal.read(path).readings] == [0.1, 0.4]


def test_a_jar_and_its_strength_are_one_reading(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(Full(1, 0.03), at=after(12))
        journal.append(Full(2, 0.06), at=after(15))
        journal.append(Read(Entry(of="jar", jar_l=0.055, read_abv=79.0), jar=2), at=after(40))
        found = [(r.entry.elapsed_min, r.from_l, r.collected_l, r.abv) for r in journal.readings]
        assert found[0] == (12.0, 0.0, 0.03, None)
        assert found[1][:2] == (15.0, 0.03)
        assert found[1][2:] == pytest.approx((0.085, 79.0))
        assert [(jar.number, jar.volume_l) for jar in journal.jars] == [(1, 0.03), (2, 0.055)]


def test_a_mark_on_a_jar_never_contradicts_what_was_measured(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(reading(0.095), at=after(20))
        journal.append(Full(1, 0.1), at=after(10))  # by its mark; 95 mL were measured later
        journal.append(Full(2, 0.1), at=after(30))
        journal.append(reading(0.192), at=after(31))
        assert [r.collected_l for r in journal.readings] == pytest.approx([0.095, 0.095, 0.192, 0.192])
        assert journal.aside == ()


@pytest.mark.parametrize("torn", [b'{"record": "rea', b'{"record": "note", "words": "x"}', b"\xc3"])
def test_a_torn_last_line_is_left_out_and_told_of(path: Path, torn: bytes) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.1))
    whole = path.read_bytes()
    path.write_bytes(whole + torn)
    (lost,) = Journal.read(path).damaged
    assert (lost.line, lost.torn) == (3, True)
    with Journal.open(path, PLAN) as journal:
        assert journal.damaged[0].torn
        assert [r.collected_l for r in journal.readings] == [0.1]
    assert path.read_bytes() == whole


def test_a_journal_torn_in_its_first_line_begins_anew(path: Path) -> None:
    path.write_bytes(b'{"record": "st')
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.3))
    assert [r.collected_l for r in Journal.read(path).readings] == [0.3]


def test_a_line_damaged_in_the_midst_is_left_out_and_told_of(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.1))
        journal.append(reading(0.2))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([lines[0], b"{{\n", lines[1], b'{"record": "dance", "at": ""}\n', lines[2]]))
    found = Journal.read(path)
    assert [(one.line, one.torn) for one in found.damaged] == [(2, False), (4, False)]
    assert [r.collected_l for r in found.readings] == [0.1, 0.2]


def test_what_cannot_be_is_not_written(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.2))
        before = path.read_bytes()
        for event, words in (
            (reading(0.1), ("falls", "collected", 0.1)),
            (Remark("x" * 501), ("too_long", "words", 501)),
            (Start(""), ("begun_twice", "")),
            (Full(0), ("range", "jar", "0")),
            (Volume(1, -1.0), ("range", "volume_l", "-1 L")),
            (Water(float("nan")), ("range", "mass_g", "nan g")),
            (Pool(()), ("no_jar_poured", "jars")),
            (Measured(read_abv=70.0), ("how_much", "")),
        ):
            with refused(*words, error=PotsimError):
                journal.append(event)
        assert path.read_bytes() == before
        assert len(journal.readings) == 1


@pytest.mark.parametrize(
    ("kind", "content", "words"),
    [
        ("dance", {}, ("unknown_name", "", "dance")),
        ("note", {}, ("wrong_type", "note.words", "None")),
        ("note", {"words": "x", "colour": "red"}, ("unknown_name", "note", "colour")),
        ("full", {"jar": "1"}, ("wrong_type", "full.jar", "'1'")),
        ("full", {"jar": True}, ("wrong_type", "full.jar", "True")),
        ("pool", {"jars": ["1"]}, ("wrong_type", "pool.jars", "['1']")),
        ("start", {"plan": "", "journal": 9}, ("journal_version", "journal", 9)),
    ],
)
def test_what_is_no_event_is_refused(kind: str, content: dict[str, object], words: Record) -> None:
    with refused(*words):
        event_of(kind, content)


def test_a_journal_of_the_first_version_is_read(path: Path) -> None:
    told = [
        {"record": "start", "journal": 1, "plan": PLAN},
        {"record": "event", "words": "heat on at 2025-03-01T12:00:00+00:00"},
        {"record": "reading", "entry": {"collected_l": 0.1, "read_abv": 79.0, "elapsed_min": 14.0}},
        {"record": "reading", "entry": {"collected_l": 0.9, "elapsed_min": 15.0}},
        {"record": "strike", "reading": 2},
        {"record": "jar", "number": 1, "volume_l": 0.03, "word": "sharp"},
        {"record": "event", "words": "condenser holds back: 20 mL"},
        {"record": "event", "words": "jars pooled: 2-4,6"},
        {"record": "event", "words": "verdict of juniper: a touch more; thin"},
        {"record": "event", "words": "window open"},
    ]
    at = {"at": "2025-03-01T12:16:00+00:00"}
    path.write_text("".join(json.dumps({**one, **at}) + "\n" for one in told), encoding="ascii")
    found = Journal.read(path)
    assert found.heat_on == NOON
    assert [r.collected_l for r in found.readings] == [0.1, 0.1]
    assert [(jar.number, jar.volume_l, jar.word) for jar in found.jars] == [(1, 0.03, "sharp")]
    assert found.latest(HoldUp) == HoldUp(0.02)
    assert found.latest(Pool) == Pool((2, 3, 4, 6))
    assert found.latest(Verdict) == Verdict("juniper", "a touch more", "thin")
    assert found.latest(Remark) == Remark("window open")
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.2), at=after(20))
    assert [r.collected_l for r in Journal.read(path).readings] == [0.1, 0.1, 0.2]


def test_a_full_disk_leaves_no_half_line(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Journal.open(path, PLAN) as journal:
        before = path.read_bytes()
        write = os.write

        def half(handle: int, content: bytes) -> int:
            write(handle, content[:10])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(module.os, "write", half)
        with refused("file_unusable", error=PotsimError) as full:
            journal.append(reading(0.1), event_id="a")
        assert full.value.exit_code == 1
        assert "enter it once more" in full.value.hint
        monkeypatch.setattr(module.os, "write", lambda handle, content: write(handle, content[:10]))
        with refused("file_unusable", error=PotsimError):
            journal.append(reading(0.1), event_id="a")
        monkeypatch.undo()
        assert path.read_bytes() == before
        assert journal.append(reading(0.1), event_id="a").again is False
    assert len(Journal.read(path).readings) == 1


def _fill(path: str) -> None:
    """Write until the system says that the file may not grow."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    size = os.stat(path).st_size + 1000
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    with Journal.open(path) as journal:
        accepted = 0
        try:
            for k in range(100):
                journal.append(Remark(f"note {k}"), event_id=f"n-{k}")
                accepted += 1
        except PotsimError:
            os._exit(accepted)


def test_a_file_that_may_not_grow_keeps_all_that_was_accepted(path: Path) -> None:
    Journal.open(path, PLAN).close()
    process = multiprocessing.get_context("spawn").Process(target=_fill, args=(str(path),))
    process.start()
    process.join(60)
    assert 0 < (process.exitcode or 0) < 100
    found = Journal.read(path)
    assert len(found.all_of(Remark)) == process.exitcode
    assert found.damaged == ()


def _write_many(path: str, name: str, many: int) -> None:
    with Journal.open(path) as journal:
        for k in range(many):
            journal.append(Remark(f"{name} {k}"), event_id=f"{name}-{k}")


def test_two_writers_lose_nothing_of_each_other(path: Path) -> None:
    Journal.open(path, PLAN).close()
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_write_many, args=(str(path), name, 60)) for name in ("shed", "kitchen")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
    found = Journal.read(path)
    assert found.damaged == ()
    ids = [record.id for record in found.records[1:]]
    assert len(ids) == len(set(ids)) == 120
    assert [record.line for record in found.records] == list(range(1, 122))


def test_a_journal_that_is_held_is_busy(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr(module, "WAIT_S", 0.05)
    with Journal.open(path, PLAN) as journal:
        other = os.open(path, os.O_RDWR)
        fcntl.flock(other, fcntl.LOCK_EX)
        with refused("file_held", error=BusyError):
            journal.append(reading(0.1))
        os.close(other)
        journal.append(reading(0.1))


def test_files_that_are_no_journal_stay_as_they_are(path: Path, tmp_path: Path) -> None:
    for content in (b"collected,abv\n1,2\n", b'{"record": "note", "words": "x"}\n', b"[1]\n", b"hello"):
        path.write_bytes(content)
        with refused("file_no_journal"):
            Journal.open(path, PLAN)
        assert path.read_bytes() == content
    with refused("file_is_folder"):
        Journal.open(tmp_path, PLAN)
    with refused("file_missing"):
        Journal.read(tmp_path / "nothing")
    (tmp_path / "empty").touch()
    with refused("file_without_run"):
        Journal.read(tmp_path / "empty")
    with (tmp_path / "large").open("wb") as file:
        file.truncate(30_000_000)
    with refused("file_too_large"):
        Journal.read(tmp_path / "large")


def test_one_run_has_one_plan(path: Path) -> None:
    with Journal.open(path, PLAN) as journal:
        journal.append(reading(0.1))
        reader = Journal.read(path)
        assert len(reader.readings) == 1
        with refused("file_only_read"):
            reader.append(reading(0.2))
    with refused("file_of_another_plan"):
        Journal.open(path, PLAN + "# changed")


def test_what_cannot_be_of_the_run_is_set_aside_once_that_is_known(path: Path) -> None:
    def fits(reading: Reading) -> None:
        if (reading.collected_l or 0.0) > 2.0:
            raise RequestError.of("beyond_charge", "collected")

    with Journal.open(path, PLAN) as journal:
        for litres in (0.1, 30.0):
            journal.append(Read(Entry(collected_l=litres)))
        assert len(journal.readings) == 2
        journal.belongs_to(journal.pressure_pa, None, fits)
        ((record, _),) = journal.aside
        assert journal.numbered.index(record) == 1
        journal.append(Read(Entry(collected_l=0.2)))
        assert [one.number for one in journal.readings] == [1, 3]


# The prompt as it is, but for its answers, which would take longer to make than to test.
PROMPT = """
import sys
from potsim.interfaces.commands import follow
from potsim.planning.journal import Journal

follow._say = lambda follower, journal: None
with Journal.open(sys.argv[1], "plan") as journal:
    follow.enter(None, journal)
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
