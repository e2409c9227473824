"""The page's server: what it answers, what it refuses, and that sessions do not mix."""

from __future__ import annotations

import builtins
import copy
import importlib.util
import json
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_server import Browser, Served, served

import potsim
from potsim.interfaces.cli import main
from potsim.interfaces.page.access import OneTimeCode, Sessions
from potsim.interfaces.page.answers import place
from potsim.interfaces.page.folder import Folder, plain_name
from potsim.interfaces.page.guard import House
from potsim.interfaces.page.limits import BODY_BYTES, Buckets, Rate
from potsim.interfaces.planfile.text import read_plan
from potsim.interfaces.planfile.write import tables_of, write_plan

EXAMPLE = tables_of(potsim.example_plan())
EARLIER = [{"jars": "1", "from_run": EXAMPLE}] * 4


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("runs")) as page:
        yield page


@pytest.fixture
def browser(here: Served) -> Browser:
    return Browser(here).open()


def changed(**tables: Any) -> dict[str, Any]:
    return copy.deepcopy(EXAMPLE) | tables


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


def test_other_charges_hold_the_same_alcohol_in_more_or_less_water(browser: Browser) -> None:
    weaker, stronger = browser.post("/api/beside", {"plan": EXAMPLE})
    assert weaker["abv"] < 38.06 < stronger["abv"]
    assert weaker["stream_abv"][0] < stronger["stream_abv"][0]


@pytest.mark.parametrize(
    ("plan", "path", "words"),
    [
        (changed(charge=[{"name": "gin", "volume": "9 cups", "abv": "40 %"}]), "charge.0.volume", "cups"),
        (changed(bottling={"abv": "90 %"}), "bottling.abv", "Water only weakens"),
        (changed(cuts={"stop": {"stream_abv": "90 %"}}), "cuts.stop.stream_abv", "at the first drop"),
        (changed(cuts={"heads": "3 L"}), "cuts.heads", "3 L"),
        (changed(still={"power": "10 W"}), "still.power", "nothing would come over"),
        (changed(botanical=[{"name": "junipre", "mass": "5 g"}]), "botanical.0.name", "junipre"),
        (changed(charge=[]), "", "no charge"),
        (changed(charge=[{"name": "gin", "volume": "1 L"}]), "charge.0", "no abv"),
        (changed(charge=[{"name": "x", "volume": "1 L", "abv": "9 %"}] * 41), "", "41 times"),
        ("text", "", "set of tables"),
        ({"charge": [{"jars": "1", "from_run": {"charge": EARLIER}}] * 8}, "", "more than 30 runs"),
    ],
)
def test_a_refusal_says_where(browser: Browser, plan: Any, path: str, words: str) -> None:
    refused = browser.post("/api/run", {"plan": plan})["refused"]
    assert refused["path"] == path
    assert words in f"{refused['message']} {refused['hint']}"
    assert "plan:" not in refused["message"]


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
    ("changes", "status"),
    [
        ({"Host": "evil.example"}, 403),
        ({"Host": "127.0.0.1:1"}, 403),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": None}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"Sec_Fetch_Site": "same-site"}, 403),
        ({"X_Potsim_Token": "0" * 64}, 403),
        ({"X_Potsim_Token": None}, 403),
        ({"Cookie": "potsim_1=x.y"}, 401),
        ({"Cookie": None}, 401),
        ({"Content_Type": "text/plain"}, 415),
    ],
)
def test_what_another_site_could_send_is_refused(
    browser: Browser, changes: dict[str, str | None], status: int
) -> None:
    given, _, body = browser.ask("POST", "/api/run", json.dumps({"plan": EXAMPLE}).encode(), **changes)
    assert given == status
    assert json.loads(body)["refused"]["message"]


def test_a_session_of_one_is_no_token_for_another(here: Served, browser: Browser) -> None:
    other = Browser(here).open()
    assert other.cookie != browser.cookie
    other.token = browser.token
    assert other.ask("POST", "/api/run", json.dumps({"plan": EXAMPLE}).encode())[0] == 403


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"[]", 400),
        (b"\xff\xfe\x00", 400),
        (b'{"plan": NaN}', 400),
        (b"[" * 100_000, 400),
        (b'{"plan": ' + b'{"a":' * 50_000 + b"1" + b"}" * 50_000 + b"}", 413),
        (b'{"plan": {"charge": "' + b"x" * BODY_BYTES + b'"}}', 413),
    ],
)
def test_malformed_and_oversized_requests(browser: Browser, body: bytes, status: int) -> None:
    given, _, answer = browser.ask("POST", "/api/run", body)
    assert given == status
    assert json.loads(answer)["refused"]["message"]
    assert "run" in browser.post("/api/run", {"plan": EXAMPLE})


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


