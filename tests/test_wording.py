"""The words of refusals, notes and hints, here and nowhere else; other tests look at kinds and numbers."""

from __future__ import annotations

import ast
import json
import pickle
import string
from dataclasses import replace
from pathlib import Path

import pytest

import potsim
from potsim.errors import RangeError, RequestError
from potsim.interfaces.planfile import read_plan
from potsim.interfaces.report.refusals import REFUSALS as REFUSED
from potsim.interfaces.report.words import STOPS, TELLERS, WORDS, words
from potsim.interfaces.wording import METRIC, say
from potsim.planning.jars import TOO_SMALL
from potsim.planning.next_trial import to_charge
from potsim.planning.notes import EVERY_RUN, Note, caution, danger, hint
from potsim.planning.plan import JarPlan, JarStock, Plan, Stop
from potsim.planning.schema import keys_of

# --- Refusals

# What is refused where a record says too little, as patterns; each is caused by the test that names it.
REFUSALS = {}


CHARGE = '[[charge]]\nname = "apple spirit"\nvolume = "1 L"\nabv = "60 %"\n'
JUNIPER = CHARGE + '[[botanical]]\nname = "juniper"\nmass = "3 g"\n'
OWN = '[[own_botanical]]\nname = "spruce tips"\ncategory = "leaf"\noil_yield = "0.8 %"\n'
BAD_PLANS = [
    (CHARGE + "[stil]\n", "bad.toml, line 5 has the unknown key 'stil'. Did you mean 'still' or 'title'?"),
    ('power = "7 W"\n' + CHARGE, "bad.toml, line 1 has the unknown key 'power'. It belongs in [still]."),
    (
        CHARGE + 'power = "7 W"\n',
        ("bad.toml, line 5: [[charge]] 'apple spirit' has the unknown key 'power'. It belongs in [still]."),
    ),
    (
        '[[charge]]\nname = "x"\nvolume = "1 L"\n',
        (
            "bad.toml, line 1: [[charge]] 'x' has no abv. Add for example abv = \"62 %\". For what "
            'holds no alcohol abv = "0 %".'
        ),
    ),
    (
        '[[charge]]\nname = "water"\nvolume = "0 L"\n',
        ("bad.toml, line 3: [[charge]] 'water' volume is 0 L; allowed is more than 0 and at most 100,000 L."),
    ),
    (
        CHARGE + CHARGE.replace("1 L", "1 cup"),
        (
            "bad.toml, line 7: [[charge]] 'apple spirit' volume: '1 cup': a bare 'cup' has 3 "
            "sizes: US cup (236.6 mL), metric cup (250 mL), imperial cup (284.1 mL). Say which, "
            'for example "1 US cup".'
        ),
    ),
    (
        CHARGE.replace("60 %", "120 %"),
        (
            "bad.toml, line 4: [[charge]] 'apple spirit' abv: '120 %' is not between 0 and 100 % "
            'vol; allowed: a strength in %, % vol, proof (US) or UK proof. Write for example "62 %".'
        ),
    ),
    (
        CHARGE + "price = 12\n",
        (
            "bad.toml, line 5: [[charge]] 'apple spirit' price: 12 does not say for what volume; "
            'allowed: money per volume. Write for example "12 per L".'
        ),
    ),
    (
        CHARGE + "[still]\npower = 700\n",
        (
            "bad.toml, line 6: [still] power: 700 has no unit; allowed: a power in W, kW or "
            'BTU/h. Write for example "700 W".'
        ),
    ),
    (
        CHARGE + '[still]\npower = ""\n',
        (
            "bad.toml, line 6: [still] power: '' is empty; allowed: a power in W, kW or BTU/h. "
            'Write for example "700 W".'
        ),
    ),
    (
        CHARGE + '[still]\npower = "-700 W"\n',
        (
            "bad.toml, line 6: [still] power: '-700 W' is less than nothing; allowed: a power in "
            'W, kW or BTU/h. Write for example "700 W".'
        ),
    ),
    (CHARGE + "[[still]]\n", "bad.toml: [still] is a list. Write [still] once, in single brackets."),
    ("still = 3\n" + CHARGE, "bad.toml, line 1: [still] is 3; allowed: a table. Write for example [still]"),
    (
        CHARGE + '[still]\naltitude = "5 m"\npressure = "1 bar"\n',
        (
            "bad.toml, line 7: [still] pressure is given beside altitude. Keep one: "
            "the pressure tells the height."
        ),
    ),
    (
        CHARGE + '[[still.power_step]]\npower = "3 W"\n',
        (
            "bad.toml, line 5: [[still.power_step]] 1 has no from_collected. Add for example "
            'from_collected = "400 mL".'
        ),
    ),
    (
        CHARGE + "[still]\npower_step = 3\n",
        (
            "bad.toml, line 6: [[still.power_step]] is not a list of tables. Write "
            "[[still.power_step]] in double brackets for each."
        ),
    ),
    (
        JUNIPER.replace("juniper", "junipr"),
        (
            "bad.toml, line 6: [[botanical]] 'junipr' name: Unknown botanical 'junipr'. Did you "
            "mean 'juniper'?"
        ),
    ),
    (
        JUNIPER + 'state = "wet"\n',
        ("bad.toml, line 8: [[botanical]] 'juniper' state: Unknown state 'wet'. Known: dried, fresh."),
    ),
    (
        JUNIPER + 'macerated = "2 m"\n',
        (
            "bad.toml, line 8: [[botanical]] 'juniper' macerated: '2 m': a bare \"m\" may be "
            'minutes or months; write "min", or months as days ("60 d"). Write for example "12 h".'
        ),
    ),
    (
        CHARGE + '[cuts]\nheads = "2 % vol"\n',
        (
            "bad.toml, line 6: [cuts] heads: '2 % vol' has the unknown unit '% vol'; allowed: a "
            "volume in mL, cL, dL, L, hL, US/imperial gal, US/imperial quart, US/imperial pint, "
            "US/metric/imperial cup, US/imperial fl oz, US/metric/Australian tbsp or US/metric tsp. Write "
            'for example "30 mL", or "2 %" of the charge.'
        ),
    ),
    (
        CHARGE + "[cuts]\nstop = {}\n",
        (
            "bad.toml, line 6: [cuts] stop has no condition. Write for example stop = { "
            'stream_abv = "55 %" }, or leave it out.'
        ),
    ),
    (
        CHARGE + '[cuts]\nstop = { stream = "55 %" }\n',
        ("bad.toml, line 6: [cuts] stop has the unknown key 'stream'. Did you mean 'stream_abv'?"),
    ),
    (
        CHARGE + "[cuts]\nstop = { recovered = 90 }\n",
        (
            "bad.toml, line 6: [cuts] stop recovered: 90 may be meant in %; allowed: a share in "
            '%, or without the sign a number from 0 to below 1. Write for example "90 %".'
        ),
    ),
    (
        CHARGE + '[jars]\nkeep = "9-2"\n',
        (
            "bad.toml, line 6: [jars] keep: '9-2' has the range '9-2' backwards; allowed: jar "
            'numbers and ranges with commas between. Write for example "2-9".'
        ),
    ),
    (
        CHARGE + '[uncertainty]\nvolume = "80 %"\n',
        (
            "bad.toml, line 6: [uncertainty] volume is 80 %, that is 0.8 (0.02 is 2 %); allowed "
            "is at least 0 and at most 0.5 (0.02 is 2 %)."
        ),
    ),
    (
        '[[charge]]\nfrom_run = "a.toml"\nvolume = "1 L"\n',
        (
            "bad.toml, line 2: [[charge]] 1 from_run: 'a.toml' is sought in the folder of the "
            "plan; this has none. Save it first."
        ),
    ),
    (
        CHARGE + OWN + OWN,
        (
            "bad.toml, line 10: [[own_botanical]] 'spruce tips' name: 'spruce_tips' is there "
            "already. Name each once."
        ),
    ),
]


