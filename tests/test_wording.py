"""The words of refusals, notes and hints, here and nowhere else; other tests look at kinds and numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest

import potsim
from potsim.planning.next_trial import to_charge
from potsim.planning.plan import JarPlan, JarStock, Plan

# --- Notes


@pytest.mark.parametrize(
    ("size_ml", "verb"), [(59.0, "does not"), (60.0, "may not"), (99.0, "may not"), (100.0, None)]
)
def test_a_small_jar_in_words(size_ml: float, verb: str | None, bare: Plan) -> None:
    jars = JarPlan(sizes=(JarStock(size_ml / 1000.0),))
    said = [note for note in potsim.distil(replace(bare, jars=jars)).row.notes if "hydrometer" in note]
    words = f"A jar of {size_ml:.0f} mL {verb} float a hydrometer, which takes 60 to 100 mL"
    assert [note[: len(words)] for note in said] == ([] if verb is None else [words])


@pytest.mark.parametrize("room_c", [5.0, 35.0])
def test_what_a_scaled_neck_sheds_in_words(room_c: float, bare: Plan) -> None:
    """The share of the power: W/K by the degrees between vapour and room, over the power."""
    made = to_charge(replace(bare, still=replace(bare.still, room_c=room_c)), 25.0)
    before, after = (
        100.0 * s.neck_loss_w_per_k * (float(run.vapour_c[0]) - room_c) / s.power_w
        for run, s in ((made.before, made.before.plan.still), (made.after, made.after.plan.still))
        if s.neck_loss_w_per_k is not None and s.power_w is not None
    )
    assert f" {after:.1f} % instead of {before:.1f} %; with it goes the reflux." in made.unscaled[0]
