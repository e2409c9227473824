"""What goes out: files, written whole or not at all; results and words, each on its stream."""

from __future__ import annotations

import codecs
import contextlib
import csv
import errno
import io
import os
import re
import stat
import sys
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from potsim.errors import PotsimError, RequestError, Where, nearest
from potsim.records import dataclass

if TYPE_CHECKING:
    from argparse import Namespace

    from potsim.interfaces.quantities import System
    from potsim.interfaces.report import Section

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?[0-9.]+(?:e[+-]?[0-9]+)?")
FILLED_WITHIN_S = 3  # that a pipe with a name is waited for
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


def content_of(path: Path, largest: int, kind: str, pattern: str) -> bytes:
    """Return what is in a file, or refuse one that is not there or too large for its kind."""
    try:
        with open(path, "rb", opener=_to_read) as file:
            content = file.read(largest + 1)
    except RequestError:
        raise
    except FileNotFoundError:
        if path.is_symlink():
            raise RequestError.of("file_gone", given=str(path)) from None
        raise RequestError.of("no_file", given=str(path), near=_near_file(path, pattern)) from None
    except IsADirectoryError:
        raise RequestError.of("file_is_folder", given=str(path), sort=kind) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RequestError.of("file_unreadable", given=str(path), why=why) from None
    if len(content) > largest:
        most = f"{largest // 1000} kB" if largest < 1_000_000 else f"{largest // 1_000_000} MB"
        raise RequestError.of("file_large", allowed=most, of=kind).at(Where(path.name))
    return content


def _to_read(path: str, flags: int) -> int:
    """Open a file or a pipe; a device has no end, and a pipe with a name may have nobody who fills it."""
    mode = os.stat(path).st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode) or stat.S_ISFIFO(mode)):
        raise RequestError.of("file_to_read", given=path)
    if not (stat.S_ISFIFO(mode) and os.path.exists(os.path.realpath(path))):
        return os.open(path, flags)
    import select  # start-up: for pipes only

    handle = os.open(path, flags | os.O_NONBLOCK)
    waiting = select.poll()
    waiting.register(handle, select.POLLIN)
    if not waiting.poll(1000 * FILLED_WITHIN_S):
        os.close(handle)
        raise RequestError.of("pipe_not_filled", given=path, allowed=FILLED_WITHIN_S)
    os.set_blocking(handle, True)
    return handle


def _near_file(path: Path, pattern: str) -> str:
    near: Sequence[str] = ()
    with contextlib.suppress(OSError):
        near = nearest(path.name, [p.name for p in path.parent.glob(pattern) if p.exists()][:1000], most=1)
    return near[0] if near else ""


def csv_of(rows: Iterable[Sequence[object]]) -> str:
    """Return rows as CSV in which a spreadsheet takes no name for a formula."""
    made = io.StringIO()
    csv.writer(made).writerows([_harmless(cell) for cell in row] for row in rows)
    return made.getvalue()


def _harmless(cell: object) -> object:
    formula = isinstance(cell, str) and cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell)
    return f"'{cell}" if formula else cell


@dataclass(frozen=True)
class Target:
    """A file that may be written."""

    path: Path  # where, links followed
    name: str  # as the person named it
    force: bool  # whether a file that is there may be replaced

    @property
    def suffix(self) -> str:
        """What follows the last point of the name, in small letters, without the point."""
        return Path(self.name).suffix.lower().lstrip(".")

    @property
    def special(self) -> bool:
        """Whether it is a device or a pipe, which is written to and never replaced."""
        try:
            mode = self.path.stat().st_mode
        except OSError:
            return False
        return not stat.S_ISREG(mode) and not stat.S_ISDIR(mode)


def target(name: str, *, force: bool = False, suffixes: Collection[str] = ()) -> Target:
    """Check that a file may be written, without writing it."""
    if not name.strip() or "\0" in name:
        raise RequestError.of("file_unnamed", given=name)
    if name.strip() == "-":
        raise RequestError.of("no_output_file", given=name, suffix=next(iter(suffixes), "csv"))
    if not name.isprintable():  # other files name it, and messages
        raise RequestError.of("name_unprintable", given=ascii(name))
    checked = Target(Path(os.path.realpath(name)), name, force)
    if checked.path.is_dir():
        raise RequestError.of("file_is_folder", given=name, sort="file")
    if suffixes and checked.suffix not in suffixes:
        such, allowed = f"{Path(name).stem or 'run'}.{next(iter(suffixes))}", [f".{s}" for s in suffixes]
        raise RequestError.of("suffix", given=name, allowed=allowed, suffix=checked.suffix, such=such)
    _check_folder(checked)
    if checked.special:
        return checked
    if checked.path.exists() and not force:
        raise RequestError.of("file_there", given=name)
    return checked


def _check_folder(checked: Target) -> None:
    folder = checked.path.parent
    if not folder.is_dir():
        there: list[str] = []
        with contextlib.suppress(OSError):
            there = [path.name for path in folder.parent.iterdir() if path.is_dir()][:1000]
        near = "".join(nearest(folder.name, there, most=1))
        raise RequestError.of("no_folder", given=checked.path.name, folder=str(folder), near=near)
    writable = checked.path if checked.special else folder
    if not os.access(writable, os.W_OK):
        raise RequestError.of("may_not_write", given=checked.name)


def check_apart(targets: Sequence[Target], read: Path | None = None) -> None:
    """Refuse two files of one name, and one that would replace the file read."""
    regular = [t for t in targets if not t.special]
    for k, one in enumerate(regular):
        if read is not None and one.path == Path(os.path.realpath(read)):
            raise RequestError.of("plan_itself", given=one.name)
        if any(one.path == other.path for other in regular[:k]):
            raise RequestError.of("two_results", given=one.name)