@pytest.mark.parametrize(("text", "said"), BAD_PLANS)
def test_a_refusal_of_a_plan_in_words(text: str, said: str) -> None:
    with pytest.raises(potsim.RequestError) as caught:
        read_plan(text, "bad.toml")
    assert str(caught.value).partition("\n")[0] == said


# --- What is refused: the command line, a part of the message, a part of the hint.

P = ("1 L", "72 %", "42 %")
BAD_REQUESTS = [
    ((), "No command is given", "potsim --help"),
    (("rnu",), "Unknown command 'rnu'", "Did you mean 'run'?"),
    (("botanical",), "Unknown command 'botanical'", "Did you mean 'botanicals'?"),
    (("quince.toml",), "'quince.toml' is not a command", "potsim run quince.toml"),
    (("",), "Unknown command ''", "Known: "),
    (("--vresion",), "Unknown option of potsim '--vresion'", "Did you mean '--version'?"),
    (("--json", "run"), "--json stands before the command", "potsim run ... --json"),
    (("run", "--jsn"), "Unknown option of potsim run '--jsn'", "Did you mean '--json'"),
    (("run", "--reprot=a.html"), "Unknown option of potsim run '--reprot'", "'--report'"),
    (("proof", *P, "--step", "3"), "Unknown option of potsim proof '--step'", "Did you mean '--steps'"),
    (("run", "-x"), "Unknown option of potsim run '-x'", ""),
    (("run", "a/b/c.toml"), "There is no file 'a/b/c.toml'", "Check the name"),
    (("run", "quinze.toml"), "There is no file 'quinze.toml'", "Did you mean 'quince.toml'?"),
    (("run", ""), "PLAN is empty", "leave it out for the built-in example"),
    (("run", "folder"), "'folder' is a folder", "Name a plan file in it"),
    (("run", "quince.toml", "other.toml"), "'other.toml' is one argument too many", "Put quotes around"),
    (("run", "--json", "--json"), "--json is given twice", "Keep one"),
    (("run", "--json=yes"), "--json takes no value, but is given 'yes'", "potsim run --help"),
    (("run", "--csv"), "--csv needs a value", "potsim run --help"),
    (("run", "--csv", "quince.toml"), "'quince.toml' is there already", "--force"),
    (("run", "quince.toml", "--csv", "quince.toml", "--force"), "is the plan itself", "another name"),
    (("run", "--csv", "folder"), "'folder' is a folder", "Name a file in it"),
    (("run", "--csv", ""), "--csv: a file to write has no name", "Name it"),
    (("run", "--csv", "a\udcff\n.csv"), r"'a\udcff\n.csv' holds what cannot be shown", "with letters"),
    (("run", "--csv", "foldr/a.csv"), "there is no folder", "Did you mean 'folder'?"),
    (("run", "--csv", "nowhere/deep/a.csv"), "there is no folder", "Make the folder first"),
    (("run", "--plot", "a.gif"), "'a.gif' ends in .gif; allowed: .svg, .png, .pdf", "'a.svg'"),
    (("run", "--plot", "a"), "'a' has no suffix; allowed: .svg, .png, .pdf", "'a.svg'"),
    (("run", "--report", "a.pdf"), "--report: 'a.pdf' ends in .pdf; allowed: .html", "'a.html'"),
    (("run", "--csv", "a.html", "--report", "a.html"), "'a.html' is to hold two results", "its own file"),
    (("new", "a.txt"), "'a.txt' ends in .txt; allowed: .toml", "'a.toml'"),
    (("new", "quince.toml"), "'quince.toml' is there already", "--force"),
    (("new",), "missing: FILE", "potsim new trial-1.toml"),
    (("run", "--json", "a.json"), "--json takes no file", "Write: potsim run --json > a.json"),
    (("proof", "1 L"), "missing: ABV, and TARGET", 'potsim proof "1 L" "72 %" "42 %"'),
    (("proof", "1 pint", "72 %", "42 %"), "VOLUME: '1 pint'", "US pint"),
    (("proof", "0 L", "72 %", "42 %"), "VOLUME is 0 L; allowed is more than 0 L", ""),
    (("proof", "-1L", "72 %", "42 %"), "'-1L' begins with a minus", "in quotes"),
    (("proof", "1 L", "72", "42 %"), "ABV: '72' does not say whether it is % or proof", '"72 %"'),
    (("proof", "1 L", "40 %", "60 %"), "TARGET is 60 %; allowed is at most 40 % vol", "stronger"),
    (("proof", *P, "--at", "20"), "--at: '20' does not say which degrees", '"20 °C"'),
    (("proof", *P, "--at", "60 °C"), "--at is 60 °C; allowed is at least 0 and at most 40 °C", ""),
    (("proof", *P, "--steps", "0"), "--steps is 0 additions; allowed is at least 1", ""),
    (("proof", *P, "--steps", "2.5"), "--steps: '2.5' will not do", '"2"'),
    (("proof", *P, "--bottle", "350 g"), "--bottle: '350 g' has the unknown unit 'g'", '"250 mL"'),
    (("blend",), "missing: VOLUME@ABV", "potsim blend"),
    (("blend", "300 mL"), "'300 mL' is not VOLUME@ABV", '"300 mL @ 72 %"'),
    (("blend", "300 mL @ 72 %", ""), "VOLUME@ABV: ''", ""),
    (("blend", "0 L @ 72 %"), "there is nothing to blend", "above zero"),
    (("blend", "1 L @ 40 %", "--to", "50 %"), "--to is 50 %; allowed is at most 40 % vol", ""),
    (("jars", "--keep", "2-99"), "names jar 20, which this run does not have", "There are jars 1-19"),
    (("jars", "--keep", "9-2"), "--keep: '9-2' has the range '9-2' backwards", '"2-9"'),
    (("jars", "--sizes"), "--sizes needs a value", ""),
    (("jars", "--sizes", "60 furlongs"), "--sizes: '60 furlongs' has the unknown unit 'furlongs'", ""),
    (("jars", "--sizes", "60 mL", ""), "--sizes: a size is empty", ""),
    (("botanicals", "junper"), "Unknown botanical 'junper'", "Did you mean 'juniper'?"),
    (("botanicals", "elder"), "'elder' is refused: only its flowers", "another plant"),
    (("botanicals", " "), "NAME is empty", "leave it out for the list"),
    (("evidence", "--json", "--markdown"), "exclude each other", "potsim evidence --help"),
]


