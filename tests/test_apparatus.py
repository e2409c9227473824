"""The run on a real bench: heat that arrives, parrot, lost spirit, condenser, what the pot is built of."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from refusals import Record, is_refusal, refused
from scipy.integrate import solve_ivp

import potsim
from potsim.errors import PotsimError
from potsim.interfaces import cli
from potsim.interfaces.report.run import text_of_run
from potsim.liquid import equilibrium
from potsim.planning.apparatus import same_vapour_c
from potsim.planning.forecast import follow
from potsim.planning.frames import outcome
from potsim.planning.learnt import powers
from potsim.planning.next_trial import to_charge
from potsim.planning.notes import ALWAYS, Note, fire
from potsim.planning.plan import BotanicalDose, Cuts, Ingredient, Plan, Result, StillPlan, Stop
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.planning.run import Run, distil
from potsim.planning.trials import alcohol_book
from potsim.still.still import HEATERS

PLAIN = Plan(
    charge=(Ingredient("base", 2.4, 38.0),),
    still=StillPlan(capacity_l=4.0, power_w=700.0, room_c=20.0, altitude_m=0.0, min_level_l=0.5),
    cuts=Cuts(stop=Stop(stream_abv=55.0)),
)


def bench(**changed: Any) -> Run:
    """The plain plan with other things said of its still; ``stop`` for another stop."""
    cuts = Cuts(stop=changed.pop("stop")) if "stop" in changed else PLAIN.cuts
    return distil(replace(PLAIN, still=replace(PLAIN.still, **changed), cuts=cuts))


def note_of(run: Run, kind: str) -> Note:
    """The one note of a kind."""
    (note,) = [note for note in run.notes if note.kind == kind]
    return note


def kinds(run: Run) -> set[str]:
    return {note.kind for note in run.notes}


# Heat


@pytest.mark.parametrize(("heat", "share"), [("element", 1.0), ("plate", 0.62), ("gas", 0.4)])
def test_a_share_of_the_power_is_a_smaller_power(heat: str, share: float) -> None:
    run, alike = bench(heated_by=heat), bench(power_w=700.0 * share)
    for name in ("stream_abv", "collected_l", "elapsed_min"):
        assert np.allclose(getattr(run, name), getattr(alike, name), rtol=1e-12)
    assert ("assumed_heat_share" in kinds(run)) == (share < 1.0)
    assert "assumed_all_heat" not in kinds(run)
    assert "700 W" in text_of_run(run)


def test_a_plan_that_says_nothing_of_its_heat_gets_all_and_is_told() -> None:
    assert bench().setting.still.heat_share == 1.0
    bare = bench(min_level_l=None)
    assert note_of(bare, "assumed_all_heat").subject == "still.heated_by"
    # A least level covers an element, which heats from inside: nothing is said of plates then.
    assert note_of(bench(), "assumed_element").subject == "still.heated_by"
    assert "assumed_all_heat" not in kinds(bench())


def test_half_the_heat_takes_longer_and_gives_stronger_spirit() -> None:
    """Half of the heat: longer by the net power, which falls by more than half, as the losses stay."""
    whole, half = bench(heat_share=1.0), bench(heat_share=0.5)
    c = whole.setting.still.conditions
    shed = (c.pot_loss_w_per_k + c.neck_loss_w_per_k) * 70.0
    ratio = (half.stop.elapsed_min - half.first_drop_min) / (whole.stop.elapsed_min - whole.first_drop_min)
    assert ratio == pytest.approx((700.0 - shed) / (350.0 - shed), rel=0.05)
    assert half.keep.abv > whole.keep.abv


def test_too_little_heat_is_refused_with_what_arrives() -> None:
    with refused("little_heat", "still.power", 700.0) as told:
        bench(heat_share=0.1)
    assert "heat_share" in told.value.hint


def test_a_plate_is_switched_off_before_the_stop() -> None:
    run = bench(heated_by="plate")
    off = run.turn_off
    assert off is not None
    assert off.low_l < off.collected_l < off.high_l < run.stop.collected_l
    assert off.after_l == pytest.approx(run.stop.collected_l - off.collected_l)
    assert (
        0.02 < off.after_l < 0.15
    )  # 50 to 150 mL from a plate at its full power: common practice, no source
    assert bench(heated_by="gas").turn_off is None
    assert bench().turn_off is None


@pytest.mark.parametrize(("times", "end"), [(0.5, "high_l"), (1.5, "low_l")])
def test_the_ends_are_those_of_half_and_of_half_again_the_stored_heat(
    monkeypatch: pytest.MonkeyPatch, times: float, end: str
) -> None:
    told = getattr(bench(heated_by="plate").turn_off, end)
    plate = HEATERS["plate"]
    monkeypatch.setitem(HEATERS, "plate", plate._replace(stored_s=times * plate.stored_s))
    other = bench(heated_by="plate").turn_off
    assert other is not None
    assert other.collected_l == pytest.approx(told, rel=1e-9)


# Parrot


def test_the_parrot_beside_the_stream() -> None:
    """An 80 mL parrot on a run of 2.4 L at 38 % vol shows 60.6 % vol when the stream is at 55.0."""
    run = bench(parrot_l=0.08, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)
    assert run.stop.parrot_abv == pytest.approx(60.6, abs=0.1)
    assert note_of(run, "parrot_shows").subject == "still.parrot"
    assert note_of(run, "parrot_shows").values["parrot_abv"] == pytest.approx(60.6, abs=0.1)
    assert run.at(collected_l=0.5).parrot_abv == pytest.approx(
        float(np.interp(0.5, run.collected_l, run.parrot_abv)), abs=1e-3
    )
    assert run.at(parrot_abv=70.0).parrot_abv == pytest.approx(70.0, abs=1e-9)
    assert list(run.to_frame().columns)[-1] == "parrot_abv"
    plain = run.to_dict()
    assert len(plain["curve"]["parrot_abv"]) == len(plain["curve"]["stream_abv"])
    assert "parrot" in text_of_run(run)


def test_the_parrot_of_a_run_against_a_plain_integration_of_its_arrays() -> None:
    run = bench(parrot_l=0.08)
    v, stream, shown = run.collected_l, run.stream_abv, run.parrot_abv
    assert shown is not None
    start = float(run.at(collected_l=0.08).mean_abv)
    plain = solve_ivp(
        lambda u, a: [(run.at(collected_l=float(u)).stream_abv - a[0]) / 0.08],
        (0.08, float(v[-1])),
        [start],
        t_eval=[float(v[-1])],
        rtol=1e-9,
        atol=1e-9,
    )
    assert float(shown[-1]) == pytest.approx(float(plain.y[0, -1]), abs=1e-6)
    assert np.all(shown >= stream - 1e-9)


def test_a_stop_and_tails_by_the_parrot() -> None:
    run = bench(parrot_l=0.08, stop=Stop(parrot_abv=55.0))
    assert run.end.reason == "parrot_abv"
    assert run.stop.parrot_abv == pytest.approx(55.0, abs=1e-9)
    by_stream = bench(parrot_l=0.08)
    assert 1e3 * (run.stop.collected_l - by_stream.stop.collected_l) == pytest.approx(69.0, abs=1.5)
    cuts = Cuts(stop=Stop(stream_abv=40.0), tails_from=Stop(parrot_abv=60.0))
    tails = distil(replace(PLAIN, still=replace(PLAIN.still, parrot_l=0.08), cuts=cuts))
    assert tails.at(collected_l=tails.jars[-1].from_l if tails.jars[-1].role == "tails" else 0.0) is not None
    first_tails = next(jar for jar in tails.jars if jar.role == "tails")
    assert tails.at(collected_l=first_tails.from_l).parrot_abv == pytest.approx(60.0, abs=1e-3)


# Lost spirit


@pytest.mark.parametrize("lost", [0.0, 0.03, 0.16])
def test_charge_is_pot_and_over_and_lost(lost: float) -> None:
    run = bench(lost=lost)
    assert all(abs(miss) < 1e-9 for miss in run.closure.values())
    over_l = run.stop.collected_l * run.stop.mean_abv / 100.0
    pot_l = run.stop.pot_l * run.stop.pot_abv / 100.0
    assert over_l + pot_l + run.lost.ethanol_l == pytest.approx(run.charge.ethanol_l, rel=1e-6)
    tight = bench()
    assert run.stop.elapsed_min == pytest.approx(tight.stop.elapsed_min, rel=1e-12)
    assert run.stop.recovered == pytest.approx((1.0 - lost) * tight.stop.recovered, rel=1e-12)
    assert run.to_dict().get("lost_l", 0.0) == pytest.approx(run.lost.volume_l)
    assert all(jar.volume_l <= jar.size_l * (1.0 + 1e-5) for jar in run.jars)


def test_the_default_stop_is_a_share_of_what_can_be_collected() -> None:
    plan = replace(PLAIN, cuts=Cuts(), still=replace(PLAIN.still, lost=0.2))
    assert distil(plan).stop.recovered == pytest.approx(0.72, rel=1e-9)


def test_botanicals_lose_their_share_too() -> None:
    plan = replace(PLAIN, botanicals=(BotanicalDose("juniper", mass_g=14.0),))
    tight = distil(plan)
    leaking = distil(replace(plan, still=replace(plan.still, lost=0.1)))
    spans = ((0.0, tight.end.depletion),)
    for name, grams in tight.flavours.over_g(spans).items():
        assert leaking.flavours.over_g(spans)[name] == pytest.approx(0.9 * grams, rel=1e-9)


def test_the_book_of_alcohol_is_closed_by_what_was_left() -> None:
    book = alcohol_book(0.912, Result(collected_l=1.0, abv=72.0, pot_left_l=1.3, pot_left_abv=9.0))
    assert book is not None
    assert book.collected_l + book.pot_l + book.lost_l == pytest.approx(0.912)
    assert book.lost_share == pytest.approx(1.0 - 0.72 / (0.912 - 0.117))
    assert alcohol_book(0.912, Result(collected_l=1.0, abv=72.0)) is None
    assert alcohol_book(0.912, None) is None


# Condenser


def test_a_condenser_that_is_too_small_is_a_danger() -> None:
    run = bench(condenser_w=350.0, heat_share=0.8, heated_by="plate")
    assert run.condensing.condensing_w is not None
    (note,) = [note for note in run.heed if note.subject == "still.condenser"]
    assert note.severity == "danger"
    most = note.values["most_power_w"]
    assert run.condensing.condensing_w > 350.0
    below = bench(condenser_w=350.0, heat_share=0.8, heated_by="plate", power_w=0.995 * most)
    assert "condenser_short" not in kinds(below)
    above = bench(condenser_w=350.0, heat_share=0.8, heated_by="plate", power_w=1.005 * most)
    assert "condenser_short" in kinds(above)


def test_a_condenser_too_small_for_water() -> None:
    water = replace(PLAIN, charge=(Ingredient("water", 2.4),), cuts=Cuts(stop=Stop(collected_l=0.5)))
    run = distil(replace(water, still=replace(PLAIN.still, condenser_w=300.0)))
    assert 300.0 < told_power(run) < 700.0


def told_power(run: Run) -> float:
    (note,) = [note for note in run.heed if note.kind == "condenser_short"]
    return float(note.values["most_power_w"])


def test_a_condenser_that_leaves_the_distillate_warm_and_one_that_does_not() -> None:
    need = bench(condenser_w=5000.0).condensing
    assert need.condensing_w is not None
    assert need.condensing_w < need.duty_w
    assert "condenser_warm" in kinds(bench(condenser_w=0.5 * (need.condensing_w + need.duty_w)))
    assert not kinds(bench(condenser_w=1.01 * need.duty_w)) & {
        "condenser_warm",
        "condenser_short",
        "condenser_unknown",
    }
    assert note_of(bench(), "condenser_unknown").values["still_air_w"] == pytest.approx(35.0, abs=0.5)
    assert bench().to_dict()["condenser_duty_w"] == need.duty_w


# Build


def test_what_it_is_built_of_sets_losses_and_metal() -> None:
    bare, glass, steel = bench(), bench(built_of="glass"), bench(built_of="steel")
    of = {name: run.setting.still.conditions for name, run in {"glass": glass, "steel": steel}.items()}
    assert of["glass"].neck_loss_w_per_k > 1.3 * of["steel"].neck_loss_w_per_k
    assert steel.setting.still.metal_j_per_k > 0.0 == bare.setting.still.metal_j_per_k
    assert "assumed_pot_mass_by_size" in kinds(steel)
    said = bench(built_of="copper", neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0, pot_mass_kg=1.0)
    assert said.setting.still.conditions.neck_loss_w_per_k == 0.6
    assert said.setting.still.metal_j_per_k == pytest.approx(390.0)


def test_the_wall_above_the_liquid_makes_reflux() -> None:
    """At 300 W the split moves the keep by more than at 700 W; its size is that of losses alone."""
    gains = []
    for power in (300.0, 700.0):
        split = bench(built_of="steel", power_w=power)
        c = split.setting.still.conditions
        head = 0.3  # W/K: lid and neck without the wall
        dry = c.neck_loss_w_per_k - head
        alone = bench(power_w=power, neck_loss_w_per_k=head, pot_loss_w_per_k=c.pot_loss_w_per_k + dry)
        gains.append(split.keep.abv - alone.keep.abv)
    assert gains[0] > 1.5 * gains[1] > 0.0


# Height


def test_a_stop_by_vapour_at_a_height_says_what_it_means() -> None:
    run = bench(altitude_m=1500.0, stop=Stop(vapour_c=87.0))
    (note,) = [note for note in run.at_the_stop if note.kind == "vapour_stop_here"]
    here = run.setting.still.conditions.pressure_pa
    y = equilibrium.bubble_point(equilibrium.dew_point(0.5, here).x, here).y
    assert y == pytest.approx(0.5, abs=1e-9)
    for value, start, end in ((87.0, here, 101325.0), (92.0, 101325.0, here)):
        other = same_vapour_c(value, start, end)
        assert other is not None
        assert same_vapour_c(other, end, start) == pytest.approx(value, abs=0.02)
    assert same_vapour_c(92.0, 101325.0, here) == pytest.approx(87.0, abs=0.6)  # published: 5 K at 1,500 m
    assert note.values["sea_level_c"] > 87.0 > note.values["here_c"]
    assert "vapour_stop_here" not in kinds(bench(stop=Stop(vapour_c=92.0)))
    assert same_vapour_c(50.0, 101325.0, here) is None


def test_varied_height_shows_temperatures(capsys: pytest.CaptureFixture[str]) -> None:
    low, high = bench(), bench(altitude_m=2000.0)
    assert outcome(high).boils_c < outcome(low).boils_c - 5.0  # 6 to 7 K at 2,000 m, published
    assert outcome(high).vapour_c == high.stop.vapour_c
    assert cli.main(["strengths", "--vary", "still.altitude", "--values", "0 m, 2000 m"]) == 0
    assert "boils" in capsys.readouterr().out


# Cautions


def test_strong_charges_with_botanicals() -> None:
    assert fire(50.0, with_botanicals=True) == ()
    assert fire(50.0) != ()
    assert fire(65.0, with_botanicals=True) != ()
    assert any(note.subject == "sugar" for note in ALWAYS)


def test_ground_solids_on_a_bare_element() -> None:
    ground = (BotanicalDose("coriander seed", mass_g=10.0, prepared="ground"),)
    run = distil(replace(PLAIN, botanicals=ground))
    assert "ground_on_element" in kinds(run)
    plate = distil(replace(PLAIN, botanicals=ground, still=replace(PLAIN.still, heated_by="plate")))
    assert "ground_on_element" not in kinds(plate)


@pytest.mark.parametrize("abv", [0.05, 0.16, 0.5, 2.0, 12.0])
def test_pooled_strength_is_never_above_what_ran(abv: float) -> None:
    run = distil(replace(PLAIN, charge=(Ingredient("base", 2.4, abv),), cuts=Cuts(stop=Stop(recovered=0.5))))
    s = np.concatenate([[0.0], np.logspace(-12, -1, 100)])
    states = run.course.at(s)
    mean = states.mean_abv
    assert np.all(mean <= states.stream_abv.max() + 2e-6)
    assert np.all(run.mean_abv <= run.stream_abv[0])


# Refusals


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            'heat_share = "0 %"',
            ("range", "still.heat_share", "0 %", "more than 0 and at most 1 (0.6 is 60 %)"),
        ),
        ('heat_share = "140 %"', ("quantity", "still.heat_share", "140 %")),
        ('parrot = "2 L"', ("large_parrot", "still.parrot", 2.0)),
        ('parrot = "0 mL"', ("range", "still.parrot", "0 mL")),
        ('condenser = "0 W"', ("range", "still.condenser", "0 W", "more than 0 and at most 1,000,000 W")),
        ('heated_by = "wood"', ("unknown_name", "still.heated_by", "wood")),
        ('built_of = "tin"', ("unknown_name", "still.built_of", "tin")),
        ('lost = "60 %"', ("range", "still.lost", "60 %, that is 0.6 of what comes over (0 to 1)")),
    ],
)
def test_bad_input_is_refused_with_what_to_do(say, line: str, words: Record, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        f'title = "t"\n[[charge]]\nname = "base"\nvolume = "2.4 L"\nabv = "38 %"\n[still]\n{line}\n'
        '[cuts]\nstop = { stream_abv = "55 %" }\n',
        encoding="utf-8",
    )
    said = say("run", str(plan))
    assert said.code == 2
    assert is_refusal(said.error, *words)
    assert "hint: " in said.err


def test_a_stop_by_a_parrot_that_is_not_there() -> None:
    with refused("alone", "cuts.stop.parrot_abv", 55.0, error=PotsimError):
        bench(stop=Stop(parrot_abv=55.0))


def test_every_key_is_read_from_a_file_and_written_back(tmp_path: Path) -> None:
    text = (
        'title = "t"\n[[charge]]\nname = "base"\nvolume = "2.4 L"\nabv = "38 %"\n'
        '[still]\ncapacity = "4 L"\npower = "700 W"\nheated_by = "plate"\nheat_share = "60 %"\n'
        'parrot = "80 mL"\ncondenser = "650 W"\nbuilt_of = "copper"\nlost = "3 %"\n'
        '[cuts]\nstop = { parrot_abv = "55 %" }\n[uncertainty]\npower = "10 %"\nlost = "1 %"\n'
    )
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    plan = potsim.load_plan(path)
    s = plan.still
    assert (s.heated_by, s.heat_share, s.parrot_l, s.condenser_w, s.built_of, s.lost) == (
        "plate", 0.6, 0.08, 650.0, "copper", 0.03,
    )  # fmt: skip
    assert plan.cuts.stop.parrot_abv == 55.0
    assert (plan.uncertainty.power, plan.uncertainty.lost) == (0.1, 0.01)
    whole = json.loads(json.dumps(distil(plan).to_dict()))
    again = Run.from_dict(whole).plan
    assert again.still == plan.still
    assert again.cuts == plan.cuts


def test_the_example_changes_by_what_is_named_alone() -> None:
    """New keys left out leave the run as it is: all of the heat, nothing lost, no parrot."""
    run = distil(potsim.example_plan())
    still = run.setting.still
    assert (still.heat_share, still.lost, still.parrot_l) == (1.0, 0.0, None)
    assert run.parrot_abv is None
    assert "parrot_abv" not in run.to_dict()["curve"]
    assert "lost_l" not in run.to_dict()


def test_a_stop_by_the_parrot_is_followed() -> None:
    """Readings of the run itself: what is still to come is near the plan's own."""
    run = bench(parrot_l=0.08, stop=Stop(parrot_abv=55.0))
    found: list[Reading] = []
    for place in (0.2, 0.4, 0.6, 0.8):
        seen = run.at(collected_l=place)
        entry = Entry(elapsed_min=seen.elapsed_min, collected_l=place, read_abv=seen.stream_abv)
        found.append(next_reading(found, entry))
    ahead = follow(run, found, hold_up_l=0.0)
    assert ahead.stop_reason == "parrot_abv"
    assert ahead.stop_l.value == pytest.approx(run.stop.collected_l, abs=0.01)


