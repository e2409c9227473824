"""The page in a real Chromium: the shelf, the plan, and what holds for everyone, on a phone and a desk."""

from __future__ import annotations

import copy
import json
import re
from pathlib import Path
from typing import Any

import pytest
from page_browser import (
    PHONE,
    ROOM,
    SMALL,
    Clock,
    answered,
    at_fault,
    drafted,
    example,
    go,
    journal,
    kept,
    seen,
    settled,
    sized,
    told,
    walk,
)
from page_server import EXAMPLE, Served, served
from playwright.sync_api import Browser, Page, Response, expect

import potsim
from potsim.interfaces.page.answers import plan_from


def answer_of(page: Page) -> Any:
    """The answer that the page holds, and the run computed here of the plan that it holds."""
    found = page.evaluate("() => JSON.stringify(potsim.draft.draft.answer.answer)")
    return json.loads(found), potsim.distil(plan_from(drafted(page)))


def said(page: Page, *texts: str) -> None:
    """Type answers on the pad, each when its field is open."""
    fields = "[...document.querySelectorAll('.pad')].map((pad) => pad.innerText)"
    for text in texts:
        page.locator(".pad").last.wait_for()
        page.keyboard.type(text)
        before = page.evaluate(f"() => JSON.stringify({fields})")
        page.keyboard.press("Enter")
        page.wait_for_function(f"(before) => JSON.stringify({fields}) !== before", arg=before)


# The first minute, the shelf, the plan ----------------------------------------------------------------------


def test_three_questions_give_an_answer(open_page: Any, clock: Clock, folder: Path) -> None:
    page = open_page(**PHONE)
    expect(page.get_by_text("your run will lie here")).to_be_visible()
    page.locator("[data-key='charge.0.volume']").click()
    said(page, "1", "45", "2", "600")
    page.locator(".pad").last.wait_for()  # the next question, which may come a moment later
    page.keyboard.press("Escape")
    page.locator(".first .strip .slice").first.wait_for()  # pot and still are known: the strip is there
    expect(page.locator(".first .figures")).not_to_contain_text("bottle")
    page.locator("[data-key='bottling.abv']").click()
    said(page, "43", "350")
    expect(page.locator(".first .figures")).to_contain_text("bottle")
    assert at_fault(page, "first", "phone") == []
    page.locator("[data-key=see]").click()
    answered(page)
    kept(page, clock)
    found, run = answer_of(page)
    assert found["keep_l"] == pytest.approx(run.keep.volume_l, rel=1e-3)
    assert found["bottles"] == run.proofing.bottles
    assert [path.suffix for path in folder.glob("*.toml")] == [".toml"]


def test_the_example_is_a_copy_to_look_at(open_page: Any, clock: Clock, folder: Path) -> None:
    page = open_page()
    page.get_by_role("button", name="Show an example").click()
    answered(page)
    expect(page.get_by_text("an example, not yours")).to_be_visible()
    page.locator("[data-key=more0]").click()
    answered(page)
    clock.on(1.0)
    answered(page)
    assert not list(folder.glob("*.toml"))
    page.locator("[data-key=mine]").click()
    kept(page, clock)
    assert len(list(folder.glob("*.toml"))) == 1


def test_the_numbers_are_those_of_the_command_line(with_plan: Any) -> None:
    page = with_plan()
    found, run = answer_of(page)
    data = run.to_dict()
    assert found["keep_l"] == pytest.approx(data["keep"]["volume_l"], rel=1e-3)
    assert found["keep_abv"] == pytest.approx(data["keep"]["abv"], abs=0.01)
    assert found["stop_min"] == pytest.approx(data["stop"]["elapsed_min"], abs=0.01)
    assert found["bottles"] == data["proofing"]["bottles"]
    figures = page.locator(".figures").inner_text()
    assert f"{1000 * data['keep']['volume_l']:.0f}" in figures
    assert f"{data['keep']['abv']:.1f}" in figures
    assert page.locator(".plan .strip .slice").count() == len(data["jars"])


def test_the_headline_says_why_it_stops_if_not_as_asked(with_plan: Any, folder: Path) -> None:
    plan = copy.deepcopy(EXAMPLE)
    plan["still"]["min_level"] = "1.6 L"
    page = with_plan()
    expect(page.locator(".why")).not_to_have_class(re.compile("edge"))
    page.evaluate("(plan) => potsim.draft.open(plan)", plan)
    expect(page.locator(".why")).to_have_class(re.compile("edge"))


