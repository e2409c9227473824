"""What the page's server answers: plans, runs and what is told of them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from page_server import EXAMPLE, Browser, changed

import potsim
from potsim.interfaces.page.answers import place
from potsim.interfaces.page.folder import Folder, plain_name
from potsim.interfaces.planfile import read_plan, write_plan
from potsim.interfaces.readingsfile import entry_of, read_entry_fields
from potsim.planning.journal import Journal

EARLIER = [{"jars": "1", "from_run": EXAMPLE}] * 4


def stepped(*steps: list[str]) -> dict[str, Any]:
    """The example with changes of power."""
    rows = [{"from_collected": over, "power": power} for over, power in steps]
    return changed(still={**EXAMPLE["still"], "power_step": rows})


def stretched(spirit: str, abv: str) -> dict[str, Any]:
    """The example, its keep stretched."""
    return changed(bottling={**EXAMPLE["bottling"], "stretch": {"spirit": spirit, "abv": abv}})


def test_a_run_is_the_one_of_the_command_line(browser: Browser) -> None:
    answer = browser.post("/api/run", {"plan": EXAMPLE})
    assert answer["run"] == json.loads(json.dumps(potsim.distil(potsim.example_plan()).to_dict()))
    assert answer["numbers"]["charge.0.volume"] == {"value": 900, "unit": "mL"}
    assert answer["numbers"]["cuts.stop.stream_abv"] == {"value": 55, "unit": "%"}
    assert answer["ribbons"][0]["botanical"] in {"bay leaf", "juniper", "lemon peel"}
    assert all(max(one["strength"]) == 1.0 for one in answer["ribbons"])
    moving = browser.post("/api/motion", {"plan": EXAMPLE})
    assert {name: moving[name] for name in ("numbers", "ribbons")} == {
        name: answer[name] for name in ("numbers", "ribbons")
    }
    assert lean(answer["run"], moving["run"]) == moving["run"]


def lean(whole: Any, part: Any) -> Any:
    """Of the whole, what the part has."""
    if isinstance(part, dict):
        return {key: lean(whole[key], part[key]) for key in part}
    if isinstance(part, list) and part and isinstance(part[0], dict):
        return [lean(a, b) for a, b in zip(whole, part, strict=True)]
    return whole


def test_power_that_changes_in_mid_run(browser: Browser) -> None:
    constant = browser.post("/api/motion", {"plan": EXAMPLE})["run"]
    answer = browser.post("/api/motion", {"plan": stepped(["300 mL", "500 W"], ["600 mL", "350 W"])})
    assert answer["numbers"]["still.power_step.1.power"] == {"value": 350, "unit": "W"}
    assert answer["numbers"]["still.power_step.0.from_collected"] == {"value": 300, "unit": "mL"}
    assert answer["run"]["stop"]["elapsed_min"] > constant["stop"]["elapsed_min"] + 10.0


def test_a_keep_stretched_with_neutral_spirit(browser: Browser) -> None:
    plan = stretched("250 mL", "96 %")
    answer = browser.post("/api/motion", {"plan": plan})
    assert answer["numbers"]["bottling.stretch.spirit"] == {"value": 250, "unit": "mL"}
    assert answer["run"]["proofing"]["stretch"] == {"spirit_l": 0.25, "abv": 96.0}
    assert answer["run"]["proofing"]["bottles"] == 6
    run = browser.post("/api/runs", {"plan": plan})["name"]
    poured = browser.post(f"/api/runs/{run}/pool", {"jars": [2, 3, 5]})["proofing"]["stretch"]
    assert poured["together_l"] == pytest.approx(0.43, abs=0.002)


def test_other_charges_hold_the_same_alcohol_in_more_or_less_water(browser: Browser) -> None:
    weaker, stronger = browser.post("/api/beside", {"plan": EXAMPLE})
    assert weaker["abv"] < 38.06 < stronger["abv"]
    assert weaker["stream_abv"][0] < stronger["stream_abv"][0]


@pytest.mark.parametrize(
    ("plan", "path", "words"),
    [
        (changed(charge=[{"name": "gin", "volume": "9 cups", "abv": "40 %"}]), "charge.0.volume", "cups"),
        (changed(bottling={"abv": "90 %"}), "bottling.abv", "Water only weakens"),
        (changed(cuts={"stop": {"stream_abv": "90 %"}}), "cuts.stop.stream_abv", "At the first drop"),
        (changed(cuts={"heads": "3 L"}), "cuts.heads", "3 L"),
        (changed(still={"power": "10 W"}), "still.power", "nothing would come over"),
        (changed(botanical=[{"name": "junipre", "mass": "5 g"}]), "botanical.0.name", "junipre"),
        (changed(charge=[]), "", "no charge"),
        (changed(charge=[{"name": "gin", "volume": "1 L"}]), "charge.0.abv", 'Write for example "62 %"'),
        (changed(charge=[{"name": "gin", "volume": "9 L", "abv": "40 %"}]), "", "but the pot holds 4 L"),
        (changed(cuts={"stop": {"vapour_c": "99.9 °C"}}), "cuts.stop", "a stop that comes before that"),
        (changed(cuts={"stop": {}}), "cuts.stop", "take it away"),
        (stepped(["400 mL", "5 W"]), "still.power_step.power", "Give more than 128 W"),
        (stepped(["400 mL", "500"]), "still.power_step.0.power", "no unit"),
        (stepped(["400 mL", "500 W"], ["300 mL", "400 W"]), "still.power_step", "smallest first"),
        (stretched("250 mL", "30 %"), "bottling.stretch.abv", "at least 42 % vol"),
        (stretched("250", "96 %"), "bottling.stretch.spirit", "no unit"),
        (changed(still={"altitude": "60 m", "pressure": "1004 hPa"}), "still.pressure", "Keep one"),
        (changed(charge=[{"name": "x", "volume": "1 L", "abv": "9 %"}] * 41), "", "41 times"),
        ("text", "", "set of tables"),
        ({"charge": [{"jars": "1", "from_run": {"charge": EARLIER}}] * 8}, "", "more than 30 runs"),
    ],
)
def test_a_refusal_says_where(browser: Browser, plan: Any, path: str, words: str) -> None:
    refused = browser.post("/api/run", {"plan": plan})["refused"]
    assert refused["path"] == path
    assert words in f"{refused['message']} {refused['hint']}"
    said = f"{refused['message']} {refused['hint']}"
    assert "plan:" not in said
    assert not re.search(r"\b(still|bottling|cuts)\.[a-z]|[a-z]_[a-z]", said)


def test_places_of_refusals_without_a_path() -> None:
    assert place("The charge takes 10 L.") == ("", "The charge takes 10 L.")


def test_a_plan_is_opened_and_saved(browser: Browser) -> None:
    opened = browser.post("/api/open", {"text": write_plan(potsim.example_plan()), "name": "t.toml"})
    status, headers, body = browser.ask("POST", "/api/save", json.dumps({"plan": opened["plan"]}).encode())
    assert status == 200
    assert headers["content-disposition"] == 'attachment; filename="bench-spirit-trial-1.toml"'
    assert read_plan(body.decode()) == potsim.example_plan()


def test_the_sheet_and_the_numbers(browser: Browser) -> None:
    sent = json.dumps({"plan": EXAMPLE}).encode()
    _, headers, page = browser.ask("POST", "/api/sheet", sent)
    assert headers["content-type"].startswith("text/html")
    assert b"Bench spirit, trial 1" in page
    _, headers, table = browser.ask("POST", "/api/csv", sent)
    assert headers["content-disposition"].endswith('.csv"')
    assert table.decode().splitlines()[0].startswith("collected_l,stream_abv")


@pytest.mark.parametrize("other", ["/etc/passwd", "../trial.toml", "trial.toml"])
def test_an_opened_plan_leads_to_no_file(browser: Browser, other: str) -> None:
    text = f'[[charge]]\nfrom_run = "{other}"\njars = "1"\n'
    assert "refused" in browser.post("/api/open", {"text": text, "name": "t"})
    assert "refused" in browser.post("/api/run", {"plan": {"charge": [{"from_run": other, "jars": "1"}]}})
    assert "refused" in browser.post("/api/run", {"plan": changed(still={"from_file": other})})


@pytest.mark.parametrize(
    "plan",
    [
        {"charge": [{"name": "\ud800", "volume": "1 L", "abv": "40 %"}]},
        {"charge": [[1]], "still": 3},
        {"charge": {"name": 1}},
        changed(jars={"sizes": "99999999999 x 1 mL"}),
        changed(charge=[{"name": "a", "volume": "1e400 L", "abv": "40 %"}]),
        changed(botanical=[{"name": "juniper", "mass": True}]),
        changed(own_compound=[{"name": "x"}]),
    ],
)
def test_odd_plans_are_refused_in_words(browser: Browser, plan: Any) -> None:
    assert browser.post("/api/run", {"plan": plan})["refused"]["message"]


def test_a_run_is_kept_and_told_twice_without_harm(browser: Browser) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]

    def tell(**told: Any) -> Any:
        return browser.post(f"/api/runs/{run}/tell", {"tell": told})

    tell(kind="heat", at="2025-03-01T18:00:00+01:00")
    for _ in range(2):
        state = tell(
            kind="reading", strength="79 %", collected="100 mL", elapsed_min=12.0, **{"read at": "22 °C"}
        )
        state = tell(kind="jar", number=1, word="sharp")
    assert [(r["read_abv"], r["collected_l"], r["elapsed_min"]) for r in state["readings"]] == [
        (79.0, 0.1, 12.0)
    ]
    assert state["jars"] == [{"number": 1, "volume_l": None, "word": "sharp"}]
    line = state["readings"][0]["line"]
    for _ in range(2):
        assert tell(kind="strike", line=line)["readings"] == []
    tell(kind="pool", jars=[3, 2])
    tell(kind="verdict", botanical="juniper", verdict="a touch more", words="thin")
    tell(kind="note", words="window open")
    state = browser.get(f"/api/runs/{run}")
    assert state["heat_on"] == "2025-03-01T18:00:00+01:00"
    assert state["pooled"] == [2, 3]
    assert state["verdicts"] == {"juniper": {"verdict": "a touch more", "words": "thin"}}
    assert [note["words"] for note in state["notes"]] == ["window open"]
    assert run in [kept["name"] for kept in browser.get("/api/runs")["runs"]]
    following = browser.post(f"/api/runs/{run}/next", {})
    assert following["changes"][0]["after"] == "16.8 g"
    assert following["plan"]["title"] == "Bench spirit, trial 2"
    assert "run" in browser.post("/api/run", {"plan": following["plan"]})


@pytest.mark.parametrize(
    "told",
    [
        None,
        {"kind": "dance"},
        {"kind": "reading"},
        {"kind": "reading", "strength": "99.9 %", "elapsed_min": 10},
        {"kind": "reading", "strength": "71", "elapsed_min": 10},
        {"kind": "reading", "strength": {"a": 1}, "elapsed_min": 10},
        {"kind": "jar", "number": "x"},
        {"kind": "jar", "number": 10**9},
        {"kind": "heat", "at": "noon"},
        {"kind": "pool", "jars": []},
        {"kind": "pool", "jars": ["1"]},
        {"kind": "verdict", "botanical": "juniper", "verdict": "yes"},
        {"kind": "note", "words": "x" * 501},
        {"kind": "note", "words": "jars pooled: -"},
        {"kind": "reading", "of": "parrot 60 mL"},
        {"kind": "reading", "strength": "71 %", "of": "parrot 600 L"},
        {"kind": "reading", "strength": "71 %", "of": "jar"},
        {"kind": "hold_up", "volume": "20"},
    ],
)
def test_what_cannot_be_told(browser: Browser, told: Any) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]
    assert browser.post(f"/api/runs/{run}/tell", {"tell": told})["refused"]["message"]
    assert browser.get(f"/api/runs/{run}")["readings"] == []


def test_readings_are_those_of_the_command_line(browser: Browser) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]

    def read(**told: Any) -> Any:
        return browser.post(f"/api/runs/{run}/tell", {"tell": {"kind": "reading", **told}})["readings"][-1]

    found = read(strength="79 %", of="parrot 60 mL", collected="100 mL", elapsed_min=12)
    assert (found["of"], found["parrot_l"]) == ("parrot", 0.06)
    assert read(strength="78 %", of="parrot", elapsed_min=13)["parrot_l"] == 0.06
    found = read(strength="79 %", of="jar", **{"jar volume": "60 mL"}, elapsed_min=15)
    assert (found["from_l"], found["collected_l"], found["parrot_l"]) == (0.1, 0.16, None)
    assert read(power="650 W", elapsed_min=16)["power_w"] == 650
    found = read(mass="150 g", time="17 min", elapsed_min=25)
    assert (found["mass_g"], found["elapsed_min"]) == (150, 17)
    typed = ("12 min, 100 mL, parrot 60 mL 79 %", "13 min, parrot 78 %", "15 min, jar 60 mL 79 %")
    typed += ("16 min, power 650 W", "17 min, 150 g")
    kept = Journal.read(browser.here.data / f"{run}.jsonl", pressure_pa=101325.0).readings
    assert [reading.entry for reading in kept] == [entry_of(read_entry_fields(line)) for line in typed]


def test_what_the_condenser_holds_back(browser: Browser) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]

    def told(**event: Any) -> Any:
        return browser.post(f"/api/runs/{run}/tell", {"tell": event})

    told(kind="reading", strength="78 %", collected="60 mL", elapsed_min=11)
    free = browser.get(f"/api/runs/{run}/forecast")
    assert told(kind="hold_up", volume="90 mL")["hold_up"] == "90 mL"
    held = browser.get(f"/api/runs/{run}/forecast")
    assert held["trouble"] == ""
    assert held["track"]["stream_abv"][0] < free["track"]["stream_abv"][0]
    told(kind="hold_up", volume="9 L")
    assert "a seventh of the charge" in browser.get(f"/api/runs/{run}/forecast")["trouble"]
    state = told(kind="hold_up", volume="")
    assert state["hold_up"] == ""
    assert state["notes"] == []
    again = browser.get(f"/api/runs/{run}/forecast")
    assert again["track"]["stream_abv"][0] == pytest.approx(free["track"]["stream_abv"][0], abs=0.01)


def test_pooling_is_that_of_the_plan(browser: Browser) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]
    poured = browser.post(f"/api/runs/{run}/pool", {"jars": [2, 3, 5]})
    made = potsim.distil(
        read_plan(write_plan(potsim.example_plan()).replace("[jars]", '[jars]\nkeep = "2,3,5"'))
    )
    assert poured["keep"]["volume_l"] == made.keep.volume_l
    assert poured["proofing"]["water_l"] == made.proofing.water_l
    assert "refused" in browser.post(f"/api/runs/{run}/pool", {"jars": [99]})


@pytest.mark.parametrize("name", ["..%2f..%2fetc", "no-such-run", "A", "%00", "x" * 80])
def test_names_of_runs_lead_nowhere_else(browser: Browser, name: str) -> None:
    status, _, body = browser.ask("GET", f"/api/runs/{name}")
    assert status == 404 or "refused" in json.loads(body)


def test_the_folder_makes_its_own_names(tmp_path: Path) -> None:
    assert plain_name("../../etc/passwd") == "etc-passwd"
    assert plain_name("日本") == "run"
    folder = Folder(tmp_path / "new" / "runs")
    plan = potsim.example_plan()
    first, second = folder.begin(plan), folder.begin(plan)
    assert second == f"{first}-2"
    (folder.root / "stray.jsonl").write_text("not a journal\n", encoding="utf-8")
    (folder.root / "link.jsonl").symlink_to(folder.root / f"{first}.jsonl")
    assert {kept.name for kept in folder.kept()} == {first, second}
    with pytest.raises(potsim.PotsimError, match="cannot be a folder"):
        Folder(folder.root / "stray.jsonl")
