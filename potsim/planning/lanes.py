"""Where a flavour is met: lanes along a run, and the dose from which on a botanical is noticed."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.planning.botanicals import ResolvedDose
from potsim.planning.flavours import Flavours, predict
from potsim.planning.release import CLEAR, HINT, LEAST_TIMES

Array = NDArray[np.float64]

POINTS = 97  # evenly spaced in distillate
MOST = 6  # lanes
AS_NOSE = 0.35  # power by which a nose takes a concentration, from memory (Stevens: 0.3 to 0.6)
SHORTEST = 0.02  # of the distillate; a stretch below that is left to its neighbours
NEAR = 1.1  # two groups within this of each other share an end
FADE = 0.02  # of the distillate, to either side of such an end
GIVES = 0.3  # of a group, from which on a botanical is named with it


class Stretch(NamedTuple):
    """Where a group marks the stream."""

    # pooled distillate [L at 20 °C]
    from_l: float
    to_l: float
    names: tuple[str, ...]  # the botanicals that give most of it, most first
    # whether the group before, or after, is so near that the end is open
    fades_in: bool
    fades_out: bool


class Lane(NamedTuple):
    """One group of flavour."""

    group: str  # such as ``"citrus"``
    times: Array  # its concentration in the stream over the thresholds of its compounds, shape (points,)
    thick: Array  # that as a nose takes it, all lanes on one scale, 0 to 1, shape (points,)
    stretches: tuple[Stretch, ...]  # where it marks the stream, in order


class Lanes(NamedTuple):
    """The lanes of a run."""

    collected_l: Array  # pooled distillate, first drop to stop [L at 20 °C], shape (points,)
    # at most six groups that can be noticed, in the order in which they mark the stream
    lanes: tuple[Lane, ...]
    below: tuple[str, ...]  # botanicals that never reach ten times their threshold in the stream


def lanes(flavours: Flavours) -> Lanes:
    """Return lanes up to the stop; a group marks the stream where it is furthest above its own mean."""
    s = _evenly(flavours)
    states = flavours.course.at(s)
    collected, rows = states.collected_l, flavours.carried.rows
    smelt = flavours.stream_by_row(s) * flavours.per_g[:, None]
    lines = flavours.by_line(smelt)
    reach = lines.max(axis=1, initial=0.0)
    below = tuple(name for name, most in zip(flavours.labels, reach, strict=True) if most < LEAST_TIMES)
    # Of each group: what each line of the bill gives of it, shape (groups, lines, points).
    names = list(dict.fromkeys(g for g, k in zip(flavours.groups, rows.source, strict=True) if k > 0))
    given = np.zeros((len(names), len(flavours.bill), s.size))
    over = flavours.over_by_row([(0.0, flavours.cut.end)])[:, 0] * flavours.per_g
    mean = np.zeros(len(names))  # of all collected, whatever the points
    for row, (group, k) in enumerate(zip(flavours.groups, rows.source.tolist(), strict=True)):
        if k > 0:
            given[names.index(group), k - 1] += smelt[row]
            mean[names.index(group)] += over[row] / collected[-1]
    times = given.sum(axis=1)
    strong = [g for g in np.argsort(-times.max(axis=1, initial=0.0)) if times[g].max() >= LEAST_TIMES][:MOST]
    if not strong:
        return Lanes(collected, (), below)
    times, given, mean = times[strong], given[strong], mean[strong]
    above = np.where(times >= LEAST_TIMES, times / mean[:, None], 0.0)
    marked = _calm(np.argmax(above, axis=0), max(round(SHORTEST * s.size), 1))
    thick = (times / times.max()) ** AS_NOSE
    found = []
    for place, group in enumerate(strong):
        stretches = _stretches(place, marked, above, given[place], collected, flavours.labels)
        found.append(Lane(names[group], times[place], thick[place], stretches))
    late = float(collected[-1]) + 1.0
    found.sort(key=lambda lane: lane.stretches[0].from_l if lane.stretches else late)
    return Lanes(collected, tuple(found), below)


def _evenly(flavours: Flavours) -> Array:
    """Depletions at even steps of distillate, first drop to stop."""
    s = np.linspace(0.0, flavours.cut.end, 8 * POINTS)
    litres = flavours.course.at(s).collected_l
    return np.asarray(np.interp(np.linspace(0.0, litres[-1], POINTS), litres, s))


def _calm(marked: NDArray[np.intp], shortest: int) -> NDArray[np.intp]:
    """Which group marks each point, stretches too short to tell left to the one before them."""
    calm = marked.copy()
    edges = [0, *(np.flatnonzero(np.diff(marked)) + 1).tolist(), marked.size]
    for start, end in itertools.pairwise(edges):
        if end - start < shortest and start > 0:
            calm[start:end] = calm[start - 1]
    return calm


def _stretches(
    place: int,
    marked: NDArray[np.intp],
    above: Array,
    given: Array,
    collected: Array,
    labels: tuple[str, ...],
) -> tuple[Stretch, ...]:
    near = max(round(FADE * marked.size), 1)
    edges = [0, *(np.flatnonzero(np.diff(marked)) + 1).tolist(), marked.size]
    found = []
    for start, end in itertools.pairwise(edges):
        if marked[start] != place:
            continue
        totals = given[:, start:end].sum(axis=1)
        ranked = [int(k) for k in np.argsort(-totals)]
        order = [k for k in ranked if totals[k] >= GIVES * totals.sum()] or ranked[:1]
        left = collected[0] if start == 0 else 0.5 * (collected[start - 1] + collected[start])
        right = collected[-1] if end == marked.size else 0.5 * (collected[end - 1] + collected[end])
        found.append(
            Stretch(
                float(left),
                float(right),
                tuple(labels[k] for k in order),
                start > 0 and _open(above, marked[start - 1], place, max(start - near, 0)),
                end < marked.size and _open(above, place, marked[end], min(end + near, marked.size - 1)),
            )
        )
    return tuple(found)


def _open(above: Array, one: int, other: int, at: int) -> bool:
    """Whether two groups stand so near each other at a point that the end between them is open."""
    a, b = float(above[one, at]), float(above[other, at])
    return min(a, b) > 0.0 and max(a, b) < NEAR * min(a, b)


# --- How much of a botanical it takes to be noticed beside this very bill: solved, not scaled.


ROUNDS = 12
CLOSE = 1e-3  # of the logarithm of what is wanted
FURTHEST = 1e4  # times the dose, beyond which it is not looked for


class NoticedDoses(NamedTuple):
    """Doses of one line of a bill, as it is weighed [g]."""

    now_g: float  # the dose of the plan
    # from which on it is a hint, and clear, in the bottle; None where no dose does that
    hint_g: float | None
    clear_g: float | None


def noticed_doses(flavours: Flavours, line: int) -> NoticedDoses:
    """Return the doses at which a botanical is just a hint, and just clear, beside the rest of the bill."""
    now_g = flavours.bill[line].wet_mass_g
    if now_g <= 0.0 or float(flavours.in_bottle[line]) <= 0.0:
        return NoticedDoses(now_g, None, None)
    known = {0.0: flavours.in_bottle}
    by_share = {share: _solved(flavours, line, share, 0.0, known) for share in (HINT, CLEAR)}
    by_times = _solved(flavours, line, 0.0, LEAST_TIMES, known)
    hint = [one for one in (by_share[HINT], by_times) if one is not None]
    clear = by_share[CLEAR]
    return NoticedDoses(
        now_g,
        now_g * math.exp(max(hint)) if len(hint) == 2 else None,
        None if clear is None else now_g * math.exp(clear),
    )


def _solved(
    flavours: Flavours, line: int, share: float, times: float, known: dict[float, np.ndarray]
) -> float | None:
    """Logarithm of the factor on the dose at which a share, or times-threshold, is reached, by secants."""
    if share > 0.0 and len(flavours.bill) == 1:
        return None

    def beyond(log_factor: float) -> float:
        if log_factor not in known:
            known[log_factor] = _bottle(flavours, line, math.exp(log_factor))
        found = known[log_factor]
        mine, rest = float(found[line]), float(found.sum() - found[line])
        if share > 0.0:
            return math.log(mine / rest) - math.log(share / (1.0 - share)) if rest > 0.0 else math.inf
        return math.log(mine / times)

    a, fa = 0.0, beyond(0.0)
    if not math.isfinite(fa):
        return None
    b = min(max(-fa, -math.log(FURTHEST)), math.log(FURTHEST))
    for _ in range(ROUNDS):
        fb = beyond(b)
        if abs(fb) < CLOSE:
            return b
        if fb == fa:
            return None
        a, fa, b = b, fb, b - fb * (b - a) / (fb - fa)
        if abs(b) > math.log(FURTHEST):
            return None
    return None


def _bottle(flavours: Flavours, line: int, factor: float) -> np.ndarray:
    """Times-threshold in the bottle with so many times the dose of one line."""
    bill = list(flavours.bill)
    bill[line] = _times(bill[line], factor)
    other = predict(flavours.course, bill, flavours.in_charge, flavours.own)
    return other.cut_at(flavours.cut).in_bottle


def _times(dose: ResolvedDose, factor: float) -> ResolvedDose:
    return replace(
        dose,
        dry_mass_g=factor * dose.dry_mass_g,
        wet_mass_g=factor * dose.wet_mass_g,
        oil_g={name: factor * grams for name, grams in dose.oil_g.items()},
    )