# Where the rod of the stop stands, and where the last jar ends.
ENDS = """() => [document.querySelector(".rod.stop").getBoundingClientRect().left + 2,
  [...document.querySelectorAll(".plan-strip .slice .body")].pop().getBoundingClientRect().right]"""


def test_the_grips_move_heads_and_stop(with_plan: Any) -> None:
    page = with_plan()
    stop = page.get_by_role("slider", name="stop")
    box = stop.bounding_box()
    page.mouse.move(box["x"] + 24, box["y"] + 24)
    page.mouse.down()
    page.route("**/api/answer", lambda route: None)  # held until there is no such route
    page.mouse.move(box["x"] - 40, box["y"] + 24, steps=6)
    settled(page)
    rod, foot = page.evaluate(ENDS)  # the strip follows the finger before there is any answer
    assert foot == pytest.approx(rod, abs=3.0)
    page.unroute("**/api/answer")
    answered(page)  # while the finger holds the grip
    rod, foot = page.evaluate(ENDS)
    assert foot == pytest.approx(rod, abs=8.0)  # half a step of the strength that it is told in
    page.mouse.move(box["x"] - 120, box["y"] + 24, steps=6)
    page.mouse.up()
    moved = drafted(page)["cuts"]["stop"]["stream_abv"]
    assert float(moved.split()[0]) > 60
    assert float(moved.split()[0]) % 0.5 == 0
    expect(page.get_by_text("against the plan as opened, dashed")).to_be_visible()
    assert page.locator(".strip .ghost").count() == 1
    page.keyboard.press("Control+z")
    assert drafted(page)["cuts"]["stop"]["stream_abv"] == EXAMPLE["cuts"]["stop"]["stream_abv"]
    stop = page.get_by_role("slider", name="stop")
    stop.focus()
    for wanted in ("54.5 %", "54 %"):
        page.keyboard.press("ArrowRight")
        assert drafted(page)["cuts"]["stop"]["stream_abv"] == wanted
    page.get_by_role("slider", name="heads").focus()
    page.keyboard.press("Shift+ArrowRight")
    assert drafted(page)["cuts"]["heads"] == "80 mL"
    answered(page)
    found, run = answer_of(page)
    assert found["keep_l"] == pytest.approx(run.keep.volume_l, rel=1e-3)


def test_a_parting_of_two_jars_changes_their_size(with_plan: Any) -> None:
    page = with_plan()
    box = page.locator(".parting[data-jar='4']").bounding_box()
    page.mouse.move(box["x"] + 7, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 30, box["y"] + 40, steps=3)
    page.mouse.up()
    (size,) = drafted(page)["jars"]["sizes"]
    wanted = float(size.removesuffix(" mL"))
    assert 65 <= wanted <= 100
    page.wait_for_function("(l) => potsim.draft.draft.answer.strip.jars[1].size_l === l", arg=wanted / 1000)
    page.keyboard.press("Control+z")
    assert drafted(page)["jars"] == EXAMPLE["jars"]


def test_one_of_my_own_and_a_dose_far_from_usual_stands_open(with_plan: Any) -> None:
    """Its name begins like a caution that holds for every run, and is none of them."""
    page = with_plan(**SMALL)
    page.locator("[data-key=part-botanicals]").click()
    page.locator("[data-key=add]").click()
    page.get_by_label("Search the library").fill("Fireweed")
    page.get_by_role("button", name="Make your own").click()
    page.get_by_role("button", name="Like none: describe it").click()
    sheet = page.get_by_role("dialog", name="One of my own")
    sheet.get_by_label("Usual in a litre").fill("1 g, 5 g")
    sheet.get_by_label("Usual in a litre").press("Tab")
    sheet.get_by_role("button", name="Done").click()
    last = len(drafted(page)["botanical"]) - 1
    assert drafted(page)["botanical"][last]["name"] == "Fireweed"
    assert drafted(page)["own_botanical"][0]["usual_dose_per_l"] == ["1 g", "5 g"]
    page.locator(f"[data-key=dose{last}]").click()
    page.keyboard.type("144")  # 60 g in a litre of its charge
    page.keyboard.press("Enter")
    page.locator("[data-key=done]").click()
    expect(page.locator(".plan-answer .mind")).to_contain_text("Fireweed: 60")
    assert page.locator(".plan-answer .mind").count() == 1


