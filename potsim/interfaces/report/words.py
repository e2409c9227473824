"""Notes in words: what each kind says, once, for every face.

A template names values of the note in braces, each with its kind of quantity in the table of formats after a
colon, or with a format of Python's; its subject is `subject`. Where the sentence itself depends on the
values, a function makes it.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable
from typing import Any

from potsim.interfaces.wording import METRIC, number, say
from potsim.planning.notes import EVERY_RUN, Note

Words = str | Callable[[Note], str]


class _Template(string.Formatter):
    """Templates whose values are told by the table of formats."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec in METRIC:
            return say(format_spec, value)
        return str(super().format_field(value, format_spec))


TEMPLATE = _Template()


def fill(template: str, /, *values: Any, **named: Any) -> str:
    """Fill in a template."""
    return TEMPLATE.vformat(template, values, named)


def words(note: Note) -> str:
    """Return the sentence of a note."""
    said = WORDS[note.kind]
    return fill(said, subject=note.subject, **note.values) if isinstance(said, str) else said(note)


def sentences(notes: Iterable[Note]) -> tuple[str, ...]:
    """Return the sentences of notes, in their order."""
    return tuple(map(words, notes))


# --- Dangers and cautions.


ALWAYS = {
    "law": "Law: distilling needs a licence in most countries. Follow local law and licensed practice.",
    "fire": "Fire: spirit vapour burns, is heavier than air and pools on the floor. Ventilate; no flame or "
    "spark.",
    "attendance": "Never leave a running still alone. Keep the outlet open: never heat a closed vessel.",
    "cooling": "Cooling on before the heat, and on until the pot has cooled. Let the pot cool before opening "
    "it.",
    "forecast": "A forecast is not an inspection: potsim knows nothing of methanol in bad spirit, leaks or "
    "foaming.",
}


def _strong_charge(note: Note) -> str:
    v = note.values
    lights = fill("its vapour lights at {lights_c:temperature_about} (from IEC 60079-20-1)", **v)
    with_botanicals = v["usual_botanicals_abv"]
    more = "" if with_botanicals is None else f", {with_botanicals:.0f} % with botanicals"
    usual = f"Usual are at most {v['usual_abv']:.0f} % in a small still{more}"
    return f"Charge of {say('abv_about', v['abv'])}: {lights}. {usual} (common practice, no source)."


def _dose(note: Note) -> str:
    v = note.values
    low, high = v["usual_low_g_per_l"], v["usual_high_g_per_l"]
    side = "much more" if v["g_per_l"] > high else "much less"
    per_l = f"{v['g_per_l']:.3g} g per litre of charge ({v['state']})"
    return f"{note.subject}: {per_l} is {side} than usual, {low:g} to {high:g} g/L ({v['source']})."


HEED: dict[str, Words] = {
    EVERY_RUN: lambda note: ALWAYS[note.subject],
    "fill": "Fill: the boiling charge takes {boiling_l:volume}, {fill:share} of the pot; at most "
    "{most_fill:share} leaves room for foam (common practice, no source).",
    "strong_charge": _strong_charge,
    "bare_element": "A heating element inside the pot must stay covered to the end: set min_level.",
    "early_end": "Switch off before the planned stop: the pot is down to its least level of "
    "{least_level_l:volume}. Charge more to get to the stop.",
    "heads_take": "{subject}: the heads take {share:share} of what comes over of it; heads of "
    "{smaller_l:volume} would take {smaller_share:share}.",
    "dose": _dose,
    "botanical": "{subject}: {text} ({source})",
    "limit": "{subject}: about {mg_per_kg:.2g} mg/kg in the drink is over the limit of {limit_mg_per_kg:g} "
    "mg/kg ({source}).",
}


# --- What a plan left open, and what in it comes to nothing.


def _loss(note: Note) -> str:
    v, who, key = note.values, {"still.neck_loss": "Neck"}.get(note.subject, "Pot"), _key(note.subject)
    scaled = fill("sheds {w_per_k:loss}, scaled from a {reference_l:volume} still", **v)
    return f"{who} {scaled}: no {key} given."


def _key(path: str) -> str:
    return path.rpartition(".")[2]


def _taken_as(note: Note) -> str:
    taken = [value for value in (note.values["state"], note.values["prepared"]) if value is not None]
    return f"{note.subject}: taken {' and '.join(taken)}, not said otherwise"


CHOSEN = {"commonest": "the commonest", "state": "by its state", "piece": "by how it is counted"}


def _taken_for(note: Note) -> str:
    v, others = note.values, " or ".join(f"'{other}'" for other in note.values["others"])
    return f"{note.subject}: taken as {v['taken']}, {CHOSEN[v['by']]}; write {others} for that"


