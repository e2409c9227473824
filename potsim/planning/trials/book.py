"""All trials of a recipe in the order in which they were made."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import PurePath
from typing import Any

from potsim.errors import PotsimError
from potsim.planning.run import Run, distil
from potsim.planning.trials.differences import Difference, differences
from potsim.planning.trials.in_bottle import Doses, bottled_abv, bottled_l, doses
from potsim.planning.trials.trial import Trial, check, labels


@dataclass(frozen=True)
class Entry:
    """One file of a book.

    Parameters
    ----------
    name : str
        The file.
    trial : Trial or None
        What it says; ``None`` if it cannot be read.
    run : Run or None
        What it is predicted to do; ``None`` if it cannot be run.
    parent : str or None
        The trial it is compared with, if that is in the book.
    changes : tuple of Difference
        What it does differently from that.
    refusal : str
        Why it cannot be read or run; empty if it can.
    """

    name: str
    trial: Trial | None
    run: Run | None
    parent: str | None
    changes: tuple[Difference, ...]
    refusal: str

    @property
    def date(self) -> str:
        """Day of the run as written; empty if not said."""
        result = self.trial.result if self.trial else None
        return "" if result is None or result.date is None else str(result.date)

    @property
    def doses(self) -> dict[str, Doses]:
        """Botanical to its dose by the litre."""
        if self.run is None:
            return {}
        return dict(zip(labels(self.run.bill), doses(self.run), strict=True))

    @property
    def verdicts(self) -> tuple[tuple[str, str], ...]:
        """Botanical and verdict, in the order of the notes."""
        notes = self.trial.notes if self.trial else ()
        return tuple((note.botanical, note.verdict) for note in notes if note.verdict)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        trial, run = self.trial, self.run
        result = trial.result if trial else None
        return {
            "file": self.name,
            "title": trial.plan.title if trial else None,
            "parent": self.parent,
            "date": self.date or None,
            "charge_l": run.charge.volume_l if run else None,
            "charge_abv": run.charge.abv if run else None,
            "keep_l": run.keep.volume_l if run else None,
            "keep_abv": run.keep.abv if run else None,
            "bottled_l": bottled_l(run) if run else None,
            "bottled_abv": bottled_abv(run) if run else None,
            "collected_l": result.collected_l if result else None,
            "strength_abv": result.abv if result else None,
            "words": result.words if result else None,
            "changes": [{"key": d.key, "unit": d.unit, "a": d.a, "b": d.b} for d in self.changes],
            "notes": [asdict(note) for note in trial.notes] if trial else [],
            "doses": {name: asdict(dose) for name, dose in self.doses.items()},
            "refusal": self.refusal,
        }


def book(found: Mapping[str, Trial | PotsimError]) -> tuple[Entry, ...]:
    """Put trials in order, each beside the one it grew from.

    Parameters
    ----------
    found : mapping of str to Trial or PotsimError
        File to what it says, or why it cannot be read.

    Returns
    -------
    tuple of Entry
        By date, those without one after their parent or else last, then by name; what cannot be read comes
        at the end. A trial that names no parent is compared with none.
    """
    trials = {name: trial for name, trial in found.items() if isinstance(trial, Trial)}
    entries = [_entry(trial, trials) for trial in trials.values()]
    refused = [
        Entry(name, None, None, None, (), str(error))
        for name, error in found.items()
        if isinstance(error, PotsimError)
    ]
    known = {entry.name: entry for entry in entries}
    entries.sort(key=lambda entry: (_day(entry, known), _depth(entry, known), _counted(entry.name)))
    return (*entries, *sorted(refused, key=lambda entry: _counted(entry.name)))


def _entry(trial: Trial, trials: Mapping[str, Trial]) -> Entry:
    parent = _parent(trial, trials)
    changes = differences(parent.plan, trial.plan) if parent else ()
    try:
        check(trial)
        run = distil(trial.plan)
    except PotsimError as error:
        return Entry(trial.name, trial, None, parent.name if parent else None, changes, str(error))
    return Entry(trial.name, trial, run, parent.name if parent else None, changes, "")


def _parent(trial: Trial, trials: Mapping[str, Trial]) -> Trial | None:
    """The trial it grew from; of several that were blended, the first."""
    for named in (trial.parent, trial.parent.partition(", ")[0]) if trial.parent else ():
        name = PurePath(named).name
        if name != trial.name and name in trials:
            return trials[name]
    return None


def _line_of(entry: Entry, known: Mapping[str, Entry]) -> list[Entry]:
    """The entry, its parent, the parent's parent and so on."""
    line, seen = [entry], {entry.name}
    while line[-1].parent in known and line[-1].parent not in seen:
        line.append(known[str(line[-1].parent)])
        seen.add(line[-1].name)
    return line


def _day(entry: Entry, known: Mapping[str, Entry]) -> str:
    dated = [one.date for one in _line_of(entry, known) if _is_day(one.date)]
    return max(dated[:1], default="9999")


def _is_day(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text[:10])
    except ValueError:
        return False
    return True


def _depth(entry: Entry, known: Mapping[str, Entry]) -> int:
    return len(_line_of(entry, known))


def _counted(name: str) -> list[tuple[int, str]]:
    """A name so that trial-10 comes after trial-2."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"([0-9]{1,9})", name)]
