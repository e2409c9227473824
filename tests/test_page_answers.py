"""What the page answers: the numbers of the command line, refusals with their place, a plain folder."""

from __future__ import annotations

import asyncio
import gzip
import http.client
import itertools
import json
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from page_server import EXAMPLE, Browser, changed, served

import potsim
from potsim.interfaces.page.shelf import Shelf, merged, plain_name
from potsim.interfaces.page.workers import (
    BudgetError,
    FaultError,
    Lane,
    SupersededError,
    TooBusyError,
    Workers,
)
from potsim.interfaces.planfile import read_plan, write_plan

EARLIER = [{"jars": "1", "from_run": EXAMPLE}] * 4
BUDGET_BYTES = 8 * 1024  # of one step over the wire


def stepped(*steps: list[str]) -> dict[str, Any]:
    """The example with changes of power."""
    rows = [{"from_collected": over, "power": power} for over, power in steps]
    return changed(still={**EXAMPLE["still"], "power_step": rows})


def stretched(spirit: str, abv: str) -> dict[str, Any]:
    """The example, its keep stretched."""
    return changed(bottling={**EXAMPLE["bottling"], "stretch": {"spirit": spirit, "abv": abv}})


def test_the_answer_is_that_of_the_command_line(browser: Browser) -> None:
    found = browser.post("/api/answer", {"plan": EXAMPLE})
    run = potsim.distil(potsim.example_plan()).to_dict()
    answer, made = found["answer"], run["proofing"]
    assert answer["keep_l"] == pytest.approx(run["keep"]["volume_l"], rel=1e-5)
    assert answer["keep_abv"] == pytest.approx(run["keep"]["abv"], rel=1e-5)
    assert answer["water_g"] == pytest.approx(1000.0 * made["water_kg"], rel=1e-5)
    assert answer["bottles"] == made["bottles"]
    assert answer["left_over_l"] == pytest.approx(made["left_over_l"], rel=1e-5)
    assert answer["stop_min"] == pytest.approx(run["stop"]["elapsed_min"], rel=1e-5)
    assert answer["first_drop_min"] == pytest.approx(run["first_drop_min"], rel=1e-5)
    for shown, jar in zip(found["strip"]["jars"], run["jars"], strict=True):
        for name in ("role", "size_l"):
            assert shown[name] == jar[name]
        for name in ("from_l", "to_l", "volume_l"):
            assert shown[name] == pytest.approx(jar[name], abs=1e-5)
        assert shown["abv"] == pytest.approx(jar["abv"], abs=0.005)
        assert shown["full_min"] == pytest.approx(jar["full_min"], abs=5e-4)
    curve = found["strip"]["curve"]
    assert (curve["l"][0], curve["l"][-1]) == (0.0, pytest.approx(run["stop"]["collected_l"], abs=1e-4))
    assert curve["abv"][-1] == pytest.approx(run["stop"]["stream_abv"], abs=0.005)
    assert found["grips"]["stop"] == {
        "path": "cuts.stop.stream_abv",
        "key": "stream_abv",
        "value": 55.0,
        "l": answer["stop_l"],
    }
    assert found["why"]["edge"] is False
    assert [dose["row"] for dose in found["doses"]] == list(range(len(EXAMPLE["botanical"])))


def test_a_run_that_stops_for_another_reason_says_so(browser: Browser) -> None:
    still = {**EXAMPLE["still"], "min_level": "1.6 L"}
    found = browser.post("/api/answer", {"plan": changed(still=still)})
    assert found["why"]["edge"] is True


def test_a_step_is_small_over_the_wire(browser: Browser) -> None:
    line = http.client.HTTPConnection("127.0.0.1", browser.here.port, timeout=60)
    headers = {
        "Host": f"127.0.0.1:{browser.here.port}",
        "Origin": browser.here.address,
        "Cookie": browser.cookie,
        "X-Potsim-Token": browser.token,
        "Content-Type": "application/json",
        "Accept-Encoding": "gzip",
    }
    line.request("POST", "/api/answer", json.dumps({"plan": EXAMPLE}), headers)
    answer = line.getresponse()
    content = answer.read()
    line.close()
    assert answer.headers["content-encoding"] == "gzip"
    assert json.loads(gzip.decompress(content))["answer"]["bottles"] == 5
    assert len(content) < BUDGET_BYTES


