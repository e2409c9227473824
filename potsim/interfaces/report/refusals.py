"""Refusals in words: what each kind says and what to do, once, for every face.

A template names values of the record in braces, as those of notes do (`potsim.interfaces.report.words`),
beside its `given`, `allowed` and `path`. Where the sentence depends on the values, a function makes it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from potsim.errors import PotsimError, UnknownNameError
from potsim.interfaces.quantities import shown
from potsim.interfaces.report.words import fill, waits
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
THINGS = {
    "base_spirit": "kind of base spirit",
    "material": "kind of plant material",
}  # what a name is of, where that is no word of its own
# what of the names of a thing, where they are many
LISTED = {
    "botanical": "`potsim botanicals` lists all that are known.",
}


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


def _numbers(error: PotsimError) -> str:
    return f"{', '.join(f'{one:.6g}' for one in error.given)} do not rise."


def _no_number(error: PotsimError) -> str:
    unit = error.values.get("unit")
    return f"Give a number{f', in {unit}' if unit else ''}; text with a unit goes into Plan.from_dict."


def _sort(error: PotsimError) -> str:
    names = " or ".join(error.allowed)
    several = f"several of {names} in a tuple" if error.values["several"] else names
    return f"Give {several}, or use Plan.from_dict."


NAMES = {
    "no_number": Said("is {given}, which is no number.", _no_number, follows=True),
    "not_rising": Said(_numbers, "Put the smallest first."),
    "too_many": Said("stands {given} times; allowed are at most {allowed}.", "Take some out.", follows=True),
    "wrong_sort": Said("is or holds {given}.", _sort, follows=True),
    "conflict": Said(
        "is given beside {other}.",
        _by_path(
            {
                "still.pressure": "Keep one: the pressure tells the height.",
                "jars.working": "Keep one: a jar emptied again and again, or a row of jars.",
            },
            "Keep one of the two.",
        ),
        follows=True,
    ),
    "alone": Said("is given, but no {lacks}.", "Give {lacks} too, or leave this out.", follows=True),
    "one_quantity": Said(
        lambda error: f"at() was given {', '.join(error.given) or 'nothing'}; it takes one quantity.",
        lambda error: f"One of: {', '.join(error.allowed)}.",
    ),
    "no_run": Said(
        "is {given}: no run of format {allowed}.",
        "Take what Run.to_dict or `potsim run --json` gave.",
        follows=True,
    ),
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


# --- Botanicals.


BOTANICALS = {
    "no_amount": Said(
        "has neither amount, mass nor pieces.",
        'Add for example amount = "5 g", or how many there are: amount = "2 berries".',
        follows=True,
    ),
    "macerated_in_basket": Said(
        "is given for the basket; what hangs in the vapour does not lie in the charge.",
        "Leave macerated out, or put it in the pot.",
        follows=True,
    ),
    "more_than_oil": Said(
        "adds up to {given:g} % of the oil; allowed is at most {allowed} %.",
        "Lower the typical shares; what is not listed is left open, never scaled up.",
        follows=True,
    ),
    "no_fresh_water": Said(
        "is not given, but {name} is counted or weighed fresh.",
        "Give the mass lost on drying as a fraction of the fresh mass.",
        follows=True,
    ),
    "like_known": Said("is given for {given}, which is known.", "Leave like out.", follows=True),
    "dangerous": Said(
        "'{given}' is refused: {why} (from memory).",
        "Leave it out. If another plant is meant, write its own name.",
    ),
    "name_taken": Said(
        "The name '{given}' of your own botanical already means {taken}.",
        "Choose another, such as 'my {given}'.",
    ),
    "counted_fresh": Said(
        "is counted fresh, not dried.", "Give it fresh, or name the dried botanical.", follows=True
    ),
    "dried_only": Said(
        "is known dried only: how much water the fresh material holds is not known.",
        "Give the mass it would have dried, or add it as a botanical of your own.",
        follows=True,
    ),
    "no_piece_weight": Said(
        "is counted, but what a piece of {name} weighs is not known.", "Give its mass.", follows=True
    ),
}


# --- Stops, cuts and jars.


def _never(error: PotsimError) -> str:
    return f"it never comes that {' or that '.join(waits(*one) for one in error.values['waits'])}."


def _already(error: PotsimError) -> str:
    first = "stream {stream_abv:abv}, pot {pot_abv:abv}, vapour {vapour_c:temperature}, {elapsed_min:minutes}"
    told = fill(f"{first} after switch-on.", **error.values)
    return f"at the first drop it is already true that {waits(*error.values['waits'][0])}: {told}"


STOPS = {
    "never": Said(
        _never,
        "When the pot is all but empty, {collected_l:volume} are collected after {elapsed_min:minutes}, with "
        "the stream at {stream_abv:abv} and the vapour at {vapour_c:temperature}.",
    ),
    "true_already": Said(_already, "Choose a stop that comes later."),
    "bare_element": Said(
        "is {given:volume}, but the charge does not even reach it.",
        "Charge more, or correct min_level.",
        follows=True,
    ),
    "beyond_run": Said(
        lambda error: (
            f"is {error.given:g}; allowed is {error.allowed[0]:.6g} to {error.allowed[1]:.6g}, "
            "first drop to stop."
        ),
        "Ask within the run, or move the stop.",
        follows=True,
    ),
    "no_keep": Said(
        "the keep would end before the heads do.", "Take less heads, or let the run and the keep last longer."
    ),
    "all_heads": Said(
        "is {given:volume}, but only {allowed:volume} come over before the keep ends.",
        "Take less heads, or let the run and the keep last longer.",
        follows=True,
    ),
    "nothing_over": Said(
        "nothing of {given} comes over, so no share of it ever does.", "Stop by something else."
    ),
    "nothing_fades": Said(
        "no botanical of this bill leads or is clear and comes early or in the middle, so that nothing fades "
        "before the end.",
        "Stop by something else.",
    ),
    "fades_early": Said(
        "all that counts has faded at {given:volume}, inside the first {share:share} of the distillate "
        "({distillate_l:volume} to 99 % of the alcohol); most of the spirit would stay in the pot.",
        "Stop by strength, or add what comes later.",
    ),
    "weak_stretch": Said(
        "is {given:abv_short}; allowed is at least {allowed:abv_short}, the bottling strength.",
        "Stretch with stronger spirit, or bottle weaker; water comes by itself.",
        follows=True,
    ),
}


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


REFUSALS: dict[str, Said] = {**NAMES, **CHARGE, **BOTANICALS, **STOPS, **JARS}
