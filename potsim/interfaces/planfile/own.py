"""The tables [[own_botanical]] and [[own_compound]]: what the distiller adds to the library."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from potsim.data import read_table
from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.interfaces import units
from potsim.interfaces.numerals import leading_number, refusal, shown
from potsim.interfaces.planfile.keys import Key, measure, same, table_of, text, write_number
from potsim.interfaces.planfile.place import Place, Source, build, read_fields, several
from potsim.interfaces.wording import exact
from potsim.planning.botanicals.botanical import Botanical, Piece, Share, Spread, UsualDose

OWN = ("own_botanical", "own_compound")
_STATES = ("dried", "fresh")


def _spread(given: object) -> Spread:
    """Read ``"1.2 %"``, or low, typical and high in a list."""
    if not isinstance(given, list):
        typical = units.percent(given)  # type: ignore[arg-type]
        return Spread(typical, typical, typical)
    if len(given) != 3:
        raise refusal(given, "has not three figures", "low, typical and high", "0.8 %, 1.2 %, 2 %")
    return Spread(*(units.percent(item) for item in given))


def _write_spread(spread: Spread) -> str | list[str]:
    figures = [exact(pct, "%") for pct in (spread.low, spread.typical, spread.high)]
    return figures[0] if len(set(figures)) == 1 else figures


def _composition(given: object) -> tuple[Share, ...]:
    if not isinstance(given, dict):
        raise refusal(given, "will not do", "compounds and shares of the oil", '{ limonene = "70 %" }')
    return tuple(Share(text(name), _spread(share)) for name, share in given.items())


def _names(given: object) -> tuple[str, ...]:
    return tuple(text(item) for item in (given if isinstance(given, list) else [given]))


def _state(given: object) -> str:
    state = text(given)
    if state not in _STATES:
        raise UnknownNameError("state", state, _STATES)
    return state


def _usual(given: object) -> UsualDose:
    if not isinstance(given, list) or len(given) != 2:
        raise refusal(given, "will not do", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    low, high = (units.mass_g(item) for item in given)
    if low > high:
        raise refusal(given, "falls", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    return UsualDose(low, high)


def _molar_mass(given: object) -> float:
    allowed = "a molar mass in g/mol"
    number, unit = leading_number(given, allowed, "154.3 g/mol")
    if unit.replace(" ", "") != "g/mol":
        raise refusal(given, "has no unit" if not unit else "will not do", allowed, "154.3 g/mol")
    return float(number)


def _groups(given: object) -> dict[int, int]:
    allowed = "numbers of subgroups and how many of each"
    if not isinstance(given, dict) or not all(name.isascii() and name.isdigit() for name in given):
        raise refusal(given, "will not do", allowed, '{ "1" = 2, "2" = 3 }')
    return {int(name[:9]): int(units.count(n, "groups", whole=True)) for name, n in given.items()}


def _number(given: object) -> float:
    return units.count(given, "a ratio")  # type: ignore[arg-type]


OWN_BOTANICAL = {
    "name": Key("common_name", text, same, "spruce tips"),
    "category": Key("category", text, same, "leaf"),
    "oil_yield": Key("oil_yield_pct", _spread, _write_spread, "0.8 %"),
    "composition": Key(
        "composition",
        _composition,
        lambda shares: {share.compound_id: _write_spread(share.pct) for share in shares},
        '{ limonene = "70 %" }',
    ),
    "latin_names": Key("latin_names", _names, list, "Picea abies"),
    "aliases": Key("aliases", _names, list, "spruce shoots"),
    "part": Key("part", text, same, "young shoots"),
    "yield_state": Key("yield_state", _state, same, "dried"),
    "fresh_water": Key("fresh_water_fraction", units.share, lambda share: exact(share, "%", 100), "70 %"),
    "prepared": Key("prepared_usually", text, same, "whole"),
    "usual_dose_per_l": Key(
        "usual_dose",
        _usual,
        lambda dose: [exact(dose.low_g_per_l, "g"), exact(dose.high_g_per_l, "g")],
        '["2 g", "8 g"]',
    ),
    "remarks": Key("remarks", text, same, "picked in May"),
}
PIECE = {
    "mass": measure("mass_g", units.mass_g, "g", "1.5 g"),
    "name": Key("name", text, same, "shoot"),
    "state": Key("state", _state, same, "fresh"),
}
OWN_COMPOUND = {
    "name": Key("name", text, same, "pentanal"),
    "molar_mass": Key("molar_mass_g", _molar_mass, lambda m: exact(m, "g/mol"), "86.13 g/mol"),
    "groups": Key(
        "groups",
        _groups,
        lambda groups: {str(group): n for group, n in dict(groups).items()},
        '{ "1" = 1, "2" = 3, "20" = 1 }',
    ),
    "boils": measure("tb_k", units.temperature_k, "K", "103 °C"),
    "relative_to_ethanol": Key("relative_to_ethanol", _number, write_number, "0.4"),
}


def read_own(document: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """Read what a plan adds to the library.

    Parameters
    ----------
    document : mapping
        The file.
    source : Source
        Its name.

    Returns
    -------
    dict
        ``own_botanicals`` and ``own_compounds``, id to botanical or compound.

    Raises
    ------
    PotsimError
        If a key is unknown or missing, a compound unknown, or a name comes twice.
    """
    compounds: dict[str, Any] = {}
    for table, place in several(document, "own_compound", source):
        compound = _compound(read_fields(table, OWN_COMPOUND, place), place)
        _once(compound.id, compounds, place)
        compounds[compound.id] = compound
    known = {row["id"] for row in read_table("compounds.csv")} | set(compounds)
    botanicals: dict[str, Botanical] = {}
    for table, place in several(document, "own_botanical", source):
        botanical = _botanical(table, known, place)
        _once(botanical.id, botanicals, place)
        botanicals[botanical.id] = botanical
    return {"own_botanicals": botanicals, "own_compounds": compounds}


def _once(name: str, earlier: Mapping[str, Any], place: Place) -> None:
    if name in earlier:
        raise RequestError(f"{place.where('name')}: {shown(name)} is there already.", "Name each once.")


def _compound(fields: dict[str, Any], place: Place) -> Any:
    from potsim.liquid.compound import Compound

    for needed, example in (("name", "pentanal"), ("molar_mass_g", "86.13 g/mol")):
        if needed not in fields:
            key = needed.removesuffix("_g")
            raise RequestError(f"{place.where()} has no {key}.", f'Add for example {key} = "{example}".')
    if ("relative_to_ethanol" in fields) == ("groups" in fields and "tb_k" in fields):
        raise RequestError(
            f"{place.where()} does not tell how volatile it is.",
            "Give either groups and boils, or relative_to_ethanol.",
        )
    try:
        return Compound.own(**fields)
    except RangeError as error:
        key = next((k for k, known in OWN_COMPOUND.items() if known.field == error.argument), error.argument)
        raise RangeError(place.where(key), error.given, error.allowed, error.hint) from None


def _botanical(table: dict[str, Any], known: set[str], place: Place) -> Botanical:
    fields = read_fields(table, OWN_BOTANICAL, place, beside=["piece"])
    if "piece" in table:
        at = Place(place.source, f"{place.table} piece")
        inner = at.table_of(table["piece"], 'piece = { mass = "1.5 g", state = "fresh" }')
        fields["piece"] = build(Piece, read_fields(inner, PIECE, at), PIECE, at)
    for share in fields.get("composition", ()):
        if share.compound_id not in known:
            with place.blame("composition"):
                raise UnknownNameError("compound", share.compound_id, known)
    name = fields.get("common_name", "")
    fields["id"] = re.sub(r"\W+", "_", name.lower()).strip("_")
    botanical: Botanical = build(Botanical, fields, OWN_BOTANICAL, place)
    return botanical


def write_own(botanicals: Mapping[str, Botanical], compounds: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables of what a plan adds to the library; sources and cautions are not kept.

    Parameters
    ----------
    botanicals : mapping of str to Botanical
        Own botanicals.
    compounds : mapping of str to Compound
        Own compounds, made with `Compound.own`.

    Returns
    -------
    dict
        ``own_botanical`` and ``own_compound``, those that are not empty.
    """
    tables: dict[str, Any] = {}
    for botanical in botanicals.values():
        table = table_of(botanical, OWN_BOTANICAL)
        if botanical.piece is not None:
            table["piece"] = table_of(botanical.piece, PIECE)
        tables.setdefault("own_botanical", []).append(table)
    for compound in compounds.values():
        keys = {
            name: key for name, key in OWN_COMPOUND.items() if getattr(compound, key.field) not in (None, ())
        }
        tables.setdefault("own_compound", []).append(
            {name: key.write(getattr(compound, key.field)) for name, key in keys.items()}
        )
    return tables
