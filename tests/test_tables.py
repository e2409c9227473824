"""Text for a terminal: no line passes its width, numbers stay whole, words are kept."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from potsim.interfaces.report import Column, Facts, Points, Section, Table, part_lines, render, wrapped

WORDS = st.text(st.sampled_from("abcdefgh -%°"), max_size=60)
NUMBERS = st.integers(0, 10**9).map(str)


def test_numbers_stand_right_and_words_left_under_heads_with_units() -> None:
    table = Table(
        (Column("name", align="left"), Column("volume", "mL")), (("apple", "900"), ("barley spirit", "60"))
    )
    assert part_lines(table) == [
        "  name           volume",
        "                     mL",
        "  apple             900",
        "  barley spirit      60",
    ]


def test_a_table_without_units_has_one_line_of_heads() -> None:
    assert part_lines(Table((Column("n"),), (("1",), ("20",)))) == ["   n", "   1", "  20"]


def test_only_words_are_wrapped() -> None:
    table = Table((Column("word", align="left"), Column("number")), (("one two three four five", "1234567"),))
    assert part_lines(table, 24) == [
        "  word            number",
        "  one two three  1234567",
        "  four five",
    ]


def test_a_table_of_too_many_numbers_is_told_in_parts_each_with_its_first_column() -> None:
    table = Table(
        tuple(Column(f"column {k}", "mL") for k in range(6)), (tuple(f"12345678{k}" for k in range(6)),)
    )
    lines = part_lines(table, 40)
    heads = [" ".join(line.split()) for line in lines if "column" in line]
    assert heads == ["column 0 column 1 column 2", "column 0 column 3 column 4", "column 0 column 5"]
    assert max(map(len, lines)) <= 40
    assert all(f"12345678{k}" in " ".join(lines) for k in range(6))


def test_a_table_of_too_wide_numbers_is_told_row_by_row() -> None:
    table = Table(tuple(Column(f"column {k}", "mL") for k in range(3)), (("1" * 12, "2" * 12, "3" * 12),))
    lines = part_lines(table, 26)
    assert lines[0] == "  - column 0: 111111111111"
    assert len(lines) >= 3


@pytest.mark.parametrize("width", [26, 30, 36, 44])
def test_no_word_is_broken_in_a_narrow_table(width: int) -> None:
    heads, cells = ("compound", "collected", "of the"), ("trans-anethole of fennel", "12.5", "botanicals")
    columns = (Column(heads[0], align="left"), Column(heads[1]), Column(heads[2], align="left"))
    lines = part_lines(Table(columns, (cells,)), width)
    said = " ".join(lines).replace(":", "").split()
    assert {word for text in (*heads, *cells) for word in text.split()} <= set(said)
    assert max(map(len, lines)) <= width


def test_facts_stand_in_two_columns_and_wrap_in_the_second() -> None:
    facts = Facts((("jars", "2 to 9"), ("", "and more of the same kind"), ("a label of its own length", "x")))
    lines = part_lines(facts, 44)
    assert lines[0] == "  jars                    2 to 9"
    assert lines[1] == "                          and more of the"
    assert lines[2] == "                          same kind"
    assert lines[3] == "  a label of its own length x"


def test_sections_are_parted_by_blank_lines() -> None:
    text = render([Section("One", ("A paragraph.", Points(("first", "second")))), Section("Two", ("Last.",))])
    assert text == "One\n  A paragraph.\n\n  - first\n  - second\n\nTwo\n  Last."


@pytest.mark.parametrize("text", ["", "   "])
def test_nothing_is_one_empty_line(text: str) -> None:
    assert wrapped(text) == [""]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(WORDS, NUMBERS, NUMBERS, WORDS), max_size=5), st.integers(30, 100))
def test_no_line_passes_the_width_and_no_number_is_cut(
    rows: list[tuple[str, str, str, str]], width: int
) -> None:
    columns = (
        Column("name", align="left"),
        Column("volume", "mL"),
        Column("minute"),
        Column("remark", align="left"),
    )
    lines = part_lines(Table(columns, tuple(rows)), width)
    assert all(len(line) <= width for line in lines)
    whole = " ".join(lines).split()
    for row in rows:
        assert row[1] in whole
        assert row[2] in whole


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(WORDS, WORDS), max_size=5), WORDS, st.integers(40, 100))
def test_no_fact_or_paragraph_passes_the_width(pairs: list[tuple[str, str]], text: str, width: int) -> None:
    section = Section(text, (text, Facts(tuple(pairs)), Points((text, text * 3))))
    assert all(len(line) <= width for line in render([section], width).splitlines())


def test_a_column_of_words_may_be_blank_throughout() -> None:
    table = Table((Column("n"), Column("", align="left")), (("1", ""), ("20", "")))
    assert part_lines(table) == ["   n", "   1", "  20"]