TAKEN: dict[str, Words] = {
    "assumed_capacity": "Pot of {capacity_l:volume}, {fill:share} full: no capacity given.",
    "assumed_power": "Power {power_w:power}, for a pot of {capacity_l:volume}: none given.",
    "assumed_heat_up_power": "Heat-up at the same power: no heat_up_power given.",
    "assumed_loss": _loss,
    "assumed_room": "Room at {room_c:temperature_about}: none given.",
    "assumed_pressure": "At sea level, {pressure_hpa:pressure}: no altitude or pressure given.",
    "assumed_min_level": "Nothing has to stay in the pot: no min_level given. Cover a bare element.",
    "assumed_pot_mass": "The pot's own metal is not heated: no pot_mass given; the first drop comes later.",
    "assumed_stop": "Stop when {share:share} of the alcohol is over: no stop given.",
    "assumed_stop_of_water": "Stop at {collected_l:volume}, {share:share} of the water: no stop given.",
    "assumed_last_stop": "Stop when {share:share} of the alcohol is over if no cloud comes before.",
    "assumed_no_heads": "No heads taken: none given.",
    "no_tails": "No tails: tails_from comes no sooner than the stop.",
    "power_step_unused": "The power step at {from_l:volume} never comes.",
    "nothing_bottled": "Nothing is bottled: [bottling] has a bottle but no abv.",
    "left_over_oils": "Oils that left-over jars bring into the charge are not followed.",
    "taken_as": _taken_as,
    "taken_for": _taken_for,
    "dose_of_nothing": "{subject}: the dose is nothing, and nothing comes over; leave the line out to drop "
    "it",
    "piece": "{subject}: {pieces:g} x {piece} taken as {mass_g:mass} each, {state}: {source}",
    "fresh_water": "{subject}: {share:share} water when fresh: {source}",
}


# --- Jars and proofing.


def _proposed(note: Note) -> str:
    row = ", ".join(f"{one['count']} x {say('volume', one['size_l'])}" for one in note.values["row"])
    return f"No jars are named, so a row is proposed: {row}."


def _too_small(note: Note) -> str:
    v = note.values
    verb = "does not float" if v["size_l"] < v["floats_from_l"] else "may not float"
    takes = f"{number('volume', v['floats_from_l'])} to {say('volume', v['floats_at_l'])}"
    return (
        f"A jar of {say('volume', v['size_l'])} {verb} a hydrometer, which takes {takes} (common practice, "
        "no source): read a few jars together, or go by the temperature of the vapour."
    )


JARS: dict[str, Words] = {
    "jars_proposed": _proposed,
    "jars_too_few": "The jars are too few: jar {number} is full at {full_l:volume} collected and "
    "{full_min:minutes}, and {left_over_l:volume} at {left_over_abv:abv} are left over. Have larger "
    "jars ready, or more of them, up to {most_jars}.",
    "jar_at_cut": "Change jar {number} at the {cut} cut, when it holds {volume_l:volume} of its "
    "{size_l:volume}.",
    "jar_too_small_for_a_hydrometer": _too_small,
}

PROOFING: dict[str, Words] = {
    "hot_room": "A room of {room_c:temperature_about} is too hot for proofing: cool spirit and water "
    "to {at_c:temperature_about} first.",
    "reading_away": "At {at_c:temperature_short} a hydrometer for 20 °C shows {reading_abv:abv}, "
    "not {abv:.1f}.",
    "volumes_at_reference": "Volumes are for {at_c:temperature_short} unless they say otherwise; a weighed "
    "addition needs no correction.",
    "rest": "Mixing warms the spirit and sets bubbles free: let it rest until it has the temperature of the "
    "room, then read, and add the last of the water by the reading (common practice, no source).",
    "falsified_reading": "Sugar, and the extract that macerated botanicals leave in spirit not distilled "
    "again, make a hydrometer read too low: go by the water, not by the reading.",
}


# --- From one trial to the next.


LOST = {
    "before": ("before the keep", "take less heads"),
    "between": ("in jars that are left out", "pool those jars too"),
    "after": ("after the keep", "let the keep last longer"),
}


def _lost_by_cut(note: Note) -> str:
    (where, cure), share, half_l = LOST[note.values["where"]], note.values["share"], note.values["half_l"]
    ends = "" if half_l is None else fill(" (half of what comes to the stop is over at {:volume})", half_l)
    lost = fill("a cut, not the dose, loses it: {:share} of what comes over of it comes", share)
    return f"{note.subject}: {lost} {where}; {cure}{ends} rather than add more."


TRIALS: dict[str, Words] = {
    "more_stays_behind": "{subject}: more of it will not help much, it hardly distils and stays in the pot. "
    "Try it macerated in the spirit after the run.",
    "more_stays_in_plant": "{subject}: {share:share} of its oil stays in the plant. Crack, slice or grind it "
    "finer, or macerate it longer, rather than add more.",
    "lost_by_cut": _lost_by_cut,
}


WORDS: dict[str, Words] = {**TRIALS, **HEED, **TAKEN, **JARS, **PROOFING}
