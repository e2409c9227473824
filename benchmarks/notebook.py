"""A notebook user's own version beside potsim (thermo, solve_ivp, thirty plain lines), and a study."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from thermo.nrtl import NRTL

import potsim
from benchmarks.flavours import BILL
from benchmarks.measure import Row, best_of
from potsim import BotanicalDose, Ingredient, Plan

RUNS = 10_000
ROWS, POINTS = 4096, 200  # of the table, and of a run, in the bare loop

# --- What a user would write: ethanol and water by NRTL, one stage, no neck, constant heat; about 30 lines.

# Parameters of NRTL and of Antoine's equation, from memory: good enough to time, not to trust.
TAUS, ALPHAS = [[0.0, -0.1], [1.6, 0.0]], [[0.0, 0.3], [0.3, 0.0]]
ANTOINE = ((8.20417, 1642.89, 230.300), (8.07131, 1730.63, 233.426))  # mmHg, °C
HEAT_J_PER_MOL, NET_W = 40_500.0, 560.0


def bubble(x: float) -> tuple[float, float]:
    """Boiling point [°C] and vapour of a liquid."""

    def partial(t_c: float) -> tuple[float, float]:
        gamma = NRTL(T=t_c + 273.15, xs=[x, 1.0 - x], tau_as=TAUS, alpha_cs=ALPHAS).gammas()
        p1, p2 = (10.0 ** (a - b / (c + t_c)) for a, b, c in ANTOINE)
        return x * gamma[0] * p1, (1.0 - x) * gamma[1] * p2

    t_c = brentq(lambda t: sum(partial(t)) - 760.0, 60.0, 110.0)
    return t_c, partial(t_c)[0] / 760.0


def run_by_hand(litres: float, abv: float, stop_y: float = 0.27, traces: int = 0) -> tuple[float, float]:
    """Litres and strength collected until the stream's mole fraction falls to ``stop_y``."""
    ethanol, water = litres * abv / 100.0 * 789.0 / 46.07, litres * (1.0 - abv / 100.0) * 998.0 / 18.015
    volatility = np.linspace(1.0, 40.0, traces)  # of each trace over the liquid, constant

    def slope(_: float, state: np.ndarray) -> np.ndarray:
        pot, x = state[0] + state[1], state[0] / (state[0] + state[1])
        rate, y = NET_W / HEAT_J_PER_MOL, bubble(x)[1]
        return np.concatenate([[-rate * y, -rate * (1.0 - y)], -rate * volatility * state[2:] / pot])

    def weak(_: float, state: np.ndarray) -> float:
        return bubble(float(state[0] / (state[0] + state[1])))[1] - stop_y

    weak.terminal = True  # type: ignore[attr-defined]
    start = np.concatenate([[ethanol, water], np.ones(traces)])
    solved = solve_ivp(slope, (0.0, 4e4), start, events=weak, rtol=1e-6, atol=1e-9)
    over_e, over_w = ethanol - solved.y[0, -1], water - solved.y[1, -1]
    spirit_l, water_l = over_e * 46.07 / 789.0, over_w * 18.015 / 998.0
    return float(spirit_l + water_l), float(100.0 * spirit_l / (spirit_l + water_l))


# --- The rows.


