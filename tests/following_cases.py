"""Runs of another still, read with noise: what forecasts are held against."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from other_still import OtherRun, distil

import potsim
from potsim.liquid import strength
from potsim.planning.plan import Ingredient, Plan
from potsim.planning.readings import Entry, Reading, next_reading
from potsim.planning.run import Run

STOP_ABV = 55.0


def the_plan() -> Plan:
    """The example's still and stop, without botanicals."""
    return replace(potsim.example_plan(), botanicals=())


@dataclass(frozen=True)
class Truth:
    """What the other still really does, and what its spout shows."""

    neck_w_per_k: float
    pot_w_per_k: float
    hold_up_l: float
    run: OtherRun
    collected_l: np.ndarray
    spout_abv: np.ndarray

    @property
    def stop(self) -> dict[str, float]:
        """Where the spout has fallen to the stop's strength."""
        k = int(np.argmax(self.spout_abv <= STOP_ABV))
        near = slice(k - 1, k + 1)
        part = (self.spout_abv[k - 1] - STOP_ABV) / -np.diff(self.spout_abv[near])[0]
        return {
            "collected_l": float(np.interp(part, [0.0, 1.0], self.collected_l[near])),
            "elapsed_min": float(np.interp(part, [0.0, 1.0], self.run.elapsed_min[near])),
        }

    def at(self, collected_l: float) -> dict[str, float]:
        """What is seen when so much is collected."""
        columns = {
            "abv": self.spout_abv,
            "vapour_c": self.run.vapour_c,
            "pot_c": self.run.pot_c,
            "elapsed_min": self.run.elapsed_min,
        }
        return {name: float(np.interp(collected_l, self.collected_l, v)) for name, v in columns.items()}


def truth(rng: np.random.Generator, planned: Run, hold_up: float = 0.05) -> Truth:
    """Draw a still within the plan's doubts, with a share of the distillate held back in the condenser."""
    doubt, given = planned.plan.uncertainty, planned.setting.still.conditions
    neck = max(given.neck_loss_w_per_k * (1.0 + doubt.neck_loss * rng.standard_normal()), 0.05)
    pot = max(given.pot_loss_w_per_k * (1.0 + doubt.pot_loss * rng.standard_normal()), 0.05)
    parts = [
        Ingredient(
            part.name,
            part.volume_l * (1.0 + doubt.volume * rng.standard_normal()),
            part.abv + doubt.abv * rng.standard_normal() * (part.abv > 0.0),
        )
        for part in planned.plan.charge
    ]
    mixed = strength.mix([p.volume_l for p in parts], [p.abv for p in parts])
    run = distil(
        mixed.volume_l,
        mixed.abv,
        power_w=given.power_w,
        neck_w_per_k=neck,
        pot_w_per_k=pot,
        pressure_pa=given.pressure_pa,
        first_drop_min=planned.first_drop_min * (1.0 + 0.1 * rng.standard_normal()),
    )
    held = hold_up * planned.stop.collected_l
    return Truth(neck, pot, held, run, *_spout(run, held))


def _spout(run: OtherRun, held_l: float) -> tuple[np.ndarray, np.ndarray]:
    """Collected behind a well-mixed volume, and the strength there; it fills first."""
    over_l = np.asarray(strength.volume_from_moles(run.ethanol_mol, run.over_mol - run.ethanol_mol))
    if held_l == 0.0:
        return over_l, run.stream_abv
    mixed = run.stream_abv.copy()
    for k in range(1, over_l.size):
        held = min(held_l, over_l[k])
        share = (over_l[k] - over_l[k - 1]) / held
        mixed[k] = mixed[k - 1] + (run.stream_abv[k] - mixed[k - 1]) * min(share, 1.0)
    return np.maximum(over_l - held_l, 0.0) + 1e-9 * np.arange(over_l.size), mixed


def readings(rng: np.random.Generator, seen: Truth, upto_l: float, count: int = 8) -> list[Reading]:
    """Read strength, volume, vapour and time off the spout, with realistic noise."""
    found: list[Reading] = []
    last_l, last_min = 0.0, 0.0
    for place in np.linspace(0.06, upto_l, count):
        here = seen.at(float(place))
        last_l = max(float(place) + 0.002 * rng.standard_normal(), last_l)
        last_min = max(here["elapsed_min"] + 0.5 * rng.standard_normal(), last_min)
        entry = Entry(
            elapsed_min=last_min,
            collected_l=last_l,
            read_abv=here["abv"] + 0.5 * rng.standard_normal(),
            vapour_c=here["vapour_c"] + 0.5 * rng.standard_normal(),
        )
        found.append(next_reading(found, entry))
    return found
