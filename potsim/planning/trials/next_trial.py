"""From what was tasted to the next trial: how strong a change each verdict makes, and what it will do."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

from potsim.errors import RangeError, RequestError, require
from potsim.planning.botanicals.bill import BotanicalDose, dose_warnings
from potsim.planning.botanicals.names import key
from potsim.planning.plan import Plan
from potsim.planning.run import Run, distil
from potsim.planning.trials.comparing import Pair, pairs
from potsim.planning.trials.in_bottle import InBottle, in_bottle
from potsim.planning.trials.rounding import on_scale
from potsim.planning.trials.trial import DROP, RIGHT, VERDICTS, Note, Trial, check, labels, notes_by_line
from potsim.planning.volume_words import measured

MOST_FACTOR = 10.0
MOSTLY_LOST = 0.5  # share of what comes over; if less is kept, the cuts decide and not the dose
UP = ("a lot more", "more", "a touch more")
_FALLING = (("a_lot_more", "more"), ("more", "a_touch_more"), ("a_touch_less", "less"))


@dataclass(frozen=True)
class Factors:
    """By how much each verdict changes a dose; a convention of this program, no source.

    Parameters
    ----------
    a_lot_more, more, a_touch_more : float
        Times as much, above 1 and at most 10, in falling order.
    a_touch_less, less : float
        Times as much, below 1 and at least 0.1, in falling order.

    Raises
    ------
    RangeError
        If one lies outside its range.
    RequestError
        If a weaker word changes more than a stronger one.
    """

    a_lot_more: float = 2.0
    more: float = 1.5
    a_touch_more: float = 1.2
    a_touch_less: float = 1 / 1.2
    less: float = 1 / 1.5

    def __post_init__(self) -> None:
        for name in ("a_lot_more", "more", "a_touch_more"):
            require(_words(name), getattr(self, name), 1.0, MOST_FACTOR, "times", open_low=True)
        for name in ("a_touch_less", "less"):
            value = getattr(self, name)
            if not 1 / MOST_FACTOR <= value < 1.0:
                allowed = f"at least {1 / MOST_FACTOR:g} and less than 1 times"
                raise RangeError(_words(name), f"{value:g} times", allowed, "Such as /1.5.")
        for strong, weak in _FALLING:
            high, low = getattr(self, strong), getattr(self, weak)
            if high < low:
                raise RequestError(
                    f"'{_words(strong)}' is x{high:.4g}, below the x{low:.4g} of '{_words(weak)}'.",
                    "Let the factors fall from 'a lot more' to 'less'.",
                )

    def of(self, verdict: str) -> float:
        """Return by how much a verdict changes a dose; 1 for right, 0 for drop."""
        if verdict in (RIGHT, DROP):
            return 1.0 if verdict == RIGHT else 0.0
        return float(getattr(self, verdict.replace(" ", "_")))


@dataclass(frozen=True)
class DoseChange:
    """What a verdict does to one line of the bill.

    Parameters
    ----------
    line : int
        Its place in the bill before, from 0.
    label : str
        What it is called.
    note : Note
        What was tasted.
    factor : float
        Times as much; 0 if it is dropped.
    before : BotanicalDose
        The dose so far.
    after : BotanicalDose or None
        The next one, rounded to what a scale shows; ``None`` if it is dropped.
    """

    line: int
    label: str
    note: Note
    factor: float
    before: BotanicalDose
    after: BotanicalDose | None


@dataclass(frozen=True)
class NextTrial:
    """The trial that follows from what was tasted.

    Parameters
    ----------
    trial : Trial
        The trial before.
    factors : Factors
        How strong a change each verdict made.
    plan : Plan
        The next plan.
    before, after : Run
        What both are predicted to do.
    changes : tuple of DoseChange
        What the verdicts change, in the order of the bill; what is right is not among them.
    advice : tuple of str
        Where a dose will not do what is hoped for, a sentence each.
    """

    trial: Trial
    factors: Factors
    plan: Plan
    before: Run
    after: Run
    changes: tuple[DoseChange, ...]
    advice: tuple[str, ...] = field(default=())

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Each line of the bill before and after."""
        return pairs(self.before, self.after)


def next_trial(trial: Trial, factors: Factors | None = None) -> NextTrial:
    """Apply the verdicts of a trial; everything else stays.

    Parameters
    ----------
    trial : Trial
        The trial, with its notes.
    factors : Factors, optional
        How strong a change each verdict makes.

    Returns
    -------
    NextTrial
        Plan, changes, both runs, and where a change of dose will not help.

    Raises
    ------
    RequestError
        If the trial contradicts itself (see `potsim.planning.trials.trial.check`), has no verdict, or drops
        what its stop waits for.

    Examples
    --------
    >>> import potsim
    >>> tasted = Trial("trial 1", potsim.example_plan(), notes=(Note("juniper", "a touch more"),))
    >>> made = next_trial(tasted)
    >>> made.plan.botanicals[0].mass_g, made.plan.title
    (16.8, 'Bench spirit, trial 2')
    """
    factors = factors or Factors()
    check(trial)
    if not any(note.verdict for note in trial.notes):
        raise RequestError(
            f"{trial.name} has no note with a verdict: there is nothing to go by.",
            f'Add [[note]] with botanical = "..." and verdict = one of: {", ".join(VERDICTS)}.',
        )
    before = distil(trial.plan)
    changes = _changes(trial, before, factors)
    dropped = {change.line for change in changes if change.after is None}
    _refuse_awaited(trial, changes)
    doses = list(trial.plan.botanicals)
    for change in changes:
        if change.after is not None:
            doses[change.line] = change.after
    bill = tuple(dose for k, dose in enumerate(doses) if k not in dropped)
    plan = replace(trial.plan, botanicals=bill, title=next_title(trial.plan.title))
    after = distil(plan)
    return NextTrial(trial, factors, plan, before, after, changes, _advice(before, after, changes))


