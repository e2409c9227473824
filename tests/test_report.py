"""The sheet of a run: what stands on it, and that it can be written on."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

import potsim
from potsim.interfaces.report import Table, render
from potsim.interfaces.report.flavours import MEANS_STAYS
from potsim.interfaces.report.run import sections_of_run
from potsim.interfaces.report.sheet import content
from potsim.interfaces.report.underway import sections_of_forecast
from potsim.interfaces.report.words import sentences
from potsim.interfaces.wording import format_volume, in_column
from potsim.planning.forecast import follow
from potsim.planning.plan import BotanicalDose, Bottling, Ingredient, Stretch
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.planning.run import Run

ANEW = """
title = "Left-overs"
[[charge]]
from_run = "quince.toml"
jars = "1,6-7"
[[charge]]
name = "quince spirit"
volume = "1 L"
abv = "55 %"
"""


def test_oils_of_left_over_jars_are_said_not_to_be_followed(say, tmp_path: Path) -> None:
    (tmp_path / "anew.toml").write_text(ANEW, encoding="utf-8")
    words = "Oils that left-over jars bring into the charge are not followed."
    assert words in say("run", "anew.toml", "--full").out
    assert words in potsim.distil(potsim.load_plan(tmp_path / "anew.toml")).assumed
    assert words not in say("run", "quince.toml", "--full").out


def test_each_reading_stands_beside_its_own_fit(example_run: Run) -> None:
    read: list[Reading] = []
    for place, off in ((0.2, 0.1), (0.5, -0.2)):
        seen = example_run.at(collected_l=place)
        read.append(next_reading(read, Entry(collected_l=place, read_abv=seen.stream_abv + off)))
    forecast = follow(example_run, read)
    fits = [r for r in forecast.fit.residuals if r.kind == "strength"]
    parts = [part for section in sections_of_forecast(forecast) for part in section.parts]
    rows = [row for part in parts if isinstance(part, Table) and len(part.columns) == 10 for row in part.rows]
    assert [row[5] for row in rows] == [in_column(r.read) for r in fits]
    assert [row[6] for row in rows] == [in_column(r.fitted) for r in fits]
    assert rows[0][6] != rows[1][6]


def test_water_that_botanicals_bring_is_told_beside_the_charge(example_run: Run) -> None:
    peel = replace(example_run.plan.botanicals[0], name="lemon peel", mass_g=50.0, state="fresh")
    run = potsim.distil(replace(example_run.plan, botanicals=(peel,)))
    brought = f" {format_volume(sum(dose.water_brought_l for dose in run.bill))} "
    assert brought in render(sections_of_run(run))
    dry = potsim.distil(replace(example_run.plan, botanicals=(replace(peel, state="dried"),)))
    assert sum(dose.water_brought_l for dose in dry.bill) == 0.0
    assert f" {format_volume(0.0)} " not in render(sections_of_run(dry))


@pytest.mark.parametrize(("name", "stays"), [("vanilla", True), ("black pepper", False)])
def test_what_staying_means_is_told_where_something_stays(example_run: Run, name: str, stays: bool) -> None:
    dose = BotanicalDose(name, mass_g=5.0)
    run = potsim.distil(replace(example_run.plan, botanicals=(dose,)))
    assert (run.flavours.botanicals[0].klass == "stays") == stays
    assert (MEANS_STAYS in [part for section in sections_of_run(run) for part in section.parts]) == stays


class Sheet(HTMLParser):
    """The headings, and the tables as rows of cells with their classes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.heads: list[str] = []
        self.tables: list[list[list[tuple[str, str]]]] = []
        self.inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = self.inside if tag == "small" else tag
        if tag == "h2":
            self.heads.append("")
        elif tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in {"td", "th"}:
            self.tables[-1][-1].append((dict(attrs).get("class") or "", ""))

    def handle_data(self, data: str) -> None:
        if self.inside == "h2":
            self.heads[-1] += data
        elif self.inside in {"td", "th"} and data.strip():
            kind, words = self.tables[-1][-1][-1]
            self.tables[-1][-1][-1] = (kind, words + data)

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside if tag == "small" else ""


@pytest.fixture(scope="module")
def stretched() -> Run:
    plan = potsim.example_plan()
    charge = (Ingredient("plum spirit", 1.5, 60.0, kind="fruit"), Ingredient("water", 0.9))
    bottling = Bottling(42.0, 0.35, steps=3, stretch=Stretch(0.5, 96.0))
    bill = (BotanicalDose("juniper", mass_g=900.0),)
    still = replace(plan.still, capacity_l=8.0)
    return potsim.distil(replace(plan, still=still, charge=charge, bottling=bottling, botanicals=bill))


