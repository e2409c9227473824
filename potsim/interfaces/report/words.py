"""Notes in words: what each kind says, once, for every face.

A template names values of the note in braces, each with its kind of quantity in the table of formats after a
colon, a way of `TELLERS`, or a format of Python's; ``?yes|no`` chooses by whether there is a value. Its
subject is `subject`. Where the sentence itself depends on the values, a function makes it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from potsim.interfaces.wording import (
    METRIC,
    at_least,
    counted,
    format_numbers,
    in_column,
    made_for,
    metric,
    number,
    pieces_of,
    say,
    signed,
)
from potsim.planning.notes import EVERY_RUN, Note

Words = str | Callable[[Note], str]


class _Said:
    """A value that is told by the table of formats where a template names a kind of quantity; text stays."""

    def __init__(self, value: Any) -> None:
        self.value = value

    def __getitem__(self, key: int) -> _Said:
        return _Said(self.value[key])

    def __format__(self, spec: str) -> str:
        if spec.startswith("?"):
            yes, _, no = spec[1:].rpartition("|")
            return yes if self.value else no
        if spec in TELLERS:
            return TELLERS[spec](self.value)
        if isinstance(self.value, str):
            return self.value
        return say(spec, self.value) if spec in METRIC else format(self.value, spec)


def fill(template: str, /, *values: Any, **named: Any) -> str:
    """Fill in a template."""
    return template.format(*map(_Said, values), **{name: _Said(value) for name, value in named.items()})


def words(note: Note) -> str:
    """Return the sentence of a note."""
    said = WORDS[note.kind]
    return fill(said, subject=note.subject, **note.values) if isinstance(said, str) else said(note)


def sentences(notes: Iterable[Note]) -> tuple[str, ...]:
    """Return the sentences of notes, in their order."""
    return tuple(map(words, notes))


def minute(elapsed_min: float) -> str:
    """Return a moment of a run, counted from switch-on: ``"minute 46"``."""
    return f"minute {number('minutes', elapsed_min)}"


def _limit(value: float, step: float) -> float:
    """Round a limit so that what is told is itself within it: down, or up by a negative step."""
    return math.floor(value / step + 1e-6) * step


# Ways of telling what is no quantity, and limits so that what is told is itself within them.
TELLERS: dict[str, Callable[[Any], str]] = {
    "list": lambda of: ", ".join(one if isinstance(one, str) else f"{one:.6g}" for one in of),
    "minute": lambda of: minute(of),
    "bottles": lambda of: counted(of, "bottle"),
    "kilograms": lambda of: say("mass", 1000.0 * of),
    "jars": lambda of: format_numbers(of),
    "note": lambda of: words(of),
    "stop": lambda of: waits(*of),
    "stops": lambda of: " or that ".join(waits(*one) for one in of),
    "least_minutes": lambda of: at_least("minutes_short", of),
    "most_abv": lambda of: say("abv_exact", _limit(of, 0.01)),
    "least_abv": lambda of: say("abv_exact", _limit(of, -0.01)),
    "most_share": lambda of: say("share_exact", _limit(of, 1e-4)),
}


# --- Dangers and cautions.


ALWAYS = {
    "law": "Law: distilling needs a licence in most countries. Follow local law and licensed practice.",
    "fire": "Fire: spirit vapour burns, is heavier than air and pools on the floor. Ventilate; no flame or "
    "spark.",
    "attendance": "Never leave a running still alone. Keep the outlet open: never heat a closed vessel.",
    "cooling": "Cooling on before the heat, and on until the pot has cooled. Let the pot cool before opening "
    "it.",
    "sugar": "Sugar or extract in the charge (a liqueur, a sweetened or wood-aged spirit) boils hotter, "
    "scorches and falsifies what a hydrometer shows: have its strength measured, or leave it out.",
    "forecast": "A forecast is not an inspection: it knows nothing of methanol in bad spirit, of leaks, foam "
    "and scorching, of how lots of botanicals differ, of taste.",
}


def _strong_charge(note: Note) -> str:
    v = note.values
    lights = fill("its vapour lights at {lights_c:temperature_about} (from IEC 60079-20-1)", **v)
    with_botanicals = v["usual_botanicals_abv"]
    more = "" if with_botanicals is None else f", {say('abv_about', with_botanicals)} with botanicals"
    usual = f"Usual are at most {say('abv_about', v['usual_abv'])} in a small still{more}"
    return f"Charge of {say('abv_about', v['abv'])}: {lights}. {usual} (common practice, no source)."


def _dose(note: Note) -> str:
    v = note.values
    side = "more" if v["g_per_l"] > v["usual_high_g_per_l"] else "less"
    usual = f"{number('dose', v['usual_low_g_per_l'])} to {say('dose', v['usual_high_g_per_l'])}"
    per_l = f"{say('dose', v['g_per_l'])} of charge ({v['state']})"
    return f"{note.subject}: {per_l} is much {side} than usual, {usual} ({v['source']})."


HEED: dict[str, Words] = {
    EVERY_RUN: lambda note: ALWAYS[note.subject],
    "fill": "Fill: the boiling charge takes {boiling_l:volume}, {fill:share} of the pot; at most "
    "{most_fill:share} leaves room for foam (common practice, no source).",
    "strong_charge": _strong_charge,
    "tiny_part": "Only {volume_l:volume} of {subject} goes in: is that meant? A point is a decimal point, so "
    "that 1.500 mL is one and a half.",
    "boils_at_once": "At {power_w:power} the first drop comes after {seconds:.0f} s: is that power meant?",
    "bare_element": "A heating element inside the pot must stay covered to the end: set min_level.",
    "ground_on_element": "{subject}, ground, settles on a bare element and scorches: put it in a bag.",
    "condenser_short": "Condenser: it carries off {capacity_w:power}, but {condensing_w:power} are needed to "
    "turn all vapour into liquid: hot vapour would leave the spout and can catch fire. With at most "
    "{most_power_w:power} of power none would.",
    "condenser_warm": "Condenser: {duty_w:power} are needed to cool all to the room, it carries off "
    "{capacity_w:power}: the distillate comes out warm and loses spirit.",
    "condenser_unknown": "The condenser must carry off up to {duty_w:power}; 1.5 m of bare 1 cm tube in "
    "still air takes some {still_air_w:power}, 3 m under a fan {fan_w:power} (common practice, no source). "
    "Beyond what yours takes hot vapour leaves the spout. No condenser given.",
    "early_end": "Switch off before the planned stop: the pot is down to its least level of "
    "{least_level_l:volume}. Charge more to get to the stop.",
    "late_leader": "{subject} leads, and comes late: only {share:share} of what comes over of it is over "
    "when the others have faded. Stop by strength to have more of it.",
    "heads_take": "{subject}: the heads take {share:share} of what comes over of it; heads of "
    "{smaller_l:volume} would take {smaller_share:share}.",
    "dose": _dose,
    "botanical": "{subject}: {text} ({source})",
    "limit": "{subject}: about {mg_per_kg:per_kg} in the drink is over the limit of "
    "{limit_mg_per_kg:per_kg} ({source}).",
}


# --- What a plan left open, and what in it comes to nothing.


def _loss(note: Note) -> str:
    v, who, key = note.values, {"still.neck_loss": "Neck"}.get(note.subject, "Pot"), _key(note.subject)
    if v["built_of"] is not None:
        what = "lid and the wall above the liquid" if who == "Neck" else "the wetted wall"
        shed = fill("sheds {w_per_k:loss}, {what} of a bare {built_of} pot this size", what=what, **v)
        return f"{who} {shed}: no {key} given."
    scaled = fill("sheds {w_per_k:loss}, scaled from a {reference_l:volume} still", **v)
    return f"{who} {scaled}: no {key} given."


def _vapour_stop(note: Note) -> str:
    v = note.values
    said = fill("The stop at {vapour_c:temperature} is meant here, at {pressure_hpa:pressure}", **v)
    if v["sea_level_c"] is not None:
        said += fill(": the same vapour is at {sea_level_c:temperature} at sea level", **v)
    if v["here_c"] is not None:
        said += fill("; {vapour_c:temperature} at sea level is {here_c:temperature} here", **v)
    return f"{said}."


def _reading_away(note: Note) -> str:
    return fill(
        "At {at_c:temperature_short} a hydrometer for {made_for} shows {reading_abv:abv}, not {abv:abv}.",
        made_for=made_for(note.values["calibrated_c"]),
        **note.values,
    )


def _key(path: str) -> str:
    return path.rpartition(".")[2]


def state_taken(note: Note) -> str:
    """Return the state and the preparation that a botanical was taken in."""
    return " and ".join(filter(None, (note.values["state"], note.values["prepared"])))


def _taken_as(note: Note) -> str:
    return f"{note.subject}: taken {state_taken(note)}, not said otherwise"


CHOSEN = {"commonest": "the commonest", "state": "by its state", "piece": "by how it is counted"}


def _taken_for(note: Note) -> str:
    v, others = note.values, " or ".join(f"'{other}'" for other in note.values["others"])
    return f"{note.subject}: taken as {v['taken']}, {CHOSEN[v['by']]}; write {others} for that"


TAKEN: dict[str, Words] = {
    "assumed_capacity": "Pot of {capacity_l:volume}, {fill:share} full: no capacity given.",
    "assumed_element": "All of the power reaches the pot: min_level is there to cover an element in it, and "
    "no heated_by is given.",
    "assumed_all_heat": "All of the power reaches the pot: no heated_by given. On a hot plate "
    "{plate_low:share} to {plate_high:share} of it would.",
    "assumed_heat_share": "{share:share} of the power reaches the pot, by {heated_by} usually {low:share} to "
    "{high:share}: no heat_share given.",
    "assumed_pot_mass_by_size": "{mass_kg:kilograms} of {built_of} are heated with the charge, for a pot "
    "this size: no pot_mass given.",
    "vapour_stop_here": _vapour_stop,
    "parrot_shows": "At the stop the stream is at {stream_abv:abv}; your parrot of {parrot_l:volume} "
    "will then show {parrot_abv:abv}.",
    "turn_off": "Switch the plate off at {collected_l:volume_exact}, {elapsed_min:minute}: what it holds "
    "brings over the last {after_l:volume}; at {low_l:volume_exact} if it holds half as much more, at "
    "{high_l:volume_exact} if half as much.",
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
    "like": "{subject}: not in the library; oil, part and piece taken like those of {like}",
    "dose_of_nothing": "{subject}: the dose is nothing, and nothing comes over; leave the line out to drop "
    "it",
    "piece": lambda note: fill(
        "{subject}: {counted} taken as {mass_g:mass} each, {state}: {source}",
        subject=note.subject,
        counted=pieces_of(note.values["pieces"], note.values["piece"]),
        **note.values,
    ),
    "fresh_water": "{subject}: {share:share} water when fresh: {source}",
}


# --- What ends a run, in the middle of a sentence; what watches one quantity says so beside its key.


STOPS = {
    "over": "{value:share_exact} of what comes over of {botanical} is over",
    "stream_abv": "the stream has fallen to {value:abv_exact}",
    "pot_abv": "the pot has fallen to {value:abv_exact}",
    "vapour_c": "the vapour has risen to {value:temperature_exact}",
    "collected": "{value:volume_exact} are collected",
    "recovered": "{value:share_exact} of the alcohol is over",
    "elapsed": "{value:minutes_exact} have passed since switch-on",
    "parrot_abv": "the parrot has fallen to {value:abv_exact}",
    "faded": "all that leads or is clear in the bottle has given 95 % of what it gives",
    "cloudy": "the stream turns cloudy",
    "min_level": "the pot is down to its least level of {value:volume}",
    "exhausted": "the pot is exhausted",
}


def waits(reason: str, values: Mapping[str, Any]) -> str:
    """Return what a stop waits for."""
    late = [one["botanical"] for one in values.get("late", ())]
    left_out = f", {' and '.join(late)} left out as late" if late else ""
    return fill(STOPS[reason], **values) + left_out


# --- Jars and proofing.


def _proposed(note: Note) -> str:
    row = ", ".join(f"{one['count']} x {metric('volume', one['size_l'])}" for one in note.values["row"])
    return f"No jars are named, so a row is proposed: {row}."


def _too_small(note: Note) -> str:
    v = note.values
    verb = "does not float" if v["size_l"] < v["floats_from_l"] else "may not float"
    low, high = (metric("volume", v[name]) for name in ("floats_from_l", "floats_at_l"))
    takes = f"{low.removesuffix(' mL')} to {high}"
    return (
        f"A jar of {metric('volume', v['size_l'])} {verb} a hydrometer, which takes {takes} (common "
        "practice, no source): read a few jars together, or go by the temperature of the vapour."
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
    "reading_away": _reading_away,
    "volumes_at_reference": "Volumes are for {at_c:temperature_short} unless they say otherwise; a weighed "
    "addition needs no correction.",
    "rest": "Mixing warms the spirit and frees bubbles: let it rest to the temperature of the room, read, "
    "then add the last of the water by the reading (common practice, no source).",
    "falsified_reading": "Sugar, or the extract of botanicals in spirit not distilled again, makes a "
    "hydrometer read too low: then go by the water.",
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


def _release_does_not_scale(note: Note) -> str:
    moved = ((one["botanical"], signed("share_column", one["change"])) for one in note.values["changes"])
    took = fill("{minutes:minutes} instead of {minutes_before:minutes}", **note.values)
    return (
        "Release: plants give up their oil by the minute, not by the litre, and maceration keeps its hours. "
        f"From first drop to stop it takes {took}. Oil for a litre bottled changes most in: "
        f"{', '.join(f'{name} {change} %' for name, change in moved)}."
    )


def _weighing(note: Note) -> str:
    v = note.values
    if not v["doses"]:
        return "Weighing: there is nothing to weigh."
    stated = fill(
        "Weighing: doses are written to one part in ten thousand. A scale shows steps of {step}, at "
        "most {most_off:share} of each dose",
        step=metric("mass", v["step_g"]),
        **v,
    )
    if not v["coarse"]:
        return f"{stated}."
    coarse = ", ".join(f"{one['botanical']} {say('mass', one['mass_g'])}" for one in v["coarse"])
    return (
        f"{stated}, but for {coarse}: take a finer scale, or weigh ten times as much, grind and mix it, and "
        "take a tenth."
    )


TRIALS: dict[str, Words] = {
    "more_stays_behind": "{subject}: more of it will not help much, it hardly distils and stays in the pot. "
    "Try it macerated in the spirit after the run.",
    "more_stays_in_plant": "{subject}: {share:share} of its oil stays in the plant. Crack, slice or grind it "
    "finer, or macerate it longer, rather than add more.",
    "lost_by_cut": _lost_by_cut,
    "neck_does_not_scale": "Neck loss: a neck is a surface, so it takes another share of the power, "
    "{share:share} instead of {share_before:share}; with it goes the reflux. The stream begins at {abv:abv} "
    "instead of {abv_before:abv}. Measure the other still's loss if you can.",
    "release_does_not_scale": _release_does_not_scale,
    "weighing": _weighing,
    "stills_differ": "The stills differ: that of the first is taken.",
    "own_botanicals_differ": "A botanical of your own is described in two ways: that of the first is taken.",
    "tails_differ": "Not all have tails_from: it is that of the first, or none.",
    "stops_differ": "The conditions of {key} differ in kind: those of the first are taken.",
    "jars_kept_differ": "The jars kept differ: all between heads and tails are kept.",
    "stretches_differ": "Neutral spirit is added to some only: that of the first is taken.",
}


# --- A question turned round: what differs from the plan, and what sets bounds.


LET_DOWN = {
    "least_level": ", so that the pot keeps its least level",
    "too_strong": ": usual is {usual_abv:abv_about}, and nobody boils above "
    "{most_abv:abv_about} (common practice, no source)",
}


def _charge_let_down(note: Note) -> str:
    why = LET_DOWN.get(note.values["why"], "")
    return fill("The charge is let down to {abv:abv} instead of {abv_before:abv}", **note.values) + fill(
        f"{why}.", **note.values
    )


def _charge_scaled(note: Note) -> str:
    v = note.values
    along = f", {' and '.join(v['along'])} with it" if v["along"] else ""
    each = f"In each of {v['runs']} runs the base spirit" if v["runs"] > 1 else "The base spirit"
    return f"{each} is {number('factor', v['factor'])} times that of the plan{along}."


def _spare_given(note: Note) -> str:
    more = fill(
        "{spare:share} more is aimed at, for what clings to jars, funnel and filter (spare); ", **note.values
    )
    rounded = fill("amounts are rounded up to what can be measured: {gives_l:volume} in all.", **note.values)
    return (more if note.values["spare"] > 0.0 else "") + rounded


def _asked_keep(note: Note) -> str:
    volume_l, abv = note.values["volume_l"], note.values["abv"]
    if volume_l is None:
        return fill("a keep of {:abv_exact}", abv)
    at = "" if abv is None else fill(" at {:abv_exact}", abv)
    return fill("a keep of {:volume_exact}", volume_l) + at


REACH: dict[str, Words] = {
    "asked_share": "the strongest keep that holds {recovered:share_exact} of the alcohol",
    "asked_keep": _asked_keep,
    "asked_bottles": "{bottles:bottles} of {bottle_l:volume_exact} at {abv:abv_exact}",
    "charge_let_down": _charge_let_down,
    "charge_scaled": _charge_scaled,
    "spare_given": _spare_given,
    "ends_at": "The {subject} ends when the stream has fallen to {stream_abv:abv}, with "
    "{collected_l:volume} collected.",
    "no_tails_taken": "No tails are taken: the run ends with the keep.",
    "jars_kept_left_out": "jars.keep is left out: all jars between heads and tails count.",
    "jars_do_not_hold": "The jars of the plan do not hold it: a row is proposed.",
    "pot_full": "A pot of {capacity_l:volume} is three quarters full with {boiling_l:volume} of boiling "
    "charge; one of {one_run_l:volume} does all in one run.",
    "keeps_possible": lambda note: fill(
        "Keeps of this charge have {low} to {high_abv:abv} and hold at most {most_share:share} of its "
        "alcohol.",
        low=in_column(note.values["low_abv"]),
        **note.values,
    ),
    "ends_early": "The run ends early: the pot is down to its least level of {least_level_l:volume}.",
}


# --- How sure: what would narrow an answer.


PARTS = {"volume_l": "volume", "abv": "strength", "collected_l": "volume", "water_l": "water"}


def _answer(name: str) -> str:
    """An answer in words: ``keep.volume_l`` is the keep's volume."""
    *path, last = name.split(".")
    word = PARTS.get(last, last.rsplit("_", 1)[0].replace("_", " "))
    if not path:
        return f"the {word}"
    owner = f"jar {path[1]}" if path[0] == "jars" else f"the {path[0]}"
    return f"{owner}'s {word}"


