"""What a distiller reads of the next trial, and of two trials side by side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.trial_words import (
    amount,
    factors_in_words,
    name_of,
    oil,
    per_litre,
    ratio,
    times,
    value_of,
    when,
)
from potsim.interfaces.wording import format_abv, format_mass
from potsim.planning.run import Run
from potsim.planning.trials.comparing import NOTICEABLE, Comparison, Pair
from potsim.planning.trials.differences import Difference
from potsim.planning.trials.in_bottle import Doses, InBottle, bottled_abv
from potsim.planning.trials.next_trial import NextTrial

ROUGH = (
    "Oil is what the bottled spirit is predicted to hold, good to a factor of two at best; how it changes is "
    "far better known. From and to: collected when 5 % and 95 % of it is over."
)


def sections_of_next(made: NextTrial) -> tuple[Section, ...]:
    """Return what the next trial changes, and what that is predicted to do.

    Parameters
    ----------
    made : NextTrial
        The next trial.

    Returns
    -------
    tuple of Section
        Changes, predictions, cloud and advice.
    """
    head = f"From {made.trial.name} to '{made.plan.title}'"
    if made.changes:
        changes: tuple[Part, ...] = (_changes(made),)
    else:
        changes = ("Everything is right: the recipe stays as it is.",)
    stated = f"What a verdict does: {factors_in_words(made.factors)}. --factors changes that."
    sections = [
        Section(head, (*changes, stated)),
        Section("What that is predicted to do", (_oils(made.pairs), ROUGH, _clouds(made.before, made.after))),
    ]
    if made.advice:
        sections.append(Section("Before you weigh", (Points(made.advice),)))
    return tuple(sections)


def _changes(made: NextTrial) -> Table:
    columns = (
        Column("botanical", align="left"),
        Column("verdict", align="left"),
        Column("times"),
        Column("so far"),
        Column("next"),
    )
    rows = tuple(
        (
            change.label,
            change.note.verdict or "",
            times(change.factor) if change.after else "",
            amount(change.before),
            amount(change.after) if change.after else "none",
        )
        for change in made.changes
    )
    return Table(columns, rows)


def _oils(pairs: Sequence[Pair]) -> Table:
    unit, places = when([pair.b or pair.a for pair in pairs])
    columns = (
        Column("botanical", align="left"),
        Column("oil so far", "mg/L bottled"),
        Column("next", "mg/L bottled"),
        Column(""),
        Column("comes", align="left"),
        Column("from", unit),
        Column("to", unit),
    )
    rows = tuple(
        (pair.label, _oil(pair.a), _oil(pair.b), ratio(pair.change), *place)
        for pair, place in zip(pairs, places, strict=True)
    )
    return Table(columns, rows)


def _oil(line: InBottle | None) -> str:
    return "-" if line is None else oil(line.oil_mg_per_l)


def _clouds(before: Run, after: Run) -> Facts:
    return Facts((("cloud so far", _cloud(before)), ("next", _cloud(after))))


def _cloud(run: Run) -> str:
    if run.cloud is None:
        return "no oil"
    limit = run.cloud.limit
    said = (
        f"{run.cloud.verdict} at {format_abv(bottled_abv(run))}" if run.cloud.verdict else "keep not let down"
    )
    if limit.state != "clouds below":
        return f"{said}, as at any strength"
    return f"{said}; it clouds below about {limit.abv:.0f} % vol"


def sections_of_comparison(made: Comparison) -> tuple[Section, ...]:
    """Return two trials side by side.

    Parameters
    ----------
    made : Comparison
        The comparison.

    Returns
    -------
    tuple of Section
        Only what differs.
    """
    heads = Facts(
        (("A", f"{made.a.name}: {made.a.plan.title}"), ("B", f"{made.b.name}: {made.b.plan.title}"))
    )
    if made.empty:
        return (Section("Side by side", (heads, "Nothing differs.")),)
    sections = [Section("Side by side", (heads,))]
    decided = [d for d in made.decided if not _told_as_dose(d)]
    if made.botanicals:
        sections.append(Section("Doses", _doses(made)))
        told = (_both(made.botanicals), _rest(made), ROUGH)
        sections.append(Section("Predicted oil in a litre bottled, by botanical", told))
    for title, found in (
        ("What else was decided", decided),
        ("What the run is predicted to do", list(made.predicted)),
        ("What was measured and noted", list(made.measured)),
    ):
        if found:
            sections.append(Section(title, (_differences(found),)))
    return tuple(sections)


def _told_as_dose(difference: Difference) -> bool:
    return difference.table == "botanical" and difference.field in ("mass_g", "pieces")


def _differences(found: Iterable[Difference]) -> Table:
    columns = (Column("", align="left"), Column("A", align="left"), Column("B", align="left"))
    return Table(columns, tuple((name_of(d), value_of(d, d.a), value_of(d, d.b)) for d in found))


def _doses(made: Comparison) -> tuple[Part, ...]:
    columns = (
        Column("botanical", align="left"),
        Column("A"),
        Column("B"),
        *(Column(side, f"g/L {of}") for of in ("charge", "bottled") for side in ("A", "B")),
    )
    rows = []
    for pair in made.botanicals:
        one, other = (None if side is None else side.doses for side in (pair.a, pair.b))
        each = [_per(d, name) for name in ("g_per_l_charge", "g_per_l_bottled") for d in (one, other)]
        masses = ["-" if d is None else format_mass(d.mass_g) for d in (one, other)]
        rows.append((pair.label, *masses, *each))
    return (Table(columns, tuple(rows)),)


def _per(doses: Doses | None, name: str) -> str:
    return "-" if doses is None else per_litre(getattr(doses, name))


def _both(pairs: Sequence[Pair]) -> Table:
    unit, places = when([side for pair in pairs for side in (pair.a, pair.b)])
    columns = (
        Column("botanical", align="left"),
        Column("A", "mg/L"),
        Column("B", "mg/L"),
        Column("B to A"),
        Column("A comes", align="left"),
        Column("from", unit),
        Column("to", unit),
        Column("B", align="left"),
        Column("from", unit),
        Column("to", unit),
    )
    rows = tuple(
        (pair.label, _oil(pair.a), _oil(pair.b), ratio(pair.change), *a, *b)
        for pair, a, b in zip(pairs, places[::2], places[1::2], strict=True)
    )
    return Table(columns, rows)


def _rest(made: Comparison) -> str:
    rest = (
        f"{made.unchanged} more botanical{'s' if made.unchanged != 1 else ''} within {100 * NOTICEABLE:g} %."
    )
    return rest if made.unchanged else "All botanicals differ."
