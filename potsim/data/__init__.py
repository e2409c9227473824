"""Tables with their sources; nothing here is computed."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path


@cache
def read_table(name: str) -> tuple[dict[str, str], ...]:
    """Read a CSV table of the package, skipping its ``#`` header lines.

    Parameters
    ----------
    name : str
        Path below ``potsim/data`` such as ``"oiml_r22.csv"`` or ``"published/vle_kamihama_2012.csv"``.

    Returns
    -------
    tuple of dict
        One dictionary a row, column name to text; empty cells are ``""``.
    """
    text = read_text(name)
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    head, *rows = csv.reader(lines)
    return tuple(dict(zip(head, row, strict=True)) for row in rows)


def header(name: str) -> str:
    """Return the ``#`` header of a table: its source, units and cautions.

    Parameters
    ----------
    name : str
        Path below ``potsim/data``.

    Returns
    -------
    str
        The header lines without ``#``.
    """
    lines = [line[1:].strip() for line in read_text(name).splitlines() if line.startswith("#")]
    return "\n".join(lines)


def read_text(name: str) -> str:
    """Return a data file of the package as text.

    Parameters
    ----------
    name : str
        Path below ``potsim/data``.

    Returns
    -------
    str
        The whole file.
    """
    return (Path(__file__).parent / name).read_text(encoding="utf-8")
