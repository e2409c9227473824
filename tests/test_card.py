"""The card: at most 30 lines of 80 columns, every question answered, in the order in which it is needed."""

from __future__ import annotations

from dataclasses import replace

import pytest

import potsim
from potsim.interfaces.planfile import read_plan
from potsim.interfaces.report.card import _few, facts, lines_of_card, text_of_card
from potsim.interfaces.report.words import waits
from potsim.interfaces.wording import say
from potsim.planning.plan import Cuts, Ingredient, Plan, Stop
from potsim.planning.sweep import Neighbour, Strongest, card, sweep

ORDER = (
    "DANGER",
    *(
        "pot",
        "stop",
        "heads",
        "keep",
        "water",
        "jars",
        "jar",
        "early",
        "middle",
        "late",
        "stays",
        "noticed",
        "stream",
    ),
    *("bottle", "charge", "take care", "", "counted", "taken", "guessed", "always"),
)
PLAIN = '[[charge]]\nname = "spirit"\nvolume = "1 L"\nabv = "45 %"\n'
PLANS = {
    "spirit alone": PLAIN,
    "water": '[[charge]]\nname = "water"\nvolume = "1 L"\n',
    "strong": '[[charge]]\nname = "spirit"\nvolume = "2 L"\nabv = "80 %"\n',
    "tails": PLAIN
    + '[cuts]\nheads = "20 mL"\nstop = { stream_abv = "20 %" }\ntails_from = { stream_abv = "50 %" }\n',
}


@pytest.fixture(scope="module")
def example() -> potsim.Run:
    return potsim.distil(potsim.example_plan())


def many() -> Plan:
    names = "juniper, coriander seed, angelica root, lemon peel, orris root, cardamom, nutmeg, clove, cubeb"
    bill = "".join(f'[[botanical]]\nname = "{name.strip()}"\nmass = "9 g"\n' for name in names.split(","))
    return read_plan(PLAIN + bill + '[cuts]\nheads = "40 mL"\n[bottling]\nabv = "42 %"\nbottle = "50 mL"\n')


def test_the_card_of_the_example_fits_a_screen_and_answers_in_order(example: potsim.Run) -> None:
    lines = text_of_card(example).splitlines()
    assert len(lines) <= 30
    assert max(map(len, lines)) <= 80
    assert str(example) == text_of_card(example)
    labels = [label for label, _ in facts(card(example))]
    places = [ORDER.index(label) for label in labels]
    assert places == sorted(places)
    assert {"pot", "stop", "heads", "keep", "water", "jars", "noticed", "charge", "guessed"} <= set(labels)


@pytest.mark.parametrize("name", PLANS)
def test_every_run_has_a_card(name: str) -> None:
    run = potsim.distil(read_plan(PLANS[name]))
    lines = text_of_card(run).splitlines()
    assert len(lines) <= 30
    assert max(map(len, lines)) <= 80


def test_a_haze_that_does_not_come_is_told_with_what_was_asked() -> None:
    waiting = PLAIN + '[[botanical]]\nname = "juniper"\nmass = "5 g"\n[cuts]\nstop = { cloudy = true }\n'
    (stop,) = [said for label, said in facts(card(potsim.distil(read_plan(waiting)))) if label == "stop"]
    assert stop.startswith(f"NOT WHERE THE PLAN ASKS, once {waits('cloudy', {})} (")


def test_danger_stands_first() -> None:
    assert facts(card(potsim.distil(read_plan(PLANS["strong"]))))[0][0] == "DANGER"


def test_a_long_bill_fits_too_and_a_phone_wraps_it() -> None:
    run = potsim.distil(many())
    assert len(text_of_card(run).splitlines()) <= 30
    narrow = lines_of_card(card(run), 50)
    assert max(map(len, narrow)) <= 50
    assert " ".join(" ".join(narrow).split()) == " ".join(text_of_card(run).split())


def test_neighbours_are_those_of_strengths(example: potsim.Run) -> None:
    made = sweep(example.plan, "charge.abv", [example.charge.abv - 5.0, example.charge.abv + 5.0])
    for one, row in zip(card(example).neighbours, made.rows, strict=True):
        assert isinstance(one, Neighbour)
        assert row.run is not None
        assert one.keep_l == pytest.approx(row.run.keep.volume_l, rel=1e-6)
        assert one.keep_abv == pytest.approx(row.run.keep.abv, rel=1e-6)
        assert one.elapsed_min == pytest.approx(row.run.stop.elapsed_min, rel=1e-6)


def test_spirits_too_weak_for_a_stronger_charge_say_how_strong_they_are() -> None:
    weaker, stronger = card(potsim.distil(read_plan(PLAIN))).neighbours
    assert isinstance(weaker, Neighbour)
    assert stronger == Strongest(pytest.approx(45.0))


def test_a_stop_that_was_not_asked_for_is_loud(example: potsim.Run) -> None:
    still = replace(example.plan.still, min_level_l=1.2)
    plan = replace(example.plan, cuts=Cuts(stop=Stop(stream_abv=30.0)), still=still, botanicals=())
    run = potsim.distil(plan)
    assert run.end.reason == "min_level"
    assert not card(run).asked
    assert dict(facts(card(run)))["stop"].startswith("NOT WHERE THE PLAN ASKS")
    assert card(example).asked


def test_one_bottle_is_no_bottles() -> None:
    plan = potsim.example_plan()
    one = replace(plan, charge=(Ingredient("spirit", 0.6, 60.0),), still=replace(plan.still, min_level_l=0.1))
    run = potsim.distil(replace(one, botanicals=(), bottling=replace(plan.bottling, bottle_l=0.5)))
    assert run.proofing is not None
    assert run.proofing.bottles == 1
    assert "1 bottle of 500 mL" in dict(facts(card(run)))["water"]


def test_spirit_that_no_jar_holds_stands_on_the_card() -> None:
    run = potsim.distil(read_plan(PLAIN + '[jars]\nsizes = ["3 x 50 mL"]\n'))
    assert [note.severity for note in run.row.notes if note.kind == "jars_too_few"] == ["caution"]
    left = run.row.left_over
    told = dict(facts(card(run)))["jars"]
    assert f"{say('volume', left.volume_l)} at {say('abv', left.abv)}" in told


def test_what_has_no_room_is_counted() -> None:
    assert _few(["juniper", "mace", "clove", "anise"], 2, ", ").startswith("juniper, mace and 2 ")
    assert _few(["juniper", "mace"], 2, ", ") == "juniper, mace"
