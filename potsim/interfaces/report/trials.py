"""What a distiller reads of the next trial, and of two trials side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from potsim.interfaces.output import csv_of
from potsim.interfaces.report import Column, Facts, Part, Points, Section, Table, Told, render, tabulate
from potsim.interfaces.report.flavours import bottle_words, span_words, taught_words
from potsim.interfaces.trialfile import (
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
from potsim.interfaces.wording import (
    counted,
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_power,
    format_share,
    format_volume,
    metric,
    number,
    say,
)
from potsim.planning import jars
from potsim.planning.botanicals import labels
from potsim.planning.next_trial import DoseChange, Entry, NextTrial, Scaled
from potsim.planning.notes import sentences
from potsim.planning.plan import Ingredient
from potsim.planning.run import Run
from potsim.planning.trials import (
    NOTICEABLE,
    Against,
    AlcoholBook,
    Comparison,
    Difference,
    InBottle,
    Pair,
    bottled_l,
    doses,
)

LEARNT = (
    "Jars in which it should stand clear: foretold, and with the factor on its oil, a third to three times, "
    "that fits best. The next plan carries it as oil_factor; delete that line to forget it."
)
ROUGH = (
    "Oil: what the bottled spirit is predicted to hold, good to a factor of two at best; its change is far "
    "better known. From and to: collected when 5 % and 95 % of it is over."
)


def sections_of_next(made: NextTrial) -> tuple[Section, ...]:
    """Return what the next trial changes, and what that is predicted to do."""
    head = f"From {made.trial.name} to '{made.plan.title}'"
    if made.changes:
        changes: tuple[Part, ...] = (_changes(made),)
    else:
        changes = ("Everything is right: the recipe stays as it is.",)
    stated = f"What a verdict does: {factors_in_words(made.factors)}. --factors changes that."
    sections = [
        Section(head, (*changes, stated)),
        *_came(made),
        *_learnt(made),
        *_hazed(made),
        Section("What that is predicted to do", (_oils(made.pairs), ROUGH, _clouds(made.before, made.after))),
    ]
    if made.advice:
        sections.append(Section("Before you weigh", (Points(made.advice),)))
    return tuple(sections)


def _learnt(made: NextTrial) -> tuple[Section, ...]:
    """What the jars in which a botanical was noticed teach about its oil."""
    if not made.learnt:
        return ()
    table = tabulate(
        made.learnt,
        Told("botanical", lambda one: one.label),
        Told("noticed in jars", lambda one: format_numbers(one.tasted)),
        Told("foretold", lambda one: format_numbers(one.foretold) or "none"),
        Told("learnt", lambda one: format_numbers(one.fits) or "none"),
        Told("oil_factor", lambda one: number("factor", one.before), "right"),
        Told("next", lambda one: number("factor", one.after), "right"),
    )
    return (Section("What the tasting teaches", (table, LEARNT)),)


def _changes(made: NextTrial) -> Table:
    dropped = {change.line for change in made.changes if change.after is None}
    stay = [line for line in range(len(made.before.bill)) if line not in dropped]

    def after(change: DoseChange) -> str:
        return amount(made.after.bill[stay.index(change.line)]) if change.after else "none"

    return tabulate(
        made.changes,
        Told("botanical", lambda change: change.label),
        Told("verdict", lambda change: change.note.verdict or ""),
        Told("times", lambda change: times(change.factor) if change.after else "", "right"),
        Told("so far", lambda change: amount(made.before.bill[change.line]), "right"),
        Told("next", after, "right"),
    )


def _came(made: NextTrial) -> tuple[Section, ...]:
    """What came of the run, against the forecast, and what that teaches."""
    found = made.against
    if found is None:
        return ()
    measured = "" if found.abv is None else f" at {format_abv(found.abv)}"
    stop = made.before.stop
    pairs = [
        ("measured", f"{format_volume(found.collected_l)}{measured}"),
        ("foretold", f"{format_volume(stop.collected_l)} at {format_abv(stop.mean_abv)}"),
    ]
    if found.foretold_abv is not None:
        of_all = f"all of it would be {format_abv(found.foretold_abv)}"
        pairs.append(("", f"at {format_volume(found.collected_l)} {of_all}"))
    if found.alcohol_l is not None and found.charged_l > 0.0:
        share = format_share(found.alcohol_l / found.charged_l)
        pairs.append(("alcohol", f"{format_volume(found.alcohol_l)} measured, {share} of what was charged"))
    pairs.append(("teaches", _taught(found)))
    return (Section("What came of it, against the forecast", (Facts(tuple(pairs)),)),)


def _taught(found: Against) -> str:
    off = found.off_abv
    if found.alcohol_l is not None and found.alcohol_l > found.charged_l:
        return "more alcohol came over than went in: a volume or a strength is off; measure both again"
    if off is None:
        if found.abv is None:
            return "how much came says little by itself: measure the strength of all of it too"
        return "more came over than the forecast has to its stop: the run went on beyond it"
    if abs(off) <= found.doubt_abv:
        return "the forecast holds, as well as hydrometer and typed strengths are good for"
    size = say("abv_difference", abs(off))
    way, sheds = ("stronger", "more") if off > 0.0 else ("weaker", "less")
    return (
        f"it came {size} {way}: the neck sheds {sheds} than was taken, or the charge was {way} than typed; "
        "readings during a run tell which (`potsim follow`)"
    )


def _oils(pairs: Sequence[Pair]) -> Table:
    unit, places = when([pair.b or pair.a for pair in pairs])
    return tabulate(
        zip(pairs, places, strict=True),
        Told("botanical", lambda row: row[0].label),
        Told("oil so far", lambda row: _oil(row[0].a), "right", "mg/L bottled"),
        Told("next", lambda row: _oil(row[0].b), "right", "mg/L bottled"),
        Told("", lambda row: ratio(row[0].change), "right"),
        *_comes("comes", 1, unit),
    )


def _comes(head: str, at: int, unit: str) -> tuple[Told, ...]:
    """Class, start and end of what stands at a place of each row."""
    return (
        Told(head, lambda row: row[at][0]),
        Told("from", lambda row: row[at][1], "right", unit),
        Told("to", lambda row: row[at][2], "right", unit),
    )


def _oil(line: InBottle | None) -> str:
    return "-" if line is None else oil(line.oil_mg_per_l)


def _clouds(before: Run, after: Run) -> Facts:
    so_far, then = _cloud(before), _cloud(after)
    if so_far == then:
        return Facts((("cloud", f"as so far, {then}"),))
    return Facts((("cloud so far", so_far), ("next", then)))


def _hazed(made: NextTrial) -> tuple[Section, ...]:
    """What the glass that hazed, or the stream, teaches."""
    if made.seen is None or made.seen.taught is None:
        return ()
    return (Section("What the haze teaches", (Points(tuple(taught_words(made.seen))),)),)


def _cloud(run: Run) -> str:
    if run.cloud is None:
        return "no oil"
    told = bottle_words(run.cloud)
    return f"keep not let down; {span_words(run.cloud)}" if run.cloud.target_abv is None else told


def text_of_comparison(made: Comparison) -> str:
    """Return two trials side by side as text of at most 80 columns."""
    return render(sections_of_comparison(made))


def sections_of_comparison(made: Comparison) -> tuple[Section, ...]:
    """Return two trials side by side."""
    heads = Facts(
        (("A", f"{made.a.name}: {made.a.plan.title}"), ("B", f"{made.b.name}: {made.b.plan.title}"))
    )
    if made.empty:
        return (Section("Side by side", (heads, "Nothing differs.")),)
    sections = [Section("Side by side", (heads,))]
    decided = [d for d in made.decided if not _told_as_dose(d)]
    if made.botanicals:
        sections.append(Section("Doses", (_doses(made),)))
        told = (_both(made.botanicals), _rest(made), ROUGH)
        sections.append(Section("Predicted oil in a litre bottled, by botanical", told))
    for title, rows in (
        ("What else was decided", rows_of(decided)),
        ("What the run is predicted to do", foretold(made)),
        ("What was measured and noted", rows_of(made.measured)),
    ):
        if rows:
            columns = (Column("", align="left"), Column("A", align="left"), Column("B", align="left"))
            sections.append(Section(title, (Table(columns, rows),)))
    return tuple(sections)


def _told_as_dose(difference: Difference) -> bool:
    return difference.table == "botanical" and difference.field in ("mass_g", "pieces")


def rows_of(found: Iterable[Difference]) -> tuple[tuple[str, ...], ...]:
    """Return differences as rows: what differs, one side, the other."""
    return tuple((name_of(d), value_of(d, d.a), value_of(d, d.b)) for d in found)


def foretold(made: Comparison) -> tuple[tuple[str, ...], ...]:
    """What is predicted otherwise; the first haze as a span, which is how it is told everywhere."""
    rows = rows_of(d for d in made.predicted if not d.field.startswith(("haze_", "bottle_clouds")))
    spans = [("no oil" if run.cloud is None else span_words(run.cloud)) for run in (made.run_a, made.run_b)]
    return rows if spans[0] == spans[1] else (*rows, ("haze", *spans))


def _doses(made: Comparison) -> Table:
    def mass(side: InBottle | None) -> str:
        return "-" if side is None else format_mass(side.doses.mass_g)

    def per(of: str, name: str) -> tuple[Told, Told]:
        unit = f"g/L {of}"
        return (
            Told("A", lambda pair: _per(pair.a, name), "right", unit),
            Told("B", lambda pair: _per(pair.b, name), "right", unit),
        )

    return tabulate(
        made.botanicals,
        Told("botanical", lambda pair: pair.label),
        Told("A", lambda pair: mass(pair.a), "right"),
        Told("B", lambda pair: mass(pair.b), "right"),
        *per("charge", "g_per_l_charge"),
        *per("bottled", "g_per_l_bottled"),
    )


def _per(side: InBottle | None, name: str) -> str:
    return "-" if side is None else per_litre(getattr(side.doses, name))


def _both(pairs: Sequence[Pair]) -> Table:
    unit, places = when([side for pair in pairs for side in (pair.a, pair.b)])
    return tabulate(
        zip(pairs, places[::2], places[1::2], strict=True),
        Told("botanical", lambda row: row[0].label),
        Told("A", lambda row: _oil(row[0].a), "right", "mg/L"),
        Told("B", lambda row: _oil(row[0].b), "right", "mg/L"),
        Told("B to A", lambda row: ratio(row[0].change), "right"),
        *_comes("A comes", 1, unit),
        *_comes("B", 2, unit),
    )


def _rest(made: Comparison) -> str:
    more = counted(made.unchanged, "more botanical")
    return f"{more} within {format_share(NOTICEABLE)}." if made.unchanged else "All botanicals differ."


# --- What a distiller reads of a recipe scaled, and of a book of trials.


MOST_CHANGES = 10  # told of one trial; all are in the CSV
MOST_TRIALS = 6  # side by side in the table of doses
BY_LITRE = (
    "g/L: grams for a litre of charge, and for a litre of pure alcohol in it, so far and now. Oil: in a "
    "litre bottled, to what it is so far."
)
DOSES = ("g_per_l_charge", "g_per_l_alcohol", "g_per_l_bottled")


def sections_of_scaled(made: Scaled, name: str) -> tuple[Section, ...]:
    """Return a recipe scaled."""
    after, before = made.after, {part.name: part.volume_l for part in made.before.charge.parts}

    def so_far(part: Ingredient) -> str:
        return format_volume(before[part.name]) if part.name in before else "-"

    charge = tabulate(
        after.charge.parts,
        Told("charge", lambda part: part.name),
        Told("so far", so_far, "right"),
        Told("for this size", lambda part: format_volume(part.volume_l), "right"),
        Told("at", lambda part: part.abv, "abv_column"),
    )
    facts = (
        ("together", f"{format_volume(after.charge.volume_l)} at {format_abv(after.charge.abv)}"),
        ("factors", f"charge {times(made.charge_factor)}, alcohol {times(made.alcohol_factor)}"),
        ("botanicals", f"{times(made.dose_factor)}, by the litre of {made.per}"),
    )
    sections = [Section(f"{name} for another size", (charge, Facts(facts)))]
    if after.bill:
        sections.append(Section("Botanicals", (_scaled_doses(made), BY_LITRE)))
    filled = (("jars so far", _filled(made.before)), ("for this size", _filled(after)))
    sections.append(Section("Still and jars", (_still(made), Facts(filled), *_jars(after))))
    sections.append(Section("What does not scale", (Points(sentences(made.unscaled)),)))
    return tuple(sections)


def _scaled_doses(made: Scaled) -> Table:
    def per(head: str, side: str, name: str) -> Told:
        return Told(head, lambda pair: _per(getattr(pair, side), name), "right", "g/L")

    return tabulate(
        (pair for pair in made.pairs if pair.a is not None and pair.b is not None),
        Told("botanical", lambda pair: pair.label),
        Told("so far", lambda pair: format_mass(pair.a.doses.mass_g), "right"),
        Told("weigh", lambda pair: format_mass(pair.b.doses.mass_g), "right"),
        per("charge", "a", "g_per_l_charge"),
        per("now", "b", "g_per_l_charge"),
        per("alcohol", "a", "g_per_l_alcohol"),
        per("now", "b", "g_per_l_alcohol"),
        Told("oil", lambda pair: ratio(pair.change), "right", "bottled"),
    )


STILL: tuple[tuple[str, Callable[[Run], str]], ...] = (
    ("pot", lambda run: format_volume(run.setting.still.capacity_l)),
    ("boiling charge fills", lambda run: _fill(run)),
    ("power to first drop", lambda run: _power(run, run.setting.still.heat_up_power_w)),
    ("power after it", lambda run: _power(run, run.setting.still.conditions.power_w)),
    ("condenser carries off", lambda run: format_power(run.condenser_w)),
    ("neck sheds", lambda run: say("loss", run.setting.still.conditions.neck_loss_w_per_k)),
    ("first drop after", lambda run: format_minutes(run.first_drop_min)),
    ("stop after", lambda run: format_minutes(run.stop.elapsed_min)),
    ("heads", lambda run: format_volume(run.setting.heads_l)),
    ("keep", lambda run: format_volume(run.keep.volume_l)),
    ("strength of keep", lambda run: format_abv(run.keep.abv)),
    ("bottled", lambda run: format_volume(bottled_l(run))),
    ("full bottles", lambda run: _full(run)),
)


def _still(made: Scaled) -> Table:
    return tabulate(
        STILL,
        Told("", lambda row: row[0]),
        Told("so far", lambda row: row[1](made.before), "right"),
        Told("for this size", lambda row: row[1](made.after), "right"),
    )


def _power(run: Run, power_w: float) -> str:
    return format_power(run.setting.still.on_plate_w(power_w))


def _fill(run: Run) -> str:
    solids_l = sum(dose.solids_volume_l for dose in run.bill if dose.dose.where == "pot")
    hot_l = float(run.course.at(np.array([0.0])).pot_hot_l[0]) + solids_l
    return say("share_about", hot_l / run.setting.still.capacity_l)


def _full(run: Run) -> str:
    made = run.proofing
    return "-" if made is None or made.bottles is None else str(made.bottles)


def _filled(run: Run) -> str:
    return _sizes([jar.size_l for jar in run.jars])


def _sizes(sizes: Sequence[float]) -> str:
    there = Counter(metric("volume", size) for size in sizes)
    return ", ".join(f"{count} x {size}" for size, count in there.items())


def _jars(run: Run) -> tuple[Part, ...]:
    """Jars of everyday sizes for a run whose jars are those of the recipe, enlarged."""
    if not run.plan.jars.stock:
        return ()
    usual = _sizes([jar.size_l for jar in jars.lay(run.course, run.points).jars])
    return (f"The jars are those of the recipe, in proportion. Of everyday sizes: {usual}.",)


def sections_of_book(entries: Sequence[Entry], folder: str) -> tuple[Section, ...]:
    """Return all trials of a folder."""
    ran = [entry for entry in entries if entry.run is not None]
    refused = [entry for entry in entries if entry.refusal]
    count = counted(len(ran), "trial")
    sections = [Section(f"{count} in {folder}", (_table_of(ran),))] if ran else []
    if any(entry.doses for entry in ran):
        sections += _dose_tables(ran)
    told = [(entry.name, text) for entry in ran if (text := _story(entry))]
    if told:
        sections.append(Section("What changed, and what was tasted", (Facts(tuple(told)),)))
    if refused:
        points = Points(tuple(named(entry) for entry in refused))
        sections.append(Section("Not to be read or run", (points,)))
    return tuple(sections)


def named(entry: Entry) -> str:
    """Return why a file cannot be read or run, with its name before."""
    error = entry.error
    said = error is not None and bool(error.where) and error.where[0].file == entry.name
    if error is None or len(error.faults) == 1:
        return str(error) if said else f"{entry.name}: {error}"
    more = f"(and {counted(len(error.faults) - 1, 'fault')} more)"
    return f"{error.faults[0] if said else f'{entry.name}: {error.faults[0]}'} {more}"


def _table_of(ran: Sequence[Entry]) -> Table:
    """Each trial that was run, with what was measured of it."""

    def measured(entry: Entry, name: str) -> float | None:
        result = None if entry.trial is None else entry.trial.result
        return None if result is None else getattr(result, name)

    def collected(entry: Entry) -> str:
        litres = measured(entry, "collected_l")
        return "" if litres is None else format_volume(litres)

    return tabulate(
        [(entry, entry.run) for entry in ran if entry.run is not None],
        Told("trial", lambda row: row[0].name.removesuffix(".toml")),
        Told("date", lambda row: row[0].date),
        Told("charge", lambda row: format_volume(row[1].charge.volume_l), "right"),
        Told("at", lambda row: row[1].charge.abv, "abv_column"),
        Told("keep", lambda row: format_volume(row[1].keep.volume_l), "right"),
        Told("at", lambda row: row[1].keep.abv, "abv_column"),
        Told("bottled", lambda row: format_volume(bottled_l(row[1])), "right"),
        Told("collected", lambda row: collected(row[0]), "right", "measured"),
        Told("at", lambda row: measured(row[0], "abv"), "abv_column"),
    )


def _dose_tables(ran: Sequence[Entry]) -> list[Section]:
    names = list(dict.fromkeys(name for entry in ran for name in entry.doses))
    sections = []
    for start in range(0, len(ran), MOST_TRIALS):
        some = ran[start : start + MOST_TRIALS]
        table = tabulate(names, Told("botanical", str), *map(_grams_of, some))
        sections.append(Section("Grams for a litre of charge", (table,)))
    return sections


def _grams_of(entry: Entry) -> Told:
    def grams(name: str) -> str:
        return per_litre(entry.doses[name].g_per_l_charge) if name in entry.doses else "-"

    return Told(_short(entry.name), grams, "right")


def _short(name: str) -> str:
    stem = name.removesuffix(".toml")
    return stem if len(stem) <= 9 else f"{stem[:3]}..{stem[-4:]}"


def _story(entry: Entry) -> str:
    parts = ["Only a date is told: it may not have been run yet."] if entry.date and not entry.told else []
    if entry.parent:
        changed = [_change(d) for d in entry.changes[:MOST_CHANGES]]
        if len(entry.changes) > MOST_CHANGES:
            changed.append(f"and {len(entry.changes) - MOST_CHANGES} more")
        told = ", ".join(changed) or "nothing changed"
        parts.append(f"After {entry.parent.removesuffix('.toml')}: {told}.")
    if entry.alcohol is not None:
        parts.append(_alcohol(entry.alcohol))
    if entry.verdicts:
        tasted = ", ".join(f"{name} {verdict}" for name, verdict in entry.verdicts)
        parts.append(f"Tasted: {tasted}.")
    if entry.trial and entry.trial.result and entry.trial.result.words.strip():
        parts.append(f"Said: {' '.join(entry.trial.result.words.split())}")
    return " ".join(parts)


def _alcohol(book: AlcoholBook) -> str:
    went = f"{format_volume(book.collected_l)} came over, {format_volume(book.pot_l)} stayed in the pot"
    told = f"Of {format_volume(book.charged_l)} of pure alcohol {went}"
    if book.lost_l < 0.0:
        return f"{told}: {format_volume(-book.lost_l)} more than went in, so that a reading is off."
    share = f"{format_share(book.lost_share)} of what left the pot"
    return f"{told}, {format_volume(book.lost_l)} were lost, {share}."


def _change(difference: Difference) -> str:
    name, a, b = name_of(difference), value_of(difference, difference.a), value_of(difference, difference.b)
    if difference.a is None:
        return f"{name} new, {b}"
    dropped = difference.b is None and difference.table == "botanical"
    return f"{name} dropped" if dropped else f"{name} {a} to {b}"


def csv_of_book(entries: Sequence[Entry]) -> str:
    """Return a book as CSV."""
    names = list(dict.fromkeys(name for entry in entries for name in entry.doses))
    plain = ["file", "title", "parent", "date", "charge_l", "charge_abv", "keep_l", "keep_abv"]
    plain += ["bottled_l", "bottled_abv", "collected_l", "strength_abv", "words"]
    each = [f"{name} {per}" for name in names for per in DOSES]
    rows: list[list[object]] = [[*plain, "changes", "verdicts", *each, "refusal"]]
    for entry in entries:
        told = entry.to_dict()
        changes = "; ".join(map(_change, entry.changes))
        verdicts = "; ".join(f"{name}: {verdict}" for name, verdict in entry.verdicts)
        held = [_cell(entry, name, per) for name in names for per in DOSES]
        row = ["" if told[name] is None else told[name] for name in plain]
        rows.append([*row, changes, verdicts, *held, entry.refusal])
    return csv_of(rows)


def _cell(entry: Entry, name: str, per: str) -> str:
    return repr(getattr(entry.doses[name], per)) if name in entry.doses else ""


def doses_of(run: Run) -> dict[str, dict[str, float]]:
    """Return each dose by the litre as plain data, by botanical."""
    return {
        label: {"mass_g": dose.mass_g, **{per: getattr(dose, per) for per in DOSES}}
        for label, dose in zip(labels(run.bill), doses(run), strict=True)
    }
