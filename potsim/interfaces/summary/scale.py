"""What a distiller reads of a recipe scaled, and of a book of trials."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence

import numpy as np

from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.trial_words import name_of, per_litre, ratio, value_of
from potsim.interfaces.wording import (
    format_abv,
    format_mass,
    format_minutes,
    format_power,
    format_volume,
)
from potsim.planning import jars
from potsim.planning.run import Run
from potsim.planning.trials.another_still import Scaled
from potsim.planning.trials.book import Entry
from potsim.planning.trials.differences import Difference
from potsim.planning.trials.in_bottle import bottled_l, doses

MOST_CHANGES = 10  # told of one trial; all are in the CSV
MOST_TRIALS = 6  # side by side in the table of doses
BY_LITRE = (
    "g/L: grams for a litre of charge, and for a litre of pure alcohol in it, so far and now. Oil: in a "
    "litre bottled, to what it is so far."
)
DOSES = ("g_per_l_charge", "g_per_l_alcohol", "g_per_l_bottled")


def sections_of_scaled(made: Scaled, name: str) -> tuple[Section, ...]:
    """Return a recipe scaled.

    Parameters
    ----------
    made : Scaled
        The recipe.
    name : str
        Where it comes from.

    Returns
    -------
    tuple of Section
        Charge, doses, still, jars, and what does not scale.
    """
    after = made.after
    columns = (
        Column("charge", align="left"),
        Column("so far"),
        Column("for this size"),
        Column("at", "% vol"),
    )
    charge = Table(columns, _parts(made))
    facts = (
        ("together", f"{format_volume(after.charge.volume_l)} at {format_abv(after.charge.abv)}"),
        ("factors", f"charge x {made.charge_factor:.4g}, alcohol x {made.alcohol_factor:.4g}"),
        ("botanicals", f"x {made.dose_factor:.4g}, by the litre of {made.per}"),
    )
    sections = [Section(f"{name} for another size", (charge, Facts(facts)))]
    if after.bill:
        sections.append(Section("Botanicals", (_doses(made), BY_LITRE)))
    filled = (("jars so far", _filled(made.before)), ("for this size", _filled(after)))
    sections.append(Section("Still and jars", (_still(made), Facts(filled), *_jars(after))))
    sections.append(Section("What does not scale", (Points(made.unscaled),)))
    return tuple(sections)


def _parts(made: Scaled) -> tuple[tuple[str, ...], ...]:
    before = {part.name: part.volume_l for part in made.before.charge.parts}
    return tuple(
        (
            part.name,
            format_volume(before[part.name]) if part.name in before else "-",
            format_volume(part.volume_l),
            f"{part.abv:.1f}",
        )
        for part in made.after.charge.parts
    )


def _doses(made: Scaled) -> Table:
    columns = (
        Column("botanical", align="left"),
        Column("so far"),
        Column("weigh"),
        Column("charge", "g/L"),
        Column("now", "g/L"),
        Column("alcohol", "g/L"),
        Column("now", "g/L"),
        Column("oil", "bottled"),
    )
    rows = []
    for pair in made.pairs:
        one, other = pair.a, pair.b
        if one is None or other is None:
            continue
        a, b = one.doses, other.doses
        by_charge = (per_litre(a.g_per_l_charge), per_litre(b.g_per_l_charge))
        by_alcohol = (per_litre(a.g_per_l_alcohol), per_litre(b.g_per_l_alcohol))
        masses = (format_mass(a.mass_g), format_mass(b.mass_g))
        rows.append((pair.label, *masses, *by_charge, *by_alcohol, ratio(pair.change)))
    return Table(columns, tuple(rows))


def _still(made: Scaled) -> Table:
    before, after = made.before, made.after
    columns = (Column("", align="left"), Column("so far"), Column("for this size"))
    told = (
        ("pot", _pot),
        ("boiling charge fills", _fill),
        ("power to first drop", lambda run: format_power(run.setting.still.heat_up_power_w)),
        ("power after it", lambda run: format_power(run.setting.still.conditions.power_w)),
        ("condenser carries off", lambda run: format_power(run.condenser_w)),
        ("neck sheds", lambda run: f"{run.setting.still.conditions.neck_loss_w_per_k:.3g} W/K"),
        ("first drop after", lambda run: format_minutes(run.first_drop_min)),
        ("stop after", lambda run: format_minutes(run.stop.elapsed_min)),
        ("heads", lambda run: format_volume(run.setting.heads_l)),
        ("keep", lambda run: format_volume(run.keep.volume_l)),
        ("strength of keep", lambda run: format_abv(run.keep.abv)),
        ("bottled", lambda run: format_volume(bottled_l(run))),
        ("full bottles", _full),
    )
    return Table(columns, tuple((label, tell(before), tell(after)) for label, tell in told))


def _pot(run: Run) -> str:
    return format_volume(run.setting.still.capacity_l)


def _fill(run: Run) -> str:
    solids_l = sum(dose.solids_volume_l for dose in run.bill if dose.dose.where == "pot")
    hot_l = float(run.course.at(np.array([0.0])).pot_hot_l[0]) + solids_l
    return f"{100.0 * hot_l / run.setting.still.capacity_l:.0f} %"


def _full(run: Run) -> str:
    made = run.proofing
    return "-" if made is None or made.bottles is None else str(made.bottles)


def _filled(run: Run) -> str:
    return _sizes([jar.size_l for jar in run.jars])


def _sizes(sizes: Sequence[float]) -> str:
    counted = Counter(format_volume(size) for size in sizes)
    return ", ".join(f"{count} x {size}" for size, count in counted.items())


def _jars(run: Run) -> tuple[Part, ...]:
    """Jars of everyday sizes for a run whose jars are those of the recipe, enlarged."""
    if not run.plan.jars.sizes:
        return ()
    usual = _sizes([jar.size_l for jar in jars.lay(run.course, run.points).jars])
    return (f"The jars are those of the recipe, in proportion. Of everyday sizes: {usual}.",)


def sections_of_book(entries: Sequence[Entry], folder: str) -> tuple[Section, ...]:
    """Return all trials of a folder.

    Parameters
    ----------
    entries : sequence of Entry
        The trials.
    folder : str
        The folder, as typed.

    Returns
    -------
    tuple of Section
        One row a trial; doses; what changed and what was tasted; what cannot be read.
    """
    ran = [entry for entry in entries if entry.run is not None]
    refused = [entry for entry in entries if entry.refusal]
    columns = (
        Column("trial", align="left"),
        Column("date", align="left"),
        Column("charge"),
        Column("at", "% vol"),
        Column("keep"),
        Column("at", "% vol"),
        Column("bottled"),
        Column("collected", "measured"),
        Column("at", "% vol"),
    )
    count = "1 trial" if len(entries) == 1 else f"{len(entries)} trials"
    sections = [Section(f"{count} in {folder}", (Table(columns, tuple(map(_row, ran))),))] if ran else []
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
    told = entry.refusal
    return told if told.startswith(entry.name) else f"{entry.name}: {told}"


def _row(entry: Entry) -> tuple[str, ...]:
    run, result = entry.run, entry.trial.result if entry.trial else None
    if run is None:
        return ()
    collected = "" if result is None or result.collected_l is None else format_volume(result.collected_l)
    return (
        entry.name.removesuffix(".toml"),
        entry.date,
        format_volume(run.charge.volume_l),
        f"{run.charge.abv:.1f}",
        format_volume(run.keep.volume_l),
        f"{run.keep.abv:.1f}",
        format_volume(bottled_l(run)),
        collected,
        "" if result is None or result.abv is None else f"{result.abv:.1f}",
    )


def _dose_tables(ran: Sequence[Entry]) -> list[Section]:
    names = list(dict.fromkeys(name for entry in ran for name in entry.doses))
    sections = []
    for start in range(0, len(ran), MOST_TRIALS):
        some = ran[start : start + MOST_TRIALS]
        columns = (Column("botanical", align="left"), *(Column(_short(e.name)) for e in some))
        rows = tuple(
            (name, *(per_litre(e.doses[name].g_per_l_charge) if name in e.doses else "-" for e in some))
            for name in names
        )
        sections.append(Section("Grams for a litre of charge", (Table(columns, rows),)))
    return sections


def _short(name: str) -> str:
    stem = name.removesuffix(".toml")
    return stem if len(stem) <= 9 else f"{stem[:3]}..{stem[-4:]}"


def _story(entry: Entry) -> str:
    parts = []
    if entry.parent:
        changed = [_change(d) for d in entry.changes[:MOST_CHANGES]]
        if len(entry.changes) > MOST_CHANGES:
            changed.append(f"and {len(entry.changes) - MOST_CHANGES} more")
        told = ", ".join(changed) or "nothing changed"
        parts.append(f"After {entry.parent.removesuffix('.toml')}: {told}.")
    if entry.verdicts:
        tasted = ", ".join(f"{name} {verdict}" for name, verdict in entry.verdicts)
        parts.append(f"Tasted: {tasted}.")
    if entry.trial and entry.trial.result and entry.trial.result.words.strip():
        parts.append(f"Said: {' '.join(entry.trial.result.words.split())}")
    return " ".join(parts)


def _change(difference: Difference) -> str:
    name, a, b = name_of(difference), value_of(difference, difference.a), value_of(difference, difference.b)
    if difference.a is None:
        return f"{name} new, {b}"
    dropped = difference.b is None and difference.table == "botanical"
    return f"{name} dropped" if dropped else f"{name} {a} to {b}"


def csv_of_book(entries: Sequence[Entry]) -> str:
    """Return a book as CSV.

    Parameters
    ----------
    entries : sequence of Entry
        The trials.

    Returns
    -------
    str
        RFC 4180: a row a file; names with units in the first row, doses of every botanical by the litre.
    """
    names = list(dict.fromkeys(name for entry in entries for name in entry.doses))
    plain = ["file", "title", "parent", "date", "charge_l", "charge_abv", "keep_l", "keep_abv"]
    plain += ["bottled_l", "bottled_abv", "collected_l", "strength_abv", "words"]
    made = io.StringIO()
    writer = csv.writer(made)
    each = [f"{name} {per}" for name in names for per in DOSES]
    writer.writerow([*plain, "changes", "verdicts", *each, "refusal"])
    for entry in entries:
        told = entry.to_dict()
        changes = "; ".join(map(_change, entry.changes))
        verdicts = "; ".join(f"{name}: {verdict}" for name, verdict in entry.verdicts)
        held = [_cell(entry, name, per) for name in names for per in DOSES]
        row = ["" if told[name] is None else told[name] for name in plain]
        writer.writerow([*row, changes, verdicts, *held, entry.refusal])
    return made.getvalue()


def _cell(entry: Entry, name: str, per: str) -> str:
    return repr(getattr(entry.doses[name], per)) if name in entry.doses else ""


def doses_of(run: Run) -> dict[str, dict[str, float]]:
    """Return each dose by the litre as plain data, by botanical."""
    from potsim.planning.trials.trial import labels

    return {
        label: {"mass_g": dose.mass_g, **{per: getattr(dose, per) for per in DOSES}}
        for label, dose in zip(labels(run.bill), doses(run), strict=True)
    }
