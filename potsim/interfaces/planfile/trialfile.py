"""A trial file: a plan file with ``[result]`` and ``[[note]]``, read, and written as the next one."""

from __future__ import annotations

import datetime
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile import keys
from potsim.interfaces.planfile.edit import Edit, Steps
from potsim.interfaces.planfile.files import parse, read_file
from potsim.interfaces.planfile.place import Place, Source, build, read_fields, several
from potsim.interfaces.planfile.sync import checked, relative, relocate, sync
from potsim.interfaces.planfile.tables import plan_of
from potsim.interfaces.trial_words import times
from potsim.planning.plan import Plan
from potsim.planning.trials.another_still import Scaled
from potsim.planning.trials.next_trial import DoseChange, NextTrial
from potsim.planning.trials.trial import Note, Result, Trial, check
from potsim.planning.trials.trial_blend import TrialBlend

_RESULT = {"collected": "collected_l", "strength": "abv"}
TO_FILL_IN = "The day this plan was made: set it to the day of the run, and add what comes of it."


@dataclass(frozen=True)
class TrialFile:
    """A trial with the file it stands in.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        What it holds.
    trial : Trial
        What it says.
    """

    path: Path
    text: str
    trial: Trial


def read_trial(path: str | os.PathLike[str]) -> TrialFile:
    """Read a trial file.

    Parameters
    ----------
    path : path-like
        The file.

    Returns
    -------
    TrialFile
        The file and what it says.

    Raises
    ------
    RequestError
        If it cannot be read, or contradicts itself; the message names file, table and key.
    """
    file = Path(path)
    text = read_file(file)
    source = Source(file.name, file.parent, (Path(os.path.realpath(file)),))
    document = parse(text, file.name)
    trial = Trial(
        name=file.name,
        plan=plan_of(document, source),
        parent=document.get("parent"),
        result=_result(document, source),
        notes=tuple(_note(table, place) for table, place in several(document, "note", source)),
    )
    check(trial)
    return TrialFile(file, text, trial)


def _result(document: dict[str, Any], source: Source) -> Result | None:
    if "result" not in document:
        return None
    place = Place(source, "[result]", "result.")
    fields = read_fields(document["result"], keys.RESULT, place)
    renamed = {_RESULT.get(name, name): value for name, value in fields.items()}
    if "bottled" in renamed:
        renamed["bottled"] = str(renamed["bottled"])
    return build(Result, renamed, keys.RESULT, place)


def _note(table: dict[str, Any], place: Place) -> Note:
    fields = read_fields(table, keys.NOTE, place)
    if "tasted_at" in fields:
        fields["tasted_at"] = str(fields["tasted_at"])
    return build(Note, fields, keys.NOTE, place)


def next_text(file: TrialFile, made: NextTrial, folder: Path, today: datetime.date) -> str:
    """Return the file of the next trial.

    Parameters
    ----------
    file : TrialFile
        The trial before.
    made : NextTrial
        What follows from it.
    folder : Path
        Folder it will be in.
    today : date
        Day that is put into its result.

    Returns
    -------
    str
        TOML: the file before with changed doses, each explained; its result and notes have become comments.
    """
    edit = Edit(file.text, file.path.name)
    changes = {("botanical", change.line): change for change in made.changes}

    def why(path: Steps, old: Any, new: Any) -> str:
        change = changes.get((str(path[0]), int(path[1]))) if len(path) > 1 else None
        return "" if change is None else _reason(change, old, new, file.path.name)

    dropped = {change.line for change in made.changes if change.after is None}
    sync(edit, file.trial.plan, made.plan, why, dropped)
    _named(edit, made.plan.title, relative(file.path, folder))
    _retire(edit, file.path.name)
    edit.append(("result",), {"date": today}, TO_FILL_IN)
    return _finished(edit, file, made.plan, folder)


