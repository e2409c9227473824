"""Many runs as a table: each as `distil` has it, refused ones among them."""

import pickle
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from refusals import Record, refused

import potsim
from potsim import BotanicalDose, Cuts, JarPlan, JarStock, Plan, Stop
from potsim.planning.many import single_names
from potsim.planning.study import CHUNK, ROLES, numbers_of
from potsim.planning.sweep import number

BARE = replace(potsim.example_plan(), botanicals=())
TOLERANCE = 1e-4  # of a keep, as the docstring of `study` says


def one_by_one(plan: Plan, table: pd.DataFrame, varied: list[str]) -> pd.DataFrame:
    """The same runs, each by itself."""
    rows = []
    for values in table[varied].to_numpy():
        changed = plan
        for name, value in zip(varied, values, strict=True):
            changed = number(changed, name).put(changed, float(value))
        try:
            run = potsim.distil(changed)
        except potsim.PotsimError as error:
            rows.append({"refusal": str(error)})
            continue
        rows.append(
            {
                **numbers_of(run, single_names(ROLES, run.plan.bottling)),
                "stop.reason": run.end.reason,
                "refusal": "",
            }
        )
    return pd.DataFrame(rows)


@pytest.mark.parametrize(
    "vary",
    [
        {"charge.abv": [25.0, 38.0, 45.0], "still.power": [450.0, 700.0, 1000.0]},
        {"cuts.stop.stream_abv": [40.0, 60.0], "still.neck_loss": [0.3, 1.0], "bottling.abv": [40.0, 45.0]},
        {"still.altitude": [0.0, 1500.0], "cuts.heads": [0.0, 0.05], "still.min_level": [0.4, 1.6]},
        {"charge.apple spirit": [0.7, 0.9], "still.room": [10.0, 25.0], "still.lost": [0.0, 0.05]},
        {"still.heat_up_power": [900.0, 1500.0], "cuts.tails_from.stream_abv": [60.0, 70.0]},
    ],
)
def test_each_run_of_a_study_is_that_of_distil(vary: dict[str, list[float]]) -> None:
    table = potsim.study(BARE, vary)
    alone = one_by_one(BARE, table, list(vary))
    assert (table["refusal"] == alone["refusal"]).all()
    assert (table["refusal"] == "").any()
    fine = table["refusal"] == ""
    assert (table["stop.reason"] == alone["stop.reason"])[fine].all()
    for name in (name for name in alone if name not in ("stop.reason", "refusal")):
        assert np.allclose(table[name], alone[name], rtol=TOLERANCE, atol=2e-3, equal_nan=True), name
    for name in ("keep.volume_l", "proofing.volume_l"):
        assert np.allclose(table[name], alone[name], rtol=TOLERANCE, atol=0.0, equal_nan=True), name


def test_what_cannot_go_together_goes_alone_and_agrees() -> None:
    of = {
        "jars": replace(BARE, jars=JarPlan((JarStock(0.2, 12),))),
        "parrot": replace(
            BARE, still=replace(BARE.still, parrot_l=0.05), cuts=Cuts(stop=Stop(parrot_abv=60.0))
        ),
    }
    for plan in of.values():
        table = potsim.study(plan, [{"charge.abv": 30.0}, {"charge.abv": 38.0}])
        alone = one_by_one(plan, table, ["charge.abv"])
        assert np.allclose(table["keep.volume_l"], alone["keep.volume_l"], rtol=1e-12)


def test_a_table_tells_its_units_and_keeps_the_order_of_a_list() -> None:
    rows = pd.DataFrame({"charge.abv": [40.0, 30.0, 35.0], "still.power": [700.0, 500.0, 900.0]})
    table = potsim.study(BARE, rows)
    assert table["charge.abv"].tolist() == [40.0, 30.0, 35.0]
    assert table.attrs["units"]["charge.abv"] == "% vol"
    assert table.attrs["units"]["stop.elapsed_min"] == "min"
    assert "stop.recovered" not in table.attrs["units"]
    grid = potsim.study(BARE, {"charge.abv": [30.0, 40.0], "still.power": [500.0, 700.0]})
    assert grid["still.power"].tolist() == [500.0, 700.0, 500.0, 700.0]