def test_lost_addresses_and_methods(browser: Browser) -> None:
    assert browser.ask("GET", "/static/../app.py")[0] in {403, 404}
    assert browser.ask("GET", "/static/%2e%2e/app.py")[0] == 404
    assert browser.ask("GET", "/api/run")[0] == 404
    assert browser.ask("PUT", "/api/run", b"")[0] == 405
    assert browser.ask("GET", "/?" + "x" * 2000)[0] == 414
    assert browser.ask("GET", "/code")[0] == 404


def test_every_answer_carries_the_headers(browser: Browser) -> None:
    for path in ("/", "/static/js/main.js", "/api/hello", "/nowhere"):
        headers = browser.ask("GET", path)[1]
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
    cookie = Browser(browser.here).ask("GET", "/")[1]["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


def test_the_page_loads_nothing_from_elsewhere() -> None:
    static = Path(potsim.__file__).parent / "interfaces" / "page" / "static"
    for path in static.rglob("*.*"):
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/", "")
        assert "http://" not in text, path
        assert "https://" not in text, path
        assert len(text.splitlines()) <= 400, path


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
    ],
)
def test_what_cannot_be_told(browser: Browser, told: Any) -> None:
    run = browser.post("/api/runs", {"plan": EXAMPLE})["name"]
    assert browser.post(f"/api/runs/{run}/tell", {"tell": told})["refused"]["message"]
    assert browser.get(f"/api/runs/{run}")["readings"] == []


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


def test_a_code_lets_one_browser_in(tmp_path: Path) -> None:
    with served(tmp_path, code=True) as here:
        stranger = Browser(here)
        status, headers, _ = stranger.ask("GET", "/")
        assert (status, headers["location"]) == (303, "/code")
        assert "set-cookie" not in headers
        assert stranger.ask("GET", "/api/start")[0] == 401

        def bring(code: str) -> tuple[int, dict[str, str], bytes]:
            form = {"Content_Type": "application/x-www-form-urlencoded"}
            return Browser(here).ask("POST", "/code", f"code={code}".encode(), **form)

        assert bring("AAAA-AAAA")[1]["location"] == "/code?wrong"
        first = here.codes[-1]
        _, headers, _ = bring(first.lower().replace("-", ""))
        guest = Browser(here)
        guest.cookie = headers["set-cookie"].partition(";")[0]
        assert guest.get("/api/start")["plan"]["title"] == "Bench spirit, trial 1"
        assert here.codes[-1] != first
        assert bring(first)[1]["location"] == "/code?wrong"
        for _ in range(4):
            slow = bring("BBBB-BBBB")[1]["location"]
        assert slow == "/code?slow"


def test_ten_wrong_codes_make_a_new_one() -> None:
    told: list[str] = []
    code = OneTimeCode(told.append)
    assert not any(code.redeem("nonsense") for _ in range(10))
    assert len(told) == 2
    assert not code.redeem(told[0])
    assert code.redeem(told[1])


def test_a_host_is_known_by_name_or_number() -> None:
    house = House(8437, {"localhost", "still-room.local"})
    assert all(map(house.knows, ["127.0.0.1:8437", "localhost:8437", "[::1]:8437", "Still-Room.local:8437"]))
    assert not any(
        map(house.knows, ["evil.example:8437", "localhost", "", "[::1]", "127.0.0.1.evil.example:8437"])
    )


def test_sessions_are_signed() -> None:
    sessions = Sessions()
    cookie = sessions.new()
    name = sessions.name(cookie)
    assert name is not None
    assert sessions.shows(name, sessions.token(name))
    assert not sessions.shows(name, None)
    for forged in (None, "", "x", f"{name}.", f"{name}.{'0' * 64}", cookie[:-1] + "é", f"y{cookie}"):
        assert sessions.name(forged) is None
    assert Sessions().name(cookie) is None


