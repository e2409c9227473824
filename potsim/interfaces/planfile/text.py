"""The plan file: TOML text to a `Plan`, and back."""

from __future__ import annotations

import os
from pathlib import Path

from potsim.data import read_text
from potsim.interfaces.planfile.files import parse
from potsim.interfaces.planfile.place import Source
from potsim.interfaces.planfile.tables import load, plan_of
from potsim.interfaces.planfile.write import write_plan
from potsim.planning.plan import Plan

__all__ = ["example_plan", "load_plan", "new_plan_text", "read_plan", "write_plan"]


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
        If the file cannot be read, or says something that cannot be; the message names file, table and key.
    """
    return load(Path(path))


def read_plan(text: str, name: str = "plan", folder: Path | None = None) -> Plan:
    r"""Read the text of a plan file.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What to call it in refusals.
    folder : Path, optional
        Folder from which other files are named; without it they are refused.

    Returns
    -------
    Plan
        What it says.

    Raises
    ------
    RequestError
        As `load_plan`.

    Examples
    --------
    >>> plan = read_plan('[[charge]]\nname = "apple spirit"\nvolume = "0.9 L"\nabv = "62 %"')
    >>> plan.charge[0].volume_l
    0.9
    """
    return plan_of(parse(text, name), Source(name, folder))


def example_plan() -> Plan:
    """Return the built-in example: seven botanicals in two base spirits, in a 4 L still."""
    return read_plan(read_text("example_plan.toml"), "example plan")


def new_plan_text() -> str:
    """Return the text of a starter plan with comments, ready to be changed."""
    return read_text("starter_plan.toml")
