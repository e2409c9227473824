"""Refusals in words: what each kind says and what to do, once, for every face.

A template names values of the record in braces, as those of notes do (`potsim.interfaces.report.words`),
beside its `given`, `allowed` and `path`. Where the sentence depends on the values, a function makes it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from potsim.errors import PotsimError, UnknownNameError
from potsim.interfaces.quantities import shown
from potsim.interfaces.report.words import fill
from potsim.interfaces.wording import format_numbers

Words = str | Callable[[PotsimError], str]


class Said(NamedTuple):
    """A kind of refusal in words."""

    fault: Words
    hint: Words = ""
    follows: bool = False  # whether the fault reads on from its place


def fault(error: PotsimError) -> str:
    """Return what is wrong, without its place."""
    return _filled(REFUSALS[error.kind].fault, error)


def hint(error: PotsimError) -> str:
    """Return what to do."""
    return _filled(REFUSALS[error.kind].hint, error)


def follows(error: PotsimError) -> bool:
    """Return whether the fault reads on from its place."""
    return REFUSALS[error.kind].follows


def _filled(said: Words, error: PotsimError) -> str:
    if not isinstance(said, str):
        return said(error)
    return fill(said, given=error.given, allowed=error.allowed, path=error.path, **error.values)


def _by_path(hints: dict[str, str], otherwise: str = "") -> Callable[[PotsimError], str]:
    """Return a hint that goes by what the refusal is about."""
    return lambda error: hints.get(error.path, otherwise)


# --- Numbers and names.


RANGES = {
    "charge": "Correct the volumes under charge, or scale the recipe to a size that can be run.",
    "still.parrot": "Say what it holds.",
}
THINGS: dict[str, str] = {}  # what a name is of, where that is no word of its own
LISTED: dict[str, str] = {}  # where the names of a thing are listed


def _unknown(error: PotsimError) -> str:
    what = error.values["what"]
    return f"Unknown {THINGS.get(what, what)} '{error.given}'."


def _known(error: PotsimError) -> str:
    assert isinstance(error, UnknownNameError)
    if error.near:
        return "Did you mean " + " or ".join(f"'{name}'" for name in error.near) + "?"
    known = error.known
    listed = "Known: " + ", ".join(known[:30]) + ("." if len(known) <= 30 else ", ...")
    return LISTED.get(error.values["what"], listed)


NAMES = {
    "range": Said("is {given}; allowed is {allowed}.", _by_path(RANGES), follows=True),
    "unknown_name": Said(_unknown, _known),
    "unknown_key": Said(lambda error: f"has the unknown key {shown(error.given)}.", _known, follows=True),
}


# --- The charge and the still.


CHARGE = {
    "empty_charge": Said(
        "There is no charge.", "Add a [[charge]] with name, volume and abv: spirit or water."
    ),
    "weak_charge": Said(
        "is {given:g} % vol; allowed is 0 (water alone), or {allowed:g} to 100 % vol.",
        "Say water for what holds no spirit.",
        follows=True,
    ),
    "no_alcohol": Said(
        "the charge holds no alcohol.",
        _by_path({"cuts.stop.recovered": "Stop by collected or elapsed."}, "Add a spirit to the charge."),
    ),
    "alone": Said("is given, but no {lacks}.", "Give {lacks} too, or leave this out.", follows=True),
    "little_heat": Said(
        "is {given:power}, of which {heat_share:share} ({pot_w:power}) reach the pot, but pot and neck shed "
        "{shed_w:power} at the boil: nothing would come over.",
        "Give more than {allowed:power}, insulate the pot, or correct heat_share, pot_loss and neck_loss.",
        follows=True,
    ),
    "high_min_level": Said(
        "is {given:volume}, but the pot holds {allowed:volume}.",
        "Give the level that keeps the element covered.",
        follows=True,
    ),
    "overfull": Said(
        "The charge takes {given:volume} at the boil, but the pot holds {capacity_l:volume}.",
        "Charge less: at most {allowed:volume} at the boil, three quarters of the pot; or run it in parts.",
    ),
    "large_parrot": Said(
        "holds {given:volume}, but only {allowed:volume} come over: it would never be full.",
        "Correct what the parrot holds, read in a glass instead, or stop later.",
        follows=True,
    ),
}


# --- Jars and cuts.


def _no_such_jar(error: PotsimError) -> str:
    of = error.values["of"]
    run = "this run" if of is None else f"'{of}'"
    return f"names jar {error.given}, which {run} does not have."


def _jars(error: PotsimError) -> str:
    return f"There are jars {format_numbers(error.allowed)}."


JARS = {
    "no_jars": Said("there are none to pool.", "Let the run last until a jar is filled."),
    "no_jar_kept": Said("no jar lies between heads and tails.", _jars),
    "no_jar_poured": Said("there is none to pour yet.", "Note a jar as full, or choose one."),
    "jar_twice": Said("names jar {given} twice.", "Name every jar once.", follows=True),
    "no_such_jar": Said(_no_such_jar, _jars, follows=True),
    "too_many_jars": Said(
        "jars of {given:volume} would make more than {allowed} for this run; allowed are {allowed}.",
        "Take larger jars, or fewer of the small ones.",
    ),
    "away_too_long": Said(
        "In {given:minutes} as much as {flowing_l:volume} come over, but at most {lost_l:volume} may be "
        "lost.",
        "Stay away for less than {allowed:.2g} min, allow a larger loss, or lower the power.",
    ),
    "jars_unfilled": Said("The jars could not be filled to their sizes.", "Please report the plan."),
}


REFUSALS: dict[str, Said] = {**NAMES, **CHARGE, **JARS}
