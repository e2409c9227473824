"""The plan file: TOML text to a `Plan`, every fault found in one go, and a `Plan` back to text."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from potsim.data import read_text
from potsim.errors import RequestError, UnknownNameError, require_sort
from potsim.interfaces import output
from potsim.interfaces.ownfile import OWN, read_own, table_of, write_own
from potsim.interfaces.quantities import Amount
from potsim.interfaces.tomlfile import (
    Place,
    Source,
    build,
    missing,
    not_too_deep,
    other_file,
    parse,
    read_fields,
    read_file,
    read_value,
    several,
    write_value,
)
from potsim.interfaces.wording import plural
from potsim.planning import schema
from potsim.planning.botanicals import spelling
from potsim.planning.plan import (
    TABLES,
    BotanicalDose,
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    LeftOver,
    Plan,
    PowerStep,
    Result,
    StillPlan,
    Stop,
    Stretch,
    Tasting,
    Uncertainty,
)
from potsim.planning.schema import Key, keys_of

if TYPE_CHECKING:
    from potsim.planning.botanicals import Botanical, Library
    from potsim.planning.cloud import Glass

TOP_TABLES = tuple(name for name in TABLES if "." not in name)
TITLE = {**keys_of(Plan), "parent": Key(schema.TEXT, example="trial-1.toml", name="parent")}
TITLE["parent"].field = "parent"
HAZE = ("clouded_at", "clouded_at_c", "stream_hazy_at")  # what a result says of a haze
LEFT_OVER = keys_of(LeftOver)
WATER = {"water", "wasser", "leitungswasser", "quellwasser", "eau", "agua", "acqua"}  # accents do not count


def is_water(name: str) -> bool:
    """Whether a part of the charge is water by its name, in any of the kitchens, and needs no strength."""
    words = {spelling(word) for word in name.replace("'", " ").split()}
    return bool(words & WATER) and "vie" not in words  # eau de vie is none


# --- The tables of a plan file made into a `Plan`.


def load(path: Path, chain: tuple[Path, ...] = ()) -> Plan:
    """Return the plan in a file."""
    source, document = opened(path, chain)
    return plan_of(document, source)


def opened(path: Path, chain: tuple[Path, ...] = ()) -> tuple[Source, dict[str, Any]]:
    """Return a file as a source of tables, and its tables."""
    text = read_file(path)
    source = Source(path.name, path.parent, (*chain, Path(os.path.realpath(path))), text)
    return source, parse(text, source.name)


def plan_of(document: Mapping[str, Any], source: Source, *, trial: bool = False) -> Plan:
    """Return the plan that the tables of a file describe.

    All faults are refused together, with those that the source has already. Of ``[result]`` and ``[[note]]``
    only the writing is looked at, and not even that if they are read as those of a ``trial``.
    """
    top = Place(source, "")
    given = read_fields(document, TITLE, top, beside=(*TOP_TABLES, *OWN))
    given.pop("parent", None)
    if not trial:
        _table(document, "result", top, Result, ranged=False)
        for table, place in several(document, "note", top):
            read_fields(table, keys_of(Tasting), place, ranged=False)
    own = read_own(document, top)
    charge = [_ingredient(table, place) for table, place in several(document, "charge", top)]
    fields = dict(
        given,
        charge=tuple(part for part in charge if part is not None),
        still=_still(document.get("still", {}), top),
        cuts=_read_cuts(document.get("cuts", {}), top),
        jars=_simple(JarPlan, document, "jars", top),
        bottling=_bottling(document, top),
        uncertainty=_simple(Uncertainty, document, "uncertainty", top),
        botanicals=_bill(document, top, own),
        **own,
    )
    if fields["cuts"] is not None and not any("botanical" in fault.path for fault in source.faults):
        _over_in_bill(fields, top)
    if not charge and not document.get("charge"):
        with top.noting():
            Plan(())
    source.refuse_faults()
    if "units" not in fields and source.systems.count("us") > source.systems.count("metric"):
        fields["units"] = "us"
    return Plan(**fields)


def _place(top: Place, name: str) -> Place:
    """The place of a table that stands once."""
    words = name.replace(".", "] ", 1) if "." in name else f"{name}]"
    return Place(top.source, name, f"[{words}", name)


def _table(
    document: Mapping[str, Any], name: str, top: Place, kind: type[Any], *, ranged: bool = True
) -> tuple[dict[str, Any], Place]:
    """Read the keys of a table that stands once."""
    place = _place(top, name)
    table = place.table_of(document.get(name, {}), f"[{name}]")
    return read_fields(table, keys_of(kind), place, ranged=ranged), place


def _simple(kind: type[Any], document: Mapping[str, Any], name: str, top: Place) -> Any:
    """Make the dataclass of a table without tables inside."""
    fields, place = _table(document, name, top, kind)
    return build(kind, fields, keys_of(kind), place)


def read_result(document: Mapping[str, Any], source: Source) -> Result | None:
    """Read what came of a run; faults are noted."""
    if "result" not in document:
        return None
    fields, place = _table(document, "result", Place(source, ""), Result)
    if "bottled" in fields:
        fields["bottled"] = str(fields["bottled"])
    return build(Result, fields, keys_of(Result), place)


def read_notes(document: Mapping[str, Any], source: Source) -> tuple[Tasting, ...]:
    """Read what was tasted; faults are noted."""
    found = []
    for table, place in several(document, "note", Place(source, "")):
        fields = read_fields(table, keys_of(Tasting), place)
        if "tasted_at" in fields:
            fields["tasted_at"] = str(fields["tasted_at"])
        found.append(build(Tasting, fields, keys_of(Tasting), place))
    return tuple(note for note in found if note is not None)


def _ingredient(table: dict[str, Any], place: Place) -> Ingredient | LeftOver | None:
    if "from_run" in table:
        return _left_over(table, place)
    keys = keys_of(Ingredient)
    fields = read_fields(table, keys, place, beside=["from_run"])
    if "abv" not in table and not is_water(str(table.get("name", ""))):
        with place.noting():
            error = missing("abv", keys["abv"].example, "charge.abv")
            error.values["also"] = "no_alcohol"
            raise error
    fields.setdefault("name", fields.get("kind") or ("spirit" if fields.get("abv") else "water"))
    place.typed.setdefault("name", None)
    return build(Ingredient, fields, keys, place)


def _left_over(table: dict[str, Any], place: Place) -> LeftOver | None:
    """Jars of an earlier run: of a plan file, or of a plan written out in place of its name."""
    odd = [name for name in table if name in keys_of(Ingredient) and name not in LEFT_OVER]
    for name in odd:
        with place.noting(name):
            raise RequestError.of("conflict", other="from_run", of="from_run")
    fields = read_fields(table, LEFT_OVER, place, beside=["from_run", *odd])
    run, source = table["from_run"], place.source
    with place.noting("from_run"):
        if isinstance(run, dict):
            not_too_deep(source)
            inside = Source(
                source.name,
                source.folder,
                (*source.chain, Path()),
                source.text,
                ".".join(part for part in (source.root, place.path, "from_run") if part),
            )
            fields["plan"] = plan_of(run, inside)
            fields.setdefault("name", _of_run(fields, fields["plan"].title))
        else:
            path = other_file(run, source)
            fields.setdefault("name", _of_run(fields, path.stem))
            fields["plan"] = load(path, source.chain)
    place.typed.setdefault("name", None)
    return build(LeftOver, fields, LEFT_OVER, place)


def _of_run(fields: Mapping[str, Any], run: str) -> str:
    """What is taken of an earlier run."""
    return f"jars of {run}" if fields.get("jars") else f"all of {run}"


def _still(value: object, top: Place) -> StillPlan | None:
    place = _place(top, "still")
    return build(StillPlan, _still_fields(value, place), keys_of(StillPlan), place)


def _still_fields(value: object, place: Place) -> dict[str, Any]:
    """Read [still]; what it does not say is taken from the file it names."""
    table = place.table_of(value, "[still]")
    fields = read_fields(table, keys_of(StillPlan), place, beside=["power_step", "from_file"])
    if "power_step" in table:
        keys = keys_of(PowerStep)
        steps = [
            build(PowerStep, read_fields(step, keys, at), keys, at)
            for step, at in several(table, "still.power_step", place)
        ]
        place.faulty = place.faulty or None in steps
        fields["power_steps"] = tuple(steps)
    if "from_file" not in table:
        return fields
    taken: dict[str, Any] = {}
    with place.noting("from_file"):
        other, document = opened(other_file(table["from_file"], place.source), place.source.chain)
        if "still" not in document:
            raise RequestError.of("no_still_in", given=other.name)
        taken = _still_fields(document["still"], _place(Place(other, ""), "still"))
        other.refuse_faults()
    if {"altitude_m", "pressure_hpa"} & set(fields):
        taken.pop("altitude_m", None)
        taken.pop("pressure_hpa", None)
    return {**taken, **fields}


def _bill(document: Mapping[str, Any], top: Place, own: Mapping[str, Any]) -> tuple[BotanicalDose, ...]:
    """Read the bill, each name checked against the library and the plan's own botanicals."""
    if "botanical" not in document:
        return ()
    # a plan without a bill reads no library
    # start-up: a plan without a bill reads no library
    from potsim.planning.botanicals import extend, library

    among = library()
    with Place(top.source, "", "[[own_botanical]]", "own_botanical").noting():
        among = extend(among, own["own_botanicals"])
    bill, keys = [], keys_of(BotanicalDose)
    for table, place in several(document, "botanical", top):
        fields = read_fields(table, keys, place)
        amount = _amount(fields, place)
        dose = build(BotanicalDose, fields, keys, place)
        if "name" in fields:
            said = {name: fields[name] for name in ("name", "state", "counted", "like") if name in fields}
            with place.noting("like" if "like" in said else "name"):
                found = _meant(BotanicalDose(**said, pieces=1.0), among)
                if dose is not None and amount not in (None, "g"):
                    with place.noting("amount"):
                        _refuse_bare(dose, found)
                        dose = replace(dose, counted=piece_of(found, amount))
        bill.append(dose)
    return tuple(dose for dose in bill if dose is not None)


