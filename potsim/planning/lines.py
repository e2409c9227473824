"""A file of lines that several writers add to: one at a time, each line on disk before it counts."""

from __future__ import annotations

import contextlib
import errno
import importlib
import os
import stat
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError

LARGEST = 20_000_000
"""Bytes that a journal may have."""
WAIT_S = 2.0  # for another writer, who needs a few milliseconds
_HELD = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}  # by another writer
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_BINARY = getattr(os, "O_BINARY", 0)
_AT_ONCE = getattr(os, "O_NONBLOCK", 0)  # a pipe is refused, not waited for


@contextlib.contextmanager
def blame(path: Path) -> Iterator[None]:
    """Say which file could not be read or written."""
    try:
        yield
    except FileNotFoundError:
        raise RequestError.of("file_missing", given=str(path)) from None
    except IsADirectoryError:
        raise RequestError.of("file_is_folder", given=str(path), sort="file") from None
    except (OSError, ValueError) as error:
        if isinstance(error, RequestError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        full = getattr(error, "errno", None) in _FULL
        raise PotsimError.of("file_unusable", given=str(path), why=why.lower(), full=full) from error


class BusyError(PotsimError):
    """Another writer has held the journal for too long."""


@contextlib.contextmanager
def alone(handle: int, path: Path) -> Iterator[None]:
    """Be the only writer for a moment; the lock goes with the process."""
    lock, unlock = _locks()
    until = time.monotonic() + WAIT_S
    while True:
        try:
            lock(handle)
            break
        except OSError as error:
            if error.errno not in _HELD:  # a file system without locks
                yield
                return
            if time.monotonic() > until:
                raise BusyError.of("file_held", given=str(path)) from None
            time.sleep(0.005)
    try:
        yield
    finally:
        unlock(handle)


def _locks() -> tuple[Callable[[int], object], Callable[[int], object]]:
    """How this system locks an open file without waiting, and lets it go."""
    try:
        fcntl: Any = importlib.import_module("fcntl")
    except ImportError:
        msvcrt: Any = importlib.import_module("msvcrt")

        def byte(handle: int, how: int) -> None:  # one far behind the end of any journal: reading goes on
            here = os.lseek(handle, 0, os.SEEK_CUR)
            os.lseek(handle, LARGEST * 2, os.SEEK_SET)
            try:
                msvcrt.locking(handle, how, 1)
            finally:
                os.lseek(handle, here, os.SEEK_SET)

        return lambda handle: byte(handle, msvcrt.LK_NBLCK), lambda handle: byte(handle, msvcrt.LK_UNLCK)
    return (
        lambda handle: fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB),
        lambda handle: fcntl.flock(handle, fcntl.LOCK_UN),
    )


def write_line(handle: int, line: bytes) -> None:
    """Add one line and wait for the disk; whatever goes wrong, no part of it stays."""
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


def whole(handle: int, path: Path, start: int = 0) -> bytes:
    """Return what is in a file from a place on, refusing one that no run fills."""
    state = os.fstat(handle)
    if not stat.S_ISREG(state.st_mode):
        raise RequestError.of("file_not_plain", given=str(path))
    if state.st_size > LARGEST:
        raise RequestError.of("file_too_large", given=str(path), allowed=LARGEST // 1_000_000)
    os.lseek(handle, start, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def opened(path: Path, *, add: bool, make: bool = False) -> int:
    """Open one to be read, or added to; a pipe is refused later, not waited for."""
    to_add = os.O_RDWR | os.O_APPEND | (os.O_CREAT if make else 0)
    with blame(path):
        return os.open(path, (to_add if add else os.O_RDONLY) | _BINARY | _AT_ONCE, 0o666)
