"""The page in a real Chromium: a run at the still, of which nothing typed is ever lost."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import pytest
from page_browser import (
    DESK,
    DEVICES,
    PHONE,
    SMALL,
    Clock,
    answered,
    cut,
    drafted,
    go,
    journal,
    kept,
    minute_of,
    seen,
    settled,
    told,
    waits,
)
from page_server import EXAMPLE
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import expect

import potsim
from potsim.interfaces.page.answers import plan_from

# At the still -----------------------------------------------------------------------------------------------


def test_the_heat_waits_for_four_ticks(with_plan: Any) -> None:
    page = with_plan(**SMALL)
    page.locator("[data-key=still]").click()
    heat = page.locator("[data-key=heat]")
    expect(heat).to_contain_text("still to tick: cooling on, outlet open, no flame near, someone stays")
    heat.click(force=True)
    assert page.locator(".now").count() == 0
    page.get_by_role("button", name="Hear it").click()
    expect(page.locator(".senses")).to_contain_text(re.compile("Sound works|Sound is blocked"))
    for k in range(4):
        page.locator(".tick").nth(k).click()
    heat.click()
    expect(page.locator(".now .order")).to_have_text("First drop in")


@pytest.mark.parametrize(
    "device", ["small", *(pytest.param(k, marks=pytest.mark.long) for k in ("phone", "desk"))]
)
def test_the_number_is_read_at_arms_length_without_scrolling(
    with_run: Any, clock: Clock, device: str
) -> None:
    """11 mm on usual phones, whose CSS pixel is about 1/160 inch (from memory): 70 px of a digit."""
    page = with_run(**DEVICES[device])
    height = """() => {
      const host = document.querySelector("p.number"), style = getComputedStyle(host);
      const pen = document.createElement("canvas").getContext("2d");
      pen.font = `${style.fontWeight} ${style.fontSize} system-ui, sans-serif`;
      return pen.measureText("0").actualBoundingBoxAscent;
    }"""
    flowing = next(jar for jar in seen(page)["strip"]["jars"] if jar["state"] == "flowing")
    stop = seen(page)["forecast"]["stop"]["min"]
    for minute in (0.5, flowing["full_min"] - 1.5, flowing["full_min"] + 0.2, stop + 12.0):
        clock.to(page, minute)
        settled(page)
        assert page.evaluate(height) >= 11 / 25.4 * 160
        box = page.evaluate("[document.documentElement.scrollHeight, innerHeight]")
        assert box[0] <= box[1]
        assert cut(page) == []
        acts = page.locator(".now-acts button")
        assert all(acts.nth(k).bounding_box()["height"] >= 76 for k in range(acts.count()))
        bottom = [acts.nth(k).bounding_box() for k in range(acts.count())]
        assert all(one["y"] + one["height"] <= box[1] for one in bottom)
        expect(page.locator(".now .strip")).to_be_visible()


def test_it_calls_a_minute_before_and_counts_on_when_it_is_past(with_run: Any, clock: Clock) -> None:
    page = with_run(**PHONE)
    page.evaluate("""() => {
      window.calls = {tone: 0, shake: 0};
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (at) { window.calls.tone += 1; return start.call(this, at); };
      navigator.vibrate = () => { window.calls.shake += 1; return true; };
    }""")
    jar = next(jar for jar in seen(page)["strip"]["jars"] if jar["state"] == "flowing")
    clock.to(page, jar["full_min"] - 1.5)
    expect(page.locator(".now")).to_have_attribute("data-stage", "calm")
    expect(page.locator(".sub")).to_contain_text("tap for sound")  # the page was loaded anew
    page.locator(".where").click()
    expect(page.locator(".sub")).to_contain_text("sound on")
    before = page.evaluate("window.calls.tone")
    clock.to(page, jar["full_min"] - 0.8)
    expect(page.locator(".now")).to_have_attribute("data-stage", "soon")
    expect(page.locator(".order")).to_have_text("Get jar 2 ready")
    assert page.evaluate("window.calls.tone") == before + 1
    clock.to(page, jar["full_min"] + 0.1)
    expect(page.locator(".now")).to_have_attribute("data-stage", "due")
    expect(page.locator(".order")).to_have_text("Change to jar 2 now")
    assert page.title().startswith("+0:")
    clock.on(0.1)
    clock.on(0.1)
    page.wait_for_function("(least) => window.calls.tone >= least", arg=before + 3)
    assert page.evaluate("window.calls.shake") >= 2
    page.locator("[data-key=quiet]").click()
    tones = page.evaluate("window.calls.tone")
    clock.on(0.5)
    settled(page)
    assert page.evaluate("window.calls.tone") == tones
    expect(page.locator(".now")).to_have_attribute("data-stage", "due")
    stop = seen(page)["forecast"]["stop"]["min"]
    clock.to(page, stop + 10.0)
    expect(page.locator(".order")).to_contain_text("heat off")
    assert re.fullmatch(r"\+(9|10):\d\d", page.locator("p.number").inner_text())


def test_a_reading_is_three_taps_and_one_to_take_it_back(with_run: Any, clock: Clock, folder: Path) -> None:
    page = with_run(**PHONE)
    clock.to(page, seen(page)["first_drop_min"] + 2)
    page.locator("[data-key=read]").click()
    page.locator(".tile").nth(2).click()
    page.locator(".pad [data-key=take]").click()
    told(page)
    expect(page.locator(".now .ring")).to_have_count(1)
    assert [record["record"] for record in journal(folder)][-1] == "reading"
    page.locator(".undo-act").click()
    told(page)
    expect(page.locator(".now .ring")).to_have_count(0)


def test_a_jar_is_noted_measured_named_and_struck(with_run: Any, clock: Clock, folder: Path) -> None:
    page = with_run(**PHONE)
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"])
    page.locator("[data-key=act]").click()
    told(page)
    page.get_by_text("Jar 2 is full").wait_for()
    act = page.locator("[data-key=act]")  # held: another volume
    act.hover()
    page.mouse.down()
    page.clock.run_for(700)
    page.mouse.up()
    page.locator(".pad").wait_for()
    page.keyboard.type("55")
    page.keyboard.press("Enter")
    told(page)
    page.locator("[data-key=read]").click()
    page.get_by_role("button", name="jar 2", exact=True).click()
    page.keyboard.type("79")
    page.locator("[data-key=tab2]").click()
    page.keyboard.type("24")
    page.locator(".pad").get_by_role("button", name="hazy").click()
    page.locator(".pad [data-key=take]").click()
    told(page)
    records = journal(folder)
    assert [record["jar"] for record in records if record["record"] == "full"] == [1, 2]
    assert next(r for r in records if r["record"] == "full" and r["jar"] == 2)["volume_l"] == 0.055
    assert records[-1]["record"] == "reading"
    page.locator("[data-key=title]").click()
    page.get_by_role("button", name="A word on a jar").click()
    page.get_by_role("button", name="2", exact=True).click()
    page.get_by_role("textbox").fill("soft")
    page.get_by_role("button", name="Keep", exact=True).click()
    told(page)
    assert journal(folder)[-1]["record"] == "taste"
    page.keyboard.press("Escape")
    page.locator("[data-key=title]").click()
    page.locator(".sheet .notes li", has_text="Jar 2").first.get_by_role("button", name="Undo").click()
    told(page)


def test_a_plate_is_turned_off_before_the_stop(with_run: Any, clock: Clock) -> None:
    plan = copy.deepcopy(EXAMPLE)
    plan["still"]["heated_by"] = "plate"
    page = with_run(plan, **PHONE)
    forecast = seen(page)["forecast"]
    assert forecast["off_before_min"] > 0
    clock.to(page, forecast["stop"]["min"] - forecast["off_before_min"] - 0.5)
    expect(page.locator(".order")).to_have_text("Be ready: heat off")
    clock.on(0.6)
    expect(page.locator(".order")).to_have_text("Turn off now")


def test_a_working_jar_is_tasted_and_emptied(with_run: Any, clock: Clock, folder: Path) -> None:
    plan = copy.deepcopy(EXAMPLE)
    plan["jars"] = {"working": "60 mL"}
    page = with_run(plan, **PHONE)
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"])
    page.get_by_text("Jar 1 is full").click()
    told(page)
    expect(page.locator(".order")).to_have_text("Taste, then empty into the keep")
    page.get_by_role("button", name="Emptied").click()
    expect(page.locator("#undo")).to_contain_text("Undo mends the note only")
    told(page)
    page.get_by_role("button", name="Not this one").click()
    told(page)
    kept = [record.get("kept") for record in journal(folder) if record["record"] == "full"]
    assert kept == [None, True, False]
    page.locator(".undo-act").click()
    told(page)
    assert [jar["state"] for jar in seen(page)["strip"]["jars"][:3]] == ["over", "safe", "flowing"]


def test_a_slip_of_typing_is_refused_once_and_cannot_be_noted(with_run: Any, clock: Clock) -> None:
    page = with_run(**PHONE)
    clock.to(page, seen(page)["first_drop_min"] + 2)
    page.locator("[data-key=read]").click()
    page.keyboard.type("795")
    expect(page.locator(".pad .fault:visible")).to_have_count(1)
    expect(page.locator(".pad [data-key=take]")).to_have_attribute("aria-disabled", "true")
    page.keyboard.press("Backspace")
    expect(page.locator(".pad [data-key=take]")).to_have_attribute("aria-disabled", "false")


def test_jars_changed_but_not_noted_are_noted_as_planned_by_one_tap(
    with_run: Any, clock: Clock, folder: Path
) -> None:
    page = with_run(**PHONE)
    first = seen(page)["strip"]["jars"][0]
    clock.to(page, first["full_min"])
    page.locator("[data-key=act]").click()
    told(page)
    jars = seen(page)["strip"]["jars"]
    clock.to(page, jars[1]["full_min"] + 0.5)  # late, no more
    settled(page)
    expect(page.locator(".forgotten")).to_have_count(0)
    clock.to(page, jars[4]["full_min"] + 0.5)
    clock.on(0.05)
    expect(page.locator(".forgotten")).to_contain_text("is more than jar 2 holds")
    expect(page.locator("[data-key=changed]")).to_have_text("Yes: jars 2 to 5")
    clock.to(page, seen(page)["forecast"]["stop"]["min"])
    page.get_by_text("Heat is off").click()
    told(page)
    page.locator("[data-key=changed]").click()
    told(page)
    expect(page.locator(".forgotten")).to_have_count(0)
    notes = [record for record in journal(folder) if record["record"] == "full"]
    assert [record["jar"] for record in notes] == [jar["n"] for jar in jars[:-1]]
    assert [record["at"] for record in notes] == sorted(record["at"] for record in notes)
    assert [jar["n"] for jar in seen(page)["strip"]["jars"]] == [jar["n"] for jar in jars]
    page.locator(".undo-act").click()
    told(page)
    assert len(seen(page)["strip"]["jars"]) == 2
    page.locator("[data-key=notchanged]").click()
    expect(page.locator(".forgotten")).to_have_count(0)


def test_a_run_is_played_to_its_end(with_run: Any, clock: Clock, folder: Path) -> None:
    plan = copy.deepcopy(EXAMPLE)
    plan["jars"] = {"sizes": ["200 mL"]}
    page = with_run(plan, **SMALL)
    jars = len(seen(page)["strip"]["jars"])
    for _ in range(jars + 2):
        view = seen(page)
        flowing = next((jar for jar in view["strip"]["jars"] if jar["state"] == "flowing"), None)
        if flowing is None or flowing["to_l"] >= view["strip"]["end_l"] - 1e-5:
            break
        clock.to(page, flowing["full_min"])
        page.get_by_text(f"Jar {flowing['n']} is full").click()
        told(page)
        page.get_by_text(f"Jar {flowing['n']} is full").wait_for(state="detached")
    clock.to(page, seen(page)["forecast"]["stop"]["min"])
    expect(page.locator(".order")).to_have_text("Stop: turn the heat off")
    page.get_by_text("Heat is off").click()
    expect(page.locator(".order")).to_have_text("The run is over")
    told(page)
    page.get_by_role("button", name="Pour").click()
    page.locator(".jars li").first.wait_for()
    view = seen(page)
    assert view["off_ms"] is not None
    assert page.locator(".jars li").count() == len(view["strip"]["jars"])
    run = potsim.distil(plan_from(plan))
    assert view["strip"]["end_l"] == pytest.approx(run.stop.collected_l, rel=0.02)
    pool = view["pour"]["pool"]
    assert pool["volume_l"] == pytest.approx(run.keep.volume_l, rel=0.02)
    # Water is a band until the jug is measured, then one number.
    assert "–" in page.locator(".water-number").inner_text()
    page.locator("[data-key=jugmass]").click()
    page.keyboard.type(str(round(pool["mass_g"])))
    page.locator("[data-key=tab1]").click()
    page.keyboard.type(f"{pool['abv']:.1f}")
    page.locator("[data-key=tab2]").click()
    page.keyboard.type("20")
    page.keyboard.press("Enter")
    told(page)
    expect(page.locator(".water-number b")).to_have_text(re.compile(r"^\d+$"))
    expect(page.locator("[data-key=jugmass] b")).to_have_text(str(round(pool["mass_g"])))
    first = float(page.locator(".water-number b").inner_text())
    assert first == pytest.approx(0.9 * 1000 * run.proofing.water_kg, rel=0.05)
    page.locator("[data-key=in3]").click()  # a jar left out changes pool and water
    expect(page.locator("[data-key=in3]")).to_have_attribute("aria-checked", "false")
    told(page)
    page.wait_for_function("() => !potsim.held.runSeen().pour.jars.includes(3)")


def test_verdicts_make_the_next_trial_each_change_to_be_left(with_run: Any, clock: Clock) -> None:
    page = with_run()
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"])
    page.locator("[data-key=act]").click()
    told(page)
    go(page, "pour")
    for name, verdict in (("juniper", "less"), ("fennel seed", "more")):
        page.locator(f"[data-key='verdict{name}']").click()
        page.locator(".sheet .chip", has_text=re.compile(f"^{verdict}$")).click()
        told(page)
        expect(page.locator(f"[data-key='verdict{name}']")).to_contain_text(verdict)
    page.get_by_role("button", name="Next trial").click()
    page.locator(".changes li").nth(1).wait_for()
    page.locator(".changes li", has_text="Juniper").get_by_role("button", name="Leave").click()
    page.get_by_role("button", name="As a plan").click()
    answered(page)
    bill = {row["name"]: row for row in drafted(page)["botanical"]}
    old = {row["name"]: row for row in EXAMPLE["botanical"]}
    assert bill["juniper"]["mass"] == old["juniper"]["mass"]
    assert bill["fennel seed"]["mass"] != old["fennel seed"]["mass"]
    go(page, "trials")  # the oldest first, by their names
    expect(page.locator(".differs thead th")).to_have_text(["what", "trial 1", "trial 2", "in bottle"])
    fennel = page.locator(".differs tr", has_text="Fennel seed").locator("td").all_inner_texts()
    assert float(fennel[0].split()[0]) < float(fennel[1].split()[0])


def test_two_lie_on_one_strip_and_are_poured_together(with_plan: Any, clock: Clock) -> None:
    page = with_plan()
    page.locator("[data-key='cuts.stop.stream_abv']").click()
    page.keyboard.type("65")
    page.keyboard.press("Enter")
    kept(page, clock)
    assert drafted(page)["cuts"]["stop"]["stream_abv"] == "65 %"
    page.evaluate("(plan) => potsim.draft.open(plan)", EXAMPLE)
    kept(page, clock)
    go(page, "trials")
    page.locator("[data-key=choose]").first.click()
    while page.locator(".pick[aria-checked=true]").count():
        page.locator(".pick[aria-checked=true]").first.click()
    page.locator(".pick").first.click()
    page.locator(".pick").last.click()
    page.get_by_role("button", name="Side by side").click()
    page.locator(".differs tbody tr").first.wait_for()
    expect(page.locator(".stops")).to_have_text(
        re.compile(r"^plan stops at .*, 65\.0.%; on the table stops at .*, 55")
    )
    assert page.locator(".trials .strip .ghost").count() == 1
    expect(page.locator(".blend")).to_contain_text("give")


# Nothing typed is ever lost ---------------------------------------------------------------------------------


def test_away_it_goes_on_and_nothing_is_lost(with_run: Any, clock: Clock, folder: Path) -> None:
    page = with_run(**PHONE)
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"])
    page.context.set_offline(True)
    page.locator("[data-key=act]").click()
    page.get_by_text("Jar 2 is full").wait_for()  # counts at once
    page.locator("[data-key=read]").click()
    page.keyboard.type("79.5")
    page.keyboard.press("Enter")
    expect(page.locator("body")).to_contain_text("wait here: laptop away")
    assert waits(page) == 2
    clock.on(1.0)
    assert minute_of(page) > 0
    # Over plain http there is no service worker: the page comes back by the cache of the browser, not by a
    # reload, which asks first. What was typed is kept all the same.
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.goto("about:blank")
    page.go_back()
    page.get_by_text("Jar 2 is full").wait_for()
    assert waits(page) == 2
    address = page.url
    expect(page.locator(".sub")).to_contain_text("laptop away")
    page.locator(".where").click()
    with pytest.raises(PlaywrightError):
        page.reload()
    assert asked == ["beforeunload", "beforeunload"]
    page.context.set_offline(False)
    page.goto(address)
    page.locator(".now p.number").wait_for()
    clock.on(0.1)
    told(page)
    kinds = [record["record"] for record in journal(folder)]
    assert kinds.count("full") == 1
    assert kinds.count("reading") == 1


def test_a_reload_without_the_laptop(with_run: Any, clock: Clock, folder: Path) -> None:
    """Opened once, the page is on the device: clock and orders go on, what is told waits."""
    page = with_run(workers="allow", **PHONE)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function(
        "() => caches.open('potsim-files').then((held) => held.match('/api/files')).then(Boolean)"
    )
    page.reload()
    page.locator(".now p.number").wait_for()
    page.context.set_offline(True)
    page.reload()
    page.locator(".now p.number").wait_for()
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"])
    page.locator("[data-key=act]").click()
    page.reload()
    page.get_by_text("Jar 2 is full").wait_for()
    assert waits(page) == 1
    page.context.set_offline(False)
    clock.on(0.1)
    told(page)
    assert [record["record"] for record in journal(folder)].count("full") == 1


def test_two_tabs_of_one_device_tell_all_once(
    with_run: Any, open_page: Any, clock: Clock, folder: Path
) -> None:
    page = with_run(**PHONE)
    other = open_page(context=page.context, at="now", ready=".now p.number")
    clock.to(page, seen(page)["strip"]["jars"][0]["full_min"] + 1)
    page.context.set_offline(True)
    for one, strength in ((page, "79.5"), (other, "79.1")):
        one.locator("[data-key=read]").click()
        one.keyboard.type(strength)
        one.keyboard.press("Enter")
    page.context.set_offline(False)
    clock.on(0.1)
    told(page)
    told(other)
    read = [
        record["entry"]["read_abv"] if "entry" in record else record["read_abv"]
        for record in journal(folder)
        if record["record"] == "reading"
    ]
    assert sorted(read) == [79.1, 79.5]


def test_other_devices_see_it_at_once_and_whose_it_is(
    with_run: Any, open_page: Any, clock: Clock, folder: Path
) -> None:
    desk = with_run(**DESK)
    shed = open_page(**PHONE)
    shed.locator(".now p.number").wait_for()
    shed.evaluate("localStorage.setItem('potsim.device', JSON.stringify('shed'))")
    clock.to(desk, seen(desk)["strip"]["jars"][0]["full_min"])
    shed.locator("[data-key=act]").click()
    expect(desk.locator(".noted")).to_contain_text("Jar 1 full", timeout=5000)
    expect(desk.locator(".noted")).to_contain_text("shed")
    desk.get_by_text("Jar 2 is full").wait_for()
    desk.locator(".noted li", has_text="Jar 1 full").get_by_role("button", name="Undo").click()
    shed.get_by_text("Jar 1 is full").wait_for()


def test_a_jar_that_another_noted_first_asks(
    with_run: Any, open_page: Any, clock: Clock, folder: Path
) -> None:
    desk = with_run(**DESK)
    shed = open_page(**PHONE)
    shed.locator(".now p.number").wait_for()
    clock.to(desk, seen(desk)["strip"]["jars"][0]["full_min"])
    shed.context.set_offline(True)
    shed.locator("[data-key=act]").click()
    desk.locator("[data-key=act]").click()
    told(desk)
    shed.context.set_offline(False)
    clock.on(0.1)
    expect(shed.locator(".refused")).to_be_visible()
    assert [record["record"] for record in journal(folder)].count("full") == 1
    shed.get_by_role("button", name="Drop").click()
    expect(shed.locator(".refused")).to_have_count(0)


def test_what_is_refused_stays_to_be_mended(with_run: Any, clock: Clock, folder: Path) -> None:
    page = with_run(**PHONE)
    clock.to(page, seen(page)["first_drop_min"] + 2)
    page.evaluate("() => void potsim.outbox.tell(potsim.held.held.run.id, 'reading', {strength: '430 %'})")
    expect(page.locator(".refused")).to_contain_text("430 %")
    page.reload()
    page.locator(".refused").get_by_role("button", name="Mend").click()
    page.keyboard.type("79.3")
    page.keyboard.press("Enter")
    told(page)
    expect(page.locator(".refused")).to_have_count(0)
    assert [record["record"] for record in journal(folder)].count("reading") == 1
