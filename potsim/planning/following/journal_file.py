"""The file under a journal: lines of JSON added one by one, each on disk before the next."""

from __future__ import annotations

import contextlib
import errno
import importlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError, UnknownNameError

VERSION = 1
LARGEST = 20_000_000
"""Bytes that a journal may have."""
LONGEST = 2_000_000
"""Characters that one record may have; a plan is the longest."""
FIELDS: Mapping[str, Mapping[str, tuple[type, ...]]] = {
    "start": {"journal": (int,), "plan": (str,)},
    "reading": {"entry": (dict,)},
    "jar": {"number": (int,), "volume_l": (int, float, type(None)), "word": (str,)},
    "event": {"words": (str,)},
    "strike": {"reading": (int,)},
}
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_BINARY = getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Record:
    """One line of a journal.

    Parameters
    ----------
    kind : {'start', 'reading', 'jar', 'event', 'strike'}
        What it tells.
    at : str
        When it was told, ISO 8601 in UTC.
    content : mapping
        The rest of it.
    line : int
        Where it stands in the file.
    """

    kind: str
    at: str
    content: Mapping[str, Any]
    line: int


def line_of(told: Mapping[str, Any]) -> str:
    """Write a record as its line.

    Parameters
    ----------
    told : mapping
        The record, plain data.

    Returns
    -------
    str
        JSON and a line feed, in ASCII.

    Raises
    ------
    RequestError
        If it is no plain data, or far too long.
    """
    try:
        text = json.dumps(told, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise RequestError(f"this is no record of a journal: {error}.", "Give plain data.") from None
    if len(text) > LONGEST:
        raise RequestError(f"a record has {len(text)} characters; at most {LONGEST} are kept.", "Say less.")
    return f"{text}\n"


def record_of(told: object, line: int) -> Record:
    """Check what a line tells.

    Parameters
    ----------
    told : object
        From JSON.
    line : int
        Where it stands.

    Returns
    -------
    Record
        The record.

    Raises
    ------
    RequestError
        If a field is missing, unknown or of the wrong kind.
    """
    if not isinstance(told, dict):
        raise RequestError("a record is to be a JSON object.", "")
    kind = told.get("record")
    if not isinstance(kind, str) or kind not in FIELDS:
        raise UnknownNameError("record", str(kind), FIELDS)
    fields = FIELDS[kind]
    content = {name: value for name, value in told.items() if name not in ("record", "at")}
    for name in content:
        if name not in fields:
            raise UnknownNameError(f"field of the record '{kind}'", name, fields)
    for name, types in fields.items():
        value = content.get(name)
        if not isinstance(value, types) or isinstance(value, bool):
            raise RequestError(f"the record '{kind}' has {name} = {value!r}.", "Is it of another kind?")
    return Record(kind, str(told.get("at", "")), content, line)


def parse(content: bytes, path: Path) -> tuple[list[Record], tuple[str, ...], int]:
    """Read the lines of a journal.

    Parameters
    ----------
    content : bytes
        The file.
    path : Path
        Its name, for messages.

    Returns
    -------
    records : list of Record
        All that is whole.
    torn : tuple of str
        What is torn at the end, in a sentence.
    good : int
        Bytes up to the end of the last whole line.

    Raises
    ------
    RequestError
        If it is something else than a journal, or damaged in its midst.
    """
    records: list[Record] = []
    lines = content.split(b"\n")
    tail = lines.pop()
    good = len(content) - len(tail)
    for number, text in enumerate(lines, start=1):
        try:
            records.append(record_of(json.loads(text.decode("utf-8")), number))
        except (ValueError, RecursionError, PotsimError) as error:
            if number == 1:
                raise _other(path) from None
            why = error.message if isinstance(error, PotsimError) else "it is not JSON."
            raise RequestError(
                f"'{path}', line {number} is damaged: {why}",
                "Correct the line, or take it out.",
            ) from None
    if records and records[0].kind != "start":
        raise _other(path)
    if not records and tail and not tail.startswith(b'{"record": "start"'[: len(tail)]):
        raise _other(path)
    torn: tuple[str, ...] = ()
    if tail:
        said = tail[:60].decode("utf-8", errors="replace")
        torn = (f"The last line was torn off while it was written, and is left out: {said!r}.",)
    return records, torn, good


def _other(path: Path) -> RequestError:
    return RequestError(f"'{path}' is not a journal of readings.", "Name another file.")


def open_file(path: Path) -> tuple[int, bytes]:
    """Open a journal to add to, alone; make it if it is not there.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    handle : int
        Locked, where the system can lock.
    content : bytes
        What is in it.
    """
    with blame(path):
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | _BINARY
        handle = os.open(path, flags, 0o666)
        try:
            _lock(handle, path)
            return handle, whole(handle, path)
        except BaseException:
            os.close(handle)
            raise


def whole(handle: int, path: Path) -> bytes:
    """Return all that is in a file, refusing one that no run fills."""
    parts, size = [], 0
    while part := os.read(handle, 1 << 20):
        parts.append(part)
        size += len(part)
        if size > LARGEST:
            raise RequestError(
                f"'{path}' is larger than {LARGEST // 1_000_000} MB; no run's journal is.",
                "Name another file.",
            )
    return b"".join(parts)


def read_file(path: Path) -> bytes:
    """Return what is in a journal that someone may be adding to."""
    with blame(path):
        handle = os.open(path, os.O_RDONLY | _BINARY)
        try:
            return whole(handle, path)
        finally:
            os.close(handle)


def write_line(handle: int, line: bytes) -> None:
    """Add one line and wait for the disk; whatever goes wrong, no part of it stays.

    Parameters
    ----------
    handle : int
        From `open_file`.
    line : bytes
        With its line feed.

    Raises
    ------
    OSError
        If the disk is full or fails.
    """
    size = os.fstat(handle).st_size
    try:
        if os.write(handle, line) != len(line):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    except OSError:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, size)
        raise


def sync_folder(path: Path) -> None:
    """Put the name of a new file on disk too, where the system lets one."""
    with contextlib.suppress(OSError):
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _lock(handle: int, path: Path) -> None:
    """Let nobody else add to the file; the lock goes with the process."""
    try:
        fcntl = importlib.import_module("fcntl")
    except ImportError:  # Windows
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise RequestError(
            f"'{path}' is being added to by another session.", "Close that one first, or go on there."
        ) from None
    except OSError:  # a file system without locks
        return


@contextlib.contextmanager
def blame(path: Path) -> Iterator[None]:
    """Say which file could not be read or written."""
    try:
        yield
    except FileNotFoundError:
        raise RequestError(f"There is no '{path}'.", "Check the name and the folder.") from None
    except IsADirectoryError:
        raise RequestError(f"'{path}' is a folder.", "Name a file in it.") from None
    except (OSError, ValueError) as error:
        if isinstance(error, RequestError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        number = getattr(error, "errno", None)
        hint = "Make room, and enter it once more." if number in _FULL else "Choose another place."
        raise PotsimError(f"'{path}' cannot be used: {why.lower()}.", hint) from error
