"""Plan files that are wrong: refused in words, with file, table and key, and without a trace."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from potsim.data import read_text
from potsim.errors import PotsimError, RequestError
from potsim.interfaces.planfile import PLAN_KEYS, load_plan, read_plan

CHARGE = '[[charge]]\nname = "apple spirit"\nvolume = "1 L"\nabv = "60 %"\n'
JUNIPER = CHARGE + '[[botanical]]\nname = "juniper"\nmass = "3 g"\n'
OWN = '[[own_botanical]]\nname = "spruce tips"\ncategory = "leaf"\noil_yield = "0.8 %"\n'

BAD = [
    ("", "The plan has no charge. Add a [[charge]]"),
    ("x", "bad.toml, at the end: not written as TOML wants it"),
    ("\x00", "bad.toml, line 1: not written as TOML"),
    (CHARGE + "[still]\n[still]\n", "line 6: not written as TOML wants it: this table is there already"),
    ('title = "a"\ntitle = "b"\n', "line 2: not written as TOML wants it: this key is there already"),
    ("x = " + "[" * 5000, "nested too deeply"),
    ("n = " + "9" * 5000, "a number has thousands of digits"),
    ("d = 2025-13-45", "line 1: not written as TOML"),
    (CHARGE + "[stil]\n", "bad.toml has the unknown key 'stil'. Did you mean 'still'"),
    ('power = "7 W"\n' + CHARGE, "bad.toml has the unknown key 'power'. It belongs in [still]."),
    (CHARGE + 'power = "7 W"\n', "[[charge]] 1 has the unknown key 'power'. It belongs in [still]."),
    ('title = ""\n' + CHARGE, "bad.toml: title: '' is empty"),
    ("title = 3\n" + CHARGE, "bad.toml: title: 3 is not text"),
    ('title = "a\\nb"\n' + CHARGE, "title: 'a\\nb' will not do; allowed: one line"),
    ("charge = 3", "[[charge]] is not a list of tables"),
    ('[charge]\nname = "x"\n', "Write [[charge]] in double brackets"),
    ('[[charge]]\nname = "x"\nvolume = "1 L"\n', "[[charge]] 1 ('x') has no abv. Add for example abv"),
    ('[[charge]]\nname = "water"\n', "[[charge]] 1 has no volume. Add for example volume"),
    ('[[charge]]\nname = "water"\nvolume = "0 L"\n', "[[charge]] 1 volume is 0 L; allowed is more than 0"),
    (CHARGE + CHARGE.replace("1 L", "1 cup"), "[[charge]] 2 volume: '1 cup': a bare 'cup' has 3 sizes"),
    (CHARGE.replace("60 %", "120 %"), "abv: '120 %' is not between 0 and 100 % vol"),
    (CHARGE + "price = 12\n", "price: 12 does not say for what volume"),
    (CHARGE + 'kind = "friut"\n', "Unknown kind of base spirit 'friut'. Did you mean 'fruit'?"),
    (
        CHARGE + "[still]\npower = 700\n",
        "bad.toml: [still] power: 700 has no unit; allowed: a power in W, kW",
    ),
    (CHARGE + "[still]\npower = true\n", "[still] power: true will not do; allowed: a power"),
    (CHARGE + '[still]\npower = ["700 W"]\n', "[still] power: a list will not do"),
    (CHARGE + "[still]\npower = nan\n", "[still] power: nan does not begin with a number"),
    (CHARGE + "[still]\npower = inf\n", "[still] power: inf does not begin with a number"),
    (CHARGE + '[still]\npower = ""\n', "[still] power: '' is empty"),
    (CHARGE + '[still]\npower = "-700 W"\n', "[still] power: '-700 W' is less than nothing"),
    (CHARGE + '[still]\npower = "0 W"\n', "bad.toml: [still] power is 0 W; allowed is more than 0"),
    (CHARGE + '[still]\npower = "1e9 W"\n', "[still] power is 1e9 W; allowed"),
    (CHARGE + '[still]\npoewr = "700 W"\n', "[still] has the unknown key 'poewr'. Did you mean 'power'?"),
    (CHARGE + "[[still]]\n", "[still] is a list. Write [still] once, in single brackets."),
    ("still = 3\n" + CHARGE, "[still] is 3; allowed: a table"),
    (
        CHARGE + '[still]\naltitude = "5 m"\npressure = "1 bar"\n',
        "[still]: altitude and pressure are both given",
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
        "[[botanical]] 1 name: Unknown botanical 'junipr'. Did you mean 'juniper'?",
    ),
    (JUNIPER.replace("juniper", "orange"), "may mean 'sweet orange peel' or 'bitter orange peel'"),
    (JUNIPER + "pieces = 2\n", "has both mass and pieces"),
    (JUNIPER + 'state = "wet"\n', "state of 'juniper' 'wet'. Known: dried, fresh."),
    (JUNIPER + 'prepared = "craked"\n', "Did you mean 'cracked'?"),
    (JUNIPER + 'macerated = "2 m"\n', "macerated: '2 m': a bare \"m\" may be minutes or months"),
    (JUNIPER + 'macerated = "2 h"\nwhere = "basket"\n', "is macerated and in the basket"),
    (JUNIPER.replace("3 g", "3 mL"), "[[botanical]] 1 mass: '3 mL' has the unknown unit 'mL'"),
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
    ('[[charge]]\nfrom_run = { title = "x" }\njars = "1"\n', "from_run: bad.toml: The plan has no charge."),
    (CHARGE + OWN.replace("leaf", "lef"), "[[own_botanical]] 1: Unknown kind of plant material 'lef'"),
    (CHARGE + OWN + OWN, "[[own_botanical]] 2 name: 'spruce_tips' is there already"),
    (
        CHARGE + OWN + 'composition = { limonen = "3 %" }\n',
        "Unknown compound 'limonen'. Did you mean 'limonene'",
    ),
    (JUNIPER + OWN.replace("spruce tips", "juniper"), "already means juniper"),
    (CHARGE + '[[own_compound]]\nname = "x"\n', "[[own_compound]] 1 has no molar_mass"),
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
        (b"# " + b"x" * 1_000_001, "plan.toml is larger than 1 MB"),
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
    with pytest.raises(RequestError, match=r"There is no file .*Did you mean 'trial-1.toml'"):
        load_plan(tmp_path / "trail-1.toml")
    with pytest.raises(RequestError, match="is a folder"):
        load_plan(tmp_path)
    with pytest.raises(RequestError, match="cannot be read"):
        load_plan(tmp_path / ("x" * 400))
    with pytest.raises(RequestError, match="cannot be read"):
        load_plan("a\0b")


def test_runs_that_take_from_each_other_are_refused(tmp_path) -> None:
    for name, other in (("a", "b"), ("b", "a")):
        (tmp_path / f"{name}.toml").write_text(
            CHARGE + f'[[charge]]\nfrom_run = "{other}.toml"\njars = "1"\n'
        )
    with pytest.raises(RequestError, match=r"a.toml: .* 2 from_run: b.toml: .*leads back to itself"):
        load_plan(tmp_path / "a.toml")


def test_runs_that_take_from_each_other_on_and_on_are_refused(tmp_path) -> None:
    for i in range(20):
        (tmp_path / f"{i}.toml").write_text(f'[[charge]]\nfrom_run = "{i + 1}.toml"\njars = "1"\n')
    with pytest.raises(RequestError, match="more than 12 plans take from each other"):
        load_plan(tmp_path / "0.toml")


def test_a_fault_in_the_earlier_run_names_both_files(tmp_path) -> None:
    (tmp_path / "a.toml").write_text(CHARGE + "[still]\npower = 7\n")
    (tmp_path / "b.toml").write_text('[[charge]]\nfrom_run = "a.toml"\njars = "1"\n')
    with pytest.raises(RequestError, match=r"b.toml: .* 1 from_run: a.toml: .still. power: 7 has"):
        load_plan(tmp_path / "b.toml")


def test_plans_inside_plans_on_and_on_are_refused() -> None:
    text = "".join(f'[[charge{".from_run.charge" * i}]]\njars = "1"\n' for i in range(260))
    with pytest.raises(RequestError, match="more than 12 plans take from each other"):
        read_plan(text)


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
    st.sampled_from([(table, key) for table, keys in PLAN_KEYS.items() for key in keys]),
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=12),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=4,
    ),
)
def test_any_value_of_any_key_is_read_or_refused(place, value) -> None:
    table, key = place
    try:
        PLAN_KEYS[table][key].read(value)
    except PotsimError as refused:
        message = str(refused)
    else:
        return
    assert message
