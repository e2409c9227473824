"""The page's door: whom its server lets in, what it refuses, that sessions do not mix, how it is started."""

from __future__ import annotations

import http.client
import json
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from page_server import EXAMPLE, Browser, Served, served

import potsim
from potsim.interfaces.cli import main
from potsim.interfaces.page.door import (
    BODY_BYTES,
    REQUESTS,
    Buckets,
    Census,
    House,
    OneTimeCode,
    Rate,
    Sessions,
)


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
    given, _, body = browser.ask("POST", "/api/answer", json.dumps({"plan": EXAMPLE}).encode(), **changes)
    assert given == status
    assert json.loads(body)["refused"]["message"]


def test_a_session_of_one_is_no_token_for_another(here: Served, browser: Browser) -> None:
    other = Browser(here).open()
    assert other.cookie != browser.cookie
    other.token = browser.token
    assert other.ask("POST", "/api/answer", json.dumps({"plan": EXAMPLE}).encode())[0] == 403


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
    given, _, answer = browser.ask("POST", "/api/answer", body)
    assert given == status
    assert json.loads(answer)["refused"]["message"]
    assert "answer" in browser.post("/api/answer", {"plan": EXAMPLE})


def test_lost_addresses_and_methods(browser: Browser) -> None:
    assert browser.ask("GET", "/static/../app.py")[0] in {403, 404}
    assert browser.ask("GET", "/static/%2e%2e/app.py")[0] == 404
    assert browser.ask("GET", "/api/answer")[0] == 404
    assert browser.ask("PUT", "/api/answer", b"")[0] == 405
    assert browser.ask("GET", "/?" + "x" * 2000)[0] == 414
    assert browser.ask("GET", "/in/nonsense")[1]["location"] == "/code?wrong"


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


def test_headers_that_do_not_come_are_cut_and_others_are_served(tmp_path: Path) -> None:
    with served(tmp_path, census=Census(most=40, per_address=25, header_s=0.5)) as here:
        browser = Browser(here).open()
        lines = [socket.create_connection(("127.0.0.1", here.port)) for _ in range(20)]
        for line in lines:
            line.sendall(b"GET / HTTP/1.1\r\nHost: ")
        began = time.monotonic()
        for line in lines:
            line.settimeout(10)
            assert line.recv(1) == b""
        assert time.monotonic() - began < 8.0
        assert browser.get("/api/hello")["token"] == browser.token
        for line in lines:
            line.close()


def test_half_open_connections_make_room_for_those_that_ask(tmp_path: Path) -> None:
    with served(tmp_path, census=Census(most=60, per_address=40)) as here:
        browser = Browser(here).open()
        lines = []
        for k in range(120):
            line = socket.socket()
            line.bind((f"127.0.0.{2 + k % 3}", 0))  # three other addresses of this machine
            line.connect(("127.0.0.1", here.port))
            line.sendall(b"GET /")
            lines.append(line)
        assert browser.get("/api/hello")["token"] == browser.token
        assert Browser(here).open().get("/api/hello")["token"]
        assert here.page is not None
        assert len(here.page.census) <= 60
        for line in lines:
            line.close()


@pytest.mark.long
def test_six_hundred_and_twenty_half_open_connections_leave_others_served(tmp_path: Path) -> None:
    with served(tmp_path) as here:
        browser = Browser(here).open()
        lines = [socket.create_connection(("127.0.0.1", here.port)) for _ in range(620)]
        for line in lines:
            line.sendall(b"GET / HTTP/1.1\r\n")
        assert browser.get("/api/hello")["token"] == browser.token
        assert Browser(here).open().get("/api/hello")["token"]
        for line in lines:
            line.close()


def test_wrong_codes_slow_the_guesser_only(tmp_path: Path) -> None:
    with served(tmp_path, code=True) as here:

        def bring(code: str, source: str) -> str:
            line = http.client.HTTPConnection("127.0.0.1", here.port, source_address=(source, 0), timeout=20)
            form = {"Content-Type": "application/x-www-form-urlencoded", "Origin": here.address}
            line.request("POST", "/code", f"code={code}", {"Host": f"127.0.0.1:{here.port}", **form})
            answer = line.getresponse()
            answer.read()
            line.close()
            return str(answer.headers["location"])

        assert "/code?slow" in [bring("AAAA-AAAA", "127.0.0.9") for _ in range(8)]
        assert bring(here.codes[-1], "127.0.0.8") == "/"


