"""The rest of a run forecast: stops, jars, flavours, the element; the command and its picture."""

from __future__ import annotations

import io
import itertools
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import matplotlib.figure
import numpy as np
import pytest
from following_cases import the_plan
from matplotlib.collections import PathCollection
from refusals import Record, is_refusal, refused

import potsim
from potsim.interfaces.commands import follow as command
from potsim.interfaces.plots.others import figure_of_follow, plot_follow
from potsim.interfaces.report.underway import text_of_forecast
from potsim.interfaces.report.words import words
from potsim.planning.events import Read, Remark, Taste
from potsim.planning.forecast import Follower, Forecast, follow
from potsim.planning.journal import Journal
from potsim.planning.notes import hint
from potsim.planning.plan import Bottling, Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.planning.run import Run, distil


def read(run: Run, places: list[float], **off: float) -> list[Reading]:
    found: list[Reading] = []
    for place in places:
        seen = run.at(collected_l=place)
        entry = Entry(
            elapsed_min=seen.elapsed_min,
            collected_l=place,
            read_abv=seen.stream_abv + off.get("abv", 0.0),
            vapour_c=seen.vapour_c,
        )
        found.append(next_reading(found, entry))
    return found


@pytest.fixture(scope="module")
def half_way(example_run: Run) -> Forecast:
    return follow(example_run, read(example_run, [0.1, 0.2, 0.3, 0.4, 0.5]))


def test_what_is_still_to_come_is_the_plan_less_what_is_collected(
    example_run: Run, half_way: Forecast
) -> None:
    now, stop = example_run.at(collected_l=0.5), example_run.stop
    assert half_way.to_come_l.value == pytest.approx(stop.collected_l - 0.5, abs=2e-4)
    assert half_way.to_come_min.value == pytest.approx(stop.elapsed_min - now.elapsed_min, abs=0.05)
    ethanol = stop.collected_l * stop.mean_abv - 0.5 * now.mean_abv
    assert half_way.to_come_abv.value == pytest.approx(ethanol / (stop.collected_l - 0.5), abs=0.4)
    assert half_way.stream_abv.value == pytest.approx(now.stream_abv, abs=0.01)
    assert half_way.mean_abv.value == pytest.approx(now.mean_abv, abs=0.01)
    assert half_way.stop_mean_abv.value == pytest.approx(stop.mean_abv, abs=0.02)
    for band in (half_way.to_come_l, half_way.to_come_min, half_way.stream_abv):
        assert band.low < band.value < band.high


def test_one_sentence_says_what_to_do(half_way: Forecast) -> None:
    said = str(half_way)
    assert said.startswith("Collect ")
    assert " mL more, about " in said
    assert said.endswith("until the stream has fallen to 55 % vol.")


STOPS = [
    (Stop(pot_abv=12.0), lambda s: s.pot_abv, 12.0),
    (Stop(vapour_c=89.0), lambda s: s.vapour_c, 89.0),
    (Stop(collected_l=0.9), lambda s: s.collected_l, 0.9),
    (Stop(recovered=0.8), lambda s: s.recovered, 0.8),
    (Stop(elapsed_min=40.0), lambda s: s.elapsed_min, 40.0),
]


@pytest.mark.parametrize(("stop", "quantity", "value"), STOPS)
def test_stops_of_every_kind(stop: Stop, quantity: Callable[[object], float], value: float) -> None:
    run = distil(replace(the_plan(), cuts=Cuts(stop=stop)))
    made = follow(run, read(run, [0.1, 0.3]))
    assert made.stop_reason == run.end.reason
    assert made.stop_l.value == pytest.approx(run.stop.collected_l, abs=5e-4)
    assert quantity(run.at(collected_l=min(made.stop_l.value, run.stop.collected_l))) == pytest.approx(
        value, rel=3e-3
    )


def test_a_stop_that_hangs_on_the_botanicals_comes_at_the_share_planned() -> None:
    plan = potsim.example_plan()
    run = distil(replace(plan, cuts=Cuts(stop=Stop(over={"juniper": 0.9}))))
    made = follow(run, read(run, [0.1, 0.2]))
    assert made.stop_reason == run.end.reason == "over"
    assert made.stop_l.value == pytest.approx(run.stop.collected_l, abs=5e-4)


