"""Many runs at once: where each ends, what is kept of it, what that comes to."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.planning.plan import Bottling
from potsim.planning.schema import Watch
from potsim.planning.stops import READERS, WATCHED, margin
from potsim.records import dataclass
from potsim.still.courses import Courses, ManyStates
from potsim.still.receiver import first_parrot_abv

Array = NDArray[np.float64]

CURVES = ("stream_abv", "pot_abv", "vapour_c", "recovered", "elapsed_min")
STOP = ("collected_l", "stream_abv", "pot_abv", "mean_abv", "recovered", "elapsed_min")


@dataclass(frozen=True)
class Cuts:
    """What ends each run and its keep; a number for all, or an array of shape (n,)."""

    stop: Mapping[str, float | Array]  # stops that watch a course; of others `stop_at` tells
    tails_from: Mapping[str, float | Array]
    least_l: float | Array  # level that must stay in the pot [L]
    solids_l: float | Array  # volume of botanicals in the pot [L]
    parrot_l: float | None = None  # what the parrot holds [L]
    reach: float = 6.0  # depletion to which runs are looked at first
    stop_at: float = np.inf  # depletion at which runs end whatever else
    tails_at: float = np.inf  # depletion at which keeps end whatever else


def single_names(roles: Sequence[str], bottling: Bottling) -> tuple[str, ...]:
    """Names of the single answers, in the order of `single`."""
    out = ["charge.volume_l", "charge.abv", "first_drop_min", *(f"stop.{name}" for name in STOP)]
    out += [f"{role}.{name}" for role in ("heads", "tails") if role in roles for name in ("volume_l", "abv")]
    out += ["keep.volume_l", "keep.abv", "keep.ethanol_l"]
    if bottling.abv is not None:
        out += ["proofing.water_l", "proofing.volume_l"]
        out += ["proofing.bottles"] if bottling.bottle_l is not None else []
    return tuple(out)


def ends(cuts: Cuts, runs: Courses) -> tuple[Array, Array]:
    """Depletions at which run and keep end; infinite where the plan's stop never comes, or at once."""
    end = np.minimum(comes(cuts.stop, runs, cuts).min(axis=0, initial=np.inf), cuts.stop_at)
    end = np.where(end > 0.0, end, np.inf)
    end = bared(cuts, runs, end)
    tails = comes(cuts.tails_from, runs, cuts).min(axis=0, initial=np.inf)
    return end, np.minimum(np.minimum(tails, cuts.tails_at), end)


def bared(cuts: Cuts, runs: Courses, end: Array) -> Array:
    """Depletions at which runs end, or sooner where the pot's level falls to what must stay in it."""
    end = end.copy()
    if np.any(np.asarray(cuts.least_l) > 0.0) and np.isfinite(end).any():

        def margin_l(states: ManyStates) -> Array:
            least, solids = (_of(value, states) for value in (cuts.least_l, cuts.solids_l))
            return np.where(np.asarray(least) > 0.0, least - states.pot_hot_l - solids, -1.0)

        bare = margin_l(runs.at(np.where(np.isfinite(end), end, 0.0)[:, None]))[:, 0] >= 0.0
        bare &= np.isfinite(end)
        if bare.any():
            level = runs.where(bare).first(margin_l, cuts.reach)
            end[bare] = np.where(level > 0.0, np.minimum(level, end[bare]), np.inf)
    return end


def _of(value: float | Array, states: ManyStates) -> float | Array:
    """The value of each run, to be held against its states."""
    return value if np.ndim(value) == 0 else np.asarray(value)[states.courses.number][:, None]


def comes(stop: Mapping[str, float | Array], runs: Courses, cuts: Cuts) -> Array:
    """Depletions at which each condition comes, shape (conditions, n); infinite where it never does."""
    out = np.full((len(stop), runs.charge_mol.size), np.inf)
    for k, (key, value) in enumerate(stop.items()):
        if key == "parrot_abv" and cuts.parrot_l is not None:
            out[k] = first_parrot_abv(runs, cuts.parrot_l, float(value), cuts.reach)
        elif key in WATCHED:
            out[k] = runs.first(_margin(WATCHED[key], value), cuts.reach)
    return out


def _margin(watch: Watch, value: float | Array) -> Callable[[ManyStates], Array]:
    return lambda states: margin(watch, READERS[watch.quantity](states), _of(value, states))