def _meant(dose: BotanicalDose, among: Library) -> Botanical:
    from potsim.planning.botanicals import meant  # a plan without a bill reads no library

    try:
        return meant(dose, among)[0]
    except UnknownNameError as error:
        if dose.like is None and not error.near:
            error.values["also"] = "like"
        raise


DUST_G = 0.03  # pieces below, such as seeds, nobody counts
LIGHT_G = 1.0  # pieces below are as likely weighed as counted


def _refuse_bare(dose: BotanicalDose, found: Botanical) -> None:
    """Refuse a bare number of what is small: 12 juniper may be grams, 12 juniper berries not."""
    piece = found.piece
    if piece is not None and piece.mass_g >= DUST_G and any(map(found.counted_by, dose.name.split())):
        return
    if dose.counted == "" and piece is not None and (dose.pieces or 0.0) > 1.0 and piece.mass_g < LIGHT_G:
        raise RequestError.of("bare_number", given=dose.pieces, piece=piece.name)


GENERAL = ("piece", "pc", "whole")  # words for a piece of anything
SINGLE = ("seed", "berry", "bud", "pod", "roasted bean")  # kinds of which one is a piece


def piece_of(botanical: Botanical, word: str) -> str:
    """Return the name of the piece that a word counts; refused where it is none of the botanical's.

    ``"2 cloves"`` and ``"3 pieces"`` count pieces too; half a lemon is half of its peel.
    """
    piece, fruit = botanical.piece, botanical.fruit
    if not word and piece is not None:
        return piece.name
    if fruit is not None and spelling(word) in map(spelling, botanical.fruit_words):
        return fruit.name
    said = {*GENERAL, *(map(spelling, botanical.names) if botanical.category in SINGLE else ())}
    if piece is not None and (spelling(word) in said or botanical.counted_by(word)):
        return piece.name
    if piece is None:
        raise RequestError.of("no_piece_weight", given=word, name=botanical.common_name)
    known = [[one.name, one.mass_g, one.state] for one in (piece, fruit) if one]
    raise RequestError.of(
        "other_piece", given=word, allowed=piece.name, name=botanical.common_name, pieces=known
    )


