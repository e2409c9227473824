"""What is the distiller's own: botanicals and compounds added to the library, and a still remembered."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from potsim.data import read_table
from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError, Where
from potsim.interfaces import quantities
from potsim.interfaces.quantities import shown
from potsim.interfaces.tomlfile import (
    Place,
    build,
    missing,
    parse,
    read_fields,
    read_file,
    several,
    write_value,
)
from potsim.interfaces.wording import exact
from potsim.planning import schema
from potsim.planning.botanicals import Botanical, Piece, find
from potsim.planning.schema import STATES, Key

if TYPE_CHECKING:
    from potsim.planning.learnt import Learnt

OWN = ("own_botanical", "own_compound")


def _key(name: str, field: str, kind: str, example: str, **said: Any) -> Key:
    made = Key(kind, example=example, name=name, **said)
    made.field = field
    return made


def _keys(table: type[Any], *keys: Key) -> dict[str, Key]:
    """Keys by name, with what their fields are when left out."""
    usual = {one.name: one for one in dataclasses.fields(table)}
    for key in keys:
        made = usual[key.field].default_factory
        key.usual = usual[key.field].default if made is dataclasses.MISSING else made()
        key.needed = key.usual is dataclasses.MISSING
    return {key.name: key for key in keys}


OWN_BOTANICAL = _keys(
    Botanical,
    _key("name", "common_name", schema.TEXT, "spruce tips", label="Name"),
    _key("like", "like", schema.TEXT, "juniper", label="Like"),
    _key("category", "category", schema.TEXT, "leaf", label="Kind of part"),
    _key("oil_yield", "oil_yield_pct", schema.SPREAD, "0.8 %", label="Oil in it"),
    _key("composition", "composition", schema.COMPOSITION, '{ limonene = "70 %" }', label="Its oil is"),
    _key("latin_names", "latin_names", schema.NAMES, "Picea abies", label="Latin name"),
    _key("aliases", "aliases", schema.NAMES, "spruce shoots", label="Other names"),
    _key("part", "part", schema.TEXT, "young shoots", label="Part"),
    _key("yield_state", "yield_state", schema.CHOICE, "dried", choices=STATES, what="state", label="Weighed"),
    _key("fresh_water", "fresh_water_fraction", schema.SHARE, "70 %", label="Water, fresh"),
    _key("prepared", "prepared_usually", schema.TEXT, "whole", label="Prepared"),
    _key("usual_dose_per_l", "usual_dose", schema.USUAL_DOSE, '["2 g", "8 g"]', label="Usual in a litre"),
    _key("remarks", "remarks", schema.TEXT, "picked in May", label="Remarks"),
)
PIECE = _keys(
    Piece,
    _key("mass", "mass_g", schema.MASS, "1.5 g"),
    _key("name", "name", schema.TEXT, "shoot"),
    _key("state", "state", schema.CHOICE, "fresh", choices=STATES),
)
OWN_COMPOUND = {
    key.name: key
    for key in (
        _key("name", "name", schema.TEXT, "pentanal"),
        _key("molar_mass", "molar_mass_g", schema.MOLAR_MASS, "86.13 g/mol"),
        _key("groups", "groups", schema.GROUPS, '{ "1" = 1, "2" = 3, "20" = 1 }'),
        _key("boils", "tb_k", schema.KELVIN, "103 °C"),
        _key("relative_to_ethanol", "relative_to_ethanol", schema.RATIO, "0.4"),
    )
}


def read_own(document: Mapping[str, Any], top: Place) -> dict[str, Any]:
    """Read what a plan adds to the library; faults are noted."""
    compounds: dict[str, Any] = {}
    for table, place in several(document, "own_compound", top):
        compound = _compound(read_fields(table, OWN_COMPOUND, place), place)
        if compound is not None and _once(compound.id, compounds, place):
            compounds[compound.id] = compound
    known = {row["id"] for row in read_table("compounds.csv")} | set(compounds)
    botanicals: dict[str, Botanical] = {}
    for table, place in several(document, "own_botanical", top):
        botanical = _botanical(table, known, place)
        if botanical is not None and _once(botanical.id, botanicals, place):
            botanicals[botanical.id] = botanical
    return {"own_botanicals": botanicals, "own_compounds": compounds}


def _once(name: str, earlier: Mapping[str, Any], place: Place) -> bool:
    with place.noting("name"):
        if name in earlier:
            raise RequestError.of("twice", given=name)
    return not place.faulty


def _compound(fields: dict[str, Any], place: Place) -> Any:
    from potsim.liquid.compounds import Compound  # start-up: only for compounds of one's own

    for name in ("name", "molar_mass"):
        key = OWN_COMPOUND[name]
        if key.field not in fields and not place.faulty:
            with place.noting():
                raise missing(name, key.example, f"own_compound.{name}")
    if place.faulty:
        return None
    if ("relative_to_ethanol" in fields) == ("groups" in fields and "tb_k" in fields):
        with place.noting():
            raise RequestError.of("no_volatility")
        return None
    keys = {key.field: name for name, key in OWN_COMPOUND.items()}
    with place.noting():
        try:
            return Compound.own(**fields)
        except RangeError as error:
            error.path = f"own_compound.{keys.get(error.path, error.path)}"
            raise
    return None


def _botanical(table: dict[str, Any], known: set[str], place: Place) -> Botanical | None:
    fields = read_fields(table, OWN_BOTANICAL, place, beside=["piece"])
    if "piece" in table:
        at = Place(place.source, "", f"{place.spot} piece", f"{place.path}.piece")
        inner = at.table_of(table["piece"], 'piece = { mass = "1.5 g", state = "fresh" }')
        fields["piece"] = build(Piece, read_fields(inner, PIECE, at), PIECE, at)
        place.faulty = place.faulty or at.faulty
    for share in fields.get("composition", ()):
        if share.compound_id not in known:
            with place.noting("composition"):
                raise UnknownNameError("compound", share.compound_id, known)
    like = None
    if "like" in fields:
        with place.noting("like"):
            like = find(fields["like"])
            fields = {**_as_in(like), **fields}
    name = fields.get("common_name", "")
    fields["id"] = re.sub(r"\W+", "_", name.lower()).strip("_")
    return build(Botanical, fields, OWN_BOTANICAL, place)


def _as_in(one: Botanical) -> dict[str, Any]:
    """What an own botanical takes of one of the library where it does not say it itself."""
    taken = ("category", "oil_yield_pct", "composition", "part", "yield_state", "piece", "prepared_usually")
    more = ("fresh_water_fraction", "fresh_water_source", "usual_dose", "yield_source", "yield_confidence")
    return {name: getattr(one, name) for name in (*taken, *more)}


def write_own(botanicals: Mapping[str, Botanical], compounds: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables of what a plan adds to the library; sources and cautions are not kept."""
    tables: dict[str, Any] = {}
    for botanical in botanicals.values():
        table = table_of(botanical, OWN_BOTANICAL)
        taken = _as_in(find(botanical.like)) if botanical.like else {}
        for name, key in OWN_BOTANICAL.items():
            if key.field in taken and getattr(botanical, key.field) == taken[key.field]:
                table.pop(name, None)
        if botanical.piece is not None and botanical.piece != taken.get("piece"):
            table["piece"] = table_of(botanical.piece, PIECE)
        tables.setdefault("own_botanical", []).append(table)
    for compound in compounds.values():
        said = {name: (key, getattr(compound, key.field)) for name, key in OWN_COMPOUND.items()}
        tables.setdefault("own_compound", []).append(
            {name: write_value(key, value) for name, (key, value) in said.items() if value not in (None, ())}
        )
    return tables


