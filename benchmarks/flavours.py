"""A whole run with botanicals, against LSODA on the full system of pot, ethanol and forty compounds."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from scipy.integrate import solve_ivp

import potsim
from benchmarks.measure import Row, best_of
from potsim.planning.ensemble import ensemble
from potsim.planning.plan import BotanicalDose, Uncertainty
from potsim.planning.run import Run
from potsim.still.escape import ease, escape

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
TABULATED = 4000  # rows of the look-ups that LSODA uses


def rows() -> list[Row]:
    """The full run in a tabulated still, as a program calls it."""
    bill = tuple(BotanicalDose(name, mass_g=3.0) for name in BILL)
    plan = replace(potsim.example_plan(), botanicals=bill)
    run = potsim.distil(plan)
    theirs = by_lsoda(run)
    carried = run.flavours.carried
    ours = carried.at(np.array([run.end.depletion])).over[:, 0]
    off = float(np.abs(ours - theirs).max())
    assert off < 1e-5, f"a compound is off by {off:.1e} of its total"
    slow = quick = np.inf
    for _ in range(5):  # by turns: a machine has faster and slower minutes
        slow = min(slow, best_of(1, lambda: by_lsoda(run)))
        quick = min(quick, best_of(10, lambda: potsim.distil(plan).to_dict()))
    what = f"full run, {len(BILL)} botanicals, {len(carried.compound_ids)} compounds, against LSODA"
    many = best_of(2, lambda: ensemble(plan, DRAWS)) / DRAWS
    return [
        Row(what, slow / quick, 100, True, "x", f"to {off:.0e} of each total"),
        Row(
            f"such a run among {DRAWS:,}, with bands, against LSODA", slow / many, 1000, True, "x", same(run)
        ),
    ]


def same(run: Run) -> str:
    """How far a run drawn without uncertainty is from one computed by itself."""
    certain = replace(run.plan, uncertainty=Uncertainty(*(0.0 for _ in fields(Uncertainty))))
    drawn = ensemble(certain, 10, model_misfit=False)
    off = max(
        abs(drawn.answers["keep.volume_l"].low / run.keep.volume_l - 1.0),
        abs(drawn.answers["keep.abv"].high / run.keep.abv - 1.0),
    )
    grams = run.flavours.over_g(run.kept_spans)
    assert {name: band.value for name, band in ensemble(run.plan, 10).traces.items()} == grams
    assert off < 1e-5, f"the keep is off by {off:.1e}"
    return f"keep to {off:.0e}"


def by_lsoda(run: Run) -> np.ndarray:
    """Share over of each compound of each botanical: moles, ethanol and traces in time, on tables over x."""
    carried, course = run.flavours.carried, run.course
    rows, n = carried.rows, carried.rows.amount.size
    tables = course.at(np.linspace(0.0, 1.02 * run.end.depletion, TABULATED)[::-1])
    xs = tables.pot_x
    litres_per_mol = tables.pot_l / tables.pot_mol
    out = escape(rows.compounds, tables, course.still.conditions.pressure_pa)
    of_compounds = np.concatenate([out.per_depletion, out.partition], axis=1)
    count = len(rows.compounds)
    pools = [
        (k, rows.pool[k, j], rows.per_s[k, j]) for k in (0, 1) for j in range(3) if rows.pool[k, j].any()
    ]
    fat = rows.lipid_l[rows.pot]

    def slope(_: float, state: np.ndarray) -> np.ndarray:
        pot, x = state[:2]
        easy, held = state[2 : 2 + 2 * n].reshape(2, n), state[2 + 2 * n : 2 + 3 * n]
        y, moved, kelvin = (
            np.interp(x, xs, c) for c in (tables.stream_x, tables.rate_mol_per_s, tables.pot_k)
        )
        row = min(max(int(np.searchsorted(xs, x)) - 1, 0), TABULATED - 2)
        along = (x - xs[row]) / (xs[row + 1] - xs[row])
        there = of_compounds[row] + along * (of_compounds[row + 1] - of_compounds[row])
        parts = there[count:][rows.compound]
        faster = ease(rows.hold, parts, kelvin, True)
        given = sum(share * per_s * np.exp(-per_s * easy[k]) * faster[k] for k, share, per_s in pools)
        litres = pot * np.interp(x, xs, litres_per_mol)
        flow = there[:count][rows.compound] / (1.0 + fat * parts / litres) * held * moved / pot
        ethanol = -(y - x) * moved / pot
        return np.concatenate([[-moved, ethanol], faster.ravel(), given - flow, flow])

    easy = carried.first_s
    start = np.concatenate(
        [[course.charge_mol, course.charge_x], easy.ravel(), carried.grid.in_pot[:, 0], np.zeros(n)]
    )
    seconds = 60.0 * run.stop.elapsed_min - course.first_drop_s
    solved = solve_ivp(slope, (0.0, seconds), start, "LSODA", [seconds], rtol=1e-7, atol=1e-11)
    assert solved.success
    return np.asarray(solved.y[2 + 3 * n :, -1])