def _narrowed_by(note: Note) -> str:
    answer, inputs = _answer(note.subject), note.values["inputs"]
    if not inputs:
        return f"Nothing that is uncertain moves {answer}."
    part = fill("{:share_about} of the spread of {}", inputs[0]["share"], answer)
    if not note.values["vapour_data"]:
        return f"Measure the {inputs[0]['input']} better: it is {part}."
    doubt = f"The published vapour data make {part}, which no measurement of yours narrows."
    if len(inputs) == 1:
        return doubt
    return f"{doubt} Next comes the {inputs[1]['input']} with {say('share_about', inputs[1]['share'])}."


SURE: dict[str, Words] = {
    "narrowed_by": _narrowed_by,
    "impossible_draws": "{share:share} of the draws could not be run as planned (too little heat, too "
    "strong a charge, or a stop that never comes); the bands are over the others.",
}


# --- At the still: readings that do not fit, and what readings tell of it.


SHOWN_AS = {
    "ratio": "heat shed by the neck",
    "charge_abv": "a stronger charge",
    "charge_l": "a larger charge",
    "hold_up_l": "spirit held back in the condenser",
    "time_scale": "less net power",
    "start_s": "a later first drop",
    "lost": "spirit lost behind the neck",
}
CALLED = {
    "ratio": "neck loss",
    "charge_abv": "strength of the charge",
    "charge_l": "volume of the charge",
    "hold_up_l": "hold-up",
    "time_scale": "power",
    "lost": "share of spirit lost",
}
# What may have gone wrong, when a reading is too low and when it is too high.
ASKED = {
    "strength": (
        "a weaker charge, a cold hydrometer or a typing slip?",
        "the strength of all so far pooled, a stronger charge, a warm hydrometer or a typing slip?",
    ),
    "vapour": ("a bulb out of the vapour, or a slip?", "a bulb at hot metal, or a slip?"),
    "pot": ("a bulb out of the liquid, or a slip?", "a bulb at the element, or a slip?"),
    "time": ("a slip, or more power for a while?", "a slip, or was the heat off for a while?"),
}
# What is read, and the kinds of quantity of a difference and of a value.
READ = {
    "strength": ("", "abv_difference", "abv"),
    "vapour": ("the vapour of ", "temperature_difference", "temperature"),
    "pot": ("the pot of ", "temperature_difference", "temperature"),
    "time": ("the time of ", "minutes_short", "minutes"),
}


