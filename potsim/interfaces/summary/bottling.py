"""What a distiller reads of the bottles of a run: spirit added, water, oil, alcohol and money."""

from __future__ import annotations

from potsim.interfaces.summary.jars import proofing_section
from potsim.interfaces.summary.tables import Facts, Section
from potsim.interfaces.wording import format_abv, format_share, format_volume
from potsim.planning.run import Run

CLOUDS = {"clear": "stays clear", "may cloud": "may cloud", "cloudy": "clouds"}


def bottling_sections(run: Run) -> tuple[Section, ...]:
    """Return how the keep becomes what is bottled.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        The proofing, with the spirit by which the keep is stretched and the oil in the bottle; none if no
        bottling strength is named.
    """
    made = run.proofing
    if made is None:
        return ()
    section = proofing_section(made)
    facts, *rest = section.parts
    if not isinstance(facts, Facts):
        raise TypeError("A proofing begins with its facts.")
    pairs = (*_stretched(run), *facts.pairs[1:], *_oil(run))
    return (Section(section.title, (Facts(pairs), *rest)),)


def costs_sections(run: Run) -> tuple[Section, ...]:
    """Return where the alcohol went and, where the plan says prices, what a bottle comes to.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        Facts; none for water without a price.
    """
    found = run.costs
    went = "kept" if run.proofing is None else "bottled"
    stayed = "in heads, tails, jars not kept and the pot"
    share = f", {format_share(found.alcohol_out_l / found.alcohol_in_l)}" if found.alcohol_in_l > 0.0 else ""
    alcohol = (
        ("alcohol in", f"{format_volume(found.alcohol_in_l)} of pure alcohol"),
        ("out", f"{format_volume(found.alcohol_out_l)} {went}{share}"),
        ("left", f"{format_volume(found.alcohol_left_l)} {stayed}"),
    )
    pairs = (*(alcohol if found.alcohol_in_l > 0.0 else ()), *_money(run))
    priced = found.spent is not None or run.plan.bottling.bottle_price is not None
    return (Section("Alcohol and money" if priced else "Alcohol", (Facts(pairs),)),) if pairs else ()


def _money(run: Run) -> list[tuple[str, str]]:
    """What the plan says prices of, in its own money."""
    found, price = run.costs, run.plan.bottling.bottle_price
    pairs = []
    if found.spent is not None:
        pairs.append(("spent", f"{found.spent:.2f} on the charge"))
        if found.unpriced:
            pairs.append(("not counted", f"{', '.join(found.unpriced)}: no price is known"))
    if found.bottles and price is not None:
        empty = f"{found.bottles} empty ones at {price:.2f}: {found.bottles * price:.2f}"
        pairs.append(("bottles", empty))
    if found.per_bottle is not None:
        least = "at least " if found.unpriced else ""
        beside = "with the bottle, " if price is not None else ""
        told = f"{least}{found.per_bottle:.2f}, {beside}without botanicals and heat"
        pairs.append(("a full bottle", told))
    return pairs


def _stretched(run: Run) -> tuple[tuple[str, str], ...]:
    keep, by, both = run.keep, run.plan.bottling.stretch, run.let_down
    kept = ("keep", f"{format_volume(keep.volume_l)} at {format_abv(keep.abv)}")
    if by is None:
        return (kept,)
    return (
        kept,
        ("spirit added", f"{format_volume(by.spirit_l)} at {format_abv(by.abv)}"),
        ("together", f"{format_volume(both.volume_l)} at {format_abv(both.abv)}"),
    )


def _oil(run: Run) -> tuple[tuple[str, str], ...]:
    found = run.cloud
    if found is None or not run.bill:
        return ()
    verdict = "" if found.verdict is None else f", which {CLOUDS[found.verdict]} at this strength"
    return (("oil in it", f"{found.oil_mg_per_l:.0f} mg/L of the botanicals{verdict}"),)
