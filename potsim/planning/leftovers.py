"""Jars of an earlier run that go into a charge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from potsim.errors import RequestError
from potsim.planning.jars import Jar
from potsim.planning.plan import Ingredient, LeftOver, Plan
from potsim.planning.portion import pool


class HasJars(Protocol):
    """A run, for all that is asked of it here."""

    @property
    def jars(self) -> Sequence[Jar]:
        """Jars of the run, in order."""
        ...


def resolve(
    parts: Sequence[Ingredient | LeftOver], distil: Callable[[Plan], HasJars]
) -> tuple[Ingredient, ...]:
    """Turn jars left over from earlier runs into spirits with a volume and a strength.

    Parameters
    ----------
    parts : sequence of Ingredient or LeftOver
        What goes into the charge.
    distil : callable
        Computes the earlier run from its plan.

    Returns
    -------
    tuple of Ingredient
        In the same order; spirits and water stay as they are. Left-overs have no kind and no price.

    Raises
    ------
    RequestError
        If an earlier run does not have a jar that is named, or none or one is named twice.
    """
    return tuple(part if isinstance(part, Ingredient) else _spirit(part, distil) for part in parts)


def _spirit(part: LeftOver, distil: Callable[[Plan], HasJars]) -> Ingredient:
    jars = {jar.number: jar for jar in distil(part.plan).jars}
    key = f"charge '{part.name}'"
    if not part.jars:
        raise RequestError(f"{key}: no jar is named.", 'Say which, such as jars = "1,17-20".')
    if len(set(part.jars)) < len(part.jars):
        raise RequestError(f"{key}: a jar is named twice.", "Name every jar once.")
    missing = [number for number in part.jars if number not in jars]
    if missing:
        raise RequestError(
            f"{key}: jar {missing[0]} is named, which '{part.plan.title}' does not have.",
            f"There are jars 1 to {len(jars)}.",
        )
    both = pool(jars[number].portion for number in part.jars)
    return Ingredient(part.name, both.volume_l, both.abv)