def test_flavours_of_a_study_are_those_of_the_run() -> None:
    bill = (
        BotanicalDose("juniper", mass_g=8.0, macerated_h=12.0),
        BotanicalDose("lemon peel", mass_g=3.0, where="basket"),
        BotanicalDose("caraway", mass_g=2.0, prepared="cracked", macerated_h=2.0, macerated_at_abv=60.0),
    )
    plan = replace(BARE, botanicals=bill, cuts=replace(BARE.cuts, heads_l=0.02))
    names = ("charge.abv", "still.power", "botanical.juniper.mass", "botanical.caraway.macerated")
    values = ((34.0, 700.0, 1.0, 1.0), (26.0, 1100.0, 30.0, 9.0))
    rows = [dict(zip(names, each, strict=True)) for each in values]
    table = potsim.study(plan, rows, flavours=True)
    for k, row in enumerate(rows):
        changed = plan
        for name, value in row.items():
            changed = number(changed, name).put(changed, value)
        for one in potsim.distil(changed).flavours:
            told = {name: table[f"{one.botanical}.{name}"][k] for name in ("gives_up", "in_keep", "noticed")}
            assert told["gives_up"] == pytest.approx(one.gives_up.value, rel=TOLERANCE)
            assert told["in_keep"] == pytest.approx(one.in_keep, rel=TOLERANCE)
            times = table[f"{one.botanical}.times_threshold"][k]
            assert times == pytest.approx(one.times_threshold, rel=2 * TOLERANCE)
            assert told["noticed"] == one.noticed


def test_a_refused_plan_in_a_pool_of_processes_is_told_and_the_others_finish() -> None:
    good, bad = 38.0, 80.0  # the spirits of the plan are weaker
    with ProcessPoolExecutor(1) as pool:
        table = potsim.study(BARE, {"charge.abv": [good, bad, 30.0]}, executor=pool)
        futures = [pool.submit(potsim.distil, plan) for plan in (BARE, weak(), BARE)]
        assert repr(futures[0].result()) == repr(futures[2].result()) == repr(potsim.distil(BARE))
        with refused("shed_by_both", "still.power"):
            futures[1].result()
    assert (table["refusal"] == "").tolist() == [True, False, True]
    assert "without water" in table["refusal"][1]
    assert np.isnan(table["keep.abv"][1])
    assert table["stop.reason"][1] == ""


def weak() -> Plan:
    """The example on a heat that pot and neck shed."""
    return replace(BARE, still=replace(BARE.still, power_w=50.0))


def test_refusals_pickle_with_all_that_they_say() -> None:
    for make in (weak(), replace(BARE, cuts=Cuts(heads_l=1.9))):
        with pytest.raises(potsim.PotsimError) as caught:
            potsim.distil(make)
        again = pickle.loads(pickle.dumps(caught.value))
        assert str(again) == str(caught.value)
        assert type(again) is type(caught.value)
        assert vars(again) == vars(caught.value)


class Slow(Executor):
    """An executor whose work is never done."""

    def __init__(self) -> None:
        self.futures: list[Future[object]] = []

    def submit(self, fn: object, /, *args: object, **kwargs: object) -> Future[object]:  # type: ignore[override]
        """Take work and leave it."""
        future: Future[object] = Future()
        self.futures.append(future)
        if len(self.futures) > 2:
            raise KeyboardInterrupt
        return future


def test_an_interrupt_leaves_nothing_in_the_queue() -> None:
    slow, many = Slow(), {"charge.abv": list(np.linspace(25.0, 45.0, 3 * CHUNK))}
    with pytest.raises(KeyboardInterrupt):
        potsim.study(BARE, many, executor=slow)
    assert all(future.cancelled() for future in slow.futures[:2])


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ({}, ("nothing_varied", "")),
        ({"charge.abv": []}, ("nothing_varied", "")),
        ({"charge.abv": ["30 %"]}, ("wrong_type", "charge.abv", "'30 %'")),
        ({"charge.abv": "30 %"}, ("wrong_type", "charge.abv", "'30 %'")),
        (
            [{"charge.abv": 30.0}, {"still.power": 700.0}],
            ("rows_differ", "", "['still.power']"),
        ),
        ({"charge.avb": [30.0]}, ("unknown_name", "", "charge.avb")),
    ],
)
def test_what_is_no_study_is_refused(vary: object, said: Record) -> None:
    with refused(*said, error=potsim.PotsimError):
        potsim.study(BARE, vary)  # type: ignore[arg-type]
