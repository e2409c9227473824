"""A trial: the plan of a run, and what happened when it was run and tasted."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from potsim.errors import RequestError, UnknownNameError, require
from potsim.planning import leftovers
from potsim.planning.botanicals.bill import ResolvedDose
from potsim.planning.botanicals.names import key
from potsim.planning.charge import blend
from potsim.planning.plan import Plan
from potsim.planning.run import distil, resolve_bill

VERDICTS = ("a lot more", "more", "a touch more", "right", "a touch less", "less", "drop")
RIGHT, DROP = "right", "drop"


@dataclass(frozen=True)
class Note:
    """What a taster says of one botanical.

    Parameters
    ----------
    botanical : str
        Any of its names; ``"juniper (basket)"`` where the bill has it in pot and basket.
    verdict : str or None
        One of `VERDICTS`; ``None`` if it is only talked about.
    words : str
        What it was like.
    tasted_at : str or None
        Strength or place at which it was tasted, as written.
    """

    botanical: str
    verdict: str | None = None
    words: str = ""
    tasted_at: str | None = None

    def __post_init__(self) -> None:
        if self.verdict is not None and self.verdict not in VERDICTS:
            raise UnknownNameError("verdict", self.verdict, VERDICTS)


@dataclass(frozen=True)
class Result:
    """What came of a run.

    Parameters
    ----------
    date : date or str or None
        Day of the run.
    collected_l : float or None
        All that came over, pooled, heads included [L at 20 °C].
    abv : float or None
        Its strength [% vol at 20 °C].
    jars_kept : tuple of int
        Numbers of the jars pooled; empty if not said.
    bottled, words : str
        What was bottled and what it was like, as written.
    """

    date: datetime.date | str | None = None
    collected_l: float | None = None
    abv: float | None = None
    jars_kept: tuple[int, ...] = ()
    bottled: str = ""
    words: str = ""

    def __post_init__(self) -> None:
        require("result.collected", self.collected_l, 0, 1e5, "L", open_low=True)
        require("result.strength", self.abv, 0, 100, "% vol")


@dataclass(frozen=True)
class Trial:
    """One run of a recipe under test.

    Parameters
    ----------
    name : str
        Name of its file, or what else it is called.
    plan : Plan
        The recipe.
    parent : str or None
        The trial it grew from.
    result : Result or None
        What came of it; ``None`` if it has not been run.
    notes : tuple of Note
        What was tasted.
    """

    name: str
    plan: Plan
    parent: str | None = None
    result: Result | None = None
    notes: tuple[Note, ...] = ()


def labels(bill: Iterable[ResolvedDose]) -> tuple[str, ...]:
    """Return what to call each line of a bill.

    Parameters
    ----------
    bill : iterable of ResolvedDose
        The bill.

    Returns
    -------
    tuple of str
        Common names, with the place where one lies in pot and basket.
    """
    lines = tuple(bill)
    names = [line.botanical.common_name for line in lines]
    return tuple(
        name if names.count(name) == 1 else f"{name} ({line.dose.where})"
        for name, line in zip(names, lines, strict=True)
    )


def notes_by_line(trial: Trial, bill: tuple[ResolvedDose, ...] | None = None) -> Mapping[int, Note]:
    """Return the note with a verdict for each line of the bill that has one.

    Parameters
    ----------
    trial : Trial
        The trial.
    bill : tuple of ResolvedDose, optional
        Its bill, if it is at hand.

    Returns
    -------
    mapping of int to Note
        Place in the bill, from 0. Several notes of one verdict count once.

    Raises
    ------
    UnknownNameError
        If a note is about a botanical that is not in the bill.
    RequestError
        If two notes about one botanical contradict each other.
    """
    bill = resolve_bill(trial.plan) if bill is None else bill
    found: dict[int, Note] = {}
    for note in trial.notes:
        for line in _lines_of(note, bill, trial.name):
            before = found.get(line)
            if before is not None and note.verdict not in (None, before.verdict):
                raise RequestError(
                    f"{trial.name}: the notes about {labels(bill)[line]} contradict each other: "
                    f"'{before.verdict}' and '{note.verdict}'.",
                    "Agree on one verdict; the other may stay as words.",
                )
            if note.verdict is not None and before is None:
                found[line] = note
    return found


def _lines_of(note: Note, bill: tuple[ResolvedDose, ...], name: str) -> list[int]:
    wanted = key(note.botanical)
    meant = [
        k
        for k, (line, label) in enumerate(zip(bill, labels(bill), strict=True))
        if wanted in {key(known) for known in (label, line.dose.name, *line.botanical.names)}
    ]
    if not meant:
        error = UnknownNameError("botanical of this bill", note.botanical, labels(bill))
        error.message = f"{name}: a note is about '{note.botanical}', which is not in the bill."
        error.args = (error.message,)
        if not bill:
            error.hint = "The trial has no [[botanical]]."
        raise error
    return meant


def check(trial: Trial) -> None:
    """Refuse a trial that contradicts itself.

    Parameters
    ----------
    trial : Trial
        The trial.

    Raises
    ------
    RequestError
        If a note is about something that is not in the bill, notes contradict each other, or the result
        holds more alcohol, or is more, than what was charged.
    """
    bill = resolve_bill(trial.plan)
    notes_by_line(trial, bill)
    result = trial.result
    if result is None or result.collected_l is None:
        return
    spirit = blend(leftovers.resolve(trial.plan.charge, distil))
    charge_l = spirit.volume_l + sum(line.water_brought_l for line in bill)
    held = result.collected_l * (result.abv or 0.0) / 100.0
    if held > spirit.ethanol_l:
        raise RequestError(
            f"{trial.name}: the result holds more alcohol than the charge: {result.collected_l:.4g} L at "
            f"{result.abv:g} % vol are {held:.3g} L of pure alcohol, the charge held "
            f"{spirit.ethanol_l:.3g} L.",
            "Check collected and strength (read at 20 °C?), and the [[charge]].",
        )
    if result.collected_l > charge_l:
        raise RequestError(
            f"{trial.name}: the result is more than the charge: {result.collected_l:.4g} L came over of "
            f"{charge_l:.4g} L.",
            "Check collected, and the [[charge]].",
        )
