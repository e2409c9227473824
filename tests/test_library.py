"""The door of the library: public names, plans from text and data, results that travel."""

from __future__ import annotations

import pickle
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import potsim
from potsim import trials


@pytest.fixture(scope="module")
def run() -> potsim.Run:
    return potsim.distil(potsim.example_plan())


@pytest.mark.parametrize("name", [name for name in potsim.__all__ if not name.startswith("_")])
def test_every_public_name_is_there_and_documented(name: str) -> None:
    thing = getattr(potsim, name)
    assert thing.__doc__
    assert name in dir(potsim)
    assert name in (potsim.__doc__ or "")


def test_a_plan_travels_as_text_and_as_a_file(tmp_path: Path) -> None:
    plan = potsim.example_plan()
    assert potsim.Plan.from_text(plan.to_text()) == plan
    plan.save(tmp_path / "a.toml")
    assert potsim.load_plan(tmp_path / "a.toml") == plan
    with pytest.raises(potsim.RequestError):
        plan.save(tmp_path / "a.toml")
    plan.save(tmp_path / "a.toml", replace=True)
    assert hash(plan) == hash(potsim.example_plan())


def test_a_plan_of_data_is_refused_with_every_fault() -> None:
    with pytest.raises(potsim.RequestError) as refused:
        potsim.Plan.from_dict({"charge": [{"name": "spirit", "volume": "0.9", "abv": "162 %"}]})
    assert len(refused.value.faults) == 2


def test_a_run_travels_small_and_comes_back(run: potsim.Run) -> None:
    packed = pickle.dumps(run)
    assert len(packed) < 100_000
    assert pickle.loads(packed) == run
    assert potsim.Run.from_dict(run.to_dict()) == run
    assert len(repr(run)) < 100


def test_each_result_is_a_line_a_card_and_a_picture(run: potsim.Run) -> None:
    """In a notebook: one line, a small table beside a picture, and an image below a plot."""
    forecast = run.follow([{"time": "15 min", "collected": "200 mL", "strength": "79 %"}])
    results = (run, potsim.sweep(run.plan, "charge.abv", [30.0]), potsim.ensemble(run.plan, 20), forecast)
    for result in results:
        assert len(repr(result)) < 100
        assert "\n" not in repr(result)
        page = result._repr_html_()
        assert "<table" in page or "<dl" in page
        assert "data:image/png;base64," in page
        assert len(page) < 250_000
        assert len(str(result)) > 50


def test_a_refused_plan_among_good_ones_arrives_and_the_others_finish() -> None:
    plain = replace(potsim.example_plan(), botanicals=())
    overfull = replace(plain, still=replace(plain.still, capacity_l=1.0))
    with ProcessPoolExecutor(1) as pool:
        asked = [pool.submit(potsim.distil, plan) for plan in (plain, overfull, plain)]
        assert asked[0].result() == asked[2].result()
        with pytest.raises(potsim.RequestError) as refused:
            asked[1].result()
    assert refused.value.hint


def test_readings_are_rows_or_a_frame(run: potsim.Run) -> None:
    rows = [
        {"time": "15 min", "collected": "200 mL", "strength": "79 %"},
        {"time": "28 min", "collected": "600 mL", "vapour": "85.7 °C"},
    ]
    one = run.follow(rows)
    frame = pd.DataFrame(
        {
            "time (min)": [15, 28],
            "collected (mL)": [200, 600],
            "strength (%)": [79, None],
            "vapour (°C)": [None, 85.7],
        }
    )
    assert run.follow(frame).stop_l == one.stop_l
    with pytest.raises(potsim.RequestError):
        run.follow([3])


def test_frames_of_jars_and_flavours_agree_with_the_run(run: potsim.Run) -> None:
    jars = run.jars_frame()
    assert jars["number"].tolist() == [jar.number for jar in run.jars]
    flavours = run.flavours_frame()
    held = flavours.merge(
        jars[["number", "volume_l"]], left_on="jar", right_on="number", suffixes=("", "_of_jar")
    )
    mg = (held["mg_per_l"] * held["volume_l_of_jar"]).groupby(held["botanical"]).sum()
    for one in run.flavours:
        assert mg[one.botanical] == pytest.approx(1000.0 * one.over_g, rel=1e-6)


def test_trials_next_compare_blend_scale_and_book_are_one_module() -> None:
    plan = potsim.example_plan()
    one = trials.Trial("one", plan)
    other = trials.Trial("other", replace(plan, bottling=replace(plan.bottling, abv=40.0)))
    assert trials.compare(one, other).a is one
    assert trials.blend([one, other], [1.0, 1.0]).volume_l > 0.0
    assert trials.scale(plan, 1.0).plan.charge
    assert len(trials.book({"one": one, "other": other})) == 2
    with pytest.raises(potsim.RequestError):
        trials.next(one)  # nothing was tasted


USER = '''
"""What a user may write, held against the types that the package ships."""

import numpy as np
import pandas as pd

import potsim
from potsim import BotanicalDose, Ingredient, Plan, Stop, frames, trials

plan = Plan((Ingredient("spirit", 2.0, 40.0),), botanicals=(BotanicalDose("juniper", mass_g=10.0),))
run: potsim.Run = potsim.distil(plan)
one: float = run.at(collected_l=0.1).stream_abv
several = run.at(collected_l=np.array([0.1, 0.2])).stream_abv[0]
table: pd.DataFrame = potsim.study(plan, {"charge.abv": [30, 35.5]}, flavours=True)
rows: pd.DataFrame = potsim.study(plan, [{"charge.abv": 30.0, "still.power": 500}])
ax = run.plot(label="one", color="red")
run.figure().savefig("run.png")
sure: potsim.Ensemble = potsim.ensemble(plan, n=10, seed=np.random.default_rng(1))
low: float = sure.answers["keep.abv"].low
forecast: potsim.Forecast = run.follow([{"time": "15 min", "collected": "200 mL"}])
balance: pd.DataFrame = frames.balance(run)
swept: potsim.Sweep = potsim.sweep(plan, "charge.abv", [30, 40])
words: list[str] = [str(note) for note in run.notes]
there = run.first(lambda now: 60.0 - now.stream_abv)
schema = potsim.json_schema("run")["properties"]
tried = trials.next(trials.Trial("one", plan, notes=(trials.Tasting("juniper", "more"),)))
temperature, vapour = potsim.bubble_point(0.2)
try:
    potsim.distil(Plan((Ingredient("spirit", 2.0, 40.0),), cuts=potsim.Cuts(stop=Stop(collected_l=9.0))))
except potsim.RequestError as error:
    print(error.hint)
'''


@pytest.mark.long
def test_a_script_of_a_user_is_sound_by_its_types(tmp_path: Path) -> None:
    script = tmp_path / "mine.py"
    script.write_text(USER, encoding="utf-8")
    told = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", str(script)], capture_output=True, text=True, cwd=tmp_path
    )
    assert told.returncode == 0, told.stdout


def test_a_newcomer_sees_what_is_public_and_no_more() -> None:
    assert dir(potsim) == sorted(potsim.__all__)
    assert all(line == line.rstrip() and len(line) <= 110 for line in (potsim.__doc__ or "").splitlines())
    for module in (trials, potsim.frames, potsim.proofing, potsim.botanicals, potsim.strength):
        listed = getattr(module, "__all__", None) or [n for n in dir(module) if not n.startswith("_")]
        assert listed
        assert module.__doc__