def test_one_of_my_own_like_juniper_answers_as_juniper_does(with_plan: Any) -> None:
    page = with_plan()
    page.locator("[data-key=add-botanical]").click()
    page.get_by_label("Search the library").fill("Hillside berry")
    page.get_by_role("button", name="Make your own").click()
    page.get_by_role("dialog", name="like which one?").get_by_role("button", name="Juniper").first.click()
    answered(page)
    assert drafted(page)["own_botanical"] == [{"name": "Hillside berry", "like": "juniper"}]
    assert drafted(page)["botanical"][-1]["name"] == "Hillside berry"
    bill = [{"name": name, "mass": "5 g"} for name in ("Hillside berry", "juniper")]
    run = potsim.distil(plan_from({**drafted(page), "botanical": bill}))
    mine, theirs = run.flavours.botanicals
    for name in ("passage", "half_share", "left_in_pot", "left_in_plant"):
        assert getattr(mine, name) == getattr(theirs, name)


def test_us_units_are_those_of_the_trade(with_plan: Any) -> None:
    """29.5735 mL are a fluid ounce (NIST Handbook 44, appendix C); proof twice the % vol (27 CFR 30.11)."""
    page = with_plan()
    run = answer_of(page)[1]
    go(page, "shelf")
    page.get_by_role("button", name="This device").click()
    page.locator("[data-key=units-us]").click()
    page.keyboard.press("Escape")
    go(page, "plan")
    expect(page.locator(".figures")).to_contain_text("fl oz")
    shown = page.locator(".figures").inner_text()
    assert f"{run.keep.volume_l / 0.0295735295625:.1f} fl oz" in shown
    assert f"{2.0 * run.keep.abv:.0f} proof" in shown
    assert f"({run.keep.abv:.1f}\u00a0%)" in shown  # metric beside: what jars and hydrometers are marked in
    assert "mL)" in shown or "L)" in shown
    assert "proof" in page.locator(".why").inner_text()


def test_a_plan_is_answered_in_the_units_it_is_typed_in_until_others_are_chosen(with_plan: Any) -> None:
    tables = {
        "charge": [{"name": "spirit", "volume": "0.5 US gal", "abv": "100 proof"}],
        "still": {"capacity": "1 US gal", "power": "700 W"},
        "cuts": {"heads": "1 US fl oz", "stop": {"stream_abv": "110 proof"}},
        "bottling": {"abv": "86 proof", "bottle": "12 US fl oz"},
    }
    page = with_plan(tables)
    expect(page.locator(".figures")).to_contain_text("Water to 86\u00a0proof")
    assert "proof" in page.locator(".why").inner_text()
    go(page, "shelf")
    expect(page.locator(".shelf-row").first).to_contain_text("proof")
    page.get_by_role("button", name="This device").click()
    expect(page.locator("[data-key=units-null]")).to_have_attribute("aria-pressed", "true")
    page.locator("[data-key=units-metric]").click()
    page.keyboard.press("Escape")
    go(page, "plan")
    expect(page.locator(".figures")).to_contain_text("Water to 43.1\u00a0%")
    expect(page.locator(".why")).to_contain_text("% vol")


def test_one_part_is_open_at_a_time_on_a_phone(with_plan: Any) -> None:
    page = with_plan(**PHONE)
    assert page.locator(".part-row").count() >= 5
    for part in ("pot", "botanicals", "cuts", "jars", "bottle"):
        page.locator(f"[data-key=part-{part}]").click()
        expect(page.locator(".part-row")).to_have_count(0)
        expect(page.locator(".plan .strip")).to_be_visible()
        page.locator("[data-key=done]").click()
    page.locator(".plan-strip svg.strip").click()
    expect(page.get_by_role("slider", name="stop")).to_be_visible()
    page.locator("[data-key=fine-more]").click()
    assert drafted(page)["cuts"]["stop"]["stream_abv"] == "55.5 %"


def test_all_of_the_plan_can_be_said(with_plan: Any) -> None:
    """Each field of the schema has its place in the form of the section it belongs to."""
    page = with_plan()
    schema = page.evaluate("() => potsim.held.held.start.schema")
    missing = []
    for section in schema:
        for table in section["tables"]:
            if section["section"] == "botanicals":
                continue
            for field in table["fields"]:
                base = f"{table['table']}.0" if table["many"] else table["table"]
                row = page.locator(f".field:has([data-key^='{base}.{field['key']}'])").count()
                rows = drafted(page).get(table["table"]) if table["many"] else True
                if rows and not row:
                    missing.append(f"{base}.{field['key']}")
    assert missing == []
    page.locator("[data-key='bottling.abv']").click()
    page.keyboard.type("40")
    page.keyboard.press("Enter")
    page.locator(".pad").wait_for(state="detached")
    assert drafted(page)["bottling"]["abv"] == "40 %"