def rows() -> list[Row]:
    """The user's version against ours, and a study against a bare loop of interpolations."""
    plan = replace(potsim.example_plan(), botanicals=())
    bill = replace(plan, botanicals=tuple(BotanicalDose(name, mass_g=3.0) for name in BILL))
    plain = Plan((Ingredient("spirit", 2.4, 38.0),), still=plan.still, cuts=plan.cuts)
    by_hand_l, by_hand_abv = run_by_hand(2.4, 38.0)
    ours = potsim.distil(plain)
    agree = f"{by_hand_l:.2f} L at {by_hand_abv:.0f} % by hand, "
    agree += f"{ours.stop.collected_l:.2f} L at {ours.stop.mean_abv:.0f} %"
    one_hand, one = (
        best_of(2, lambda: run_by_hand(2.4, 38.0)),
        best_of(20, lambda: potsim.distil(anew(plain))),
    )
    many = best_of(3, lambda: potsim.study(plain, {"charge.abv": list(np.linspace(25.0, 45.0, 1000))}))
    whole_hand = best_of(1, lambda: run_by_hand(2.4, 38.0, traces=35))
    whole = best_of(10, lambda: potsim.distil(anew(bill)).to_dict())
    return [
        Row("a notebook user's run (thermo, solve_ivp), against distil", one_hand / one, agreement=agree),
        Row("the same of 1,000 charges, against a study", 1000.0 * one_hand / many),
        Row("the same with 35 traces, against distil of 8 botanicals and to_dict", whole_hand / whole),
        *_studies(plan, bill),
        *_sweeps(),
    ]


def _studies(plan: Plan, bill: Plan) -> list[Row]:
    grid = {
        "charge.abv": list(np.linspace(25.0, 45.0, 100)),
        "still.power": list(np.linspace(450.0, 1000.0, 100)),
    }
    table, column = np.linspace(0.0, 1.0, ROWS), np.sin(np.linspace(0.0, 1.0, ROWS))
    at = np.linspace(0.0, 1.0, POINTS)

    def bare() -> None:
        for _ in range(RUNS):
            np.interp(at, table, column)

    loop = together = followed = np.inf
    for _ in range(5):  # by turns: a machine has faster and slower minutes
        loop = min(loop, best_of(1, bare))
        together = min(together, best_of(1, lambda: potsim.study(plan, grid)))
        followed = min(followed, best_of(1, lambda: potsim.study(bill, grid, flavours=True)))
    what = f"a study of {RUNS:,} runs, against a bare loop of as many numpy.interp of {POINTS} points"
    return [
        Row(what, together / loop, 5, False, "x", "keep to 1e-4"),
        Row(f"{what}, with flavours of 8 botanicals", followed / loop, 60, False, "x", "oil to 1e-4"),
    ]


def _sweeps() -> list[Row]:
    """``strengths`` with 200 powers against 200 charge strengths: processor's seconds, and memory."""
    power, charge = (
        _strengths(*told) for told in (("still.power", "450 W", "2.76 W"), ("charge.abv", "25 %", "0.1 %"))
    )
    most = max(power[1], charge[1])
    return [
        Row(
            "200 powers by strengths --vary, against 200 strengths of the charge",
            power[0] / charge[0],
            2,
            False,
        ),
        Row("memory of strengths with 200 values", most, 200, False, "MB"),
    ]


def _strengths(key: str, first: str, step: str) -> tuple[float, float]:
    number, unit = first.split()
    last = f"{float(number) + 199.0 * float(step.split()[0]):g} {unit}"
    command = ["strengths", "--vary", key, "--from", first, "--to", last, "--step", step]
    program = (
        "import resource, runpy, sys; sys.argv[0] = 'potsim'\n"
        "try: runpy.run_module('potsim', run_name='__main__')\n"
        "except SystemExit as done: assert not done.code\n"
        "seconds = resource.getrusage(resource.RUSAGE_SELF).ru_utime\n"
        "status = open('/proc/self/status').read()\n"  # of this program alone, not of what started it
        "print(seconds, status.split('VmHWM:')[1].split()[0], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *command], check=True, capture_output=True, text=True
    )
    seconds, kilobytes = done.stderr.split()[-2:]
    return float(seconds), float(kilobytes) / 1024.0


@lru_cache(maxsize=1)
def _counter() -> list[int]:
    return [0]


def anew(plan: Plan) -> Plan:
    """The same plan with a little more in the pot, so that nothing of it is kept from before."""
    _counter()[0] += 1
    first = plan.charge[0]
    assert isinstance(first, Ingredient)
    more = replace(first, volume_l=first.volume_l * (1.0 + 1e-6 * _counter()[0]))
    return replace(plan, charge=(more, *plan.charge[1:]))