def _amount(fields: dict[str, Any], place: Place) -> str | None:
    """Turn an amount into mass or pieces; the word that is counted, if there is one."""
    amount: Amount | None = fields.get("counted")
    if amount is None:
        return None
    fields["counted"] = amount.of
    both = [name for name in ("mass", "pieces") if name in place.typed]
    if both:
        with place.noting("amount"):
            raise RequestError.of("conflict", other=both[0])
    fields["mass_g" if amount.of == "g" else "pieces"] = amount.size
    return amount.of


def _over_in_bill(fields: Mapping[str, Any], top: Place) -> None:
    """Refuse a stop that waits for a botanical that is not there."""
    doses = [dose.name for dose in fields["botanicals"]]
    for name in ("stop", "tails_from"):
        stop = getattr(fields["cuts"], name)
        for waited in stop.over if stop else ():
            if spelling(waited) not in {spelling(dose) for dose in doses}:
                with _place(top, f"cuts.{name}").noting("over"):
                    raise UnknownNameError("bill", waited, doses)


def _read_cuts(value: object, top: Place) -> Cuts | None:
    place = _place(top, "cuts")
    table = place.table_of(value, "[cuts]")
    fields = read_fields(table, {}, place, beside=["heads", "stop", "tails_from"])
    if "heads" in table:
        heads = table["heads"]
        share = isinstance(heads, str) and heads.strip().endswith("%")
        key = keys_of(Cuts)["heads_share" if share else "heads"]
        with place.noting("heads"):
            place.typed["heads"] = heads
            try:
                fields[key.field] = read_value(key, heads)
            except RequestError as error:
                error.values["instead"] = "heads" if error.kind == "quantity" else None
                raise
    for name in ("stop", "tails_from"):
        if name in table:
            fields[name] = _stop(table[name], _place(top, f"cuts.{name}"), name)
            place.faulty = place.faulty or fields[name] is None
    return build(Cuts, fields, {}, place)


