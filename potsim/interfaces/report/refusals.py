"""Refusals in words: what each kind says and what to do, once, for every face.

Here those of a plan and what is asked of it; those of what is typed, of files and of commands are in
`potsim.interfaces.report.requests`.

A template names values of the record in braces, as those of notes do (`potsim.interfaces.report.words`),
beside its `given`, `allowed` and `path`. Several are chosen from by what the refusal is `of`, or by its path.
"""

from __future__ import annotations

from potsim.errors import PotsimError, UnknownNameError
from potsim.interfaces.quantities import shown, sized
from potsim.interfaces.report.requests import HINTS, REQUESTS, Reads, Said, Words
from potsim.interfaces.report.words import fill
from potsim.interfaces.wording import in_units, system


def fault(error: PotsimError) -> str:
    """Return what is wrong, without its place."""
    return _filled(REFUSALS[error.kind].fault, error)


def hint(error: PotsimError) -> str:
    """Return what to do; a reader of files may know better, or more."""
    instead, also = (error.values.get(name) for name in ("instead", "also"))
    said = _filled(HINTS[instead] if instead else REFUSALS[error.kind].hint, error)
    return f"{said} {HINTS[also]}" if also else said


def follows(error: PotsimError) -> bool:
    """Return whether the fault reads on from its place."""
    return REFUSALS[error.kind].follows


def _filled(said: Words, error: PotsimError) -> str:
    with in_units("us" if error.units == "us" else system()):
        if isinstance(said, dict):
            said = said.get(error.values.get("of") or error.path, said.get("", ""))
        if not isinstance(said, str):
            return said(error)
        return fill(said, given=error.given, allowed=error.allowed, path=error.path, **error.values)


# --- Numbers and names.