def _reading(v: Mapping[str, Any]) -> str:
    """A reading as a person would call it, such as ``"the reading at 220 mL"``."""
    if v["collected_l"] is not None:
        place = say("volume_axis", v["collected_l"])
    elif v["mass_g"] is not None:
        place = say("mass_about", v["mass_g"])
    elif v["elapsed_min"] is not None:
        place = minute(v["elapsed_min"])
    else:
        return f"reading {v['number']}"
    called = {"jar": "the jar that ends", "pooled": "the pool"}.get(v["read_of"], "the reading")
    return f"{called} at {place}"


def _odd_reading(note: Note) -> str:
    v, (what, apart, kind) = note.values, READ[note.values["of"]]
    where = f"{what}{_reading(v)}"
    line = f" (line {v['line']})" if v["line"] else f" (reading {v['number']})"
    off = f"is {say(apart, abs(v['off']))} off, {say(kind, v['read'])} where {say(kind, v['expected'])}"
    asked = ASKED[v["of"]][v["off"] > 0.0]
    return f"{where[0].upper()}{where[1:]}{line} {off} is expected: {asked} It is left out."


def _alike(note: Note) -> str:
    opposite = "less" if note.values["correlation"] > 0.0 else "more"
    return (
        f"The readings cannot tell {SHOWN_AS[note.subject]} from {SHOWN_AS[note.values['other']]}: more of "
        f"the one with {opposite} of the other would show the same. The forecast needs only both together."
    )


