"""A whole run with botanicals, against LSODA on the full system of pot, ethanol and forty compounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

import potsim
from benchmarks.measure import Row, best_of
from potsim.planning.ensemble import ensemble
from potsim.planning.plan import BotanicalDose, Plan, Uncertainty
from potsim.planning.run import Run
from potsim.still.carry import ease
from potsim.still.escape import escape

BILL = (
    "juniper",
    "coriander seed",
    "lemon peel",
    "fennel seed",
    "bay leaf",
    "angelica root",
    "black pepper",
    "green cardamom",
)
DRAWS = 10_000


def rows() -> list[Row]:
    """The full run in a tabulated still."""
    bill = tuple(BotanicalDose(name, mass_g=3.0) for name in BILL)
    plan = replace(potsim.example_plan(), botanicals=bill)
    run = potsim.distil(plan)
    theirs = by_lsoda(run)
    carried = run.flavours.carried
    ours = carried.at(np.array([run.end.depletion])).over[:, 0]
    off = float(np.abs(ours - theirs).max())
    assert off < 1e-5, f"a compound is off by {off:.1e} of its total"
    slow = quick = np.inf
    for _ in range(3):  # by turns: a machine has faster and slower minutes
        slow = min(slow, best_of(1, lambda: by_lsoda(run)))
        quick = min(quick, best_of(20, lambda: whole(plan)))
    what = f"full run, {len(BILL)} botanicals, {len(carried.compound_ids)} compounds, against LSODA"
    many = best_of(2, lambda: ensemble(plan, DRAWS)) / DRAWS
    return [
        Row(what, slow / quick, 200, True, "x", f"to {off:.0e} of each total"),
        Row(f"such a run among {DRAWS:,}, with bands, against LSODA", slow / many, 200, True, "x", same(run)),
    ]


def same(run: Run) -> str:
    """How far a run drawn without uncertainty is from one computed by itself."""
    certain = replace(run.plan, uncertainty=Uncertainty(0.0, 0.0, 0.0, 0.0, 0.0))
    drawn = ensemble(certain, 10, model_misfit=False)
    off = max(
        abs(drawn.answers["keep.volume_l"].low / run.keep.volume_l - 1.0),
        abs(drawn.answers["keep.abv"].high / run.keep.abv - 1.0),
    )
    grams = run.flavours.over_g(run.kept_spans)
    assert {name: band.value for name, band in ensemble(run.plan, 10).traces.items()} == grams
    assert off < 1e-5, f"the keep is off by {off:.1e}"
    return f"keep to {off:.0e}"


def whole(plan: Plan) -> Run:
    """Curve, stop, jars, keep, proofing, arrays and the times of every botanical."""
    run = potsim.distil(plan)
    assert len(run.flavours.botanicals) == len(BILL)
    assert run.profile.collected_l.size > 200
    return run


def by_lsoda(run: Run) -> np.ndarray:
    """Share over of each compound of each botanical: moles, ethanol and traces in time, K as tabulated."""
    carried, course = run.flavours.carried, run.course
    rows = carried.rows
    pressure = course.still.conditions.pressure_pa
    n, litres = rows.amount.size, rows.lipid_l[rows.compound]

    def slope(_: float, state: np.ndarray) -> np.ndarray:
        pot, x, _clock = state[:3]
        easy, held = state[3 : 3 + 2 * n].reshape(2, n), state[3 + 2 * n : 3 + 3 * n]
        there = course.at(np.array([np.log(course.charge_mol / pot)]))
        moved = there.rate_mol_per_s[0]
        out = escape(rows.compounds, there, pressure)
        parts = out.partition[0, rows.compound]
        faster = ease(rows.hold[:, 0], parts, there.pot_k, True)
        release = (rows.pool * rows.per_s * np.exp(-rows.per_s * easy[:, None])).sum(axis=1)
        given = (release * faster).sum(axis=0)
        flow = (
            out.per_depletion[0, rows.compound] / (1.0 + litres * parts / there.pot_l[0]) * held * moved / pot
        )
        ethanol = -(there.stream_x[0] - x) * moved / pot
        return np.concatenate([[-moved, ethanol, 1.0], faster.ravel(), given - flow, flow])

    easy = carried.easy_s[:, 0]
    start = np.concatenate(
        [[course.charge_mol, course.charge_x, 0.0], easy.ravel(), 1.0 - rows.in_plant(easy), np.zeros(n)]
    )
    seconds = 60.0 * run.stop.elapsed_min - course.first_drop_s
    solved = solve_ivp(slope, (0.0, seconds), start, "LSODA", [seconds], rtol=1e-7, atol=1e-11)
    assert solved.success
    return np.asarray(solved.y[3 + 3 * n :, -1])
