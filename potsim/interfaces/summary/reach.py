"""The answer to a question asked backwards, as a distiller wants to read it."""

from __future__ import annotations

import re

from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table, render
from potsim.interfaces.wording import (
    format_abv,
    format_mass,
    format_minutes,
    format_power,
    format_share,
    format_volume,
)
from potsim.planning.asking.outcome import outcome, particular
from potsim.planning.asking.reach import Reach
from potsim.planning.moment import moment


def text_of_reach(found: Reach) -> str:
    """Return an answer as text of at most 80 columns.

    Parameters
    ----------
    found : Reach
        The answer.

    Returns
    -------
    str
        Lines, without a line feed at the end.
    """
    sections = [
        Section(f"{found.plan.title}: {found.asked}", (_in_short(found),)),
        Section("What to charge" + (", for each run" if found.runs > 1 else ""), tuple(_charge(found))),
        Section("What comes of it" + (", each run" if found.runs > 1 else ""), (_result(found),)),
    ]
    if found.moved:
        sections.append(Section("What differs from the plan", (Points(found.moved),)))
    sections.append(Section("What sets the bounds", (Points(found.limits),)))
    cautions = particular(found.run)
    if cautions:
        sections.append(Section("Take care", (Points(cautions),)))
    return render(sections)


def _in_short(found: Reach) -> str:
    charge, pot = found.run.charge, found.run.setting.still.capacity_l
    given = "" if found.plan.still.capacity_l is not None else " (none is named, so one is sized to it)"
    runs = "one run" if found.runs == 1 else f"{found.runs} equal runs"
    water = f"with {format_volume(found.water_l)} of water " if found.water_l > 0.0 else ""
    article = "an" if re.match(r"8|1[18](?!\d)", format_volume(pot)) else "a"
    return (
        f"{format_volume(found.spirit_l)} of base spirit at {format_abv(found.spirit_abv)}, {water}"
        f"let down to {format_abv(charge.abv)} in the pot, in {runs} of {article} "
        f"{format_volume(pot)} still{given}."
    )


def _charge(found: Reach) -> list[Part]:
    parts = found.run.charge.parts
    rows = tuple((part.name, format_volume(part.volume_l), f"{part.abv:.1f}") for part in parts)
    tables: list[Part] = [Table((Column("charge", align="left"), Column("volume"), Column("% vol")), rows)]
    if found.run.bill:
        doses = tuple((dose.botanical.common_name, format_mass(dose.wet_mass_g)) for dose in found.run.bill)
        tables.append(Table((Column("botanical", align="left"), Column("mass")), doses))
    return tables


def _result(found: Reach) -> Facts:
    run, made = found.run, outcome(found.run)
    there = moment(run.course, run.points.keep_end)
    heads = run.setting.heads_l
    still = run.setting.still
    first, later = (format_power(w) for w in (still.heat_up_power_w, still.conditions.power_w))
    then = "" if first == later else f" to the first drop, then {later}"
    pairs = [
        ("together", f"{format_volume(made.charge_l)} at {format_abv(made.charge_abv)}"),
        ("power", f"{first}{then}"),
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
    if made.water_l is not None and made.bottled_l is not None and run.proofing is not None:
        plural = "" if made.bottles == 1 else "s"
        full = "" if made.bottles is None else f", {made.bottles} full bottle{plural}"
        all_runs = f" ({format_volume(found.runs * made.bottled_l)} in all)" if found.runs > 1 else ""
        bottled = f"{format_volume(made.bottled_l)} at {format_abv(run.proofing.target_abv)}"
        pairs.append(("bottled", f"{bottled} with {format_volume(made.water_l)} of water{full}{all_runs}"))
    return Facts(tuple(pairs))
