"""Refusals in words: what each kind says and what to do, once, for every face.

A template names values of the record in braces, as those of notes do (`potsim.interfaces.report.words`),
beside its `given`, `allowed` and `path`. Where the sentence depends on the values, a function makes it.
"""

from __future__ import annotations

import math

from potsim.errors import PotsimError, UnknownNameError
from potsim.interfaces.quantities import shown
from potsim.interfaces.report.refusals_asked import ASKED_OF, Reads, Said, Words, by_path
from potsim.interfaces.report.words import fill, waits
from potsim.interfaces.wording import format_numbers, in_units, system


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
    with in_units("us" if error.units == "us" else system()):
        if not isinstance(said, str):
            return said(error)
        return fill(said, given=error.given, allowed=error.allowed, path=error.path, **error.values)


# --- Numbers and names.


_LAST = "The last trace never comes over: stop at 99 %."
RANGES = {
    **dict.fromkeys(("cuts.stop.recovered", "cuts.tails_from.recovered"), _LAST),
    "bottling.cloud_shift": "0.3 is twice the oil kept clear; `trial next` writes it from clouded_at.",
    "result.clouded_at": "Let a glass of the keep down with water until it hazes; measure its strength.",
    "result.clouded_at_c": "A fridge has 5 °C, a room 20.",
    "result.stream_hazy_at": "Count from the first drop; a haze cannot come before it.",
    "still.pressure": "Give the barometer at the place.",
    "still.heat_share": "A hot plate hands over 50 to 75 %, a gas flame 30 to 50 %, an element in the pot "
    "100 %.",
    "still.condenser": "Give what it can carry off; leave it out if that is not known.",
    "charge": "Correct the volumes under charge, or scale the recipe to a size that can be run.",
    "still.parrot": "Say what it holds.",
    "at_c": "Work where water is liquid and spirit does not evaporate.",
    "calibrated_c": "It is printed on its scale.",
    "read at": "Cool the sample, and read again.",
    "vapour temperature": "Is it in °F? Then say so.",
    "pot temperature": "Is it in °F? Then say so.",
}
THINGS = {
    "base_spirit": "kind of base spirit",
    "by": "way to get a volume",
    "field": "field of a record",
    "material": "kind of plant material",
    "number": "number of the plan",
    "per": "way to dose",
    "same": "quantity that stays the same",
}  # what a name is of, where that is no word of its own
# what of the names of a thing, where they are many
LISTED = {
    "botanical": "`potsim botanicals` lists all that are known.",
}


def _unknown(error: PotsimError) -> str:
    what = error.values["what"]
    if what == "bill":
        return f"{shown(error.given)} is not in the bill."
    return f"Unknown {THINGS.get(what, what)} '{error.given}'."


def _known(error: PotsimError) -> str:
    assert isinstance(error, UnknownNameError)
    if error.near:
        return "Did you mean " + " or ".join(f"'{name}'" for name in error.near) + "?"
    known = error.known
    if not known:
        return "Add a [[botanical]]."
    listed = "Known: " + ", ".join(known[:30]) + ("." if len(known) <= 30 else ", ...")
    return LISTED.get(error.values["what"], listed)


def _numbers(error: PotsimError) -> str:
    return f"{', '.join(f'{one:.6g}' for one in error.given)} do not rise."


SORTS = {
    "int": "a whole number",
    "float": "a number",
    "str": "a text",
    "seed": "a whole number from 0 on, a numpy.random.Generator or None",
}


def _type(error: PotsimError) -> str:
    sort = SORTS.get(error.allowed, error.allowed)
    unit = error.values.get("unit")
    return f"Give {sort}, in {unit}; text with a unit goes into Plan.from_dict." if unit else f"Give {sort}."


def _sort(error: PotsimError) -> str:
    names = " or ".join(error.allowed)
    several = f"several of {names} in a tuple" if error.values["several"] else names
    return f"Give {several}, or use Plan.from_dict."


