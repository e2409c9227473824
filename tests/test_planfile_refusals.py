"""Plan files that are wrong: refused in words, with file, table and key, and without a trace."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.data import read_text
from potsim.errors import PotsimError, RequestError
from potsim.interfaces import kinds
from potsim.interfaces.planfile import load_plan, read_plan
from potsim.planning.plan import TABLES

CHARGE = '[[charge]]\nname = "apple spirit"\nvolume = "1 L"\nabv = "60 %"\n'
JUNIPER = CHARGE + '[[botanical]]\nname = "juniper"\nmass = "3 g"\n'
OWN = '[[own_botanical]]\nname = "spruce tips"\ncategory = "leaf"\noil_yield = "0.8 %"\n'

BAD = [
    ("", "The plan has no charge. Add a [[charge]]"),
    ("x", "bad.toml, line 1: not written as TOML wants it (at the end)"),
    ("\x00", "bad.toml, line 1: not written as TOML"),
    (CHARGE + "[still]\n[still]\n", "line 6: not written as TOML wants it: this table is there already"),
    ('title = "a"\ntitle = "b"\n', "line 2: not written as TOML wants it: this key is there already"),
    ("x = " + "[" * 5000, "nested too deeply"),
    ("n = " + "9" * 5000, "a number has thousands of digits"),
    ("d = 2025-13-45", "line 1: not written as TOML"),
    (CHARGE + "[stil]\n", "bad.toml, line 5 has the unknown key 'stil'. Did you mean 'still'"),
    ('power = "7 W"\n' + CHARGE, "bad.toml, line 1 has the unknown key 'power'. It belongs in [still]."),
    (
        CHARGE + 'power = "7 W"\n',
        "bad.toml, line 5: [[charge]] 'apple spirit' has the unknown key 'power'. It belongs in [still].",
    ),
    ('title = ""\n' + CHARGE, "bad.toml, line 1: title: '' is empty"),
    ("title = 3\n" + CHARGE, "bad.toml, line 1: title: 3 is not text"),
    ('title = "a\\nb"\n' + CHARGE, "title: 'a\\nb' will not do; allowed: one line"),
    ("charge = 3", "[[charge]] is not a list of tables"),
    ('[charge]\nname = "x"\n', "Write [[charge]] in double brackets"),
    (
        '[[charge]]\nname = "x"\nvolume = "1 L"\n',
        "bad.toml, line 1: [[charge]] 'x' has no abv. Add for example abv",
    ),
    ('[[charge]]\nname = "water"\n', "[[charge]] 'water' has no volume. Add for example volume"),
    (
        '[[charge]]\nname = "water"\nvolume = "0 L"\n',
        "line 3: [[charge]] 'water' volume is 0 L; allowed is more than 0",
    ),
    (
        CHARGE + CHARGE.replace("1 L", "1 cup"),
        "line 7: [[charge]] 'apple spirit' volume: '1 cup': a bare 'cup' has 3 sizes",
    ),
    (CHARGE.replace("60 %", "120 %"), "abv: '120 %' is not between 0 and 100 % vol"),
    (CHARGE + "price = 12\n", "price: 12 does not say for what volume"),
    (CHARGE + 'kind = "friut"\n', "Unknown kind of base spirit 'friut'. Did you mean 'fruit'?"),
    (
        CHARGE + "[still]\npower = 700\n",
        "bad.toml, line 6: [still] power: 700 has no unit; allowed: a power in W, kW",
    ),
    (CHARGE + "[still]\npower = true\n", "[still] power: true will not do; allowed: a power"),
    (CHARGE + '[still]\npower = ["700 W"]\n', "[still] power: a list will not do"),
    (CHARGE + "[still]\npower = nan\n", "[still] power: nan does not begin with a number"),
    (CHARGE + "[still]\npower = inf\n", "[still] power: inf does not begin with a number"),
    (CHARGE + '[still]\npower = ""\n', "[still] power: '' is empty"),
    (CHARGE + '[still]\npower = "-700 W"\n', "[still] power: '-700 W' is less than nothing"),
    (CHARGE + '[still]\npower = "0 W"\n', "bad.toml, line 6: [still] power is 0 W; allowed is more than 0"),
    (CHARGE + '[still]\npower = "1e9 W"\n', "[still] power is 1e9 W; allowed"),
    (CHARGE + '[still]\npoewr = "700 W"\n', "[still] has the unknown key 'poewr'. Did you mean 'power'?"),
    (CHARGE + "[[still]]\n", "[still] is a list. Write [still] once, in single brackets."),
    ("still = 3\n" + CHARGE, "[still] is 3; allowed: a table"),
    (
        CHARGE + '[still]\naltitude = "5 m"\npressure = "1 bar"\n',
        "line 7: [still] pressure: altitude and pressure are both given",
    ),
    (CHARGE + '[still]\npot_metal = "coper"\n', "Unknown metal 'coper'. Did you mean 'copper'?"),
    (
        CHARGE + '[still]\nfrom_file = "x.toml"\n',
        "'x.toml' is sought in the folder of the plan; this has none.",
    ),
    (CHARGE + '[[still.power_step]]\npower = "3 W"\n', "[[still.power_step]] 1 has no from_collected"),
    (CHARGE + "[still]\npower_step = 3\n", "[[still.power_step]] is not a list of tables"),
    (
        JUNIPER.replace("juniper", "junipr"),
        "line 6: [[botanical]] 'junipr' name: Unknown botanical 'junipr'. Did you mean 'juniper'?",
    ),
    (JUNIPER + "pieces = 2\n", "has both mass and pieces"),
    (
        JUNIPER + 'state = "wet"\n',
        "line 8: [[botanical]] 'juniper' state: Unknown state 'wet'. Known: dried, fresh.",
    ),
    (JUNIPER + 'prepared = "craked"\n', "Did you mean 'cracked'?"),
    (JUNIPER + 'macerated = "2 m"\n', "macerated: '2 m': a bare \"m\" may be minutes or months"),
    (JUNIPER + 'macerated = "2 h"\nwhere = "basket"\n', "is macerated and in the basket"),
    (JUNIPER.replace("3 g", "3 mL"), "[[botanical]] 'juniper' mass: '3 mL' has the unknown unit 'mL'"),
    (CHARGE + "[cuts]\nheads = 30\n", "heads: 30 has no unit; allowed: a volume"),
    (CHARGE + '[cuts]\nheads = "2 % vol"\n', 'Write for example "30 mL", or "2 %" of the charge.'),
    (CHARGE + '[cuts]\nheads = "70 %"\n', "[cuts] heads is 70 %, that is 0.7 of the charge"),
    (
        CHARGE + '[cuts]\nstop = "55 %"\n',
        "[cuts] stop is '55 %'; allowed: a table. Write for example stop = {",
    ),
    (CHARGE + "[cuts]\nstop = {}\n", "[cuts] stop has no condition"),
    (
        CHARGE + '[cuts]\nstop = { stream = "55 %" }\n',
        "[cuts] stop has the unknown key 'stream'. Did you mean",
    ),
    (CHARGE + "[cuts]\nstop = { recovered = 90 }\n", "stop recovered: 90 may be meant in %"),
    (CHARGE + '[cuts]\nstop = { recovered = "100 %" }\n', "recovered is 100 %, that is 1 of the alcohol"),
    (
        CHARGE + '[cuts]\nstop = { cloudy = "yes" }\n',
        "stop cloudy: 'yes' will not do; allowed: true or false",
    ),
    (CHARGE + '[cuts]\ntails_from = { stream_abv = "99 %" }\n', "[cuts] tails_from stream_abv is 99 % vol"),
    (CHARGE + '[cuts]\nstop = { over = { juniper = "95 %" } }\n', "'juniper' is not in the bill"),
    (JUNIPER + '[cuts]\nstop = { over = { junipr = "95 %" } }\n', "Did you mean 'juniper'?"),
    (CHARGE + '[jars]\nsizes = "60"\n', "[jars] sizes: '60' has no unit"),
    (CHARGE + '[jars]\nsizes = ["0 x 60 mL"]\n', "between 1 and 500 jars"),
    (CHARGE + '[jars]\nsizes = "0 mL"\n', "[jars] sizes is 0 mL; allowed is at least 0.0001"),
    (CHARGE + '[jars]\nkeep = "9-2"\n', "[jars] keep: '9-2' has the range '9-2' backwards"),
    (CHARGE + "[jars]\nkeep = [2, 2]\n", "names jar 2 twice"),
    (
        CHARGE + "[bottling]\nsteps = 1.5\n",
        "[bottling] steps: 1.5 will not do; allowed: additions, a whole number",
    ),
    (CHARGE + "[bottling]\nsteps = 99\n", "[bottling] steps is 99 additions"),
    (CHARGE + '[bottling]\nstretch = { spirit = "1 L" }\n', "[bottling] stretch has no abv"),
    (
        CHARGE + '[bottling]\nabv = "42 %"\nstretch = { spirit = "1 L", abv = "40 %" }\n',
        "[bottling] stretch.abv is 40 % vol; allowed is at least 42 % vol, the bottling strength",
    ),
    (
        CHARGE + '[bottling]\nabv = "42 %"\nstretch = { spirit = "-1 L", abv = "96 %" }\n',
        "[bottling] stretch spirit: '-1 L' is less than nothing",
    ),
    (
        CHARGE + '[bottling]\nstretch = { spirit = "1 L", abv = "96 %" }\n',
        "[bottling]: stretch is given, but no abv. Say the strength",
    ),
    (CHARGE + '[uncertainty]\nvolume = "80 %"\n', "[uncertainty] volume is 80 %, that is 0.8"),
    (CHARGE + "[result]\nfoo = 1\n", "[result] has the unknown key 'foo'"),
    (
        CHARGE + '[[note]]\nbotanicl = "x"\n',
        "[[note]] 1 has the unknown key 'botanicl'. Did you mean 'botanical'?",
    ),
    ('[[charge]]\nfrom_run = "a.toml"\nvolume = "1 L"\n', "volume does not go with from_run"),
    (
        '[[charge]]\nfrom_run = { title = "x" }\njars = "1"\n',
        "from_run: bad.toml, line 2: The plan has no charge.",
    ),
    (
        CHARGE + OWN.replace("leaf", "lef"),
        "[[own_botanical]] 'spruce tips': Unknown kind of plant material 'lef'",
    ),
    (CHARGE + OWN + OWN, "line 10: [[own_botanical]] 'spruce tips' name: 'spruce_tips' is there already"),
    (
        CHARGE + OWN + 'composition = { limonen = "3 %" }\n',
        "Unknown compound 'limonen'. Did you mean 'limonene'",
    ),
    (JUNIPER + OWN.replace("spruce tips", "juniper"), "already means juniper"),
    (CHARGE + '[[own_compound]]\nname = "x"\n', "[[own_compound]] 'x' has no molar_mass"),
    (CHARGE + '[[own_compound]]\nname = "x"\nmolar_mass = "9 g/mol"\n', "does not tell how volatile it is"),
]


@pytest.mark.parametrize(("text", "words"), BAD, ids=[words[:50] for _, words in BAD])
def test_a_bad_plan_is_refused_with_file_table_and_key(text, words) -> None:
    with pytest.raises(RequestError) as refused:
        read_plan(text, "bad.toml")
    assert words in str(refused.value)
    assert str(refused.value).startswith("bad.toml")
    assert refused.value.exit_code == 2


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'title = "\xff"', "plan.toml, line 1: not UTF-8 text."),
        ("title = 'x'".encode("utf-16"), "not UTF-8 text."),
        (b"# " + b"x" * 200_001, "plan.toml is larger than 200 kB"),
    ],
)
def test_a_bad_file_is_refused(tmp_path, content, words) -> None:
    file = tmp_path / "plan.toml"
    file.write_bytes(content)
    with pytest.raises(RequestError, match=words):
        load_plan(file)
    assert file.read_bytes() == content
    assert list(tmp_path.iterdir()) == [file]


def test_a_missing_file_and_a_folder_are_refused(tmp_path) -> None:
    (tmp_path / "trial-1.toml").write_text(CHARGE)
    with refused("said", "no_plan_file"):
        load_plan(tmp_path / "trail-1.toml")
    with refused("said", "a_folder"):
        load_plan(tmp_path)
    with refused("said", "not_readable"):
        load_plan(tmp_path / ("x" * 400))
    with refused("said", "not_readable"):
        load_plan("a\0b")


def test_runs_that_take_from_each_other_are_refused(tmp_path) -> None:
    for name, other in (("a", "b"), ("b", "a")):
        (tmp_path / f"{name}.toml").write_text(
            CHARGE + f'[[charge]]\nfrom_run = "{other}.toml"\njars = "1"\n'
        )
    with pytest.raises(
        RequestError, match=r"a.toml, line 6: .* 2 from_run: b.toml, line 6: .*leads back to itself"
    ):
        load_plan(tmp_path / "a.toml")


def test_runs_that_take_from_each_other_on_and_on_are_refused(tmp_path) -> None:
    for i in range(20):
        (tmp_path / f"{i}.toml").write_text(f'[[charge]]\nfrom_run = "{i + 1}.toml"\njars = "1"\n')
    with pytest.raises(RequestError, match="more than 12 plans take from each other"):
        load_plan(tmp_path / "0.toml")


def test_a_fault_in_the_earlier_run_names_both_files(tmp_path) -> None:
    (tmp_path / "a.toml").write_text(CHARGE + "[still]\npower = 7\n")
    (tmp_path / "b.toml").write_text('[[charge]]\nfrom_run = "a.toml"\njars = "1"\n')
    with pytest.raises(
        RequestError, match=r"b.toml, line 2: .* 1 from_run: a.toml, line 6: .still. power: 7 has"
    ):
        load_plan(tmp_path / "b.toml")


def test_plans_inside_plans_on_and_on_are_refused() -> None:
    text = "".join(f'[[charge{".from_run.charge" * i}]]\njars = "1"\n' for i in range(15))
    with pytest.raises(RequestError, match="more than 12 plans take from each other"):
        read_plan(text)


def test_a_key_of_too_many_parts_is_refused_before_it_costs() -> None:
    for text in (f"{'a.' * 200}b = 1\n", f"[{'a.' * 200}b]\n", "x = {" + "a . " * 200 + "b = 1}\n"):
        with refused("said", "nested_too_deeply"):
            read_plan(text)


@pytest.mark.parametrize(
    ("table", "row", "most"),
    [
        ("charge", 'name = "water"\nvolume = "1 L"\n', 100),
        ("botanical", 'name = "juniper"\nmass = "1 g"\n', 100),
        ("still.power_step", 'from_collected = "1 mL"\npower = "500 W"\n', 50),
        ("note", 'botanical = "juniper"\n', 200),
    ],
)
def test_a_table_that_stands_too_often_is_refused(table, row, most) -> None:
    with pytest.raises(
        RequestError, match=rf"\[\[{table}\]\] stands {most + 1} times; allowed are at most {most}"
    ):
        read_plan(f"[[{table}]]\n{row}" * (most + 1))


SIX_FAULTS = """\
titel = "x"
[[charge]]
name = "apple spirit"
volume = "1 cup"
abv = "60 %"
[still]
power = "0 W"
pot_metal = "tin"
[[botanical]]
name = "juniper"
mass = "3 mL"
[[botanical]]
name = "cloves"
[cuts]
stop = { pot_abv = "99 %" }
"""


def test_every_fault_of_a_plan_is_told_with_its_line_and_the_name_of_its_row() -> None:
    with pytest.raises(RequestError) as refused:
        read_plan(SIX_FAULTS, "bad.toml")
    records = [fault.record for fault in refused.value.faults]
    assert [(record["line"], record["path"], record["kind"]) for record in records] == [
        (1, "titel", "unknown_key"),
        (4, "charge.0.volume", "quantity"),
        (7, "still.power", "range"),
        (8, "still.pot_metal", "unknown_name"),
        (11, "botanical.0.mass", "quantity"),
        (12, "botanical.1", "missing"),
        (15, "cuts.stop.pot_abv", "range"),
    ]
    assert [record["given"] for record in records] == [
        "titel",
        "1 cup",
        "0 W",
        "tin",
        "3 mL",
        None,
        "99 % vol",
    ]
    assert records[2]["allowed"] == "more than 0 and at most 1,000,000 W"
    assert "[[botanical]] 'juniper' mass" in records[4]["message"]
    assert all(record["hint"] or record["allowed"] for record in records)


def test_refusals_survive_the_trip_to_another_process() -> None:
    with pytest.raises(RequestError) as refused:
        read_plan(SIX_FAULTS, "bad.toml")
    there = pickle.loads(pickle.dumps(refused.value))
    assert (type(there), str(there)) == (type(refused.value), str(refused.value))
    assert [fault.record for fault in there.faults] == [fault.record for fault in refused.value.faults]


EXAMPLE_TEXT = read_text("example_plan.toml")


@st.composite
def spoilt(draw) -> str:
    """The example with a piece cut out and something put there."""
    start = draw(st.integers(0, len(EXAMPLE_TEXT)))
    length = draw(st.integers(0, 40))
    return EXAMPLE_TEXT[:start] + draw(st.text(max_size=10)) + EXAMPLE_TEXT[start + length :]


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60) | spoilt())
@example("a = \ud800")
@example('[[charge]]\nname = "\\u0000"')
def test_any_text_is_read_or_refused(text) -> None:
    try:
        plan = read_plan(text)
    except PotsimError:
        return
    assert plan.charge


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([key for table in TABLES.values() for key in table.keys.values()]),
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=12),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=4,
    ),
)
def test_any_value_of_any_key_is_read_or_refused(key, value) -> None:
    try:
        kinds.read(key, value)
    except PotsimError as refused:
        message = str(refused)
    else:
        return
    assert message