def _stop(value: object, place: Place, name: str) -> Stop | None:
    example = f'{name} = {{ stream_abv = "55 %" }}'
    place.table = "cuts.stop"  # as `Stop` names its keys
    table = place.table_of(value, example)
    stop = build(Stop, read_fields(table, keys_of(Stop), place), keys_of(Stop), place)
    if stop is None or stop.named:
        return stop
    with place.noting():
        raise RequestError.of("no_condition", example=example)
    return None


def _bottling(document: Mapping[str, Any], top: Place) -> Bottling | None:
    place = _place(top, "bottling")
    table = place.table_of(document.get("bottling", {}), "[bottling]")
    fields = read_fields(table, keys_of(Bottling), place, beside=["stretch"])
    if "stretch" in table:
        at, keys = _place(top, "bottling.stretch"), keys_of(Stretch)
        inner = at.table_of(table["stretch"], 'stretch = { spirit = "1 L", abv = "96 %" }')
        fields["stretch"] = build(Stretch, read_fields(inner, keys, at), keys, at)
        place.faulty = place.faulty or at.faulty
    return build(Bottling, fields, keys_of(Bottling), place)


# --- A `Plan` written as TOML that reads back to an equal plan.


def write_plan(plan: Plan) -> str:
    """Return a plan as the text of a plan file."""
    import tomlkit  # 40 ms at start, for writing only

    return tomlkit.dumps(inlined(tables_of(plan)))


def tables_of(plan: Plan) -> dict[str, Any]:
    """Return a plan as the tables of a plan file, key to value as typed."""
    still = table_of(plan.still, keys_of(StillPlan))
    if plan.still.power_steps:
        still["power_step"] = [table_of(step, keys_of(PowerStep)) for step in plan.still.power_steps]
    bottling = table_of(plan.bottling, keys_of(Bottling))
    if plan.bottling.stretch is not None:
        bottling["stretch"] = table_of(plan.bottling.stretch, keys_of(Stretch))
    tables = {
        "title": write_value(TITLE["title"], plan.title),
        "units": plan.units or "",
        "charge": [_part(part) for part in plan.charge],
        "still": still,
        "botanical": [_dose(dose) for dose in plan.botanicals],
        "cuts": _cuts_tables(plan.cuts),
        "jars": table_of(plan.jars, keys_of(JarPlan)),
        "bottling": bottling,
        "uncertainty": table_of(plan.uncertainty, keys_of(Uncertainty)),
        **write_own(plan.own_botanicals, plan.own_compounds),
    }
    return {name: table for name, table in tables.items() if table}