@pytest.mark.parametrize(("arguments", "message", "hint"), BAD_REQUESTS, ids=range(len(BAD_REQUESTS)))
def test_a_wrong_request_is_refused_in_words(
    say, quince: str, arguments: tuple[str, ...], message: str, hint: str, tmp_path: Path
) -> None:
    before = sorted(tmp_path.rglob("*"))
    said = say(*arguments)
    assert said.code == 2
    assert said.out == ""
    error, _, rest = said.err[said.err.index("potsim: error: ") :].partition("\n")
    assert message in error
    assert hint in rest
    assert rest == "" or rest.startswith("hint: ")
    assert "Traceback" not in said.err
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "quince.toml").read_text(encoding="utf-8") == quince


# --- The table of refusals: each kind worded once, and what each says of its values.

RECORDS = {
    f"{name}.of" for name in ("PotsimError", "RequestError", "RangeError", "ConvergenceError", "BusyError")
}


def raised() -> tuple[dict[str, list[set[str]]], set[str]]:
    """Kinds raised as records, with the names of their values each time; and kinds named in another way."""
    records: dict[str, list[set[str]]] = {}
    named: set[str] = set()
    for path in Path(potsim.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg == "kind" and isinstance(node.value, ast.Constant):
                named.add(node.value.value)
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "kind":
                named.add(ast.literal_eval(node.value) if isinstance(node.value, ast.Constant) else "")
            if isinstance(node, ast.Call) and ast.unparse(node.func) in RECORDS:
                values = {word.arg or "**" for word in node.keywords}
                records.setdefault(ast.literal_eval(node.args[0]), []).append(values)
    return records, named


def test_every_kind_that_is_raised_has_a_sentence_and_what_to_do_and_every_sentence_is_used() -> None:
    records, named = raised()
    assert len(records) > 90
    assert records.keys() <= REFUSED.keys()
    assert REFUSED.keys() <= records.keys() | named
    assert all(said.fault and said.hint for said in REFUSED.values())


def test_sentences_name_values_that_every_refusal_of_the_kind_gives() -> None:
    records, _ = raised()
    for kind, calls in records.items():
        for said in REFUSED[kind].fault, REFUSED[kind].hint:
            for _, name, form, _ in string.Formatter().parse(said if isinstance(said, str) else ""):
                assert form in {None, "", "g", *METRIC, *TELLERS} or not form.isalpha(), f"{kind}: {form}"
                for given in calls if name else ():
                    assert name.partition("[")[0] in {*given, "given", "allowed", "path"} or "**" in given, (
                        f"{kind}: {name}"
                    )


STOPPED = [("stream_abv", {"value": 55.0})]
REFUSED_IN_WORDS = [
    (
        RangeError.of("range", "still.room", given=50.0, allowed=[0.0, 45.0], unit="°C", open_low=False),
        "still.room is 50 °C; allowed is at least 0 and at most 45 °C.",
    ),
    (
        RangeError.of("too_strong_to_part", "charge", given=98.0, allowed=96.2981),
        "charge has 98.0 % vol in the pot; allowed is at most 96.29 % vol at this pressure. Let the charge "
        "down with water: so near the azeotrope a pot no longer separates.",
    ),
    (
        RequestError.of("shed_by_both", "still.power", given=100.0, allowed=128.4),
        "still.power is 100 W, but pot and neck shed 128 W at the boil: nothing would come over. Give more "
        "than 128 W, insulate the pot, or correct pot_loss and neck_loss.",
    ),
    (
        RequestError.of(
            "too_many_groups", "groups", given=9, allowed=7, name="wax", molar_mass_g=86.13, lightest_g=12.0
        ),
        "groups: 'wax' has 9 groups, but at 86.13 g/mol there is room for 7. Count each subgroup of one "
        "molecule; the least of them weighs 12 g/mol.",
    ),
    (
        RangeError.of("too_strong", "target_abv", given=60.0, allowed=42.6789, of="keep"),
        "target_abv is 60 % vol; allowed is at most 42.67 % vol, the strength of the keep. A glass let down "
        "with water is weaker than the keep: measure it again.",
    ),
    (
        RequestError.of("no_such_jar", "jars.keep", given=9, allowed=[1, 2, 3], run=None),
        "jars.keep names jar 9, which this run does not have. There are jars 1-3.",
    ),
    (
        RequestError.of("not_between", "target_abv", given=70.0, allowed=[40.0, 60.0]),
        "target_abv is 70 % vol; allowed is 40 % vol to 60 % vol, between the two. A blend lies between its "
        "parts: take a stronger or weaker spirit; water has 0 % vol.",
    ),
    (
        RequestError.of("how_much", of="jug"),
        "It is not said how much is in the jug. Add its volume or its mass.",
    ),
    (
        RequestError.of("wrong_type", "still.power", given="'1 kW'", allowed="float", unit="W"),
        "still.power is '1 kW', which is of another type. Give a number, in W; text with a unit goes into "
        "Plan.from_dict.",
    ),
    (
        RequestError.of("share_too_large", given=0.99, allowed=0.97348, by_level=True),
        "A keep with 99 % of the alcohol is out of reach: the most that comes of this charge is 97.34 %; the "
        "least level of the pot ends the run there. Ask for less, take less heads, or lower still.min_level.",
    ),
    (
        RequestError.of("keep_too_weak", given=30.0, allowed=46.4321, by_level=False),
        "A keep of 30 % vol is out of reach: the weakest that comes of this charge has 46.44 % vol; the pot "
        "is then exhausted. Ask for a stronger one and let it down with water, or charge less strong.",
    ),
    (
        RequestError.of(
            "not_reached",
            question=hint("asked_share", recovered=0.9),
            ended=STOPPED[0],
            keep_l=1.0,
            keep_abv=70.0,
        ),
        "The strongest keep that holds 90 % of the alcohol is out of reach: the nearest run gives a keep of "
        "1 L at 70.0 % vol, ended because the stream has fallen to 55 % vol. Ask for more, lower "
        "still.min_level, or stop otherwise.",
    ),
    (
        RequestError.of("falls", "collected", given=0.21, last=0.22, quantity="volume"),
        "collected falls from 220 mL to 210 mL. Collected counts all that has come over; for jars one by one "
        "use jar volume.",
    ),
    (
        RequestError.of("empty_charge"),
        "There is no charge. Add a [[charge]] with name, volume and abv: spirit or water.",
    ),
]


def test_a_refusal_of_a_plan_in_us_units_is_told_in_them(bare: Plan) -> None:
    """A pot of 1 L is 33.8140 US fl oz; NIST HB 44."""
    plan = replace(bare, units="us", still=replace(bare.still, capacity_l=1.0, min_level_l=None))
    with pytest.raises(RequestError) as caught:
        potsim.distil(plan)
    assert f"the pot holds {33.8140227 / 8.0:.2f} US cups (1 L)" in str(caught.value)


@pytest.mark.parametrize(
    ("error", "said"), REFUSED_IN_WORDS, ids=[error.kind for error, _ in REFUSED_IN_WORDS]
)
def test_a_refusal_in_words(error: RequestError, said: str) -> None:
    assert str(error) == said
    assert str(pickle.loads(pickle.dumps(error))) == said
    assert error.record["kind"] == error.kind


# --- Notes


@pytest.mark.parametrize("subject", ["law", "fire", "attendance", "cooling", "forecast"])
def test_what_is_said_with_every_run(subject: str, bare: Plan) -> None:
    (note,) = (
        note for note in potsim.distil(bare).notes if (note.kind, note.subject) == (EVERY_RUN, subject)
    )
    assert words(note).endswith(".")


MUCH = {"state": "dried", "usual_low_g_per_l": 0.02, "usual_high_g_per_l": 0.3, "source": "from memory"}
STRONG = {"lights_c": 23.4, "usual_abv": 40.0}
FEW = {"number": 3, "full_l": 0.23, "full_min": 17.2, "left_over_l": 0.8, "left_over_abv": 70.0}
STRIP = {"pieces": 2, "piece": "strip", "mass_g": 2.0, "state": "fresh", "source": "kitchen"}
ROW = [{"size_l": 0.06, "count": 4}, {"size_l": 1.5, "count": 2}]
SCALE = {"step_g": 0.01, "most_off": 0.02}
PLACE = {"collected_l": 0.22, "mass_g": None, "elapsed_min": None, "read_of": "stream", "number": 1}
NOTES = [
    (
        hint("stop_now", reason="stream_abv", values={"value": 55.0}),
        "Stop now: the stream has fallen to 55 % vol.",
    ),
    (
        hint("run_known"),
        "This run is in the still already, and is not counted twice; save to a new file to take it in anew.",
    ),
    (
        caution("fill", boiling_l=3.3333, fill=0.8333, most_fill=0.75),
        "Fill: the boiling charge takes 3.33 L, 83 % of the pot; at most 75 % leaves room for foam (common "
        "practice, no source).",
    ),
    (
        danger("strong_charge", abv=55.0, usual_botanicals_abv=None, **STRONG),
        "Charge of 55 % vol: its vapour lights at 23 °C (from IEC 60079-20-1). Usual are at most 40 % vol "
        "in a small still (common practice, no source).",
    ),
    (
        danger("strong_charge", abv=90.0, usual_botanicals_abv=60.0, **STRONG),
        "Charge of 90 % vol: its vapour lights at 23 °C (from IEC 60079-20-1). Usual are at most 40 % vol "
        "in a small still, 60 % vol with botanicals (common practice, no source).",
    ),
    (
        caution("early_end", least_level_l=0.5),
        "Switch off before the planned stop: the pot is down to its least level of 500 mL. Charge more to "
        "get to the stop.",
    ),
    (
        caution("dose", "clove", g_per_l=50.0, **MUCH),
        "clove: 50 g/L of charge (dried) is much more than usual, 0.02 to 0.3 g/L (from memory).",
    ),
    (
        caution("dose", "clove", g_per_l=0.001, **MUCH),
        "clove: 0.001 g/L of charge (dried) is much less than usual, 0.02 to 0.3 g/L (from memory).",
    ),
    (
        danger("limit", "thujone", mg_per_kg=20.4, limit_mg_per_kg=10.0, source="a regulation"),
        "thujone: about 20 mg/kg in the drink is over the limit of 10 mg/kg (a regulation).",
    ),
    (hint("assumed_capacity", capacity_l=3.4, fill=0.7), "Pot of 3.4 L, 70 % full: no capacity given."),
    (hint("assumed_power", power_w=1020.0, capacity_l=3.4), "Power 1.02 kW, for a pot of 3.4 L: none given."),
    (
        hint("assumed_loss", "still.neck_loss", w_per_k=0.6, reference_l=4.0, built_of=None),
        "Neck sheds 0.6 W/K, scaled from a 4 L still: no neck_loss given.",
    ),
    (
        hint("assumed_loss", "still.pot_loss", w_per_k=1.0, reference_l=4.0, built_of=None),
        "Pot sheds 1 W/K, scaled from a 4 L still: no pot_loss given.",
    ),
    (
        hint("assumed_loss", "still.neck_loss", w_per_k=0.6, reference_l=4.0, built_of="copper"),
        "Neck sheds 0.6 W/K, lid and the wall above the liquid of a bare copper pot this size: no neck_loss "
        "given.",
    ),
    (hint("assumed_room", room_c=20.0), "Room at 20 °C: none given."),
    (
        hint("assumed_pressure", pressure_hpa=1013.25),
        "At sea level, 1013 hPa: no altitude or pressure given.",
    ),
    (hint("assumed_stop", share=0.9), "Stop when 90 % of the alcohol is over: no stop given."),
    (
        hint("assumed_stop_of_water", collected_l=0.5, share=0.2),
        "Stop at 500 mL, 20 % of the water: no stop given.",
    ),
    (
        hint("assumed_last_stop", share=0.9),
        "Stop when 90 % of the alcohol is over if no cloud comes before.",
    ),
    (hint("power_step_unused", from_l=1.5), "The power step at 1.5 L never comes."),
    (
        hint("taken_as", "juniper", state="dried", prepared="whole"),
        "juniper: taken dried and whole, not said otherwise",
    ),
    (
        hint("taken_as", "juniper", state=None, prepared="whole"),
        "juniper: taken whole, not said otherwise",
    ),
    (hint("piece", "lemon peel", **STRIP), "lemon peel: 2 strips taken as 2 g each, fresh: kitchen"),
    (
        hint("fresh_water", "lemon peel", share=0.816, source="a table"),
        "lemon peel: 82 % water when fresh: a table",
    ),
    (
        caution("contradicts_plan", numbers=["ratio", "time_scale"], strengths=1, times=4),
        "4 times and 1 strength are read, but they contradict the plan, and do not tell what the neck sheds "
        "or how fast the still is. Likely causes: another charge or power than the plan has, power that was "
        "changed and not noted, heads left out of what is collected, time not counted from switch-on, "
        "strengths read warm or cold.",
    ),
    (hint("jars_proposed", row=ROW), "No jars are named, so a row is proposed: 4 x 60 mL, 2 x 1.5 L."),
    (
        caution("jars_too_few", most_jars=500, **FEW),
        "The jars are too few: jar 3 is full at 230 mL collected and 17 min, and 800 mL at 70.0 % vol are "
        "left over. Have larger jars ready, or more of them, up to 500.",
    ),
    (
        hint("jar_at_cut", number=1, cut="heads", volume_l=0.03, size_l=0.06),
        "Change jar 1 at the heads cut, when it holds 30 mL of its 60 mL.",
    ),
    (
        hint("hot_room", room_c=45.0, at_c=20.0),
        "A room of 45 °C is too hot for proofing: cool spirit and water to 20 °C first.",
    ),
    (
        hint("reading_away", at_c=25.0, calibrated_c=20.0, reading_abv=41.93, abv=40.0),
        "At 25 °C a hydrometer for 20 °C shows 41.9 % vol, not 40.0 % vol.",
    ),
    (
        hint("more_stays_behind", "cacao nibs"),
        "cacao nibs: more of it will not help much, it hardly distils and stays in the pot. Try it macerated "
        "in the spirit after the run.",
    ),
    (
        hint("more_stays_in_plant", "angelica root", share=0.7),
        "angelica root: 70 % of its oil stays in the plant. Crack, slice or grind it finer, or macerate it "
        "longer, rather than add more.",
    ),
    (
        hint("lost_by_cut", "fennel seed", where="after", share=0.92, half_l=1.32),
        "fennel seed: a cut, not the dose, loses it: 92 % of what comes over of it comes after the keep; let "
        "the keep last longer (half of what comes to the stop is over at 1.32 L) rather than add more.",
    ),
    (
        hint("lost_by_cut", "bay leaf", where="before", share=0.92, half_l=None),
        "bay leaf: a cut, not the dose, loses it: 92 % of what comes over of it comes before the keep; take "
        "less heads rather than add more.",
    ),
    (
        hint("lost_by_cut", "bay leaf", where="between", share=0.92, half_l=None),
        "bay leaf: a cut, not the dose, loses it: 92 % of what comes over of it comes in jars that are left "
        "out; pool those jars too rather than add more.",
    ),
]


@pytest.mark.parametrize(
    ("note", "said"), NOTES, ids=[f"{note.kind}-{k}" for k, (note, _) in enumerate(NOTES)]
)
def test_a_note_in_words(note: Note, said: str) -> None:
    assert words(note) == said


def test_templates_name_ways_of_telling_that_there_are() -> None:
    """A way of telling in words of ours must be in the table of formats; the rest is Python's."""
    ways = {
        spec
        for said in WORDS.values()
        if isinstance(said, str)
        for _, _, spec, _ in string.Formatter().parse(said)
    }
    assert {spec for spec in ways if spec and len(spec) > 3} <= {*METRIC, *TELLERS}


FIREWEED = """
[[charge]]
name = "spirit"
volume = "1 L"
abv = "40 %"

[[botanical]]
name = "Fireweed"
mass = "60 g"

[[own_botanical]]
name = "Fireweed"
category = "leaf"
oil_yield = "1 %"
usual_dose_per_l = ["1 g", "5 g"]
"""


def test_a_caution_is_one_by_its_severity_whatever_its_first_word(say, tmp_path: Path) -> None:
    """A botanical called as one of the usual cautions begins."""
    (tmp_path / "fireweed.toml").write_text(FIREWEED, encoding="utf-8")
    data = json.loads(say("run", "fireweed.toml", "--json").out)
    (note,) = (note for note in data["notes"] if note["subject"] == "Fireweed" and note["kind"] == "dose")
    assert note["severity"] == "caution"
    assert note["g_per_l"] == pytest.approx(60.0)
    assert note["words"] in data["cautions"]
    usual = [note["words"] for note in data["notes"] if note["kind"] == EVERY_RUN]
    assert data["cautions"][-len(usual) :] == usual
    assert note["words"] not in usual


@pytest.mark.parametrize(
    ("size_ml", "verb"), [(59.0, "does not"), (60.0, "may not"), (99.0, "may not"), (100.0, None)]
)
def test_a_small_jar_in_words(size_ml: float, verb: str | None, bare: Plan) -> None:
    jars = JarPlan(sizes=(JarStock(size_ml / 1000.0),))
    row = potsim.distil(replace(bare, jars=jars)).row
    said = [words(note) for note in row.notes if note.kind == TOO_SMALL]
    opening = f"A jar of {size_ml:.0f} mL {verb} float a hydrometer, which takes 60 to 100 mL"
    assert [text[: len(opening)] for text in said] == ([] if verb is None else [opening])


@pytest.mark.parametrize("room_c", [5.0, 35.0])
def test_what_a_scaled_neck_sheds_in_words(room_c: float, bare: Plan) -> None:
    """The share of the power: W/K by the degrees between vapour and room, over the power."""
    made = to_charge(replace(bare, still=replace(bare.still, room_c=room_c)), 25.0)
    before, after = (
        100.0 * s.neck_loss_w_per_k * (float(run.vapour_c[0]) - room_c) / s.power_w
        for run, s in ((made.before, made.before.plan.still), (made.after, made.after.plan.still))
        if s.neck_loss_w_per_k is not None and s.power_w is not None
    )
    neck = made.unscaled[0]
    assert (neck.values["share"], neck.values["share_before"]) == pytest.approx(
        (after / 100.0, before / 100.0)
    )
    told = (
        f" {say('share', after / 100.0)} instead of {say('share', before / 100.0)}; with it goes the reflux."
    )
    assert told in words(neck)


def test_every_stop_has_its_words() -> None:
    assert set(keys_of(Stop)) <= set(STOPS)
