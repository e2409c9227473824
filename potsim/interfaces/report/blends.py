"""What a distiller reads of spirits poured together: of trials, and of keeps that come near another plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from potsim import __version__
from potsim.interfaces.report.cloud import GLASS, level, limit_words
from potsim.interfaces.report.tables import Column, Facts, Part, Points, Section, Table
from potsim.interfaces.trialfile import amount, oil, ratio
from potsim.interfaces.wording import (
    counted,
    format_abv,
    format_mass,
    format_share,
    format_volume,
    in_column,
    plain,
    unit_of,
    volumes,
)
from potsim.planning.blends import BlendOil, OilBlend, Poured, TrialBlend
from potsim.planning.comparison import bottled_abv, bottled_l
from potsim.planning.notes import sentences
from potsim.planning.run import Run
from potsim.records import dataclass

# --- Bottled spirits of trials poured together.


def sections_of_blend(made: TrialBlend) -> tuple[Section, ...]:
    """Return bottled spirits poured together."""
    columns = (Column("spirit", align="left"), Column("parts"), Column("pour"), Column("of"))
    poured = Table(
        (*columns, Column("at", unit_of("abv_column"))),
        tuple(
            (
                share.trial.name,
                f"{share.parts:g}",
                format_volume(share.poured_l),
                format_volume(share.bottled_l),
                in_column(share.abv),
            )
            for share in made.shares
        ),
    )
    comes = (
        ("comes to", f"{format_volume(made.volume_l)} at {format_abv(made.abv)}"),
        ("pure alcohol", format_volume(made.ethanol_l)),
        *_bottles_cloud(made),
    )
    parts: list[Part] = [poured, Facts(comes)]
    if made.clear_limit is not None:
        parts.append(Points((GLASS,)))
    sections = [Section("Poured together", tuple(parts))]
    if made.oils:
        sections.append(Section("Oil for a litre", (_blended(made.oils, len(made.shares)),)))
    sections.append(_one_run(made))
    return tuple(sections)


def _bottles_cloud(made: TrialBlend) -> list[tuple[str, str]]:
    """Whether the blend clouds, as far as that can be told."""
    limit = made.clear_limit
    if limit is None:
        none = "not told: there is no alcohol" if made.abv <= 0.0 else "none: no botanicals, no oil of theirs"
        return [("cloud", none)]
    said = f"{level(limit, made.abv)} at {format_abv(made.abv)}, {limit_words(limit)}, near 20 °C"
    return [("cloud", said)]


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
        (Column("charge", align="left"), Column("volume"), Column("strength", unit_of("abv_column"))),
        tuple((part.name, format_volume(part.volume_l), in_column(part.abv)) for part in run.charge.parts),
    )
    parts: list[Part] = [charge]
    if run.bill:
        bill = Table(
            (Column("botanical", align="left"), Column("amount"), Column("in the", align="left")),
            tuple((d.botanical.common_name, amount(d), d.dose.where) for d in run.bill),
        )
        parts.append(bill)
    gives = f"{_bottled(run)}, from {format_volume(run.charge.volume_l)} at {format_abv(run.charge.abv)}"
    parts.append(Facts((("gives", gives), ("keeps", f"{format_share(_kept(run))} of the alcohol"))))
    if made.notes:
        parts.append(Points(sentences(made.notes)))
    return Section("One run in its place", tuple(parts))


def _kept(run: Run) -> float:
    return run.keep.ethanol_l / run.charge.ethanol_l if run.charge.ethanol_l > 0.0 else 0.0


def _bottled(run: Run) -> str:
    made = run.proofing
    count = "" if made is None or made.bottles is None else f", {counted(made.bottles, 'bottle')}"
    return f"{format_volume(bottled_l(run))} at {format_abv(bottled_abv(run))}{count}"


# --- What a distiller reads of keeps poured together to come near the oils of another plan.


WORST = 8  # compounds told
RIGHT = 0.005  # so small a miss is none
HOW = (
    "Yields of oil differ between lots by a factor of two and more: pour a little, taste, then pour the "
    "rest. Only the botanicals' oil is compared, not what the base spirits bring of their own."
)


@dataclass(frozen=True)
class Blended:
    """Keeps blended to be like another plan."""

    like: Run  # what is aimed at
    runs: tuple[Run, ...]  # whose keeps are poured together
    made: OilBlend  # the nearest there is
    poured: Poured  # that, made up to a volume


def sections_of_oil_blend(blended: Blended) -> tuple[Section, ...]:
    """Return what to pour, how near it comes, and which compounds it misses."""
    made, down = blended.made, blended.poured.proofing
    whole = f"{format_volume(down.volume_l)} at {format_abv(down.target_abv)}"
    water = f"{format_mass(1000.0 * down.water_kg)}, or {format_volume(down.water_l)} at 20 °C"
    facts = (
        ("together", f"{format_volume(down.from_l)} at {format_abv(down.from_abv)}"),
        ("water", water),
        ("gives", whole),
        ("at most", f"{format_volume(blended.poured.most_l)}, from the keeps of these runs"),
    )
    square = "root mean square over the compounds; 0 is a perfect match"
    near = (("misfit", f"{format_share(made.misfit)} ({square})"), ("oil in all", _amount(made.oil_factor)))
    return (
        Section(f"To pour for {whole}, like {blended.like.plan.title}", (_pour(blended), Facts(facts))),
        Section("How near it comes", (Facts(near), Points((HOW,)))),
        Section("What it misses, the worst first", (_worst(blended),)),
    )


def _pour(blended: Blended) -> Table:
    poured = blended.poured.volumes_l
    unit, told = volumes(poured)
    columns = (
        Column("keep of", align="left"),
        Column("pour", unit),
        Column("mass", "g"),
        Column("strength", unit_of("abv_column")),
        Column("share", "%"),
    )
    rows = []
    for run, volume, text, share in zip(blended.runs, poured, told, blended.made.shares, strict=True):
        grams = volume / run.keep.volume_l * run.keep.mass_g
        cells = (text, f"{grams:.1f}", in_column(run.keep.abv), f"{100.0 * share:.1f}")
        rows.append((run.plan.title, *cells))
    return Table(columns, tuple(rows))


def _amount(factor: float) -> str:
    times = f"{factor:.2g} times" if factor < 9.95 else f"{factor:.0f} times"
    if factor > 1.05:
        more = plain(factor - 1.0, 2 if factor < 9.95 else 0)
        return (
            f"{times} what is wanted, at the same strength: {more} L of neutral spirit of that strength to "
            "each litre bring it down"
        )
    if factor < 0.95:
        return f"only {times} what is wanted, at the same strength; pouring cannot make it richer"
    return "as wanted, at the same strength"


def _worst(blended: Blended) -> Table | str:
    names = _names(blended)
    worst = [one for one in blended.made.misses[:WORST] if abs(one.miss) > RIGHT]
    if not worst:
        return "Nothing: every compound is within 0.5 %."
    columns = (
        Column("compound", align="left"),
        Column("wanted", "mg/L"),
        Column("matched", "mg/L"),
        Column("off by", "%"),
    )
    rows = tuple(
        (
            names[one.compound_id],
            f"{one.wanted_mg_per_l:.3g}",
            f"{one.matched_mg_per_l:.3g}",
            f"{100.0 * one.miss:+.0f}",
        )
        for one in worst
    )
    return Table(columns, rows)


def _names(blended: Blended) -> dict[str, str]:
    runs: Sequence[Run] = (blended.like, *blended.runs)
    every = [one for run in runs for flavour in run.flavours for one in flavour.compounds]
    return {one.compound_id: one.name for one in every}


def plain_blend(blended: Blended) -> dict[str, Any]:
    """Return a blend as plain data."""
    made, poured, names = blended.made, blended.poured, _names(blended)
    parts = zip(blended.runs, made.shares, poured.volumes_l, strict=True)
    return {
        "potsim": __version__,
        "like": blended.like.plan.title,
        "plans": [
            {"title": run.plan.title, "share": share, "volume_l": volume, "abv": run.keep.abv}
            for run, share, volume in parts
        ],
        "together_l": poured.proofing.from_l,
        "together_abv": poured.proofing.from_abv,
        "water_l": poured.proofing.water_l,
        "water_kg": poured.proofing.water_kg,
        "volume_l": poured.proofing.volume_l,
        "abv": poured.proofing.target_abv,
        "most_l": poured.most_l,
        "misfit": made.misfit,
        "oil_factor": made.oil_factor,
        "compounds": [
            {
                "compound_id": one.compound_id,
                "name": names[one.compound_id],
                "wanted_mg_per_l": one.wanted_mg_per_l,
                "blend_mg_per_l": made.oil_mg_per_l[one.compound_id],
                "matched_mg_per_l": one.matched_mg_per_l,
                "miss": one.miss,
            }
            for one in made.misses
        ],
    }