def test_units_are_chips_and_remembered(with_plan: Any) -> None:
    page = with_plan(**PHONE)
    page.locator("[data-key=part-bottle]").click()
    page.locator("[data-key='bottling.bottle']").click()
    page.locator(".pad-units").get_by_role("button", name="L", exact=True).click()
    for key in ("0", ".", "5"):
        page.locator(".keys").get_by_role("button", name=key, exact=True).click()
    page.locator(".pad [data-key=take]").click()
    assert drafted(page)["bottling"]["bottle"] == "0.5 L"
    page.locator("[data-key='bottling.bottle']").click()
    expect(page.locator(".pad-units [aria-pressed=true]")).to_have_text("L")


def test_what_cannot_be_is_said_on_the_pad_and_in_place(with_plan: Any) -> None:
    page = with_plan()
    page.locator("[data-key='charge.0.abv']").click()
    page.keyboard.type("430")
    page.keyboard.press("Enter")
    if page.locator(".pad").count() == 0:  # not known to the schema: the answer refuses it
        expect(page.locator(".plan-answer .fault")).to_be_visible()
        expect(page.locator(".plan-answer")).to_have_class(re.compile("stale"))
        page.keyboard.press("Control+z")
    else:
        expect(page.locator(".pad .fault")).to_be_visible()
        page.keyboard.press("Escape")
    expect(page.locator(".plan-answer .fault")).to_have_count(0)


def test_two_rows_of_one_name_are_two_rows(with_plan: Any) -> None:
    page = with_plan()
    page.locator("[data-key=add-botanical]").click()
    page.get_by_label("Search the library").fill("juniper")
    page.get_by_role("checkbox", name="Juniper").first.click()
    page.get_by_role("button", name="Add 1").click()
    answered(page)
    rows = drafted(page)["botanical"]
    last = len(rows) - 1
    assert [rows[0]["name"], rows[last]["name"]] == ["juniper", "juniper"]
    first = rows[0]["mass"]
    page.locator(f"[data-key=more{last}]").click()
    after = drafted(page)["botanical"]
    assert after[0]["mass"] == first
    assert after[last]["mass"] != rows[last]["mass"]


def test_several_botanicals_at_once_weighed_or_counted(with_plan: Any) -> None:
    page = with_plan(**PHONE)
    page.locator("[data-key=part-botanicals]").click()
    page.locator("[data-key=add]").click()
    for name in ("Allspice", "Aniseed"):
        page.get_by_role("checkbox", name=name).first.click()
    page.get_by_role("button", name="Add 2").click()
    rows = drafted(page)["botanical"]
    assert [row["name"] for row in rows[-2:]] == ["allspice", "aniseed"]
    assert all(float(row["mass"].split()[0]) > 0 for row in rows[-2:])
    answered(page)
    page.locator(f"[data-key=dose{len(rows) - 2}]").click()
    page.get_by_role("button", name=re.compile("count")).click()
    page.locator(".pad [data-key=take]").click()
    assert "pieces" in drafted(page)["botanical"][-2]
    page.locator(f"[data-key=dose{len(rows) - 2}]").click()
    page.get_by_role("button", name="weigh it").click()
    page.locator(".pad [data-key=take]").click()
    assert {"mass", "pieces", "amount"} & set(drafted(page)["botanical"][-2]) == {"mass"}


def test_fifty_steps_of_undo_are_kept_with_the_plan(with_plan: Any, clock: Clock) -> None:
    page = with_plan()
    before = drafted(page)["botanical"][0]["mass"]
    for _ in range(3):
        page.locator("[data-key=more0]").click()
    kept(page, clock)
    page.reload()
    answered(page)
    for _ in range(3):
        page.keyboard.press("Control+z")
    assert drafted(page)["botanical"][0]["mass"] == before


def test_how_sure_other_strengths_and_for_six_bottles(with_plan: Any) -> None:
    page = with_plan()
    page.get_by_role("button", name="Weaker, stronger charge").click()
    expect(page.locator(".told")).to_contain_text("weaker")
    expect(page.locator(".told")).to_contain_text("stronger")
    assert page.locator(".strip .ghost").count() == 2
    page.get_by_role("button", name="How sure").click()
    expect(page.locator(".told")).to_contain_text("nine runs in ten")
    assert page.locator(".strip .band").count() == 1
    page.get_by_role("button", name="For so many bottles").click()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Take it as a plan").click(timeout=30_000)
    answered(page)
    found, run = answer_of(page)
    assert found["bottles"] == run.proofing.bottles == 6


