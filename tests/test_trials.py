"""From trial to trial: verdicts, side by side, another size, blends, the book."""

from __future__ import annotations

from dataclasses import replace

import pytest
from refusals import Record, refused
from trial_cases import FIRST, NOTED, PLAN, RUN, SECOND

from potsim.errors import PotsimError
from potsim.planning.next_trial import Factors, book, lost_by_cut, next_title, next_trial, stays, to_charge
from potsim.planning.plan import (
    VERDICTS,
    BotanicalDose,
    Cuts,
    Ingredient,
    JarPlan,
    Plan,
    Result,
    StillPlan,
    Stop,
    Tasting,
)
from potsim.planning.run import distil
from potsim.planning.trials import Trial, against, bottled_l, check, compare, differences, in_bottle, kept_g


def grams(plan: Plan) -> dict[str, float | None]:
    return {dose.name: dose.pieces if dose.mass_g is None else dose.mass_g for dose in plan.botanicals}


# --- The next trial


def test_verdicts_change_doses_by_the_stated_factors_and_nothing_else() -> None:
    made = next_trial(NOTED)
    before = grams(PLAN)
    assert grams(made.plan) == {
        **{name: amount for name, amount in before.items() if name != "black pepper"},
        "juniper": 16.8,
        "lemon peel": 1.33,
        "fennel seed": 3.0,
    }
    assert replace(made.plan, botanicals=PLAN.botanicals, title=PLAN.title) == PLAN
    kept = {dose.name: dose for dose in made.plan.botanicals}
    assert kept["juniper"] == replace(PLAN.botanicals[0], mass_g=16.8)


@pytest.mark.parametrize(
    ("verdict", "grams_next"),
    [
        ("a lot more", 28.0),
        ("more", 21.0),
        ("a touch more", 16.8),
        ("right", 14.0),
        ("a touch less", 11.67),
        ("less", 9.33),
    ],
)
def test_each_verdict(verdict: str, grams_next: float) -> None:
    made = next_trial(replace(FIRST, notes=(Tasting("juniper", verdict),)))
    assert made.plan.botanicals[0].mass_g == grams_next
    assert len(made.changes) == (verdict != "right")


def test_all_right_changes_only_the_title() -> None:
    notes = tuple(Tasting(dose.name, "right") for dose in PLAN.botanicals)
    made = next_trial(replace(FIRST, notes=notes))
    assert made.plan == replace(PLAN, title="Bench spirit, trial 2")
    assert made.changes == ()
    assert all(pair.change == 1.0 for pair in made.pairs)


def test_factors_are_adjustable_and_keep_their_order() -> None:
    made = next_trial(NOTED, Factors(a_touch_more=1.1, less=0.5))
    assert grams(made.plan)["juniper"] == 15.4
    assert grams(made.plan)["lemon peel"] == 1.0
    with refused("no_less", "less", 1.5):
        Factors(less=1.5)
    with refused("range", "more", "1 times"):
        Factors(more=1.0)
    with refused("not_falling", "a_lot_more", 1.3, 1.5):
        Factors(a_lot_more=1.3)
    with refused("not_falling", "a_touch_less"):
        Factors(a_touch_less=0.5)


def test_the_predicted_oil_follows_the_dose() -> None:
    change = {pair.label: pair.change for pair in next_trial(NOTED).pairs}
    # Within what the changed fat of the whole bill does to each.
    assert change["juniper"] == pytest.approx(1.2, rel=0.03)
    assert change["fennel seed"] == pytest.approx(2.0, rel=0.03)
    assert change["black pepper"] == 0.0
    assert change["bay leaf"] == pytest.approx(1.0, rel=0.005)


def test_titles_count_on() -> None:
    assert next_title("2nd gin, trial 9") == "2nd gin, trial 10"
    assert next_title("Gin") == "Gin, trial 2"


def test_more_of_what_stays_will_not_help() -> None:
    bill = tuple(
        BotanicalDose(name, mass_g=2, prepared=prepared)  # type: ignore[arg-type]
        for name, prepared in (
            ("angelica root", "whole"),
            ("vanilla bean", "cracked"),
            ("rosemary", "ground"),
        )
    )
    notes = tuple(Tasting(dose.name, "more") for dose in bill)
    said = next_trial(Trial("a", replace(PLAN, botanicals=bill), notes=notes)).notes
    stuck = {note.subject: note for note in said if note.kind.startswith("more_stays")}
    assert {name: note.kind for name, note in stuck.items()} == {
        "angelica root": "more_stays_in_plant",
        "vanilla bean": "more_stays_behind",
    }
    assert 0.6 <= stuck["angelica root"].values["share"] < 1.0
    coriander = next(line for line in in_bottle(RUN) if line.label == "coriander seed")
    assert stays(coriander) is None


