"""What a distiller reads of the library of botanicals."""

from __future__ import annotations

from collections.abc import Sequence

from potsim.interfaces.summary.tables import Column, Facts, Points, Section, Table
from potsim.interfaces.wording import format_mass
from potsim.liquid.compounds import compounds
from potsim.planning.botanicals.botanical import Botanical, Spread


def spread(given: Spread) -> str:
    """Return a typical value with its range, ``"1.2 (0.8 to 2)"``."""
    if given.low == given.typical == given.high:
        return f"{given.typical:g}"
    return f"{given.typical:g} ({given.low:g} to {given.high:g})"


def list_of(every: Sequence[Botanical]) -> Section:
    """Return the list of botanicals.

    Parameters
    ----------
    every : sequence of Botanical
        In the order of the list.

    Returns
    -------
    Section
        A table.
    """
    columns = (
        Column("name", align="left"),
        Column("part", align="left"),
        Column("as", align="left"),
        Column("oil", "%"),
        Column("usual dose", "g per L of charge", align="left"),
        Column("", align="left"),
    )
    rows = tuple(
        (
            one.common_name,
            one.part or one.category,
            one.yield_state,
            f"{one.oil_yield_pct.typical:g}",
            _dose(one),
            "caution" if one.cautions else "",
        )
        for one in every
    )
    more = "`potsim botanicals NAME` tells compounds, cautions and the source of every figure."
    return Section(f"{len(rows)} botanicals", (Table(columns, rows), more))


def _dose(one: Botanical) -> str:
    usual = one.usual_dose
    return "" if usual is None else f"{usual.low_g_per_l:g} to {usual.high_g_per_l:g}"


def sections_of(one: Botanical) -> tuple[Section, ...]:
    """Return all that is known of one botanical.

    Parameters
    ----------
    one : Botanical
        The botanical.

    Returns
    -------
    tuple of Section
        Names, figures, compounds, cautions and sources.
    """
    parts = [Section(one.common_name, (Facts(tuple(_facts(one))),)), _compounds(one)]
    if one.cautions:
        texts = tuple(f"{_stop(caution.text)} ({caution.source})" for caution in one.cautions)
        parts.append(Section("Take care", (Points(texts),)))
    return (*parts, _sources(one))


def _facts(one: Botanical) -> list[tuple[str, str]]:
    pairs = [
        ("Latin", ", ".join(one.latin_names)),
        ("also called", ", ".join(one.aliases)),
        ("part", one.part or one.category),
        ("oil", f"{spread(one.oil_yield_pct)} % of the {one.yield_state} mass"),
        ("usual dose", f"{_dose(one)} g {one.yield_state} for a litre of charge" if one.usual_dose else ""),
        ("used", one.usual_prepared),
    ]
    if one.piece is not None:
        pairs.append(("a piece", f"{one.piece.name}, {format_mass(one.piece.mass_g)} {one.piece.state}"))
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", f"{100.0 * one.fresh_water_fraction:.0f} % water"))
    pairs.append(("remarks", one.remarks))
    return [(label, text) for label, text in pairs if text]


def _compounds(one: Botanical) -> Section:
    names = {compound.id: compound.name for compound in compounds()}
    columns = (
        Column("compound", align="left"),
        Column("share", "%", align="left"),
        Column("of the", align="left"),
        Column("source", align="left"),
    )
    rows = tuple(
        (
            names.get(share.compound_id, share.compound_id),
            spread(share.pct),
            share.basis,
            share.source,
        )
        for share in sorted(one.composition, key=lambda share: -share.pct.typical)
    )
    rest = 100.0 - one.listed_pct
    said = f"The list accounts for {one.listed_pct:.0f} % of the oil; the other {rest:.0f} % is not followed."
    return Section("Compounds", (Table(columns, rows), said))


def _sources(one: Botanical) -> Section:
    pairs = [("oil", f"{one.yield_source} ({one.yield_confidence})")]
    if one.usual_dose is not None:
        pairs.append(("usual dose", one.usual_dose.source))
    if one.piece is not None:
        pairs.append(("a piece", one.piece.source))
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", one.fresh_water_source))
    return Section("Sources", (Facts(tuple(pairs)),))


def _stop(text: str) -> str:
    return text if text.endswith(".") else f"{text}."
