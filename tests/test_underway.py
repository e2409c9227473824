"""A run under way: jars as they are, what to do next, and water by the fitted course or by what was measured.

The truth is another still than the plan's, computed apart from the package (`other_still`): its own
equilibrium, losses and hold-up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from following_cases import the_plan, truth
from refusals import refused

import potsim
from potsim.liquid import strength
from potsim.planning.events import Full, Heat, Measured, Pool, Read, Taste, Water
from potsim.planning.forecast import follow
from potsim.planning.journal import Journal
from potsim.planning.readings import Entry
from potsim.planning.run import Run
from potsim.planning.underway import FIRST_SHARE, UnderWay

NOON = datetime(2025, 3, 1, 12, tzinfo=UTC)
READINGS = 10
WATER_G_PER_L = 998.2
LABEL_PM = 0.2  # % vol by which a bottle may miss its label, the strength of the keep being measured
STILLS = 12


@pytest.fixture(scope="module")
def run() -> Run:
    return potsim.distil(the_plan())


def after(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


@dataclass(frozen=True)
class Played:
    """A run of another still, read and noted to its end, and what really is in its jars of the keep."""

    under_way: UnderWay
    journal: Journal
    keep: strength.Mixture


def played(run: Run, seed: int, path: Path) -> Played:
    """Let another still run to where its spout has fallen to the stop's strength."""
    rng = np.random.default_rng(seed)
    seen = truth(rng, run)
    end = seen.stop["collected_l"]
    journal = Journal.open(path, "title = 'x'\n")
    journal.append(Heat(True), at=NOON)
    for place in np.linspace(0.06, 0.98 * end, READINGS):
        here = seen.at(float(place))
        entry = Entry(
            elapsed_min=here["elapsed_min"] + 0.3 * rng.standard_normal(),
            collected_l=float(place) + 0.002 * rng.standard_normal(),
            read_abv=here["abv"] + 0.3 * rng.standard_normal(),
        )
        journal.append(Read(entry))
    pure = np.append(
        0.0, np.cumsum(0.005 * (seen.spout_abv[1:] + seen.spout_abv[:-1]) * np.diff(seen.collected_l))
    )
    begin, kept = 0.0, []
    for jar in run.jars:
        close = min(jar.to_l, end) if jar.number < len(run.jars) else end
        if close <= begin:
            break
        at = after(seen.at(close)["elapsed_min"])
        journal.append(Full(jar.number, round(close - begin, 3)), at=at)
        if jar.role == "keep":
            ethanol = float(np.diff(np.interp([begin, close], seen.collected_l, pure))[0])
            kept.append((close - begin, 100.0 * ethanol / (close - begin)))
        begin = close
    journal.append(Heat(False), at=after(seen.at(end)["elapsed_min"]))
    mixed = strength.mix(*map(list, zip(*kept, strict=True)))
    return Played(UnderWay(run, journal, follow(run, journal.readings)), journal, mixed)


def test_water_for_a_still_with_other_losses(run: Run, tmp_path: Path) -> None:
    planned = run.proofing
    assert planned is not None
    target = planned.target_abv
    held, misses, blind, unaided = 0, [], [], []
    for seed in range(STILLS):
        made = played(run, seed, tmp_path / f"{seed}.jsonl")
        keep = made.keep
        wanted = WATER_G_PER_L * float(strength.water_to_reach(keep.volume_l, keep.abv, target))
        forecast = made.under_way.pour()
        assert forecast.water_g is not None
        held += forecast.water_g.low <= wanted <= forecast.water_g.high
        assert forecast.first_g <= min(FIRST_SHARE * forecast.water_g.value, forecast.water_g.low) + 1e-9
        blind.append(abs(forecast.water_g.value - wanted))
        unaided.append(abs(1000.0 * planned.water_kg - wanted))
        made.journal.append(Measured(round(1000.0 * keep.mass_kg), None, round(keep.abv, 1), 20.0))
        poured = made.under_way.pour()
        assert poured.water_g is not None
        bottled = strength.mix([keep.volume_l, poured.water_g.value / WATER_G_PER_L], [keep.abv, 0.0])
        misses.append(abs(bottled.abv - target))
        made.journal.close()
    assert max(misses) <= LABEL_PM
    assert held >= 0.8 * STILLS  # nine in ten, less what chance takes of a dozen
    assert np.median(blind) < 0.5 * np.median(unaided)


def test_the_rest_of_the_water_after_the_first_part(run: Run, tmp_path: Path) -> None:
    made = played(run, 3, tmp_path / "x.jsonl")
    made.journal.append(Measured(900.0, None, 73.0, 20.0), at=after(200))
    first = made.under_way.pour()
    assert first.water_g is not None
    made.journal.append(Water(first.first_g), at=after(210))
    second = made.under_way.pour()
    assert second.water_g is not None
    assert second.water_g.value == pytest.approx(first.water_g.value - first.first_g, abs=0.5)
    assert second.first_g == second.water_g.value
    made.journal.append(Measured(900.0 + first.first_g, None, 45.1, 20.0), at=after(220))
    third = made.under_way.pour()
    litres = float(strength.water_to_reach(third.jug_l, 45.1, 42.0))
    assert third.water_g is not None
    assert third.water_g.value == pytest.approx(WATER_G_PER_L * litres, abs=0.5)
    assert third.volume_l.value == pytest.approx(first.volume_l.value, rel=0.02)
    made.journal.append(Water(third.first_g + 500.0), at=after(230))
    assert made.under_way.pour().weak