def test_sentences_come_in_the_units_of_the_device(browser: Browser) -> None:
    plan = changed(bottling={"abv": "42 %", "bottle": "350 mL"})
    told = {units: browser.post("/api/answer", {"plan": plan, "units": units}) for units in ("metric", "us")}
    assert "proof" in told["us"]["why"]["text"]
    assert "proof" not in told["metric"]["why"]["text"]
    assert told["us"]["answer"] == told["metric"]["answer"]


def test_two_rows_of_one_name_are_two_rows(browser: Browser) -> None:
    rows = [{"name": "juniper", "mass": "10 g"}, {"name": "juniper", "mass": "4 g", "where": "basket"}]
    doses = browser.post("/api/answer", {"plan": changed(botanical=rows)})["doses"]
    assert [(dose["row"], dose["g"]) for dose in doses] == [(0, 10.0), (1, 4.0)]


def test_lanes_stand_on_one_scale_and_lead_in_turn(browser: Browser) -> None:
    lanes = browser.post("/api/answer", {"plan": EXAMPLE})["lanes"]
    assert max(max(group["thick"]) for group in lanes["groups"]) == 1.0
    assert len(lanes["groups"]) <= 6
    ends = [(one["from_l"], one["to_l"]) for one in lanes["leads"]]
    assert all(begin < end for begin, end in ends)
    assert all(one[1] == pytest.approx(other[0]) for one, other in itertools.pairwise(ends))
    assert browser.post("/api/answer", {"plan": changed(botanical=[])})["lanes"]["groups"] == []


def test_ghosts_hold_the_same_alcohol_in_more_or_less_water(browser: Browser) -> None:
    weaker, stronger = browser.post("/api/beside", {"plan": EXAMPLE})
    assert weaker["abv"] < 38.06 < stronger["abv"]
    assert weaker["curve"]["abv"][0] < stronger["curve"]["abv"][0]


def test_how_sure_and_for_how_many(browser: Browser) -> None:
    sure = browser.post("/api/sure", {"plan": EXAMPLE})
    run = potsim.distil(potsim.example_plan())
    assert sure["keep_l"]["low"] < run.keep.volume_l < sure["keep_l"]["high"]
    assert len(sure["band"]["l"]) == len(sure["band"]["low"]) == len(sure["band"]["high"])
    found = browser.post("/api/reach", {"plan": EXAMPLE, "bottles": 6})
    assert browser.post("/api/answer", {"plan": found["plan"]})["answer"]["bottles"] == 6
    assert "refused" in browser.post("/api/reach", {"plan": EXAMPLE, "bottles": "six"})


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (changed(charge=[{"name": "gin", "volume": "9 cups", "abv": "40 %"}]), "cups"),
        (changed(bottling={"abv": "90 %"}), "Water only weakens"),
        (changed(cuts={"stop": {"stream_abv": "90 %"}}), "90"),
        (changed(cuts={"heads": "3 L"}), "3 L"),
        (changed(still={"power": "10 W"}), "10 W"),
        (changed(botanical=[{"name": "junipre", "mass": "5 g"}]), "junipre"),
        (changed(charge=[]), "no charge"),
        (changed(charge=[{"name": "gin", "volume": "9 L", "abv": "40 %"}]), "4 L"),
        (stepped(["400 mL", "500"]), "no unit"),
        (stretched("250 mL", "30 %"), "at least 42 % vol"),
        (stepped(*([f"{k + 1} mL", "500 W"] for k in range(4000))), "4000 rows"),
        (changed(charge=[{"name": "x", "volume": "1 L", "abv": "9 %"}] * 101), "101 rows"),
        ("text", "set of tables"),
        ({"charge": [{"jars": "1", "from_run": {"charge": EARLIER}}] * 8}, "more than 30 runs"),
        ({"charge": [{"name": "\ud800", "volume": "1 L", "abv": "40 %"}]}, ""),
        ({"charge": [[1]], "still": 3}, ""),
        ({"charge": {"name": 1}}, ""),
        (changed(jars={"sizes": "99999999999 x 1 mL"}), ""),
        (changed(charge=[{"name": "a", "volume": "1e400 L", "abv": "40 %"}]), ""),
        (changed(botanical=[{"name": "juniper", "mass": True}]), ""),
        (changed(own_compound=[{"name": "x"}]), ""),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_words(browser: Browser, plan: Any, words: str) -> None:
    refused = browser.post("/api/answer", {"plan": plan})["refused"]
    assert refused["message"]
    assert words in f"{refused['message']} {refused['hint']}"
    assert not re.search(r"\b(still|bottling|cuts)\.[a-z]|\[\[", refused["message"])


