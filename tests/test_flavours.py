"""Flavours of a run: classes, timing, balances, stops, heads, jars, cautions, practice of the trade."""

from __future__ import annotations

import json

import numpy as np
import pytest
from refusals import refused

import potsim
from potsim.errors import RangeError
from potsim.interfaces.evidence.flavours import least_share
from potsim.liquid import strength
from potsim.liquid.compounds import Compound
from potsim.planning import notes, release
from potsim.planning.botanicals import (
    Botanical,
    Share,
    Spread,
    extend,
    library,
    resolve,
    volatiles,
)
from potsim.planning.charge import between
from potsim.planning.flavours import BotanicalFlavour, Cut, Flavours, peaks, predict
from potsim.planning.plan import BotanicalDose, Ingredient
from potsim.planning.stops import heads_cut, in_charge, over_condition
from potsim.still.course import Course, course
from potsim.still.still import Conditions, PowerChange, Still

REFLUX = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)
BILL = (
    BotanicalDose("juniper", mass_g=14, macerated_h=12),
    BotanicalDose("coriander seed", mass_g=5, prepared="cracked"),
    BotanicalDose("lemon peel", pieces=2, state="fresh"),
    BotanicalDose("fennel seed", mass_g=1.5),
    BotanicalDose("bay leaf", mass_g=0.8, where="basket"),
    BotanicalDose("angelica root", mass_g=1),
    BotanicalDose("black pepper", mass_g=0.5),
    BotanicalDose("vanilla bean", mass_g=2),
)


def run(abv: float = 40.0, volume_l: float = 2.4, *changes: PowerChange) -> Course:
    ethanol, water = (float(amount) for amount in strength.moles(volume_l, abv))
    still = Still(4.0, REFLUX, 1200.0, power_changes=changes)
    return course(ethanol + water, ethanol / (ethanol + water), still)


def flavours(*doses: BotanicalDose, abv: float = 40.0, **base: float) -> Flavours:
    return predict(run(abv), [resolve(dose) for dose in doses], base)


def only(*doses: BotanicalDose, abv: float = 40.0) -> BotanicalFlavour:
    return next(iter(flavours(*doses, abv=abv)))


def half(found: Flavours, *rows: int) -> float:
    """Depletion at which half of what comes over of each row is over, the mean over the rows."""
    s = np.linspace(0.0, found.alcohol_over, 2001)
    over = found.carried.at(s).over
    return float(np.mean([np.interp(0.5 * over[r, -1], over[r], s) for r in rows]))


@pytest.fixture(scope="module")
def bench() -> Flavours:
    return predict(run(), [resolve(dose) for dose in BILL], volatiles("fruit", 0.9))


def test_each_is_over_in_the_pot_or_still_in_the_plant(bench: Flavours) -> None:
    for one in (*bench, *(c for flavour in bench for c in flavour.compounds), *bench.base):
        over = one.over_g / one.releasable_g
        assert over + one.left_in_pot + one.left_in_plant == pytest.approx(1.0, abs=1e-12)
        assert min(over, one.left_in_plant, one.left_in_pot) >= -1e-12
    for flavour in bench:
        assert flavour.over_g == pytest.approx(sum(c.over_g for c in flavour.compounds), rel=1e-12)
        low_to_high = (flavour.gives_up.low, flavour.gives_up.value, flavour.gives_up.high)
        assert low_to_high == tuple(sorted(low_to_high))
        assert flavour.gives_up.value == pytest.approx(flavour.over_g / flavour.releasable_g)


@pytest.mark.parametrize("prepared", ["whole", "ground"])
@pytest.mark.parametrize("constant", ["WASHED_PER_S", "DIFFUSION_M2_PER_S"])
@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_the_band_holds_what_half_or_twice_a_constant_of_release_gives(
    monkeypatch: pytest.MonkeyPatch, prepared: str, constant: str, factor: float
) -> None:
    bill = [BotanicalDose(name, mass_g=1.0, prepared=prepared) for name in ("nutmeg", "coriander seed")]  # type: ignore[arg-type]
    band = {one.botanical: one.gives_up for one in flavours(*bill, abv=20.0)}
    monkeypatch.setattr(release, constant, factor * getattr(release, constant))
    release._gives.cache_clear()
    try:
        other = {one.botanical: one.gives_up.value for one in flavours(*bill, abv=20.0)}
    finally:
        monkeypatch.undo()
        release._gives.cache_clear()
    for name, (value, low, high) in band.items():
        assert low <= other[name] <= high
        assert other[name] != value


