"""What a distiller reads of the bottles of a run: spirit added, water, oil, alcohol and money."""

from __future__ import annotations

from potsim.interfaces.summary_jars import proofing_section
from potsim.interfaces.tables import Facts, Section
from potsim.interfaces.wording import format_abv, format_volume
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
