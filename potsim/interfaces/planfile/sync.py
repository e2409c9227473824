"""A plan file brought into line with a changed plan, key by key."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile.edit import Edit, Steps
from potsim.interfaces.planfile.files import parse
from potsim.interfaces.planfile.place import Source
from potsim.interfaces.planfile.tables import plan_of
from potsim.interfaces.planfile.write import tables_of
from potsim.planning.plan import Plan

Why = Callable[[Steps, Any, Any], str]
ROWS = ("charge", "botanical")
TABLES = ("still", "cuts", "jars", "bottling", "uncertainty")
OWN = ("own_botanical", "own_compound")


def sync(
    edit: Edit, before: Plan, after: Plan, why: Why, dropped: Collection[int] = (), added: str = ""
) -> None:
    """Change what a plan file says to what another plan is.

    Parameters
    ----------
    edit : Edit
        The file.
    before, after : Plan
        What it says, and what it is to say; title aside.
    why : callable
        From path, old and new text to the comment above the change; empty for none.
    dropped : collection of int
        Botanicals of the bill before that become comments.
    added : str
        Comment of ingredients and botanicals that come new.
    """
    old, new = tables_of(before), tables_of(after)
    for name in ROWS:
        gone = set(dropped) if name == "botanical" else set()
        _rows(edit, name, old.get(name, []), new.get(name, []), gone, why, added)
    for name in TABLES:
        _table(edit, (name,), old.get(name, {}), new.get(name, {}), why)
    for name in OWN:
        known = old.get(name, [])
        for table in new.get(name, []):
            if table not in known:
                edit.append_row(name, table, added)


def _rows(
    edit: Edit, name: str, old: list[Any], new: list[Any], gone: set[int], why: Why, added: str
) -> None:
    kept = [k for k in range(len(old)) if k not in gone]
    surplus = kept[len(new) :]
    kept = kept[: len(new)]
    for k, table in zip(kept, new, strict=False):
        if "from_run" in old[k] and "from_run" not in table:
            _unlinked(edit, (name, k), table)
        _table(edit, (name, k), old[k], table, why)
    for table in new[len(kept) :]:
        edit.append_row(name, table, added)
    for k in sorted([*gone, *surplus], reverse=True):
        edit.comment_out((name, k), why((name, k), old[k], None))


def _unlinked(edit: Edit, path: Steps, table: dict[str, Any]) -> None:
    """Jars of an earlier run become spirit, which needs a name."""
    if not edit.has((*path, "name")):
        edit.set((*path, "name"), table["name"])


def _table(edit: Edit, path: Steps, old: dict[str, Any], new: dict[str, Any], why: Why) -> None:
    for key, value in new.items():
        was = old.get(key)
        at = (*path, key)
        if value == was:
            continue
        if isinstance(value, dict) and isinstance(was, dict) and edit.has(at):
            _table(edit, at, was, value, why)
        elif key == "power_step" and isinstance(was, list) and len(was) == len(value) and edit.has(at):
            for k, (one, other) in enumerate(zip(was, value, strict=True)):
                _table(edit, (*at, k), one, other, why)
        else:
            typed = edit.get(at) if edit.has(at) else was
            edit.set(at, value, why(at, typed, value))
    for key in old:
        if key not in new and edit.has((*path, key)):
            edit.comment_out((*path, key), why((*path, key), edit.get((*path, key)), None))


def relocate(edit: Edit, old: Path, new: Path) -> None:
    """Let names of other files hold from another folder.

    Parameters
    ----------
    edit : Edit
        The file.
    old, new : Path
        Folder it was in, and folder it will be in.
    """
    if os.path.realpath(old) == os.path.realpath(new):
        return
    places: list[Steps] = [("still", "from_file")]
    if edit.has(("charge",)):
        places += [("charge", k, "from_run") for k in range(len(edit.get(("charge",))))]
    for place in places:
        named = edit.get(place) if edit.has(place) else None
        if isinstance(named, str) and not os.path.isabs(named):
            edit.set(place, relative(old / named, new))


def relative(path: Path, folder: Path) -> str:
    """Return how a file is named from a folder; its full path where no other way leads there."""
    try:
        return Path(os.path.relpath(os.path.realpath(path), os.path.realpath(folder))).as_posix()
    except ValueError:  # on another drive
        return Path(os.path.realpath(path)).as_posix()


def checked(text: str, wanted: Plan, name: str, folder: Path) -> str:
    """Return the text if it reads back as the plan it was made for.

    Parameters
    ----------
    text : str
        The file.
    wanted : Plan
        The plan.
    name : str
        Name of the file it was made from.
    folder : Path
        Folder it will be in.

    Returns
    -------
    str
        The text, unchanged.

    Raises
    ------
    RequestError
        If the layout of the file did not allow the change.
    """
    hint = "Write each table once in [brackets], each botanical in its own [[botanical]], and try again."
    try:
        there = plan_of(parse(text, name), Source(name, folder))
    except PotsimError as error:
        raise RequestError(f"{name} cannot be changed where it stands: {error.message}", hint) from error
    if there != wanted:
        raise RequestError(f"{name} cannot be changed where it stands: its layout is unusual.", hint)
    return text