def test_what_a_joint_loses_is_that_share_of_what_passes_the_neck() -> None:
    plan = potsim.Plan(
        charge=(potsim.Ingredient("spirit", 2.0, 41.0),),
        still=potsim.StillPlan(lost=0.03),
        botanicals=(potsim.BotanicalDose("juniper", mass_g=10.0),),
    )
    (one,) = potsim.distil(plan).flavours.botanicals
    over = one.gives_up.value
    assert over + one.left_in_plant + one.left_in_pot + one.lost == pytest.approx(1.0, abs=1e-12)
    assert one.lost == pytest.approx(0.03 * (over + one.lost), rel=1e-9)


def test_passages_are_what_they_say(bench: Flavours) -> None:
    stop = bench.course.first(lambda states: 55.0 - states.stream_abv)
    assert stop is not None
    litres_at = float(bench.course.at(np.array([stop])).collected_l[0])
    found = bench.cut_at(Cut(stop, 0.0, ((0.0, stop),), (litres_at,), (0,), litres_at))
    s = stop * np.linspace(0.0, 1.0, 2001) ** 2  # close together where much comes over
    litres, over, by_row = bench.course.at(s).collected_l, bench.carried.at(s).over, bench.stream_by_row(s)
    for flavour in found:
        if flavour.passage is None:
            assert flavour.klass == "stays"
            continue
        rows = bench.rows_of(flavour.line + 1)
        grams = bench.carried.rows.amount[rows] @ over[rows]
        marks = (float(np.interp(share * grams[-1], grams, litres)) for share in (0.05, 0.5, 0.95))
        told = (flavour.passage.start_l, flavour.passage.half_l, flavour.passage.end_l)
        assert told == pytest.approx(tuple(marks), abs=2e-4)
        strongest = by_row[rows].sum(axis=0)
        at_peak = strongest[np.argmin(np.abs(litres - flavour.passage.peak_l))]
        assert at_peak >= 0.995 * strongest.max()
        assert 0.0 <= flavour.passage.peak_l <= litres_at


def test_a_peak_of_a_parabola_is_its_vertex() -> None:
    litres, wanted = np.array([0.0, 0.1, 0.3, 0.6, 1.0]), np.array([0.07, 0.27, 0.37, 0.75])
    held = 3.0 - (litres - wanted[:, None]) ** 2
    np.testing.assert_allclose(peaks(litres, held, 1.1), wanted, rtol=1e-12)
    assert peaks(litres, np.stack([-litres, litres]), 1.1).tolist() == [0.0, 1.1]


def test_a_peak_inside_the_run_is_where_the_stream_holds_most() -> None:
    spice = potsim.BotanicalDose("clove", mass_g=1.0)
    spirit, cuts = potsim.Ingredient("spirit", 2.0, 41.0), potsim.Cuts(stop=potsim.Stop(recovered=0.98))
    flavours = potsim.distil(potsim.Plan(charge=(spirit,), botanicals=(spice,), cuts=cuts)).flavours
    (clove,) = flavours.botanicals
    s = np.linspace(0.0, flavours.cut.end, 4001)
    litres = flavours.course.at(s).collected_l
    stream = flavours.stream_by_row(s)[flavours.rows_of(1)].sum(axis=0)
    top = int(np.argmax(stream))
    assert 0 < top < s.size - 1
    assert clove.passage is not None
    assert stream[np.argmin(np.abs(litres - clove.passage.peak_l))] >= 0.999 * stream[top]
    assert stream[-1] < 0.99 * stream[top]  # so that the end would not do


def test_order_is_by_when_they_come_and_what_stays_is_last(bench: Flavours) -> None:
    assert bench.botanicals[-1].botanical == "vanilla bean"
    assert bench.botanicals[-1].klass == "stays"
    halves = [f.passage.half_l for f in bench if f.passage is not None]
    assert halves == sorted(halves)


def test_twice_the_dose_gives_less_than_twice_the_oil_and_twice_where_nothing_is_held_back() -> None:
    def over(times: float, holds_back: bool) -> np.ndarray:
        names = ("juniper", "aniseed", "lemon peel", "clove")
        bill = [resolve(BotanicalDose(name, mass_g=10.0 * times, macerated_h=6)) for name in names]
        found = predict(run(), bill, holds_back=holds_back)
        return np.array([one.over_g for one in sorted(found.botanicals, key=lambda one: one.line)])

    held = over(2.0, True) / over(1.0, True)
    assert (held >= 1.4).all()
    assert (held <= 2.0).all()
    assert held.min() < 1.98
    np.testing.assert_allclose(over(2.0, False) / over(1.0, False), 2.0, rtol=1e-12)


