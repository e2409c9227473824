"""The commands: what they print and write, and that a person can read it."""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from refusals import refused

import potsim
from potsim.interfaces import evidence, output
from potsim.interfaces.commands import ask
from potsim.interfaces.evidence import modules
from potsim.interfaces.report.run import curve_places
from potsim.interfaces.report.words import words
from potsim.planning.stops import QUANTITIES

KEPT_EVIDENCE = Path(__file__).parent / "EVIDENCE.md"
P = ("1 L", "72 %", "42 %")
WATER = '[[charge]]\nname = "water"\nvolume = "300 L"\n[still]\nheat_up_power = "9 kW"\n'
ODD = """
title = "Ünüsüal – a title that goes on and on, well past the point at which a line of a terminal must end"
[[charge]]
name = "a spirit whose name alone would fill most of a line in any terminal there ever was, or so"
volume = "40 L"
abv = "96 %"
[[botanical]]
name = "lemon peel"
pieces = 40
[bottling]
abv = "42 %"
steps = 4
bottle = "700 mL"
"""


# --- run.


def test_run_says_that_it_is_the_example_on_standard_error(say) -> None:
    said = say("run", "--full")
    assert said.code == 0
    assert "built-in example" in said.err
    assert "built-in example" not in said.out
    assert "built-in" not in say("run", "quince.toml").err


@pytest.mark.parametrize("text", ["", WATER, ODD], ids=["plan", "water", "odd"])
def test_the_report_of_a_run_fits_80_columns(say, quince: str, tmp_path: Path, text: str) -> None:
    text = text or quince
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    said = say("run", "odd.toml", "--full")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert all(line == line.rstrip() for line in said.out.splitlines())
    heads = [line for line in said.out.splitlines() if line and not line.startswith(" ")]
    assert ("Flavours" in heads) == ("[[botanical]]" in text)
    for head in ("What goes in", "What is assumed", "How it runs", "Where it stops"):
        assert head in heads
    for head in ("Cuts", "Jars", "Keep"):
        assert (head in heads) == ("abv" in text)
    assert ("Nothing to keep" in heads) == ("abv" not in text)
    assert heads[-1] == "Take care"
    assert ("Proofing" in heads) == ("[bottling]" in text)
    assert not re.search(r"\b(nan|inf|None)\b", said.out)


def test_the_report_tells_the_run(say, example_run: potsim.Run) -> None:
    text = say("run", "--full").out
    assert text.startswith("Bench spirit, trial 1\n  2.38 L at 38.1 % vol in the pot give 1.04 L of keep")
    assert "stop" in text
    assert "The stream has fallen to 55 % vol." in text
    assert f"First drop {example_run.first_drop_min:.0f} min after switch-on" in text
    last = f"{1000 * example_run.stop.collected_l:.0f}    {example_run.stop.stream_abv:.1f}"
    assert last in text
    for note in example_run.heed:
        assert (words(note)[:40] if note.kind != "heads_take" else f"{note.subject} ") in text


def test_the_curve_is_told_at_round_volumes_from_first_drop_to_stop() -> None:
    for end in (0.0123, 0.5, 1.0741, 3.0, 999.0):
        places = curve_places(end)
        assert places[0] == 0.0
        assert places[-1] == end
        assert 7 <= len(places) <= 13
        assert all(b > a for a, b in itertools.pairwise(places))
    assert curve_places(1.0741)[1:-1] == pytest.approx([0.1 * k for k in range(1, 11)])


def test_json_holds_what_programs_rely_on(say, example_run: potsim.Run) -> None:
    data = json.loads(say("run", "--json").out)
    keys = {
        "": "potsim title charge first_drop_min curve stop jars keep proofing cautions",
        "charge": "volume_l abv ethanol_l boiling_c",
        "curve": "collected_l stream_abv pot_abv mean_abv recovered pot_l pot_c vapour_c elapsed_min",
        "stop": "reason collected_l stream_abv pot_abv recovered elapsed_min",
        "keep": "volume_l abv ethanol_l",
        "proofing": "target_abv water_l volume_l bottles",
    }
    for where, names in keys.items():
        assert set(names.split()) <= set(data[where] if where else data)
    assert data["potsim"] == potsim.__version__
    assert {"number", "size_l", "volume_l", "from_l", "to_l", "abv", "role"} <= set(data["jars"][0])
    lengths = {len(values) for values in data["curve"].values()}
    assert lengths == {example_run.collected_l.size}
    assert data["curve"]["elapsed_min"][0] == pytest.approx(data["first_drop_min"])
    assert data["curve"]["collected_l"][-1] == pytest.approx(data["stop"]["collected_l"])
    assert data == example_run.to_dict()


