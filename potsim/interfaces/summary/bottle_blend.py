"""What a distiller reads of bottled spirits of trials poured together."""

from __future__ import annotations

from collections.abc import Sequence

from potsim.interfaces.summary.bottling import CLOUDS
from potsim.interfaces.summary.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.trial_words import amount, oil, ratio
from potsim.interfaces.wording import format_abv, format_share, format_volume
from potsim.planning.cloud import SOONER, limit_words
from potsim.planning.run import Run
from potsim.planning.trials.in_bottle import bottled_abv, bottled_l
from potsim.planning.trials.trial_blend import BlendOil, TrialBlend


def sections_of_blend(made: TrialBlend) -> tuple[Section, ...]:
    """Return bottled spirits poured together.

    Parameters
    ----------
    made : TrialBlend
        The blend.

    Returns
    -------
    tuple of Section
        What is poured, what it holds, and one run in its place.
    """
    columns = (Column("spirit", align="left"), Column("parts"), Column("pour"), Column("of"))
    poured = Table(
        (*columns, Column("at", "% vol")),
        tuple(
            (
                share.trial.name,
                f"{share.parts:g}",
                format_volume(share.poured_l),
                format_volume(share.bottled_l),
                f"{share.abv:.1f}",
            )
            for share in made.shares
        ),
    )
    comes = (
        ("comes to", f"{format_volume(made.volume_l)} at {format_abv(made.abv)}"),
        ("pure alcohol", format_volume(made.ethanol_l)),
        *_clouds(made),
    )
    parts: list[Part] = [poured, Facts(comes)]
    if made.clear_limit is not None:
        parts.append(Points((SOONER,)))
    sections = [Section("Poured together", tuple(parts))]
    if made.oils:
        sections.append(Section("Oil for a litre", (_blended(made.oils, len(made.shares)),)))
    sections.append(_one_run(made))
    return tuple(sections)


def _clouds(made: TrialBlend) -> list[tuple[str, str]]:
    """Whether the blend clouds, as far as that can be told."""
    limit = made.clear_limit
    if limit is None:
        none = "not told: there is no alcohol" if made.abv <= 0.0 else "none: no botanicals, no oil of theirs"
        return [("cloud", none)]
    verdict = CLOUDS[limit.verdict(made.abv)]
    return [("cloud", f"{verdict} at {format_abv(made.abv)}: {limit_words(limit)}, near 20 °C")]


def _blended(oils: Sequence[BlendOil], spirits: int) -> Table:
    columns = [Column("botanical", align="left")]
    if spirits <= 3:
        columns += [Column(f"spirit {k + 1}", "mg/L") for k in range(spirits)]
    columns += [Column("blend", "mg/L"), Column("one run", "mg/L"), Column("run to blend")]
    rows = []
    for line in oils:
        each = [oil(content) for content in line.each_mg_per_l] if spirits <= 3 else []
        change = line.run_mg_per_l / line.blend_mg_per_l if line.blend_mg_per_l else None
        both = (oil(line.blend_mg_per_l), oil(line.run_mg_per_l), ratio(change))
        rows.append((line.label, *each, *both))
    return Table(tuple(columns), tuple(rows))


def _one_run(made: TrialBlend) -> Section:
    run = made.run
    charge = Table(
        (Column("charge", align="left"), Column("volume"), Column("strength", "% vol")),
        tuple((part.name, format_volume(part.volume_l), f"{part.abv:.1f}") for part in run.charge.parts),
    )
    parts: list[Part] = [charge]
    if run.bill:
        bill = Table(
            (Column("botanical", align="left"), Column("amount"), Column("in the", align="left")),
            tuple((d.botanical.common_name, amount(d.dose), d.dose.where) for d in run.bill),
        )
        parts.append(bill)
    gives = f"{_bottled(run)}, from {format_volume(run.charge.volume_l)} at {format_abv(run.charge.abv)}"
    parts.append(Facts((("gives", gives), ("keeps", f"{format_share(_kept(run))} of the alcohol"))))
    if made.notes:
        parts.append(Points(made.notes))
    return Section("One run in its place", tuple(parts))


def _kept(run: Run) -> float:
    return run.keep.ethanol_l / run.charge.ethanol_l if run.charge.ethanol_l > 0.0 else 0.0


def _bottled(run: Run) -> str:
    made = run.proofing
    count = "" if made is None or made.bottles is None else f", {made.bottles} bottles"
    return f"{format_volume(bottled_l(run))} at {format_abv(bottled_abv(run))}{count}"