def write_all(results: Sequence[tuple[Target, str | bytes]]) -> None:
    """Write files, all of them or none.

    Each is written under a passing name in its own folder; when all are there, they are renamed.
    """
    contents = [(t, c.encode("utf-8") if isinstance(c, str) else c) for t, c in results]
    for t, _ in contents:
        if not t.force and not t.special and t.path.exists():
            raise RequestError.of("file_there", given=t.name)
    staged: list[tuple[Target, Path]] = []
    try:
        for t, content in contents:
            with _blame(t):
                if not t.special:
                    _stage(t, content, staged)
        for t, content in contents:
            with _blame(t):
                if t.special:
                    t.path.write_bytes(content)
        for t, passing in staged:
            with _blame(t):
                passing.replace(t.path)
    finally:
        for _, passing in staged:
            passing.unlink(missing_ok=True)


def _stage(t: Target, content: bytes, staged: list[tuple[Target, Path]]) -> None:
    import tempfile  # start-up: a plain run writes no file

    handle, passing = tempfile.mkstemp(prefix=f".{t.path.name[:40]}.", suffix=".part", dir=t.path.parent)
    staged.append((t, Path(passing)))
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    Path(passing).chmod(_mode(t.path))


def _mode(path: Path) -> int:
    """Permissions of the file replaced; those of any new file if there is none."""
    if path.exists():
        return stat.S_IMODE(path.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


@contextlib.contextmanager
def _blame(t: Target) -> Iterator[None]:
    """Say which file could not be written."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        full = error.errno in _FULL
        why = (error.strerror or str(error)).lower()
        raise PotsimError.of("unwritten", given=t.name, why=why, full=full) from error


# --- The two streams: results to standard output, words about them to standard error.


LEAST_COLUMNS, MOST_COLUMNS = 40, 80
PLAIN = "potsim-plain"
# As wide as what they stand for, so that tables stay in line.
_SUBSTITUTES = {"°": " ", "·": ".", "–": "-", "—": "-", "−": "-", "×": "x", "…": ".", "≥": ">", "≤": "<"}
_SUBSTITUTES |= {"’": "'", "‘": "'", "“": '"', "”": '"', "³": "3", "²": "2", "µ": "u", "μ": "u"}


def _plain(error: UnicodeError) -> tuple[str, int]:
    """Stand-ins for characters that a terminal cannot show."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_stand_in(letter) for letter in error.object[error.start : error.end]), error.end


def _stand_in(letter: str) -> str:
    bare = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
    return _SUBSTITUTES.get(letter) or bare or "?"


codecs.register_error(PLAIN, _plain)


_CONTROLS = {code: f"\\x{code:02x}" for code in (*range(32), *range(127, 160)) if code not in (9, 10)}


def harmless(text: str) -> str:
    """Return a text with control characters spelt out: what was typed may not move a terminal's cursor."""
    return text.translate(_CONTROLS)


def prepare() -> None:
    """Let both streams show a plain character where theirs cannot show the right one."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=PLAIN)


def result(text: str) -> None:
    """Write a result to standard output."""
    if sys.stdout is None:
        raise PotsimError.of("output_closed")
    sys.stdout.write(f"{harmless(text)}\n")


def result_json(value: Any) -> None:
    """Write plain data to standard output as JSON, in ASCII so that any program reads it."""
    import json  # start-up: for --json only

    result(json.dumps(value, indent=2, allow_nan=False))


def columns() -> int:
    """Columns to write in: those of a narrow terminal, else 80."""
    to_person = sys.stdout is not None and sys.stdout.isatty()
    if not to_person and "COLUMNS" not in os.environ:
        return MOST_COLUMNS
    import shutil  # start-up: only a terminal has a width

    return max(LEAST_COLUMNS, min(MOST_COLUMNS, shutil.get_terminal_size().columns))


def words(text: str) -> None:
    """Write words about the work to standard error; where that is closed, they are lost."""
    if sys.stderr is not None:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.write(f"{harmless(text)}\n")
            sys.stderr.flush()


def watched() -> bool:
    """Whether words about the work go to a person at a terminal, not to a file or a pipe."""
    return sys.stderr is not None and sys.stderr.isatty()


def finish() -> None:
    """Send all results off; what then goes wrong is not to be told by the interpreter on its way out."""
    if sys.stdout is None:
        return
    try:
        sys.stdout.flush()
    except OSError:
        abandon()
        raise


def abandon() -> None:
    """Send what is still to be written to standard output nowhere."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def emit(
    args: Namespace,
    data: Callable[[], Any],
    text: Callable[[], str | Sequence[Section]],
    files: Sequence[tuple[Target | None, Callable[[], str | bytes]]] = (),
    more: Sequence[str] = (),
    units: System = "metric",
) -> None:
    """Give out the result of a command: files first, then plain data or text, then words about the files."""
    from potsim.interfaces.wording import in_units  # start-up: not for --help

    wanted = [(target, content) for target, content in files if target is not None]
    with in_units(units):
        write_all([(target, content()) for target, content in wanted])
    if args.json:
        result_json(data())
    else:
        with in_units(units):
            made = text()
        if not isinstance(made, str):
            from potsim.interfaces.report import render  # start-up: not for --json

            made = render(made)
        result(made)
    for target, _ in wanted:
        words(f"Written: {target.name}")
    for sentence in more:
        words(sentence)