def test_one_page_to_print_beside_the_still(with_plan: Any, tmp_path: Path) -> None:
    page = with_plan()
    page.evaluate("() => { window.print = () => { window.printed = true; }; }")
    page.get_by_role("button", name="Print").click()
    page.wait_for_function("() => window.printed")
    words = page.locator("#print").evaluate("(host) => host.shadowRoot.textContent")
    pdf = page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    assert words.index("jar") < words.index("juniper")


def test_an_empty_journal_says_on_the_shelf_what_to_do(with_plan: Any, folder: Path) -> None:
    (folder / "autumn.readings.jsonl").touch()
    page = with_plan()
    go(page, "shelf")
    row = page.locator(".shelf-row", has_text="autumn")
    expect(row).to_contain_text("no run was begun in it. Delete it")
    assert str(folder) not in row.inner_text()


def test_runs_and_plans_are_renamed_and_deleted(with_plan: Any, folder: Path) -> None:
    page = with_plan()
    go(page, "shelf")
    page.get_by_role("button", name=re.compile("rename, print or delete")).first.click()
    page.get_by_role("button", name="Rename", exact=True).click()
    page.get_by_role("textbox", name="New name").fill("Autumn")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator(".shelf-row")).to_contain_text("Autumn")
    page.get_by_role("button", name=re.compile("rename, print or delete")).first.click()
    page.get_by_role("button", name="Delete", exact=True).click()
    expect(page.get_by_text("Delete “Autumn”?")).to_be_visible()
    page.get_by_role("button", name="Delete it").click()
    expect(page.locator(".shelf-row")).to_have_count(0)
    assert not list(folder.glob("*.toml"))


# For everyone -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "devices",
    [("small", "desk"), *(pytest.param((k,), marks=pytest.mark.long) for k in ("double", "phone", "tablet"))],
)
def test_nothing_is_cut_or_too_small_and_axe_finds_nothing(
    open_page: Any, clock: Clock, devices: tuple[str, ...], folder: Path
) -> None:
    """In one walk, at the size of one device after the other."""
    page = open_page(**ROOM[devices[0]])
    found = []
    for where in walk(page, clock):
        for device in devices:
            sized(page, device)
            found += [f"{where}, {device}: {bad}" for bad in at_fault(page, where, device)]
        sized(page, devices[0])
    assert found == []


def test_the_keyboard_alone(open_page: Any, clock: Clock, folder: Path) -> None:
    page = open_page()
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_text("To the main part")
    example(page, clock)
    page.locator("[data-key=still]").focus()
    page.keyboard.press("Enter")
    page.locator(".tick").first.wait_for()
    for k in range(4):
        page.locator(".tick").nth(k).focus()
        page.keyboard.press("Space")
    page.locator("[data-key=heat]").focus()
    page.keyboard.press("Enter")
    page.locator(".now p.number").wait_for()
    clock.to(page, seen(page)["first_drop_min"] + 1)
    page.locator("[data-key=read]").focus()
    page.keyboard.press("Enter")
    page.keyboard.type("79.4")
    page.keyboard.press("Enter")
    told(page)
    assert journal(folder)[-1]["record"] == "reading"
    page.keyboard.press("Control+z")
    told(page)
    expect(page.locator(".now .ring")).to_have_count(0)


def test_the_first_page_is_small(chromium: Browser, here: Served) -> None:
    context = chromium.new_context(service_workers="block", **PHONE)
    page = context.new_page()
    answers: list[Response] = []
    page.on("response", lambda answer: answers.append(answer))
    page.goto(here.address)
    page.locator("#main button").first.wait_for()
    page.wait_for_function("() => potsim.held.held.shelf")  # what it asks for last
    settled(page)
    sizes = [one.request.sizes() for one in answers if "/api/live" not in one.url]
    total = sum(size["responseBodySize"] + size["responseHeadersSize"] for size in sizes)
    context.close()
    assert len(answers) <= 20, [one.url for one in answers]
    assert total < 150_000


def test_each_module_is_one_idea_of_less_than_four_hundred_lines() -> None:
    views = Path(potsim.__file__).parent / "interfaces" / "page" / "static" / "js"
    long = {path.name: n for path in views.glob("*.js") if (n := len(path.read_text().splitlines())) > 400}
    assert long == {}
    unnamed = [path.name for path in views.glob("*.js") if not path.read_text().startswith("// ")]
    assert unnamed == []


def test_the_phone_scans_a_square(open_page: Any) -> None:
    page = open_page()
    page.get_by_role("button", name="This device").click()
    page.get_by_role("button", name="On my phone").click()
    page.get_by_role("dialog", name="On my phone").wait_for()
    expect(page.get_by_role("dialog", name="On my phone")).not_to_be_empty()


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
        page.locator(".first").wait_for()
        context.close()