def test_past_the_stop_it_says_stop_now(example_run: Run) -> None:
    late = distil(replace(example_run.plan, botanicals=(), cuts=Cuts(stop=Stop(stream_abv=45.0))))
    made = follow(example_run, read(late, [0.3, 0.6, 0.9, late.stop.collected_l]))
    assert made.over
    assert str(made) in text_of_forecast(made)
    assert (made.to_come_l.value, made.jar, made.next_jar) == (0.0, None, None)
    assert made.to_dict()["stop"]["reached"] is True


def test_the_jar_under_the_spout_and_the_next(example_run: Run, half_way: Forecast) -> None:
    planned = next(jar for jar in example_run.jars if jar.from_l <= 0.5 < jar.to_l)
    jar, after = half_way.jar, half_way.next_jar
    assert jar is not None
    assert after is not None
    assert jar.number == planned.number
    assert jar.holds_l == pytest.approx(0.5 - planned.from_l, abs=1e-6)
    assert jar.full_in_l == pytest.approx(planned.to_l - 0.5, abs=1e-6)
    assert jar.full_abv == pytest.approx(planned.abv, abs=0.02)
    assert jar.full_in_min == pytest.approx(
        planned.full_min - example_run.at(collected_l=0.5).elapsed_min, abs=0.05
    )
    assert after.number == jar.number + 1
    assert after.full_abv == pytest.approx(example_run.jars[after.number - 1].abv, abs=0.02)


def test_what_the_still_holds_back_is_not_in_the_jar(example_run: Run) -> None:
    planned = next(jar for jar in example_run.jars if jar.from_l <= 0.5 < jar.to_l)
    jar = follow(example_run, read(example_run, [0.2, 0.5]), 0.05).jar
    assert jar is not None
    assert jar.number == planned.number
    assert jar.holds_l == pytest.approx(0.5 - planned.from_l, abs=1e-6)


def test_jars_that_were_read_are_where_they_were(example_run: Run) -> None:
    found: list[Reading] = []
    for _ in range(3):
        found.append(next_reading(found, Entry(jar_l=0.07, of="jar", read_abv=79.5)))
    found.append(next_reading(found, Entry(collected_l=0.23)))
    jar = follow(example_run, found).jar
    assert jar is not None
    assert (jar.number, jar.size_l) == (4, 0.06)
    assert jar.holds_l == pytest.approx(0.02)
    assert jar.full_in_l == pytest.approx(0.04, abs=1e-5)


def test_a_pool_is_no_jar_taken_away(example_run: Run) -> None:
    pools: list[Reading] = []
    for at_l in (0.2, 0.4):
        pools.append(next_reading(pools, Entry(of="pooled", collected_l=at_l)))
    streams: list[Reading] = []
    for at_l in (0.2, 0.4):
        streams.append(next_reading(streams, Entry(collected_l=at_l)))
    planned = next(jar for jar in example_run.jars if jar.from_l <= 0.4 < jar.to_l)
    found = [follow(example_run, readings).jar for readings in (pools, streams)]
    assert [one and one.number for one in found] == [planned.number] * 2


def test_readings_that_contradict_the_plan_are_not_called_too_few() -> None:
    found: list[Reading] = []
    for minute, at_l, abv in ((18, 0.03, 60), (25, 0.2, 58), (34, 0.4, 55), (42, 0.6, 50)):
        found.append(next_reading(found, Entry(elapsed_min=minute, collected_l=at_l, read_abv=abv)))
    charge = (Ingredient("base spirit", 1.5, 60.0), Ingredient("water", 0.9))
    plan = Plan(
        charge=charge,
        still=StillPlan(capacity_l=4.0, power_w=700.0),
        cuts=Cuts(heads_l=0.03, stop=Stop(stream_abv=55.0)),
    )
    run = distil(plan)
    said = {note.kind: note.values for note in follow(run, found).verdicts}
    assert (said["contradicts_plan"]["times"], said["contradicts_plan"]["strengths"]) == (4, 4)
    assert not {"neck_not_told", "heat_not_told"} & said.keys()