def test_a_calculation_beyond_its_budget_is_stopped_and_the_next_is_served(tmp_path: Path) -> None:
    lanes = (Lane("plan", 20.0), Lane("run", 20.0))
    with served(tmp_path, workers=Workers("page_tasks", lanes)) as here:
        browser = Browser(here).open()
        refused = browser.post("/api/answer", {"plan": EXAMPLE})["refused"]
        assert "more time or memory" in refused["message"]
        assert browser.get("/api/shelf") == {"root": str(tmp_path)}


@pytest.mark.parametrize(
    ("plan", "path", "message"),
    [
        (changed(bottling={"abv": "90 %"}), "bottling.abv", "strength"),
        (changed(charge=[{"name": "gin", "volume": "9 cups", "abv": "40 %"}]), "charge.0.volume", "9 cups"),
        (changed(botanical=[{"name": "junipre", "mass": "5 g"}]), "botanical.0.name", "junipre"),
        (stepped(["400 mL", "500"]), "still.power_step.0.power", "unit"),
        (stretched("250 mL", "30 %"), "bottling.stretch.abv", "42 % vol"),
        (changed(charge=[{"name": "gin", "abv": "40 %"}]), "charge.0.volume", ""),
    ],
)
def test_a_refusal_says_where(browser: Browser, plan: Any, path: str, message: str) -> None:
    refused = browser.post("/api/answer", {"plan": plan})["refused"]
    assert refused["path"] == path
    assert message in refused["message"]


def ask(workers: Workers, *tasks: str) -> list[Any]:
    """What becomes of some tasks, one after the other."""

    async def asked() -> list[Any]:
        found: list[Any] = []
        for task in tasks:
            try:
                found.append((await workers.ask("plan", task, {"x": 1}, "me")).data)
            except (BudgetError, FaultError) as error:
                found.append(type(error))
        return found

    return asyncio.run(asked())


def test_time_memory_and_faults_end_a_calculation_and_nothing_else() -> None:
    workers = Workers("page_tasks", (Lane("plan", 1.0),))
    try:
        found = ask(
            workers, "echo", "loops", "echo", "eats", "echo", "dies", "echo", "fails", "refuses", "echo"
        )
    finally:
        workers.close()
    said = {"x": 1}
    assert found[:4] == [said, BudgetError, said, BudgetError]
    assert found[4:8] == [said, BudgetError, said, FaultError]
    assert found[8]["refused"]["message"] == "There is no charge."
    assert found[9] == said


def test_a_process_starts_with_half_the_memory() -> None:
    """What draws and fits is loaded only by whoever asks for it."""
    code = "import sys, potsim.interfaces.page.runs; print({'scipy', 'matplotlib'} & set(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"


def test_a_process_that_is_rarely_needed_gives_back_its_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("potsim.interfaces.page.workers.REST_S", 0.05)
    workers = Workers("page_tasks", (Lane("study", 2.0, soon=False),))

    async def work() -> None:
        assert (await workers.ask("study", "echo", {"x": 1})).data == {"x": 1}
        held = workers._processes["study"]
        until = time.monotonic() + 20.0
        while held.process is not None and time.monotonic() < until:
            await asyncio.sleep(0.02)
        assert held.process is None
        assert (await workers.ask("study", "echo", {"x": 2})).data == {"x": 2}

    try:
        asyncio.run(work())
    finally:
        workers.close()


