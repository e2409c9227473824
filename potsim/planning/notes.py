"""What there is to say beside the numbers, as records: what it is about and its values, no sentence.

Each kind is worded once, in `potsim.interfaces.report.words`; every face chooses by kind and severity.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal, NamedTuple

from potsim import faces

Severity = Literal["danger", "caution", "hint"]

EVERY_RUN = "every_run"  # kind of what is said with every run, whatever it is


class Note(NamedTuple):
    """Something to be said: a danger or a caution to heed, or a hint of what was taken or would help."""

    kind: str  # which sentence it becomes
    severity: Severity
    subject: str  # what it is about: a botanical, a key of the plan, a jar; empty for the run
    values: Mapping[str, Any]  # numbers, names and sources that its sentence needs; plain data

    def __str__(self) -> str:
        return sentences([self])[0]

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, the values beside the rest."""
        return {"kind": self.kind, "severity": self.severity, "subject": self.subject, **self.values}


def danger(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what can burn, blow up, poison or be illegal."""
    return Note(kind, "danger", subject, values)


def caution(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what to take care of."""
    return Note(kind, "caution", subject, values)


def hint(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what was taken for granted, or of what helps."""
    return Note(kind, "hint", subject, values)


def once(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Return notes without repetitions, in their order."""
    found: list[Note] = []
    for note in notes:
        if note not in found:
            found.append(note)
    return tuple(found)


def sentences(notes: Iterable[Note]) -> tuple[str, ...]:
    """Return notes in words."""
    return faces.sentences(notes)


def worded(note: Note) -> str:
    """Return one note in words."""
    return sentences([note])[0]


def plain_notes(notes: Iterable[Note]) -> list[dict[str, Any]]:
    """Return notes as plain data, each with its sentence."""
    listed = tuple(notes)
    return [{**note.to_dict(), "words": said} for note, said in zip(listed, sentences(listed), strict=True)]