def _part(part: Ingredient | LeftOver) -> dict[str, Any]:
    if isinstance(part, LeftOver):
        return {**table_of(part, LEFT_OVER), "from_run": tables_of(part.plan)}
    table = table_of(part, keys_of(Ingredient))
    if "abv" not in table and not is_water(part.name):
        table["abv"] = "0 %"
    return table


def _dose(dose: BotanicalDose) -> dict[str, Any]:
    keys = keys_of(BotanicalDose)
    said = {name: key for name, key in keys.items() if name != "amount"}
    if dose.counted is None:
        return table_of(dose, said)
    if dose.mass_g is not None:
        amount = Amount(dose.mass_g, "g")
    else:
        count = dose.pieces or 0.0
        amount = Amount(count, plural(dose.counted) if count > 1.0 and dose.counted else dose.counted)
    table = table_of(dose, {name: key for name, key in said.items() if name not in ("mass", "pieces")})
    return {"name": table.pop("name"), "amount": write_value(keys["amount"], amount), **table}


def _cuts_tables(cuts: Cuts) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key in keys_of(Cuts).values():
        size = getattr(cuts, key.field)
        if size is not None:
            table["heads"] = write_value(key, size)
    for name in ("stop", "tails_from"):
        stop = getattr(cuts, name)
        if stop is not None and stop.named:
            table[name] = table_of(stop, keys_of(Stop))
    return table


def inlined(tables: dict[str, Any]) -> Any:
    """Put the small tables of conditions on one line, as a person would."""
    import tomlkit  # 40 ms at start, for writing only

    def one_line(table: Mapping[str, Any]) -> Any:
        line = tomlkit.inline_table()
        line.update({key: one_line(v) if isinstance(v, dict) else v for key, v in table.items()})
        return line

    def written(name: str, value: Any) -> Any:
        if name in ("stop", "tails_from", "stretch", "composition", "groups", "piece"):
            return one_line(value)
        if isinstance(value, dict):
            return {key: written(key, inner) for key, inner in value.items()}
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [written("", inner) for inner in value]
        return value

    return written("", tables)


# --- Plans by the name of their file, and the two that come with the package.


def load_plan(path: str | os.PathLike[str]) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path : path-like
        A TOML file; files that it names are looked for from its folder.

    Returns
    -------
    Plan
        What it says.

    Raises
    ------
    RequestError
        If the file cannot be read, or says something that cannot be; each of its ``faults`` has its
        file, line, table and key.
    """
    require_sort("path", path, (str, os.PathLike), "path")
    return load(Path(path))


def read_plan(text: str, name: str = "plan", folder: Path | None = None) -> Plan:
    r"""Read the text of a plan file."""
    return plan_of(parse(text, name), Source(name, folder, text=text))


def example_plan() -> Plan:
    """Return the built-in example: seven botanicals in two base spirits, in a 4 L still."""
    return read_plan(read_text("example_plan.toml"), "example plan")


def new_plan_text() -> str:
    """Return the text of a starter plan with comments, ready to be changed."""
    return read_text("starter_plan.toml")


def the_plan(name: str | None) -> Plan:
    """Return the plan that a command line names."""
    return the_batch(name)[0]


def the_batch(name: str | None) -> tuple[Plan, Glass | None]:
    """Return the plan that a command line names, and where its batch was seen to haze."""
    path = the_plan_file(name)
    if path is None:
        output.words(
            "No plan is named: this is the built-in example (`potsim new FILE` starts one of yours)."
        )
        return example_plan(), None
    source, document = opened(path)
    plan = plan_of(document, source)
    if "result" not in document:
        return plan, None
    from potsim.planning.cloud import glass_of  # start-up: only for a batch that is made

    told = document["result"]
    result = read_result({"result": {key: told[key] for key in HAZE if key in told}}, source)
    source.refuse_faults()
    return plan, glass_of(result)


def the_plan_file(name: str | None) -> Path | None:
    """Return the path of the plan file named, if one is."""
    if name is None:
        return None
    if not name.strip() or "\0" in name:
        raise RequestError.of("empty_name", "PLAN", given=name)
    return Path(name)
