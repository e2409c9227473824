"""The tables of a plan file made into a `Plan`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from potsim.errors import RequestError, UnknownNameError
from potsim.interfaces.numerals import shown
from potsim.interfaces.planfile import keys
from potsim.interfaces.planfile.files import not_too_deep, other_file, parse, read_file
from potsim.interfaces.planfile.own import OWN, read_own
from potsim.interfaces.planfile.place import Place, Source, build, read_fields, several
from potsim.planning.botanicals.names import key
from potsim.planning.plan import (
    Bottling,
    Cuts,
    Ingredient,
    JarPlan,
    LeftOver,
    Plan,
    Stop,
    Stretch,
    Uncertainty,
)
from potsim.planning.still_plan import PowerStep, StillPlan

TABLES = ("charge", "still", "botanical", "cuts", "jars", "bottling", "uncertainty", "result", "note")


def load(path: Path, chain: tuple[Path, ...] = ()) -> Plan:
    """Return the plan in a file.

    Parameters
    ----------
    path : Path
        The file.
    chain : tuple of Path
        The files that led here.

    Returns
    -------
    Plan
        What it says.

    Raises
    ------
    PotsimError
        If it cannot be read; file, table and key are named.
    """
    text = read_file(path)
    source = Source(path.name, path.parent, (*chain, Path(os.path.realpath(path))))
    return plan_of(parse(text, source.name), source)


def plan_of(document: Mapping[str, Any], source: Source) -> Plan:
    """Return the plan that the tables of a file describe.

    Parameters
    ----------
    document : mapping
        Key to value, as they stand in the file.
    source : Source
        The file.

    Returns
    -------
    Plan
        What it says.

    Raises
    ------
    PotsimError
        If a key is unknown, missing or will not be read; file, table and key are named.
    """
    top = Place(source, "")
    given = read_fields(document, keys.TOP, top, beside=(*TABLES, *OWN))
    given.pop("parent", None)
    own = read_own(document, source)
    for name in ("result", "note"):
        _ignored(document, name, source)
    fields = dict(
        given,
        charge=tuple(_ingredient(table, place) for table, place in several(document, "charge", source)),
        still=_still(document.get("still", {}), source),
        cuts=_cuts(document.get("cuts", {}), source),
        jars=_simple(JarPlan, document, "jars", source),
        bottling=_bottling(document.get("bottling", {}), source),
        uncertainty=_simple(Uncertainty, document, "uncertainty", source),
        botanicals=_bill(document, source, own),
        **own,
    )
    _over_in_bill(fields, top)
    with top.blame():
        return Plan(**fields)


def _simple(kind: type[Any], document: Mapping[str, Any], name: str, source: Source) -> Any:
    """Make the dataclass of a table without tables inside."""
    place = Place(source, f"[{name}]", f"{name}.")
    allowed = keys.PLAN_KEYS[name]
    table = place.table_of(document.get(name, {}), f"[{name}]")
    return build(kind, read_fields(table, allowed, place), allowed, place)


def _ignored(document: Mapping[str, Any], name: str, source: Source) -> None:
    """Check a table that belongs to trials and says nothing of the run."""
    place = Place(source, f"[{name}]")
    if name == "result" and name in document:
        read_fields(place.table_of(document[name], "[result]"), keys.RESULT, place)
    elif name == "note":
        for table, at in several(document, name, source):
            read_fields(table, keys.NOTE, at)


def _ingredient(table: dict[str, Any], place: Place) -> Ingredient | LeftOver:
    if "from_run" in table:
        return _left_over(table, place)
    fields = read_fields(table, keys.INGREDIENT, place, beside=["from_run"])
    if "abv" not in fields and not keys.is_water(fields.get("name", "")):
        raise RequestError(
            f"{place.where()} ({shown(fields.get('name', 'without a name'))}) has no abv.",
            'Add for example abv = "62 %"; for what holds no alcohol abv = "0 %".',
        )
    fields.setdefault("name", fields.get("kind") or ("spirit" if fields.get("abv") else "water"))
    return build(Ingredient, fields, keys.INGREDIENT, place)


def _left_over(table: dict[str, Any], place: Place) -> LeftOver:
    """Jars of an earlier run: of a plan file, or of a plan written out in place of its name."""
    for name in table:
        if name in keys.INGREDIENT and name not in keys.LEFT_OVER:
            raise place.refuse(name, "does not go with from_run.", "The jars tell volume and strength.")
    fields = read_fields(table, keys.LEFT_OVER, place, beside=["from_run"])
    run = table["from_run"]
    if isinstance(run, dict):
        with place.blame("from_run"):
            not_too_deep(place)
            inside = replace(place.source, chain=(*place.source.chain, Path()))
            fields["plan"] = plan_of(run, inside)
        fields.setdefault("name", f"jars of {fields['plan'].title}")
    else:
        path = other_file(run, place, "from_run")
        with place.blame("from_run"):
            fields["plan"] = load(path, place.source.chain)
        fields.setdefault("name", f"jars of {path.stem}")
    return build(LeftOver, fields, keys.LEFT_OVER, place)


def _still(value: object, source: Source) -> StillPlan:
    place = Place(source, "[still]", "still.")
    return build(StillPlan, _still_fields(value, place), keys.STILL, place)


def _still_fields(value: object, place: Place) -> dict[str, Any]:
    """Read [still]; what it does not say is taken from the file it names."""
    source = place.source
    table = place.table_of(value, "[still]")
    fields = read_fields(table, keys.STILL, place, beside=["power_step", "from_file"])
    if "power_step" in table:
        fields["power_steps"] = tuple(
            build(PowerStep, read_fields(step, keys.POWER_STEP, at), keys.POWER_STEP, at)
            for step, at in several(table, "still.power_step", source)
        )
    if "from_file" not in table:
        return fields
    path = other_file(table["from_file"], place, "from_file")
    with place.blame("from_file"):
        text = read_file(path)
        other = Source(path.name, path.parent, (*source.chain, Path(os.path.realpath(path))))
        document = parse(text, other.name)
        if "still" not in document:
            raise RequestError(f"{other.name} has no table [still].", "Name a file that describes a still.")
        taken = _still_fields(document["still"], Place(other, "[still]", "still."))
    if {"altitude_m", "pressure_hpa"} & set(fields):
        taken.pop("altitude_m", None)
        taken.pop("pressure_hpa", None)
    return {**taken, **fields}


def _bill(document: Mapping[str, Any], source: Source, own: Mapping[str, Any]) -> tuple[Any, ...]:
    """Read the bill, each name checked against the library and the plan's own botanicals."""
    if "botanical" not in document:
        return ()
    from potsim.planning.botanicals.bill import BotanicalDose
    from potsim.planning.botanicals.library import extend, find, library

    with Place(source, "[[own_botanical]]").blame():
        among = extend(library(), own["own_botanicals"])
    bill = []
    for table, place in several(document, "botanical", source):
        dose = build(BotanicalDose, read_fields(table, keys.BOTANICAL, place), keys.BOTANICAL, place)
        with place.blame("name"):
            find(dose.name, among, dose.state)
        bill.append(dose)
    return tuple(bill)