def test_grams_are_those_of_the_bill(bench: Flavours) -> None:
    for flavour in bench:
        dose = next(d for d in bench.bill if d.botanical.id == flavour.botanical_id)
        assert flavour.releasable_g == pytest.approx(sum(dose.oil_g.values()))
        assert flavour.unlisted_oil_g == dose.unlisted_oil_g
        assert [c.compound_id for c in flavour.compounds] == [*dose.oil_g, *dose.non_volatile_g]


def test_jars_add_up_to_the_run(bench: Flavours) -> None:
    edges = np.linspace(0.0, bench.alcohol_over, 14)
    spans = list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))
    whole, pooled = bench.over_g([(0.0, float(edges[-1]))]), bench.over_g(spans)
    for name, grams in whole.items():
        assert pooled[name] == pytest.approx(grams, rel=1e-12, abs=1e-15)
    apart = bench.jars_g(spans)
    assert min(min(jar.values()) for jar in apart) >= 0.0
    assert sum(jar["linalool"] for jar in apart) == pytest.approx(whole["linalool"], rel=1e-12)
    assert apart[3] == pytest.approx(bench.over_g([spans[3]]))


def test_the_stream_fills_the_jar(bench: Flavours) -> None:
    start, end = 0.2, 0.21
    volume_l = between(bench.course, start, end).volume_l
    grams = bench.over_g([(start, end)])
    stream = bench.stream_g_per_l(np.array([0.205]))
    for name in ("linalool", "methanol", "anethole"):
        assert stream[name][0] == pytest.approx(grams[name] / volume_l, rel=1e-3)


def test_the_pot_holds_what_is_dissolved() -> None:
    found = flavours(abv=40.0, eugenol=1.0)
    assert found.pot_g_per_l(np.array([0.0]))["eugenol"][0] == pytest.approx(1.0 / 2.4, rel=1e-3)


def test_plain_data(bench: Flavours) -> None:
    plain = json.loads(json.dumps(bench.to_dict()))
    assert [one["botanical"] for one in plain] == [f.botanical for f in bench]
    first, last = plain[0], plain[-1]
    assert {
        *("botanical", "class", "start_l", "half_l", "peak_l", "end_l", "gives_up", "in_heads", "in_keep"),
        *("left_in_plant", "left_in_pot", "noticed", "times_threshold", "compounds"),
    } <= set(first)
    assert set(first["gives_up"]) == {"value", "low", "high"}
    assert 0.0 <= first["start_l"] <= first["half_l"] <= first["end_l"]
    assert last["class"] == "stays"
    assert [last[key] for key in ("start_l", "half_l", "peak_l", "end_l")] == [None] * 4
    pepper = next(one for one in plain if one["botanical"] == "black pepper")
    piperine = next(c for c in pepper["compounds"] if c["compound"] == "piperine")
    assert (piperine["class"], piperine["over_g"]) == ("stays", 0.0)
    assert piperine["left_in_plant"] + piperine["left_in_pot"] == pytest.approx(1.0)


def of_one_compound(relative_to_ethanol: float) -> BotanicalFlavour:
    """A botanical whose oil is a single compound of the distiller's own."""
    own = {"mine": Compound.own("mine", 150.0, relative_to_ethanol=relative_to_ethanol)}
    secret = Botanical(
        id="secret",
        common_name="secret herb",
        category="leaf",
        oil_yield_pct=Spread(1, 1, 1),
        composition=(Share("mine", Spread(100, 100, 100)),),
    )
    among = extend(library(), {"secret": secret})
    (flavour,) = predict(run(), [resolve(BotanicalDose("secret herb", mass_g=2.0), among)], {}, own)
    return flavour


@pytest.mark.parametrize("relative_to_ethanol", [0.03, 0.1, 0.3])
def test_the_band_holds_what_a_volatility_off_by_its_factor_gives(relative_to_ethanol: float) -> None:
    middle = of_one_compound(relative_to_ethanol)
    factor = middle.compounds[0].expected_factor
    less, more = (
        of_one_compound(relative_to_ethanol * each).gives_up.value for each in (1.0 / factor, factor)
    )
    assert middle.gives_up.low <= less < middle.gives_up.value < more <= middle.gives_up.high


def test_own_compounds_are_followed() -> None:
    flavour = of_one_compound(2.0)
    assert flavour.over_g == pytest.approx(0.02, rel=0.01)
    assert flavour.compounds[0].name == "mine"


