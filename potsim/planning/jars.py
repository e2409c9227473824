"""Jars: which size to put where, the row of them under the spout, and one small jar that is emptied."""

from __future__ import annotations

import bisect
import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import SHARE, ConvergenceError, RequestError, require
from potsim.liquid import strength
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning.charge import Amounts, Portion, amounts, between, volume_l
from potsim.planning.notes import Note, caution, hint
from potsim.planning.plan import LEAST_JAR_L, MOST_JARS, JarStock
from potsim.planning.stops import CutPoints
from potsim.records import dataclass
from potsim.still.course import Course

# --- Which size of jar to put where: small near a cut and where the stream changes fast, large between.


Array = NDArray[np.float64]

# Sizes in which jars are commonly sold or marked [L]; common practice, no source.
KITCHEN_L = (
    *(0.001, 0.002, 0.005, 0.01, 0.02, 0.03, 0.06, 0.1, 0.125, 0.25, 0.35, 0.5, 0.75),
    *(1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0),
)
# Our choices for a proposed row.
PROPOSED_JARS = 14  # between heads and the end of a run of a litre or more
FEWEST_JARS = 6
JAR_TO_READ_L = 0.06  # a small run takes fewer jars rather than jars in which no hydrometer floats
MOST_SIZES = 3
MOST_AT_STAKE = 1.0 / 6.0  # of the keep's alcohol in one jar
BASE, CHANGE, NEARNESS = 0.4, 0.25, 0.35  # what jars are shared out by: volume, change of strength, cuts
REACH = 0.08  # how far a cut makes itself felt, as a share of the volume after the heads
LAST = 1.5  # a last jar up to so much larger than wanted is taken rather than two
FULL = 1e-9  # of its size, to which a jar is filled
COVER = 1.0 + 1e-4  # the stream drop by drop is told to about this
STRETCHES = (1.0, 1.4, 0.7, 2.0, 0.5, 2.8, 0.35, 4.0, 0.25, 8.0, 0.12)  # of the wanted sizes, tried in order


@dataclass(frozen=True)
class Parts:
    """Heads, keep and tails, for which jars are chosen."""

    stretches_l: tuple[tuple[float, float], ...]  # start and end of each [L of stream]
    heads_l: float  # own volume of the heads [L]; 0 for none
    most: tuple[int, ...] = (MOST_JARS + 1,) * 3  # jars that each can use at most

    @property
    def ends_l(self) -> list[float]:
        """Where each ends [L of stream]."""
        return [end for _, end in self.stretches_l]


@dataclass(frozen=True)
class Wanted:
    """Size that a jar should have, by its place."""

    stream_l: list[float]  # places after the heads [L of stream]
    size_l: list[float]  # sizes there [L]

    def at(self, place: float) -> float:
        """Size for a jar that begins at a place [L of stream], judged at the middle of the jar."""
        size = self._at(place)
        return self._at(place + 0.5 * size)

    def _at(self, place: float) -> float:
        return self.size_l[min(bisect.bisect_left(self.stream_l, place), len(self.size_l) - 1)]


def wanted_sizes(run: Amounts, bounds_l: Sequence[float]) -> Wanted:
    """Share a row of jars out along a run."""
    start, end = bounds_l[0], bounds_l[-1]
    place = np.linspace(start, end, 129)
    abv = np.interp(place, run.stream_l, run.stream_abv)
    whole = end - start
    change = np.abs(np.gradient(abv, place))
    near = np.zeros(place.shape)
    for cut in bounds_l[:2]:
        near += np.exp(-np.abs(place - cut) / (REACH * whole))
    measure = BASE / whole + CHANGE * _share(change, place) + NEARNESS * _share(near, place)
    jars = min(max(whole / JAR_TO_READ_L, FEWEST_JARS), PROPOSED_JARS)
    size = float(np.trapezoid(measure, place)) / (jars * measure)
    return Wanted(place.tolist(), size.tolist())


def _share(weight: Array, place: Array) -> Array:
    total = float(np.trapezoid(weight, place))
    return weight / total if total > 0.0 else np.zeros(place.shape)


