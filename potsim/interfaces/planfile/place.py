"""Where in a plan file something stands, so that a refusal can say it; and reading one table by its keys."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError
from potsim.interfaces.numerals import LONGEST, as_typed, shown
from potsim.interfaces.planfile.keys import PLAN_KEYS, Key

T = TypeVar("T")


@dataclass(frozen=True)
class Source:
    """The file being read.

    Parameters
    ----------
    name : str
        Name of the file, for messages.
    folder : Path or None
        Folder from which other files are named; ``None`` if there is none, as in text from a form.
    chain : tuple of Path
        The files that led here, each taking from the next.
    """

    name: str
    folder: Path | None = None
    chain: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Place:
    """One table of a plan file.

    Parameters
    ----------
    source : Source
        The file.
    table : str
        As it stands there, such as ``"[still]"`` or ``"[[charge]] 2"``; empty for the top of the file.
    prefix : str
        What refusals of the dataclass put before its keys, such as ``"still."``.
    typed : dict of str to object
        Keys read so far with what was typed, which refusals then say.
    """

    source: Source
    table: str
    prefix: str = ""
    typed: dict[str, object] = field(default_factory=dict, compare=False)

    def where(self, key: str = "") -> str:
        """Return file, table and key, for a message."""
        return f"{self.source.name}: {self.table} {key}".strip().replace("  ", " ")

    @contextmanager
    def blame(self, key: str = "") -> Iterator[None]:
        """Put file, table and key before any refusal that arises inside."""
        try:
            yield
        except RangeError as error:
            name = error.argument.removeprefix(self.prefix)
            given = as_typed(self.typed.get(key or name.partition(" ")[0]), error.given)
            if key and not name.startswith(key):
                name = f"{key}: {name}"
            raise RangeError(self.where(name), given, error.allowed, error.hint) from None
        except PotsimError as error:
            words = error.message
            if not key:  # from the dataclass, which names its keys in full
                words = re.sub(rf"\b{re.escape(self.prefix)}(?=\w)", "", words)
            error.message = f"{self.where(key).rstrip(':')}: {words}"
            error.args = (error.message,)
            raise

    def refuse(self, key: str, words: str, hint: str) -> RequestError:
        """Return a refusal of a key in this table."""
        return RequestError(f"{self.where(key)} {words}", hint)

    def table_of(self, value: object, example: str) -> dict[str, Any]:
        """Return the value if it is a table with keys."""
        if isinstance(value, dict):
            return value
        if isinstance(value, list):
            raise RequestError(f"{self.where()} is a list.", f"Write {self.table} once, in single brackets.")
        raise RequestError(
            f"{self.where()} is {shown(value)}; allowed: a table.", f"Write for example {example}"
        )

    def unknown(self, key: str, known: Collection[str]) -> PotsimError:
        """Return the refusal of a key that this table does not have."""
        homes = [table for table, keys in PLAN_KEYS.items() if key in keys]
        error = UnknownNameError("key", key[:LONGEST], known)
        error.message = f"{self.where().rstrip(':')} has the unknown key {shown(key)}."
        if homes and not error.near:
            error.hint = f"It belongs in [{homes[0]}]."
        error.args = (error.message,)
        return error


def read_fields(
    table: Mapping[str, Any], keys: Mapping[str, Key], place: Place, beside: Collection[str] = ()
) -> dict[str, Any]:
    """Read the keys of one table.

    Parameters
    ----------
    table : mapping
        What stands in the file.
    keys : mapping of str to Key
        The keys it may have.
    place : Place
        Where it stands.
    beside : collection of str
        Keys that it may have too, and that are read elsewhere.

    Returns
    -------
    dict
        Field name to value.

    Raises
    ------
    PotsimError
        At the first key that is unknown or will not be read.
    """
    fields = {}
    for name, value in table.items():
        if name in beside:
            continue
        if name not in keys:
            raise place.unknown(name, (*keys, *beside))
        place.typed[name] = value
        with place.blame(name):
            fields[keys[name].field] = keys[name].read(value)
    return fields


def build(kind: type[T], fields: Mapping[str, Any], keys: Mapping[str, Key], place: Place) -> T:
    """Make the dataclass that a table describes, or say what is missing or out of range.

    Parameters
    ----------
    kind : type
        The dataclass.
    fields : mapping of str to value
        Its fields, as read.
    keys : mapping of str to Key
        The keys of the table, to name what is missing.
    place : Place
        Where it stands.

    Returns
    -------
    object
        An instance.

    Raises
    ------
    PotsimError
        If a field without default is missing or a value out of range.
    """
    for needed in dataclasses.fields(kind):  # type: ignore[arg-type]
        bare = needed.default is dataclasses.MISSING and needed.default_factory is dataclasses.MISSING
        if bare and needed.name not in fields:
            missing = next(name for name, key in keys.items() if key.field == needed.name)
            raise RequestError(
                f"{place.where()} has no {missing}.",
                f'Add for example {missing} = "{keys[missing].example}".',
            )
    with place.blame():
        return kind(**fields)


def several(document: Mapping[str, Any], name: str, source: Source) -> list[tuple[dict[str, Any], Place]]:
    """Return the tables of one ``[[name]]`` with their places.

    Parameters
    ----------
    document : mapping
        The file, or the table that holds them.
    name : str
        Such as ``"charge"`` or ``"still.power_step"``; the last word is the key.
    source : Source
        The file.

    Returns
    -------
    list of (dict, Place)
        In the order of the file.

    Raises
    ------
    RequestError
        If something else than tables stands there.
    """
    tables = document.get(name.rpartition(".")[2], [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise RequestError(
            f"{source.name}: [[{name}]] is not a list of tables.",
            f"Write [[{name}]] in double brackets for each.",
        )
    return [(t, Place(source, f"[[{name}]] {i}", f"{name}.")) for i, t in enumerate(tables, start=1)]