def test_the_newest_request_takes_the_place_of_one_that_waits() -> None:
    workers = Workers("page_tasks", (Lane("plan", 5.0),))

    async def asked() -> list[Any]:
        sent = [workers.ask("plan", "slow", {"x": k}, "me", "grip") for k in range(3)]
        return await asyncio.gather(*sent, return_exceptions=True)

    async def crowded() -> list[Any]:
        sent = [workers.ask("plan", "slow", {"x": k}, "me") for k in range(6)]
        return await asyncio.gather(*sent, return_exceptions=True)

    try:
        found = asyncio.run(asked())
        assert [type(one) for one in found[:2]].count(SupersededError) >= 1
        assert found[2].data == {"x": 2}
        assert [type(one) for one in asyncio.run(crowded())].count(TooBusyError) == 2
    finally:
        workers.close()


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


@pytest.mark.parametrize("other", ["/etc/passwd", "../trial.toml", "trial.toml", ".page-key", "a\\b.toml"])
def test_a_plan_leads_to_no_other_file(browser: Browser, other: str) -> None:
    text = f"[[charge]]\nfrom_run = '{other}'\njars = \"1\"\n"
    assert "refused" in browser.post("/api/open", {"text": text, "name": "t"})
    assert "refused" in browser.post("/api/answer", {"plan": {"charge": [{"from_run": other, "jars": "1"}]}})
    assert "refused" in browser.post("/api/answer", {"plan": changed(still={"from_file": other})})
    earlier = {**EXAMPLE, "still": {"from_file": other}}
    inner = {"charge": [{"from_run": earlier, "jars": "1"}, {"name": "gin", "volume": "1 L", "abv": "40 %"}]}
    refused = browser.post("/api/answer", {"plan": inner})["refused"]
    assert "root:" not in json.dumps(refused)


def test_classes_move_with_the_strength_of_the_charge_only(browser: Browser) -> None:
    found = browser.get("/api/classes?abv=40")
    library = {one["name"] for one in browser.get("/api/start")["library"]}
    assert set(found["classes"]) == library
    assert set(found["classes"].values()) <= {"early", "middle", "late", "stays"}
    assert found["classes"]["lemon peel"] == "early"
    assert "refused" in browser.get("/api/classes?abv=100")


# The shelf --------------------------------------------------------------------------------------------------


def test_a_plan_is_kept_as_it_was_typed(browser: Browser) -> None:
    plan = changed(title="Kept, trial 1", charge=[{"name": "cider spirit", "volume": "0.9 L", "abv": "62%"}])
    name = browser.post("/api/plans", {"plan": plan, "thing": "kept-1"})["id"]
    assert browser.post("/api/plans", {"plan": plan, "thing": "kept-1"})["id"] == name
    assert browser.get(f"/api/plans/{name}")["plan"] == plan
    path = browser.here.data / f"{name}.toml"
    path.write_text(f"# by hand\n{path.read_text(encoding='utf-8')}", encoding="utf-8")
    plan["charge"][0]["volume"] = "2 pints"  # cannot be read, and is kept all the same
    del plan["jars"]
    plan["botanical"] = plan["botanical"][:2]
    browser.post(f"/api/plans/{name}", {"plan": plan})
    assert browser.get(f"/api/plans/{name}")["plan"] == plan
    assert path.read_text(encoding="utf-8").startswith("# by hand\n")
    (kept,) = [one for one in browser.get("/api/shelf")["plans"] if one["id"] == name]
    assert kept["title"] == "Kept, trial 1"
    assert "pints" in kept["refused"]["message"]
    browser.post(f"/api/plans/{name}/rename", {"title": "Called otherwise"})
    assert browser.get(f"/api/plans/{name}")["plan"]["title"] == "Called otherwise"
    browser.post(f"/api/plans/{name}/delete", {})
    assert "refused" in browser.get(f"/api/plans/{name}")