def proposed(run: Amounts, parts: Parts) -> list[list[float]]:
    """Propose sizes for every part of a run."""
    wanted = wanted_sizes(run, parts.ends_l)
    (start, heads_end), after = parts.stretches_l[0], parts.ends_l[-1]
    low, high = min(wanted.size_l), max(wanted.size_l)
    low = max(low, min(JAR_TO_READ_L, (after - start) / FEWEST_JARS))
    _, (_, keep_end), tails = parts.stretches_l
    safe = safe_size(run, heads_end, keep_end)
    palette = [size for size in KITCHEN_L if 0.8 * low <= size <= 1.25 * high] or [nearest_size(low)]
    if len(palette) > MOST_SIZES:
        middle = min(palette, key=lambda size: abs(math.log(size * size / (palette[0] * palette[-1]))))
        palette = sorted({palette[0], middle, palette[-1]})
    heads = [_holding(parts.heads_l * (1.0 - FULL), KITCHEN_L)] if parts.heads_l > 0.0 else []
    if heads and heads[0] > 4.0 * palette[-1]:
        heads = [palette[-1]] * math.ceil((heads_end - start) * COVER / palette[-1])
    small = [size for size in palette if size <= safe] or [size_below(safe) or max(safe, LEAST_JAR_L)]
    nothing = (heads_end, heads_end), (keep_end, keep_end)
    keep = Parts((nothing[0], (heads_end, keep_end), nothing[1]), 0.0)
    after_keep = Parts((*nothing, tails), 0.0)
    row = _lay(keep, [JarStock(size) for size in small], wanted, 1.0).rows[1]
    return [heads, row, _lay(after_keep, [JarStock(size) for size in palette], wanted, 1.0).rows[2]]


def safe_size(run: Amounts, start_l: float, end_l: float) -> float:
    """Return the largest jar of a keep [L] that, gone wrong, costs less than a sixth of its alcohol."""
    place = np.linspace(start_l, end_l, 129)
    abv = np.interp(place, run.stream_l, run.stream_abv)
    whole, strongest = float(np.trapezoid(abv, place)), float(abv.max())
    if whole <= 0.0 or strongest <= 0.0:
        return math.inf if end_l <= start_l else MOST_AT_STAKE * (end_l - start_l)
    return 0.999 * MOST_AT_STAKE * whole / strongest


def nearest_size(size_l: float) -> float:
    """Return the kitchen size nearest to a volume, by ratio."""
    return min(KITCHEN_L, key=lambda size: abs(math.log(size / size_l)))


def size_below(size_l: float) -> float | None:
    """Return the largest kitchen size that does not exceed a volume, if there is one."""
    return max((size for size in KITCHEN_L if size <= size_l * (1.0 + 1e-9)), default=None)


def owned(run: Amounts, parts: Parts, stock: Sequence[JarStock]) -> list[list[float]]:
    """Place the jars that there are."""
    if len({jar.size_l for jar in stock}) == 1:
        return _lay(parts, stock, None, 1.0).rows
    wanted = wanted_sizes(run, parts.ends_l)
    tries = []
    for stretch in STRETCHES:
        tries.append(_lay(parts, stock, wanted, stretch))
        if tries[-1].enough and not tries[-1].makeshift:
            return tries[-1].rows
    return next((lay for lay in tries if lay.enough), tries[0]).rows


@dataclass(frozen=True)
class _Laid:
    """Sizes for each part, whether they suffice, and whether a size ran out on the way."""

    rows: list[list[float]]
    enough: bool
    makeshift: bool


