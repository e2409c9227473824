"""What is typed is kept: two devices write, servers are killed, networks fail, disks fill; nothing is lost.

Accepted and typed are the same set, and nothing is there twice.
"""

from __future__ import annotations

import contextlib
import http.client
import io
import json
import os
import random
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from page_server import EXAMPLE, Browser, Device, Served, served

from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.planfile import write_plan
from potsim.planning.journal import Journal

LEAST = 20  # things that each of two devices types


def journal_of(data: Path, run: str) -> Journal:
    return Journal.read(data / f"{run}.readings.jsonl")


def type_all(devices: list[Device], seed: int, over: Callable[[], bool], pause_s: float = 0.02) -> None:
    """Let each device type and send on its own until it is over, then send until all is accepted."""

    def one(device: Device) -> None:
        rng = random.Random(f"{seed} {device.name}")
        while (typing := len(device.typed) < LEAST or not over()) or device.waiting:
            if typing and rng.random() < 0.6:
                k = len(device.typed)
                if rng.random() < 0.5:
                    device.type(kind="note", text=f"{device.name} {k}")
                else:
                    device.type(kind="word", n=1 + k % 7, text=f"{device.name} {k}")
            device.send()
            time.sleep(rng.uniform(0.0, pause_s))

    threads = [threading.Thread(target=one, args=(device,)) for device in devices]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def check(data: Path, run: str, devices: list[Device]) -> None:
    """Accepted is typed, nothing is there twice, nothing is refused."""
    records = journal_of(data, run).records
    found = [record.id for record in records[1:]]
    typed = [name for device in devices for name in device.typed]
    assert all(not device.waiting and not device.refused for device in devices)
    assert sorted(found) == sorted(typed)
    for device in devices:  # and in the order in which each device typed it
        assert [name for name in found if name.startswith(device.name)] == device.typed


class Lossy:
    """A network between a device and the page that fails now and then: before, in the midst, or after.

    Parameters
    ----------
    port : int
        Of the page.
    losses : int
        How many connections fail, of those that the devices make first.
    """

    def __init__(self, port: int, losses: int, seed: int) -> None:
        self.port, self.losses, self.lost = port, losses, 0
        self._rng = random.Random(seed)
        self._lock = threading.Lock()

    def post(self, path: str, content: bytes, headers: dict[str, str]) -> Any:
        """Send one request over a connection of its own."""
        with self._lock:
            fails = self.lost < self.losses and self._rng.random() < 0.7
            where = self._rng.choice(["before", "midst", "after"])
            cut = self._rng.random()
            self.lost += fails
        if fails and where == "before":
            raise OSError("no network")
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            if fails and where == "midst":
                line.connect()
                head = "".join(f"{k}: {v}\r\n" for k, v in headers.items())
                text = (
                    f"POST {path} HTTP/1.1\r\nContent-Length: {len(content)}\r\n{head}\r\n".encode() + content
                )
                line.sock.sendall(text[: int(cut * len(text))])
                raise OSError("network lost while sending")
            line.request("POST", path, content, headers)
            if fails:
                time.sleep(0.02 * cut)
                raise OSError("network lost before the answer")
            answer = line.getresponse()
            body = answer.read()
            return json.loads(body) if answer.status == 200 else None
        finally:
            line.close()


def over(network: Lossy, browser: Browser, run: str) -> Any:
    """What a device sends with."""
    headers = {
        "Host": f"127.0.0.1:{browser.here.port}",
        "Origin": browser.here.address,
        "Content-Type": "application/json",
        "Cookie": browser.cookie,
        "X-Potsim-Token": browser.token,
    }

    def send(name: str, things: list[dict[str, Any]]) -> Any:
        sent = {"things": things, "sent_ms": time.time() * 1000.0, "device": name}
        return network.post(f"/api/runs/{run}/tell", json.dumps(sent).encode(), headers)

    return send


@pytest.mark.parametrize("losses", [4, pytest.param(50, marks=pytest.mark.long)])
def test_losses_of_network_with_two_devices_writing(here: Served, browser: Browser, losses: int) -> None:
    run = browser.begin()
    network = Lossy(here.port, losses, seed=losses)
    devices = [Device(name, over(network, browser, run)) for name in ("shed", "kitchen")]
    type_all(devices, losses, lambda: network.lost >= losses)
    assert network.lost == losses
    check(here.data, run, devices)


