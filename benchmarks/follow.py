"""One more reading at the still, against the time of an import."""

from __future__ import annotations

import subprocess
import sys

import numpy as np

import potsim
from benchmarks.measure import Row, best_of
from potsim.planning.forecast import Follower
from potsim.planning.readings import Entry, Reading, next_reading

IMPORT = "import time; t = time.perf_counter(); import matplotlib.figure; print(time.perf_counter() - t)"


def rows() -> list[Row]:
    """Forecasts, each with one new reading, in the time of one ``import matplotlib.figure``."""
    run = potsim.distil(potsim.example_plan())
    readings: list[Reading] = []
    for place in np.linspace(0.05, 0.8, 10):
        seen = run.at(collected_l=float(place))
        entry = Entry(
            elapsed_min=seen.elapsed_min,
            collected_l=float(place),
            read_abv=seen.stream_abv,
            vapour_c=seen.vapour_c,
        )
        readings.append(next_reading(readings, entry))
    follower = Follower(run)
    follower.update(readings[:4])
    forecasts = [follower.update(readings[:k]) for k in range(4, 11)]
    alone = Follower(run).update(readings)
    off = abs(forecasts[-1].stop_l.value - alone.stop_l.value)
    assert off < 0.1 * (alone.stop_l.high - alone.stop_l.low), f"{off:.1e} L from a search from the start"

    def six_updates() -> None:
        follower.update(readings[:4])
        for k in range(5, 11):
            follower.update(readings[:k])

    one = best_of(20, six_updates) / 7.0
    bare = min(float(_output(IMPORT)) for _ in range(5))
    return [
        Row(
            "forecasts with one new reading in the time of one import matplotlib.figure",
            bare / one,
            50,
            True,
            "",
            f"stop to {1000.0 * off:.2g} mL",
        )
    ]


def _output(program: str) -> str:
    return subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True).stdout