def _lay(parts: Parts, stock: Sequence[JarStock], wanted: Wanted | None, stretch: float) -> _Laid:
    left: Counter[float] = Counter()
    for jar in stock:
        left[jar.size_l] += MOST_JARS + 1 if jar.count is None else jar.count
    sizes = sorted(left)
    rows: list[list[float]] = []
    makeshift = False
    count = 0
    for number, (start, end) in enumerate(parts.stretches_l):
        row: list[float] = []
        is_heads = number == 0
        place, until = start, start + (end - start) * COVER
        pooled = parts.heads_l * (1.0 - FULL)
        if is_heads and pooled <= sizes[-1]:  # one jar
            until = start + pooled
        while place < until and len(row) < parts.most[number]:
            size = math.inf if wanted is None or is_heads else stretch * wanted.at(place)
            best, there = _pick(size, until - place, sizes), [s for s in sizes if left[s] > 0]
            if not there:
                return _Laid([*rows, row], enough=False, makeshift=True)
            chosen = best if left[best] > 0 else _pick(size, until - place, there)
            makeshift = makeshift or chosen != best
            left[chosen] -= 1
            count += 1
            if count > MOST_JARS:
                raise RequestError.of("too_many_jars", "jars.sizes", given=min(sizes), allowed=MOST_JARS)
            row.append(chosen)
            place += chosen
        rows.append(row)
    return _Laid(rows, enough=True, makeshift=makeshift)


def _pick(wanted_l: float, rest_l: float, sizes: Sequence[float]) -> float:
    """Size nearest to the one wanted; for the last of a part, the smallest that holds the rest."""
    near = sizes[-1]
    if len(sizes) > 1 and not math.isinf(wanted_l):
        near = min(sizes, key=lambda size: abs(math.log(size / wanted_l)))
    holding = _holding(rest_l, sizes)
    return holding if rest_l <= holding <= LAST * near else near


def _holding(volume_l: float, sizes: Sequence[float]) -> float:
    """Smallest size that holds a volume; the largest if none does."""
    return min((size for size in sizes if size >= volume_l), default=max(sizes))


# --- The row of jars under the spout: which comes when, how strong it is, and what one gone wrong would cost.


ROLES = ("heads", "keep", "tails")
SLIVER = 1e-6  # of a jar's size; so little before a cut goes on top rather than into another jar
STEPS = 60
TOO_SMALL = "jar_too_small_for_a_hydrometer"  # kind of a note
HYDROMETER_L = (0.06, 0.1)  # spirit in which a hydrometer floats; common practice, no source


@dataclass(frozen=True)
class Jar:
    """What one jar holds."""

    number: int  # from 1, in the order of the run
    role: str  # where it lies between the cuts
    size_l: float  # what it can hold [L]
    volume_l: float  # what it does hold [L at 20 °C]
    from_l: float  # pooled distillate when it is put under the spout [L at 20 °C]
    to_l: float  # pooled distillate when it is taken away [L at 20 °C]
    abv: float  # strength of its contents [% vol]
    start_abv: float  # strength of the stream at its start [% vol]
    end_abv: float  # strength of the stream at its end [% vol]
    vapour_c: float  # temperature of the vapour at its end [°C]
    full_min: float  # minute at which it is taken away, from switch-on
    mass_g: float  # mass of its contents [g]; what the scales show
    start_depletion: float  # ln(W0 / W) at its start
    end_depletion: float  # ln(W0 / W) at its end
    portion: Portion  # its contents in moles

    @property
    def ethanol_l(self) -> float:
        """Pure alcohol in it [L at 20 °C]."""
        return self.volume_l * self.abv / 100.0


@dataclass(frozen=True)
class AtStake:
    """The most that is lost when one jar of the keep turns out bad."""

    number: int  # the jar that holds most alcohol
    volume_l: float  # what is in it [L at 20 °C]
    share: float  # its share of the alcohol in the keep, 0 to 1; of the volume where there is none


@dataclass(frozen=True)
class Row:
    """Jars from the first drop to the end of a run."""

    jars: tuple[Jar, ...]  # in the order of the run
    proposed: bool  # whether the sizes are a proposal; else they are those owned
    left_over: Portion  # what comes over when the last jar is full
    at_stake: AtStake | None  # the most that one bad jar costs; ``None`` if no jar is kept
    notes: tuple[Note, ...]  # what to heed


