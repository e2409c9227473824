"""Bands of a followed run on stills that get part of their heat, lose spirit and are charged wrongly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import potsim
from potsim.planning.forecast import Band, Follower, _Looking
from potsim.planning.learnt import bench_of, observed_of, on_bench, opened
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.still.fit import fit
from potsim.still.observed import NAMES, Noise

DRAWS, SEED = 200, 20261127
PLACES_L = (0.15, 0.35, 0.6)  # of three timed readings
ASKED = ("stop_l", "stop_min", "stop_mean_abv")
CAREFUL, CARELESS = Noise(), Noise(abv=1.0, volume_l=0.005, time_s=60.0)


def read(true: potsim.Run, noise: Noise, rng: np.random.Generator) -> list[Reading]:
    found: list[Reading] = []
    for place in PLACES_L:
        seen = true.at(collected_l=place)
        entry = Entry(
            elapsed_min=max(0.0, seen.elapsed_min + noise.time_s / 60.0 * rng.standard_normal()),
            collected_l=place + noise.volume_l * rng.standard_normal(),
            read_abv=seen.stream_abv + noise.abv * rng.standard_normal(),
        )
        found.append(next_reading(found, entry))
    return found


def knowing(follower: Follower, found: list[Reading], noise: Noise, known: dict[str, float]) -> list[Band]:
    """The bands of who knows some numbers exactly, and of all else as much as anybody."""
    run = follower.run
    before = opened(follower.prior, run)
    bench = bench_of(run, found, before)
    prior = on_bench(before, bench, run)
    mean, error, low, high = (v.copy() for v in (prior.mean, prior.error, prior.low, prior.high))
    for name, value in known.items():
        k = NAMES.index(name)
        mean[k], error[k] = value, 1e-7
        low[k], high[k] = min(low[k], value), max(high[k], value + 1e-6)
    sure = replace(prior, mean=mean, error=error, low=low, high=high)
    made = _Looking(run, tuple(found), fit(bench, sure, observed_of(found), noise), ()).forecast()
    return [getattr(made, name) for name in ASKED]


@pytest.mark.long
@pytest.mark.parametrize("noise", [CAREFUL, CARELESS], ids=["careful", "careless"])
def test_bands_hold_the_stop_in_80_to_97_of_a_hundred_and_are_not_idle(noise: Noise) -> None:
    """Held by 200 fresh runs; as wide as a loss that three readings leave open makes them.

    Three readings tell what is lost to 8 % of the spirit (careless ones: 11 %), as a weak charge and a neck
    that sheds less look alike. So who does not know the losses is bound to have wider bands for the volume:
    1.8 and 1.7 times by rule, had it been told that 0 to 15 % are lost, all alike; and it is told less.
    """
    plan = replace(potsim.example_plan(), botanicals=())
    planned, rng = potsim.distil(plan), np.random.default_rng(SEED)
    held = dict.fromkeys(ASKED, 0)
    wider: dict[str, list[float]] = {name: [] for name in ASKED}
    for _ in range(DRAWS):
        share, lost = rng.uniform(0.35, 1.0), rng.uniform(0.0, 0.15)
        neck = max(0.6 * (1.0 + 0.3 * rng.standard_normal()), 0.05)
        still = replace(plan.still, heat_share=share, lost=lost, neck_loss_w_per_k=neck)
        off = rng.choice([-0.03, 0.0, 0.0, 0.03])
        charge = tuple(replace(part, abv=part.abv * (1.0 + off)) for part in plan.charge)
        true = potsim.distil(replace(plan, still=still, charge=charge))
        found = read(true, noise, rng)
        follower = Follower(planned, noise=noise)
        made = follower.update(found)
        ratio = neck * made.fit.above_k / made.fit.bench.net_power_w
        narrow = knowing(follower, found, noise, {"ratio": ratio, "lost": lost})
        stop = (true.stop.collected_l, true.stop.elapsed_min, true.stop.mean_abv)
        for name, there, known in zip(ASKED, stop, narrow, strict=True):
            band = getattr(made, name)
            held[name] += band.low <= there <= band.high
            wider[name].append((band.high - band.low) / (known.high - known.low))
    for name in ASKED:
        assert 0.80 <= held[name] / DRAWS <= 0.97, name
    assert np.median(wider["stop_mean_abv"]) <= 1.5
    assert np.median(wider["stop_min"]) <= 1.8
    assert np.median(wider["stop_l"]) <= 2.2