def test_a_plan_without_botanicals_has_no_flavours() -> None:
    found = predict(run(), ())
    assert (found.botanicals, found.base, found.to_dict(), found.over_g([(0.0, 0.3)])) == ((), (), [], {})


def test_of_nothing_it_is_told_where_something_would_come() -> None:
    nothing, some = (only(BotanicalDose("juniper", mass_g=mass)) for mass in (0.0, 1e-3))
    assert (nothing.klass, nothing.over_g, nothing.noticed) == (some.klass, 0.0, "lost")
    assert nothing.passage is not None
    assert nothing.passage == pytest.approx(some.passage, rel=1e-3)


@pytest.mark.parametrize(
    ("bill", "told"),
    [
        (({}, {"where": "basket"}), ["pot", "basket"]),
        (({"macerated_h": 12}, {"prepared": "ground"}), ["whole", "ground"]),
        (({"macerated_h": 12}, {}), ["macerated", "not macerated"]),
        (({}, {}), ["1", "2"]),
        (({}, {"prepared": "ground"}, {"where": "basket"}), ["pot, whole", "pot, ground", "basket, whole"]),
    ],
)
def test_lines_of_one_botanical_are_told_apart(bill, told) -> None:
    found = flavours(*(BotanicalDose("juniper", mass_g=5, **line) for line in bill))
    assert list(found.labels) == [f"juniper ({words})" for words in told]
    assert {one.botanical for one in found} == set(found.labels)
    assert found.lines_called(found.labels[1]) == [1]
    assert found.rows_called("juniper").size == found.carried.rows.amount.size


def test_finer_gives_more_and_sooner_and_so_does_a_night_in_the_charge() -> None:
    whole, macerated, cracked, ground = (
        only(BotanicalDose("juniper", mass_g=10, prepared=how, macerated_h=hours))
        for how, hours in (("whole", 0), ("whole", 24), ("cracked", 0), ("ground", 0))
    )
    shares = [one.gives_up.value for one in (whole, macerated, cracked, ground)]
    assert shares[0] < min(shares[1:])
    assert shares[2] < shares[3]
    for sooner in (macerated, cracked, ground):
        assert sooner.passage is not None
        assert whole.passage is not None
        assert sooner.passage.half_l < whole.passage.half_l


def test_less_power_leaves_more_time_to_give() -> None:
    slow = predict(
        run(40.0, 2.4, PowerChange(0.1, 350.0)), [resolve(BotanicalDose("angelica root", mass_g=1))]
    )
    fast = flavours(BotanicalDose("angelica root", mass_g=1))
    assert slow.botanicals[0].left_in_plant < 0.97 * fast.botanicals[0].left_in_plant


def test_too_strong_a_charge_says_so() -> None:
    with refused("too_strong_to_part", "charge", 96.6, error=RangeError):
        flavours(BotanicalDose("juniper", mass_g=5.0), abv=96.6)


def test_water_alone_carries_oil_over() -> None:
    found = flavours(BotanicalDose("lemon peel", mass_g=5.0), abv=0.0)
    assert found.alcohol_over == pytest.approx(np.log(100.0))
    assert found.botanicals[0].gives_up.value > 0.2


def test_stop_when_so_much_is_over(bench: Flavours) -> None:
    condition = over_condition(bench, "Fennel seeds", 0.8)
    assert condition.reason == "over"
    at = bench.course.first(condition.margin)
    assert at is not None
    rows = bench.rows_called("fennel")
    upto, whole = bench.over_by_row([(0.0, at), (0.0, bench.alcohol_over)])[rows].sum(axis=0)
    assert upto / whole == pytest.approx(0.8, abs=2e-5)


def test_stop_by_what_is_not_there(bench: Flavours) -> None:
    with refused("unknown_name", "", "junipr"):
        over_condition(bench, "junipr", 0.5)
    with refused("range", "cuts.stop.over.juniper", "1 of the whole (0 to 1)"):
        over_condition(bench, "juniper", 1.0)
    none = flavours(BotanicalDose("juniper", mass_g=0.0))
    with refused("nothing_over", "cuts.stop.over", "juniper"):
        over_condition(none, "juniper", 0.5)


