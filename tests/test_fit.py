"""A still learnt: from runs of another equilibrium, from a published series, and what cannot be told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from following_cases import readings, the_plan, truth
from refusals import refused

from potsim.interfaces.evidence.still import SINGLE_STAGE, fitted_still, misfit, neck_share
from potsim.interfaces.ownfile import read_still, still_text
from potsim.interfaces.planfile import load_plan
from potsim.liquid import strength
from potsim.planning.forecast import Band, Follower, Forecast, follow
from potsim.planning.learnt import (
    LEAST_SHARE,
    MOST_SHARE,
    Known,
    Learnt,
    bench_of,
    hold_up,
    learn,
    mark_of,
    observed_of,
    prior_of,
    verdicts,
)
from potsim.planning.notes import hint
from potsim.planning.plan import Bottling, Cuts, PowerStep
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.planning.run import Run, distil
from potsim.still.fit import Fit, fit
from potsim.still.observed import NAMES

RUNS = 20


@pytest.fixture(scope="module")
def planned() -> Run:
    return distil(the_plan())


def read(
    run: Run,
    places: list[float],
    *,
    abv_off: dict[float, float] | None = None,
    **also: bool,
) -> list[Reading]:
    """Read a run without noise; some strengths may be off."""
    found: list[Reading] = []
    for place in places:
        seen = run.at(collected_l=place)
        entry = Entry(
            collected_l=place,
            read_abv=seen.stream_abv + (abv_off or {}).get(place, 0.0),
            elapsed_min=seen.elapsed_min if also.get("time") else None,
            vapour_c=seen.vapour_c if also.get("vapour") else None,
        )
        found.append(next_reading(found, entry))
    return found


def learnt_from(run: Run, found: list[Reading], before: Fit | None = None) -> Fit:
    prior = prior_of(run, hold_up(run))
    return fit(bench_of(run, found, prior), prior, observed_of(found), before=before)


# --- Recovery on runs of another activity model, with hold-up and noise.


@dataclass(frozen=True)
class Recovered:
    """Forecast less truth, in units and in standard errors, for many runs; arrays of shape (runs,)."""

    off: dict[str, np.ndarray]
    errors: dict[str, np.ndarray]

    def covered(self, name: str) -> float:
        return float(np.mean(np.abs(self.errors[name]) < 1.6449))


@pytest.fixture(scope="module", params=["told", "not told"])
def recovered(request: pytest.FixtureRequest, planned: Run) -> Recovered:
    off: dict[str, list[float]] = {}
    errors: dict[str, list[float]] = {}
    for seed in range(RUNS):
        rng = np.random.default_rng(100 + seed)
        real = truth(rng, planned)
        found = readings(rng, real, 0.7)
        held = real.hold_up_l if request.param == "told" else None
        made = follow(planned, found, held)
        assert not made.odd
        # What the pot sheds less is heat that arrives: the fit holds the one and learns the other.
        bench, above = made.fit.bench, made.fit.above_k
        arrives = 1.0 - (real.pot_w_per_k - made.fit.pot_loss_w_per_k) * above / bench.power_w
        rows = {
            "stop_l": _against(made.stop_l, real.stop["collected_l"]),
            "stop_min": _against(made.stop_min, real.stop["elapsed_min"]),
            "stream_abv": _against(made.stream_abv, real.at(found[-1].collected_l or 0.0)["abv"]),
            "neck": (made.fit.neck_loss_w_per_k - real.neck_w_per_k, made.fit.neck_loss_error),
            "heat": (made.fit.heat_share - arrives, made.fit.heat_share_error),
        }
        for name, (away, error) in rows.items():
            off.setdefault(name, []).append(away)
            errors.setdefault(name, []).append(away / error)
    return Recovered(*({k: np.array(v) for k, v in one.items()} for one in (off, errors)))


def _against(band: Band, real: float) -> tuple[float, float]:
    return band.value - real, (band.high - band.low) / 2.0 / 1.6449


def test_the_stop_of_another_equilibrium_is_forecast_as_closely_as_said(recovered: Recovered) -> None:
    # 19 mL of 1,070 and 0.6 min of 46 too soon on the average (hold-up not told: 21 mL, 0.9 min). Of that the
    # other equilibrium makes 10 mL, the charge that readings may correct 7, what noise takes for a loss 2.
    assert -0.025 < recovered.off["stop_l"].mean() < 0.012
    assert -1.0 < recovered.off["stop_min"].mean() < 0.8
    assert abs(recovered.off["stream_abv"].mean()) < 0.25
    for name in ("stop_l", "stop_min", "stream_abv"):
        assert recovered.covered(name) >= 0.8


def test_the_losses_of_another_equilibrium_are_learnt_with_honest_errors(recovered: Recovered) -> None:
    assert abs(recovered.off["neck"].mean()) < 0.12
    assert abs(recovered.off["heat"].mean()) < 0.035  # 0.35 W/K of the pot in 700 W
    for name in ("neck", "heat"):
        assert recovered.covered(name) >= 0.8


def test_bands_narrow_as_readings_come_in(planned: Run) -> None:
    rng = np.random.default_rng(7)
    found = readings(rng, truth(rng, planned), 0.8, count=10)
    widths = [
        follow(planned, found[:k]).stop_min.high - follow(planned, found[:k]).stop_min.low for k in (0, 3, 10)
    ]
    assert widths[0] > 1.5 * widths[1] > 2.25 * widths[2]


# --- Exact readings of the package's own runs.


def test_no_readings_give_the_plan(planned: Run) -> None:
    made = follow(planned, [])
    assert made.fit.values == pytest.approx(made.fit.prior.mean)
    assert made.fit.errors == pytest.approx(made.fit.prior.error)
    assert made.stop_l.value == pytest.approx(planned.stop.collected_l, abs=2e-4)
    assert made.stop_min.value == pytest.approx(planned.stop.elapsed_min, abs=0.02)
    assert [note.kind for note in made.verdicts] == ["nothing_read"]


def test_many_exact_readings_find_the_still(planned: Run) -> None:
    still = replace(planned.plan.still, neck_loss_w_per_k=0.85, heat_share=0.8)
    real = distil(replace(planned.plan, still=still))
    found = read(real, np.linspace(0.03, 1.0, 60).tolist(), time=True, vapour=True)
    made = learnt_from(planned, found)
    assert made.neck_loss_w_per_k == pytest.approx(0.85, abs=2.0 * made.neck_loss_error)
    assert made.heat_share == pytest.approx(0.8, abs=2.0 * made.heat_share_error)
    assert made.widened == 1.0
    assert max(abs(r.off) for r in made.residuals if r.kind == "strength") < 0.1


def test_mass_and_time_place_a_reading_as_volume_does(planned: Run) -> None:
    places = [0.1, 0.3, 0.5, 0.7]
    by_volume = learnt_from(planned, read(planned, places, vapour=True))
    by_mass: list[Reading] = []
    by_time: list[Reading] = []
    for place in places:
        seen = planned.at(collected_l=place)
        grams = 1000.0 * float(strength.mass_of(place, seen.mean_abv))
        common = {"read_abv": seen.stream_abv, "vapour_c": seen.vapour_c}
        by_mass.append(next_reading(by_mass, Entry(mass_g=grams, **common)))
        by_time.append(next_reading(by_time, Entry(elapsed_min=seen.elapsed_min, **common)))
    for found in (by_mass, by_time):
        other = learnt_from(planned, found)
        assert other.value("ratio") == pytest.approx(by_volume.value("ratio"), abs=1e-4)
        assert follow(planned, found).collected_l == pytest.approx(0.7, abs=2e-3)


def test_a_jar_is_the_mean_of_what_ran_into_it(planned: Run) -> None:
    found: list[Reading] = []
    for jar in planned.jars[1:9]:
        entry = Entry(collected_l=jar.to_l, of="jar", jar_l=jar.to_l - jar.from_l, read_abv=jar.abv)
        found.append(next_reading(found, entry))
    made = learnt_from(planned, found)
    assert max(abs(r.off) for r in made.residuals) < 0.02
    assert made.value("ratio") == pytest.approx(made.prior.mean[0], abs=1e-3)


def test_a_parrot_holds_back_and_mixes(planned: Run) -> None:
    held = 0.08
    places = np.linspace(0.0, float(planned.collected_l[-1]), 4001)
    stream = np.interp(places, planned.collected_l, planned.stream_abv)
    mixed = np.cumsum(stream) / np.arange(1, stream.size + 1)
    step = places[1] / held
    for k in range(1, places.size):
        if places[k] > held:
            mixed[k] = mixed[k - 1] + step * (stream[k] - mixed[k - 1])
    found: list[Reading] = []
    for collected in (0.1, 0.4, 0.7, 0.85):
        shown = float(np.interp(collected + held, places, mixed))
        entry = Entry(collected_l=collected, of="parrot", parrot_l=held, read_abv=shown)
        found.append(next_reading(found, entry))
    made = learnt_from(planned, found)
    assert max(abs(r.off) for r in made.residuals) < 0.05
    as_stream = [replace(r, entry=replace(r.entry, of="stream"), parrot_l=None) for r in found]
    assert max(abs(r.off) for r in learnt_from(planned, as_stream).residuals) > 0.08


def test_power_changed_in_mid_run_is_followed(planned: Run) -> None:
    still = replace(planned.plan.still, power_steps=(PowerStep(0.4, 450.0),))
    real = distil(replace(planned.plan, still=still))
    found = read(real, [0.1, 0.25, 0.39, 0.55, 0.7, 0.8], time=True)
    told = list(found[:3])
    told.append(next_reading(told, Entry(collected_l=0.4, power_w=450.0)))
    for reading in found[3:]:
        told.append(next_reading(told, reading.entry))
    made = follow(planned, told)
    assert not made.odd
    assert made.fit.value("time_scale") == pytest.approx(1.0, abs=0.02)
    assert made.stop_min.value == pytest.approx(real.stop.elapsed_min, abs=0.5)
    not_told = follow(planned, found)
    assert not_told.fit.value("time_scale") > 1.1
    with refused("little_to_follow", "power", 60.0):
        follow(planned, [next_reading([], Entry(collected_l=0.4, power_w=60.0))])


def test_a_kettle_at_2000_m_boils_six_to_seven_kelvin_lower(planned: Run) -> None:
    high = distil(replace(planned.plan, still=replace(planned.plan.still, altitude_m=2000.0)))
    assert 6.0 < planned.pot_c[0] - high.pot_c[0] < 7.0
    found = read(high, [0.1, 0.3, 0.5], vapour=True)
    knows = learnt_from(high, found)
    assert knows.value("vapour_offset_k") == pytest.approx(0.0, abs=0.1)
    does_not = follow(planned, found)
    assert does_not.fit.value("vapour_offset_k") < -2.0
    (off,) = (note for note in does_not.verdicts if note.kind == "thermometer_off")
    assert (off.subject, off.values["off_k"]) == ("vapour", does_not.fit.value("vapour_offset_k"))


# --- What does not fit, and what cannot be told.


def test_a_slip_is_left_out_and_asked_about(planned: Run) -> None:
    places = [0.06, 0.14, 0.22, 0.3, 0.38, 0.46]
    made = follow(planned, read(planned, places, abv_off={0.22: -9.0}))
    (odd,) = made.odd
    assert (odd.kind, odd.severity, odd.values["of"]) == ("odd_reading", "caution", "strength")
    assert odd.values["off"] == pytest.approx(-9.0, abs=0.1)
    assert odd.values["expected"] - odd.values["read"] == pytest.approx(9.0, abs=0.1)
    clean = follow(planned, read(planned, [p for p in places if p != 0.22]))
    assert made.stop_l.value == pytest.approx(clean.stop_l.value, abs=2e-4)


def test_a_slip_is_seen_even_when_it_is_the_only_reading(planned: Run) -> None:
    assert len(follow(planned, read(planned, [0.22], abv_off={0.22: 9.0})).odd) == 1


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0])
def test_tables_reach_from_a_quarter_of_what_is_on_the_plate(share: float) -> None:
    plan = the_plan()
    still = replace(plan.still, heat_share=share, neck_loss_w_per_k=0.05, pot_loss_w_per_k=0.3)
    run = distil(replace(plan, still=still))
    bench = bench_of(run, [], prior_of(run, hold_up(run)))
    span, shed_w = bench.family.span, bench.power_w - bench.net_power_w
    shed_w_per_k = shed_w / (bench.family.reference_k - bench.room_k)
    arrive_w = [shed_w_per_k / tilt + shed_w for tilt in (span.pot_tilt + span.pot_tilt_reach, span.pot_tilt)]
    assert np.array(arrive_w) * share / bench.power_w == pytest.approx([LEAST_SHARE, MOST_SHARE])


def test_one_strength_cannot_tell_the_neck_from_the_charge(planned: Run) -> None:
    made = follow(planned, read(planned, [0.8]))
    assert ("alike", "ratio", "charge_abv") in {
        (v.kind, v.subject, v.values.get("other")) for v in made.verdicts
    }
    assert {"neck_not_told", "heat_not_told"} <= {note.kind for note in made.verdicts}
    assert made.fit.alike("ratio", "charge_abv") > 0.98
    k, m = NAMES.index("ratio"), NAMES.index("charge_abv")
    assert made.fit.correlation[k, m] < -0.1


def test_a_plan_far_off_gives_way_to_many_readings(planned: Run) -> None:
    slow = distil(replace(planned.plan, still=replace(planned.plan.still, power_w=350.0)))
    places = np.linspace(0.05, 0.6, 8).tolist()
    found = []
    for place in places:
        seen = slow.at(collected_l=place)
        found.append(next_reading(found, Entry(collected_l=place, elapsed_min=seen.elapsed_min)))
    made = follow(planned, found)
    assert not made.odd
    assert made.stop_min.value == pytest.approx(slow.stop.elapsed_min, rel=0.06)
    assert made.fit.heat_share == pytest.approx(0.5, abs=0.03)
    assert "heat_told" in {note.kind for note in made.verdicts}


@pytest.mark.parametrize(("share", "beyond"), [(0.2, "less"), (1.4, "more")])
def test_a_share_beyond_what_is_sought_is_said_to_lie_there(planned: Run, share: float, beyond: str) -> None:
    real = distil(replace(planned.plan, still=replace(planned.plan.still, power_w=share * 700.0)))
    made = follow(planned, read(real, [0.15, 0.35, 0.6], time=True))
    (said,) = (note for note in made.verdicts if note.kind == "heat_at_bound")
    assert said.values["beyond"] == beyond
    assert (said.values["share"] - share) * (1.0 if beyond == "less" else -1.0) > 0.0


def test_more_power_than_was_said_is_said(planned: Run) -> None:
    fast = distil(replace(planned.plan, still=replace(planned.plan.still, power_w=770.0)))
    made = follow(planned, read(fast, np.linspace(0.05, 0.9, 12).tolist(), time=True))
    assert made.fit.heat_share == pytest.approx(1.1, abs=0.03)
    assert "heat_told" in {note.kind for note in made.verdicts}


def test_the_readings_of_another_run_are_refused(planned: Run) -> None:
    found = [next_reading([], Entry(collected_l=2.3, read_abv=20.0))]
    with refused("beyond_charge", "collected", 2.3):
        follow(planned, found)
    with refused("hold_up", "hold_up", 0.9):
        Follower(planned, hold_up_l=0.9)
    water = distil(replace(planned.plan, charge=planned.plan.charge[2:], cuts=Cuts(), bottling=Bottling()))
    with refused("no_alcohol"):
        Follower(water)


# --- A published series.


def test_groening_with_one_neck_comes_to_half_the_misfit_of_a_single_stage() -> None:
    share = misfit(fitted_still()) / misfit(SINGLE_STAGE)
    assert 0.4 < share < 0.6  # found: 0.51
    assert 0.02 < neck_share(fitted_still()) < 0.10


# --- A still remembered.


def after(planned: Run, neck: float, share: float) -> Forecast:
    still = replace(planned.plan.still, neck_loss_w_per_k=neck, heat_share=share)
    real = distil(replace(planned.plan, still=still))
    return follow(planned, read(real, np.linspace(0.05, 0.9, 25).tolist(), time=True))


def test_a_still_is_remembered_and_refined(planned: Run, tmp_path: Path) -> None:
    first = learn(after(planned, 0.9, 0.8).fit, "first")
    assert first.neck_w_per_k is not None
    assert first.heat_share is not None
    path = tmp_path / "still.toml"
    path.write_text(still_text(first, path.name), encoding="utf-8")
    again = read_still(path)
    assert again.neck_w_per_k is not None
    assert again.neck_w_per_k.value == pytest.approx(first.neck_w_per_k.value, rel=1e-3)
    second = learn(after(planned, 0.8, 0.75).fit, "second", again)
    assert second.neck_w_per_k is not None
    assert second.heat_share is not None
    assert (second.neck_w_per_k.runs, second.runs) == (2, ("first", "second"))
    assert second.neck_w_per_k.error < first.neck_w_per_k.error
    assert second.heat_share.value < first.heat_share.value
    twice = learn(after(planned, 0.8, 0.75).fit, "second", second)
    assert (twice.neck_w_per_k, twice.heat_share) == (second.neck_w_per_k, second.heat_share)
    assert [note.kind for note in twice.notes] == ["run_known"]
    (tmp_path / "next.toml").write_text(
        '[[charge]]\nname="spirit"\nvolume="1 L"\nabv="40 %"\n[still]\nfrom_file="still.toml"\n',
        encoding="utf-8",
    )
    plan = load_plan(tmp_path / "next.toml")
    assert plan.still.neck_loss_w_per_k == pytest.approx(first.neck_w_per_k.value, rel=1e-3)
    assert plan.still.heat_share == pytest.approx(first.heat_share.value, rel=1e-3)
    distil(plan)


def test_what_the_plan_knew_already_is_not_counted_twice(planned: Run) -> None:
    before = Learnt(Known(1.2, 0.05), Known(0.9, 0.05), ("x",))
    times = [replace(r.entry, read_abv=None) for r in read(planned, [0.1, 0.5, 0.9], time=True)]
    found: list[Reading] = []
    for entry in times:
        found.append(next_reading(found, entry))
    early = follow(planned, found).fit
    assert early.told("ratio") < 0.2 < early.told("time_scale")
    kept = learn(early, "y", before)
    assert kept.neck_w_per_k == before.neck_w_per_k
    assert hint("not_learnt", "neck", kept=True) in kept.notes
    refined = learn(after(planned, 0.6, 0.75).fit, "y", before).heat_share
    assert refined is not None
    assert 0.75 < refined.value < 0.9


def test_runs_that_do_not_agree_are_said_and_widen_the_error(planned: Run) -> None:
    before = Learnt(None, Known(0.4, 0.02), ("x",))
    made = learn(after(planned, 0.6, 1.0).fit, "y", before)
    assert made.heat_share is not None
    assert ("learnt_differs", "heat_share") in {(note.kind, note.subject) for note in made.notes}
    assert made.heat_share.error > 0.05


def test_a_run_that_tells_nothing_leaves_the_still_as_it_was_and_says_so(planned: Run) -> None:
    before = Learnt(Known(1.2, 0.05), None, ("x",))
    kept = learn(follow(planned, read(planned, [0.2])).fit, "y", before)
    assert (kept.neck_w_per_k, kept.heat_share, kept.runs) == (before.neck_w_per_k, None, ("x",))
    assert {note.kind for note in kept.notes} == {"not_learnt"}


def test_half_the_heat_and_a_weak_charge_are_learnt_from_three_readings(planned: Run) -> None:
    still = replace(planned.plan.still, heat_share=0.5)
    charge = tuple(replace(part, abv=0.97 * part.abv) for part in planned.plan.charge)
    real = distil(replace(planned.plan, still=still, charge=charge))
    made = follow(planned, read(real, [0.15, 0.35, 0.6], time=True))
    assert made.fit.heat_share == pytest.approx(0.5, abs=2.0 * made.fit.heat_share_error)
    assert made.fit.neck_loss_w_per_k > 0.2  # a weak charge is no lossless neck
    assert made.fit.value("charge_abv") < planned.charge.abv
    for band, truth_there in (
        (made.stop_l, real.stop.collected_l),
        (made.stop_min, real.stop.elapsed_min),
        (made.stop_mean_abv, real.stop.mean_abv),
    ):
        assert band.low <= truth_there <= band.high


def test_less_spirit_than_none_is_never_lost(planned: Run) -> None:
    made = follow(planned, read(planned, [0.15, 0.35, 0.6], time=True))
    low, high = made.fit.band(1.0 - made.fit.tracks.rows.lost, 0.9)
    assert made.fit.value("lost") == 0.0
    assert 0.9 < float(low) < 0.99
    assert float(high) == pytest.approx(1.0, abs=1e-3)


def test_a_still_that_cannot_be_remembered_is_refused(planned: Run, tmp_path: Path) -> None:
    path = tmp_path / "still.toml"
    for text, words in (
        ("[still]\n", ("no_still",)),
        ('[still]\nneck_loss = "1 W/K"\n[learnt]\n', ("quantity", "", "")),
        (
            '[still]\nneck_loss = "1 W/K"\n[learnt]\nneck_loss_error = "0 W/K"\n',
            ("no_error", "learnt.neck_loss_error", "1"),
        ),
        ("[still]\n[learnt]\nruns = 3\n", ("no_marks", "learnt.runs", "3")),
    ):
        path.write_text(text, encoding="utf-8")
        with refused(*words):
            read_still(path)


def test_the_mark_of_a_run_stays_as_it_goes_on(planned: Run) -> None:
    found = read(planned, [0.1, 0.2, 0.3])
    assert mark_of("x", found[:1]) == mark_of("x", found)
    assert mark_of("y", found) != mark_of("x", found)


# --- Standard errors, against closed forms.


def with_errors(made: Fit, ratio: float, scale: float, correlation: float) -> Fit:
    """The same still, its ratio known to so much (relative), its time scale too, and so correlated."""
    k, m = NAMES.index("ratio"), NAMES.index("time_scale")
    covariance = np.zeros_like(made.covariance)
    error = ratio * made.value("ratio")
    covariance[k, k], covariance[m, m] = error**2, scale**2
    covariance[k, m] = covariance[m, k] = correlation * error * scale
    return replace(made, covariance=covariance)


def test_the_neck_loss_is_as_sure_as_its_share_of_the_planned_power(planned: Run) -> None:
    """The loss goes as the ratio to the planned net power, whatever arrives of that."""
    made = learnt_from(planned, read(planned, [0.1, 0.4, 0.8], time=True))
    loss = made.neck_loss_w_per_k
    for ratio, scale, together in ((0.2, 0.1, 0.5), (0.05, 0.1, -0.6), (0.1, 0.0, 0.0)):
        assert with_errors(made, ratio, scale, together).neck_loss_error == pytest.approx(ratio * loss)


def test_a_residual_carries_the_error_of_its_reading_and_of_its_place(planned: Run) -> None:
    """0.5 % vol, 0.5 K, 30 s and 2 mL; a place off by 2 mL is as much as the stream falls in them."""
    found = read(planned, [0.2, 0.5, 0.8], abv_off={0.5: 0.4}, time=True, vapour=True)
    made = learnt_from(planned, found)
    own = {"strength": 0.5, "vapour": 0.5, "time": 30.0}
    assert sorted(r.kind for r in made.residuals) == sorted(list(own) * 3)
    for residual in made.residuals:
        place = found[residual.line].collected_l
        assert place is not None
        here, there = planned.at(collected_l=place - 0.001), planned.at(collected_l=place + 0.001)
        moved = {
            "strength": here.stream_abv - there.stream_abv,
            "vapour": here.vapour_c - there.vapour_c,
            "time": 60.0 * (here.elapsed_min - there.elapsed_min),
        }[residual.kind]
        assert residual.error == pytest.approx(np.hypot(own[residual.kind], moved), rel=0.02)
        # Taken out of the answer again, a reading lies further off than it is left lying.
        assert abs(residual.distance) >= abs(residual.off) / residual.error


def test_a_number_matters_from_half_a_standard_error_on(planned: Run) -> None:
    """Two numbers that show alike are said to be so only if each would show at all."""
    made = learnt_from(planned, read(planned, [0.8]))

    def said(moves: float) -> int:
        k, m = NAMES.index("ratio"), NAMES.index("charge_abv")
        information = np.zeros_like(made.information)
        information[k, k] = information[m, m] = information[k, m] = information[m, k] = moves**2
        return len(verdicts(replace(made, information=information)))

    assert said(0.501) == said(5.0) == said(0.499) + 1 == said(0.0) + 1
