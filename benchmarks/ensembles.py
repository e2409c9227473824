"""Thousands of runs: cost and memory from one to a million, and one of them against numpy's interpolation."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

import potsim
from benchmarks.measure import Row, best_of
from benchmarks.still import straightforward
from potsim.liquid import strength
from potsim.planning.ensemble import CHUNK
from potsim.planning.many import doubts_of, drawn, standard_numbers
from potsim.still.family import family

SIZES = (1, 100, 10_000, 1_000_000)
DRAWS, POINTS = 20_000, 200
# Processor's seconds of an ensemble in a process of its own whose tables are made, and the most memory [kB].
PROGRAM = """
import resource, sys, time
from dataclasses import replace
import potsim
from potsim.planning.ensemble import ensemble
from potsim.planning.plan import JarPlan, JarStock
plan = replace(potsim.example_plan(), botanicals=(), jars=JarPlan((JarStock(0.5),)))
ensemble(plan, 1)
start = time.process_time()
ensemble(plan, int(sys.argv[1]))
print(time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@dataclass(frozen=True)
class Point:
    """An ensemble of so many runs: seconds of the processor, and megabytes at the most."""

    runs: int
    seconds: float
    memory_mb: float


@lru_cache(maxsize=1)
def points() -> tuple[Point, ...]:
    """Each size before and after the largest: a machine has faster and slower minutes."""
    there, back = [_point(runs) for runs in SIZES], [_point(runs) for runs in SIZES[-2::-1]]
    seconds = [0.5 * (one.seconds + other.seconds) for one, other in zip(there, back[::-1], strict=False)]
    return (*(replace(p, seconds=s) for p, s in zip(there, seconds, strict=False)), there[-1])


def _point(runs: int) -> Point:
    # By way of a small process: a new one counts the memory of that which it was split from as its own.
    between = "import subprocess, sys; subprocess.run([sys.executable, '-c', *sys.argv[1:]], check=True)"
    done = subprocess.run(
        [sys.executable, "-c", between, PROGRAM, str(runs)], check=True, capture_output=True, text=True
    )
    seconds, memory = (float(v) for v in done.stdout.split())
    return Point(runs, seconds, memory / (1024.0**2 if sys.platform == "darwin" else 1024.0))


def table() -> str:
    """The points of the study of cost, as a table."""
    lines = [
        "Ensembles of the example plan without botanicals, in three jars, with 205 points of the curve of "
        "each run; one process.",
        "",
        "| runs | processor, s | microseconds a run | most memory, MB |",
        "| --- | --- | --- | --- |",
    ]
    for p in points():
        lines.append(f"| {p.runs:,} | {p.seconds:.3g} | {1e6 * p.seconds / p.runs:.3g} | {p.memory_mb:.0f} |")
    return "\n".join(lines)


def rows() -> list[Row]:
    """Cost a run and memory at a million, and one look-up of many stills."""
    by_size = {p.runs: p for p in points()}
    many, some = by_size[1_000_000], by_size[10_000]
    return [
        Row("a run of 1,000,000, against a run of 10,000", many.seconds / some.seconds / 100.0, 1.25, False),
        Row(
            "memory of 1,000,000 runs above that of 10,000", many.memory_mb - some.memory_mb, 50, False, "MB"
        ),
        _single(some),
        _look(),
    ]


def _single(some: Point) -> Row:
    """A run among many, with its jars and its part in the bands, against one integrated step by step."""
    x0, depletion = float(strength.x_from_abv(38.0)), np.linspace(0.0, 1.2, POINTS)
    slow = best_of(2, lambda: straightforward(x0, depletion))
    what = f"a run among {some.runs:,} with jars, keep and bands, against solve_ivp"
    return Row(what, slow / (some.seconds / some.runs), 1000, True, "x")


def _look() -> Row:
    """Stream and pot strength of 20,000 charges, each in a still of its own."""
    study = doubts_of(potsim.distil(potsim.example_plan()))
    draws = drawn(study, standard_numbers(study, DRAWS, np.random.SeedSequence(0)))
    tables = family(study.span)
    charge_x = draws.ethanol_mol / (draws.ethanol_mol + draws.water_mol)
    depletion = -np.log(np.linspace(1.0, 0.3, POINTS))
    stream, pot = np.empty((DRAWS, POINTS)), np.empty((DRAWS, POINTS))

    def ours() -> None:
        for k in range(0, DRAWS, CHUNK):
            block = np.arange(DRAWS)[k : k + CHUNK]
            look = tables.walks(charge_x[block], draws.stills.where(block)).at(depletion)
            stream[block], pot[block] = look("stream_abv"), look("pot_abv")

    grid = np.linspace(-2.0, 0.0, 4096)
    column = np.sin(grid)
    where = np.linspace(-0.1, 0.1, DRAWS)[:, None] - depletion
    quick = best_of(5, ours)
    plain = best_of(5, lambda: np.interp(where, grid, column))
    what = f"{DRAWS:,} charges in as many stills at {POINTS} shares, against one numpy.interp"
    return Row(what, quick / plain, 4, False, "x", "to 0.1 % vol at three standard deviations")