def test_heads_take_esters_and_leave_methanol(bench: Flavours) -> None:
    small, large = (heads_cut(bench, size) for size in (0.03, 0.1))
    assert small.heads_l == 0.03
    assert large.ethanol_l > small.ethanol_l
    for cut in (small, large):
        assert cut.taken["ethyl_acetate"] > 3.0 * cut.ethanol_share
        assert cut.taken["acetic_acid"] < 0.5 * cut.ethanol_share
        assert cut.taken["methanol"] == pytest.approx(cut.ethanol_share, rel=0.2)
        assert cut.ethanol_l == pytest.approx(cut.heads_l * cut.abv / 100.0)
    for wrong in (0.0, 5.0):
        with pytest.raises(RangeError):
            heads_cut(bench, wrong)


def test_base_spirits_add_up() -> None:
    parts = (Ingredient("cider spirit", 0.9, 62.0, "fruit"), Ingredient("whisky", 0.6, 58.0, "malt"))
    both = in_charge((*parts, Ingredient("water", 1.0), Ingredient("some vodka", 1.0, 40.0)))
    fruit, malt = volatiles("fruit", 0.9 * 0.62), volatiles("malt", 0.6 * 0.58)
    assert both["ethyl_acetate"] == pytest.approx(fruit["ethyl_acetate"] + malt["ethyl_acetate"])
    assert set(both) == {*fruit, *malt}


def test_cautions_of_doses_and_dangers() -> None:
    found = flavours(BotanicalDose("wormwood", mass_g=300.0), BotanicalDose("juniper", mass_g=20.0))
    said = notes.for_bill(found.bill, 2.4)
    assert [note.subject for note in said if note.kind == "dose"] == ["wormwood"]
    known = {(note.subject, note.values["text"][:13]) for note in said if note.kind == "botanical"}
    assert {("wormwood", "Holds thujone"), ("juniper", "Do not pick s")} <= known
    assert {note.severity for note in said} == {"caution"}


def test_legal_limits_are_held_against_the_bottled_spirit() -> None:
    found = flavours(BotanicalDose("sage", mass_g=60.0))
    kept = [(0.0, found.alcohol_over)]
    (said,) = notes.for_drink(found, kept, 2.0, 42.0)
    content = found.over_g(kept)["thujone"] * 1e3 / float(strength.mass_of(2.0, 42.0))
    assert said.severity == "danger"
    assert said.values["mg_per_kg"] == pytest.approx(content)
    assert said.values["limit_mg_per_kg"] == 10.0
    assert notes.for_drink(found, kept, 2000.0, 42.0) == ()
    assert notes.for_drink(found, kept, 0.0, 42.0) == ()


# Practice of the trade, no source.


def test_practice_monoterpenes_come_first() -> None:
    found = flavours(abv=40.0, alpha_pinene=1.0, sabinene=1.0, limonene=1.0, linalool=1.0, anethole=1.0)
    first = max(half(found, r) for r in range(3))
    assert first < 0.1 * min(half(found, 3), half(found, 4))


def test_practice_peel_before_seeds_before_clove() -> None:
    found = flavours(
        BotanicalDose("clove", mass_g=1),
        BotanicalDose("fennel seed", mass_g=2),
        BotanicalDose("coriander seed", mass_g=5, prepared="cracked"),
        BotanicalDose("lemon peel", mass_g=2),
    )
    told = [f.botanical for f in found]
    assert (told[0], told[-1]) == ("lemon peel", "clove")


def test_practice_what_gives_sweetness_and_heat_stays() -> None:
    over = {
        c.compound_id: c
        for f in flavours(*BILL, BotanicalDose("liquorice root", mass_g=3))
        for c in f.compounds
    }
    for name in ("vanillin", "piperine", "glycyrrhizin"):
        assert over[name].klass == "stays"
        assert over[name].left_in_pot + over[name].left_in_plant > 0.95


def test_practice_a_stronger_charge_pushes_oils_later() -> None:
    names = {"limonene": 1.0, "cineole": 1.0, "linalool": 1.0, "anethole": 1.0, "eugenol": 1.0}
    found = [flavours(abv=abv, **names) for abv in (20.0, 40.0, 60.0)]
    for row in range(len(names)):
        when = [half(one, row) / one.alcohol_over for one in found]
        assert when[0] < when[1] < when[2]


def test_practice_a_basket_gives_early() -> None:
    pot, basket = (flavours(BotanicalDose("clove", mass_g=1, where=where)) for where in ("pot", "basket"))
    rows = range(pot.carried.rows.amount.size)
    assert half(basket, *rows) < 0.8 * half(pot, *rows)


def test_a_coin_seldom_puts_nine_of_eleven_in_order() -> None:
    assert least_share(11) == pytest.approx(9 / 11)
    assert least_share(5) == pytest.approx(1.0)
