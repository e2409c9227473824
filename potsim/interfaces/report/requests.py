"""Refusals of what is typed, of files, of commands and of the page, in words."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import NamedTuple

from potsim.errors import PotsimError
from potsim.interfaces.report.words import fill
from potsim.interfaces.wording import pieces_of, plural

Words = str | dict[str, str] | Callable[[PotsimError], str]


class Said(NamedTuple):
    """A kind of refusal in words."""

    fault: Words
    hint: Words = ""
    follows: bool = False  # whether the fault reads on from its place


Reads = functools.partial(Said, follows=True)

TYPED = 'Type with commas between, for example "42 min, 220 mL, 71 % at 24 °C, vapour 84.5 °C".'
HINTS = {
    "heads": 'Write for example "30 mL", or "2 %" of the charge.',
    "like": 'Or add like = "juniper", if it is like that; or describe it in [[own_botanical]].',
    "no_alcohol": 'For what holds no alcohol abv = "0 %".',
    "typed": TYPED,
}
"""What the reader of a file has to say in place of the hint of a kind, or beside it."""


# --- Quantities as they are typed.


UNFIT = {
    "a_volume": "is a volume, and how much of it fills that is not known",
    "backwards": "has the range '{item}' backwards",
    "below_zero": "is below absolute zero",
    "by_weight": "is by weight",
    "clock": "can be read as h:min or as min:s",
    "empty": "is empty",
    "falls": "falls",
    "in_percent": "may be meant in %",
    "jar_count": "is not between 1 and {most} jars",
    "jar_outside": "names a jar outside 1 to {most}",
    "jar_twice": "names jar {jar} twice",
    "listed_twice": "lists '{item}' twice",
    "negative": "is less than nothing",
    "no_doubt": "is not a doubt in % vol",
    "no_number": "does not begin with a number",
    "no_portion": "is not VOLUME@ABV",
    "no_price": "is no price",
    "no_times": "lacks the x between number and size",
    "no_unit": "has no unit",
    "no_volume": "does not say for what volume",
    "not_abv": "is not between 0 and 100 % vol",
    "not_plain": "is no plain number",
    "not_proof": "is not between 0 and 200 proof",
    "not_share": "is not between 0 and {most:g} %",
    "not_text": "is not text",
    "not_three": "has not three figures",
    "odd_item": "has '{item}' in it",
    "of_nothing": "is the price of nothing",
    "small_first": "does not go from large units to small",
    "too_large": "is too large for anything here",
    "too_long": "is too long ({characters} characters)",
    "unfit": "will not do",
    "unknown_unit": "has the unknown unit '{unit}'{near:? (nearest: {near})|}",
    "unreadable": "does not begin with a number that can be read",
    "which_degrees": "does not say which degrees",
    "which_strength": "does not say whether it is % or proof",
}
"""Why a quantity will not do."""


def _unfit(error: PotsimError) -> str:
    given = f"'{error.given}'" if error.values["text"] else error.given
    return f"{given} {fill(UNFIT[error.values['why']], **error.values)}; allowed: {error.allowed}."


def _sizes(error: PotsimError) -> str:
    sizes = error.values["sizes_l"]
    told = ", ".join(f"{name} ({1000.0 * litres:.4g} mL)" for name, litres in sizes.items())
    return f"'{error.given}': a bare '{error.values['unit']}' has {len(sizes)} sizes: {told}."


def _grams_or_pieces(error: PotsimError) -> str:
    return f'Write "{error.given:g} g" or "{pieces_of(error.given, error.values["piece"])}".'


def _other_piece(error: PotsimError) -> str:
    known = " or the ".join(
        f"{name} ({mass_g:g} g {state})" for name, mass_g, state in error.values["pieces"]
    )
    return f"counts '{error.given}'; allowed: a mass, or {error.values['name']} by the {known}."


_MONTHS = '\'{given}\': a bare "{unit}" may be minutes or months; write "min", or months as days ("60 d").'
QUANTITIES = {
    "quantity": Said(_unfit, 'Write for example "{example}".'),
    "two_ways": Said(
        "'{given}' can be read in two ways: {decimal} or {grouped}.",
        'Write "{decimal}" or "{grouped}" with the unit.',
    ),
    "confused_unit": Said(
        {
            "mass Mg": '\'{given}\': "Mg" is a megagram, which is a tonne; write "mg" or "kg".',
            "mass fl oz": '\'{given}\': "fl oz" is a volume; a mass is in "oz".',
            "pressure Mbar": '\'{given}\': "Mbar" is a megabar; write "mbar".',
            "length M": '\'{given}\': "M" is mega, or miles; write "m" for metres.',
            "duration m": _MONTHS.replace("{unit}", "m"),
            "duration M": _MONTHS.replace("{unit}", "M"),
            "volume oz": '\'{given}\': "oz" is a mass; a volume is in "US fl oz" or "imperial fl oz".',
        },
        'Write for example "{example}".',
    ),
    "which_size": Said(_sizes, 'Say which, for example "1 {allowed[0]}".'),
    "bare_number": Reads("is {given:g}, which may be grams or pieces.", _grams_or_pieces),
    "other_piece": Reads(
        _other_piece,
        lambda error: f'Write for example amount = "5 g", or amount = "2 {plural(error.allowed)}".',
    ),
}


# --- Plan files and stills remembered.


TOML_FAULTS = {
    "key_twice": "this key is there already",
    "table_twice": "this table is there already",
    "many_digits": "a number has thousands of digits",
}  # anything else in the words of Python


def _syntax(error: PotsimError) -> str:
    why = TOML_FAULTS.get(error.values["why"], error.values["why"])
    return f"not written as TOML wants it{' (at the end)' if error.values['ended'] else ''}: {why}."


_LINE = 'A line is  key = "value"  with text in quotes; each table and key comes once.'
STANDS = "'{given}' cannot be changed where it stands: "
PLAN_FILES = {
    "syntax": Said(_syntax, _LINE),
    "nested": Said(
        "{allowed:?a key of more than {allowed} parts: tables|tables or lists} are nested too deeply.", _LINE
    ),
    "not_utf8": Said("not UTF-8 text.", "Save it as UTF-8 (plain text), and try again."),
    "file_long": Reads(
        "has more than {allowed} characters; a plan is a page or two.", "Take out what is no part of a plan."
    ),
    "a_list": Reads("is a list.", "Write {table} once, in single brackets."),
    "no_table": Reads("is {given}; allowed: a table.", "Write for example {example}"),
    "no_tables": Reads("is not a list of tables.", "Write {table} in double brackets for each."),
    "missing": Reads("has no {name}.", "Add for example {name} = {allowed}."),
    "no_condition": Reads("has no condition.", "Write for example {example}, or leave it out."),
    "no_volatility": Reads(
        "does not tell how volatile it is.", "Give either groups and boils, or relative_to_ethanol."
    ),
    "twice": Said("'{given}' is there already.", "Name each once."),
    "too_deep": Said("more than {allowed} plans take from each other.", "Start from a later run."),
    "circle": Said("'{given}' leads back to itself.", "A run cannot take from itself."),
    "file_beside_none": Said(
        "'{given}' is sought in the folder of the plan; this has none.", "Save it first."
    ),
    "no_still_in": Said("{given} has no table [still].", "Name a file that describes a still."),
    "no_still": Said(
        "'{given}' is not a still that was learnt: it needs [still] and [learnt].", "Name another file."
    ),
    "no_marks": Reads("is {given}; it is to be a list of marks.", 'Such as ["5f2a"].'),
    "no_error": Said(
        "[learnt] {key}_runs and {key}_error are to be a whole number from 1 and an error above 0.",
        "Correct them, or save the still to a new file.",
    ),
    "unchangeable": Said(
        {
            "apart": STANDS + "tables of one name stand apart.",
            "several_places": STANDS + "{key} is written in several places.",
            "no_line": STANDS + "[{key}] has no line of its own.",
            "unread": STANDS + "{why}",
            "odd": STANDS + "its layout is unusual.",
        },
        {
            "apart": "Put all [[botanical]] together, and so on.",
            "several_places": "Write it in one place.",
            "no_line": "Write it as [{key}] with its keys.",
            "": "Write each table once in [brackets], each botanical in its own [[botanical]].",
        },
    ),
    "not_a_folder": Said(
        "'{given}' is not a folder.", "{there:?Name the folder that holds the trial files.|Check its name.}"
    ),
    "no_trials": Said(
        "there is no .toml file in '{given}' that is a trial.", "`potsim new FILE` starts one."
    ),
}


# --- Readings: a table, and what is typed at the still.


READINGS = {
    "no_readings": Reads("is empty.", 'Its first line names the columns: "collected (mL),strength (%)".'),
    "header_alone": Reads("has a header, but no reading below it.", "Add a line for each reading."),
    "too_many_readings": Said("more than {allowed} readings.", "Keep one a minute."),
    "no_column_name": Said("a column has no name.", "Name it, or take it out."),
    "columns_alike": Said("'{first}' and '{given}' are both {quantity}.", "Keep one."),
    "cells_differ": Said(
        "{given} cells, but the header has {allowed}.",
        "A blank cell still needs its separator; with decimal commas separate cells by semicolons.",
    ),
    "not_csv": Said("it is no table ({why}).", "Save it as CSV."),
    "not_text": Said("it is not text.", "Save the table as CSV in UTF-8."),
    "no_row": Said(
        "a reading is {given}; rows are mappings, or those of a DataFrame.",
        'Give for example {{"collected": "220 mL", "strength": "71 %"}}.',
    ),
    "sample_sized": Said("'{given}' will not do; allowed: {allowed:list}.", 'Such as "parrot 60 mL".'),
    "no_jar_number": Said(
        "'{given}' is no number of a jar.", 'What a jar holds goes under "jar volume" or "jar mass".'
    ),
    "hazy_or_not": Said("'{given}' does not say whether it is hazy.", "Write yes or no."),
    "no_clock": Said("'{given}' is no time of day.", 'Write for example "14:05".'),
    "two_clocks": Reads(
        "is '{given}', which can be hours and minutes or minutes and seconds.",
        'Call the column "{column}", or write "1 h 5 min".',
    ),
    "cell_no_unit": Reads(
        "is '{given}', without a unit.",
        'Write the unit in the header, "{column}", or in the cell, "{example}".',
    ),
    "temperature_of_what": Said(
        "the column '{given}' does not say of what.",
        'Call it "vapour temperature", "pot temperature", or "read at" for the hydrometer\'s.',
    ),
    "two_things": Said("'{given}' says two things of one.", "Type one at a time."),
    "unsaid": Said("'{given}' does not say what it is.", TYPED),
    "sized_stream": Said(
        "a stream has no size, but {given} is given.", 'What is collected goes by itself: "220 mL, 71 %".'
    ),
    "one_number_or_two": Said("'{given}' can be one number or two.", TYPED),
    "nothing_to_type_at": Reads(
        "reads what is typed, but standard input is closed.",
        "Type at a terminal, or give the readings as a file: potsim follow PLAN READINGS",
    ),
    "which_reading": Said(
        "'{given}' does not say which reading.",
        "{last:?`strike {last}` takes back the last one.|There is none yet.}",
    ),
    "not_a_reading": Said("'{given}' is no reading.", "`help` lists what can be typed; `end` leaves."),
    "no_such_number": Said("there is no reading {given}.", "There are {allowed}, numbered from 1."),
    "no_jar_word": Said("'{given}' names no jar and no word.", "Such as: taste 3 green apple"),
}


# --- Files that are read and written.


FILES = {
    "file_missing": Said("there is no '{given}'.", "Check the name and the folder."),
    "file_is_folder": Said("'{given}' is a folder.", "Name a {sort} in it."),
    "file_to_read": Said("'{given}' is not a plain file.", "Name the file itself."),
    "pipe_not_filled": Said(
        "'{given}' is not a plain file but a pipe, into which nothing is written for {allowed} s.",
        "Name a plain file, or start first what writes into it.",
    ),
    "file_there": Said("'{given}' is there already.", "Choose another name, or add --force to replace it."),
    "file_not_plain": Said("'{given}' is not a file that can be kept.", "Name a plain file."),
    "file_too_large": Said(
        "'{given}' is larger than {allowed} MB; no run's journal is.", "Name another file."
    ),
    "file_unusable": Said(
        "'{given}' cannot be used: {why}.",
        "{full:?Make room, and enter it once more|Choose another place}.",
    ),
    "file_held": Said("'{given}' is held by another program.", "Try again."),
    "file_without_run": Said("'{given}' holds no run.", "Begin one: potsim follow PLAN --enter"),
    "file_of_another_plan": Said(
        "'{given}' is the journal of another plan.",
        "Name another file for this run, or the plan as it was when the run began.",
    ),
    "file_no_journal": Said("'{given}' is not a journal of readings.", "Name another file."),
    "file_only_read": Said("'{given}' is only read here.", "Open it to add to it."),
    "no_file": Said(
        "there is no file '{given}'.", "{near:?Did you mean '{near}'?|Check the name and the folder.}"
    ),
    "file_gone": Said("'{given}' is a link to a file that is gone.", "Name the file itself."),
    "file_unreadable": Said("'{given}' cannot be read: {why}.", "Choose one of your own."),
    "file_large": Reads(
        {
            "plan file": "is larger than {allowed}; a plan is a page or two.",
            "file of readings": "is larger than {allowed}; the readings of a run are a page or two: keep the "
            "columns that are needed, and a line a minute.",
        },
        "Is it a {of}?",
    ),
    "file_unnamed": Said("a file to write has no name.", "Name it."),
    "no_output_file": Said(
        "'-' names no file, and files are not written to standard output.",
        "Name one, such as 'run.{suffix}'; --json prints the result for programs.",
    ),
    "name_unprintable": Said(
        "the name {given} holds what cannot be shown.", "Write it with letters, digits and signs."
    ),
    "suffix": Said(
        "'{given}' {suffix:?ends in .{suffix}|has no suffix}; allowed: {allowed:list}.", "Such as '{such}'."
    ),
    "no_folder": Said(
        "there is no folder '{folder}' to write '{given}' in.",
        "{near:?Did you mean '{near}'?|Make the folder first, or choose another.}",
    ),
    "may_not_write": Said("you may not write '{given}'.", "Choose a folder of your own."),
    "plan_itself": Said("'{given}' is the plan itself.", "Choose another name for the result."),
    "two_results": Said("'{given}' is to hold two results.", "Give each its own file."),
    "unwritten": Said(
        "'{given}' could not be written: {full:?the disk is full|{why}}.",
        "{full:?Make room, or choose another disk.|Choose another place.}",
    ),
    "output_closed": Said(
        "standard output is closed: there is nowhere to write the result.", "Name a file for it."
    ),
}


# --- The command line.


LOOK = "{example:?For example: {example} (more: {path} --help)|See {path} --help}"
PROOF = 'Such as: potsim proof "1 L" "72 %" "42 %"'
COMMANDS = {
    "no_command": Said("no command is given.", "Try: potsim run (more: potsim --help)"),
    "no_such_command": Said("'{given}' is not a command.", "Did you mean: potsim run {given}"),
    "option_first": Said("{given} stands before the command.", "Write: potsim {command} ... {given}"),
    "json_file": Said(
        "--json takes no file, but is given '{given}': it prints the data.", "Write: {command}"
    ),
    "one_too_many": Said(
        "'{given}' is one argument too many.", "Put quotes around what belongs together. " + LOOK
    ),
    "usage": Said(
        {
            "missing": "missing: {given}.",
            "no_value": "{given} needs a value.",
            "takes_none": "{option} takes no value, but is given {given}.",
            "exclude": "{given} and {other} exclude each other.",
            "no_choice": "{option} is {given}; allowed: {allowed}.",
            "one_missing": "{given} or {other} is missing.",
            "": "{given}.",
        },
        LOOK,
    ),
    "argument_missing": Said(
        {"proof": "missing: ABV, and TARGET if it is to be let down.", "readings": "missing: READINGS."},
        {
            "proof": PROOF,
            "readings": "For example: potsim follow trial-1.toml readings.csv -- or --enter to type them.",
        },
    ),
    "exclude": Said(
        "{given} and {other} exclude each other.",
        {
            "enter": "The journal that --enter keeps may be given as READINGS afterwards.",
            "values": "Give a list or a range.",
        },
    ),
    "minus": Said(
        "'{given}' begins with a minus.",
        'Nothing here is negative but a temperature: "-5 °C", in quotes and with the blank.',
    ),
    "given_twice": Said("{given} is given twice.", "Keep one."),
    "goes_with": Reads("goes with {other}.", "Add {other}, or leave {path} out."),
    "empty_name": Reads(
        "is empty.",
        {
            "PLAN": "Name a plan file, or leave it out for the built-in example.",
            "NAME": "Name a botanical, or leave it out for the list.",
            "READINGS": "Name a table of readings.",
            "TRIAL": "Name a trial file, such as trial-1.toml.",
        },
    ),
    "empty_size": Said("a size is empty.", 'Such as --sizes "60 mL" "250 mL".'),
    "no_port": Said("'{given}' is not a port; allowed is {allowed[0]} to {allowed[1]}.", "Such as 8080."),
    "no_parts": Said("'{parts}' in '{given}' is not a number of parts.", "Such as trial-1.toml:2."),
    "takes_no_part": Said("'{given}' takes no part.", "Leave it out, or give it a part."),
    "no_factor": Said("'{given}' is not VERDICT=FACTOR.", 'Such as "more=x1.4" "less=/1.4".'),
    "same_of_charge": Reads("goes with the strength of the charge only.", "Leave it out."),
    "none_runs": Said(
        "none of the values can be run: {why}",
        "{cautions:?{cautions}|Choose other values, or change the plan.}",
    ),
    "no_grid": Said("{given[0]} and {given[1]} are no grid.", "Study a grid of two numbers."),
    "no_surface": Said(
        "{answer} over {given[0]} and {given[1]} is no surface.", "Give each number two values or more."
    ),
    "mass_of_pieces": Said(
        "'{given}' is a mass, but the plan counts pieces.", "Give pieces, or vary {row}.mass."
    ),
    "too_many_values": Reads("has {given} values; allowed are {allowed}.", "Take fewer."),
    "vary_no_values": Said(
        "--vary {given} has no values.", 'Add --values "400 W, 700 W, 1 kW", or --from, --to and --step.'
    ),
    "no_range": Said("from {first:g} to {last:g} by {step:g} is no range.", "Give three numbers."),
    "endless": Said("a step of {given:g} never ends.", "Give a step above 0."),
    "range_backwards": Said("from {first:g} to {last:g} there is nothing.", "Put the smaller number first."),
    "range_long": Said(
        "from {first:g} to {last:g} in steps of {step:g} are {given:.0f} values; allowed are {allowed}.",
        "Take a larger step, or a shorter range.",
    ),
    "nothing_asked": Said(
        "nothing is asked for.", 'Add --bottles 6, --keep "300 mL @ 72 %" or --recover "80 %".'
    ),
    "glass_of_what": Said("a glass of what?", "Name the plan that it is of with --of."),
    "too_much": Said("'{given}' is too much after {allowed:list}.", PROOF),
    "needs_target": Reads("needs a TARGET.", PROOF),
    "weaker_keep": Said(
        "{given} keeps spirit of {abv:.1f} % vol, weaker than TARGET.",
        "Name the plan that the spirit is of, or leave --of out.",
    ),
    "plans_and_portions": Said(
        "plans and portions do not go together: {plan} is a plan, '{given}' is not.",
        'Name only plans, with --like, or only portions such as "300 mL @ 72 %".',
    ),
    "like_no_plans": Reads(
        "is for plans, and none is named.", "Name two plans or more, files that end in .toml."
    ),
    "like_what": Said(
        "plans are named, but not what their blend is to be like.",
        "Add --like PLAN, the plan whose oils they are to come near.",
    ),
    "like_no_strength": Said(
        "{given} names no bottling strength.",
        'Add --to, such as --to "42 %", or a [bottling] abv to the plan.',
    ),
    "nothing_to_blend": Said("there is nothing to blend.", "Give a volume above zero."),
    "two_strengths": Said(
        "two strengths without volumes take --to, and --make takes them.",
        'Such as: potsim blend "72 %" "45 %" --to "50 %" --make "1 L"',
    ),
}


# --- The page.


ANEW = "Load the page anew."
PAGE = {
    "no_data_folder": Said("'{given}' cannot be a folder: {why}.", "Name another."),
    "no_host": Said("'{given}' is no address of this machine.", "Such as 0.0.0.0 for all."),
    "no_port_free": Said(
        "'{host}' port {given} cannot be used: {why}.",
        {"host": "Choose another --host.", "port": "Choose another --port."},
    ),
    "no_network": Said("this computer is in no network.", "Join it to the network of the phone."),
    "no_toml": Said("'{given}' is not written as TOML wants it.", "Mend the file."),
    "journal_empty": Said(
        "'{given}' is empty: no run was begun in it.",
        "Delete it, by the … beside it. A run is begun from a plan: To the still.",
    ),
    "journal_full": Said("this run's journal is full.", "Begin another run."),
    "title": Said("the title is empty or has more than {allowed} characters.", "Write a few words."),
    "not_on_shelf": Said("there is no '{given}'.", "It may have been deleted, or renamed."),
    "no_name": Said("that is no name of anything on the shelf.", "Choose one of the list."),
    "folder_full": Said("the data folder holds {given} files.", "Move old ones elsewhere."),
    "plan_long": Said("the plan has {given} bytes; at most {allowed} are kept.", "Take something out."),
    "plan_of_run": Said("a run's plan is as it was when the run began.", "Keep it as a new plan."),
    "no_tables_sent": Said("the plan is not a set of tables.", "Begin again from the example."),
    "no_text_sent": Said("the file is not text.", "Open a plan file (.toml)."),
    "many_runs": Said("the charge goes back to more than {allowed} runs.", "Take fewer left-overs."),
    "too_costly": Said(
        "this plan takes more time or memory than one calculation may.",
        "Take fewer botanicals, power steps or jars.",
    ),
    "choose": Said("{allowed[0]} to {allowed[1]} of them can be taken together.", "Choose as many."),
    "too_many_told": Said("more than {allowed} things are told at once.", "Tell fewer."),
    "no_id": Said("what is told has no id.", ANEW),
    "unknown_thing": Said("what was told is of no known kind.", ANEW),
    "told_late": Said("it happened more than {allowed} days ago.", "Is the clock of this device right?"),
    "nothing_told": Said(
        {
            "note": "the note is empty.",
            "reading": "the reading is empty.",
            "volume": "the volume is empty.",
            "water": "the water is not said.",
        },
        {
            "note": "Write a word or two.",
            "reading": 'Enter for example "71 %" as strength.',
            "volume": 'Enter for example "55 mL".',
            "water": 'Enter for example "300 g".',
        },
    ),
    "no_jar_told": Said("the jar has no number.", "Choose one of the jars."),
    "no_jar_list": Said("the jars are not a list of numbers.", "Such as 2,3,4."),
    "no_bottles": Said("the number of bottles is not a whole number of at most {allowed}.", "Such as 6."),
    "no_verdict_yet": Said("no botanical has a verdict yet.", "Say of one or more what they were like."),
    "nothing_to_learn": Said("this run has no readings: there is nothing to learn.", "Note a few strengths."),
    "malformed": Said(
        {
            "busy": "too many calculations are under way.",
            "elsewhere": "requests from other sites are refused.",
            "ended_early": "the request ended early.",
            "fault": "something unforeseen happened; this is a fault of potsim{why:? ({why})|}.",
            "listeners": "too many devices are listening.",
            "long_address": "the address is too long.",
            "long_body": "the request is too long.",
            "method": "only GET, HEAD and POST are served.",
            "no_origin": "a request that changes something must say where it comes from.",
            "not_json": "the request is not JSON as this page sends it.",
            "not_let_in": "this browser has not been let in.",
            "nothing_there": "there is nothing at this address.",
            "other_name": "this server does not go by the name it was called by.",
            "session": "this session is not known any more.",
            "slow_body": "the request took too long to come.",
            "stopping": "the page is being stopped.",
            "superseded": "a newer request has taken the place of this one.",
            "token": "the request does not carry the token of its page.",
            "too_often": "too many requests.",
        },
        {
            "busy": "Wait a moment.",
            "fault": "Load the page anew; if it stays so, report it.",
            "listeners": "Close the page on one of them.",
            "not_let_in": "Open the page and enter the code.",
            "stopping": "Start it anew.",
            "too_often": "Wait a moment.",
            "": ANEW,
        },
    ),
}


REQUESTS: dict[str, Said] = {
    **QUANTITIES,
    **PLAN_FILES,
    **READINGS,
    **FILES,
    **COMMANDS,
    **PAGE,
}
