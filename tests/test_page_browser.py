"""The page in a real Chromium: what a person sees and does, on a phone and on a desk."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_browser import (
    DESK,
    FLAGS,
    PHONE,
    chromium_path,
    drafted,
    drawn,
    figure,
    serious,
    settled,
    slide,
    small,
)
from page_server import Served, served
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright

import potsim
from potsim.interfaces import wording
from potsim.interfaces.planfile import read_plan

ABOVE_THE_FORM = """() => {
  const [said, form] = ["#during .trouble", ".reading"].map((at) => document.querySelector(at));
  return Boolean(said.compareDocumentPosition(form) & Node.DOCUMENT_POSITION_FOLLOWING);
}"""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser, here: Served) -> Iterator[Any]:
    """Open the page in fresh browsers; nothing may go wrong in them, and nothing leave the machine."""
    faults: list[str] = []
    contexts = []

    def opened(*, address: str = here.address, **device: Any) -> Page:
        context = chromium.new_context(**(device or DESK))
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(8000)

        def hear(message: ConsoleMessage) -> None:
            # The browser itself says so of a connection that the test has cut.
            if message.type == "error" and "ERR_INTERNET_DISCONNECTED" not in message.text:
                faults.append(message.text)

        page.on("console", hear)
        page.on("pageerror", lambda error: faults.append(str(error)))

        def watch(request: Request) -> None:
            if not request.url.startswith((address, "blob:")):
                faults.append(f"left the machine: {request.url}")

        page.on("request", watch)
        page.goto(address)
        page.locator("#before .figure").first.wait_for()
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def test_the_example_is_there(open_page: Any) -> None:
    page = open_page()
    run = potsim.distil(potsim.example_plan())
    assert wording.format_volume(run.stop.collected_l) in figure(page, "Stop")
    assert wording.format_volume(run.keep.volume_l) in figure(page, "Keep").replace("\n", " ")
    assert str(run.proofing.bottles) in figure(page, "Bottles")
    for flavour in run.flavours.botanicals:
        assert page.locator(".ribbon-name", has_text=flavour.botanical).count() == 1
    assert page.locator(".jars .jar").count() == len(run.jars)
    expect(page.locator(".other-name")).to_have_text([re.compile("charge of 33"), re.compile("charge of 43")])
    expect(page.locator(".cautions")).to_contain_text("Law:")


def test_a_slider_moves_the_numbers(open_page: Any) -> None:
    page = open_page()
    for label, to, path, text in (
        ("Volume, slider", 1200, ("charge", 0, "volume"), "1200 mL"),
        ("the stream falls to, slider", 62.5, ("cuts", "stop", "stream_abv"), "62.5 %"),
        ("Heads, slider", 45, ("cuts", "heads"), "45 mL"),
    ):
        before, was = drawn(page), page.locator("#before svg.curve").inner_html()
        slide(page, label, to)
        settled(page, before)
        place: Any = page.evaluate("JSON.parse(localStorage.getItem('potsim.plan'))")
        for key in path:
            place = place[key]
        assert place == text
        run = drafted(page).to_dict()
        kept = figure(page, "Keep")
        assert wording.format_volume(run["keep"]["volume_l"]) in kept.replace("\n", " ")
        assert f"{run['keep']['abv']:.1f} %" in kept
        assert wording.format_volume(run["stop"]["collected_l"]) in figure(page, "Stop")
        assert wording.format_volume(run["proofing"]["water_l"]) in figure(page, "Bottles")
        assert page.locator("#before svg.curve").inner_html() != was


def test_a_fast_hand_ends_where_it_stops(open_page: Any) -> None:
    page = open_page()
    for value in range(960, 1400, 20):
        slide(page, "Volume, slider", value)
    page.wait_for_function("() => document.querySelector('#before .short').textContent.startsWith('2.86 L')")
    expect(page.locator("#before .figures")).to_contain_text(
        wording.format_volume(drafted(page).keep.volume_l).partition(" ")[0]
    )


def test_what_is_typed_wrong_is_said_in_place(open_page: Any) -> None:
    page = open_page()
    volume = page.get_by_label("Volume", exact=True).first
    volume.fill("9 cups")
    said = page.locator(".row", has=volume).locator(".refusal:visible")
    expect(said).to_contain_text("metric cup")
    assert volume.get_attribute("aria-invalid") == "true"
    assert page.locator("body.stale").count() == 1
    expect(page.locator("#before .trouble")).to_contain_text("apple spirit, Volume: '9 cups'")
    page.get_by_role("button", name="Show me").click()
    expect(volume).to_be_focused()
    volume.fill("1/2 US gal")
    expect(said).to_have_count(0)
    expect(page.locator(".refusal:visible")).to_have_count(0)


def test_power_changes_and_the_keep_is_stretched(open_page: Any) -> None:
    page = open_page()
    for part in ("Jars and bottles", "Still"):
        page.locator("summary", has=page.get_by_role("heading", name=part, exact=True)).click()
    for button, label, to, undo in (
        ("+ neutral spirit", "Volume, slider", 300.0, "Take away: Stretched"),
        ("+ change of power", "Power then, slider", 400.0, "Take away: Change of power 1"),
    ):
        before = drawn(page)
        page.get_by_role("button", name=button).click()
        settled(page, before)
        before = drawn(page)
        slide(page.locator(".part", has=page.get_by_role("button", name=undo)), label, to)
        settled(page, before)
    run = drafted(page)
    assert run.plan.bottling.stretch.spirit_l == 0.3
    assert [step.power_w for step in run.plan.still.power_steps] == [400.0]
    assert "300 mL neutral spirit" in figure(page, "Bottles")
    assert f"minute {run.stop.elapsed_min:.0f}" in figure(page, "Stop")
    page.get_by_label("Power then", exact=True).fill("5 W")
    expect(page.locator(".field", has=page.get_by_label("Power then", exact=True))).to_contain_text("128 W")
    for name in ("Change of power 1", "Stretched with neutral spirit"):
        page.get_by_role("button", name=f"Take away: {name}").click()
    expect(page.locator("#before .figures")).not_to_contain_text("neutral")
    assert drafted(page).plan == potsim.example_plan()


def test_a_plan_that_cannot_be_run_from_the_start(open_page: Any, here: Served) -> None:
    page = open_page(**PHONE)
    page.get_by_label("Volume", exact=True).first.fill("20 L")
    expect(page.locator("#before .trouble")).to_contain_text("the pot holds 4 L")
    page.reload()
    expect(page.locator("#before .trouble")).to_contain_text("the pot holds 4 L")
    expect(page.locator("#before .glance")).to_be_hidden()


def test_nothing_is_cut_or_too_small_for_a_finger(open_page: Any) -> None:
    for device in (PHONE, DESK):
        page = open_page(**device)
        top = page.locator("#before svg.curve text", has_text="100 %").bounding_box()
        picture = page.locator("#before svg.curve").bounding_box()
        assert top is not None
        assert picture is not None
        assert top["x"] >= picture["x"]
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true })")
        assert small(page) == []
        page.get_by_role("button", name="Start this run").click()
        page.get_by_role("button", name="The heat is on").wait_for()
        page.locator("#during details").evaluate_all("all => all.forEach(one => { one.open = true })")
        assert small(page) == []
        page.get_by_role("button", name="After").click()
        page.locator(".chosen li").first.wait_for()
        assert small(page) == []


def test_a_strength_is_read_in_a_parrot(open_page: Any, here: Served) -> None:
    page = open_page(**PHONE)
    page.get_by_role("button", name="Start this run").click()
    page.get_by_role("button", name="The heat is on").click()
    page.locator(".rarely summary").click()
    page.get_by_label("Strength is read in").select_option("a parrot")
    page.get_by_label("It holds").fill("60")
    page.get_by_label("Minute of the reading").fill("14")
    page.get_by_label("Value", exact=True).fill("78")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("ol.journal li")).to_contain_text("78.0 % in the parrot")
    expect(page.locator("ol.journal li")).to_contain_text("14:00")
    page.locator(".kinds label", has_text="Note").click()
    page.get_by_label("Value", exact=True).fill("window open")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("ul.journal li")).to_have_text("window open")
    page.get_by_label("The condenser holds back").fill("20")
    page.get_by_label("The condenser holds back").blur()
    # A parrot stays for the whole run, a reload too.
    page.wait_for_function("() => import('/static/js/journey.js').then(j => j.now.state.hold_up === '20 mL')")
    page.reload()
    expect(page.locator(".rarely summary")).to_have_text("more: strength is read in a parrot of 60 mL")
    page.locator(".rarely summary").click()
    expect(page.get_by_label("The condenser holds back")).to_have_value("20 mL")
    # What is refused is said above the form.
    page.get_by_label("Value", exact=True).fill("71 proofs")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("#during .trouble")).to_contain_text("proofs")
    expect(page.locator("#during .trouble")).to_be_in_viewport()
    assert page.evaluate(ABOVE_THE_FORM)


def test_a_moment_is_read_off_by_key_and_by_finger(open_page: Any) -> None:
    page = open_page(**PHONE)
    moment = page.locator("#before .moment")
    moment.focus()
    page.keyboard.press("Home")
    first = potsim.distil(potsim.example_plan()).stream_abv[0]
    assert str(moment.get_attribute("aria-valuetext")).startswith(f"0 mL: stream {first:.1f} %")
    box = page.locator("#before svg.curve").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + 150, box["y"] + 90)
    said = page.locator("#before .readout").inner_text()
    litres = re.match(r"(\d+) mL", said)
    assert litres is not None
    there = potsim.distil(potsim.example_plan()).at(collected_l=int(litres[1]) / 1000)
    assert f"stream {there.stream_abv:.1f} %" in " ".join(said.split())


def test_botanicals_come_from_the_library(open_page: Any) -> None:
    page = open_page()
    page.get_by_role("button", name="+ from the library").click()
    page.get_by_label("Search the library").fill("caraw")
    before = drawn(page)
    page.locator(".choices button").first.click()
    settled(page, before)
    expect(page.locator(".ribbon-name", has_text="caraway")).to_have_count(1)
    page.get_by_role("button", name="Take juniper away").click()
    expect(page.locator(".ribbon-name", has_text="juniper")).to_have_count(0)


def test_files_are_saved_and_opened(open_page: Any, tmp_path: Path) -> None:
    page = open_page()
    saved = {}
    for button in ("Save it", "Sheet to print", "Numbers (CSV)"):
        with page.expect_download() as download:
            page.get_by_role("button", name=button).click()
        saved[button] = tmp_path / download.value.suggested_filename
        download.value.save_as(saved[button])
    assert read_plan(saved["Save it"].read_text(encoding="utf-8")) == potsim.example_plan()
    assert saved["Numbers (CSV)"].read_text(encoding="utf-8").startswith("collected_l,")
    sheet = page.context.new_page()
    sheet.goto(saved["Sheet to print"].as_uri())
    assert sheet.title() == "Bench spirit, trial 1"
    sheet.close()
    plan = tmp_path / "other.toml"
    plan.write_text(
        'title = "Pear"\n[[charge]]\nname = "pear spirit"\nvolume = "2 L"\nabv = "30 %"\n', encoding="utf-8"
    )
    page.locator("input[type=file]").set_input_files(plan)
    expect(page.get_by_label("Title of the plan")).to_have_value("Pear")
    expect(page.locator("[data-short=Charge]")).to_have_text("2 L at 30.0 %")
    plan.write_text("title = [", encoding="utf-8")
    page.locator("input[type=file]").set_input_files(plan)
    expect(page.locator("#before .trouble")).to_contain_text("not written as TOML")


def test_a_run_from_first_drop_to_next_trial(open_page: Any, here: Served) -> None:
    page = open_page(**PHONE)
    page.get_by_role("button", name="Start this run").click()
    page.get_by_role("button", name="The heat is on").click()
    page.wait_for_function("() => import('/static/js/journey.js').then(j => j.now.state.heat_on)")
    back = "new Date(Date.now() - 11 * 60000).toISOString()"
    page.evaluate(f"import('/static/js/journey.js').then(j => j.tell({{kind: 'heat', at: {back}}}))")
    page.locator(".under", has_text="Jar 1").get_by_placeholder("a tasting word").fill("sharp")
    page.get_by_role("button", name="Full", exact=True).click()
    expect(page.locator(".filled li")).to_have_count(1)
    expect(page.locator(".under")).to_contain_text("Jar 2")
    # Three taps: what, how much, note it.
    was = figure(page, "Stop in", "during")
    page.locator(".kinds label", has_text="Strength").click()
    page.locator(".values button").first.click()
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("ol.journal li")).to_have_count(2)
    page.wait_for_function("() => import('/static/js/journey.js').then(j => j.now.forecast.band !== null)")
    page.wait_for_function(
        "was => !document.querySelector('#during .figures').innerText.includes(was)", arg=was
    )
    assert page.locator(".line.foreseen").count() == 1
    name = page.evaluate("localStorage.getItem('potsim.run')")
    journal = here.data / f"{name}.jsonl"
    assert journal.read_text(encoding="utf-8").count('"record": "reading"') == 2
    # A reload loses nothing.
    page.reload()
    expect(page.locator("ol.journal li")).to_have_count(2)
    expect(page.locator(".filled input")).to_have_value("sharp")
    # Nor does a connection that drops.
    page.context.set_offline(True)
    page.locator(".under").get_by_placeholder("a tasting word").fill("clean")
    page.get_by_role("button", name="Full", exact=True).click()
    expect(page.locator("#link")).to_contain_text("Nothing is lost")
    page.context.set_offline(False)
    expect(page.locator(".filled li")).to_have_count(2, timeout=9000)
    # Afterwards: another jar in, and the pool follows; a verdict, and the next trial.
    page.get_by_role("button", name="After").click()
    expect(page.locator("#after .figures")).to_contain_text("jars 2–19")
    page.get_by_label("Jar 19", exact=False).uncheck()
    expect(page.locator("#after .figures")).to_contain_text("jars 2–18")
    page.get_by_label("juniper", exact=True).select_option("a touch more")
    page.get_by_role("button", name="Write the next trial").click()
    expect(page.get_by_label("Next trial")).to_contain_text("16.8 g")
    page.get_by_role("button", name="To the plan").click()
    expect(page.get_by_label("Title of the plan")).to_have_value("Bench spirit, trial 2")


def test_sessions_keep_their_own_plans(open_page: Any) -> None:
    one, other = open_page(), open_page()
    before = drawn(one)
    slide(one, "Heads, slider", 10)
    settled(one, before)
    other.reload()
    other.locator("#before .figure").first.wait_for()
    expect(other.locator(".cut-name").first).to_contain_text("30 mL")


def test_nothing_serious_stands_in_anyones_way(open_page: Any) -> None:
    page = open_page(**PHONE, color_scheme="dark")
    page.locator(".part summary").evaluate_all("all => all.forEach(one => { one.parentElement.open = true })")
    found = serious(page)
    page.get_by_role("button", name="Start this run").click()
    page.get_by_role("button", name="The heat is on").wait_for()
    page.get_by_role("button", name="Switch to light").click()
    found += serious(page)
    page.get_by_role("button", name="After").click()
    page.locator(".chosen li").first.wait_for()
    assert found + serious(page) == []


def test_pictures_of_phone_and_desk(open_page: Any, tmp_path: Path) -> None:
    folder = Path(os.environ.get("POTSIM_PICTURES", tmp_path))
    for name, device in (("phone", PHONE), ("desk", DESK)):
        page = open_page(**device)
        page.locator(".other-name").first.wait_for()
        page.screenshot(path=folder / f"{name}.png")
        wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]
        assert (folder / f"{name}.png").stat().st_size > 20_000


def test_the_door_of_a_home_network(chromium: Browser, tmp_path: Path) -> None:
    with served(tmp_path, code=True) as guarded:
        context = chromium.new_context(**PHONE)
        page = context.new_page()
        page.goto(guarded.address)
        page.get_by_label("The code printed").fill("wrong")
        page.get_by_role("button", name="Come in").click()
        expect(page.locator("#said")).to_contain_text("not the code")
        page.get_by_label("The code printed").fill(guarded.codes[-1])
        page.get_by_role("button", name="Come in").click()
        page.locator("#before .figure").first.wait_for()
        context.close()
