"""A run in full as a distiller reads it, where its figures come from, and a question turned round."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from potsim.interfaces.report import Facts, Part, Points, Section, Table, Told, render, tabulate
from potsim.interfaces.report.flavours import flavour_sections
from potsim.interfaces.report.jars import (
    bottling_sections,
    charge_table,
    costs_sections,
    emptied_section,
    jar_section,
    keep_section,
    timing,
)
from potsim.interfaces.report.sweep import sure_section
from potsim.interfaces.report.words import fill, sentences, state_taken, words
from potsim.interfaces.wording import (
    as_planned,
    counted,
    format_abv,
    format_mass,
    format_minutes,
    format_power,
    format_pressure,
    format_share,
    format_temperature,
    format_volume,
    masses,
    say,
)
from potsim.liquid.compounds import ZERO_C_K
from potsim.liquid.pure import Array
from potsim.planning.botanicals import Botanical, composition
from potsim.planning.frames import outcome, particular
from potsim.planning.notes import EVERY_RUN, Note
from potsim.planning.plan import Ingredient, Stretch
from potsim.planning.proofing import Proofing
from potsim.planning.reach import Reach
from potsim.planning.run import Run
from potsim.planning.stops import CutRow, moment

if TYPE_CHECKING:
    from potsim.planning.ensemble import Ensemble


# In full in the heads of the tables in potsim/data.
STRENGTH = (
    "Strengths, volumes, contraction, what a hydrometer shows: OIML R 22 (1975), International "
    "Alcoholometric Tables."
)
BOILING = (
    "Boiling, vapour and heats of ethanol and water: fitted to Kamihama et al. 2012, Pemberton & Mash 1978, "
    "Beebe et al. 1942 and Larkin 1975; pure ethanol by Poling, Prausnitz & O'Connell 2001, pure water by "
    "Wagner & Pruss 1993."
)
TRACES = (
    "Volatility of flavours: vapour pressures of handbooks or estimated, in ethanol and water by group "
    "contributions (modified UNIFAC, Dortmund), anchored in water where a measured constant is known."
)
OILS = (
    "Cloud: solubilities in water, partly from memory of handbooks; growth with ethanol after Li & Yalkowsky "
    "1994 (reference from memory). How fast botanicals give up their oil: common practice, no source."
)
MORE = (
    "How far all this is from what was measured: `potsim evidence`. Of the other compounds of a botanical: "
    "`potsim botanicals NAME`."
)
MAIN = 0.5  # of the listed oil, whose sources are named


def sources_section(run: Run) -> Section:
    """Return where the figures of a run come from."""
    followed = run.bill or run.flavours.base
    return Section(
        "Sources",
        (
            Points(
                (
                    STRENGTH,
                    BOILING,
                    *((TRACES,) if followed else ()),
                    *((OILS,) if run.bill else ()),
                    *dict.fromkeys(_botanical(dose.botanical) for dose in run.bill),
                    *_spirits(run),
                    MORE,
                )
            ),
        ),
    )


def _botanical(one: Botanical) -> str:
    """Where its oil comes from, and the compounds that make the most of it."""
    shares, counted_pct = [], 0.0
    for share in sorted(one.composition, key=lambda share: -share.pct.typical):
        if counted_pct < MAIN * one.listed_pct:
            shares.append(f"{share.source} ({share.confidence})")
        counted_pct += share.pct.typical
    oil = f"oil {one.yield_source} ({one.yield_confidence})"
    return f"{one.common_name}: {oil}; most of it {'; '.join(dict.fromkeys(shares))}."


def _spirits(run: Run) -> list[str]:
    kinds = dict.fromkeys(
        part.kind for part in run.plan.charge if isinstance(part, Ingredient) and part.kind is not None
    )
    said = []
    for kind in kinds:
        sources = dict.fromkeys(volatile.source for volatile in composition(kind))
        said.append(f"Volatiles of {kind} spirit: {'; '.join(sources)}.")
    return said


# --- A run as a distiller wants to read it.


ROWS = 12  # of the curve table, about
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)  # between its rows, times a power of ten
CLEANING = (
    "Water without botanicals, as for cleaning the still: nothing of it is for keeping, and neither cuts nor "
    "jars are told."
)


@as_planned
def text_of_run(run: Run, sure: Ensemble | None = None) -> str:
    """Return the report of a run as text of at most 80 columns."""
    *sections, heed = sections_of_run(run)
    return render((*sections, *(() if sure is None else (sure_section(sure),)), heed))


def _after_dangers(note: Note) -> bool:
    """What stands after the dangers of this very run, in its order."""
    return note.severity != "danger" or note.kind == EVERY_RUN


def sections_of_run(run: Run) -> tuple[Section, ...]:
    """Return the report of a run, section by section; what to heed is the last."""
    assumed = together(run.taken)
    return (
        Section(run.plan.title, (_in_short(run),)),
        _goes_in(run),
        *((Section("What is assumed", (Points(assumed),)),) if assumed else ()),
        curve_section(run),
        _stop(run),
        *_made(run),
        *bottling_sections(run),
        *costs_sections(run),
        *flavour_sections(run),
        Section("Take care", (Points(together(sorted(run.heed, key=_after_dangers))),)),
    )


def _heads_take(notes: Sequence[Note]) -> str:
    names = ("share", "smaller_share")
    now, smaller = ([format_share(note.values[name]) for note in notes] for name in names)
    subjects = ", ".join(f"{note.subject} {share}" for note, share in zip(notes, now, strict=True))
    would = fill("heads of {smaller_l:volume} would take", **notes[0].values)
    return f"The heads take, of what comes over: {subjects}; {would} {', '.join(smaller)}."


def _taken_as(notes: Sequence[Note]) -> str:
    by_state: dict[str, list[str]] = {}
    for note in notes:
        by_state.setdefault(state_taken(note), []).append(note.subject)
    taken = "; ".join(f"{state} {', '.join(names)}" for state, names in by_state.items())
    return f"Taken, as not said otherwise: {taken}."


TOGETHER = {"heads_take": _heads_take, "taken_as": _taken_as}


def together(notes: Iterable[Note]) -> tuple[str, ...]:
    """Return the sentences of notes; what goes alike for several subjects is said once for all of them."""
    alike: dict[str | int, list[Note]] = {}
    for k, note in enumerate(notes):
        alike.setdefault(note.kind if note.kind in TOGETHER else k, []).append(note)
    return tuple(words(one[0]) if len(one) == 1 else TOGETHER[one[0].kind](one) for one in alike.values())


def is_cleaning(run: Run) -> bool:
    """Whether a run is of water alone, of which nothing is kept."""
    return run.charge.ethanol_mol == 0.0 and not run.bill


def _made(run: Run) -> tuple[Section, ...]:
    """Cuts, jars and keep."""
    if is_cleaning(run):
        return (Section("Nothing to keep", (CLEANING,)),)
    if run.in_one_vessel:
        return (_cuts(run),)
    working = () if run.emptied is None else (emptied_section(run, run.emptied),)
    return (_cuts(run), *working, jar_section(run), keep_section(run))


def _in_short(run: Run) -> str:
    keep, made = run.keep, run.proofing
    if run.charge.ethanol_mol == 0.0:
        of = "" if run.bill else ", as for cleaning the still"
        return (
            f"{format_volume(run.charge.volume_l)} of water in the pot give "
            f"{format_volume(run.stop.collected_l)} in {say('minutes', run.stop.elapsed_min)}{of}."
        )
    short = (
        f"{format_volume(run.charge.volume_l)} at {format_abv(run.charge.abv)} in the pot give "
        f"{format_volume(keep.volume_l)} of keep at {format_abv(keep.abv)} in "
        f"{say('minutes', run.kept_min)}"
    )
    if made is None:
        return f"{short}."
    bottled = f"{short}; with {_added_to_keep(run, made)} that is {format_volume(made.volume_l)}"
    count = "" if made.bottles is None else f", {counted(made.bottles, 'bottle')}"
    return f"{bottled} at {format_abv(made.target_abv)}{count}."


def _added_to_keep(run: Run, made: Proofing) -> str:
    """What the keep is let down by: water, and before it the spirit that stretches it."""
    by = run.plan.bottling.stretch
    spirit = "" if by is None else f"{_neutral(by)} and "
    return f"{spirit}{format_volume(made.water_l)} of water"


def _neutral(by: Stretch) -> str:
    return f"{format_volume(by.spirit_l)} of spirit at {format_abv(by.abv)}"


def _goes_in(run: Run) -> Section:
    charge, still = run.charge, run.setting.still
    bill = tabulate(
        run.bill,
        Told("botanical", lambda dose: dose.botanical.common_name),
        Told("mass", lambda dose: format_mass(dose.wet_mass_g), "right"),
        Told("as", lambda dose: dose.prepared),
        Told("in the", lambda dose: dose.dose.where),
        Told("macerated", lambda dose: dose.dose.macerated_h or None, "hours"),
        Told("oil in it", lambda dose: dose.oil_total_g, masses),
    )
    where, brought = still.conditions, sum(dose.water_brought_l for dose in run.bill)
    wet = f", {format_volume(brought)} of water from the botanicals in it" if brought > 0.0 else ""
    pressure = format_pressure(where.pressure_pa / 100.0)
    capacity_w = run.setting.condenser_w
    can = "" if capacity_w is None else f", can {format_power(capacity_w)}"
    arrives = "" if still.heat_share == 1.0 else f"; {format_share(still.heat_share)} of it reach the pot"
    facts = [
        ("together", f"{_spirit(run, charge.volume_l, charge.abv)}{wet}"),
        ("pot", f"{format_volume(still.capacity_l)}; sheds {say('loss', where.pot_loss_w_per_k)}"),
        ("neck", f"sheds {say('loss', where.neck_loss_w_per_k)}"),
        ("power", f"{_power(run)}{arrives}"),
        ("room", f"{format_temperature(where.room_k - ZERO_C_K)}, {pressure}"),
        ("condenser", f"has to carry off up to {format_power(run.condenser_w)}{can}"),
    ]
    if still.parrot_l is not None:
        facts.append(("parrot", f"holds {format_volume(still.parrot_l)}"))
    if still.lost:
        facts.append(("lost", f"{format_share(still.lost)} of what leaves the neck"))
    tables = (charge_table(charge), *((bill,) if run.bill else ()))
    return Section("What goes in", (*tables, Facts(tuple(facts))))


def _spirit(run: Run, volume_l: float, abv: float) -> str:
    """A volume with its strength, where there is alcohol in the run."""
    at = f" at {format_abv(abv)}" if run.charge.ethanol_mol > 0.0 else ""
    return f"{format_volume(volume_l)}{at}"


def _power(run: Run) -> str:
    still, along = run.setting.still, _powers(run)
    first = format_power(still.on_plate_w(still.heat_up_power_w))
    return first if along == first else f"{first} to the first drop, then {along}"


def _powers(run: Run) -> str:
    still = run.setting.still
    steps = [
        f"{format_power(still.on_plate_w(step.power_w))} from {format_volume(step.from_collected_l)} on"
        for step in still.power_changes
    ]
    return ", ".join([format_power(still.on_plate_w(still.conditions.power_w)), *steps])


def curve_section(run: Run) -> Section:
    """Return the run from the first drop to the stop, in about a dozen rows."""
    places = curve_places(float(run.collected_l[-1]))

    def along(head: str, values: Array, kind: str) -> Told:
        told = dict(zip(places, np.interp(places, run.collected_l, values).tolist(), strict=True))
        return Told(head, told.__getitem__, kind)

    spirit = run.charge.ethanol_mol > 0.0
    table = tabulate(
        places,
        Told("collected", float, "volume_column"),
        along("stream", run.stream_abv, "abv_column") if spirit else None,
        along("parrot", run.parrot_abv, "abv_column") if spirit and run.parrot_abv is not None else None,
        along("pooled", run.mean_abv, "abv_column") if spirit else None,
        along("pot", run.pot_abv, "abv_column") if spirit else None,
        along("vapour", run.vapour_c, "temperature"),
        along("minute", run.elapsed_min, "count"),
        along("recovered", run.recovered, "share_about") if spirit else None,
    )
    begins = f"First drop {timing(run.first_drop_min)}, with the pot at {format_temperature(run.pot_c[0])}."
    return Section("How it runs", (begins, table))


def curve_places(end_l: float) -> list[float]:
    """Return where the curve is told: the first drop, round volumes between, the stop."""
    least = end_l / (ROWS - 1)
    scale = 10.0 ** math.floor(math.log10(least))
    step = next(s * scale for s in STEPS if s * scale >= least * (1.0 - 1e-9))
    # A row that all but meets the stop is left out.
    between = [k * step for k in range(1, ROWS) if k * step < end_l - 0.25 * step]
    return [0.0, *between, end_l]


def _stop(run: Run) -> Section:
    stop = run.stop
    over = f", {format_share(stop.recovered)} of the alcohol" if run.charge.ethanol_mol > 0.0 else ""
    vapour = format_temperature(stop.vapour_c)
    parrot = "" if stop.parrot_abv is None else f", the parrot shows {format_abv(stop.parrot_abv)}"
    stream = ("stream", f"{format_abv(stop.stream_abv)}{parrot}, vapour {vapour}")
    if run.charge.ethanol_mol == 0.0:
        stream = ("vapour", vapour)
    why = f"{run.end.words[0].upper()}{run.end.words[1:]}."
    pairs = (
        ("when", timing(stop.elapsed_min)),
        ("collected", f"{_spirit(run, stop.collected_l, stop.mean_abv)}{over}"),
        stream,
        ("left in pot", f"{_spirit(run, stop.pot_l, stop.pot_abv)}, {format_temperature(stop.pot_c)}"),
        *([("lost", _spirit(run, run.lost.volume_l, run.lost.abv))] if run.setting.still.lost else []),
    )
    helps = [note for note in run.at_the_stop if note.kind != "parrot_shows"]  # told beside the stream
    points = (Points(sentences(helps)),) if helps else ()
    return Section("Where it stops", (why, Facts(pairs), *points))


ADDED = (
    "What each step still adds, in % of what a botanical gives with 99 % of the alcohol; the first row all "
    "until then:"
)
MOST_ADDED = 5  # botanicals


def _cuts(run: Run) -> Section:
    heads = run.setting.heads_l
    first = f"The first {format_volume(heads)} are heads." if heads > 0.0 else "No heads are taken."
    ends = run.course.at(np.array([run.points.keep_end]))
    at = f"{format_volume(float(ends.collected_l[0]))} collected"
    tails = run.points.keep_end < run.points.end
    last = f"The keep ends at {at}; the rest is tails." if tails else f"The keep ends with the run, at {at}."
    parts: list[Part] = [f"{first} {last}"]
    rows = run.cuts.keep_end
    if len(rows) > 1 and run.charge.ethanol_mol > 0.0:
        parts += ["What moving the end of the keep would come to:", _moved(rows)]
        if run.added:
            parts += [ADDED, _added(run)]
    return Section("Cuts", tuple(parts))


def _added(run: Run) -> Table:
    """What each further step still adds of each botanical that is noticed."""
    names = list(run.added)[:MOST_ADDED]

    def added(name: str) -> Told:
        return Told(name, lambda step: run.added[name][step[0]], "share_about")

    return tabulate(
        enumerate(run.cuts.keep_end),
        Told("stream", lambda step: step[1].stream_abv, "abv_column"),
        Told("vapour", lambda step: step[1].vapour_c, "temperature"),
        *map(added, names),
    )


def _moved(rows: tuple[CutRow, ...]) -> Table:
    return tabulate(
        rows,
        Told("stream", lambda row: row.stream_abv, "abv_column"),
        Told("collected", lambda row: row.collected_l, "volume_column"),
        Told("minute", lambda row: row.elapsed_min, "count"),
        Told("keep", lambda row: row.keep_l, "volume_column"),
        Told("keep", lambda row: row.keep_abv, "abv_column"),
        Told("alcohol lost", lambda row: row.left_l, "volume_column"),
        Told("", lambda row: "the plan" if row.planned else ""),
    )


# --- The answer to a question asked backwards, as a distiller wants to read it.


@as_planned
def text_of_reach(found: Reach) -> str:
    """Return an answer as text of at most 80 columns."""
    sections = [
        Section(f"{found.plan.title}: {found.asked}", (_asked_in_short(found),)),
        Section("What to charge" + (", for each run" if found.runs > 1 else ""), tuple(_charge(found))),
        Section("What comes of it" + (", each run" if found.runs > 1 else ""), (_result(found),)),
    ]
    if found.moved:
        sections.append(Section("What differs from the plan", (Points(sentences(found.moved)),)))
    sections.append(Section("What sets the bounds", (Points(sentences(found.limits)),)))
    heed = particular(found.run)
    if heed:
        sections.append(Section("Take care", (Points(together(heed)),)))
    return render(sections)


def _asked_in_short(found: Reach) -> str:
    charge, pot = found.run.charge, found.run.setting.still.capacity_l
    given = "" if found.plan.still.capacity_l is not None else " (none is named, so one is sized to it)"
    runs = "one run" if found.runs == 1 else f"{found.runs} equal runs"
    water = (
        f"with {format_volume(found.water_l)} of water let down to" if found.water_l > 0.0 else "undiluted,"
    )
    by = "" if found.stretch is None else f", the keep stretched by {_neutral(found.stretch)}"
    return (
        f"{format_volume(found.spirit_l)} of base spirit at {format_abv(found.spirit_abv)}, {water} "
        f"{format_abv(charge.abv)} in the pot, in {runs} of a still of {format_volume(pot)}{given}{by}."
    )


def _charge(found: Reach) -> list[Part]:
    bill = tabulate(
        found.run.bill,
        Told("botanical", lambda dose: dose.botanical.common_name),
        Told("mass", lambda dose: format_mass(dose.wet_mass_g), "right"),
    )
    return [charge_table(found.run.charge), *([bill] if found.run.bill else [])]


def _result(found: Reach) -> Facts:
    run, made = found.run, outcome(found.run)
    there = moment(run.course, run.points.keep_end)
    heads = run.setting.heads_l
    pairs = [
        ("together", f"{format_volume(made.charge_l)} at {format_abv(made.charge_abv)}"),
        ("power", _power(run)),
        ("heads", format_volume(heads) if heads > 0.0 else "none"),
        (
            "keep until",
            f"stream {format_abv(there.stream_abv)}, {format_volume(there.collected_l)} collected, "
            f"{format_minutes(there.elapsed_min)}",
        ),
        (
            "keep",
            f"{format_volume(made.keep_l)} at {format_abv(made.keep_abv)}, "
            f"{format_share(made.kept)} of the alcohol",
        ),
    ]
    if made.bottled_l is not None and run.proofing is not None:
        full = "" if made.bottles is None else f", {counted(made.bottles, 'full bottle')}"
        all_runs = f" ({format_volume(found.runs * made.bottled_l)} in all)" if found.runs > 1 else ""
        bottled = f"{format_volume(made.bottled_l)} at {format_abv(run.proofing.target_abv)}"
        pairs.append(("bottled", f"{bottled} with {_added_to_keep(run, run.proofing)}{full}{all_runs}"))
    return Facts(tuple(pairs))