def test_a_cut_that_loses_a_botanical_is_blamed_and_not_the_dose() -> None:
    late = replace(PLAN, cuts=Cuts(heads_l=0.03, stop=Stop(collected_l=0.2)))
    made = next_trial(Trial("a", late, notes=(Tasting("fennel seed", "more"),)))
    (cut,) = made.notes
    assert (cut.kind, cut.subject, cut.values["where"]) == ("lost_by_cut", "fennel seed", "after")
    assert 0.6 <= cut.values["share"] < 1.0
    assert 0.03 < cut.values["half_l"] < 0.2
    early = replace(PLAN, cuts=Cuts(heads_l=0.6, stop=Stop(stream_abv=55)))
    made = next_trial(Trial("a", early, notes=(Tasting("bay leaf", "more"),)))
    assert (made.notes[0].subject, made.notes[0].values["where"]) == ("bay leaf", "before")
    assert made.notes[0].values["half_l"] is None
    gaps = replace(PLAN, jars=JarPlan(sizes=PLAN.jars.sizes, keep=(2, 15)))
    by_jars = in_bottle(distil(gaps))[1]
    lost = lost_by_cut(by_jars)
    assert lost is not None
    assert lost.values["where"] == "between"


def test_nothing_is_said_of_a_verdict_for_less() -> None:
    late = replace(PLAN, cuts=Cuts(heads_l=0.03, stop=Stop(collected_l=0.2)))
    assert next_trial(Trial("a", late, notes=(Tasting("fennel seed", "less"),))).notes == ()


def test_shares_of_what_comes_over_add_up_and_grams_balance() -> None:
    held = kept_g(RUN)
    lines = in_bottle(RUN)
    for line in lines:
        assert line.kept + line.before + line.between + line.after == pytest.approx(1.0, abs=1e-9)
    oil_g = sum(line.oil_mg_per_l for line in lines) * bottled_l(RUN) / 1000
    assert oil_g == pytest.approx(sum(held.values()), rel=1e-9)
    assert sum(line.cloud_share for line in lines) == pytest.approx(1.0, abs=1e-6)


# --- What is refused


@pytest.mark.parametrize(
    ("trial", "words"),
    [
        (
            replace(FIRST, notes=(Tasting("jupiter", "more"),)),
            ("unknown_name", "note.botanical", "jupiter"),
        ),
        (
            replace(FIRST, notes=(Tasting("juniper", "more"), Tasting("juniper berries", "less"))),
            ("verdicts_differ", "", "less"),
        ),
        (
            replace(FIRST, result=Result(collected_l=1.2, abv=90)),
            ("more_alcohol", "result.strength", 90),
        ),
        (replace(FIRST, result=Result(collected_l=3.0)), ("more_than_charged", "result.collected", 3.0)),
        (FIRST, ("no_verdict", "")),
        (replace(FIRST, notes=(Tasting("juniper", words="nice"),)), ("no_verdict", "")),
        (
            replace(
                FIRST,
                plan=replace(PLAN, cuts=Cuts(stop=Stop(over={"fennel seed": 0.9}))),
                notes=(Tasting("fennel", "drop"),),
            ),
            ("awaited", "cuts.stop", "fennel seed"),
        ),
    ],
)
def test_a_trial_that_contradicts_itself_is_refused(trial: Trial, words: Record) -> None:
    with refused(*words):
        next_trial(trial)


def test_an_unknown_verdict_names_the_nearest() -> None:
    with refused("unknown_name", "note.verdict", "a bit more"):
        Tasting("juniper", "a bit more")


def test_notes_that_agree_count_once_and_words_alone_do_not_contradict() -> None:
    notes = (Tasting("juniper", "more"), Tasting("juniper", "more", "yes"), Tasting("juniper", words="piney"))
    made = next_trial(replace(FIRST, notes=notes))
    assert made.plan.botanicals[0].mass_g == 21.0


def test_a_botanical_in_pot_and_basket_has_two_names() -> None:
    basket = BotanicalDose("juniper", mass_g=3, where="basket")
    plan = replace(PLAN, botanicals=(*PLAN.botanicals, basket))
    made = next_trial(Trial("a", plan, notes=(Tasting("juniper (basket)", "more"),)))
    assert [dose.mass_g for dose in made.plan.botanicals if dose.name == "juniper"] == [14.0, 4.5]
    made = next_trial(Trial("a", plan, notes=(Tasting("juniper", "more"),)))
    assert [dose.mass_g for dose in made.plan.botanicals if dose.name == "juniper"] == [21.0, 4.5]


def test_a_result_that_fits_passes() -> None:
    check(replace(FIRST, result=Result(collected_l=1.1, abv=73)))


# --- Side by side


def test_a_trial_beside_itself_differs_in_nothing() -> None:
    made = compare(NOTED, NOTED)
    assert made.empty
    assert made.to_dict()["decided"] == made.to_dict()["predicted"] == made.to_dict()["botanicals"] == []
    assert made.unchanged == len(PLAN.botanicals)