def table_of(thing: Any, known: Mapping[str, Key]) -> dict[str, Any]:
    """Return a dataclass as one table; fields that are as by default are left out."""
    return {
        name: write_value(key, getattr(thing, key.field))
        for name, key in known.items()
        if getattr(thing, key.field) != key.usual
    }


# --- The file of a still remembered: a table that plans name, and how sure it is.


STILL_HEADER = """\
# A still learnt from readings. A plan takes it over by  from_file = {name}  in its [still];
# what that table says itself counts before what is here.
"""


def _loss_text(w_per_k: float) -> str:
    return exact(float(f"{w_per_k:.4g}"), "W/K")


def _share_text(share: float) -> str:
    return exact(float(f"{100.0 * share:.4g}"), "%")


NUMBERS: dict[str, tuple[str, Callable[[str], float], Callable[[float], str]]] = {
    "neck_loss": ("neck_w_per_k", quantities.heat_loss_w_per_k, _loss_text),
    "heat_share": ("heat_share", quantities.share, _share_text),
}
"""Keys of a still's file: the number that is remembered, how it is read and written."""


def still_text(learnt: Learnt, name: str) -> str:
    """Write what is remembered of a still as the text of its file."""
    known = [(key, getattr(learnt, field), write) for key, (field, _, write) in NUMBERS.items()]
    known = [(key, number, write) for key, number, write in known if number is not None]
    lines = [STILL_HEADER.format(name=json.dumps(name, ensure_ascii=False)), "[still]"]
    lines += [f'{key} = "{write(number.value)}"' for key, number, write in known]
    lines += [
        "",
        "# Standard errors, and how many runs they come from; the next run is weighed against them.",
        "[learnt]",
    ]
    for key, number, write in known:
        lines += [f'{key}_error = "{write(number.error)}"', f"{key}_runs = {number.runs}"]
    lines.append(f"runs = [{', '.join(json.dumps(mark) for mark in learnt.runs)}]")
    return "\n".join(lines) + "\n"


def read_still(path: Path) -> Learnt:
    """Read the file of a still remembered."""
    from potsim.planning.learnt import Known, Learnt  # start-up: a plan needs no fit

    document = parse(read_file(path), path.name)
    still, errors = document.get("still"), document.get("learnt")
    if not isinstance(still, dict) or not isinstance(errors, dict):
        raise RequestError.of("no_still", given=path.name)
    try:
        found = {field: _known(still, errors, key) for key, (field, _, _) in NUMBERS.items()}
        known = {field: Known(*one) if one else None for field, one in found.items()}
        return Learnt(known["neck_w_per_k"], known["heat_share"], _runs(errors))
    except PotsimError as error:
        raise error.at(Where(path.name)) from None


def is_still(path: Path) -> bool:
    """Whether a file is one of a still remembered, and no plan."""
    try:
        document = parse(read_file(path), path.name)
    except PotsimError:
        return False
    return "learnt" in document and "charge" not in document


def _runs(errors: dict[str, Any]) -> tuple[str, ...]:
    runs = errors.get("runs", [])
    if not isinstance(runs, list) or not all(isinstance(mark, str) for mark in runs):
        raise RequestError.of("no_marks", "learnt.runs", given=shown(runs))
    return tuple(runs)


def _known(still: dict[str, Any], errors: dict[str, Any], key: str) -> tuple[float, float, int] | None:
    if key not in still:
        return None
    _, read, _ = NUMBERS[key]
    # Files of before counted the runs of a loss under its name without "_loss".
    runs = errors.get(f"{key}_runs", errors.get(f"{key.removesuffix('_loss')}_runs", 1))
    error = read(errors.get(f"{key}_error", ""))
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < 1 or error <= 0.0:
        raise RequestError.of("no_error", f"learnt.{key}_error", given=shown(runs), key=key)
    return read(still[key]), error, runs