def test_a_plan_that_finds_no_room_leaves_the_one_before(
    browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = browser.post("/api/plans", {"plan": changed(title="Before")})["id"]
    kept = (browser.here.data / f"{name}.toml").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("potsim.interfaces.page.shelf.os.replace", full)
    sent = json.dumps({"plan": changed(title="After")}).encode()
    status, _, body = browser.ask("POST", f"/api/plans/{name}", sent)
    assert status == 507
    assert "no space left" in json.loads(body)["refused"]["message"]
    monkeypatch.undo()
    assert (browser.here.data / f"{name}.toml").read_bytes() == kept
    assert not list(browser.here.data.glob(".*.part"))
    browser.post(f"/api/plans/{name}", {"plan": changed(title="After")})
    assert browser.get(f"/api/plans/{name}")["plan"]["title"] == "After"


def test_plans_of_the_command_line_are_on_the_shelf(browser: Browser, tmp_path: Path) -> None:
    (browser.here.data / "Trial 7.toml").write_text(write_plan(potsim.example_plan()), encoding="utf-8")
    found = {one["id"]: one for one in browser.get("/api/shelf")["plans"]}
    assert found["Trial 7"]["answer"]["bottles"] == 5
    assert len(found["Trial 7"]["thumb"]["curve"]["l"]) == 12
    (browser.here.data / "Trial 7.toml").unlink()


def test_a_full_shelf_answers_with_what_it_has(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    from potsim.interfaces.page import runs

    text = write_plan(potsim.example_plan())
    for k in range(4):
        (browser.here.data / f"many-{k}.toml").write_text(
            text.replace("trial 1", f"trial {k}"), encoding="utf-8"
        )
    monkeypatch.setattr(runs, "LOOK_S", -1.0)
    found = runs.shelf({"root": str(browser.here.data)})
    assert found["partial"] is True
    assert {one["title"] for one in found["plans"]} >= {f"Bench spirit, trial {k}" for k in range(4)}
    monkeypatch.setattr(runs, "LOOK_S", 60.0)
    found = runs.shelf({"root": str(browser.here.data)})
    assert found["partial"] is False
    assert all(one["thumb"] or "refused" in one for one in found["plans"])
    for k in range(4):
        (browser.here.data / f"many-{k}.toml").unlink()


def test_a_still_is_kept_learns_and_is_taken_over(browser: Browser) -> None:
    still = {"capacity": "4 L", "power": "700 W"}
    name = browser.post("/api/stills", {"title": "The copper one", "still": still, "thing": "still-1"})["id"]
    run = browser.begin()
    readings = [
        {"kind": "reading", "collected": f"{at} mL", "strength": f"{abv} %", "time": f"{minute} min"}
        for at, abv, minute in ((60, 80, 11), (300, 77.5, 19), (600, 73.5, 29), (900, 64, 40))
    ]
    browser.tell(run, *readings)
    learnt = browser.post(f"/api/stills/{name}/learn", {"of": run})
    assert learnt["id"] == name
    (kept,) = [one for one in browser.get("/api/shelf")["stills"] if one["id"] == name]
    assert kept["title"] == "The copper one"
    assert kept["still"]["capacity"] == "4 L"
    assert kept["learnt"]
    text = (browser.here.data / f"{name}.toml").read_text(encoding="utf-8")
    (again,) = browser.post(f"/api/stills/{name}/learn", {"of": run})["notes"]
    assert "already, and is not counted twice" in again
    assert (browser.here.data / f"{name}.toml").read_text(encoding="utf-8") == text
    plan = changed(still={"from_file": kept["from_file"]})
    assert browser.post("/api/answer", {"plan": plan})["answer"]["bottles"] >= 4


def test_a_run_is_begun_once_and_follows_from_its_plan(browser: Browser) -> None:
    plan = browser.post("/api/plans", {"plan": EXAMPLE})["id"]
    sent = {"plan": EXAMPLE, "thing": "run-1", "from": plan, "device": "laptop"}
    run = browser.post("/api/runs", sent)
    assert browser.post("/api/runs", sent)["id"] == run["id"]
    assert run["live"] is False
    assert run["orders"] == [{"kind": "heat", "jar": None, "min": None, "l": None}]
    assert [tick["key"] for tick in run["ticks"]] == ["cooling", "outlet", "flame", "stays"]
    assert run["plan"] == EXAMPLE
    text = (browser.here.data / f"{run['id']}.toml").read_text(encoding="utf-8")
    assert f'parent = "{plan}.toml"' in text
    assert "refused" in browser.post("/api/runs", {"plan": changed(charge=[])})
    assert "refused" in browser.post(f"/api/plans/{run['id']}", {"plan": EXAMPLE})


def test_a_run_is_played_to_its_end(browser: Browser) -> None:
    run = browser.begin()
    planned = potsim.distil(potsim.example_plan())
    switched_on = time.time() * 1000.0 - 60_000.0 * (planned.stop.elapsed_min + 60.0)

    def tell(minute: float, **thing: Any) -> None:
        browser.tell(run, {**thing, "at_ms": switched_on + 60_000.0 * minute})

    tell(0.0, kind="heat", ticks=["cooling", "outlet", "flame", "stays"])
    found = browser.get(f"/api/runs/{run}")
    assert [order["kind"] for order in found["orders"]][:2] == ["first_drop", "jar"]
    assert found["orders"][-1]["kind"] == "stop"
    for jar in planned.jars:
        volume = f"{1000 * jar.volume_l:.4g} mL"
        tell(jar.full_min, kind="jar", n=jar.number, volume=volume, saw=jar.number - 1)
    tell(planned.stop.elapsed_min, kind="off")
    found = browser.get(f"/api/runs/{run}")
    assert found["live"] is False
    assert found["orders"] == [{"kind": "pour", "jar": None, "min": None, "l": None}]
    assert found["off_ms"] - found["heat_ms"] == pytest.approx(60_000 * planned.stop.elapsed_min, abs=500)
    pour = found["pour"]
    assert pour["jars"] == list(planned.keep.jars)
    assert pour["pool"]["volume_l"] == pytest.approx(planned.keep.volume_l, rel=0.01)
    assert pour["pool"]["abv"] == pytest.approx(planned.keep.abv, abs=pour["pool"]["abv_pm"])
    water = pour["water"]
    assert planned.proofing is not None
    assert water["low_g"] < 1000.0 * planned.proofing.water_kg < water["high_g"]
    assert water["first_g"] <= 0.9 * water["total_g"] + 0.1
    browser.tell(run, {"kind": "measured", "mass": "880 g", "strength": "72.4 %", "temperature": "20 °C"})
    measured = browser.get(f"/api/runs/{run}/pour")
    made = potsim.liquid.strength.water_to_reach
    litres = 0.88 / float(potsim.liquid.strength.mass_of(1.0, 72.4))
    assert measured["water"]["total_g"] == pytest.approx(998.2 * made(litres, 72.4, 42.0), abs=0.5)
    first = measured["water"]["first_g"]
    browser.tell(run, {"kind": "water", "mass": f"{first:.0f} g"})
    rest = browser.get(f"/api/runs/{run}/pour")["water"]
    assert rest["total_g"] == pytest.approx(measured["water"]["later_g"], abs=1.0)
    fewer = browser.get(f"/api/runs/{run}/pour?jars=3,4,5")
    assert fewer["jars"] == [3, 4, 5]
    assert "refused" in browser.get(f"/api/runs/{run}/pour?jars=3,99")
    assert "refused" in browser.get(f"/api/runs/{run}/pour?jars=x")


def test_a_reading_is_weighed_before_it_is_noted(browser: Browser) -> None:
    run = browser.begin()
    browser.tell(run, {"kind": "heat"}, ago_min=14)
    browser.tell(run, {"kind": "reading", "collected": "60 mL", "strength": "80 %"}, ago_min=2)
    thing = {"kind": "reading", "collected": "100 mL", "strength": "79.6 %", "at_ms": time.time() * 1000}
    assert browser.post(f"/api/runs/{run}/fit", {"thing": thing})["fits"] is True
    odd = browser.post(f"/api/runs/{run}/fit", {"thing": {**thing, "strength": "70 %"}})
    assert odd["fits"] is False
    assert "below the forecast" in odd["text"]
    assert browser.get(f"/api/runs/{run}")["version"] == 3


def test_what_the_condenser_holds_back(browser: Browser) -> None:
    run = browser.begin()
    browser.tell(run, {"kind": "reading", "strength": "78 %", "collected": "60 mL", "time": "11 min"})
    free = browser.get(f"/api/runs/{run}")
    browser.tell(run, {"kind": "hold_up", "volume": "90 mL"})
    held = browser.get(f"/api/runs/{run}")
    assert held["forecast"]["trouble"] == ""
    assert held["strip"]["curve"]["abv"][0] < free["strip"]["curve"]["abv"][0]
    browser.tell(run, {"kind": "hold_up", "volume": "9 L"})
    assert "a seventh of the charge" in browser.get(f"/api/runs/{run}")["forecast"]["trouble"]


def test_trials_side_by_side_and_poured_together(browser: Browser) -> None:
    other = changed(title="Trial 2", cuts={**EXAMPLE["cuts"], "stop": {"stream_abv": "60 %"}})
    parts = [{"tables": EXAMPLE}, {"tables": other}]
    found = browser.post("/api/compare", {"parts": parts})
    assert found["names"] == ["Bench spirit, trial 1", "Trial 2"]
    assert found["stops"][1]["l"] < found["stops"][0]["l"]
    told = {row["label"]: row["told"] for row in found["rows"]}
    assert told["cuts: stop stream strength"] == ["55.0 % vol", "60.0 % vol"]
    assert not [label for label in told if "_" in label]
    blend = browser.post(
        "/api/blend",
        {"parts": [{"tables": EXAMPLE, "volume": "800 mL"}, {"tables": other, "volume": "400 mL"}]},
    )
    assert blend["abv"] == pytest.approx(42.0)
    assert "answer" in browser.post("/api/answer", {"plan": blend["one_run"]["plan"]})
    assert "refused" in browser.post("/api/compare", {"parts": [{"tables": EXAMPLE}]})


@pytest.mark.parametrize(
    "name", ["..%2f..%2fetc", "no-such-run", "A", "%00", "x" * 300, ".page-key", "a%5cb"]
)
def test_names_lead_nowhere_else(browser: Browser, name: str) -> None:
    for path in (f"/api/runs/{name}", f"/api/plans/{name}"):
        status, _, body = browser.ask("GET", path)
        assert status == 404 or "refused" in json.loads(body)
    status, _, body = browser.ask("POST", f"/api/plans/{name}/delete", b"{}")
    assert status == 404 or "refused" in json.loads(body)


def test_the_shelf_makes_its_own_names(tmp_path: Path) -> None:
    assert plain_name("../../etc/passwd") == "etc-passwd"
    assert plain_name("日本") == "run"
    shelf = Shelf(tmp_path / "new" / "runs")
    text = write_plan(potsim.example_plan())
    first, second = (shelf.begin(text, "Bench") for _ in range(2))
    assert second == f"{first}-2"
    (shelf.root / "stray.jsonl").write_text("not a journal\n", encoding="utf-8")
    (shelf.root / "link.readings.jsonl").symlink_to(shelf.root / f"{first}.readings.jsonl")
    assert {kept.id for kept in shelf.list() if kept.kind == "run"} == {first, second, "stray"}
    with pytest.raises(potsim.PotsimError, match="cannot be a folder"):
        Shelf(shelf.root / "stray.jsonl")


def test_a_file_changed_in_place_keeps_what_a_person_wrote() -> None:
    before = """# my plan
title = "A"  # the first

[[charge]]
# from the farm
name = "cider spirit"
volume = "1 L"
abv = "60 %"

[cuts]
heads = "10 mL"
stop = { stream_abv = "50 %" }  # as always

[result]
words = "clean"
"""
    tables = {
        "title": "B",
        "charge": [{"name": "cider spirit", "volume": "1.2 L", "abv": "60 %"}],
        "cuts": {"stop": {"stream_abv": "55 %"}},
        "bottling": {"abv": "42 %"},
    }
    after = merged(before, tables)
    for kept in ("# my plan", "# the first", "# from the farm", "# as always", '[result]\nwords = "clean"'):
        assert kept in after
    assert read_plan(after).charge[0].volume_l == 1.2
    assert read_plan(after).cuts.heads_l is None
    assert merged(after, tables) == after