NAMES = {
    "wrong_type": Reads("is {given}, which is of another type.", _type),
    "too_long": Reads("has {given} characters; allowed are {allowed}.", "Say less."),
    "no_values": Said("no value is given.", "Give at least one."),
    "nothing_varied": Said(
        "nothing is varied.",
        'Give numbers with values, such as {{"charge.abv": [30, 40]}}, or rows with numbers.',
    ),
    "rows_differ": Said(
        lambda error: (
            f"row {error.values['row']} has {', '.join(error.given)}, the first has "
            f"{', '.join(error.allowed)}."
        ),
        "Give every row the same numbers.",
    ),
    "not_rising": Said(_numbers, "Put the smallest first."),
    "too_many": Reads(
        "has {given} rows; allowed are at most {allowed}.",
        by_path({"readings": "Keep one a minute, or fewer."}, "Take some out."),
    ),
    "wrong_sort": Reads("is or holds {given}.", _sort),
    "conflict": Reads(
        "is given beside {other}.",
        by_path(
            {
                "still.pressure": "Keep one: the pressure tells the height.",
                "jars.working": "Keep one: a jar emptied again and again, or a row of jars.",
            },
            "Keep one of the two.",
        ),
    ),
    "alone": Reads("is given, but no {lacks}.", "Give {lacks} too, or leave this out."),
    "one_quantity": Said(
        lambda error: f"at() was given {', '.join(error.given) or 'nothing'}; it takes one quantity.",
        lambda error: f"One of: {', '.join(error.allowed)}.",
    ),
    "no_run": Reads(
        "is {given}: no run of format {allowed}.", "Take what Run.to_dict or `potsim run --json` gave."
    ),
    "range": Reads("is {given}; allowed is {allowed}.", by_path(RANGES)),
    "unknown_name": Said(_unknown, _known),
    "unknown_key": Reads(lambda error: f"has the unknown key {shown(error.given)}.", _known),
}


# --- The charge and the still.


CHARGE = {
    "empty_charge": Said(
        "there is no charge.", "Add a [[charge]] with name, volume and abv: spirit or water."
    ),
    "weak_charge": Reads(
        "is {given:g} % vol; allowed is 0 (water alone), or {allowed:g} to 100 % vol.",
        "Say water for what holds no spirit.",
    ),
    "no_alcohol": Said(
        "the charge holds no alcohol.",
        by_path(
            {
                "cuts.stop.recovered": "Stop by collected or elapsed.",
                "per": "Scale it by the litre of charge: per charge.",
            },
            "Add a spirit to the charge.",
        ),
    ),
    "little_heat": Reads(
        "is {given:power}, of which {heat_share:share} ({pot_w:power}) reach the pot, but pot and neck shed "
        "{shed_w:power} at the boil: nothing would come over.",
        "Give more than {allowed:power}, insulate the pot, or correct heat_share, pot_loss and neck_loss.",
    ),
    "high_min_level": Reads(
        "is {given:volume}, but the pot holds {allowed:volume}.",
        "Give the level that keeps the element covered.",
    ),
    "overfull": Said(
        "the charge takes {given:volume} at the boil, but the pot holds {capacity_l:volume}.",
        "Charge less: at most {allowed:volume} at the boil, three quarters of the pot; or run it in parts.",
    ),
    "large_parrot": Reads(
        "holds {given:volume}, but only {allowed:volume} come over: it would never be full.",
        "Correct what the parrot holds, read in a glass instead, or stop later.",
    ),
}


# --- Botanicals.


BOTANICALS = {
    "no_amount": Reads(
        "has neither amount, mass nor pieces.",
        'Add for example amount = "5 g", or how many there are: amount = "2 berries".',
    ),
    "macerated_in_basket": Reads(
        "is given for the basket; what hangs in the vapour does not lie in the charge.",
        "Leave macerated out, or put it in the pot.",
    ),
    "more_than_oil": Reads(
        "adds up to {given:g} % of the oil; allowed is at most {allowed} %.",
        "Lower the typical shares; what is not listed is left open, never scaled up.",
    ),
    "no_fresh_water": Reads(
        "is not given, but {name} is counted or weighed fresh.",
        "Give the mass lost on drying as a fraction of the fresh mass.",
    ),
    "like_known": Reads("is given for {given}, which is known.", "Leave like out."),
    "dangerous": Said(
        "'{given}' is refused: {why} (from memory).",
        "Leave it out. If another plant is meant, write its own name.",
    ),
    "name_taken": Said(
        "the name '{given}' of your own botanical already means {taken}.",
        "Choose another, such as 'my {given}'.",
    ),
    "counted_fresh": Reads("is counted fresh, not dried.", "Give it fresh, or name the dried botanical."),
    "dried_only": Reads(
        "is known dried only: how much water the fresh material holds is not known.",
        "Give the mass it would have dried, or add it as a botanical of your own.",
    ),
    "no_piece_weight": Reads("is counted, but what a piece of {name} weighs is not known.", "Give its mass."),
}


