"""Whole runs against worked examples, an old series of measurements and the practice of the trade."""

from __future__ import annotations

import numpy as np

from potsim.data import read_table
from potsim.interfaces.evidence.core import Comparison, compare
from potsim.liquid import strength
from potsim.still.course import Course, course
from potsim.still.still import Conditions, Still
from potsim.still.tables import balance, curves

SINGLE_STAGE = Conditions()
# The 4 L still that the defaults are scaled from: 700 W, neck 0.6 W/K, pot 1.0 W/K.
MODEST_REFLUX = Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0)


def comparisons() -> list[Comparison]:
    """Return what this module compares."""
    return [*_worked_example(), *_groening(), *_practice()]


def _worked_example() -> list[Comparison]:
    table = curves(SINGLE_STAGE)
    fall = float(table.position(0.18) - table.position(0.06))
    left = 100.0 * np.exp(-fall)
    mean = (18.0 - 0.06 * left) / (100.0 - left)
    source = "Perry's Chemical Engineers' Handbook, section 13, simple batch distillation"
    note = "their equilibrium is Carey & Lewis 1932; the tolerance is that set's scatter carried through"
    return [
        compare(
            "100 mol from x = 0.18 to 0.06: distilled", source, "mol", 30.0, 100.0 - left, 0.5, note=note
        ),
        compare("100 mol from x = 0.18 to 0.06: mean x", source, "-", 0.46, mean, 0.01, note=note),
    ]


def groening_pairs() -> tuple[np.ndarray, np.ndarray]:
    """Return Groening's strengths of pot and spout between 7 and 50 % vol in the pot."""
    rows = read_table("published/groening_spout_vs_pot.csv")
    pot, spout = (np.array([float(r[k]) for r in rows]) for k in ("boiling_liquid_abv", "distillate_abv"))
    inside = (pot >= 7) & (pot <= 50)
    return pot[inside], spout[inside]


def spout_abv(pot_abv: np.ndarray, conditions: Conditions) -> np.ndarray:
    """Return the strength at the spout of a still for strengths in its pot."""
    state = balance(np.asarray(strength.x_from_abv(pot_abv)), conditions)
    return np.asarray(strength.abv_from_x(state.y_distillate))


def _groening() -> list[Comparison]:
    pot, spout = groening_pairs()
    source = "Groening, early 19th century, in Cooley, Cyclopaedia of Practical Receipts, vol. 1"
    note = "historical scale, about 2 % vol uncertain; measured stills lie above a single stage"
    return [
        compare(f"spout against pot, {words}", source, "% vol", spout, spout_abv(pot, still), 3.0, note=note)
        for words, still in (("single stage", SINGLE_STAGE), ("modest reflux", MODEST_REFLUX))
    ]


def _practice() -> list[Comparison]:
    found = []
    for row in read_table("published/practice_bands.csv"):
        low, high = float(row["low"]), float(row["high"])
        values = [_answer(row, still) for still in (SINGLE_STAGE, MODEST_REFLUX)]
        closest = min(values, key=lambda v: abs(v - 0.5 * (low + high)))
        share = float(row["share"])
        where = f" at {100.0 * share:.0f} % of the charge" if share else " at the start"
        found.append(
            compare(
                f"{row['kind']}, {float(row['charge_abv']):g} %: {row['quantity']}{where}",
                row["source"],
                "% vol" if row["quantity"] != "recovered" else "%",
                0.5 * (low + high),
                closest,
                0.5 * (high - low) + 3.0,
                role="practice",
                note=f"single stage {values[0]:.1f}, modest reflux {values[1]:.1f}; "
                f"band {low:g} to {high:g}, 3 allowed beyond it",
            )
        )
    return found


def _answer(row: dict[str, str], conditions: Conditions) -> float:
    run, charge_l = _run(float(row["charge_abv"]), conditions)
    heads = _depletion(run, float(row["heads_share"]) * charge_l)
    end = _depletion(run, (float(row["heads_share"]) + float(row["share"])) * charge_l)
    states = run.at(np.array([heads, end]))
    if row["quantity"] == "stream_abv":
        return float(states.stream_abv[1])
    ethanol = states.over_ethanol_mol
    if row["quantity"] == "recovered":
        return 100.0 * float(ethanol[1]) / (run.charge_mol * run.charge_x)
    water = states.over_mol - ethanol
    return float(strength.abv_from_moles(ethanol[1] - ethanol[0], water[1] - water[0]))


def _run(abv: float, conditions: Conditions) -> tuple[Course, float]:
    ethanol, water = (float(amount) for amount in strength.moles(2.4, abv))
    still = Still(capacity_l=4.0, conditions=conditions, heat_up_power_w=conditions.power_w)
    return course(ethanol + water, ethanol / (ethanol + water), still), 2.4


def _depletion(run: Course, volume_l: float) -> float:
    return run.first(lambda s: s.collected_l - volume_l) or 0.0
