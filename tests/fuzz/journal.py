"""Journals of runs: read while nobody writes, opened, gone on with, followed."""

from __future__ import annotations

import tempfile
import zlib
from pathlib import Path

import potsim
from potsim.errors import PotsimError
from potsim.planning.events import Full, Heat
from potsim.planning.forecast import follow
from potsim.planning.journal import Journal
from tests.fuzz.checks import says_something
from tests.fuzz.target import Target

FOLLOWED_EVERY = 20
_path = Path(tempfile.mkdtemp(prefix="potsim-fuzz-")) / "run.readings.jsonl"
_plan = potsim.example_plan()
_run = potsim.distil(_plan)


def _seed() -> bytes:
    """A journal as it is written."""
    _path.unlink(missing_ok=True)
    journal = Journal.open(_path, _plan.to_text())
    journal.append(Heat(True), event_id="heat", device="phone")
    for number in (1, 2):
        journal.append(Full(number), event_id=f"full-{number}", device="phone")
    journal.close()
    return _path.read_bytes()


def attempt(data: bytes) -> str:
    """Try one journal."""
    _path.write_bytes(data)
    try:
        journal = Journal.read(_path)
        found = list(journal.readings)
        with_it = Journal.open(_path)
        try:
            with_it.append(Full(3), event_id="again", device="laptop")
        finally:
            with_it.close()
    except PotsimError as error:
        says_something(error)
        return "not read"
    assert any(record.id == "again" for record in Journal.read(_path).records), "what was told is lost"
    if zlib.crc32(data) % FOLLOWED_EVERY or not found or len(found) > 30:
        return "read"
    try:
        follow(_run, found)
    except PotsimError as error:
        says_something(error)
        return "not followed"
    return "followed"


TARGET = Target(
    "journal", [_seed()], ("reading", "full", "strike", "heat", "jar", "start", "null", "true", "-1"), attempt
)