def next_title(title: str) -> str:
    """Return the title of the next trial: the last number in it one higher.

    Parameters
    ----------
    title : str
        The title before.

    Returns
    -------
    str
        With ``, trial 2`` added where there is no number.

    Examples
    --------
    >>> next_title("Bench spirit, trial 9"), next_title("Bench spirit")
    ('Bench spirit, trial 10', 'Bench spirit, trial 2')
    """
    found = list(re.finditer(r"[0-9]{1,9}", title))
    if not found:
        return f"{title}, trial 2"
    last = found[-1]
    return f"{title[: last.start()]}{int(last[0]) + 1}{title[last.end() :]}"


def _changes(trial: Trial, run: Run, factors: Factors) -> tuple[DoseChange, ...]:
    found = []
    names = labels(run.bill)
    for line, note in sorted(notes_by_line(trial, run.bill).items()):
        verdict = note.verdict or RIGHT
        if verdict == RIGHT:
            continue
        factor, dose = factors.of(verdict), trial.plan.botanicals[line]
        after = None if verdict == DROP else _times(dose, factor)
        found.append(DoseChange(line, names[line], note, factor, dose, after))
    return tuple(found)


def _times(dose: BotanicalDose, factor: float) -> BotanicalDose:
    amounts: dict[str, Any] = {
        name: on_scale(getattr(dose, name) * factor)
        for name in ("mass_g", "pieces")
        if getattr(dose, name) is not None
    }
    return replace(dose, **amounts)


def _refuse_awaited(trial: Trial, changes: tuple[DoseChange, ...]) -> None:
    """Refuse to drop a botanical that the run waits for."""
    dropped = {key(change.before.name): change.label for change in changes if change.after is None}
    cuts = trial.plan.cuts
    for name, stop in (("stop", cuts.stop), ("tails_from", cuts.tails_from)):
        for awaited in stop.over if stop else ():
            if key(awaited) in dropped:
                label = dropped[key(awaited)]
                raise RequestError(
                    f"{trial.name}: {label} is to be dropped, but [cuts] {name} waits for it.",
                    f"Change {name} in {trial.name} first, for example to a stream_abv.",
                )


def _advice(before: Run, after: Run, changes: tuple[DoseChange, ...]) -> tuple[str, ...]:
    lines = in_bottle(before)
    wanted = [lines[c.line] for c in changes if c.note.verdict in UP]
    said = [sentence for line in wanted for sentence in (stays(line), lost_by_cut(line)) if sentence]
    known = {_subject(w) for dose in before.bill for w in dose_warnings(dose, before.charge.volume_l)}
    new = [w for dose in after.bill for w in dose_warnings(dose, after.charge.volume_l)]
    return (*said, *(warning for warning in new if _subject(warning) not in known))


def _subject(warning: str) -> str:
    return warning.partition(":")[0]


def stays(line: InBottle) -> str:
    """Say so if more of a botanical will not help, since its oil stays behind.

    Parameters
    ----------
    line : InBottle
        What it comes to.

    Returns
    -------
    str
        A sentence or two; empty if its oil does come over.
    """
    if line.klass != "stays":
        return ""
    share = f"{100 * line.left_in_pot:.0f} %"
    left = f"{line.label}: more of it will not help much, {share} of its oil stays in the pot"
    if line.left_in_plant > 0.5 * line.left_in_pot:
        cure = "Crack, slice or grind it finer, or macerate it longer."
        return f"{left}, most of that in the plant itself. {cure}"
    return f"{left}, in the liquid. It hardly distils: try it macerated in the spirit after the run."


def lost_by_cut(line: InBottle) -> str:
    """Say so if a cut, and not the dose, loses a botanical.

    Parameters
    ----------
    line : InBottle
        What it comes to.

    Returns
    -------
    str
        A sentence; empty if most of what comes over of it is kept.
    """
    lost = {
        "before the keep": (line.before, "take less heads"),
        "in jars that are left out": (line.between, "pool those jars too"),
        "after the keep": (line.after, "let the keep last longer"),
    }
    if line.klass == "stays" or line.kept >= MOSTLY_LOST:
        return ""
    where, (share, cure) = max(lost.items(), key=lambda place: place[1][0])
    ends = ""
    if where == "after the keep" and line.timing is not None:
        ends = f" (95 % of it is over at {measured(line.timing.end_l)})"
    return (
        f"{line.label}: a cut, not the dose, loses it: {100 * share:.0f} % of what comes over of it comes "
        f"{where}; {cure}{ends} rather than add more."
    )


def _words(name: str) -> str:
    return name.replace("_", " ")