@contextlib.contextmanager
def process(data: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """The page in a process of its own, that can be killed."""
    command = [
        sys.executable,
        "-m",
        "potsim",
        "page",
        "--no-browser",
        "--data",
        str(data),
        "--port",
        str(port),
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as page:
        try:
            yield page
        finally:
            page.kill()
            page.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.mark.parametrize("kills", [1, pytest.param(50, marks=pytest.mark.long)])
def test_kills_of_the_server_with_two_devices_writing(tmp_path: Path, kills: int) -> None:
    port = free_port()
    here = Served(port, tmp_path)
    run = Shelf(tmp_path).begin(write_plan_of_example(), "Bench", "thing")
    rng = random.Random(kills)
    signed: dict[str, Browser] = {}

    def send(name: str, things: list[dict[str, Any]]) -> Any:
        if name not in signed:
            signed[name] = Browser(here).open()  # the session outlives every server
        return over(Lossy(port, 0, 0), signed[name], run)(name, things)

    devices = [Device(name, send) for name in ("shed", "kitchen")]
    killed = 0
    writing = threading.Thread(target=type_all, args=(devices, kills, lambda: killed >= kills, 0.15))
    writing.start()
    while writing.is_alive():
        with process(tmp_path, port) as page:
            assert page.stdout is not None
            page.stdout.readline()
            if killed < kills:
                time.sleep(rng.uniform(0.0, 1.0))
                page.kill()
                killed += 1
            else:
                writing.join(60)
    for line in here.lines:
        line.close()
    assert killed == kills
    check(tmp_path, run, devices)


def write_plan_of_example() -> str:
    import potsim

    return write_plan(potsim.example_plan())


def test_a_reload_in_flight_tells_the_same_twice_at_once(here: Served, browser: Browser) -> None:
    run = browser.begin()
    send = over(Lossy(here.port, 0, 0), browser, run)
    things = [
        {"id": f"twice-{k}", "kind": "note", "text": str(k), "at_ms": time.time() * 1000} for k in range(20)
    ]
    answers: list[Any] = []
    threads = [threading.Thread(target=lambda: answers.append(send("tab", things))) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [len(answer["accepted"]) for answer in answers] == [20, 20]
    assert sorted(answer["new"] for answer in answers) in (
        [0, 20],
        [5, 15],
        [10, 10],
        *([k, 20 - k] for k in range(20)),
    )
    assert len(journal_of(here.data, run).records) == 21


def test_a_full_disk_is_tried_again(here: Served, browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    from potsim.planning import journal

    run = browser.begin()
    device = Device("shed", over(Lossy(here.port, 0, 0), browser, run))
    for k in range(6):
        device.type(kind="note", text=str(k))
    write, room = os.write, [2]

    def full(handle: int, content: bytes) -> int:
        if room[0] <= 0:
            write(handle, content[:7])
            raise OSError(28, "No space left on device")
        room[0] -= 1
        return write(handle, content)

    monkeypatch.setattr(journal.os, "write", full)
    device.send()
    assert len(device.waiting) == 6  # not told what was accepted, so it keeps all
    monkeypatch.undo()
    while device.waiting:
        device.send()
    check(here.data, run, [device])


def test_a_journal_held_by_another_program_is_tried_again(here: Served, browser: Browser) -> None:
    fcntl = pytest.importorskip("fcntl")
    run = browser.begin()
    device = Device("shed", over(Lossy(here.port, 0, 0), browser, run))
    device.type(kind="note", text="x")
    other = os.open(here.data / f"{run}.readings.jsonl", os.O_RDWR)
    fcntl.flock(other, fcntl.LOCK_EX)
    device.send()
    assert device.waiting
    os.close(other)
    device.send()
    check(here.data, run, [device])


def test_the_command_line_and_the_page_write_the_same_run(
    here: Served, browser: Browser, say: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    run = browser.begin()
    plan = here.data / f"{run}.toml"
    browser.tell(run, {"kind": "reading", "strength": "80 %", "collected": "60 mL", "time": "12 min"})
    typed = "14 min, 100 mL, 79.6 %\njar 60 mL 79.5 %\ntaste 1 sharp\nend\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    assert "Going on after 1 reading." in say("follow", str(plan), "--enter").err
    browser.tell(run, {"kind": "verdict", "botanical": "juniper", "verdict": "more", "words": "thin"})
    found = browser.get(f"/api/runs/{run}")
    assert [round(one["l"], 3) for one in found["strip"]["readings"]] == [0.06, 0.1, 0.13]
    assert [jar["word"] for jar in found["strip"]["jars"]][:1] == ["sharp"]
    told = json.loads(say("follow", str(plan), str(plan.with_suffix(".readings.jsonl")), "--json").out)
    stop = found["forecast"]["stop"]
    assert stop["l"] == pytest.approx(told["stop_l"]["value"], abs=1e-5)
    assert stop["min"] == pytest.approx(told["stop_min"]["value"], abs=1e-3)
    assert found["forecast"]["stream_abv"]["value"] == pytest.approx(told["stream_abv"]["value"], abs=0.005)
    until = time.monotonic() + 20.0
    while "[[note]]" not in plan.read_text(encoding="utf-8") and time.monotonic() < until:
        time.sleep(0.05)
    (change,) = json.loads(say("trial", "next", str(plan), "--json").out)["changes"]
    assert change["botanical"] == "juniper"
    assert (
        browser.post(f"/api/runs/{run}/next", {})["changes"][0]["after"] == f"{change['after']['mass_g']:g} g"
    )


def test_the_book_of_the_command_line_lists_what_is_on_the_shelf(
    here: Served, browser: Browser, say: Callable[..., Any]
) -> None:
    plan = browser.post("/api/plans", {"plan": EXAMPLE})["id"]
    run = browser.post("/api/runs", {"plan": EXAMPLE, "from": plan, "thing": "for-the-book"})["id"]
    for thing in (
        {"kind": "heat", "ticks": []},
        {"kind": "verdict", "botanical": "juniper", "verdict": "more", "tasted_in": "2-5"},
        {"kind": "pool", "jars": [2, 3, 4]},
        {"kind": "bottled", "count": 2},
        {"kind": "clouded", "at": "38 %", "at_c": "12 °C"},
    ):
        browser.tell(run, thing)
    assert here.page is not None
    here.page.desk.shelf.settle(run)
    book = json.loads(say("trial", "book", str(here.data), "--json").out)
    rows = book["trials"] if isinstance(book, dict) else book
    (row,) = [one for one in rows if one["file"] == f"{run}.toml"]
    assert row["refusal"] == ""
    assert row["parent"] == f"{plan}.toml"
    assert [(note["botanical"], note["verdict"]) for note in row["notes"]] == [("juniper", "more")]
    text = (here.data / f"{run}.toml").read_text(encoding="utf-8")
    for told in ('jars_kept = "2,3,4"', 'clouded_at = "38 %"', 'tasted_in = "2-5"'):
        assert told in text


def test_what_is_written_into_the_file_of_a_run_by_hand_comes_back(here: Served, browser: Browser) -> None:
    assert here.page is not None
    shelf = here.page.desk.shelf
    run = browser.begin()
    plan = here.data / f"{run}.toml"

    def verdicts() -> dict[str, Any]:
        return {name: one["verdict"] for name, one in browser.get(f"/api/runs/{run}")["verdicts"].items()}

    def by_hand(text: str) -> None:
        time.sleep(0.02)
        plan.write_text(text, encoding="utf-8")

    browser.tell(run, {"kind": "verdict", "botanical": "juniper", "verdict": "more"})
    shelf.settle(run)
    text = plan.read_text(encoding="utf-8")
    mine = '[result]\nwords = "clean"  # said Ada\n'
    by_hand(f'{text}\n{mine}\n[[note]]\nbotanical = "bay leaf"\nverdict = "less"\ntasted_at = "20 %"\n')
    browser.tell(run, {"kind": "pool", "jars": [2, 3]})  # before anything looked at the file
    shelf.settle(run)
    assert verdicts() == {"juniper": "more", "bay leaf": "less"}
    text = plan.read_text(encoding="utf-8")
    for kept in ('words = "clean"', "# said Ada", 'tasted_at = "20 %"', 'jars_kept = "2,3"'):
        assert kept in text
    by_hand(text.replace('verdict = "more"', 'verdict = "a touch more"'))
    assert shelf.settle(run) is True
    assert verdicts() == {"juniper": "a touch more", "bay leaf": "less"}
    assert shelf.settle(run) is False
    by_hand(plan.read_text(encoding="utf-8").split('[[note]]\nbotanical = "bay leaf"')[0])
    shelf.settle(run)
    assert verdicts() == {"juniper": "a touch more"}


def test_a_run_of_an_earlier_page_is_shown_and_told_more(here: Served, browser: Browser) -> None:
    lines: list[dict[str, Any]] = [
        {"record": "start", "journal": 1, "plan": write_plan_of_example()},
        {"record": "event", "words": "heat on at 2025-03-01T18:00:00+01:00"},
        {"record": "reading", "entry": {"elapsed_min": 12.0, "collected_l": 0.1, "read_abv": 79.0}},
        {"record": "jar", "number": 1, "volume_l": 0.03, "word": "sharp"},
        {"record": "event", "words": "verdict of juniper: a touch more; thin"},
    ]
    at = {"at": "2025-03-01T17:15:00+00:00"}
    path = here.data / "2025-03-01-old.jsonl"
    path.write_text("".join(json.dumps({**line, **at}) + "\n" for line in lines), encoding="ascii")
    found = browser.get("/api/runs/2025-03-01-old")
    assert found["verdicts"]["juniper"]["words"] == "thin"
    assert found["strip"]["jars"][0]["word"] == "sharp"
    assert [one["min"] for one in found["noted"] if one["kind"] == "reading"] == [12.0]
    assert browser.tell("2025-03-01-old", {"kind": "note", "text": "more"})["version"] == 7
    assert "2025-03-01-old" in {one["id"] for one in browser.get("/api/shelf")["runs"]}


def test_a_clock_that_is_off_does_not_matter(here: Served, browser: Browser) -> None:
    run = browser.begin()
    years = 3.0e10  # ms; the device thinks that it is another year
    now = time.time() * 1000.0
    browser.tell(run, {"kind": "heat", "ticks": ["cooling"]}, ago_min=20)
    told = [{"id": "off", "kind": "reading", "strength": "80 %", "at_ms": now - years - 5 * 60_000}]
    browser.post(f"/api/runs/{run}/tell", {"things": told, "sent_ms": now - years, "device": "old phone"})
    noted = browser.get(f"/api/runs/{run}")["noted"]
    assert [round(one["min"]) for one in noted] == [0, 15]
    ancient = {"id": "ancient", "kind": "note", "text": "x", "at_ms": 0}
    refused = browser.post(f"/api/runs/{run}/tell", {"things": [ancient]})["refused"]
    assert "30 days" in refused[0]["message"]


def test_a_reading_of_all_poured_together(browser: Browser) -> None:
    run = browser.begin()
    browser.tell(
        run,
        {"kind": "reading", "collected": "300 mL", "strength": "78.9 %", "pooled": True, "time": "20 min"},
    )
    found = browser.get(f"/api/runs/{run}")
    assert found["noted"][0]["text"] == "Pooled, 300 mL, 78.9 % vol"
    assert found["forecast"]["mean_abv"]["value"] == pytest.approx(78.9, abs=0.5)
    assert found["strip"]["jars"][0]["state"] == "coming"


def test_a_reading_struck_out_leaves_nothing_behind(browser: Browser) -> None:
    run = browser.begin()
    for minute, collected, abv in (("20 min", "150 mL", "79.4 %"), ("26 min", "330 mL", "77.5 %")):
        browser.tell(run, {"kind": "reading", "collected": collected, "strength": abv, "time": minute})
    before = browser.get(f"/api/runs/{run}")
    slip = {"collected": "450 mL", "strength": "67.5 %", "time": "30 min"}
    browser.tell(run, {"id": "slip", "kind": "reading", **slip})
    assert browser.get(f"/api/runs/{run}")["forecast"] != before["forecast"]
    browser.tell(run, {"kind": "strike", "of": "slip"})
    after = browser.get(f"/api/runs/{run}")
    assert after["forecast"].pop("of_version") > before["forecast"].pop("of_version")
    assert (after["forecast"], after["strip"]) == (before["forecast"], before["strip"])


def test_a_stale_tick_asks_and_is_taken_when_sure(browser: Browser) -> None:
    run = browser.begin()
    browser.tell(run, {"kind": "jar", "n": 1, "volume": "30 mL", "saw": 0})
    asked = browser.tell(run, {"id": "stale", "kind": "jar", "n": 1, "volume": "35 mL", "saw": 0})
    assert [one["id"] for one in asked["asks"]] == ["stale"]
    assert asked["accepted"] == []
    taken = browser.tell(
        run, {"id": "stale", "kind": "jar", "n": 1, "volume": "35 mL", "saw": 0, "sure": True}
    )
    assert taken["accepted"] == ["stale"]
    jar = browser.get(f"/api/runs/{run}")["strip"]["jars"][0]
    assert (jar["state"], jar["volume_l"]) == ("over", 0.035)


@pytest.mark.parametrize(
    "thing",
    [
        {"kind": "dance"},
        {"kind": "reading"},
        {"kind": "reading", "strength": "99.9 %", "time": "10 min"},
        {"kind": "reading", "strength": "71", "time": "10 min"},
        {"kind": "reading", "strength": {"a": 1}, "time": "10 min"},
        {"kind": "reading", "read_at": "20 °C", "time": "10 min"},
        {"kind": "jar", "n": "x"},
        {"kind": "jar", "n": 10**9},
        {"kind": "jar", "n": 1, "volume": "60"},
        {"kind": "volume", "n": 1},
        {"kind": "pool", "jars": []},
        {"kind": "pool", "jars": ["1"]},
        {"kind": "verdict", "botanical": "juniper", "verdict": "yes"},
        {"kind": "verdict", "botanical": "juniper", "verdict": "more", "tasted_in": "the last"},
        {"kind": "note", "text": "x" * 501},
        {"kind": "note", "text": " "},
        {"kind": "strike", "of": "nothing"},
        {"kind": "measured", "strength": "70 %"},
        {"kind": "reading", "strength": "71 %", "where": "parrot", "time": "9 min"},
        {"kind": "reading", "strength": "71 %", "where": "jar"},
        {"kind": "hold_up", "volume": "20"},
        {"kind": "note", "text": "x", "id": "with blank"},
        {"kind": "note", "text": "x", "id": ""},
    ],
)
def test_what_cannot_be_told_is_refused_and_named(
    browser: Browser, told_run: str, thing: dict[str, Any]
) -> None:
    answer = browser.tell(told_run, thing)
    assert answer["accepted"] == []
    assert answer["refused"][0]["message"]
    assert answer["version"] == 1


@pytest.fixture(scope="module")
def told_run(here: Served) -> str:
    return Browser(here).open().begin()


def test_what_is_told_of_a_run_that_is_gone_stays_with_its_device(browser: Browser) -> None:
    run = browser.begin()
    assert browser.post(f"/api/runs/{run}/delete", {})["id"] == run
    answer = browser.tell(run, {"id": "late", "kind": "note", "text": "x"})
    assert [one["id"] for one in answer["refused"]] == ["late"]
    kept = list((browser.here.data / ".deleted").rglob(f"{run}.readings.jsonl"))
    assert len(kept) == 1


def test_all_devices_hear_of_it(here: Served, browser: Browser) -> None:
    run = browser.begin()
    line = http.client.HTTPConnection("127.0.0.1", here.port, timeout=60)
    line.request("GET", "/api/live", headers={"Host": f"127.0.0.1:{here.port}", "Cookie": browser.cookie})
    stream = line.getresponse()
    assert stream.headers["content-type"].startswith("text/event-stream")

    def next_event(kind: str) -> Any:
        name = ""
        while True:
            text = stream.readline().decode().strip()
            name = text.removeprefix("event: ") if text.startswith("event: ") else name
            if text.startswith("data: ") and name == kind:
                return json.loads(text.removeprefix("data: "))

    assert abs(next_event("hello")["epoch_ms"] - time.time() * 1000) < 60_000
    browser.tell(run, {"kind": "note", "text": "x"})
    first = next_event("run")
    assert (first["id"], first["version"], first["device"], first["forecast"]) == (run, 2, "phone", False)
    assert next_event("run")["forecast"] is True
    line.close()


def test_telling_does_not_wait_for_calculations(here: Served, browser: Browser) -> None:
    run = browser.begin()
    busy = Browser(here).open()
    thread = threading.Thread(target=lambda: busy.post("/api/sure", {"plan": EXAMPLE}))
    thread.start()
    answers = [browser.tell(run, {"kind": "note", "text": str(k)})["version"] for k in range(5)]
    assert answers == [2, 3, 4, 5, 6]
    thread.join()


def test_a_second_page_over_the_same_folder_sees_the_same(
    here: Served, browser: Browser, tmp_path: Path
) -> None:
    run = browser.begin()
    browser.tell(run, {"kind": "note", "text": "from one"})
    assert here.page is not None
    with served(here.data, workers=here.page.desk.workers.shared()) as other:
        guest = Browser(other).open()
        guest.tell(run, {"kind": "note", "text": "from the other"})
        browser.tell(run, {"kind": "note", "text": "from one again"})
        assert [one["text"] for one in guest.get(f"/api/runs/{run}")["noted"]] == [
            "from one",
            "from the other",
            "from one again",
        ]