def lay(course: Course, points: CutPoints, sizes: Sequence[JarStock] = ()) -> Row:
    """Lay jars along a run.

    A jar is full when its own contents at 20 °C are as much as it holds; pooled they are a little less,
    by the contraction. Every cut ends a jar. Of several sizes the small ones go near the cuts and where
    the stream changes fast, the large ones between.
    """
    run = amounts(course, points.end)
    cuts = -run.whole_mol * np.expm1(-np.array([0.0, points.heads, points.keep_end, points.end]))
    cuts = np.minimum(cuts, run.over_mol[-1])  # which rounding may leave a little below the end
    places = np.interp(cuts, run.over_mol, run.stream_l).tolist()
    heads_l = float(run.volume_l(cuts[:1], cuts[1:2])[0]) if points.heads > 0.0 else 0.0
    parts = Parts(tuple(itertools.pairwise(places)), heads_l)
    filled = _fill(run, cuts, owned(run, parts, sizes) if sizes else proposed(run, parts))
    for _ in ROLES:
        if not filled.spare or filled.ends[-1] == cuts[-1]:
            break
        # Jars run out, but one was set aside for a part that turned out not to need it.
        used = np.bincount(filled.part, minlength=len(ROLES)).tolist()
        most = [u if k in filled.spare else m for k, (u, m) in enumerate(zip(used, parts.most, strict=True))]
        parts = replace(parts, most=tuple(most))
        filled = _fill(run, cuts, owned(run, parts, sizes))
    depletions = run.depletion(np.append(filled.starts, filled.ends[-1:]))
    depletions[-1] = min(depletions[-1], points.end)
    full = filled.ends < cuts[filled.part + 1]
    depletions = _to_the_brim(course, depletions, filled, full, run.whole_mol)
    jars = _jars(course, depletions, filled)
    last = float(depletions[-1])
    left = between(course, last, points.end) if last < points.end else Portion(0.0, 0.0)
    return Row(
        jars=jars,
        proposed=not sizes,
        left_over=left,
        at_stake=_at_stake(jars),
        notes=_notes(jars, left, proposed=not sizes),
    )


@dataclass(frozen=True)
class _Filled:
    """Sizes, the part each jar lies in, moles over at its start and end; parts with a jar to spare."""

    sizes: Array
    part: NDArray[np.intp]
    starts: Array
    ends: Array
    spare: frozenset[int]


def _fill(run: Amounts, cuts: Array, rows: list[list[float]]) -> _Filled:
    """Fill jars of given sizes by their own volumes."""
    counts = [len(row) for row in rows]
    sizes = np.array([size for row in rows for size in row])
    part = np.repeat(np.arange(len(rows)), counts)
    first = np.repeat(np.cumsum([0, *counts[:-1]]), counts)
    opens = np.arange(sizes.size) == first
    start, end = cuts[part], cuts[part + 1]
    full = np.interp(start, run.over_mol, run.stream_l)
    gaps, ethanol_at_start = sizes, run.ethanol(start)
    for _ in range(STEPS):
        sums = np.concatenate([[0.0], np.cumsum(gaps)])
        full = full + sums[1:] - sums[first]
        ends = np.minimum(run.at_stream_l(full), end)
        starts = _before(ends, opens, start)
        ethanol = run.ethanol(ends)
        held = volume_l(ends - starts, ethanol - _before(ethanol, opens, ethanol_at_start))
        gaps = np.where(ends < end, sizes - held, 0.0)
        if np.all(np.abs(gaps) <= FULL * sizes):
            break
    else:
        raise ConvergenceError.of("jars_unfilled")
    # A sliver goes into the jar before it, or stays in the last one, rather than begin another.
    real = (held > SLIVER * np.minimum(sizes, np.append(sizes[:1], sizes[:-1]))) | opens
    spare = frozenset(part[~real].tolist())
    if spare:
        part = part[real]
        sizes, starts, ends, end = (column[real] for column in (sizes, starts, ends, end))
    last = np.append(part[1:] != part[:-1], True)
    near = last & (ends < end)
    if near.any():
        near[near] = run.volume_l(ends[near], end[near]) <= SLIVER * sizes[near]
        ends = np.where(near, end, ends)
    return _Filled(sizes, part, starts, ends, spare)