def test_buckets_refill_and_forget() -> None:
    now = [0.0]
    buckets = Buckets(Rate(2.0, 3.0), most=2, clock=lambda: now[0])
    assert [buckets.take("a") for _ in range(4)] == [True, True, True, False]
    now[0] = 0.5
    assert [buckets.take("a") for _ in range(2)] == [True, False]
    for key in "bcd":
        buckets.take(key)
    assert len(buckets) == 2


def test_one_session_cannot_flood(here: Served) -> None:
    flood, calm = Browser(here).open(), Browser(here).open()
    given = [flood.ask("GET", "/api/hello")[0] for _ in range(400)]
    assert 429 in given
    assert set(given) == {200, 429}
    assert calm.get("/api/hello")["token"] == calm.token


def test_a_body_that_never_comes_does_not_hold_the_server(here: Served, browser: Browser) -> None:
    head = (
        f"POST /api/run HTTP/1.1\r\nHost: 127.0.0.1:{here.port}\r\nOrigin: {here.address}\r\n"
        f"Cookie: {browser.cookie}\r\nX-Potsim-Token: {browser.token}\r\nContent-Length: 100\r\n\r\n"
    )
    lines = [socket.create_connection(("127.0.0.1", here.port)) for _ in range(20)]
    for line in lines:
        line.sendall(head.encode())
    assert "run" in browser.post("/api/run", {"plan": EXAMPLE})
    for line in lines:
        line.close()
    assert "run" in browser.post("/api/run", {"plan": EXAMPLE})


def test_fifty_sessions_do_not_mix(here: Served) -> None:
    report = crowd(here, sessions=50, seconds=2.0)
    assert report.errors == []
    assert report.answers >= 50
    assert report.grown_mb < 60.0


class Report:
    """What a crowd of sessions met with."""

    def __init__(self) -> None:
        self.errors: list[str] = []
        self.answers = 0
        self.grown_mb = 0.0


def crowd(here: Served, sessions: int, seconds: float) -> Report:
    """Let sessions move sliders at once; each checks that every answer is to its own plan."""
    report = Report()
    lock = threading.Lock()
    before = memory_mb()
    until = time.monotonic() + seconds

    def one(k: int) -> None:
        try:
            browser = Browser(here).open()
            while time.monotonic() < until:
                plan = changed(title=f"session {k}", botanical=[])
                plan["charge"][0]["volume"] = f"{300 + k} mL"
                plan.pop("botanical")
                answer = browser.post("/api/run", {"plan": plan})
                assert answer["run"]["title"] == f"session {k}"
                assert answer["numbers"]["charge.0.volume"]["value"] == 300 + k
                with lock:
                    report.answers += 1
        except (AssertionError, OSError, ValueError, KeyError) as error:
            with lock:
                report.errors.append(f"{k}: {error!r}")

    threads = [threading.Thread(target=one, args=(k,)) for k in range(sessions)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    report.grown_mb = memory_mb() - before
    return report


def memory_mb() -> float:
    """Peak resident memory of this process."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def test_without_the_extra(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == "starlette" else find(name, *rest)
    )
    real = builtins.__import__

    def no_starlette(name: str, *rest: Any) -> Any:
        assert not name.startswith("starlette")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", no_starlette)
    assert main(["page", "--no-browser"]) == 2
    said = capsys.readouterr().err
    assert "starlette" in said
    assert 'pip install "potsim[page]"' in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--port", "x"], "--port"),
        (["--port", "70000"], "65535"),
        (["--host", "no.such.host.invalid", "--port", "8991"], "--host"),
        (["--data", "/dev/null/x"], "--data"),
        (["--host", "192.0.2.77"], "192.0.2.77"),
    ],
)
def test_wrong_ways_to_start(
    arguments: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = [] if "--data" in arguments else ["--data", str(tmp_path)]
    assert main(["page", "--no-browser", *data, *arguments]) == 2
    assert words in capsys.readouterr().err


def test_the_command_serves_until_it_is_stopped(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "potsim", "page", "--no-browser", "--data", str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            port = int(process.stdout.readline().strip().rstrip("/").rpartition(":")[2])
            browser = Browser(Served(port, tmp_path)).open()
            assert "run" in browser.post("/api/run", {"plan": EXAMPLE})
            browser.line.close()
            process.send_signal(signal.SIGINT)
            assert process.wait(20) == 0
            assert process.stderr is not None
            assert "Traceback" not in process.stderr.read()
        finally:
            process.kill()
