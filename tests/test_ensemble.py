"""Bands: nothing uncertain, small uncertainties, executors, stops of every kind, coverage of other truths."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from refusals import refused

import potsim
from potsim.data import read_table
from potsim.errors import RangeError
from potsim.liquid import equilibrium
from potsim.planning.apparatus import heat_doubt
from potsim.planning.ensemble import CHUNK, Ensemble, ensemble, estimate_s, moments
from potsim.planning.many import VOLATILITY_SD
from potsim.planning.plan import Cuts, Ingredient, JarPlan, Plan, PowerStep, Stop, Stretch, Uncertainty
from potsim.planning.run import Run, distil

CERTAIN = Uncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
EXAMPLE = potsim.example_plan()
PLAIN = replace(EXAMPLE, botanicals=())
SURE = replace(PLAIN, uncertainty=CERTAIN)
NECK = replace(SURE, uncertainty=replace(CERTAIN, neck_loss=0.1))


def own_answers(run: Run) -> dict[str, float]:
    stop = run.stop
    return {
        "charge.volume_l": run.charge.volume_l,
        "charge.abv": run.charge.abv,
        "first_drop_min": run.first_drop_min,
        **{
            f"stop.{k}": getattr(stop, k)
            for k in ("collected_l", "stream_abv", "pot_abv", "mean_abv", "recovered")
        },
        "stop.elapsed_min": stop.elapsed_min,
        "keep.volume_l": run.keep.volume_l,
        "keep.abv": run.keep.abv,
        **{f"jars.{jar.number}.volume_l": jar.volume_l for jar in run.jars},
        **{f"jars.{jar.number}.abv": jar.abv for jar in run.jars},
        **{f"jars.{jar.number}.full_min": jar.full_min for jar in run.jars},
    }


def test_nothing_uncertain_leaves_no_band() -> None:
    sure = ensemble(SURE, 50, model_misfit=False)
    for band in sure.answers.values():
        assert band.sd == 0.0
        assert band.low == band.value == band.high
    for curve in sure.curves.values():
        assert not curve.sd.any()
        assert np.array_equal(curve.low, curve.value)
        assert np.array_equal(curve.high, curve.value)
    assert sure.shares == {}
    assert sure.traces == {}
    assert sure.advice() == "Nothing that is uncertain moves the keep's volume."


def test_what_is_certain_has_no_band_beside_what_is_not() -> None:
    only = ensemble(replace(PLAIN, uncertainty=replace(CERTAIN, room_c=3.0)), 300, model_misfit=False)
    assert only.answers["charge.abv"].sd == 0.0
    assert only.answers["first_drop_min"].sd > 0.1
    assert only.shares["first_drop_min"][0].name == "temperature of the room"


CASES = {
    "stream": {"stop": Stop(stream_abv=55.0)},
    "pot": {"stop": Stop(pot_abv=12.0)},
    "vapour": {"stop": Stop(vapour_c=91.0)},
    "collected": {"stop": Stop(collected_l=0.9)},
    "recovered": {"stop": Stop(recovered=0.8)},
    "elapsed": {"stop": Stop(elapsed_min=40.0)},
    "first of two": {"stop": Stop(stream_abv=50.0, elapsed_min=40.0)},
    "tails": {"stop": Stop(stream_abv=45.0), "tails_from": Stop(stream_abv=62.0)},
    "no heads": {"stop": Stop(stream_abv=55.0), "heads_l": None},
}


@pytest.mark.parametrize("name", CASES)
def test_every_stop_is_found_as_in_the_plans_own_run(name: str) -> None:
    plan = replace(SURE, cuts=Cuts(**{"heads_l": 0.03, **CASES[name]}))  # type: ignore[arg-type]
    compare(plan)


def compare(plan: Plan) -> Ensemble:
    run, sure = distil(plan), ensemble(plan, 1, model_misfit=False)
    for answer, value in own_answers(run).items():
        assert sure.answers[answer].value == pytest.approx(value, rel=2e-6, abs=2e-6), answer
    curve = sure.curves["stream_abv"]
    assert curve.value[20] == pytest.approx(
        run.at(collected_l=float(curve.collected_l[20])).stream_abv, abs=1e-4
    )
    if run.proofing is not None:
        assert sure.answers["proofing.water_l"].value == pytest.approx(run.proofing.water_l, rel=1e-5)
        assert sure.answers["proofing.bottles"].value == run.proofing.bottles
    return sure


def test_power_steps_least_level_chosen_jars_and_stretch() -> None:
    steps = (PowerStep(0.3, 500.0), PowerStep(0.6, 900.0))
    compare(replace(SURE, still=replace(SURE.still, power_steps=steps)))
    level = replace(SURE, still=replace(SURE.still, min_level_l=1.6))
    assert distil(level).end.reason == "min_level"
    compare(level)
    compare(replace(SURE, jars=JarPlan(SURE.jars.sizes, keep=(2, 3, 4, 8))))
    compare(replace(SURE, bottling=replace(SURE.bottling, stretch=Stretch(0.5, 96.0))))


def test_a_plan_of_a_charge_alone_and_one_of_water() -> None:
    sure = ensemble(Plan((Ingredient("spirit", 2.0, 40.0),)), 200)
    assert sure.answers["keep.volume_l"].sd > 0.0
    water = ensemble(Plan((Ingredient("water", 2.0),)), 200)
    assert water.answers["keep.abv"].value == 0.0
    assert water.answers["stop.elapsed_min"].sd > 0.5
    json.dumps(water.bands(), allow_nan=False)


def test_a_stop_that_hangs_on_flavours_stays_where_it_is() -> None:
    stop = Stop(over={"fennel seed": 0.4}, stream_abv=50.0)
    plan = replace(EXAMPLE, cuts=Cuts(heads_l=0.03, stop=stop))
    run = distil(plan)
    assert run.end.reason == "over"
    sure = ensemble(plan, 100)
    assert sure.answers["stop.collected_l"].value == pytest.approx(run.stop.collected_l, rel=1e-5)
    assert 0.0 < sure.answers["stop.collected_l"].sd < 0.1


SMALL = Uncertainty(abv=0.05, volume=0.002, neck_loss=0.03, pot_loss=0.03, room_c=0.3, power=0.01, lost=0.0)


def nudged(plan: Plan, which: str, step: float) -> Plan:
    """The plan with one number off by so many of its standard deviations."""
    still, u = plan.still, plan.uncertainty
    parts = list(plan.charge)
    if which.startswith("abv"):
        k = int(which[3:])
        parts[k] = replace(parts[k], abv=parts[k].abv + step * u.abv)  # type: ignore[union-attr,call-arg]
    elif which == "volume":
        parts = [replace(p, volume_l=p.volume_l * (1.0 + step * u.volume)) for p in parts]  # type: ignore[union-attr,call-arg]
    elif which == "room":
        assert still.room_c is not None
        still = replace(still, room_c=still.room_c + step * u.room_c)
    elif which == "power":
        assert still.power_w is not None
        assert still.heat_up_power_w is not None
        told = 1.0 + step * u.power
        still = replace(still, power_w=told * still.power_w, heat_up_power_w=told * still.heat_up_power_w)
    else:
        loss = f"{which}_loss_w_per_k"
        still = replace(still, **{loss: getattr(still, loss) * (1.0 + step * getattr(u, f"{which}_loss"))})
    return replace(plan, charge=tuple(parts), still=still)


def test_small_uncertainties_add_up_as_by_hand() -> None:
    """Root of the sum of squared differences of whole runs, each with one number off."""
    plan = replace(PLAIN, uncertainty=SMALL)
    drawn = ensemble(plan, 8192, seed=3, model_misfit=False)
    wanted = ("keep.volume_l", "keep.abv", "stop.elapsed_min", "stop.pot_abv", "first_drop_min", "jars.9.abv")
    inputs = ("abv0", "abv1", "volume", "neck", "pot", "room", "power")
    slopes = {name: [] for name in wanted}  # type: dict[str, list[float]]
    for one in inputs:
        up, down = (own_answers(distil(nudged(plan, one, side))) for side in (1.0, -1.0))
        for name in wanted:
            slopes[name].append(0.5 * (up[name] - down[name]))
    for name in wanted:
        by_hand = float(np.sqrt(np.sum(np.square(slopes[name]))))
        band = drawn.answers[name]
        assert band.sd == pytest.approx(by_hand, rel=0.03), name  # 8,192 draws tell 0.8 %
        assert band.low == pytest.approx(band.value - 1.645 * by_hand, abs=0.1 * by_hand), name
        assert band.high == pytest.approx(band.value + 1.645 * by_hand, abs=0.1 * by_hand), name
        largest = int(np.argmax(np.abs(slopes[name])))
        first = drawn.shares[name][0]
        assert first.share == pytest.approx((slopes[name][largest] / by_hand) ** 2, abs=0.03), name


@contextmanager
def dask() -> Iterator[Executor]:
    from distributed import Client

    with Client(processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None) as client:
        yield client.get_executor()


def processes() -> Executor:
    return ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn"))


def test_equal_seeds_give_equal_numbers_wherever_they_are_computed() -> None:
    n = 2 * CHUNK + 100
    here = ensemble(NECK, n, seed=7, model_misfit=False)
    for where in (lambda: ThreadPoolExecutor(2), processes, dask):
        with where() as executor:
            there = ensemble(NECK, n, seed=7, executor=executor, model_misfit=False)
        assert there.bands() == here.bands()
    other = ensemble(NECK, n, seed=8, model_misfit=False)
    assert other.answers["keep.abv"].sd != here.answers["keep.abv"].sd
    assert other.answers["keep.abv"].sd == pytest.approx(here.answers["keep.abv"].sd, rel=0.1)


def test_progress_is_told_and_an_interrupt_empties_the_queue() -> None:
    seen: list[tuple[int, int]] = []
    ensemble(NECK, CHUNK + 5, progress=lambda done, n: seen.append((done, n)), model_misfit=False)
    assert seen == [(CHUNK, CHUNK + 5), (CHUNK + 5, CHUNK + 5)]
    given: list[Future[object]] = []

    class Lazy(Executor):
        """Computes the first task only."""

        def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
            future: Future[object] = Future()
            if not given:
                future.set_result(fn(*args, **kwargs))
            given.append(future)
            return future

    def stop(done: int, n: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        ensemble(NECK, 40 * CHUNK, executor=Lazy(), progress=stop, model_misfit=False)
    assert 10 < len(given) < 40
    assert all(future.cancelled() for future in given[1:])


@pytest.mark.parametrize(("n", "workers", "seconds"), [(512, 1, 5.0), (51_200, 1, 203.0), (51_200, 8, 28.0)])
def test_an_estimate_comes_first(
    monkeypatch: pytest.MonkeyPatch, n: int, workers: int, seconds: float
) -> None:
    clock = iter((10.0, 13.0, 20.0, 22.0))  # 3 s for the tables, 2 s for the 512 runs of the pilot
    monkeypatch.setattr("potsim.planning.ensemble.time.perf_counter", lambda: next(clock))
    assert estimate_s(NECK, n, workers) == pytest.approx(seconds)


def test_draws_that_cannot_be_run_are_told() -> None:
    u = replace(CERTAIN, pot_loss=1.0)
    weak = replace(PLAIN, still=replace(PLAIN.still, power_w=350.0), uncertainty=u)
    drawn = ensemble(weak, 1000, model_misfit=False)
    assert 0.02 < drawn.impossible < 0.6
    assert any("could not be run" in sentence for sentence in drawn.sentences())
    assert np.isfinite(drawn.answers["keep.volume_l"].sd)


def test_words_and_plain_data() -> None:
    drawn = ensemble(EXAMPLE, 1500)
    plain = json.loads(json.dumps(drawn.bands(), allow_nan=False))
    keep = plain["keep"]["volume_l"]
    assert keep["low"] < keep["value"] < keep["high"]
    assert plain["jars"][3]["number"] == 4
    assert len(plain["curve"]["stream_abv"]["low"]) == len(plain["curve"]["stream_abv"]["collected_l"])
    assert drawn.advice("keep.volume_l").startswith("Measure the volume of the charge better: it is ")
    assert "no measurement of yours narrows" in drawn.advice("keep.abv")
    assert "strength of what goes into the charge" in drawn.advice("charge.abv")
    assert drawn.advice("jars.4.abv").count("jar 4's strength") == 1
    with refused("unknown_name", "", "keep.colour"):
        drawn.advice("keep.colour")
    trace = drawn.traces["limonene"]
    assert trace.high / trace.value == pytest.approx(2.0**1.645, rel=1e-3)
    assert trace.value / trace.low == pytest.approx(2.0**1.645, rel=1e-3)


@pytest.mark.parametrize("n", [0, -5, 10**9])
def test_a_number_of_runs_out_of_range_is_refused(n: int) -> None:
    with refused("range", "n", f"{n:g} runs", "at least 1 and at most 100,000,000 runs"):
        ensemble(NECK, n)


@pytest.mark.parametrize("name", ["abv", "volume", "neck_loss", "pot_loss", "room_c"])
def test_a_negative_uncertainty_is_refused(name: str) -> None:
    with pytest.raises(RangeError) as caught:
        Uncertainty(**{name: -0.1})
    assert caught.value.path == f"uncertainty.{name.removesuffix('_c')}"


def test_moments_are_the_same_in_one_piece_and_in_three() -> None:
    rng = np.random.default_rng(5)
    z = rng.normal(size=(900, 2))
    answers = np.column_stack([1e6 + z[:, 0], z[:, 0] + z[:, 1], np.full(900, 3.0), z[:, 1]])
    answers[rng.random(900) < 0.3, 3] = np.nan
    whole = moments(z, answers)
    parts = [moments(z[k : k + 300], answers[k : k + 300]) for k in (0, 300, 600)]
    merged = parts[0].merge(parts[1]).merge(parts[2])
    assert np.allclose(merged.sd, whole.sd, rtol=1e-9)
    assert np.allclose(merged.shares, whole.shares, rtol=1e-9, atol=1e-12)
    assert merged.sd[2] == 0.0
    assert np.nanstd(answers[:, 3], ddof=1) == pytest.approx(merged.sd[3])
    assert merged.shares[:, 1] == pytest.approx([0.5, 0.5], abs=0.08)


def test_the_misfit_of_the_model_is_that_to_published_vapour() -> None:
    """Root mean square of the error of ln alpha that meets each published set best."""
    best = []
    for name in ("kamihama_2012", "carey_lewis_1932", "rieder_thompson_1949", "beebe_1942_380mmhg"):
        rows = [r for r in read_table(f"published/vle_{name}.csv") if 0.0 < float(r["x1"]) < 1.0]
        p, x, y = (np.array([float(r[k]) for r in rows]) for k in ("P_kPa", "x1", "y1"))
        ours = np.asarray(equilibrium.bubble_point(x, 1000.0 * p).y)
        ln_alpha = np.log(ours / (1.0 - ours) * (1.0 - x) / x)
        moved = ours * (1.0 - ours) * ln_alpha
        best.append(float(moved @ (y - ours) / (moved @ moved)))
    assert max(best) > 0.0 > min(best)
    assert np.sqrt(np.mean(np.square(best))) == pytest.approx(VOLATILITY_SD, abs=0.005)


def test_a_still_at_its_limit_is_not_told_how_sure() -> None:
    still = replace(SURE.still, power_w=130.0)
    assert distil(replace(SURE, still=still)).end.depletion > 0.0
    with refused("undecided"):
        ensemble(replace(SURE, still=still), 20)


def test_spirit_lost_is_doubted_one_way() -> None:
    """Half of the draws lose nothing besides; the rest as the upper half of a normal distribution."""
    plan = replace(PLAIN, uncertainty=replace(CERTAIN, lost=0.03))
    found = ensemble(plan, 8192, seed=5, model_misfit=False).answers["stop.collected_l"]
    assert found.high == pytest.approx(found.value, rel=1e-9)
    assert found.low == pytest.approx(found.value * (1.0 - 1.645 * 0.03), rel=3e-3)


def test_heat_of_no_known_kind_may_be_a_plates_and_only_time_goes_with_it() -> None:
    """Half of the stills get less; without losses a run takes as much longer, and nothing else changes."""
    still = replace(PLAIN.still, min_level_l=None, neck_loss_w_per_k=0.0, pot_loss_w_per_k=0.0)
    plan = replace(PLAIN, still=still, uncertainty=replace(CERTAIN, power=None))
    found = ensemble(plan, 8192, seed=5, model_misfit=False).answers
    either, less = np.random.default_rng(1).normal(0.0, (0.15, 0.4), (200_000, 2)).T
    slower = np.quantile(np.exp(-either - np.minimum(less, 0.0)), [0.05, 0.95])
    took = found["stop.elapsed_min"]
    assert [took.low / took.value, took.high / took.value] == pytest.approx(slower, rel=0.03)
    assert found["stop.collected_l"].sd < 1e-9
    covered = replace(plan, still=replace(still, min_level_l=0.5))  # by an element, which hands over all
    known = replace(plan, still=replace(still, heat_share=0.6))
    assert [heat_doubt(one.still, None) for one in (plan, covered, known)] == [
        *((0.15, 0.4), (0.15, 0.0), (0.15, 0.0))
    ]


def test_a_stop_by_the_parrot_is_found_as_in_the_plans_own_run() -> None:
    still = replace(PLAIN.still, parrot_l=0.08, lost=0.05, heated_by="plate")
    plan = replace(SURE, still=still, cuts=Cuts(heads_l=0.03, stop=Stop(parrot_abv=55.0)))
    run, sure = distil(plan), ensemble(plan, 1, model_misfit=False)
    assert run.stop.parrot_abv == pytest.approx(55.0, abs=1e-9)
    for answer, value in own_answers(run).items():
        assert sure.answers[answer].value == pytest.approx(value, rel=2e-5, abs=2e-5), answer
