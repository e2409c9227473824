"""Classes, and what a nose makes of it: who leads, marks, is noticed; what it takes; lanes; when it fades."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from refusals import refused

import potsim
from potsim.data import read_table
from potsim.interfaces.evidence import flavours as evidence
from potsim.interfaces.planfile import read_plan
from potsim.interfaces.trialfile import read_trial
from potsim.liquid import strength
from potsim.liquid.compounds import compounds
from potsim.liquid.equilibrium import bubble_point
from potsim.liquid.traces import volatility
from potsim.planning.botanicals import find, library, resolve
from potsim.planning.flavours import Flavours, jars_mg_per_l, predict
from potsim.planning.lanes import lanes, noticed_doses
from potsim.planning.next_trial import Learnt, next_trial, stays
from potsim.planning.plan import BotanicalDose, Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.planning.release import (
    ALCOHOL_OVER,
    CLEAR,
    DOSE_G_PER_L,
    HINT,
    LASTS_S,
    classes,
    dissolved,
    leaders,
    marks,
    noticed,
)
from potsim.planning.run import Run, distil
from potsim.planning.trials import in_bottle
from potsim.still.course import course
from potsim.still.still import Conditions, Still


def plan_text(
    botanicals: str, volume_l: float = 2.0, abv: float = 41.0, power_w: float = 700.0, more: str = ""
) -> str:
    return f'''
[[charge]]
name = "spirit"
volume = "{volume_l} L"
abv = "{abv} %"
[still]
capacity = "{2 * volume_l} L"
power = "{power_w} W"
neck_loss = "0.6 W/K"
pot_loss = "1.0 W/K"
{more}
{botanicals}'''


def line(name: str, mass_g: float, **keys: str) -> str:
    extra = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    return f'[[botanical]]\nname = "{name}"\nmass = "{mass_g} g"\n{extra}'


def run_of(text: str) -> Run:
    return distil(read_plan(text))


def x_of(abv: float) -> float:
    return float(np.asarray(strength.x_from_abv(abv)))


def flavours_in(volume_l: float, power_w: float, *doses: BotanicalDose) -> Flavours:
    ethanol, water = (float(amount) for amount in strength.moles(volume_l, 40.0))
    still = Still(2.0 * volume_l, Conditions(power_w=power_w, neck_loss_w_per_k=0.1), 2.0 * power_w)
    return predict(course(ethanol + water, ethanol / (ethanol + water), still), [resolve(d) for d in doses])


# Classes.


@pytest.mark.parametrize("volume_l", [0.7, 4.0, 100.0])
def test_the_class_moves_with_nothing_but_the_strength(volume_l: float) -> None:
    usual = 300.0 * volume_l
    told = list(library())
    alone = dict(zip(told, classes([find(name) for name in told], x_of(40.0)), strict=True))
    for power_w in (0.25 * usual, usual, 4.0 * usual):
        for prepared, hours in (("whole", 0.0), ("cracked", 0.0), ("whole", 18.0)):
            bill = [
                BotanicalDose(name, mass_g=volume_l * 2.0, prepared=prepared, macerated_h=hours)  # type: ignore[arg-type]
                for name in told
            ]
            found = flavours_in(volume_l, power_w, *bill)
            assert [one.klass for one in found.classes] == [alone[name].klass for name in told]
    single = flavours_in(volume_l, usual, BotanicalDose("juniper", mass_g=volume_l))
    assert single.botanicals[0].klass == alone["juniper"].klass


def test_start_half_and_end_move_with_the_clock() -> None:
    slow, fast = (
        flavours_in(4.0, power, BotanicalDose("coriander seed", mass_g=20.0)) for power in (600.0, 4800.0)
    )
    (a,), (b,) = slow.botanicals, fast.botanicals
    assert (a.klass, a.half_share) == (b.klass, b.half_share)
    assert a.passage is not None
    assert b.passage is not None
    assert a.passage.half_l < b.passage.half_l
    assert a.gives_up.value > b.gives_up.value


def test_a_stronger_charge_pushes_the_half_way_point_back() -> None:
    names = ("coriander seed", "star anise", "fennel seed", "clove")
    shares = [
        [one.half_share for one in classes([find(n) for n in names], x_of(abv))] for abv in (30.0, 45.0, 60.0)
    ]
    assert (np.diff(shares, axis=0) > 0.0).all()


def test_the_reference_run_written_plainly() -> None:
    # Eugenol alone, dissolved at once: x by Rayleigh, the amount by d ln n = K d ln W, an hour makes no odds.
    charged = x = x_of(40.0)
    xs = np.linspace(0.0, charged, 401)
    ys, volatilities = np.asarray(bubble_point(xs).y), np.asarray(volatility("eugenol", xs))
    left, eugenol, step, rows = 1.0, 1.0, 1e-3, []
    while left * x > (1.0 - ALCOHOL_OVER) * charged:
        y, k = np.interp(x, xs, ys), np.interp(x, xs, volatilities)
        eugenol *= math.exp(-k * step)
        x += (x - y) * step
        left *= math.exp(-step)
        rows.append((charged - left * x, 1.0 - left, 1.0 - eugenol))
    ethanol, total, over = np.array(rows).T
    litres = np.asarray(strength.volume_from_moles(ethanol, total - ethanol))
    half = float(np.interp(0.5 * over[-1], over, litres)) / litres[-1]
    assert dissolved(["eugenol"], x_of(40.0))[0].half_share == pytest.approx(half, abs=0.003)
    assert (DOSE_G_PER_L, LASTS_S) == (5.0, 3600.0)


def test_practice_table_is_told_with_its_misses() -> None:
    # When a botanical is tasted: common practice, no source. First count with these constants: 12 of 17.
    told = evidence.classes_in_practice()
    assert told.n == 17
    assert "missed at 40" in told.note
    assert (np.abs(told.deviations) <= 0.5).sum() >= 12


# Thresholds.


def test_every_compound_has_a_group_and_every_botanical_two_odorants_with_a_threshold() -> None:
    rows = {row["compound_id"]: row for row in read_table("odour.csv")}
    assert set(rows) == {one.id for one in compounds()}
    assert all(row["group"] for row in rows.values())
    for row in rows.values():
        assert bool(row["threshold_ug_per_l"]) == bool(row["threshold_source"])
    for botanical in library().values():
        oil = [s.compound_id for s in botanical.composition if s.basis == "oil"]
        assert sum(bool(rows[name]["threshold_ug_per_l"]) for name in oil) >= min(2, len(oil))


# Who is noticed.


def test_noticed_is_the_fixed_meaning() -> None:
    words = {
        (1000.0, 150.0, 40.0, 20.0, 36.0): ["leads", "clear", "hint", "lost", "lost"],
        (100.0, 4.0): ["leads", "lost"],  # a thirtieth, but under ten times its threshold
        (5.0, 5.0): ["leads", "clear"],  # one leads, the first of those that are alike
        (0.0, 0.0): ["lost", "lost"],
        (): [],
    }
    for times, told in words.items():
        assert noticed(np.array(times)).tolist() == told
    shares = np.array([0.70, CLEAR + 1e-9, HINT + 1e-9, HINT - 1e-9])
    told = noticed(1000.0 * np.append(shares, 1.0 - shares.sum())).tolist()
    assert told[:4] == ["leads", "clear", "hint", "lost"]
    both = np.array([[1000.0, 0.0, 1.0], [150.0, 3.0, 900.0]])
    assert noticed(both).T.tolist() == [["leads", "clear"], ["lost", "leads"], ["lost", "leads"]]


def test_leads_is_size_and_marks_is_above_its_own_mean() -> None:
    jars, mean = np.array([[900.0, 300.0, 40.0], [5.0, 2.0, 1.0]]).T, np.array([1800.0, 150.0, 10.0])
    assert leaders(jars) == [[0, 1], [0, 1, 2]]
    assert marks(jars, mean) == [[2, 1], []]


def test_times_threshold_is_concentration_over_threshold() -> None:
    run = run_of(plan_text(line("lemon peel", 4.0) + line("juniper", 10.0), more='[bottling]\nabv = "40 %"'))
    thresholds = {one.id: one.odour_threshold for one in compounds()}
    kept = run.flavours.kept_by_row
    rows = run.flavours.carried.rows
    assert run.proofing is not None
    for one in run.flavours:
        mine = run.flavours.rows_of(one.line + 1)
        times = 0.0
        for row in mine:
            threshold = thresholds[run.flavours.compound_ids[rows.compound[row]]]
            if threshold is not None:
                times += kept[row] * 1e6 / run.proofing.volume_l / threshold.ug_per_l
        assert one.times_threshold == pytest.approx(times, rel=1e-9)


def test_doubling_all_and_the_bottle_keeps_who_is_noticed() -> None:
    run = potsim.distil(potsim.example_plan())
    told = noticed(run.flavours.in_bottle).tolist()
    assert told.count("leads") == 1
    leader = int(np.argmax(run.flavours.in_bottle))
    assert told[leader] == "leads"


def test_a_grain_of_allspice_beside_juniper_is_lost_or_a_hint() -> None:
    run = run_of(plan_text(line("juniper", 6.0) + line("allspice", 0.1), volume_l=0.7, power_w=300.0))
    told = {one.botanical: one.noticed for one in run.flavours}
    assert told["allspice"] in ("lost", "hint")
    assert told["juniper"] in ("clear", "leads")


def test_the_dose_that_makes_it_clear_makes_it_clear() -> None:
    bill = {"juniper": 14.0, "coriander seed": 5.0, "fennel seed": 1.5}
    run = run_of(plan_text("".join(line(name, mass) for name, mass in bill.items())))
    found = noticed_doses(run.flavours, 2)
    assert found.now_g == pytest.approx(1.5)
    assert found.hint_g is not None
    assert found.clear_g is not None
    assert found.hint_g < found.clear_g
    for dose, wanted in ((found.hint_g, HINT), (found.clear_g, CLEAR)):
        flavours = run.flavours
        lines = [
            resolve(BotanicalDose(name, mass_g=mass)) for name, mass in (bill | {"fennel seed": dose}).items()
        ]
        times = predict(flavours.course, lines, flavours.in_charge).cut_at(flavours.cut).in_bottle
        assert times[2] / times.sum() == pytest.approx(wanted, rel=2e-3)


def test_what_a_dose_cannot_do_is_told() -> None:
    run = run_of(plan_text(line("juniper", 14.0)))
    assert noticed_doses(run.flavours, 0).clear_g is None


# Along the run: the charge of 2 L at 41 % vol with 20 g each, whole and not macerated.


@pytest.fixture(scope="module")
def four() -> Run:
    names = ("juniper", "coriander seed", "star anise", "clove")
    return run_of(plan_text("".join(line(name, 20.0) for name in names), more='[jars]\nsizes = ["100 mL"]'))


def test_juniper_comes_first_and_clove_last(four: Run) -> None:
    flavours = four.flavours
    end_l = float(flavours.course.at(np.array([flavours.alcohol_over])).collected_l[0])
    fifth = flavours.course.first(lambda states: states.collected_l - 0.2 * end_l)
    at_60 = flavours.course.first(lambda states: 60.0 - states.stream_abv)
    assert fifth is not None
    assert at_60 is not None
    spans = [(0.0, fifth), (0.0, at_60), (0.0, four.end.depletion), (0.0, flavours.alcohol_over)]
    first, by_60, to_stop, whole = flavours.by_line(flavours.over_by_row(spans)).T
    assert first[0] >= 0.5 * whole[0]
    assert (by_60[:3] >= 0.9 * to_stop[:3]).all()
    mg_per_l = flavours.by_line(flavours.jars_by_row) / np.array(flavours.cut.jars_l)
    before_60 = [jar.to_l <= float(flavours.course.at(np.array([at_60])).collected_l[0]) for jar in four.jars]
    assert (np.diff(mg_per_l[0, before_60]) < 0.0).all()
    # So much clove only begins: without it the last jar holds less than the second.
    assert mg_per_l[:3, -1].sum() < mg_per_l[:3, 1].sum()
    assert mg_per_l[3, -1] > mg_per_l[3, 1]
    assert {one.botanical: one.klass for one in flavours}["clove"] == "late"


def test_of_a_bill_in_usual_doses_the_last_jar_holds_less_than_the_second() -> None:
    grams = {"juniper": 20.0, "coriander seed": 10.0, "star anise": 2.0, "clove": 0.4}
    bill = "".join(line(name, mass) for name, mass in grams.items())
    run = run_of(plan_text(bill, more='[jars]\nsizes = ["100 mL"]'))
    mg_per_l = jars_mg_per_l(run)
    assert mg_per_l[-1] < mg_per_l[1]


def test_spirits_and_aromas_published() -> None:
    assert 3.0 <= 10.0 ** float(evidence.gin_ratio().computed[0]) <= 30.0
    for dose, content in ((60.0, 1.0), (130.0, 1.6)):
        low, high = (evidence.anethole_g_per_l(dose, end) for end in ("low", "high"))
        assert low <= content <= high
    assert evidence.thujone_over() >= 0.7


# Lanes.


def test_lanes_share_one_scale_and_dark_stretches_cover_the_run() -> None:
    run = potsim.distil(potsim.example_plan())
    told = lanes(run.flavours)
    assert 1 <= len(told.lanes) <= 6
    assert max(float(lane.thick.max()) for lane in told.lanes) == pytest.approx(1.0)
    pieces = sorted(stretch[:2] for lane in told.lanes for stretch in lane.stretches)
    assert pieces[0][0] == pytest.approx(0.0, abs=1e-9)
    assert pieces[-1][1] == pytest.approx(float(run.collected_l[-1]), rel=1e-6)
    for (_, end), (start, _) in itertools.pairwise(pieces):
        assert end == pytest.approx(start)
    assert all(stretch.names for lane in told.lanes for stretch in lane.stretches)
    order = [lane.stretches[0].from_l for lane in told.lanes if lane.stretches]
    assert order == sorted(order)


def test_no_botanicals_no_lanes() -> None:
    assert lanes(run_of(plan_text("")).flavours).lanes == ()


# When it fades.


def test_faded_is_where_all_that_counts_has_given_nearly_all() -> None:
    run = potsim.distil(potsim.example_plan())
    assert run.faded_l is not None
    flavours = run.flavours
    at = flavours.course.first(lambda states: states.collected_l - run.faded_l)
    assert at is not None
    given, whole = flavours.by_line(flavours.over_by_row([(0.0, at), (0.0, flavours.alcohol_over)])).T
    counted = [
        one.line for one in flavours if one.noticed in ("leads", "clear") and one.klass in ("early", "middle")
    ]
    assert min(given[k] / whole[k] for k in counted) == pytest.approx(0.95, abs=1e-3)


FADED = "[cuts]\nstop = { faded = true }"


def test_a_stop_by_fading() -> None:
    bill = line("juniper", 14.0) + line("coriander seed", 8.0)
    run = run_of(plan_text(bill, more=FADED))
    assert run.end.reason == "faded"
    assert run.faded_l == pytest.approx(float(run.collected_l[-1]), rel=0.2)
    with refused("nothing_fades", "cuts.stop.faded"):
        run_of(plan_text(line("clove", 2.0), more=FADED))
    peel = line("lemon peel", 4.0, prepared="ground", macerated="48 h")
    with refused("fades_early", "cuts.stop.faded"):
        run_of(plan_text(peel, more=FADED))


def test_a_late_leader_left_out_of_a_stop_by_fading_is_told() -> None:
    bill = (BotanicalDose("juniper", mass_g=20.0), BotanicalDose("coriander seed", mass_g=8.0))
    charge, cuts = (Ingredient("spirit", 1.5, 58.0),), Cuts(0.03, stop=Stop(faded=True))
    run = potsim.distil(Plan(charge, still=StillPlan(capacity_l=4.0), botanicals=bill, cuts=cuts))
    (left_out,) = run.end.values["late"]
    assert (left_out["botanical"], left_out["leads"]) == ("coriander seed", True)
    assert 0.0 < left_out["share"] < 0.95
    (note,) = [note for note in run.notes if note.kind == "late_leader"]
    assert (note.subject, note.values["share"]) == ("coriander seed", left_out["share"])


def test_heads_that_take_more_than_a_third_are_told() -> None:
    peel = line("lemon peel", 4.0, prepared="cracked", macerated="24 h")
    run = run_of(plan_text(peel, more='[cuts]\nheads = "60 mL"'))
    (note,) = [note for note in run.notes if note.kind == "heads_take"]
    assert (note.severity, note.subject) == ("caution", "lemon peel")
    assert note.values["share"] > 1.0 / 3.0
    small = run_of(plan_text(peel, more='[cuts]\nheads = "2 mL"'))
    assert "heads_take" not in {note.kind for note in small.notes}


# Keys of the plan.


def test_macerated_at_and_oil_factor() -> None:
    weak, strong = (
        run_of(plan_text(line("juniper", 10.0, macerated="24 h", macerated_at=at))).flavours.botanicals[0]
        for at in ("20 %", "85 %")
    )
    assert strong.gives_up.value > weak.gives_up.value
    once, more = (
        run_of(plan_text(line("juniper", 10.0) + tail)).flavours for tail in ("", "oil_factor = 1.3\n")
    )
    assert more.botanicals[0].over_g == pytest.approx(1.3 * once.botanicals[0].over_g, rel=1e-12)
    with refused("alone", "botanical.0.macerated_at", 60.0):
        run_of(plan_text(line("juniper", 10.0, macerated_at="60 %")))
    with refused("range", "botanical.0.oil_factor", "20"):
        run_of(plan_text(line("juniper", 10.0) + "oil_factor = 20\n"))


# What the distiller noticed teaches it.


def test_where_it_was_noticed_teaches_one_bounded_factor(tmp_path: Path) -> None:
    bill = line("juniper", 14.0) + line("coriander seed", 5.0) + line("fennel seed", 1.5)
    jars = '[jars]\nsizes = ["100 mL"]\n[cuts]\nstop = { stream_abv = "55 %" }'
    run = run_of(plan_text(bill, more=jars))
    count = len(run.jars)

    def taught(tasted_in: str) -> Learnt:
        note = f'[[note]]\nbotanical = "fennel seed"\ntasted_in = "{tasted_in}"\n'
        path = tmp_path / "trial-1.toml"
        path.write_text('title = "Trial 1"\n' + plan_text(bill, more=jars) + note, encoding="utf-8")
        (one,) = next_trial(read_trial(path).trial).learnt
        return one

    everywhere, nowhere_else = taught(f"1-{count}"), taught("1")
    assert everywhere.label == "fennel seed"
    assert 1.0 / 3.0 - 0.01 <= nowhere_else.after <= 1.0 <= everywhere.after <= 3.0
    assert everywhere.after > 1.0
    assert len(everywhere.fits) >= len(everywhere.foretold)
    told = (
        "-".join(str(n) for n in (everywhere.foretold[0], everywhere.foretold[-1]))
        if everywhere.foretold
        else ""
    )
    if told and len(everywhere.foretold) == everywhere.foretold[-1] - everywhere.foretold[0] + 1:
        assert taught(told).after == 1.0
    with refused("no_such_jar", "note.fennel seed.tasted_in", 99, list(range(1, count + 1))):
        taught("99")


def test_the_next_plan_carries_the_factor_where_one_can_see_it(say, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bill = line("juniper", 14.0) + line("coriander seed", 5.0) + line("fennel seed", 1.5)
    note = '[[note]]\nbotanical = "fennel seed"\ntasted_in = "1-9"\n'
    more = '[jars]\nsizes = ["100 mL"]\n[cuts]\nstop = { stream_abv = "50 %" }'
    path = tmp_path / "trial-1.toml"
    path.write_text('title = "Trial 1"\n' + plan_text(bill, more=more) + note, encoding="utf-8")
    said = say("trial", "next", str(path), "-o", str(tmp_path / "trial-2.toml"))
    assert said.code == 0, said.err
    text = (tmp_path / "trial-2.toml").read_text(encoding="utf-8")
    assert "oil_factor" in text
    assert "noticed in jars 1-9" in text
    assert "What the tasting teaches" in said.out
    plan = potsim.load_plan(tmp_path / "trial-2.toml")
    assert plan.botanicals[2].oil_factor > 1.0


def test_more_of_what_stays_in_the_plant_is_answered_with_cracking() -> None:
    run = run_of(plan_text(line("juniper", 14.0)))
    (told,) = in_bottle(run)
    note = stays(told)
    assert note is not None
    assert (note.kind, note.values["share"]) == ("more_stays_in_plant", told.left_in_plant)