def _thermometer_off(note: Note) -> str:
    off = note.values["off_k"]
    more = f"{say('temperature_difference', abs(off))} {'more' if off > 0 else 'less'}"
    return (
        f"The thermometer in the {note.subject} shows {more} than it should: is the "
        "altitude or pressure of the plan right? Does it show boiling water right?"
    )


def _heat_told(note: Note) -> str:
    v = note.values
    told = fill("{share:share} of the power reaches the pot", **v)
    plan = fill("the plan has {planned:share}", **v)
    held = fill(
        "if the pot sheds {pot_w_per_k:loss}, as the plan has it: one run cannot tell the two apart", **v
    )
    if note.kind == "heat_at_bound":
        return f"{told}, or {v['beyond']}: it is looked for no further ({plan}), {held}."
    return f"{told} (± {say('share_about', v['error'])}; {plan}), {held}."


def _far_from_plan(note: Note) -> str:
    named = " and ".join(CALLED[name] for name in note.values["numbers"])
    return f"The readings call for quite another {named} than the plan has: check the plan."


UNTOLD = {"ratio": "what the neck sheds", "time_scale": "how fast the still is"}


def _contradicts_plan(note: Note) -> str:
    v = note.values
    read = " and ".join(counted(v[name], name[:-1]) for name in ("times", "strengths") if v[name])
    numbers = " or ".join(UNTOLD[name] for name in v["numbers"])
    return (
        f"{read} are read, but they contradict the plan, and do not tell {numbers}. Likely causes: another "
        "charge or power than the plan has, power that was changed and not noted, heads left out of what is "
        "collected, time not counted from switch-on, strengths read warm or cold."
    )