def test_powers_told_on_the_way_are_those_on_the_plate() -> None:
    run = bench(heat_share=0.6)
    entry = Entry(elapsed_min=60.0, collected_l=0.3, read_abv=80.0, power_w=700.0)
    first_w, changes = powers(run, [next_reading([], entry)])
    assert first_w == run.setting.still.conditions.power_w
    assert changes == ()


def test_a_run_that_loses_spirit_is_followed() -> None:
    run = bench(lost=0.1)
    found: list[Reading] = []
    for place in (0.2, 0.4, 0.6):
        seen = run.at(collected_l=place)
        entry = Entry(elapsed_min=seen.elapsed_min, collected_l=place, read_abv=seen.stream_abv)
        found.append(next_reading(found, entry))
    ahead = follow(run, found, hold_up_l=0.0)
    assert ahead.stop_l.value == pytest.approx(run.stop.collected_l, abs=0.01)
    assert ahead.stop_min.value == pytest.approx(run.stop.elapsed_min, abs=0.5)


def test_a_recipe_for_another_size_takes_parrot_and_condenser_along() -> None:
    plan = replace(PLAIN, still=replace(PLAIN.still, parrot_l=0.08, condenser_w=900.0))
    made = to_charge(plan, 24.0).plan.still
    assert made.parrot_l == pytest.approx(0.8)
    assert made.condenser_w == pytest.approx(9000.0)


def test_a_spoonful_of_spirit_and_a_pot_that_boils_at_once_are_asked_about() -> None:
    plan = potsim.Plan.from_dict(
        {
            "charge": [
                {"name": "spirit", "volume": "1.500 L", "abv": "40 %"},
                {"name": "rum", "volume": "1.500 mL", "abv": "60 %"},
            ],
            "still": {"power": "70 kW", "capacity": "4 L"},
        }
    )
    found = {note.kind: note for note in potsim.distil(plan).notes}
    assert found["tiny_part"].subject == "rum"
    assert found["tiny_part"].values["volume_l"] == pytest.approx(0.0015)
    assert found["boils_at_once"].values["seconds"] < 60.0
