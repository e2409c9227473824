"""Plan files that are wrong: refused in words, with file, table and key, and without a trace."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.data import read_text
from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile import load_plan, read_plan
from potsim.interfaces.tomlfile import read_value
from potsim.planning.plan import TABLES

CHARGE = '[[charge]]\nname = "apple spirit"\nvolume = "1 L"\nabv = "60 %"\n'
JUNIPER = CHARGE + '[[botanical]]\nname = "juniper"\nmass = "3 g"\n'
OWN = '[[own_botanical]]\nname = "spruce tips"\ncategory = "leaf"\noil_yield = "0.8 %"\n'

BAD = [
    ("", None, ("empty_charge", "")),
    ("x", 1, ("syntax",)),
    ("\x00", 1, ("syntax",)),
    (CHARGE + "[still]\n[still]\n", 6, ("syntax",)),
    ('title = "a"\ntitle = "b"\n', 2, ("syntax",)),
    ("x = " + "[" * 5000, None, ("nested",)),
    ("n = " + "9" * 5000, None, ("syntax",)),
    ("d = 2025-13-45", 1, ("syntax",)),
    (CHARGE + "[stil]\n", 5, ("unknown_key", "stil", "stil", None, "still")),
    ('power = "7 W"\n' + CHARGE, 1, ("unknown_key", "power", "power")),
    (CHARGE + 'power = "7 W"\n', 5, ("unknown_key", "charge.0.power", "power")),
    ('title = ""\n' + CHARGE, 1, ("quantity", "title", "")),
    ("title = 3\n" + CHARGE, 1, ("quantity", "title", "3")),
    ('title = "a\\nb"\n' + CHARGE, 1, ("quantity", "title", "a\\nb")),
    ("charge = 3", 1, ("no_tables", "charge")),
    ('[charge]\nname = "x"\n', 1, ("no_tables", "charge")),
    ('[[charge]]\nname = "x"\nvolume = "1 L"\n', 1, ("missing", "charge.0.abv")),
    ('[[charge]]\nname = "water"\n', 1, ("missing", "charge.0.volume")),
    (
        '[[charge]]\nname = "water"\nvolume = "0 L"\n',
        3,
        ("range", "charge.0.volume", "0 L", "more than 0 and at most 100,000 L"),
    ),
    (CHARGE + CHARGE.replace("1 L", "1 cup"), 7, ("which_size", "charge.1.volume", "1 cup")),
    (CHARGE.replace("60 %", "120 %"), 4, ("quantity", "charge.0.abv", "120 %")),
    (CHARGE + "price = 12\n", 5, ("quantity", "charge.0.price", "12")),
    (CHARGE + 'kind = "friut"\n', 5, ("unknown_name", "charge.0.kind", "friut", None, "fruit")),
    (CHARGE + "[still]\npower = 700\n", 6, ("quantity", "still.power", "700")),
    (CHARGE + "[still]\npower = true\n", 6, ("quantity", "still.power", "true")),
    (CHARGE + '[still]\npower = ["700 W"]\n', 6, ("quantity", "still.power", "a list")),
    (CHARGE + "[still]\npower = nan\n", 6, ("quantity", "still.power", "nan")),
    (CHARGE + "[still]\npower = inf\n", 6, ("quantity", "still.power", "inf")),
    (CHARGE + '[still]\npower = ""\n', 6, ("quantity", "still.power", "")),
    (CHARGE + '[still]\npower = "-700 W"\n', 6, ("quantity", "still.power", "-700 W")),
    (
        CHARGE + '[still]\npower = "0 W"\n',
        6,
        ("range", "still.power", "0 W", "more than 0 and at most 1,000,000 W"),
    ),
    (
        CHARGE + '[still]\npower = "1e9 W"\n',
        6,
        ("range", "still.power", "1e9 W", "more than 0 and at most 1,000,000 W"),
    ),
    (CHARGE + '[still]\npoewr = "700 W"\n', 6, ("unknown_key", "still.poewr", "poewr", None, "power")),
    (CHARGE + "[[still]]\n", None, ("a_list", "still")),
    ("still = 3\n" + CHARGE, 1, ("no_table", "still", "3")),
    (CHARGE + '[still]\naltitude = "5 m"\npressure = "1 bar"\n', 7, ("conflict", "still.pressure")),
    (
        CHARGE + '[still]\npot_metal = "coper"\n',
        6,
        ("unknown_name", "still.pot_metal", "coper", None, "copper"),
    ),
    (CHARGE + '[still]\nfrom_file = "x.toml"\n', 6, ("file_beside_none", "still.from_file", "x.toml")),
    (CHARGE + '[[still.power_step]]\npower = "3 W"\n', 5, ("missing", "still.power_step.0.from_collected")),
    (CHARGE + "[still]\npower_step = 3\n", 6, ("no_tables", "still.power_step")),
    (
        JUNIPER.replace("juniper", "junipr"),
        6,
        ("unknown_name", "botanical.0.name", "junipr", None, "juniper"),
    ),
    (JUNIPER + "pieces = 2\n", 7, ("conflict", "botanical.0.mass", 3.0)),
    (JUNIPER + 'state = "wet"\n', 8, ("unknown_name", "botanical.0.state", "wet")),
    (
        JUNIPER + 'prepared = "craked"\n',
        8,
        ("unknown_name", "botanical.0.prepared", "craked", None, "cracked"),
    ),
    (JUNIPER + 'macerated = "2 m"\n', 8, ("confused_unit", "botanical.0.macerated", "2 m")),
    (
        JUNIPER + 'macerated = "2 h"\nwhere = "basket"\n',
        8,
        ("macerated_in_basket", "botanical.0.macerated", 2.0),
    ),
    (JUNIPER.replace("3 g", "3 mL"), 7, ("quantity", "botanical.0.mass", "3 mL")),
    (CHARGE + "[cuts]\nheads = 30\n", 6, ("quantity", "cuts.heads", "30")),
    (CHARGE + '[cuts]\nheads = "2 % vol"\n', 6, ("quantity", "cuts.heads", "2 % vol")),
    (
        CHARGE + '[cuts]\nheads = "70 %"\n',
        6,
        (
            "range",
            "cuts.heads",
            "70 %, that is 0.7 of the whole (0 to 1)",
            "at least 0 and at most 0.5 of the whole",
        ),
    ),
    (CHARGE + '[cuts]\nstop = "55 %"\n', 6, ("no_table", "cuts.stop", "'55 %'")),
    (CHARGE + "[cuts]\nstop = {}\n", 6, ("no_condition", "cuts.stop")),
    (
        CHARGE + '[cuts]\nstop = { stream = "55 %" }\n',
        6,
        ("unknown_key", "cuts.stop.stream", "stream", None, "stream_abv"),
    ),
    (CHARGE + "[cuts]\nstop = { recovered = 90 }\n", 6, ("quantity", "cuts.stop.recovered", "90")),
    (
        CHARGE + '[cuts]\nstop = { recovered = "100 %" }\n',
        6,
        (
            "range",
            "cuts.stop.recovered",
            "100 %, that is 1 of the alcohol (0 to 1)",
            "more than 0 and at most 0.9999 of the alcohol",
        ),
    ),
    (CHARGE + '[cuts]\nstop = { cloudy = "yes" }\n', 6, ("quantity", "cuts.stop.cloudy", "yes")),
    (
        CHARGE + '[cuts]\ntails_from = { stream_abv = "99 %" }\n',
        6,
        ("range", "cuts.tails_from.stream_abv", "99 % vol", "more than 0 and at most 97 % vol"),
    ),
    (CHARGE + '[cuts]\nstop = { over = { juniper = "95 %" } }\n', 6, ("unknown_name", "cuts.stop.over")),
    (
        JUNIPER + '[cuts]\nstop = { over = { junipr = "95 %" } }\n',
        9,
        ("unknown_name", "cuts.stop.over", "junipr", None, "juniper"),
    ),
    (CHARGE + '[jars]\nsizes = "60"\n', 6, ("quantity", "jars.sizes", "60")),
    (CHARGE + '[jars]\nsizes = ["0 x 60 mL"]\n', 6, ("quantity", "jars.sizes", "0 x 60 mL")),
    (
        CHARGE + '[jars]\nsizes = "0 mL"\n',
        6,
        ("range", "jars.sizes", "0 mL", "at least 0.0001 and at most 10,000 L"),
    ),
    (CHARGE + '[jars]\nkeep = "9-2"\n', 6, ("quantity", "jars.keep", "9-2")),
    (CHARGE + "[jars]\nkeep = [2, 2]\n", 6, ("quantity", "jars.keep", "2,2")),
    (CHARGE + "[bottling]\nsteps = 1.5\n", 6, ("quantity", "bottling.steps", "1.5")),
    (
        CHARGE + "[bottling]\nsteps = 99\n",
        6,
        ("range", "bottling.steps", "99 additions", "at least 1 and at most 50 additions"),
    ),
    (CHARGE + '[bottling]\nstretch = { spirit = "1 L" }\n', 6, ("missing", "bottling.stretch.abv")),
    (
        CHARGE + '[bottling]\nabv = "42 %"\nstretch = { spirit = "1 L", abv = "40 %" }\n',
        7,
        ("weak_stretch", "bottling.stretch.abv", 40.0, 42.0),
    ),
    (
        CHARGE + '[bottling]\nabv = "42 %"\nstretch = { spirit = "-1 L", abv = "96 %" }\n',
        7,
        ("quantity", "bottling.stretch.spirit", "-1 L"),
    ),
    (CHARGE + '[bottling]\nstretch = { spirit = "1 L", abv = "96 %" }\n', 6, ("alone", "bottling.stretch")),
    (
        CHARGE + '[uncertainty]\nvolume = "80 %"\n',
        6,
        ("range", "uncertainty.volume", "80 %, that is 0.8 (0.02 is 2 %)", "at least 0 and at most 0.5"),
    ),
    (CHARGE + "[result]\nfoo = 1\n", 6, ("unknown_key", "result.foo", "foo")),
    (
        CHARGE + '[[note]]\nbotanicl = "x"\n',
        6,
        ("unknown_key", "note.0.botanicl", "botanicl", None, "botanical"),
    ),
    ('[[charge]]\nfrom_run = "a.toml"\nvolume = "1 L"\n', 3, ("conflict", "charge.0.volume")),
    ('[[charge]]\nfrom_run = { title = "x" }\njars = "1"\n', 2, ("empty_charge", "charge.0.from_run")),
    (CHARGE + OWN.replace("leaf", "lef"), 5, ("unknown_name", "own_botanical.0", "lef")),
    (CHARGE + OWN + OWN, 10, ("twice", "own_botanical.1.name")),
    (
        CHARGE + OWN + 'composition = { limonen = "3 %" }\n',
        9,
        ("unknown_name", "own_botanical.0.composition", "limonen", None, "limonene"),
    ),
    (JUNIPER + OWN.replace("spruce tips", "juniper"), None, ("name_taken", "own_botanical", "juniper")),
    (CHARGE + '[[own_compound]]\nname = "x"\n', 5, ("missing", "own_compound.0.molar_mass")),
    (
        CHARGE + '[[own_compound]]\nname = "x"\nmolar_mass = "9 g/mol"\n',
        5,
        ("no_volatility", "own_compound.0"),
    ),
]


@pytest.mark.parametrize(("text", "line", "record"), BAD)
def test_a_bad_plan_is_refused_with_file_line_and_key(text, line, record) -> None:
    with refused(*record) as caught:
        read_plan(text, "bad.toml")
    assert {(fault.where[0].file, fault.where[0].line) for fault in caught.value.faults} >= {
        ("bad.toml", line)
    }
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b'title = "\xff"', "not_utf8"),
        ("title = 'x'".encode("utf-16"), "not_utf8"),
        (b"# " + b"x" * 200_001, "file_large"),
    ],
)
def test_a_bad_file_is_refused(tmp_path, content, kind) -> None:
    file = tmp_path / "plan.toml"
    file.write_bytes(content)
    with refused(kind):
        load_plan(file)
    assert file.read_bytes() == content
    assert list(tmp_path.iterdir()) == [file]


def test_a_missing_file_and_a_folder_are_refused(tmp_path) -> None:
    (tmp_path / "trial-1.toml").write_text(CHARGE)
    with refused("no_file"):
        load_plan(tmp_path / "trail-1.toml")
    with refused("file_is_folder"):
        load_plan(tmp_path)
    with refused("file_unreadable"):
        load_plan(tmp_path / ("x" * 400))
    with refused("file_unreadable"):
        load_plan("a\0b")


def test_runs_that_take_from_each_other_are_refused(tmp_path) -> None:
    for name, other in (("a", "b"), ("b", "a")):
        (tmp_path / f"{name}.toml").write_text(
            CHARGE + f'[[charge]]\nfrom_run = "{other}.toml"\njars = "1"\n'
        )
    with refused("circle", "charge.1.from_run") as caught:
        load_plan(tmp_path / "a.toml")
    places = [(Path(where.file).name, where.line) for where in caught.value.where]
    assert places == [("a.toml", 6), ("b.toml", 6)]


def test_runs_that_take_from_each_other_on_and_on_are_refused(tmp_path) -> None:
    for i in range(20):
        (tmp_path / f"{i}.toml").write_text(f'[[charge]]\nfrom_run = "{i + 1}.toml"\njars = "1"\n')
    with pytest.raises(RequestError) as caught:
        load_plan(tmp_path / "0.toml")
    assert (caught.value.kind, len(caught.value.where)) == ("too_deep", 12)


def test_a_fault_in_the_earlier_run_names_both_files(tmp_path) -> None:
    (tmp_path / "a.toml").write_text(CHARGE + "[still]\npower = 7\n")
    (tmp_path / "b.toml").write_text('[[charge]]\nfrom_run = "a.toml"\njars = "1"\n')
    with refused("quantity", "still.power", "7") as caught:
        load_plan(tmp_path / "b.toml")
    places = [(Path(where.file).name, where.line) for where in caught.value.where]
    assert places == [("b.toml", 2), ("a.toml", 6)]


def test_plans_inside_plans_on_and_on_are_refused() -> None:
    text = "".join(f'[[charge{".from_run.charge" * i}]]\njars = "1"\n' for i in range(15))
    with pytest.raises(RequestError) as caught:
        read_plan(text)
    assert (caught.value.kind, len(caught.value.where)) == ("too_deep", 13)


def test_a_key_of_too_many_parts_is_refused_before_it_costs() -> None:
    for text in (f"{'a.' * 200}b = 1\n", f"[{'a.' * 200}b]\n", "x = {" + "a . " * 200 + "b = 1}\n"):
        with refused("nested"):
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
    with refused("too_many", table, most + 1, most):
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
        (4, "charge.0.volume", "which_size"),
        (7, "still.power", "range"),
        (8, "still.pot_metal", "unknown_name"),
        (11, "botanical.0.mass", "quantity"),
        (12, "botanical.1", "no_amount"),
        (15, "cuts.stop.pot_abv", "range"),
    ]
    assert [record["given"] for record in records] == [
        "titel",
        "1 cup",
        "0 W",
        "tin",
        "3 mL",
        None,
        99.0,
    ]
    assert records[2]["allowed"] == [0, 1e6]
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
        read_value(key, value)
    except PotsimError as refused:
        message = str(refused)
    else:
        return
    assert message
