"""The plan that a command line names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import output

if TYPE_CHECKING:
    from potsim.planning.plan import Plan


def the_plan(name: str | None) -> Plan:
    """Return the plan that a command line names.

    Parameters
    ----------
    name : str or None
        Plan file as typed; ``None`` for the built-in example, which is then said.

    Returns
    -------
    Plan
        What the file says.

    Raises
    ------
    RequestError
        If there is no such file, or it says something that cannot be.
    """
    from potsim.interfaces.planfile.text import example_plan, load_plan

    path = the_plan_file(name)
    if path is not None:
        return load_plan(path)
    output.words("No plan is named: this is the built-in example (`potsim new FILE` starts one of yours).")
    return example_plan()


def the_plan_file(name: str | None) -> Path | None:
    """Return the path of the plan file named, if one is.

    Parameters
    ----------
    name : str or None
        As typed.

    Returns
    -------
    Path or None
        The path.

    Raises
    ------
    RequestError
        If the name is empty.
    """
    if name is None:
        return None
    if not name.strip() or "\0" in name:
        raise RequestError("PLAN is empty.", "Name a plan file, or leave it out for the built-in example.")
    return Path(name)