REMEMBERED = {"neck": "what the neck sheds", "heat_share": "how much of the heat arrives"}


def _not_learnt(note: Note) -> str:
    kept = "it is left as it was" if note.values["kept"] else "it is not saved"
    return f"This run does not tell {REMEMBERED[note.subject]}; {kept}."


def _learnt_differs(note: Note) -> str:
    v, kind = note.values, {"neck": "loss", "heat_share": "share"}[note.subject]
    now, before = (
        f"{say(kind, v[a])} (± {say(kind, v[b])})"
        for a, b in (("value", "error"), ("before", "error_before"))
    )
    return (
        f"Of {REMEMBERED[note.subject]} this run says {now}, those before {before}: has the still, its "
        "lagging, the plate or the draught changed?"
    )


def _collect(note: Note) -> str:
    litres, minutes = note.values["volume_l"], note.values["minutes"]
    value, low, high = (say("volume_axis", litres[key]) for key in ("value", "low", "high"))
    span = f"{number('minutes', minutes['low'])} to {say('minutes', minutes['high'])}"
    about, until = say("minutes", minutes["value"]), waits(note.values["reason"], note.values["values"])
    return f"Collect {value} more, about {about} ({low} to {high}, {span}), until {until}."


FOLLOW: dict[str, Words] = {
    "collect": _collect,
    "stop_now": lambda note: f"Stop now: {waits(note.values['reason'], note.values['values'])}.",
    "odd_reading": _odd_reading,
    "nothing_read": "Nothing is read yet: all is as the plan has it, with the plan's own doubt.",
    "neck_not_told": "The readings do not tell yet what the neck sheds: {w_per_k:loss} stand, where the "
    "plan has {planned_w_per_k:loss}. Strengths tell it, of several jars or far apart.",
    "neck_told": "The neck sheds {w_per_k:loss} (± {error:loss}), {share:share} of the net power.",
    "heat_not_told": "The readings do not tell yet how fast the still is: minutes are as planned. Two times, "
    "some way apart, tell it.",
    "contradicts_plan": _contradicts_plan,
    "heat_told": _heat_told,
    "heat_at_bound": _heat_told,
    "lost_told": "About {share:share} (± {error:share}) of the spirit is lost behind the neck: look at "
    "joints, outlet and cooling; vapour that leaves burns.",
    "charge_told": "The charge seems to be of {abv:abv} (± {error:abv_difference}), where the plan has "
    "{planned_abv:abv}: was it let down as planned?",
    "run_known": "This run is in the still already, and is not counted twice; save to a new file to take "
    "it in anew.",
    "alike": _alike,
    "thermometer_off": _thermometer_off,
    "scatter": "The readings scatter {times:times} times as much as such readings do; bands are widened by "
    "that.",
    "most_do_not_fit": "Most readings do not fit this plan: is it the plan of this run, and are the units "
    "right?",
    "plan_loosened": "The readings do not fit the plan as closely as its doubts allow; they now count more. "
    "Check the power, the charge and the units.",
    "far_from_plan": _far_from_plan,
    "not_learnt": _not_learnt,
    "learnt_differs": _learnt_differs,
}


