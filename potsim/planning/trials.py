"""A trial: the plan of a run, and what happened when it was run and tasted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from potsim.errors import RequestError, UnknownNameError, Where
from potsim.planning.botanicals import ResolvedDose, labels, lines_called
from potsim.planning.charge import blend, resolve
from potsim.planning.plan import Plan, Result, Tasting
from potsim.planning.run import Run, distil, resolve_bill
from potsim.records import dataclass

WEIGHING_G = 0.01  # the step of a scale for small masses; common practice, no source
CLOSE = 0.02  # a step of the scale may be so large a share of a dose; common practice, no source
WRITTEN = 1e-4  # relative; amounts that are scaled are written so closely, and can be scaled back
MOST_DIGITS = 6


def on_scale(amount: float, step: float = WEIGHING_G) -> float:
    """Round an amount to the step of a scale, or finer where that step is coarse beside it."""
    if amount == 0.0:
        return 0.0
    finest = math.floor(math.log10(abs(amount) * CLOSE))
    return round(amount, -min(round(math.log10(step)), finest))


def short(amount: float) -> float:
    """Round an amount to the fewest digits that keep it to one part in ten thousand."""
    for digits in range(1, MOST_DIGITS):
        rounded = float(f"{amount:.{digits}g}")
        if abs(rounded - amount) <= WRITTEN * abs(amount):
            return rounded
    return float(f"{amount:.{MOST_DIGITS}g}")


# --- A trial: the plan of a run, and what happened when it was run and tasted.


RIGHT, DROP = "right", "drop"


@dataclass(frozen=True)
class Trial:
    """One run of a recipe under test."""

    name: str  # name of its file, or what else it is called
    plan: Plan  # the recipe
    parent: str | None = None  # the trial it grew from
    result: Result | None = None  # what came of it; ``None`` if it has not been run
    notes: tuple[Tasting, ...] = ()  # what was tasted


def notes_by_line(trial: Trial, bill: tuple[ResolvedDose, ...] | None = None) -> Mapping[int, Tasting]:
    """Return the note with a verdict for each line of the bill that has one."""
    bill = resolve_bill(trial.plan) if bill is None else bill
    found: dict[int, Tasting] = {}
    for note in trial.notes:
        for line in lines_of(note, bill, trial.name):
            before = found.get(line)
            if before is not None and note.verdict not in (None, before.verdict):
                values: dict[str, Any] = {"before": before.verdict, "of": labels(bill)[line]}
                raise RequestError.of("verdicts_differ", given=note.verdict, **values).at(Where(trial.name))
            if note.verdict is not None and before is None:
                found[line] = note
    return found


def lines_of(note: Tasting, bill: tuple[ResolvedDose, ...], name: str) -> list[int]:
    """Return the lines of a bill that a note is about; refused if there is none."""
    meant = lines_called(bill, note.botanical)
    if not meant:
        raise UnknownNameError("bill", note.botanical, labels(bill), path="note.botanical").at(Where(name))
    return meant


class Against(NamedTuple):
    """What came of a run, held against its forecast; strengths in % vol, all at 20 °C."""

    collected_l: float  # as measured [L]
    foretold_l: float  # to the stop [L]
    abv: float | None  # all collected, as measured
    foretold_abv: float | None  # of as much; ``None`` where the forecast ends before
    alcohol_l: float | None  # pure alcohol collected [L]
    charged_l: float  # pure alcohol in the charge [L]
    doubt_abv: float  # by which a measured strength may be off, beside that of the charge

    @property
    def off_abv(self) -> float | None:
        """How much stronger it came than foretold; ``None`` where that cannot be said."""
        return None if self.abv is None or self.foretold_abv is None else self.abv - self.foretold_abv


def against(run: Run, result: Result | None) -> Against | None:
    """Hold what came of a run against its forecast; ``None`` where it is not said how much came over."""
    if result is None or result.collected_l is None:
        return None
    foretold_l, foretold_abv = run.stop.collected_l, None
    if result.collected_l <= foretold_l:
        foretold_abv = float(run.at(collected_l=result.collected_l).mean_abv)
    return Against(
        collected_l=result.collected_l,
        foretold_l=foretold_l,
        abv=result.abv,
        foretold_abv=foretold_abv,
        alcohol_l=None if result.abv is None else result.collected_l * result.abv / 100.0,
        charged_l=run.charge.ethanol_l,
        doubt_abv=2.0 * run.plan.uncertainty.abv,
    )


class AlcoholBook(NamedTuple):
    """Where the pure alcohol of a run went, as measured; all at 20 °C."""

    charged_l: float  # in the charge [L]
    collected_l: float  # collected [L]
    pot_l: float  # left in the pot [L]
    lost_l: float  # neither [L]; below nothing where more is found than went in
    lost_share: float  # of what left the pot, as `still.lost` counts it; nought where nothing did


def alcohol_book(charged_l: float, result: Result | None) -> AlcoholBook | None:
    """Close the book of alcohol after a run; ``None`` where what came over or what was left is not said."""
    if result is None or None in (result.collected_l, result.abv, result.pot_left_l, result.pot_left_abv):
        return None
    collected, pot = (
        float(volume) * float(abv) / 100.0
        for volume, abv in ((result.collected_l, result.abv), (result.pot_left_l, result.pot_left_abv))
        if volume is not None and abv is not None
    )
    left_pot = charged_l - pot
    lost = left_pot - collected
    return AlcoholBook(charged_l, collected, pot, lost, lost / left_pot if left_pot > 0.0 else 0.0)


def check(trial: Trial) -> None:
    """Refuse a trial that contradicts itself."""
    bill = resolve_bill(trial.plan)
    notes_by_line(trial, bill)
    result = trial.result
    if result is None or (result.collected_l is None and result.pot_left_l is None):
        return
    spirit = blend(resolve(trial.plan.charge, distil))
    charge_l = spirit.volume_l + sum(line.water_brought_l for line in bill)
    for name, there_l in (("pot_left", result.pot_left_l), ("collected", result.collected_l)):
        if there_l is not None and there_l > charge_l:
            path = f"result.{name}"
            values: dict[str, Any] = {"given": there_l, "allowed": charge_l, "quantity": "volume"}
            raise RequestError.of("more_than_charged", path, **values).at(Where(trial.name))
    held = (result.collected_l or 0.0) * (result.abv or 0.0) / 100.0
    if held > spirit.ethanol_l:
        values = {"collected_l": result.collected_l, "held_l": held}
        raise RequestError.of(
            "more_alcohol", "result.strength", given=result.abv, allowed=spirit.ethanol_l, **values
        ).at(Where(trial.name))