def test_jars_are_where_they_were_noted(run: Run, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(Full(1, 0.04), at=after(11))
        journal.append(Full(2, 0.05), at=after(13.5))
        journal.append(Taste(2, "soft"))
        made = UnderWay(run, journal, follow(run, journal.readings))
        first, second, third = made.jars[:3]
        assert (first.from_l, first.to_l, first.state, first.full_min) == (0.0, 0.04, "over", 11.0)
        assert (second.from_l, second.to_l, second.word) == (0.04, pytest.approx(0.09), "soft")
        assert (third.state, third.from_l) == ("flowing", pytest.approx(0.09))
        assert {jar.state for jar in made.jars[3:]} == {"coming"}
        assert made.jars[-1].to_l == pytest.approx(made.forecast.stop_l.value)
        kinds = [order.kind for order in made.orders]
        assert kinds[0] == "jar"
        assert kinds[-1] == "stop"
        assert next(order.jar for order in made.orders if order.kind == "jar") == 3
        assert [order.at_min for order in made.orders] == sorted(order.at_min or 0.0 for order in made.orders)


def test_before_the_heat_and_before_the_first_drop(run: Run, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        made = UnderWay(run, journal, follow(run, ()))
        assert [order.kind for order in made.orders] == ["heat"]
        with refused("no_jar_poured", "jars"):
            made.pour()
        journal.append(Heat(True), at=NOON)
        made = UnderWay(run, journal, follow(run, ()))
        assert made.orders[0].kind == "first_drop"
        assert made.orders[0].at_min == pytest.approx(run.first_drop_min, abs=0.01)
        assert made.stop_min == pytest.approx(run.stop.elapsed_min, abs=0.1)
        assert [jar.to_l for jar in made.jars] == pytest.approx([jar.to_l for jar in run.jars], abs=1e-3)


def test_the_jar_under_the_spout_when_the_heat_goes_off_is_over(run: Run, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        for jar in run.jars[:5]:
            journal.append(Full(jar.number, round(jar.volume_l, 4)), at=after(jar.full_min))
        sixth = run.jars[5]
        journal.append(Heat(False), at=after(0.5 * (run.jars[4].full_min + sixth.full_min)))
        made = UnderWay(run, journal, follow(run, journal.readings))
        last = made.jars[-1]
        assert (last.number, last.state, last.role) == (6, "over", "keep")
        assert last.volume_l == pytest.approx(0.5 * sixth.volume_l, rel=0.05)
        assert last.number in made.kept
        assert made.end_l == pytest.approx(last.to_l)
    with Journal.open(tmp_path / "y.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(Full(1, 0.03), at=after(run.jars[0].full_min))
        journal.append(Heat(False), at=after(run.jars[0].full_min + 0.05))
        made = UnderWay(run, journal, follow(run, journal.readings))
        assert [jar.number for jar in made.jars] == [1]


def test_what_was_measured_of_a_jar_wins(run: Run, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        for number in (1, 2, 3):
            journal.append(Full(number, 0.06), at=after(10 + 3 * number))
        journal.append(Read(Entry(of="jar", read_abv=77.0), jar=2), at=after(40))
        journal.append(Pool((2,)))
        made = UnderWay(run, journal, follow(run, journal.readings))
        assert made.jars[1].measured
        assert made.jars[1].abv == pytest.approx(77.0)
        assert made.pour().abv.value == pytest.approx(77.0)
        both = made.pour((2, 3))
        assert 77.0 < both.abv.value < made.jars[2].abv
        with refused("no_such_jar", "jars", 99):
            made.pour((99,))


def test_jars_emptied_into_the_keep_are_poured(run: Run, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        for number, kept in ((1, False), (2, True), (3, True), (4, False)):
            journal.append(Full(number, 0.06, kept=kept), at=after(10 + 3 * number))
        made = UnderWay(run, journal, follow(run, journal.readings))
        assert [jar.state for jar in made.jars[:5]] == ["out", "safe", "safe", "out", "flowing"]
        assert made.kept == (2, 3)


def test_one_small_jar_emptied_again_and_again(run: Run, tmp_path: Path) -> None:
    plan = replace(run.plan, jars=potsim.planning.plan.JarPlan(working_l=0.05))
    working = potsim.distil(plan)
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        journal.append(Heat(True), at=NOON)
        journal.append(Full(1, 0.03, kept=False), at=after(10.5))
        journal.append(Full(2, 0.05, kept=True), at=after(13))
        made = UnderWay(working, journal, follow(working, journal.readings))
        assert [jar.state for jar in made.jars[:3]] == ["out", "safe", "flowing"]
        assert made.jars[2].to_l - made.jars[2].from_l == pytest.approx(0.05)
        assert made.orders[0].kind == "empty"
        assert made.orders[0].jar == 3
        assert made.pour().volume_l.value == pytest.approx(0.05, rel=1e-3)
    with refused("conflict", "jars.working"):
        replace(run.plan.jars, working_l=0.05)


def test_a_keep_stretched_with_neutral_spirit(run: Run, tmp_path: Path) -> None:
    bottling = replace(run.plan.bottling, stretch=potsim.planning.plan.Stretch(0.25, 96.0))
    stretched = potsim.distil(replace(run.plan, bottling=bottling))
    with Journal.open(tmp_path / "x.jsonl", "title = 'x'\n") as journal:
        for number in (1, 2, 3):
            journal.append(Full(number, 0.06))
        plain = UnderWay(run, journal, follow(run, journal.readings)).pour((2, 3))
        more = UnderWay(stretched, journal, follow(stretched, journal.readings)).pour((2, 3))
        together = strength.mix([plain.volume_l.value, 0.25], [plain.abv.value, 96.0])
        assert more.volume_l.value == pytest.approx(together.volume_l, rel=1e-6)
        assert more.abv.value == pytest.approx(together.abv, rel=1e-6)