def test_flavours_on_now_and_next(example_run: Run) -> None:
    start = follow(example_run, [])
    middle = follow(example_run, read(example_run, [0.2, 0.4, 0.6]))
    timed = [f for f in example_run.flavours.botanicals if f.passage is not None]
    on = {f.botanical for f in timed if f.passage.start_l <= 0.6 <= f.passage.end_l}
    assert {f.botanical for f in middle.flavours_now} == on
    next_first = min(timed, key=lambda f: f.passage.start_l)
    assert start.flavours_next[0].botanical == next_first.botanical
    assert start.flavours_next[0].from_in_l == pytest.approx(next_first.passage.start_l, abs=0.005)


def test_when_the_element_would_be_bare(example_run: Run) -> None:
    still = replace(example_run.plan.still, min_level_l=1.6)
    run = distil(replace(example_run.plan, botanicals=(), still=still, cuts=Cuts(stop=Stop(stream_abv=58.0))))
    assert run.end.reason == "min_level"
    made = follow(run, read(run, [0.2, 0.4]))
    assert made.stop_reason == "min_level"
    assert made.bare is not None
    assert made.bare.in_l == pytest.approx(run.stop.collected_l - 0.4, abs=1e-3)
    assert made.bare.in_min == pytest.approx(made.to_come_min.value, abs=0.01)
    assert "element bare" in text_of_forecast(made)
    none = distil(replace(run.plan, still=replace(still, min_level_l=None)))
    assert follow(none, []).bare is None


def test_the_forecast_does_not_hang_on_the_way_there(example_run: Run) -> None:
    found = read(example_run, [0.1, 0.2, 0.3, 0.45, 0.6, 0.75], abv=0.4)
    follower = Follower(example_run)
    for k in range(len(found) + 1):
        step = follower.update(found[:k])
        alone = follow(example_run, found[:k])
        room = 0.05 * (alone.stop_l.high - alone.stop_l.low)
        assert step.stop_l.value == pytest.approx(alone.stop_l.value, abs=room)
        assert step.stop_l.high == pytest.approx(alone.stop_l.high, abs=2.0 * room)


def test_the_heat_up_tells_of_power_but_not_of_the_run(example_run: Run) -> None:
    found = [next_reading([], Entry(elapsed_min=2.0, pot_c=40.0, power_w=1200.0))]
    assert follow(example_run, found).readings == ()
    found.append(next_reading(found, Entry(elapsed_min=9.0, collected_l=0.0, power_w=600.0)))
    made = follow(example_run, found)
    assert len(made.readings) == 1
    assert made.fit.bench.power_w == 600.0


def test_plain_data_for_programs(half_way: Forecast) -> None:
    told = json.loads(json.dumps(half_way.to_dict(), allow_nan=False))
    assert told["readings"][0]["as_read"]["read_abv"] == half_way.readings[0].entry.read_abv
    assert told["readings"][0]["abv"] == half_way.readings[0].abv
    assert {one["kind"] for one in told["readings"][0]["against_fit"]} == {"strength", "vapour", "time"}
    assert told["still"]["learnt"]["ratio"]["standard_error"] > 0.0
    assert len(told["curve"]["abv"]) == len(told["curve"]["collected_l"])
    assert told["band"] == 0.9


def test_the_report_fits_80_columns_and_shows_raw_and_corrected(example_run: Run) -> None:
    found = [next_reading([], Entry(collected_l=0.2, read_abv=80.0, read_c=25.0))]
    text = text_of_forecast(follow(example_run, found), ["Read with care."])
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "80.0" in text
    assert f"{found[0].abv:.1f}" in text
    assert "Read with care." in text


def test_the_picture_draws_on_the_axes_given(half_way: Forecast) -> None:
    figure = matplotlib.figure.Figure()
    first, second = figure.subplots(1, 2)
    assert plot_follow(half_way, first) is first
    assert not second.has_data()
    assert "mL" in first.get_xlabel()
    assert "% vol" in first.get_ylabel()
    texts = [text.get_text() for text in first.texts]
    assert any(text.startswith("stop at ") for text in texts)
    assert "now, 500 mL" in texts
    points = [c for c in first.collections if isinstance(c, PathCollection)]
    assert len(points) == 5
    whole = figure_of_follow(half_way)
    assert "Collect" in whole.get_suptitle()