@pytest.fixture(scope="module")
def page(example_run: Run) -> str:
    return str(content(example_run, "report", ".html"))


@pytest.fixture(scope="module")
def stretched_page(stretched: Run) -> str:
    return str(content(stretched, "report", ".html"))


def test_nothing_of_the_report_is_lost_on_the_sheet(
    example_run: Run, page: str, stretched: Run, stretched_page: str
) -> None:
    bare = potsim.distil(replace(example_run.plan, botanicals=(), bottling=Bottling()))
    bare_page = str(content(bare, "report", ".html"))
    for run, text in ((example_run, page), (stretched, stretched_page), (bare, bare_page)):
        heads = Sheet(text).heads
        told = [section.title for section in sections_of_run(run)][1:]
        told[told.index("Jars")] = f"Jar sheet: {run.plan.title}"  # the one table of jars
        assert sorted(heads) == sorted([*told, "Sources"])
        for note in sentences(run.row.notes):
            assert note in text


def test_the_jar_sheet_has_a_line_a_jar_with_room_to_write(example_run: Run, page: str) -> None:
    tables = Sheet(page).tables
    (sheet,) = [table for table in tables if table[0][0][1] == "jar" and "blank" in table[0][-1][0]]
    head, *rows = sheet
    blanks = [words for kind, words in head if "blank" in kind]
    assert blanks == ["strengthread, % vol", "spiritat, °C", "vapour°C", "smell and taste", "keepyes, no"]
    assert [row[0][1] for row in rows] == [str(jar.number) for jar in example_run.jars]
    for row, jar in zip(rows, example_run.jars, strict=True):
        assert [words for kind, words in row if "blank" in kind] == [""] * 5
        assert row[1][1] == jar.role
        assert row[2][1] == "60 mL"
        assert row[5][1] == f"{jar.mass_g:.0f}"
        assert row[6][1] == f"{jar.abv:.1f}"
        assert row[7][1] == f"{jar.end_abv:.1f}"
    assert rows[0][9][1] == "juniper, bay leaf, lemon peel"


def test_the_proofing_is_written_down_line_by_line(stretched: Run, stretched_page: str) -> None:
    (sheet,) = [table for table in Sheet(stretched_page).tables if table[0][-1][1] == "found"]
    lines = {row[0][1]: row[1][1] for row in sheet[1:]}
    assert stretched.proofing is not None
    assert lines["spirit added"] == "500 mL at 96.0 % vol"
    assert [name for name in lines if name.startswith("water")] == ["water 1", "water 2", "water 3"]
    grams = [float(lines[f"water {k}"].partition(" g, or ")[0]) for k in (1, 2, 3)]
    assert sum(grams) == pytest.approx(1000.0 * stretched.proofing.water_kg, abs=0.2)
    assert all("blank" in row[-1][0] for row in sheet[1:])


def test_the_sheet_names_its_sources(example_run: Run, page: str, stretched_page: str) -> None:
    for source in ("OIML R 22", "Kamihama", "Raal/Orav", "common practice, no source", "from memory"):
        assert source in page
    for dose in example_run.bill:
        assert f"<li>{dose.botanical.common_name}: oil" in page
    assert "Volatiles of fruit spirit" in stretched_page


def test_the_sheet_is_made_for_a4_and_repeats_the_heads_of_its_tables(page: str) -> None:
    assert "@page { size: A4;" in page
    assert "table-header-group" in page
    assert not re.search(r"https?://(?!www\.w3\.org/)", page)


def test_much_oil_is_told_in_plain_figures(stretched_page: str) -> None:
    cells = [words for table in Sheet(stretched_page).tables for row in table for _, words in row]
    assert "10.8" in cells
    assert not [words for words in cells if re.fullmatch(r"[\d.]+e[+-]\d+", words)]


def test_how_sure_it_is_stands_on_the_sheet_when_asked_for(say, tmp_path: Path) -> None:
    assert say("run", "quince.toml", "--sure", "--report", "sure.html").code == 0
    text = (tmp_path / "sure.html").read_text(encoding="utf-8")
    title = next(head for head in Sheet(text).heads if "sure" in head.lower())
    assert title in say("run", "quince.toml", "--sure").out