def _before(at_end: Array, opens: NDArray[np.bool_], at_start: Array) -> Array:
    """Values at the start of jars from those at their ends; ``at_start`` for a jar that opens a part."""
    return np.where(opens, at_start, np.concatenate([at_end[-1:], at_end[:-1]]))


def _to_the_brim(
    course: Course, depletions: Array, filled: _Filled, full: NDArray[np.bool_], whole_mol: float
) -> Array:
    """Move the ends of full jars by what the course itself has in them more or less than they hold."""
    states = course.at(depletions)
    held = volume_l(np.diff(states.over_mol), np.diff(states.over_ethanol_mol))
    short = np.cumsum(np.where(full, filled.sizes - held, 0.0))
    opens = np.append(True, filled.part[1:] != filled.part[:-1])
    since = short - np.concatenate([[0.0], short])[:-1][opens][np.cumsum(opens) - 1]  # the part was opened
    x = states.stream_x[1:]
    l_per_depletion = whole_mol * np.exp(-depletions[1:]) * np.asarray(volume_l(np.ones_like(x), x))
    moved = depletions.copy()
    moved[1:] += np.where(full, since / l_per_depletion, 0.0)
    return moved


def _jars(course: Course, depletions: Array, filled: _Filled) -> tuple[Jar, ...]:
    states = course.at(depletions)
    ethanol = np.maximum(np.diff(states.over_ethanol_mol), 0.0)
    water = np.maximum(np.diff(states.over_mol) - ethanol, 0.0)
    grams = ethanol * strength.molar_mass_of("ethanol") + water * strength.molar_mass_of("water")
    collected = states.collected_l
    columns = (
        filled.sizes,
        np.asarray(strength.volume_from_moles(ethanol, water)),
        collected[:-1],
        collected[1:],
        np.asarray(strength.abv_from_moles(ethanol, water)),
        states.stream_abv[:-1],
        states.stream_abv[1:],
        states.vapour_k[1:] - ZERO_C_K,
        states.elapsed_s[1:] / 60.0,
        grams,
        depletions[:-1],
        depletions[1:],
    )
    portions = [Portion(*pair) for pair in zip(ethanol.tolist(), water.tolist(), strict=True)]
    numbers: list[list[Any]] = np.stack(columns, axis=1).tolist()
    rows = enumerate(zip(filled.part.tolist(), numbers, portions, strict=True), start=1)
    return tuple(Jar(*(k, ROLES[part], *each, portion)) for k, (part, each, portion) in rows)


def _at_stake(jars: Sequence[Jar]) -> AtStake | None:
    keep = [jar for jar in jars if jar.role == "keep"]
    if not keep:
        return None
    ethanol = sum(jar.portion.ethanol_mol for jar in keep)
    if ethanol == 0.0:
        worst = max(keep, key=lambda jar: jar.volume_l)
        return AtStake(worst.number, worst.volume_l, worst.volume_l / sum(jar.volume_l for jar in keep))
    worst = max(keep, key=lambda jar: jar.portion.ethanol_mol)
    return AtStake(worst.number, worst.volume_l, worst.portion.ethanol_mol / ethanol)


def _notes(jars: Sequence[Jar], left: Portion, *, proposed: bool) -> tuple[Note, ...]:
    notes = []
    if proposed:
        counted = Counter(jar.size_l for jar in jars)
        row = [{"size_l": size, "count": number} for size, number in sorted(counted.items())]
        notes.append(hint("jars_proposed", "jars.sizes", row=row))
    notes += _short(jars, left)
    for before, after in itertools.pairwise(jars):
        if before.role != after.role and before.volume_l < (1.0 - SLIVER) * before.size_l:
            cut = "heads" if before.role == "heads" else "tails"
            held = {"volume_l": before.volume_l, "size_l": before.size_l}
            notes.append(hint("jar_at_cut", f"jar {before.number}", number=before.number, cut=cut, **held))
    smallest = min(jar.size_l for jar in jars)
    if smallest < HYDROMETER_L[1]:
        low, high = HYDROMETER_L
        notes.append(hint(TOO_SMALL, "jars.sizes", size_l=smallest, floats_from_l=low, floats_at_l=high))
    return tuple(notes)