def _encoding(note: Note) -> str:
    line, encoding = note.values.get("line"), note.values["encoding"]
    if line is None:
        return f"The file is {encoding}."
    return f"Line {line} is not UTF-8; the file is read as {encoding}."


READINGS: dict[str, Words] = {
    "temperature_not_read": "A strength without its temperature is taken as read at the hydrometer's own.",
    "own_unit": "Line {line}: '{given}' under '{subject}' is read with its own unit.",
    "units_change": "{subject} is in {unit} on line {line} and in {then_unit} on line {then_line}; each is "
    "read as it says.",
    "clock_at_switch_on": "The time of day on line {line} is taken as the switch-on.",
    "cells_apart": "Cells are separated by {by}.",
    "decimal_commas": "Commas in numbers are read as decimal commas.",
    "encoding": _encoding,
    "line_torn": "The last line was torn off while it was written, and is left out: '{given}'.",
    "line_unreadable": "Line {line} cannot be read, and is left out: '{given}'.",
    "plan_changed": "The plan is no longer as it was when this journal was begun.",
    "reading_aside": "Reading {number} is set aside: {why} `strike {number}` takes it back, under --enter.",
}


WORDS: dict[str, Words] = {
    "stop": lambda note: waits(note.subject, note.values),
    **READINGS,
    **HEED,
    **TAKEN,
    **JARS,
    **PROOFING,
    **TRIALS,
    **REACH,
    **SURE,
    **FOLLOW,
}