def scale_text(file: TrialFile, made: Scaled, folder: Path) -> str:
    """Return the file of a scaled recipe.

    Parameters
    ----------
    file : TrialFile
        The trial it was scaled from.
    made : Scaled
        The recipe scaled; its title is kept with the size behind it.
    folder : Path
        Folder it will be in.

    Returns
    -------
    str
        TOML, each change explained.
    """
    edit = Edit(file.text, file.path.name)

    def why(path: Steps, old: Any, new: Any) -> str:
        if old is None:
            return "new for this size"
        return f"for this size; was {_shown(old)}" if new is not None else "not for this size"

    sync(edit, file.trial.plan, made.plan, why, added="new for this size")
    _named(edit, made.plan.title, relative(file.path, folder))
    _retire(edit, file.path.name)
    factors = f"charge x{made.charge_factor:.4g}, alcohol x{made.alcohol_factor:.4g}"
    doses = f"botanicals x{made.dose_factor:.4g} (by the litre of {made.per})"
    edit.say_first(f"Scaled from {file.path.name}: {factors}, {doses}.")
    return _finished(edit, file, made.plan, folder)


def blend_text(files: Sequence[TrialFile], made: TrialBlend, folder: Path) -> str:
    """Return the file of a combined recipe.

    Parameters
    ----------
    files : sequence of TrialFile
        The trials, in the order of the blend.
    made : TrialBlend
        The blend.
    folder : Path
        Folder it will be in.

    Returns
    -------
    str
        TOML: the file of the first trial changed, each change explained.
    """
    first = files[0]
    edit = Edit(first.text, first.path.name)
    others = list(dict.fromkeys(f.path.name for f in files[1:] if f.path.name != first.path.name))
    parts = " and ".join(f"{s.parts:g} of {s.trial.name}" for s in made.shares)

    def why(path: Steps, old: Any, new: Any) -> str:
        if old is None:
            return "for the blend"
        return f"for the blend; {_shown(old)} in {first.path.name}" if new is not None else "not in the blend"

    sync(edit, first.trial.plan, made.plan, why, added=f"from {' and '.join(others) or first.path.name}")
    parents = list(dict.fromkeys(relative(file.path, folder) for file in files))
    _named(edit, made.plan.title, ", ".join(parents))
    _retire(edit, first.path.name)
    edit.say_first(f"One run in place of the blend of {parts}, by volume.")
    return _finished(edit, first, made.plan, folder)


def titled(plan: Plan, size: str) -> Plan:
    """Return a plan with its size in the title, in place of an earlier one."""
    stem = plan.title.partition(", for ")[0]
    return replace(plan, title=f"{stem}, for {size}")


def _reason(change: DoseChange, old: Any, new: Any, name: str) -> str:
    note = change.note
    words = f' ("{note.words}")' if note.words else ""
    if change.after is None:
        return f"dropped after {name}{words}"
    return f"{note.verdict} after {name}{words}: {old} {times(change.factor)} = {new}"


def _named(edit: Edit, title: str, parent: str) -> None:
    edit.set_top("title", title)
    edit.set_top("parent", parent, after="title")


def _retire(edit: Edit, name: str) -> None:
    """Turn what came of the trial before into comments: the new one has not been run."""
    for table, what in (("result", f"What came of {name}:"), ("note", f"What was noted in {name}:")):
        if edit.has((table,)):
            edit.comment_out((table,), what)


def _finished(edit: Edit, file: TrialFile, plan: Plan, folder: Path) -> str:
    relocate(edit, file.path.parent, folder)
    return checked(edit.text(), plan, file.path.name, folder)


def _shown(old: Any) -> str:
    if isinstance(old, dict):
        return ", ".join(f"{key} {value}" for key, value in old.items())
    return ", ".join(map(str, old)) if isinstance(old, list) else str(old)


def read_folder(folder: str) -> dict[str, Trial | PotsimError]:
    """Read every trial file of a folder.

    Parameters
    ----------
    folder : str
        The folder.

    Returns
    -------
    dict of str to Trial or PotsimError
        Path to what it says, or why it cannot be read.

    Raises
    ------
    RequestError
        If it is no folder, or holds no ``.toml``.
    """
    path = Path(folder)
    if not path.is_dir():
        hint = "Name the folder that holds the trial files." if path.exists() else "Check its name."
        raise RequestError(f"'{folder}' is not a folder.", hint)
    files = sorted(file for file in path.iterdir() if file.suffix.lower() == ".toml" and file.is_file())
    if not files:
        raise RequestError(f"There is no .toml file in '{folder}'.", "`potsim new FILE` starts one.")
    found: dict[str, Trial | PotsimError] = {}
    for file in files:
        try:
            found[file.name] = read_trial(file).trial
        except PotsimError as error:
            found[file.name] = error
    return found