_LAST = "The last trace never comes over: stop at 99 %."
_MOLE_SHARE = "A mole fraction is mol of ethanol in a mol of liquid; 0.86 is 96 % vol."
_LAW = "Give log10 of the solubility in water in mol/L, the slope from pure water to pure ethanol, and g/mol."
RANGES = {
    **dict.fromkeys(("x", "y"), _MOLE_SHARE),
    **dict.fromkeys(("log10_s_water_mol_l", "slope"), _LAW),
    "w": "A mass fraction is kg of ethanol in a kg of liquid.",
    "abv": "Give % vol of ethanol at 20 °C.",
    "percent": "Give % vol of ethanol at the reference temperature.",
    "proof": "US proof is twice the % vol at 60 °F.",
    "reading_abv": "Read the scale of % vol.",
    "density_kg_m3": "They are those of ethanol and of water at this temperature. Sugar, colour and oil "
    "change a density: such a liquid is not ethanol-water.",
    "t_c": "Bring the liquid within this range; OIML R 22 knows no other temperatures.",
    **dict.fromkeys(("temperature_k", "tb_k"), "Give the temperature in K; 0 °C is 273.15 K."),
    "pressure_pa": "Give the pressure in Pa; 1 hPa is 100 Pa.",
    "g_per_l": "Give grams in a litre of spirit at 20 °C.",
    "target_abv": "Water only weakens, and leaves some strength.",
    "let_down": "Water without ethanol gets no weaker: ask `load` whether it is cloudy as it stands.",
    "depletion": "Ask within the run.",
    "family": "Ask for a wider family.",
    **dict.fromkeys(("cuts.stop.recovered", "cuts.tails_from.recovered"), _LAST),
    "bottling.cloud_shift": "0.3 is twice the oil kept clear; `trial next` writes it from clouded_at.",
    "bottling.cloud_seen": "`trial next` writes it from clouded_at; the band of the haze reaches as far.",
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


def _range(error: PotsimError) -> str:
    unit = error.values["unit"]
    return f"is {sized(error.given, unit)}; allowed is {allowed_range(error)}."


def allowed_range(error: PotsimError) -> str:
    """Return a range as its refusal says it: ``"more than 0 and at most 100 % vol"``."""
    (low, high), unit = error.allowed, error.values["unit"]
    least = f"{'more than' if error.values.get('open_low') else 'at least'} {sized(low, '')}"
    return f"{least} {unit}".rstrip() if high is None else f"{least} and at most {sized(high, unit)}"


THINGS = {
    "base_spirit": "kind of base spirit",
    "by": "way to get a volume",
    "document": "kind of document",
    "factor": "verdict with a factor",
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
    prog = error.values.get("prog")
    return f"Unknown {THINGS.get(what, what)}{f' of {prog}' if prog else ''} '{error.given}'."


def _known(error: PotsimError) -> str:
    assert isinstance(error, UnknownNameError)
    if error.near:
        return "Did you mean " + " or ".join(f"'{name}'" for name in error.near) + "?"
    if error.values.get("home"):
        return f"It belongs in [{error.values['home']}]."
    known = error.known
    if not known and error.values["what"] == "bill":
        return "Add a [[botanical]]."
    listed = "Known: " + ", ".join(known[:30]) + ("." if len(known) <= 30 else ", ...")
    return LISTED.get(error.values["what"], listed)


SORTS = {
    "floats": "a number, or an array of numbers",
    "int": "a whole number",
    "float": "a number",
    "str": "a text",
    "path": "the name of a file, as a text or a pathlib.Path",
    "tables": "the tables of a plan file, in a dict",
    "run": "what Run.to_dict gave",
    "grid": "the table that potsim.study made of two numbers",
    "varied": "numbers with values in a dict, or rows with numbers in a list or a DataFrame",
    "readings": "a list of rows, each a dict, or a DataFrame",
    "concentrations": "a dict of compounds, each with its grams in a litre",
    "plan": "a potsim.Plan, or use Plan.from_dict",
    "seed": "a whole number from 0 on, a numpy.random.Generator or None",
}


def _type(error: PotsimError) -> str:
    sort = SORTS.get(error.allowed, error.allowed)
    unit = error.values.get("unit")
    text = "; text with a unit goes into Plan.from_dict" if error.allowed == "float" else ""
    return f"Give {sort}, in {unit}{text}." if unit else f"Give {sort}."


NAMES = {
    "wrong_type": Reads("is {given}, which is of another type.", _type),
    "no_line": Reads(
        "is {given}; allowed is one line of up to {allowed} characters.",
        "Write it with letters, digits and signs.",
    ),
    "too_long": Reads("has {given} characters; allowed are {allowed}.", "Say less."),
    "no_values": Said("no value is given.", "Give at least one."),
    "nothing_varied": Said(
        "nothing is varied.",
        'Give numbers with values, such as {{"charge.abv": [30, 40]}}, or rows with numbers.',
    ),
    "rows_differ": Said(
        "row {row} has {given:list}, the first has {allowed:list}.", "Give every row the same numbers."
    ),
    "not_rising": Said("{given:list} do not rise.", "Put the smallest first."),
    "too_many": Reads(
        "has {given} rows; allowed are at most {allowed}.",
        {"readings": "Keep one a minute, or fewer.", "": "Take some out."},
    ),
    "wrong_sort": Reads(
        "{several:?is or holds|is} {given}.",
        "Give {several:?several in a tuple, each |}{allowed:list}, or use Plan.from_dict.",
    ),
    "conflict": Reads(
        "is given beside {other}.",
        {
            "still.pressure": "Keep one: the pressure tells the height.",
            "jars.working": "Keep one: a jar emptied again and again, or a row of jars.",
            "from_run": "Leave it out: the earlier run tells volume and strength.",
            "": "Keep one of the two.",
        },
    ),
    "alone": Reads("is given, but no {lacks}.", "Give {lacks} too, or leave this out."),
    "one_quantity": Said(
        "at() was given {given:?{given:list}|nothing}; it takes one quantity.", "One of: {allowed:list}."
    ),
    "no_run": Reads(
        "is {given}: no run of format {allowed}.", "Take what Run.to_dict or `potsim run --json` gave."
    ),
    "range": Reads(_range, RANGES),
    "unknown_name": Said(_unknown, _known),
    "unknown_key": Reads(lambda error: f"has the unknown key {shown(error.given)}.", _known),
}


# --- Liquids and stills.


LIQUID = {
    "nothing_there": Reads(
        "is {given:g} {unit}, as is all else; allowed is more than 0 in all.",
        {
            "volumes_l": "Give at least one volume above zero.",
            "ethanol_mol": "Of nothing there is no strength.",
        },
    ),
    "lengths_differ": Reads("has {given} strengths for {allowed} volumes.", "Give one for each."),
    "off_scale": Reads(
        {
            "reading_abv": "is {given:g} % vol; allowed is a {allowed} strength, one that ethanol-water can "
            "show at this temperature.",
            "abv": "is {given:g} % vol; allowed is a {allowed} strength, whose reading lies on the scale.",
        },
        "Bring the sample to the temperature of the hydrometer and read again.",
    ),
    "no_azeotrope": Reads(
        "is {given:g} Pa; allowed is about {allowed:,.0f} Pa and more.",
        "At low pressure ethanol stays the more volatile up to pure ethanol.",
    ),
    "not_smooth": Reads(
        "cannot be followed to {allowed:g}: this function of gE/RT is missed by {given:.3g}.",
        "Give a smooth function of mole fraction and temperature [K] that is 0 at both ends.",
    ),
    "not_lit": Reads(
        "is {given:g}; allowed is enough ethanol to be lit below 100 °C, {allowed:g} or more.",
        "Ask for stronger spirit.",
    ),
    "no_share": Reads(
        "is {given:g}; allowed is 0 up to but not including {allowed:g}.", "It is a share, not per cent."
    ),
    "volatility_open": Said(
        "the volatility of '{given}' is {twice:?told twice|not told}.",
        "Give either groups and tb_k, or relative_to_ethanol.",
    ),
    "none_of_a_group": Said(
        "'{name}' has {given} of a group.", "Count at least {allowed}, or leave the group out."
    ),
    "too_many_groups": Said(
        "'{name}' has {given:.3g} groups, but at {molar_mass_g:g} g/mol there is room for {allowed}.",
        "Count each subgroup of one molecule; the least of them weighs {lightest_g:g} g/mol.",
    ),
    "no_such_group": Said(
        "group {given} is not a subgroup of modified UNIFAC (Dortmund).",
        "The numbers are the keys of thermo.unifac.DOUFSG: 1 CH3, 2 CH2, 14 primary OH, 20 CHO.",
    ),
    "no_interaction": Said(
        "the model has no interaction between groups {given[0]} and {given[1]}.",
        "Give relative_to_ethanol instead of groups.",
    ),
}
STILL = {
    "water_alone": Reads(
        "is {given:g}; allowed is more than 0 and below the azeotrope.", "Water alone has no balance."
    ),
    "too_strong_to_part": Reads(
        "has {given:abv} in the pot; allowed is at most {allowed:most_abv} at this pressure.",
        "Let the charge down with water: so near the azeotrope a pot no longer separates.",
    ),
    "too_strong_to_follow": Reads(
        "makes pot and reflux {given:abv} strong; allowed is at most {allowed:abv_about} where flavours are "
        "followed.",
        "Let the charge down with water, or leave out the botanicals and the kind of the spirit.",
    ),
    "shed_by_pot": Reads(
        "is {given:power}, but the pot sheds {allowed:power} at the boil: it would never boil.",
        "Give more than {allowed:power}, or correct pot_loss.",
    ),
    "shed_by_both": Reads(
        "is {given:power}, but pot and neck shed {allowed:power} at the boil: nothing would come over.",
        "Give more than {allowed:power}, insulate the pot, or correct pot_loss and neck_loss.",
    ),
    "no_parrot": Reads("is not given: there is no parrot.", "Give what it holds."),
    "not_converged": Said(
        {
            "density": "the mass fraction of a density was not found.",
            "pressure": "a pressure was not found.",
            "boiling_point": "a boiling point was not found.",
            "dew_point": "no liquid was found for a vapour.",
            "azeotrope": "the azeotrope was not found.",
            "reflux": "the reflux of the neck was not found.",
            "readings": "the still was not found from these readings.",
        },
        "Please report what was given, or the plan.",
    ),
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
        {
            "cuts.stop.recovered": "Stop by collected or elapsed.",
            "per": "Scale it by the litre of charge: per charge.",
            "": "Add a spirit to the charge.",
        },
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
    "no_piece_weight": Reads(
        "counts '{given}', but what a piece of {name} weighs is not known.",
        'Give its mass, such as amount = "5 g", or a piece = {{ mass = "1.5 g" }} in [[own_botanical]].',
    ),
}


# --- Stops, cuts and jars.


WEAKER = {
    "spirit": "Water only weakens: stop the run earlier, drop the last jars, take a stronger charge, or "
    "blend with stronger spirit.",
    "spirits": "Take more of the strongest, or a stronger spirit.",
    "charge": "Take stronger spirit: water only weakens.",
    "keep": "A glass let down with water is weaker than the keep: measure it again.",
}
AT_MOST = "is {given:abv_typed}; allowed is at most {allowed:most_abv}, the "

STOPS = {
    "too_strong": Reads(
        {
            "spirit": f"{AT_MOST}strength of the spirit.",
            "spirits": f"{AT_MOST}strength of the spirits together.",
            "charge": f"{AT_MOST}spirits of the plan without water.",
            "keep": f"{AT_MOST}strength of the keep.",
        },
        WEAKER,
    ),
    "more_than_comes": Reads(
        "is {given:volume}; allowed is less than {allowed:volume}, all that this charge can give.",
        "Count what was collected from the first drop.",
    ),
    "never": Said(
        "it never comes that {waits:stops}.",
        "When the pot is all but empty, {collected_l:volume} are collected after {elapsed_min:minutes}, with "
        "the stream at {stream_abv:abv} and the vapour at {vapour_c:temperature}.",
    ),
    "true_already": Said(
        "at the first drop it is already true that {waits:stops}: stream {stream_abv:abv}, pot {pot_abv:abv},"
        " vapour {vapour_c:temperature}, {elapsed_min:minutes} after switch-on.",
        "Choose a stop that comes later.",
    ),
    "bare_element": Reads(
        "is {given:volume}, but the charge does not even reach it.", "Charge more, or correct min_level."
    ),
    "beyond_run": Reads(
        "is {given:g}; allowed is {allowed[0]:.6g} to {allowed[1]:.6g}, first drop to stop.",
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


THERE = "There are jars {allowed:jars}."
JARS = {
    "no_jars": Said("there are none to pool.", "Let the run last until a jar is filled."),
    "no_jar_kept": Said("no jar lies between heads and tails.", THERE),
    "no_jar_poured": Said("no jar is chosen to be poured.", "Note a jar as full, or choose one."),
    "jar_twice": Reads("names jar {given} twice.", "Name every jar once."),
    "no_such_jar": Reads("names jar {given}, which {run:?'{run}'|this run} does not have.", THERE),
    "too_many_jars": Said(
        "jars of {given:volume} would make more than {allowed} for this run; allowed are {allowed}.",
        "Take larger jars, or fewer of the small ones.",
    ),
    "away_too_long": Said(
        "in {given:minutes_short} as much as {flowing_l:volume} come over, but at most {lost_l:volume} may "
        "be lost.",
        "Stay away for less than {allowed:least_minutes}, allow a larger loss, or lower the power.",
    ),
    "jars_unfilled": Said("the jars could not be filled to their sizes.", "Please report the plan."),
}


# --- The keep, proofing and blends.


KEEP = {
    "no_alcohol_kept": Said(
        "the keep{run:? of '{run}'|} holds no alcohol.",
        "Charge a spirit, keep other jars, or name no bottling strength.",
    ),
    "too_few_to_blend": Said(
        "{given} to blend; a blend has at least {allowed}.", "Name more, each with its parts."
    ),
    "same_strength": Reads(
        "is {given:abv_exact}, the strength of the first.",
        "Two spirits of one strength blend to that strength in any proportion: name another.",
    ),
    "not_between": Reads(
        "is {given:abv_exact}; allowed is {allowed[0]:abv_exact} to {allowed[1]:abv_exact}, between the two.",
        "A blend lies between its parts: take a stronger or weaker spirit; water has 0 % vol.",
    ),
    "more_came_out": Reads(
        "is {given:volume_exact}; allowed is at least {allowed:volume_exact}, what came out.",
        "Count every spirit that went in, also one added before bottling.",
    ),
    "no_bottle": Reads(
        "is not given: what goes into {bottles:bottles} is open.",
        {
            "bottling.abv": 'Give abv = "42 %", say, in [bottling], or --abv "42 %".',
            "": 'Give bottle = "350 mL", say, in [bottling], or --bottle "350 mL".',
        },
    ),
    "no_oil_aimed": Said("the profile aimed at holds no oil.", "Aim at a plan with botanicals."),
    "no_botanical_shared": Said(
        "none of these plans holds an oil that is aimed at: they share no botanical with it.",
        "Blend distillates of the botanicals aimed at.",
    ),
}


# --- Trials.


TRIALS = {
    "no_less": Reads(
        "is {given:g} times; allowed is at least {allowed[0]:g} and less than {allowed[1]:g}.",
        "Such as /1.5.",
    ),
    "not_falling": Reads(
        "is x{given:.4g}, below the x{allowed:.4g} of {other}.",
        "Let the factors fall from 'a lot more' to 'less'.",
    ),
    "no_verdict": Said(
        "no note has a verdict: there is nothing to go by.",
        'Add [[note]] with botanical = "..." and verdict = one of: {allowed:list}.',
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
        "is {given:{quantity}}, but the charge is {allowed:{quantity}}.",
        "Check it, and the charge: is the plan that of this run?",
    ),
    "more_alcohol": Said(
        "the result holds more alcohol than the charge: {collected_l:volume} at {given:abv_short} are "
        "{held_l:volume} of pure alcohol, the charge held {allowed:volume}.",
        "Check collected and strength (read at 20 °C?), and the [[charge]].",
    ),
}


# --- The question turned round, and how sure.


ENDS = "{by_level:?the least level of the pot ends the run there|the pot is then exhausted}."
ASKED = {
    "one_question": Said(
        "{given:?two things are|nothing is} asked for.",
        "Ask for one: bottles, a keep (its volume, its strength or both), or a share to recover.",
    ),
    "keep_too_strong": Said(
        "a keep of {given:abv_exact} is out of reach: the strongest that comes of this charge has "
        "{allowed:most_abv}, at the first drop after the heads.",
        "Let the charge be stronger, take less power, or ask for less.",
    ),
    "keep_too_weak": Said(
        "a keep of {given:abv_exact} is out of reach: the weakest that comes of this charge has "
        "{allowed:least_abv}; " + ENDS,
        "Ask for a stronger one and let it down with water, or charge less strong.",
    ),
    "share_too_large": Said(
        "a keep with {given:share_exact} of the alcohol is out of reach: the most that comes of this charge "
        "is {allowed:most_share}; " + ENDS,
        "Ask for less, take less heads, or lower still.min_level.",
    ),
    "too_many_runs": Said(
        "{question:note} would take {given} runs; allowed are {allowed}. Three quarters of the pot give "
        "{most_l:volume}.",
        "Take a larger pot, or ask for less.",
    ),
    "too_little_asked": Said("{given:volume} is too little for this plan.", "Ask for more."),
    "no_charge_fits": Said("{question:note}: no charge of these spirits fits the pot.", "Charge less."),
    "not_by_strength": Said(
        "{question:note} is out of reach by letting the charge down: {abvs[0]:abv_about} to "
        "{abvs[1]:abv_about} in one run give {allowed[0]:volume} to {allowed[1]:volume}.",
        "Change the amount of the charge instead, or ask for another volume.",
    ),
    "not_reached": Said(
        "{question:note} is out of reach: the nearest run gives a keep of {keep_l:volume} at {keep_abv:abv}, "
        "ended because {ended:stop}.",
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


# --- At the still: readings and journals.


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
    "beyond_charge": Reads(
        "is {given:{quantity}}; of a charge of {charge:{quantity}} at most {allowed:{quantity}} is followed.",
        "Read it again: is its unit right, and is it of this run?",
    ),
    "early_haze": Said(
        "a haze is told before the first drop.", "Say how much was collected when it was first seen."
    ),
    "how_much": Said(
        {
            "jar": "of what is in a jar the strength is given, but not how much it is.",
            "pooled": "of all so far the strength is given, but not how much it is.",
            "jug": "it is not said how much is in the jug.",
            "parrot": "the strength is read in a parrot, but it is not said what the parrot holds.",
        },
        {
            "parrot": 'Write for example "parrot 60 mL", or give the plan\'s still its parrot.',
            "": "Add its volume or its mass.",
        },
    ),
    "not_placed": Said(
        "it does not say how far the run has come.", "Give the time, or the volume or mass collected."
    ),
    "pool_and_jar": Said(
        "the strength is of all so far poured together, but what one jar holds is given.",
        "Give all that is collected, by volume or mass; or read the jar alone.",
    ),
    "falls": Reads(
        "falls from {last:{quantity}} to {given:{quantity}}.",
        {
            "time": "Put the lines in the order of the run; time counts from switch-on.",
            "collected": "Collected counts all that has come over; for jars one by one use jar volume.",
            "mass": "Mass counts all that has come over; for jars one by one use jar mass.",
        },
    ),
    "jar_of_more": Reads(
        "is {given:{quantity}}, but the jar alone holds {jar:{quantity}}.",
        "One of the two has another unit, or is wrong.",
    ),
    "no_spirit_so_dense": Said(
        "{volume} {volume_l:volume} and {mass} {mass_g:mass} make {given:.3g} g/mL; spirit has "
        "{allowed[0]:g} to {allowed[1]:g}.",
        "Are the units mixed up?",
    ),
    "beyond_azeotrope": Reads(
        "is {given:abv} at 20 °C, beyond the azeotrope, {allowed:abv}.",
        "A pot cannot give more. Is it in proof, read cold, or a slip?",
    ),
    "no_such_reading": Reads(
        "is {given:abv_short}, which no hydrometer shows at {at_c:temperature_short}; allowed is a {allowed} "
        "strength.",
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
        "jar {given} was noted already{device:? on {device}|}.", "Give it another volume, or discard this."
    ),
    "begun_twice": Said("a run cannot begin twice.", "Use another file."),
    "nothing_to_undo": Said("there is nothing of that name to take back.", "It may have been discarded."),
}


REFUSALS: dict[str, Said] = {
    **NAMES,
    **LIQUID,
    **STILL,
    **CHARGE,
    **BOTANICALS,
    **STOPS,
    **JARS,
    **KEEP,
    **TRIALS,
    **ASKED,
    **READINGS,
    **REQUESTS,
}
