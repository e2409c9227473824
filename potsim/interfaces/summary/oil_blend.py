"""What a distiller reads of keeps poured together to come near the oils of another plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from potsim import __version__
from potsim.interfaces.summary.tables import Column, Facts, Points, Section, Table
from potsim.interfaces.wording import format_abv, format_mass, format_share, format_volume, plain, volumes
from potsim.planning.run import Run
from potsim.planning.trials.oil_blend import OilBlend, Poured

WORST = 8  # compounds told
RIGHT = 0.005  # so small a miss is none
HOW = (
    "Yields of oil differ between lots by a factor of two and more: pour a little, taste, then pour the "
    "rest. Only the botanicals' oil is compared, not what the base spirits bring of their own."
)


@dataclass(frozen=True)
class Blended:
    """Keeps blended to be like another plan.

    Parameters
    ----------
    like : Run
        What is aimed at.
    runs : tuple of Run
        Whose keeps are poured together.
    made : OilBlend
        The nearest there is.
    poured : Poured
        That, made up to a volume.
    """

    like: Run
    runs: tuple[Run, ...]
    made: OilBlend
    poured: Poured


def sections_of_blend(blended: Blended) -> tuple[Section, ...]:
    """Return what to pour, how near it comes, and which compounds it misses.

    Parameters
    ----------
    blended : Blended
        The blend.

    Returns
    -------
    tuple of Section
        Three.
    """
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
    near = (
        ("misfit", f"{format_share(made.misfit)} ({square})"),
        ("oil in all", _amount(made.oil_factor)),
    )
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
        Column("strength", "% vol"),
        Column("share", "%"),
    )
    rows = []
    for run, volume, text, share in zip(blended.runs, poured, told, blended.made.shares, strict=True):
        grams = volume / run.keep.volume_l * run.keep.mass_g
        cells = (text, f"{grams:.1f}", f"{run.keep.abv:.1f}", f"{100.0 * share:.1f}")
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
    """Return a blend as plain data.

    Parameters
    ----------
    blended : Blended
        The blend.

    Returns
    -------
    dict
        Numbers, texts, lists and dictionaries only.
    """
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