# --- Stops, cuts and jars.


def _never(error: PotsimError) -> str:
    return f"it never comes that {' or that '.join(waits(*one) for one in error.values['waits'])}."


def _already(error: PotsimError) -> str:
    first = "stream {stream_abv:abv}, pot {pot_abv:abv}, vapour {vapour_c:temperature}, {elapsed_min:minutes}"
    told = fill(f"{first} after switch-on.", **error.values)
    return f"at the first drop it is already true that {waits(*error.values['waits'][0])}: {told}"


OF = {
    "spirit": "the strength of the spirit",
    "spirits": "the strength of the spirits together",
    "charge": "the spirits of the plan without water",
    "keep": "the strength of the keep",
}
WEAKER = {
    "spirit": "Water only weakens: stop the run earlier, drop the last jars, take a stronger charge, or "
    "blend with stronger spirit.",
    "spirits": "Take more of the strongest, or a stronger spirit.",
    "charge": "Take stronger spirit: water only weakens.",
    "keep": "A glass let down with water is weaker than the keep: measure it again.",
}


def _too_strong(error: PotsimError) -> str:
    most = math.floor(100.0 * error.allowed + 1e-6) / 100.0  # what is told is itself allowed
    told = fill("is {0:abv_exact}; allowed is at most {1:abv_exact}", error.given, most)
    return f"{told}, {OF[error.values['of']]}."


STOPS = {
    "too_strong": Reads(_too_strong, lambda error: WEAKER[error.values["of"]]),
    "more_than_comes": Reads(
        "is {given:volume}; allowed is less than {allowed:volume}, all that this charge can give.",
        "Count what was collected from the first drop.",
    ),
    "never": Said(
        _never,
        "When the pot is all but empty, {collected_l:volume} are collected after {elapsed_min:minutes}, with "
        "the stream at {stream_abv:abv} and the vapour at {vapour_c:temperature}.",
    ),
    "true_already": Said(_already, "Choose a stop that comes later."),
    "bare_element": Reads(
        "is {given:volume}, but the charge does not even reach it.", "Charge more, or correct min_level."
    ),
    "beyond_run": Reads(
        lambda error: (
            f"is {error.given:g}; allowed is {error.allowed[0]:.6g} to {error.allowed[1]:.6g}, "
            "first drop to stop."
        ),
        "Ask within the run, or move the stop.",
    ),
    "no_keep": Said(
        "the keep would end before the heads do.", "Take less heads, or let the run and the keep last longer."
    ),
    "all_heads": Reads(
        "is {given:volume}, but only {allowed:volume} come over before the keep ends.",
        "Take less heads, or let the run and the keep last longer.",
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
    "weak_stretch": Reads(
        "is {given:abv_short}; allowed is at least {allowed:abv_short}, the bottling strength.",
        "Stretch with stronger spirit, or bottle weaker; water comes by itself.",
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
    "no_jar_poured": Said("no jar is chosen to be poured.", "Note a jar as full, or choose one."),
    "jar_twice": Reads("names jar {given} twice.", "Name every jar once."),
    "no_such_jar": Reads(_no_such_jar, _jars),
    "too_many_jars": Said(
        "jars of {given:volume} would make more than {allowed} for this run; allowed are {allowed}.",
        "Take larger jars, or fewer of the small ones.",
    ),
    "away_too_long": Said(
        "in {given:minutes} as much as {flowing_l:volume} come over, but at most {lost_l:volume} may be "
        "lost.",
        "Stay away for less than {allowed:.2g} min, allow a larger loss, or lower the power.",
    ),
    "jars_unfilled": Said("the jars could not be filled to their sizes.", "Please report the plan."),
}


REFUSALS: dict[str, Said] = {
    **NAMES,
    **CHARGE,
    **BOTANICALS,
    **STOPS,
    **JARS,
    **ASKED_OF,
}