def single(
    runs: Courses,
    end: Array,
    edges: Array,
    roles: Sequence[str],
    kept: Sequence[int],
    bottling: Bottling,
    *,
    jars: bool = False,
) -> Array:
    """Answers, shape (n, answers), in the order of `single_names`, then of the jars; NaN for none."""
    there, states = runs.at(end[:, None]), runs.at(edges)
    ethanol = np.maximum(np.diff(states.over_ethanol_mol), 0.0)
    water = np.maximum(np.diff(states.over_mol) - ethanol, 0.0)
    charged = runs.charge_mol * runs.charge_x
    columns = [
        np.asarray(strength.volume_from_moles(charged, runs.charge_mol - charged)),
        np.asarray(strength.abv_from_x(runs.charge_x)),
        runs.first_drop_s / 60.0,
        *(READERS[name](there)[:, 0] for name in STOP),
    ]
    of = np.array(roles)
    for role in ("heads", "tails"):
        if role in roles:
            columns += _poured(ethanol[:, of == role].sum(axis=1), water[:, of == role].sum(axis=1))
    chosen = list(kept)
    keep = ethanol[:, chosen].sum(axis=1), water[:, chosen].sum(axis=1)
    keep_l, keep_abv = _poured(*keep)
    columns += [keep_l, keep_abv, keep_l * keep_abv / 100.0]
    columns += _bottled(bottling, *keep)
    if not jars:
        return np.stack(columns, axis=1)
    jar_l, jar_abv = _poured(ethanol, water)
    full_min = np.where(jar_l > 0.0, states.elapsed_s[:, 1:] / 60.0, np.nan)
    return np.concatenate([np.stack(columns, axis=1), jar_l, jar_abv, full_min], axis=1)


def _poured(ethanol: Array, water: Array) -> list[Array]:
    """Volume and strength of what is poured together; no strength of nothing."""
    some = ethanol + water > 0.0
    abv = np.asarray(strength.abv_from_moles(np.where(some, ethanol, 1.0), water))
    return [np.asarray(strength.volume_from_moles(ethanol, water)), np.where(some, abv, np.nan)]


def _bottled(bottling: Bottling, ethanol: Array, water: Array) -> list[Array]:
    """Water, volume and bottles; none where the keep is weaker than the bottling strength."""
    if bottling.abv is None:
        return []
    if bottling.stretch is not None:
        added = strength.moles(bottling.stretch.spirit_l, bottling.stretch.abv)
        ethanol, water = ethanol + added.ethanol_mol, water + added.water_mol
    volume_l, abv = _poured(ethanol, water)
    strong = abv >= bottling.abv
    abv = np.where(strong, abv, bottling.abv)
    water_l = np.asarray(strength.water_to_reach(volume_l, abv, bottling.abv))
    more = np.asarray(strength.moles(water_l, 0.0).water_mol)
    bottled_l = np.asarray(strength.volume_from_moles(ethanol, water + more))
    out = [water_l, bottled_l]
    if bottling.bottle_l is not None:
        out.append(np.floor(bottled_l / bottling.bottle_l + 1e-9))
    return [np.where(strong, column, np.nan) for column in out]


def curve(runs: Courses, s: Array) -> Array:
    """Quantities of `CURVES` at depletions, shape (n, m), of shape (n, curves, m); NaN beyond the end."""
    there = np.isfinite(s)
    states = runs.at(np.where(there, s, 0.0))
    columns = [np.where(there, READERS[name](states), np.nan) for name in CURVES]
    return np.stack(columns, axis=1)


# --- Much work, by one process or many.


WAITING = 16  # pieces handed to an executor ahead of the one waited for
Key = TypeVar("Key")
Answer = TypeVar("Answer")


def in_order(
    work: Callable[..., Answer], tasks: Iterable[tuple[Key, tuple[object, ...]]], executor: Executor | None
) -> Iterator[tuple[Key, Answer]]:
    """Yield keys with what is made of what stands beside them, in order; at most `WAITING` in the making."""
    waiting: deque[tuple[Key, Future[Answer]]] = deque()
    try:
        for key, given in tasks:
            if executor is None:
                yield key, work(*given)
                continue
            waiting.append((key, executor.submit(work, *given)))
            if len(waiting) >= WAITING:
                key, future = waiting.popleft()
                yield key, future.result()
        while waiting:
            key, future = waiting.popleft()
            yield key, future.result()
    finally:  # an interrupt leaves nothing in the queue
        for _, future in waiting:
            future.cancel()
