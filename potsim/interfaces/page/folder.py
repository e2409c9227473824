"""The data folder: one journal for each run, under names that this module makes and checks."""

from __future__ import annotations

import contextlib
import datetime
import re
import threading
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile import read_plan, write_plan
from potsim.planning.journal import Journal
from potsim.planning.plan import Plan

MOST_RUNS = 1000
LARGEST = 2_000_000  # bytes of a journal; a run has some thousand short lines
SHOWN = 30  # runs in the list
SUFFIX = ".jsonl"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,70}")


def plain_name(title: str) -> str:
    """Return a title as the name of a file: small letters, digits and hyphens."""
    letters = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters)[:50].strip("-") or "run"


@dataclass(frozen=True)
class Kept:
    """A run in the data folder, for a list."""

    name: str  # of its file, without the suffix
    title: str  # of its plan
    begun: str  # when, ISO 8601
    records: int  # how many lines there are


class Folder:
    """A folder that holds journals and nothing of which a browser could choose the place."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._writing = threading.Lock()
        try:
            root.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RequestError(
                f"--data '{root}' cannot be a folder: {(error.strerror or str(error)).lower()}.",
                "Name another.",
            ) from None

    def begin(self, plan: Plan) -> str:
        """Begin the journal of a run."""
        stem = f"{datetime.datetime.now(datetime.UTC).date().isoformat()}-{plain_name(plan.title)}"
        with self._writing:
            there = {path.stem for path in self.root.glob(f"*{SUFFIX}")}
            if len(there) >= MOST_RUNS:
                raise RequestError(
                    f"The data folder holds {MOST_RUNS} runs.", "Move old ones to another folder."
                )
            tries = (stem if k == 1 else f"{stem}-{k}" for k in range(1, MOST_RUNS + 2))
            name = next(name for name in tries if name not in there)
            Journal.open(self._path(name), write_plan(plan)).close()
        return name

    @contextlib.contextmanager
    def added_to(self, name: str) -> Iterator[Journal]:
        """Open the journal of a run to add to it, one at a time."""
        with self._writing:
            before = self.read(name)
            if before.path.stat().st_size > LARGEST:
                raise RequestError("This run's journal is full.", "Begin another run.")
            with Journal.open(before.path, before.plan_text, pressure_pa=before.pressure_pa) as journal:
                yield journal

    def read(self, name: str) -> Journal:
        """Return the journal of a run."""
        path = self._path(name)
        if path.is_symlink() or not path.is_file():
            raise RequestError(f"There is no run '{name}'.", "Choose one of the list.")
        return Journal.read(path)

    def kept(self) -> list[Kept]:
        """Return the latest runs, newest first; what is no journal is passed over."""
        paths = [path for path in self.root.glob(f"*{SUFFIX}") if _NAME.fullmatch(path.stem)]
        paths.sort(key=lambda path: path.stat().st_mtime, reverse=True)
        found = []
        for path in paths[:SHOWN]:
            with contextlib.suppress(PotsimError, OSError):
                journal = self.read(path.stem)
                title = read_plan(journal.plan_text).title
                found.append(Kept(path.stem, title, journal.records[0].at, len(journal.records)))
        return found

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise RequestError("That is no name of a run.", "Choose one of the list.")
        return self.root / f"{name}{SUFFIX}"