def test_every_kind_of_sample_is_drawn(example_run: Run) -> None:
    found: list[Reading] = []
    for of, more in (("stream", {}), ("parrot", {"parrot_l": 0.05}), ("pooled", {})):
        entry = Entry(collected_l=0.1 + 0.1 * len(found), read_abv=79.0, of=of, **more)
        found.append(next_reading(found, entry))
    found.append(next_reading(found, Entry(of="jar", jar_l=0.1, read_abv=78.0)))
    axes = plot_follow(follow(example_run, found), matplotlib.figure.Figure().add_subplot())
    assert {"parrot", "pooled", "jar"} <= {text.get_text() for text in axes.texts}


def test_a_reading_left_out_is_crossed(example_run: Run) -> None:
    found = read(example_run, [0.1, 0.2, 0.3])
    found.append(next_reading(found, Entry(collected_l=0.4, read_abv=60.0)))
    axes = plot_follow(follow(example_run, found))
    assert "left out" in [text.get_text() for text in axes.texts]


# --- The command.

TABLE = "time (min);collected (mL);strength (%);read at (°C)\n20;100;70,5;22\n25;200;68,9;22\n"


@pytest.fixture
def table(say: Callable[..., object]) -> None:
    Path("readings.csv").write_text(TABLE, encoding="utf-8")


@pytest.mark.usefixtures("table")
def test_follow_prints_a_report_a_picture_and_a_still(say: Callable[..., object]) -> None:
    said = say("follow", "quince.toml", "readings.csv", "--plot", "now.svg", "--hold-up", "10 mL")
    assert (said.code, "Written: now.svg" in said.err) == (0, True)
    assert "Quince, second trial" in said.out
    assert "Commas in numbers are read as decimal commas." in said.out.replace("\n    ", " ")
    assert Path("now.svg").stat().st_size > 10_000
    told = json.loads(say("follow", "quince.toml", "readings.csv", "--json").out)
    assert told["now"]["collected_l"] == pytest.approx(0.2)
    read = {note["kind"]: note for note in told["notes"]}["decimal_commas"]
    assert (read["severity"], read["words"]) == ("hint", "Commas in numbers are read as decimal commas.")


REFUSED = [
    ((), ("usage", "potsim follow", "PLAN")),
    (("quince.toml",), ("argument_missing", "potsim follow", "READINGS")),
    (("quince.toml", ""), ("empty_name", "READINGS", "")),
    (("quince.toml", "reading.csv"), ("no_file", "", "reading.csv")),
    (("quince.toml", "readings.csv", "--enter"), ("exclude", "potsim follow", "READINGS")),
    (("quince.toml", "--enter", "--json"), ("exclude", "potsim follow", "--json")),
    (("quince.toml", "--enter", "--plot", "a.svg"), ("exclude", "potsim follow", "--plot")),
    (("quince.toml", "--enter", "--save-still", "a.toml"), ("exclude", "potsim follow", "--save-still")),
    (("quince.toml", "readings.csv", "--journal", "x"), ("goes_with", "--journal")),
    (("quince.toml", "readings.csv", "--hold-up", "ten"), ("quantity", "--hold-up", "ten")),
    (("quince.toml", "readings.csv", "--plot", "a.gif"), ("suffix", "", "a.gif")),
    (("quince.toml", "readings.csv", "--save-still", "a.txt"), ("suffix", "", "a.txt")),
    (("quince.toml", "readings.csv", "--save-still", "quince.toml"), ("plan_itself",)),
    (("quince.toml", "--enter", "--journal", "readings.csv"), ("file_no_journal", "", "readings.csv")),
    (("quince.toml", "readings.csv", "--save-still", "other.toml"), ("no_still",)),
]


