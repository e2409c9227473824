"""The files of plans: bytes to text, text to tables, and one file that names another."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Any

from potsim.errors import RequestError, nearest
from potsim.interfaces.numerals import shown
from potsim.interfaces.planfile import keys
from potsim.interfaces.planfile.place import Place

LARGEST = 1_000_000
"""Bytes that a plan file may have."""
_FAULTS = {
    "Cannot overwrite a value": "this key is there already",
    "Cannot declare": "this table is there already",
    "Cannot mutate": "this table is there already",
    "Exceeds the limit": "a number has thousands of digits",
}
DEEPEST = 12
"""Files that may follow one another, each taking from the next."""


def parse(text: str, name: str) -> dict[str, Any]:
    """Return the tables of TOML text; a fault in the writing is refused with its line.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What to call it in refusals.

    Returns
    -------
    dict
        Key to value, as they stand.

    Raises
    ------
    RequestError
        If it is not TOML.
    """
    if len(text) > LARGEST:
        raise RequestError(f"{name} has more than {LARGEST} characters; a plan is a page or two.", "")
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise RequestError(f"{name}: tables or lists are nested too deeply.", "") from None
    except ValueError as error:
        found = re.search(r"\(at (line \d+), column \d+\)|\(at end of document\)", str(error))
        fault = str(error).partition(" (at ")[0]
        for words, plain in _FAULTS.items():
            fault = plain if fault.startswith(words) else fault
        line = f", {found[1] or 'at the end'}" if found else ""
        raise RequestError(
            f"{name}{line}: not written as TOML wants it: {fault}.",
            'A line is  key = "value"  with text in quotes; each table and key comes once.',
        ) from None


def read_file(path: Path) -> str:
    """Return the text of a file, or refuse it in words.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    RequestError
        If there is no such file, or it is a folder, too large, not UTF-8 or not to be read.
    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise RequestError(f"There is no file {shown(str(path))}.", _near_file(path)) from None
    except IsADirectoryError:
        raise RequestError(f"{shown(str(path))} is a folder.", "Name a plan file in it.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RequestError(f"{shown(str(path))} cannot be read: {why}.", "") from None
    if len(content) > LARGEST:
        raise RequestError(f"{path.name} is larger than 1 MB; a plan is a page or two.", "Is it a plan file?")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise RequestError(
            f"{path.name}, line {line}: not UTF-8 text.", "Save it as UTF-8 (plain text), and try again."
        ) from None


def _near_file(path: Path) -> str:
    try:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")][:1000], most=1)
    except OSError:
        near = ()
    return f"Did you mean {shown(near[0])}?" if near else "Check the name and the folder."


def not_too_deep(place: Place) -> None:
    """Refuse one more file, or one more plan inside a plan, when they follow each other on and on.

    Parameters
    ----------
    place : Place
        Where the next one is named.

    Raises
    ------
    RequestError
        If there are `DEEPEST` already.
    """
    if len(place.source.chain) >= DEEPEST:
        raise RequestError(f"more than {DEEPEST} plans take from each other.", "Start from a later run.")


def other_file(name: object, place: Place, key: str) -> Path:
    """Return the path of another file that a plan names.

    Parameters
    ----------
    name : object
        What stands in the file.
    place : Place
        Where it stands.
    key : str
        The key.

    Returns
    -------
    Path
        Seen from the folder of the plan.

    Raises
    ------
    RequestError
        If the plan is in no folder, or the files lead in a circle or on and on.
    """
    with place.blame(key):
        named = Path(keys.text(name))
        if place.source.folder is None:
            raise RequestError(
                f"{shown(name)} is sought in the folder of the plan; this has none.", "Save it first."
            )
        path = place.source.folder / named
        not_too_deep(place)
        if Path(os.path.realpath(path)) in place.source.chain:
            raise RequestError(f"{shown(name)} leads back to itself.", "A run cannot take from itself.")
        return path
