"""The two streams: results to standard output, words about them to standard error."""

from __future__ import annotations

import codecs
import contextlib
import os
import sys
import unicodedata
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from potsim.errors import PotsimError
from potsim.interfaces.files import Target, write_all

if TYPE_CHECKING:
    from argparse import Namespace

    from potsim.interfaces.quantities import System
    from potsim.interfaces.report.tables import Section


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
        raise PotsimError("Standard output is closed: there is nowhere to write the result.", "")
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
            from potsim.interfaces.report.tables import render  # start-up: not for --json

            made = render(made)
        result(made)
    for target, _ in wanted:
        words(f"Written: {target.name}")
    for sentence in more:
        words(sentence)