@pytest.mark.usefixtures("table")
@pytest.mark.parametrize(("arguments", "record"), REFUSED)
def test_what_follow_refuses(say: Callable[..., object], arguments: tuple[str, ...], record: Record) -> None:
    Path("other.toml").write_text("title = 'x'\n", encoding="utf-8")
    before = sorted(path.name for path in Path().iterdir())
    said = say("follow", *arguments)
    assert said.code == 2
    assert is_refusal(said.error, *record)
    assert sorted(path.name for path in Path().iterdir()) == before


def test_readings_typed_at_the_still_are_answered_and_saved(
    say: Callable[..., object], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = (
        "20 min, 100 mL, 79,5 % at 22 °C\n\nbanana\n22 min, 90 mL\n25 min, 200 mL, 58 %\n"
        "26 min, 30 L, 58 %\n26 250 mL 58 %\nheat off\n"
        "strike 2\nstrike 7\ntaste 1 green apple\n"
        "taste well\nnote door open, a draught\n?\nall\nend\n30 min, 300 mL\n"
    )
    monkeypatch.setattr(command.sys, "stdin", io.StringIO(typed))
    done = say("follow", "quince.toml", "--enter")
    assert done.code == 0
    for banana in ("banana", "90 mL", "reading 7", "'well'", "30 L", "26 250"):
        assert sum("Not taken" in told and banana in told for told in done.err.splitlines()) == 1
    assert done.err.count("Not taken") == 6
    assert done.out.count("Collect ") >= 4
    journal = Journal.read(Path("quince.readings.jsonl"))
    assert [r.collected_l for r in journal.readings] == [0.1]
    assert journal.latest(Taste, jar=1).word == "green apple"
    assert journal.all_of(Remark) == (Remark("door open, a draught"),)


def test_a_reading_that_cannot_be_is_set_aside_and_taken_back(
    say: Callable[..., object], monkeypatch: pytest.MonkeyPatch
) -> None:
    with Journal.open("old.jsonl", Path("quince.toml").read_text(encoding="utf-8")) as journal:
        for litres in (0.1, 30.0):
            journal.append(Read(Entry(collected_l=litres, read_abv=70.0)))
    told = say("follow", "quince.toml", "old.jsonl")
    assert told.code == 0
    assert "strike 2" in told.out
    monkeypatch.setattr(command.sys, "stdin", io.StringIO("200 mL, 69 %\nstrike 2\n"))
    assert say("follow", "quince.toml", "--enter", "--journal", "old.jsonl").code == 0
    assert [reading.collected_l for reading in Journal.read("old.jsonl").readings] == [0.1, 0.2]
    assert Journal.read("old.jsonl").aside == ()
    monkeypatch.setattr(command.sys, "stdin", None)
    assert say("follow", "quince.toml", "--enter").code == 2


def test_a_reading_taken_back_leaves_nothing_behind(example_run: Run) -> None:
    places = [0.1, 0.2, 0.3, 0.4]
    right = read(example_run, places)
    slip = [replace(r, abv=r.abv - 6.0) if r.number == 3 and r.abv else r for r in right]
    follower = Follower(example_run)
    for upto in range(1, 5):
        with_slip = follower.update(slip[:upto])
    without = [slip[0], slip[1], slip[3]]
    assert with_slip.stop_l.value != follow(example_run, without).stop_l.value
    assert follower.update(without).to_dict() == follow(example_run, without).to_dict()
    assert follower.update(slip[:2]).to_dict() == follow(example_run, slip[:2]).to_dict()


def test_going_on_after_a_crash_and_forecasting_from_the_journal(
    say: Callable[..., object], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = iter(["100 mL, 70.5 %\n", "200 mL, 69 %\n"])

    class Typed:
        def readline(self) -> str:
            return next(lines)

        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(command.sys, "stdin", Typed())
    crashed = say("follow", "quince.toml", "--enter", "--journal", "j.jsonl")
    assert crashed.code == 1  # no more lines: StopIteration stands for anything unforeseen
    assert "1> " in crashed.err
    with Path("j.jsonl").open("a", encoding="utf-8") as file:
        file.write('{"record": "rea')
    lines = iter(["300 mL, 66 %\n", ""])
    again = say("follow", "quince.toml", "--enter", "--journal", "j.jsonl")
    assert again.code == 0
    assert "Going on after 2 readings." in again.err
    assert "torn off while it was written" in again.err
    told = json.loads(say("follow", "quince.toml", "j.jsonl", "--json").out)
    assert [one["collected_l"] for one in told["readings"]] == [0.1, 0.2, 0.3]
    plan = Path("quince.toml")
    kept = plan.read_text(encoding="utf-8")
    plan.write_text(f"{kept}# Tasted a week later.\n", encoding="utf-8")  # what is planned is the same
    assert "no longer as it was" not in say("follow", "quince.toml", "j.jsonl").out.replace("\n    ", " ")
    plan.write_text(kept.replace("1.2 L", "1.3 L"), encoding="utf-8")
    assert "no longer as it was" in say("follow", "quince.toml", "j.jsonl").out.replace("\n    ", " ")
    assert say("follow", "quince.toml", "--enter", "--journal", "j.jsonl").code == 2


def test_a_run_is_counted_in_a_still_once(say: Callable[..., object]) -> None:
    run = potsim.distil(potsim.load_plan("quince.toml"))
    lines = ["time (min),collected (mL),strength (%)"]
    for place in np.linspace(0.05, 0.9 * run.stop.collected_l, 15):
        seen = run.at(collected_l=float(place))
        lines.append(f"{seen.elapsed_min:.2f},{1000.0 * place:.1f},{seen.stream_abv:.2f}")
    Path("readings.csv").write_text("\n".join(lines), encoding="utf-8")
    first = say("follow", "quince.toml", "readings.csv", "--save-still", "still.toml")
    assert first.code == 0
    kept = Path("still.toml").read_text(encoding="utf-8")
    twice = say("follow", "quince.toml", "readings.csv", "--save-still", "still.toml")
    assert twice.code == 0
    assert words(hint("run_known")) in " ".join(twice.err.split())
    assert Path("still.toml").read_text(encoding="utf-8") == kept
    Path("readings.csv").write_text("\n".join([lines[0], *lines[2:]]), encoding="utf-8")
    assert say("follow", "quince.toml", "readings.csv", "--save-still", "still.toml").code == 0
    assert Path("still.toml").read_text(encoding="utf-8") != kept


def test_a_run_of_water_is_not_followed(example_run: Run) -> None:
    assert math.isfinite(example_run.charge.ethanol_mol)
    water = distil(
        replace(
            example_run.plan,
            botanicals=(),
            charge=example_run.plan.charge[2:],
            cuts=Cuts(),
            bottling=Bottling(),
        )
    )
    with refused("no_alcohol"):
        follow(water, [])


def test_a_pool_as_planned_changes_nothing_and_a_weaker_one_is_learnt() -> None:
    run = potsim.distil(the_plan())
    at_l = 0.3
    planned = run.at(collected_l=at_l).mean_abv
    as_planned = Follower(run).update(
        [next_reading([], Entry(of="pooled", collected_l=at_l, read_abv=planned))]
    )
    # A stream this strong so early would be far off: the mean of a pool lies above its last drop.
    assert abs(as_planned.fit.residuals[0].off) < 0.05
    weaker = Follower(run).update(
        [next_reading([], Entry(of="pooled", collected_l=at_l, read_abv=planned - 3.0))]
    )
    assert weaker.fit.value("charge_abv") < as_planned.fit.value("charge_abv")


def test_readings_that_agree_never_make_the_stop_less_sure() -> None:
    run = potsim.distil(replace(potsim.example_plan(), botanicals=()))
    told, widths = [], []
    for place in (None, 0.1, 0.25, 0.45):
        if place is not None:
            seen = run.at(collected_l=place)
            row = {"time": f"{seen.elapsed_min} min", "strength": f"{seen.stream_abv} %"}
            told.append({**row, "collected": f"{place} L"})
        found = run.follow(told)
        widths.append([band.high - band.low for band in (found.stop_l, found.stop_min, found.stop_mean_abv)])
    for one, other in itertools.pairwise(widths):
        assert all(after <= 1.02 * before for before, after in zip(one, other, strict=True))