def _short(jars: Sequence[Jar], left: Portion) -> list[Note]:
    if left.ethanol_mol + left.water_mol == 0.0:
        return []
    last = jars[-1]
    full = {"number": last.number, "full_l": last.to_l, "full_min": last.full_min}
    over = {"left_over_l": left.volume_l, "left_over_abv": left.abv}
    return [caution("jars_too_few", "jars.sizes", **full, **over, most_jars=MOST_JARS)]


# --- The other way of collecting: one small jar, emptied into the keep as long as it still tastes right.


POINTS = 65
AWAY_MIN = (1.0, 5.0)  # minutes of distraction that are told


@dataclass(frozen=True)
class Emptied:
    """A working jar of a plan: how often it is emptied, and what is at risk each time."""

    size_l: float  # what it holds [L]
    times: int  # how often it is filled during the keep
    every_min: float  # time in which it fills when the stream is fastest, and slowest [min]
    slowest_min: float  # time in which it fills when the stream is fastest, and slowest [min]
    # minutes away from the still, and what the worst of them costs: volume [L at 20 °C], share of the keep
    away: tuple[tuple[float, float, float], ...]


def emptied(course: Course, start: float, end: float, size_l: float) -> Emptied:
    """Return what a working jar of a size asks for; at worst ``lost = size + flow * minutes``."""
    keep_l, flow = _keep_and_flow(course, start, end)
    fastest = float(flow.max())
    lost = [(minutes, min(size_l + fastest * minutes, keep_l)) for minutes in AWAY_MIN]
    return Emptied(
        size_l,
        math.ceil(keep_l / size_l * (1.0 - 1e-9)),
        size_l / fastest,
        size_l / float(flow.min()),
        tuple((minutes, litres, litres / keep_l) for minutes, litres in lost),
    )


def _keep_and_flow(course: Course, start: float, end: float) -> tuple[float, Array]:
    """Volume of a keep [L], and what comes over along it [L/min]."""
    states = course.at(np.linspace(start, end, POINTS))
    l_per_mol = np.asarray(strength.volume_from_moles(states.stream_x, 1.0 - states.stream_x))
    return between(course, start, end).volume_l, states.rate_mol_per_s * l_per_mol * 60.0


@dataclass(frozen=True)
class WorkingJar:
    """A jar that is emptied into the keep whenever it is full and tastes right."""

    largest_l: float  # how much it may hold [L]
    size_l: float  # the kitchen size below [L]; ``largest_l`` itself where none is small enough
    emptied: int  # how often it is filled during the keep
    every_min: float  # time in which it fills when the stream is fastest [min]
    lost_l: float  # what is thrown away at worst [L at 20 °C]
    lost_share: float  # the same as a share of the keep, 0 to 1


def working_jar(
    course: Course, start: float, end: float, *, minutes: float = 1.0, most_lost: float = 0.1
) -> WorkingJar:
    """Choose how large a working jar may be.

    At worst the stream turns when the jar was last emptied, the jar is full when one is called away, and
    the stream runs on at its fastest: ``lost = size + flow * minutes``.
    """
    require("minutes", minutes, 0, 1e5, "min")
    require("most_lost", most_lost, 0, 1, SHARE, open_low=True)
    keep_l, along = _keep_and_flow(course, start, end)
    flow = float(np.max(along))
    largest = most_lost * keep_l - flow * minutes
    if largest <= 0.0:
        raise RequestError.of(
            "away_too_long",
            given=minutes,
            allowed=most_lost * keep_l / flow,
            flowing_l=flow * minutes,
            lost_l=most_lost * keep_l,
        )
    size = min(size_below(largest) or largest, largest)
    lost = size + flow * minutes
    return WorkingJar(
        largest_l=largest,
        size_l=size,
        emptied=math.ceil(keep_l / size * (1.0 - 1e-9)),
        every_min=size / flow,
        lost_l=lost,
        lost_share=lost / keep_l,
    )