def test_the_square_lets_a_phone_in_after_a_restart_too(tmp_path: Path) -> None:
    with served(tmp_path, code=True) as here:
        assert here.page is not None
        key = here.page.desk.sessions.key
        first = Browser(here)
        cookie = first.ask("GET", f"/in/{key}")[1]["set-cookie"].partition(";")[0]
    with served(tmp_path, code=True) as here:
        again = Browser(here)
        assert again.ask("GET", f"/in/{key}")[1]["location"] == "/"
        again.cookie = cookie.replace(cookie.partition("=")[0], f"potsim_{here.port}")
        assert again.get("/api/hello")["token"]
    assert (tmp_path / ".page-key").stat().st_mode & 0o077 == 0


def test_the_page_is_opened_to_the_home_network_and_shut_again(browser: Browser) -> None:
    way = browser.get("/api/phone")
    assert way["reachable"] is False
    assert way["url"] is None
    if not way["can"]:
        pytest.skip("this machine is in no network")
    way = browser.post("/api/phone", {"on": True})
    host = way["address"].removeprefix("http://").rstrip("/").rpartition(":")[0]
    assert way["url"].startswith(way["address"] + "in/")
    assert len(way["rows"]) == len(way["rows"][0]) >= 21
    line = http.client.HTTPConnection(host, browser.here.port, timeout=20)
    line.request("GET", "/", headers={"Host": f"{host}:{browser.here.port}"})
    assert line.getresponse().headers["location"] == "/code"
    line.close()
    assert browser.post("/api/phone", {"on": False})["reachable"] is False
    with pytest.raises(OSError, match="refused"):
        socket.create_connection((host, browser.here.port), timeout=5)


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
        assert guest.get("/api/start")["example"]["title"] == "Bench spirit, trial 1"
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


def test_one_session_cannot_flood(here: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(vars(REQUESTS), "per_s", 1.0)  # however slow this machine is just now
    flood, calm = Browser(here).open(), Browser(here).open()
    given = [flood.ask("GET", "/api/hello")[0] for _ in range(400)]
    assert 429 in given
    assert set(given) == {200, 429}
    assert calm.get("/api/hello")["token"] == calm.token


def test_a_body_that_never_comes_does_not_hold_the_server(here: Served, browser: Browser) -> None:
    head = (
        f"POST /api/answer HTTP/1.1\r\nHost: 127.0.0.1:{here.port}\r\nOrigin: {here.address}\r\n"
        f"Cookie: {browser.cookie}\r\nX-Potsim-Token: {browser.token}\r\nContent-Length: 100\r\n\r\n"
    )
    lines = [socket.create_connection(("127.0.0.1", here.port)) for _ in range(20)]
    for line in lines:
        line.sendall(head.encode())
    assert "answer" in browser.post("/api/answer", {"plan": EXAMPLE})
    for line in lines:
        line.close()
    assert "answer" in browser.post("/api/answer", {"plan": EXAMPLE})


@pytest.mark.parametrize(("sessions", "seconds"), [(20, 0.5), pytest.param(50, 60.0, marks=pytest.mark.long)])
def test_sessions_do_not_mix(here: Served, sessions: int, seconds: float) -> None:
    report = crowd(here, sessions, seconds)
    assert report.errors == []
    assert report.answers >= sessions
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
            while True:
                plan = {"charge": [{"name": "gin", "volume": f"{300 + k} mL", "abv": "40 %"}]}
                answer = browser.post("/api/answer", {"plan": plan, "want": ["answer"]})
                assert answer["answer"]["charge_l"] == pytest.approx(0.3 + 0.001 * k)
                with lock:
                    report.answers += 1
                if time.monotonic() > until:
                    return
                time.sleep(0.01)
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
            assert "answer" in browser.post("/api/answer", {"plan": EXAMPLE})
            browser.line.close()
            process.send_signal(signal.SIGINT)
            assert process.wait(20) == 0
            assert process.stderr is not None
            assert "Traceback" not in process.stderr.read()
        finally:
            process.kill()