def test_only_what_differs_is_told() -> None:
    made = compare(FIRST, SECOND)
    assert {d.key: (d.a, d.b) for d in made.decided} == {
        "botanical.juniper.mass_g": (14.0, 16.8),
        "botanical.lemon peel.pieces": (2.0, 1.33),
        "botanical.fennel seed.mass_g": (1.5, 3.0),
        "botanical.black pepper.mass_g": (0.5, None),
    }
    told = {pair.label for pair in made.botanicals}
    assert {"juniper", "lemon peel", "fennel seed", "black pepper"} <= told
    # The others are told only where the fat that went with the rest lets more of them over.
    assert made.unchanged == len(PLAN.botanicals) - len(told)


def test_a_difference_knows_its_unit_and_both_sides() -> None:
    still = replace(PLAN.still, power_w=500.0, altitude_m=None, pressure_hpa=1000.0)
    other = replace(PLAN, still=still, charge=(*PLAN.charge, Ingredient("rum", 0.1, 40)))
    found = {d.key: (d.a, d.b, d.unit) for d in differences(PLAN, other)}
    assert found == {
        "charge.rum.volume_l": (None, 0.1, "L"),
        "charge.rum.abv": (None, 40.0, "% vol"),
        "still.power_w": (700.0, 500.0, "W"),
        "still.altitude_m": (60.0, None, "m"),
        "still.pressure_hpa": (None, 1000.0, "hPa"),
    }


def test_results_stand_side_by_side() -> None:
    first = Result(collected_l=1.0, abv=70, clouded_at=38.0)
    made = compare(replace(FIRST, result=first), replace(FIRST, result=Result(date="2026-11-28")))
    assert [(d.field, d.a, d.b, d.unit) for d in made.measured] == [
        ("collected_l", 1.0, None, "L"),
        ("abv", 70.0, None, "% vol"),
        ("clouded_at", 38.0, None, "% vol"),  # the day alone is that of a plan, and is not measured
    ]


# --- The book


def test_a_book_is_in_order_and_lists_what_cannot_be_read() -> None:
    found = {
        "trial-10.toml": replace(FIRST, name="trial-10.toml"),
        "trial-9.toml": replace(FIRST, name="trial-9.toml"),
        "trial-2.toml": SECOND,
        "trial-1.toml": replace(NOTED, result=Result(date="2025-03-01")),
        "broken.toml": PotsimError.of("not_utf8"),
        "hot.toml": replace(FIRST, name="hot.toml", plan=replace(PLAN, still=StillPlan(capacity_l=1.0))),
    }
    entries = book(found)
    assert [entry.name for entry in entries] == [
        "trial-1.toml",
        "trial-2.toml",
        "hot.toml",
        "trial-9.toml",
        "trial-10.toml",
        "broken.toml",
    ]
    assert [bool(entry.refusal) for entry in entries] == [False, False, True, False, False, True]
    assert entries[1].parent == "trial-1.toml"
    assert len(entries[1].changes) == 4
    assert entries[0].verdicts[0] == ("juniper berries", "a touch more")


def test_doses_by_the_litre_agree_everywhere() -> None:
    beside = compare(FIRST, SECOND)
    listed = {entry.name: entry.doses for entry in book({t.name: t for t in (FIRST, SECOND)})}
    resized = to_charge(PLAN, 25.0)
    assert resized.pairs[0].a is not None
    for pair in beside.botanicals:
        assert pair.a is not None
        assert pair.a.doses == listed["trial-1.toml"][pair.label]
        if pair.b is not None:
            assert pair.b.doses == listed["trial-2.toml"][pair.label]
    for pair in resized.pairs:
        assert pair.a is not None
        assert pair.a.doses == listed["trial-1.toml"][pair.label]


def test_a_blend_is_compared_with_the_first_of_its_parents() -> None:
    made = replace(SECOND, name="blend.toml", parent="lab/trial-1.toml, lab/trial-2.toml")
    entry = book({trial.name: trial for trial in (FIRST, made)})[1]
    assert (entry.name, entry.parent, len(entry.changes)) == ("blend.toml", "trial-1.toml", 4)


def test_trials_that_name_each_other_as_parents_do_not_hang() -> None:
    a = replace(FIRST, name="a.toml", parent="b.toml")
    b = replace(FIRST, name="b.toml", parent="a.toml")
    assert [entry.name for entry in book({"a.toml": a, "b.toml": b})] == ["a.toml", "b.toml"]


def test_every_verdict_has_a_factor() -> None:
    factors = [Factors().of(verdict) for verdict in VERDICTS]
    assert factors == sorted(factors, reverse=True)
    assert (factors[0], factors[3], factors[-1]) == (2.0, 1.0, 0.0)


def test_what_came_of_a_run_is_held_against_its_forecast(example_plan: Plan) -> None:
    run = distil(example_plan)
    held = against(run, Result(collected_l=0.6, abv=run.at(collected_l=0.6).mean_abv - 2.5))
    assert held is not None
    assert held.off_abv == pytest.approx(-2.5)
    assert held.foretold_l == run.stop.collected_l
    assert held.alcohol_l == pytest.approx(0.6 * held.abv / 100.0)
    beyond = against(run, Result(collected_l=2.0, abv=50.0))
    assert beyond is not None
    assert (beyond.foretold_abv, beyond.off_abv) == (None, None)
    assert against(run, Result(abv=50.0)) is None
