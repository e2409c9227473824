"""The data folder: plans, runs and stills as plain files that the command line reads too.

A plan is a plan file. A run is a plan file with a journal beside it, ``NAME.toml`` and
``NAME.readings.jsonl``, as ``potsim follow NAME.toml --enter`` has them; what comes of it stands in
``[result]`` and ``[[note]]``. A still is a file with ``[learnt]``. This module alone makes paths.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import threading
import time
import tomllib
import unicodedata
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

import tomlkit
from tomlkit.exceptions import TOMLKitError

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile import inlined
from potsim.interfaces.quantities import short
from potsim.planning import events
from potsim.planning.events import Bottled, Clouded, Event, Pool, Titled, Verdict, blame
from potsim.planning.journal import Journal
from potsim.planning.plan import TABLES
from potsim.records import dataclass

Kind = Literal["plan", "run", "still"]
MOST = 1000  # files of a kind
LARGEST = 2_000_000  # bytes of a plan or a journal that the page writes
JOURNAL = (".readings.jsonl", ".jsonl")
"""How journals are called; the first is what the command line gives them, the second an earlier page."""
THINGS = ".page-things.jsonl"
DELETED = ".deleted"
OPEN = 16  # journals kept open
OUTCOME = ("result", "note", "parent")  # what a run's file holds beside the plan


def plain_name(title: str) -> str:
    """Return a title as the name of a file: small letters, digits and hyphens.

    Examples
    --------
    >>> from potsim.interfaces.page.shelf import plain_name
    >>> plain_name("../Gin für Ada, № 3")
    'gin-fur-ada-no-3'
    """
    letters = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters)[:50].strip("-") or "run"


@dataclass(frozen=True)
class Kept:
    """Something in the data folder."""

    id: str  # name of its file, without the suffix
    kind: Kind
    path: Path  # its plan file, or its journal if it has no plan file
    changed_ms: int  # when it was last changed [ms since 1970]


class Shelf:
    """A folder that holds what the page keeps."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._writing = threading.RLock()
        self._open: OrderedDict[str, Journal] = OrderedDict()
        self._kinds: dict[Path, tuple[int, int, Kind | None]] = {}
        try:
            root.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            raise RequestError.of("no_data_folder", "--data", given=str(root), why=why) from None

    # Looking ----------------------------------------------------------------------------------------------

    def list(self) -> list[Kept]:
        """Return all there is, what was changed last first; what is none of the kinds is passed over."""
        found: dict[str, Kept] = {}
        journals: dict[str, Path] = {}
        with contextlib.suppress(OSError):
            for entry in os.scandir(self.root):
                name = entry.name
                if name.startswith(".") or not entry.is_file(follow_symlinks=False):
                    continue
                stem = _journal_stem(name)
                if stem is not None and not (stem in journals and name.endswith(JOURNAL[1])):
                    journals[stem] = Path(entry.path)
                elif name.endswith(".toml"):
                    kind = self._kind(Path(entry.path), entry.stat())
                    if kind is not None:
                        stem = name.removesuffix(".toml")
                        found[stem] = Kept(
                            stem, kind, Path(entry.path), entry.stat().st_mtime_ns // 1_000_000
                        )
        for stem, path in journals.items():
            changed = path.stat().st_mtime_ns // 1_000_000
            plan = found.get(stem)
            found[stem] = Kept(stem, "run", plan.path if plan else path, changed)
        return sorted(found.values(), key=lambda kept: -kept.changed_ms)

    def _kind(self, path: Path, stat: os.stat_result) -> Kind | None:
        """What a TOML file holds, remembered as long as it is not changed."""
        known = self._kinds.get(path)
        if known is None or known[:2] != (stat.st_mtime_ns, stat.st_size):
            kind: Kind | None = None
            with contextlib.suppress(PotsimError, OSError):
                tables = self._document(path)
                if "charge" in tables:
                    kind = "plan"
                elif "learnt" in tables or set(tables) <= {"still", "title"}:
                    kind = "still"
            known = self._kinds[path] = (stat.st_mtime_ns, stat.st_size, kind)
        return known[2]

    def _document(self, path: Path) -> dict[str, Any]:
        with blame(path):
            content = path.read_bytes()
        try:
            return tomllib.loads(content.decode("utf-8-sig"))
        except (ValueError, RecursionError):
            raise RequestError.of("no_toml", given=path.name) from None

    def text(self, name: str) -> str:
        """Return the text of a plan, a still, or a run's plan file."""
        path = self._path(name, ".toml")
        with blame(path):
            return path.read_bytes().decode("utf-8-sig")

    def tables(self, name: str) -> dict[str, Any]:
        """Return the tables of a plan as they were typed, without what came of it."""
        document = self._document(self._path(name, ".toml"))
        return {key: _plain(value) for key, value in document.items() if key not in OUTCOME}

    def journal(self, name: str) -> Journal:
        """Return the journal of a run as it is now; not to be added to. An empty one is refused."""
        path = self._journal_path(name)
        if not path.stat().st_size:
            raise RequestError.of("journal_empty", given=path.name)
        return Journal.read(path)

    def has_run(self, name: str) -> bool:
        """Whether there is a run of that name."""
        try:
            self._journal_path(name)
        except RequestError:
            return False
        return True

    # Writing ----------------------------------------------------------------------------------------------

    def keep_plan(self, tables: dict[str, Any], name: str | None = None, thing: str = "") -> str:
        """Keep a plan as typed, comments of its file too; the same ``thing`` told again is the same plan."""
        with self._writing:
            name = name or self._named(thing, str(tables.get("title") or "plan"))
            path = self._path(name, ".toml", there=False)
            before = path.read_bytes().decode("utf-8-sig") if path.exists() else ""
            self._replace(path, merged(before, tables))
        return name

    def keep_still(self, title: str, still: dict[str, Any], thing: str = "") -> str:
        """Keep a still under a title; return its name."""
        with self._writing:
            name = self._named(thing, f"still {title}")
            self._replace(
                self._path(name, ".toml", there=False),
                merged("", {"title": title, "still": still, "learnt": {"runs": []}}),
            )
        return name

    def write(self, name: str, text: str) -> None:
        """Put a text in place of that of a plan or still."""
        with self._writing:
            self._replace(self._path(name, ".toml", there=False), text)

    def begin(self, plan_text: str, title: str, thing: str = "", device: str = "", parent: str = "") -> str:
        """Begin a run of a plan that came from ``parent``; the same ``thing`` told again is the same run."""
        day = events.now().date().isoformat()
        with self._writing:
            name = self._named(thing, f"{day} {title}")
            if self.has_run(name):
                return name
            path = self._path(name, ".toml", there=False)
            if parent and self._path(parent, ".toml", there=False).exists():
                plan_text = f"parent = {json.dumps(f'{parent}.toml')}\n{plan_text}"
            if not path.exists():
                self._replace(path, plan_text)
            journal = Journal.open(
                path.with_name(name + JOURNAL[0]), plan_text, event_id=thing or "start", device=device
            )
            journal.close()
        return name

    @contextlib.contextmanager
    def added_to(self, name: str) -> Iterator[Journal]:
        """Open the journal of a run to add to it."""
        with self._writing:
            path = self._journal_path(name)
            if path.stat().st_size > LARGEST:
                raise RequestError.of("journal_full", given=name)
            journal = self._open.pop(name, None)
            if journal is None or journal.path != path or not _same_file(journal, path):
                journal = Journal.open(path)
            try:
                yield journal
            except BaseException:
                journal.close()
                raise
            self._open[name] = journal
            while len(self._open) > OPEN:
                self._open.popitem(last=False)[1].close()

    def rename(self, name: str, title: str, told: Any = None) -> None:
        """Call a plan, a run or a still otherwise; its file keeps its name."""
        title = " ".join(title.split())
        if not title or len(title) > 200:
            raise RequestError.of("title", given=len(title), allowed=200)
        with self._writing:
            if self.has_run(name):
                with self.added_to(name) as journal:
                    journal.append(Titled(title), **(told or {}))
            path = self._path(name, ".toml", there=False)
            if path.exists():
                before = path.read_bytes().decode("utf-8-sig")
                self._replace(path, _edited(before, {"title": title}))

    def delete(self, name: str) -> None:
        """Take a plan, a run or a still off the shelf; its files go to a hidden folder."""
        with self._writing:
            there = [self.root / f"{self.checked(name)}{suffix}" for suffix in (".toml", *JOURNAL)]
            there = [path for path in there if path.is_file()]
            if not there:
                raise RequestError.of("not_on_shelf", given=name)
            journal = self._open.pop(name, None)
            if journal is not None:
                journal.close()
            gone = self.root / DELETED / f"{time.time_ns()}"
            with blame(gone):
                gone.mkdir(parents=True)
                for path in there:
                    os.replace(path, gone / path.name)

    def settle(self, name: str) -> bool:
        """Bring a run's file and its journal into line, the last change counts; tell if the file had news."""
        with self._writing, self.added_to(name) as journal:
            path = self._path(name, ".toml", there=False)
            if not path.exists():
                return False
            if self.take_in(name, journal):
                return True
            before = path.read_bytes().decode("utf-8-sig")
            document = _document_of(before)
            changes = _beside(document, outcome(journal))
            if any(_plain(document.get(key)) != _plain(value) for key, value in changes.items()):
                self._replace(path, _edited(before, changes))
            return False

    def take_in(self, name: str, journal: Journal) -> bool:
        """Take in what somebody wrote into a run's plan file since its journal was last added to."""
        path = self._path(name, ".toml", there=False)
        journal.refresh()
        if not path.exists() or path.stat().st_mtime_ns <= journal.path.stat().st_mtime_ns:
            return False
        found = list(_news(_document_of(path.read_bytes().decode("utf-8-sig")), journal))
        for event in found:
            journal.append(event, device=path.name)
        return bool(found)

    # Paths ------------------------------------------------------------------------------------------------

    def checked(self, name: str) -> str:
        """Return a name that can only be one of this folder, or refuse it."""
        fine = name and name == os.path.basename(name) and name.isprintable() and len(name.encode()) <= 200
        if not fine or name.startswith(".") or any(sign in name for sign in "\\/:\0"):
            raise RequestError.of("no_name", given=short(name))
        return name

    def _path(self, name: str, suffix: str, *, there: bool = True) -> Path:
        path = self.root / f"{self.checked(name)}{suffix}"
        if path.is_symlink() or (there and not path.is_file()):
            raise RequestError.of("not_on_shelf", given=name)
        return path

    def _journal_path(self, name: str) -> Path:
        for suffix in JOURNAL:
            path = self.root / f"{self.checked(name)}{suffix}"
            if path.is_file() and not path.is_symlink():
                return path
        raise RequestError.of("not_on_shelf", given=name)

    def _named(self, thing: str, title: str) -> str:
        """The name of a new file: that which the thing has already, or one that is free."""
        path = self.root / THINGS
        known = {}
        with contextlib.suppress(OSError):
            for line in path.read_text(encoding="ascii", errors="replace").splitlines():
                with contextlib.suppress(ValueError):
                    told = json.loads(line)
                    known[told["thing"]] = told["id"]
        if thing and thing in known:
            return self.checked(str(known[thing]))
        taken = {entry.split(".")[0] for entry in os.listdir(self.root)} | set(known.values())
        if len(taken) > 3 * MOST:
            raise RequestError.of("folder_full", given=len(taken), allowed=3 * MOST)
        stem = plain_name(title)
        name = next(n for n in (stem, *(f"{stem}-{k}" for k in range(2, 4 * MOST))) if n not in taken)
        if thing:
            with blame(path), open(path, "ab") as file:
                file.write(f"{json.dumps({'thing': thing, 'id': name})}\n".encode("ascii"))
                file.flush()
                os.fsync(file.fileno())
        return name

    def _replace(self, path: Path, text: str) -> None:
        """Put a text in a file as a whole, or leave it as it was."""
        content = text.encode()
        if len(content) > LARGEST:
            raise RequestError.of("plan_long", given=len(content), allowed=LARGEST)
        draft = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.part")
        with blame(path):
            try:
                with open(draft, "wb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(draft, path)
            except OSError:
                with contextlib.suppress(OSError):
                    draft.unlink()
                raise


def _journal_stem(name: str) -> str | None:
    for suffix in JOURNAL:
        if name.endswith(suffix):
            return name.removesuffix(suffix) or None
    return None


def _same_file(journal: Journal, path: Path) -> bool:
    try:
        return os.path.samestat(os.stat(path), journal.stat())
    except OSError:
        return False


def _plain(value: Any) -> Any:
    """Tables of TOML as JSON has them: a day becomes its text."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    return value if isinstance(value, (str, int, float, bool)) else str(value)


def _document_of(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return {}


# Changing a file where it stands ----------------------------------------------------------------------------


def merged(before: str, tables: Mapping[str, Any]) -> str:
    """Return the text of a plan file with other tables; comments, order and what came of the run stay."""
    gone = {key: None for key in _document_of(before) if key not in tables and key not in OUTCOME}
    if not before or not _document_of(before):
        return tomlkit.dumps(inlined(dict(tables)))
    return _edited(before, {**tables, **gone})


def _edited(before: str, changes: Mapping[str, Any]) -> str:
    """Set keys of a file, or take out those that are ``None``; all else stays as it stands."""
    try:
        document: Any = tomlkit.parse(before)
        _set(document, changes, inlined)
        after = tomlkit.dumps(document)
        wanted = {**_document_of(before), **{k: v for k, v in changes.items() if v is not None}}
        for key in [key for key, value in changes.items() if value is None]:
            wanted.pop(key, None)
        if _plain(tomllib.loads(after)) == _plain(wanted):
            return after
    except (TOMLKitError, ValueError, KeyError, TypeError, AttributeError, IndexError):
        pass
    whole = {**_document_of(before), **{k: v for k, v in changes.items() if v is not None}}
    return tomlkit.dumps(inlined({k: v for k, v in whole.items() if changes.get(k, 0) is not None}))


def _set(at: Any, changes: Mapping[str, Any], inlined: Any) -> None:
    for key, value in changes.items():
        there = at.get(key)
        if value is None:
            if there is not None:
                del at[key]
        elif isinstance(value, Mapping) and isinstance(there, dict):
            _set(there, {**dict.fromkeys(there), **value}, inlined)
        elif _rows(value) and _rows(there):
            for row, table in zip(there, value, strict=False):
                _set(row, {**dict.fromkeys(row), **table}, inlined)
            if len(value) != len(there):
                at[key] = inlined({key: [*(dict(row) for row in there), *value[len(there) :]][: len(value)]})[
                    key
                ]
        elif _plain(there) != value or there is None:
            at[key] = inlined({key: value})[key]


def _rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)


# What came of a run -----------------------------------------------------------------------------------------


def outcome(journal: Journal) -> dict[str, Any]:
    """Return ``[result]`` and ``[[note]]`` of a run as its journal has them; empty where it says nothing."""
    result: dict[str, Any] = {}
    begun = journal.heat_on
    if begun is not None:
        result["date"] = begun.astimezone().date()
        collected = [r.collected_l for r in journal.readings if r.collected_l]
        if collected and journal.heat_off is not None:
            result["collected"] = _millilitres(collected[-1])
    pooled: Pool | None = journal.latest(Pool)
    if pooled is not None:
        result["jars_kept"] = ",".join(map(str, sorted(pooled.jars)))
    bottled: Bottled | None = journal.latest(Bottled)
    if bottled is not None:
        result["bottled"] = f"{bottled.count} bottles"
    clouded: Clouded | None = journal.latest(Clouded)
    if clouded is not None and clouded.abv is not None:
        result["clouded_at"] = f"{clouded.abv:g} %"
        if clouded.at_c is not None:
            result["clouded_at_c"] = f"{clouded.at_c:g} °C"
    notes = []
    for note in verdicts(journal).values():
        told = {"botanical": note.botanical, "verdict": note.verdict, "words": note.words}
        told["tasted_in"] = note.tasted_in
        notes.append({key: value for key, value in told.items() if value})
    hazy = [r.collected_l for r in journal.readings if r.entry.hazy and r.collected_l]
    if hazy:
        result["stream_hazy_at"] = _millilitres(hazy[0])
    found: dict[str, Any] = {}
    if result and (set(result) - {"date"} or notes):
        found["result"] = {key: value for key, value in result.items() if key in TABLES["result"].keys}
    if notes:
        found["note"] = [
            {key: value for key, value in note.items() if key in TABLES["note"].keys} for note in notes
        ]
    return found


def verdicts(journal: Journal) -> dict[str, Verdict]:
    """Return the last verdict on each botanical by its name; those taken back are left out."""
    last = {event.botanical: event for event in journal.all_of(Verdict)}
    return {name: event for name, event in last.items() if event.verdict or event.words}


def _millilitres(litres: float) -> str:
    return f"{1000.0 * litres:.6g} mL"


def _notes(document: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """The notes of a file by their botanical."""
    rows = document.get("note")
    rows = [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    return {str(row["botanical"]): row for row in rows if isinstance(row.get("botanical"), str)}


def _news(document: Mapping[str, Any], journal: Journal) -> Iterator[Event]:
    """What a run's file says otherwise than its journal would: somebody changed the file."""
    there, written = _notes(document), _notes(outcome(journal))
    for name in {**there, **written}:
        told = [
            {key: str(note.get(key) or "") for key in ("verdict", "words", "tasted_in")}
            for note in (there.get(name, {}), written.get(name, {}))
        ]
        if told[0] != told[1]:
            new = told[0]
            yield Verdict(name, new["verdict"] or None, new["words"], new["tasted_in"])


def _beside(document: Mapping[str, Any], told: dict[str, Any]) -> dict[str, Any]:
    """What came of a run beside what a person wrote of it: other keys of the file stay."""
    known, changes = _notes(document), dict(told)
    if "note" in told:
        changes["note"] = [{**known.get(str(note["botanical"]), {}), **note} for note in told["note"]]
    elif known:
        changes["note"] = None
    if "result" in told and isinstance(document.get("result"), dict):
        changes["result"] = {**document["result"], **told["result"]}
    return changes