def _over_in_bill(fields: Mapping[str, Any], place: Place) -> None:
    """Refuse a stop that waits for a botanical that is not there."""
    doses = [dose.name for dose in fields["botanicals"]]
    for name in ("stop", "tails_from"):
        stop = getattr(fields["cuts"], name)
        for waited in stop.over if stop else ():
            if key(waited) not in {key(dose) for dose in doses}:
                with place.blame(f"[cuts] {name} over"):
                    if not doses:
                        raise RequestError(f"{shown(waited)} is not in the bill.", "Add a [[botanical]].")
                    raise UnknownNameError("botanical of this bill", waited, doses)


def _cuts(value: object, source: Source) -> Cuts:
    place = Place(source, "[cuts]", "cuts.")
    table = place.table_of(value, "[cuts]")
    fields = read_fields(table, {}, place, beside=["heads", "stop", "tails_from"])
    if "heads" in table:
        heads = place.typed["heads"] = table["heads"]
        size = keys.HEADS["share" if isinstance(heads, str) and heads.strip().endswith("%") else "volume"]
        with place.blame("heads"):
            try:
                fields[size.field] = size.read(heads)
            except RequestError as error:
                error.hint = 'Write for example "30 mL", or "2 %" of the charge.'
                raise
    for name in ("stop", "tails_from"):
        if name in table:
            fields[name] = _stop(table[name], Place(source, f"[cuts] {name}", "cuts.stop."), name)
    return build(Cuts, fields, {}, place)


def _stop(value: object, place: Place, name: str) -> Stop:
    example = f'{name} = {{ stream_abv = "55 %" }}'
    table = place.table_of(value, example)
    stop: Stop = build(Stop, read_fields(table, keys.STOP, place), keys.STOP, place)
    if not stop.named:
        raise RequestError(
            f"{place.where()} has no condition.", f"Write for example {example}, or leave it out."
        )
    return stop


def _bottling(value: object, source: Source) -> Bottling:
    place = Place(source, "[bottling]", "bottling.")
    table = place.table_of(value, "[bottling]")
    fields = read_fields(table, keys.BOTTLING, place, beside=["stretch"])
    if "stretch" in table:
        at = Place(source, "[bottling] stretch", "bottling.stretch.")
        inner = at.table_of(table["stretch"], 'stretch = { spirit = "1 L", abv = "96 %" }')
        fields["stretch"] = build(Stretch, read_fields(inner, keys.STRETCH, at), keys.STRETCH, at)
    return build(Bottling, fields, keys.BOTTLING, place)
