"""A run under way: what its plan foresees, and what its readings make of that."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from potsim.errors import PotsimError
from potsim.interfaces.page.tables import as_rows
from potsim.liquid import strength
from potsim.planning.forecast import Follower, Forecast
from potsim.planning.readings import Reading
from potsim.planning.run import Run
from potsim.planning.stops import ZERO_C

POINTS = 121
LEARNING = 8  # runs that are followed at a time; another one is learnt anew from its readings


@dataclass(frozen=True)
class Followed:
    """What is followed: learnt anew if any of it changes."""

    name: str  # name and plan of the run
    plan_text: str  # name and plan of the run
    hold_up_l: float | None  # what the condenser holds back [L]; ``None`` to learn it from the readings


class Followers:
    """The runs being followed, so that a reading continues where the last one ended."""

    def __init__(self) -> None:
        self._held: OrderedDict[Followed, tuple[Follower, threading.Lock]] = OrderedDict()
        self._lock = threading.Lock()

    def update(self, key: Followed, run: Run, readings: Sequence[Reading]) -> Forecast:
        """Forecast the rest of a run."""
        with self._lock:
            if key not in self._held:
                self._held[key] = (Follower(run, key.hold_up_l), threading.Lock())
            self._held.move_to_end(key)
            while len(self._held) > LEARNING:
                self._held.popitem(last=False)
            follower, own = self._held[key]
        with own:
            return follower.update(readings)


def progress(followers: Followers, key: Followed, run: Run, readings: Sequence[Reading]) -> dict[str, Any]:
    """Return what is still to come."""
    planned = run.to_dict()
    try:
        found = followers.update(key, run, readings)
    except PotsimError as error:
        return {"run": planned, "trouble": str(error), **_as_planned(run)}
    return {"run": planned, "trouble": "", **ahead(found)}


def _as_planned(run: Run) -> dict[str, Any]:
    profile = run.profile
    names = ("elapsed_min", "collected_l", "stream_abv", "vapour_c", "pot_c")
    end = run.stop
    return {
        "track": as_rows({name: getattr(profile, name).tolist() for name in names}),
        "stop": {name: _sure(getattr(end, name)) for name in ("elapsed_min", "collected_l")},
        "stop_words": run.end.words,
        "band": None,
        "jars": [
            {"number": jar.number, "role": jar.role, "to_l": jar.to_l, "full_min": jar.full_min}
            for jar in run.jars
        ],
        "told": [],
        "on": [],
        "later": [],
    }


def _sure(value: float) -> dict[str, float]:
    return {"value": value, "low": value, "high": value}


def ahead(found: Forecast) -> dict[str, Any]:
    """Return what a forecast says, as the page shows it."""
    tracks = found.fit.tracks
    held = tracks.rows.hold_up_l + found.fit.bench.parrot_l
    collected = np.linspace(0.0, found.stop_l.value, POINTS)
    over = np.minimum(collected + held[:, None], tracks.points.over_l[:, -1:])
    seconds, vapour, pot = (row[0] for row in tracks.at(over, "elapsed_s", "vapour_k", "pot_k"))
    mixed = tracks.mixed(over, np.broadcast_to(held[:, None], over.shape))
    stream = np.asarray(strength.abv_from_moles(*mixed))[0]
    minutes = seconds / 60.0
    # Time counts from the last reading, where the forecast stands.
    minutes = minutes + found.elapsed_min - float(np.interp(found.collected_l, collected, minutes))
    curve = found.curve
    return {
        "track": as_rows(
            {
                "elapsed_min": minutes.tolist(),
                "collected_l": collected.tolist(),
                "stream_abv": stream.tolist(),
                "vapour_c": (vapour - ZERO_C).tolist(),
                "pot_c": (pot - ZERO_C).tolist(),
            }
        ),
        "stop": {"elapsed_min": asdict(found.stop_min), "collected_l": asdict(found.stop_l)},
        "stop_words": found.stop_words,
        "band": as_rows(
            {name: getattr(curve, name).tolist() for name in ("collected_l", "abv", "low_abv", "high_abv")}
        )
        if found.readings
        else None,
        "jars": _jars(found, collected, minutes),
        "told": [*found.odd, *found.verdicts] if found.readings else [],
        "on": [asdict(one) for one in found.flavours_now],
        "later": [asdict(one) for one in found.flavours_next],
    }


def _jars(found: Forecast, collected: np.ndarray, minutes: np.ndarray) -> list[dict[str, Any]]:
    """When each jar of the plan is taken away; none past the stop."""
    stop = found.stop_l.value
    rows: list[dict[str, Any]] = []
    for jar in found.run.jars:
        if jar.from_l < stop - 1e-6 or not rows:
            to_l = min(jar.to_l, stop)
            minute = float(np.interp(to_l, collected, minutes))
            rows.append({"number": jar.number, "role": jar.role, "to_l": to_l, "full_min": minute})
    return rows