def test_csv_reads_back_as_the_very_arrays(say, tmp_path: Path, example_run: potsim.Run) -> None:
    assert say("run", "--csv", "a.csv").err.endswith("Written: a.csv\n")
    raw = (tmp_path / "a.csv").read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == example_run.collected_l.size + 1
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))
    assert tuple(rows[0]) == QUANTITIES
    for k, name in enumerate(QUANTITIES):
        column = np.array([float(row[k]) for row in rows[1:]])
        np.testing.assert_array_equal(column, getattr(example_run, name))


@pytest.mark.parametrize(
    ("name", "start"), [("a.svg", b"<?xml"), ("A.PNG", b"\x89PNG"), ("folder/a.pdf", b"%PDF")]
)
def test_plot_writes_the_kind_of_picture_that_the_suffix_names(
    say, tmp_path: Path, name: str, start: bytes
) -> None:
    assert say("run", "quince.toml", "--plot", name).code == 0
    assert (tmp_path / name).read_bytes().startswith(start)


class Page(HTMLParser):
    """Collects text and tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words: list[str] = []
        self.links: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for key, value in attrs if key in {"src", "href", "xlink:href"}]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_page_of_a_run_needs_nothing_else_and_escapes_names(say, quince: str, tmp_path: Path) -> None:
    text = quince.replace("Quince, second trial", "<script>x</script> & co")
    (tmp_path / "quince.toml").write_text(text, encoding="utf-8")
    assert say("run", "quince.toml", "--report", "a.html").code == 0
    content = (tmp_path / "a.html").read_text(encoding="utf-8")
    page = Page(content)
    assert "script" not in page.tags
    assert "<script>x</script> & co" in page.words
    assert page.tags.count("svg") == 1
    assert page.tags.count("table") >= 3
    assert all(link.startswith("#") for link in page.links)
    assert "@import" not in content
    assert "The stream has fallen to 40 % vol." in page.words


def test_files_come_out_the_same_whenever_they_are_written(say, tmp_path: Path) -> None:
    for name in ("a", "b"):
        assert say("run", "--plot", f"{name}.svg", "--report", f"{name}.html").code == 0
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_force_replaces_and_follows_links(say, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("old", encoding="utf-8")
    (tmp_path / "a.csv").chmod(0o640)
    (tmp_path / "link.csv").symlink_to(tmp_path / "a.csv")
    assert say("run", "--csv", "link.csv").code == 2
    assert say("run", "--csv", "link.csv", "--force").code == 0
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "a.csv").read_text(encoding="utf-8").startswith("collected_l")
    assert (tmp_path / "a.csv").stat().st_mode & 0o777 == 0o640


def test_a_file_that_has_come_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    checked = output.target(str(tmp_path / "a.txt"))
    checked.path.write_text("someone else's", encoding="utf-8")
    with refused("file_there", error=potsim.PotsimError):
        output.write_all([(checked, "mine")])
    assert checked.path.read_text(encoding="utf-8") == "someone else's"


def test_a_file_is_written_as_any_new_file(tmp_path: Path) -> None:
    name = str(tmp_path / "a.txt")
    output.write_all([(output.target(name), "Grüße\r\n")])
    assert (tmp_path / "a.txt").read_bytes() == "Grüße\r\n".encode()
    (tmp_path / "usual").touch()
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "usual").stat().st_mode
    with refused("file_there", error=potsim.PotsimError):
        output.target(name)
    output.write_all([(output.target(name, force=True), b"")])
    assert (tmp_path / "a.txt").read_bytes() == b""


# --- The other commands.


def test_jars_of_the_command_line_take_the_place_of_the_plans(say) -> None:
    said = say("jars", "quince.toml", "--sizes", "3 x 250 mL", "1 L", "--keep", "2,3", "--json")
    data = json.loads(said.out)
    assert {jar["size_l"] for jar in data["jars"]} <= {0.25, 1.0}
    assert data["keep"]["jars"] == [2, 3]
    assert len(data["changes"]) == len(data["jars"])


def test_jars_kept_by_the_plan_do_not_count_for_other_jars(say) -> None:
    assert json.loads(say("jars", "quince.toml", "--json").out)["keep"]["jars"] == [2, 3, 4, 5]
    said = say("jars", "quince.toml", "--sizes", "50 mL", "--json")
    assert "jars.keep counts other jars" in said.err
    roles = {jar["number"]: jar["role"] for jar in json.loads(said.out)["jars"]}
    assert json.loads(said.out)["keep"]["jars"] == [n for n, role in roles.items() if role == "keep"]


def test_jars_tell_what_one_more_or_less_would_change(say) -> None:
    said = say("jars", "quince.toml")
    assert "One jar more or less" in said.out
    assert re.search(r"\n +1 +added +\d+ +\d+\.\d +[+-]\d", said.out)
    assert re.search(r"\n +2 +dropped", said.out)
    assert "left out" in said.out
    assert max(map(len, said.out.splitlines())) <= 80


def test_flavours_tell_botanicals_compounds_jars_and_cloud(say) -> None:
    text = say("flavours").out
    for name in ("juniper", "bay leaf (basket)", "Fennel seed", "linalool: floral", "clear from", "Cloud"):
        assert name in text
    assert max(map(len, text.splitlines())) <= 80
    data = json.loads(say("flavours", "--json").out)
    keys = {"botanical", "class", "gives_up", "left_in_plant", "noticed", "compounds"}
    assert keys <= set(data["flavours"][0])
    assert len(data["flavours"]) == 7
    assert all(jar["leads"] and jar["marks"] for jar in data["jars"])
    for flavour in data["flavours"]:
        assert f"\n{flavour['botanical'].capitalize()}" in text


def test_flavours_of_a_base_spirit_alone_tell_what_the_heads_take(say, quince: str, tmp_path: Path) -> None:
    assert "has no botanicals" in say("flavours", "quince.toml").out
    (tmp_path / "kind.toml").write_text(quince.replace('"55 %"\n', '"55 %"\nkind = "fruit"\n', 1))
    said = say("flavours", "kind.toml")
    assert "take" in said.out
    assert re.search(r"ethyl acetate +early +[\d.]+ +[\d.]+ +[\d.]+ +[\d.]+ +\d+\n", said.out)
    assert max(map(len, said.out.splitlines())) <= 80


def test_proof_reads_volume_and_strength_at_the_temperature_named(say) -> None:
    from potsim.planning.proofing import from_gauged, gauge

    data = json.loads(say("proof", "1 L", "60 %", "42 %", "--at", "25 °C", "--json").out)
    made = from_gauged(gauge(60.0, at_c=25.0, volume_at_c_l=1.0), 42.0)
    assert data["from_abv"] == made.from_abv == pytest.approx(58.24, abs=0.01)
    assert data["water_l"] == made.water_l


def test_proof_in_steps_and_bottles(say) -> None:
    said = say("proof", "850 mL", "73.5 %", "43 %", "--at", "17 °C", "--steps", "3", "--bottle", "350 mL")
    assert said.code == 0
    assert "4 of 350 mL, and 76 mL left over" in said.out
    assert re.search(r"\n +3 +296\.\d +29\d +43\.0 +41\.8\n", said.out)
    assert max(map(len, said.out.splitlines())) <= 80


def test_proof_to_the_strength_there_is_needs_no_water(say) -> None:
    assert json.loads(say("proof", "1 L", "42 %", "42 %", "--json").out)["water_l"] == 0.0


def test_every_name_that_a_proofing_refuses_by_is_a_name_that_was_typed() -> None:
    assert set(ask.PROOFED.values()) == {
        *("VOLUME", "ABV", "TARGET", "--at", "--hydrometer", "--steps", "--bottle")
    }


def test_blend_adds_alcohol_but_not_volumes(say) -> None:
    data = json.loads(say("blend", "300 mL @ 72 %", "200mL@45%", "--to", "40 %", "--json").out)
    assert data["ethanol_l"] == pytest.approx(0.300 * 0.72 + 0.200 * 0.45, rel=1e-9)
    assert data["volume_l"] == pytest.approx(0.5 - data["contraction_l"])
    assert data["contraction_l"] > 0.0
    assert data["diluted_l"] * data["diluted_abv"] / 100 == pytest.approx(data["ethanol_l"], rel=1e-9)
    text = say("blend", "300 mL @ 72 %", "200mL@45%", "--to", "40 %").out
    assert "499 mL at 61.3 % vol" in text
    assert "Proofing" in text


def test_new_writes_a_plan_that_runs(say, tmp_path: Path) -> None:
    said = say("new", "mine.toml")
    assert said.code == 0
    assert said.out == ""
    assert "potsim run mine.toml" in said.err
    assert say("run", "mine.toml").code == 0
    (tmp_path / "mine.toml").write_text("spoilt", encoding="utf-8")
    assert say("new", "mine.toml", "--force").code == 0
    assert say("run", "mine.toml", "--json").code == 0


def test_botanicals_lists_all_and_tells_one_with_its_sources(say) -> None:
    from potsim.planning.botanicals import library

    listed = say("botanicals").out
    assert f"{len(library())} botanicals" in listed
    assert len(json.loads(say("botanicals", "--json").out)) == len(library())
    told = say("botanicals", "Juniperus communis").out
    for part in ("alpha-pinene", "8 to 25 g dried for a litre of charge", "savin", "Sources", "from memory"):
        assert part in told
    assert max(map(len, (listed + told).splitlines())) <= 80
    assert json.loads(say("botanicals", "juniper", "--json").out)["latin_names"] == ["Juniperus communis"]


@pytest.mark.parametrize("name", ["aniseed", "wormwood", "tonka bean", "fresh ginger"])
def test_every_caution_of_a_botanical_is_told(say, name: str) -> None:
    from potsim.planning.botanicals import find

    told = " ".join(say("botanicals", name).out.split())
    for caution in find(name).cautions:
        assert " ".join(caution.text.split()) in told
        assert " ".join(caution.source.split()) in told


# --- evidence.


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]


def alike(kept: str, printed: str) -> bool:
    """Equal, but for the last digits of numbers, which differ between machines."""
    number = r"[+-]?\d+\.?\d*(?:[eE][+-]?\d+)?"
    if re.sub(number, "#", kept) != re.sub(number, "#", printed):
        return False
    pairs = zip(re.findall(number, kept), re.findall(number, printed), strict=True)
    return all(
        abs(float(a) - float(b)) <= 0.02 * abs(float(a)) + 0.011 * (abs(float(a)) >= 1) for a, b in pairs
    )


def test_the_evidence_kept_in_the_repository_is_what_the_command_prints(say) -> None:
    kept = KEPT_EVIDENCE.read_text(encoding="utf-8").splitlines()
    printed = say("evidence", "--markdown").out.splitlines()
    renew = "renew it: potsim evidence --markdown > tests/EVIDENCE.md"
    assert len(kept) == len(printed), renew
    for there, here in zip(kept, printed, strict=True):
        assert len(cells(there)) == len(cells(here)), renew
        assert alike(there, here), f"{renew}\n{there}\n{here}"


@pytest.mark.parametrize("watched", [False, True])
def test_evidence_says_to_a_person_that_it_computes_before_it_does(
    watched: bool, say, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    there: list[int] = []
    monkeypatch.setattr(output, "watched", lambda: watched)
    monkeypatch.setattr(output, "words", told.append)
    monkeypatch.setattr(evidence, "everything", lambda: there.append(len(told)) or ())
    say("evidence", "--json")
    assert there == [int(watched)]


def test_evidence_tells_every_module_and_every_miss(say) -> None:
    data = json.loads(say("evidence", "--json").out)
    assert {row["module"] for row in data} == set(modules())
    assert {"liquid", "still", "traces", "clouding", "flavours"} == set(modules())
    text = say("evidence").out
    assert max(map(len, text.splitlines())) <= 80
    missed = [row["subject"] for row in data if not row["holds"]]
    assert text.count("  NO\n") == len(missed)
    said = " ".join(text.split())
    assert f"{len(data) - len(missed)} of {len(data)} comparisons hold" in said
    assert all(subject in said for subject in missed)
    for row in data:
        assert len(row["published"]) == len(row["computed"]) == row["n"]
