"""Refusals in words: of what is asked of a plan, from trial to trial, at the still; how all are declared."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import NamedTuple

from potsim.errors import PotsimError
from potsim.interfaces.quantities import shown
from potsim.interfaces.report.words import fill, waits, words
from potsim.interfaces.wording import say

Words = str | Callable[[PotsimError], str]


class Said(NamedTuple):
    """A kind of refusal in words."""

    fault: Words
    hint: Words = ""
    follows: bool = False  # whether the fault reads on from its place


Reads = functools.partial(Said, follows=True)


def by_path(hints: dict[str, str], otherwise: str = "") -> Callable[[PotsimError], str]:
    """Return a hint that goes by what the refusal is about."""
    return lambda error: hints.get(error.path, otherwise)


# --- The keep, proofing and blends.


def _no_alcohol_kept(error: PotsimError) -> str:
    of = error.values.get("of")
    return f"the keep{'' if of is None else f' of {shown(of)}'} holds no alcohol."


KEEP = {
    "no_alcohol_kept": Said(
        _no_alcohol_kept,
        by_path(
            {"bottling.abv": "Charge a spirit, keep other jars, or leave bottling.abv out."},
            "Charge a spirit, or keep other jars.",
        ),
    ),
    "too_few_to_blend": Said(
        "{given} to blend; a blend has at least {allowed}.", "Name more, each with its parts."
    ),
    "same_strength": Reads(
        "is {given:abv_exact}, the strength of the first.",
        "Two spirits of one strength blend to that strength in any proportion: name another.",
    ),
    "not_between": Reads(
        lambda error: fill(
            "is {0:abv_exact}; allowed is {1:abv_exact} to {2:abv_exact}, between the two.",
            error.given,
            *error.allowed,
        ),
        "A blend lies between its parts: take a stronger or weaker spirit; water has 0 % vol.",
    ),
    "more_came_out": Reads(
        "is {given:volume_exact}; allowed is at least {allowed:volume_exact}, what came out.",
        "Count every spirit that went in, also one added before bottling.",
    ),
    "no_bottle": Reads(
        "is not given: how much {bottles} bottles hold is open.",
        'Give the bottling strength and the bottle, such as abv = "42 %" and bottle = "350 mL".',
    ),
    "no_oil_aimed": Said("the profile aimed at holds no oil.", "Aim at a plan with botanicals."),
    "no_botanical_shared": Said(
        "none of these plans holds an oil that is aimed at: they share no botanical with it.",
        "Blend distillates of the botanicals aimed at.",
    ),
}


# --- Trials.


def _shares(error: PotsimError) -> str:
    kind = "mass_about" if error.path == "mass" else "volume"
    return f"is {say(kind, error.given)}, but the charge is {say(kind, error.allowed)}."


TRIALS = {
    "no_less": Reads(
        lambda error: f"is {error.given:g} times; allowed is at least {error.allowed[0]:g} and less than 1.",
        "Such as /1.5.",
    ),
    "not_falling": Reads(
        "is x{given:.4g}, below the x{allowed:.4g} of {other}.",
        "Let the factors fall from 'a lot more' to 'less'.",
    ),
    "no_verdict": Said(
        "no note has a verdict: there is nothing to go by.",
        lambda error: (
            f'Add [[note]] with botanical = "..." and verdict = one of: {", ".join(error.allowed)}.'
        ),
    ),
    "verdicts_differ": Said(
        "the notes about {of} contradict each other: '{before}' and '{given}'.",
        "Agree on one verdict; the other may stay as words.",
    ),
    "awaited": Reads(
        "waits for {given}, which is to be dropped.", "Change it first, for example to a stream_abv."
    ),
    "bottles_unfilled": Said("no charge was found that fills {given} bottles.", "Scale to a charge instead."),
    "charge_not_found": Said("the charge was not found.", "Please report the plan."),
    "more_than_charged": Reads(
        _shares,
        by_path(
            dict.fromkeys(("collected", "mass"), "Is the plan that of this run?"),
            "Check it, and the [[charge]].",
        ),
    ),
    "more_alcohol": Said(
        "the result holds more alcohol than the charge: {collected_l:volume} at {given:abv_short} are "
        "{held_l:volume} of pure alcohol, the charge held {allowed:volume}.",
        "Check collected and strength (read at 20 °C?), and the [[charge]].",
    ),
}


# --- The question turned round, and how sure.


def _asked(error: PotsimError) -> str:
    return words(error.values["question"])


def _ends(error: PotsimError) -> str:
    return (
        "the least level of the pot ends the run there"
        if error.values["by_level"]
        else ("the pot is then exhausted")
    )


def _limit(kind: str, value: float, *, up: bool = False) -> str:
    """Tell a limit so that what is told is within it."""
    exact = {"abv_exact": 100.0, "share_exact": 10_000.0}[kind]
    return say(kind, (math.ceil if up else math.floor)(exact * value) / exact)


ASKED = {
    "one_question": Said(
        lambda error: f"{'two things are' if error.given else 'nothing is'} asked for.",
        "Ask for one: bottles, a keep (its volume, its strength or both), or a share to recover.",
    ),
    "keep_too_strong": Said(
        lambda error: (
            f"a keep of {say('abv_exact', error.given)} is out of reach: the strongest that comes "
            f"of this charge has {_limit('abv_exact', error.allowed)}, at the first drop after the heads."
        ),
        "Let the charge be stronger, take less power, or ask for less.",
    ),
    "keep_too_weak": Said(
        lambda error: (
            f"a keep of {say('abv_exact', error.given)} is out of reach: the weakest that comes of "
            f"this charge has {_limit('abv_exact', error.allowed, up=True)}; {_ends(error)}."
        ),
        "Ask for a stronger one and let it down with water, or charge less strong.",
    ),
    "share_too_large": Said(
        lambda error: (
            f"a keep with {say('share_exact', error.given)} of the alcohol is out of reach: the most "
            f"that comes of this charge is {_limit('share_exact', error.allowed)}; {_ends(error)}."
        ),
        "Ask for less, take less heads, or lower still.min_level.",
    ),
    "too_many_runs": Said(
        lambda error: (
            f"{_asked(error)} would take {error.given} runs; allowed are {error.allowed}. Three "
            f"quarters of the pot give {say('volume', error.values['most_l'])}."
        ),
        "Take a larger pot, or ask for less.",
    ),
    "too_little_asked": Said("{given:volume} is too little for this plan.", "Ask for more."),
    "no_charge_fits": Said(
        lambda error: f"{_asked(error)}: no charge of these spirits fits the pot.", "Charge less."
    ),
    "not_by_strength": Said(
        lambda error: fill(
            "{0} is out of reach by letting the charge down: {1:.0f} to {2:abv_about} in one run give "
            "{3:volume} to {4:volume}.",
            _asked(error),
            *error.values["abvs"],
            *error.allowed,
        ),
        "Change the amount of the charge instead, or ask for another volume.",
    ),
    "not_reached": Said(
        lambda error: fill(
            "{0} is out of reach: the nearest run gives a keep of {keep_l:volume} at {keep_abv:abv}, ended "
            "because {1}.",
            _asked(error),
            waits(*error.values["ended"]),
            **error.values,
        ),
        "Ask for more, lower still.min_level, or stop otherwise.",
    ),
    "nothing_uncertain": Said("nothing in this plan is uncertain: no run was drawn.", "Set [uncertainty]."),
    "none_possible": Said(
        "none of the drawn runs could be run as planned.", "Make the plan's uncertainty smaller."
    ),
    "undecided": Said(
        "how sure this run is cannot be told: it is so near the limit of what pot and neck can do that the "
        "least doubt decides whether anything comes over.",
        "Give more power, lower still.pot_loss or still.neck_loss, or let the charge down with water.",
    ),
}


# --- At the still: readings, journals, files.


def _reading(error: PotsimError, value: float) -> str:
    if error.path == "time":
        return f"{value:g} min"
    return say("mass" if error.path.endswith("mass") else "volume", value)


INSIDE = {
    "jar": "of what is in a jar the strength is given, but not how much it is.",
    "pooled": "of all so far the strength is given, but not how much it is.",
    "jug": "it is not said how much is in the jug.",
    "parrot": "the strength is read in a parrot, but it is not said what the parrot holds.",
}


def _falls(error: PotsimError) -> str:
    return f"falls from {_reading(error, error.values['last'])} to {_reading(error, error.given)}."


READINGS = {
    "hold_up": Reads(
        "is {given:volume}; allowed is 0 to {allowed:volume}, a seventh of the charge.",
        "It is what stays in the condenser and its hose while the still runs.",
    ),
    "little_to_follow": Reads(
        "is down to {given:power}, of which the pot sheds {shed_w:power} and the neck about {neck_w:power}: "
        "too little comes over to be followed.",
        "Correct it to at least {allowed:power}, or the plan's losses.",
    ),
    "early_haze": Said(
        "a haze is told before the first drop.", "Say how much was collected when it was first seen."
    ),
    "how_much": Said(
        lambda error: INSIDE[error.values["of"]],
        lambda error: (
            'Write for example "parrot 60 mL", or give the plan\'s still its parrot.'
            if error.values["of"] == "parrot"
            else "Add its volume or its mass."
        ),
    ),
    "not_placed": Said(
        "it does not say how far the run has come.", "Give the time, or the volume or mass collected."
    ),
    "pool_and_jar": Said(
        "the strength is of all so far poured together, but what one jar holds is given.",
        "Give all that is collected, by volume or mass; or read the jar alone.",
    ),
    "falls": Reads(
        _falls,
        by_path(
            {
                "time": "Put the lines in the order of the run; time counts from switch-on.",
                "collected": "Collected counts all that has come over; for jars one by one use jar volume.",
                "mass": "Mass counts all that has come over; for jars one by one use jar mass.",
            }
        ),
    ),
    "jar_of_more": Reads(
        lambda error: (
            f"is {_reading(error, error.given)}, but the jar alone holds "
            f"{_reading(error, error.values['jar'])}."
        ),
        "One of the two has another unit, or is wrong.",
    ),
    "no_spirit_so_dense": Said(
        lambda error: fill(
            "{volume} {volume_l:volume} and {mass} {mass_g:mass} make {0:.3g} g/mL; spirit has {1:g} to "
            "{2:g}.",
            error.given,
            *error.allowed,
            **error.values,
        ),
        "Are the units mixed up?",
    ),
    "beyond_azeotrope": Reads(
        "is {given:abv} at 20 °C, beyond the azeotrope, {allowed:abv}.",
        "A pot cannot give more. Is it in proof, read cold, or a slip?",
    ),
    "no_such_reading": Reads(
        lambda error: fill(
            "is {0:abv_short}, which no hydrometer shows at {1:temperature_short}: {2} is {3}; allowed is "
            "{4}.",
            error.given,
            error.values["at_c"],
            *error.values["inner"].values(),
            error.allowed,
        ),
        "Read it again, at the temperature of the sample.",
    ),
    "nothing_read": Said("nothing was read, so nothing is learnt.", "Give Run.follow some readings."),
    "journal_version": Reads(
        "is of version {given}; understood are 1 to {allowed}.",
        "Use the potsim that wrote it, or a newer one.",
    ),
    "no_record": Said("this is no record of a journal: {given}.", "Give a JSON object of plain data."),
    "wrong_id": Reads("is '{given}'; allowed are up to 64 letters, digits and hyphens.", "Send another."),
    "noted_already": Said(
        lambda error: (
            f"jar {error.given} was noted already"
            f"{' on ' * bool(error.values['device'])}{error.values['device']}."
        ),
        "Give it another volume, or discard this.",
    ),
    "begun_twice": Said("a run cannot begin twice.", "Use another file."),
    "nothing_to_undo": Said("there is nothing of that name to take back.", "It may have been discarded."),
}
FILES = {
    "file_missing": Said("there is no '{given}'.", "Check the name and the folder."),
    "file_is_folder": Said("'{given}' is a folder.", "Name a {sort} in it."),
    "file_there": Said("'{given}' is there already.", "Choose another name, or add --force to replace it."),
    "file_not_plain": Said("'{given}' is not a file that can be kept.", "Name a plain file."),
    "file_too_large": Said(
        "'{given}' is larger than {allowed} MB; no run's journal is.", "Name another file."
    ),
    "file_unusable": Said(
        "'{given}' cannot be used: {why}.",
        lambda error: (
            "Make room, and enter it once more." if error.values["full"] else "Choose another place."
        ),
    ),
    "file_held": Said("'{given}' is held by another program.", "Try again."),
    "file_without_run": Said("'{given}' holds no run.", "Begin one: potsim follow PLAN --enter"),
    "file_of_another_plan": Said(
        "'{given}' is the journal of another plan.",
        "Name another file for this run, or the plan as it was when the run began.",
    ),
    "file_no_journal": Said("'{given}' is not a journal of readings.", "Name another file."),
    "file_only_read": Said("'{given}' is only read here.", "Open it to add to it."),
}


ASKED_OF: dict[str, Said] = {**KEEP, **TRIALS, **ASKED, **READINGS, **FILES}
