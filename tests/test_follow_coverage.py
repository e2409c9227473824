"""Bands of a followed run on stills that get part of their heat, lose spirit and are charged wrongly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import potsim
from potsim.planning import readings as learning
from potsim.planning.forecast import Follower, Forecast
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.still.fit import Noise

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


def knowing(plan: potsim.Plan, found: list[Reading], noise: Noise) -> Forecast:
    """The forecast of who knows what arrives, what is lost and what the neck sheds."""
    sure = replace(plan.uncertainty, lost=1e-6, power=0.02, neck_loss=0.02)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(learning, "POWER_LEARNT", 0.0)
        patch.setattr(learning, "LOST_LEARNT", 0.0)
        return Follower(potsim.distil(replace(plan, uncertainty=sure)), noise=noise).update(found)


@pytest.mark.long
@pytest.mark.parametrize("noise", [CAREFUL, CARELESS], ids=["careful", "careless"])
def test_bands_hold_the_stop_in_80_to_97_of_a_hundred_and_are_not_idle(noise: Noise) -> None:
    plan = replace(potsim.example_plan(), botanicals=())
    planned, rng = potsim.distil(plan), np.random.default_rng(SEED)
    held = dict.fromkeys(ASKED, 0)
    wider: dict[str, list[float]] = {name: [] for name in ASKED}
    for _ in range(DRAWS):
        still = replace(
            plan.still,
            heat_share=rng.uniform(0.35, 1.0),
            lost=rng.uniform(0.0, 0.15),
            neck_loss_w_per_k=max(0.6 * (1.0 + 0.3 * rng.standard_normal()), 0.05),
        )
        off = rng.choice([-0.03, 0.0, 0.0, 0.03])
        charge = tuple(replace(part, abv=part.abv * (1.0 + off)) for part in plan.charge)
        true = potsim.distil(replace(plan, still=still, charge=charge))
        found = read(true, noise, rng)
        made = Follower(planned, noise=noise).update(found)
        known = knowing(replace(plan, still=still), found, noise)
        stop = (true.stop.collected_l, true.stop.elapsed_min, true.stop.mean_abv)
        for name, there in zip(ASKED, stop, strict=True):
            band, narrow = getattr(made, name), getattr(known, name)
            held[name] += band.low <= there <= band.high
            wider[name].append((band.high - band.low) / (narrow.high - narrow.low))
    for name in ASKED:
        assert 0.80 <= held[name] / DRAWS <= 0.97, name
        assert np.median(wider[name]) <= 1.5, name
