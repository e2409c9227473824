"""The row of jars under the spout: which comes when, how strong it is, and what one gone wrong would cost."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from potsim.errors import ConvergenceError
from potsim.liquid import strength
from potsim.planning.amounts import Amounts, amounts, volume_l
from potsim.planning.cuts import CutPoints
from potsim.planning.jar_sizes import FULL, Parts, owned, proposed, said
from potsim.planning.plan import MOST_JARS, JarStock
from potsim.planning.portion import Portion, between
from potsim.planning.profile import ZERO_C
from potsim.still.course import Course

Array = NDArray[np.float64]

ROLES = ("heads", "keep", "tails")
SLIVER = 1e-6  # of its size; so little does not begin another jar
STEPS = 60
HYDROMETER_L = (0.06, 0.1)  # spirit in which a hydrometer floats; common practice, no source


@dataclass(frozen=True)
class Jar:
    """What one jar holds.

    Parameters
    ----------
    number : int
        From 1, in the order of the run.
    role : {'heads', 'keep', 'tails'}
        Where it lies between the cuts.
    size_l, volume_l : float
        What it can hold, and what it does hold at 20 °C [L].
    from_l, to_l : float
        Pooled distillate when it is put under the spout and when it is taken away [L at 20 °C].
    abv, start_abv, end_abv : float
        Strength of its contents, and of the stream at its start and end [% vol].
    vapour_c : float
        Temperature of the vapour at its end [°C].
    full_min : float
        Minute at which it is taken away, from switch-on.
    mass_g : float
        Mass of its contents [g]; what the scales show.
    start_depletion, end_depletion : float
        ln(W0 / W) at its start and end.
    portion : Portion
        Its contents in moles.
    """

    number: int
    role: str
    size_l: float
    volume_l: float
    from_l: float
    to_l: float
    abv: float
    start_abv: float
    end_abv: float
    vapour_c: float
    full_min: float
    mass_g: float
    start_depletion: float
    end_depletion: float
    portion: Portion

    @property
    def ethanol_l(self) -> float:
        """Pure alcohol in it [L at 20 °C]."""
        return self.volume_l * self.abv / 100.0


@dataclass(frozen=True)
class AtStake:
    """The most that is lost when one jar of the keep turns out bad.

    Parameters
    ----------
    number : int
        The jar that holds most alcohol.
    volume_l : float
        What is in it [L at 20 °C].
    share : float
        Its share of the alcohol in the keep, 0 to 1; of the volume where there is none.
    """

    number: int
    volume_l: float
    share: float


@dataclass(frozen=True)
class Row:
    """Jars from the first drop to the end of a run.

    Parameters
    ----------
    jars : tuple of Jar
        In the order of the run.
    proposed : bool
        Whether the sizes are a proposal; else they are those owned.
    left_over : Portion
        What comes over when the last jar is full.
    at_stake : AtStake or None
        The most that one bad jar costs; ``None`` if no jar is kept.
    notes : tuple of str
        What to heed, a sentence each.
    """

    jars: tuple[Jar, ...]
    proposed: bool
    left_over: Portion
    at_stake: AtStake | None
    notes: tuple[str, ...]


def lay(course: Course, points: CutPoints, sizes: Sequence[JarStock] = ()) -> Row:
    """Lay jars along a run.

    Parameters
    ----------
    course : Course
        The run.
    points : CutPoints
        Where heads, keep and run end.
    sizes : sequence of JarStock
        The jars owned; a row is proposed if there are none.

    Returns
    -------
    Row
        The jars; mass and ethanol add up to the distillate, but for what is left over.

    Raises
    ------
    RequestError
        If the run would take more than 500 jars.

    Notes
    -----
    A jar is full when its own contents at 20 °C are as much as it holds; pooled they are a little less, by
    the contraction. Every cut ends a jar. Of several sizes the small ones go near the cuts and where the
    stream changes fast, the large ones between.
    """
    run = amounts(course, points.end)
    cuts = -course.charge_mol * np.expm1(-np.array([0.0, points.heads, points.keep_end, points.end]))
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
        raise ConvergenceError("The jars could not be filled to their sizes.", "Please report the plan.")
    # A sliver goes into the jar before it, or stays in the last one, rather than begin another.
    real = (held > SLIVER * sizes) | opens
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
        states.vapour_k[1:] - ZERO_C,
        states.elapsed_s[1:] / 60.0,
        grams,
        depletions[:-1],
        depletions[1:],
    )
    portions = [Portion(*pair) for pair in zip(ethanol.tolist(), water.tolist(), strict=True)]
    rows = zip(np.stack(columns, axis=1).tolist(), filled.part.tolist(), portions, strict=True)
    return tuple(_jar(k, ROLES[p], row, portion) for k, (row, p, portion) in enumerate(rows, start=1))


def _jar(number: int, role: str, row: Sequence[float], portion: Portion) -> Jar:
    size, volume, start, end, abv, first, last, vapour, minute, grams, opened, closed = row
    return Jar(
        number,
        role,
        size,
        volume,
        start,
        end,
        abv,
        first,
        last,
        vapour,
        minute,
        grams,
        opened,
        closed,
        portion,
    )


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


def _notes(jars: Sequence[Jar], left: Portion, *, proposed: bool) -> tuple[str, ...]:
    notes = []
    if proposed:
        counted = Counter(jar.size_l for jar in jars)
        row = ", ".join(f"{number} x {said(size)}" for size, number in sorted(counted.items()))
        notes.append(f"No jars are named, so a row is proposed: {row}.")
    notes += _short(jars, left)
    for before, after in itertools.pairwise(jars):
        if before.role != after.role and before.volume_l < (1.0 - SLIVER) * before.size_l:
            cut = "heads" if before.role == "heads" else "tails"
            notes.append(
                f"Change jar {before.number} at the {cut} cut, when it holds {said(before.volume_l)} "
                f"of its {said(before.size_l)}."
            )
    smallest = min(jar.size_l for jar in jars)
    if smallest < HYDROMETER_L[1]:
        verb = "does not float" if smallest < HYDROMETER_L[0] else "may not float"
        notes.append(
            f"A jar of {said(smallest)} {verb} a hydrometer, which takes 60 to 100 mL (common practice, no "
            "source): read a few jars together, or go by the temperature of the vapour."
        )
    return tuple(notes)


def _short(jars: Sequence[Jar], left: Portion) -> list[str]:
    if left.ethanol_mol + left.water_mol == 0.0:
        return []
    last = jars[-1]
    return [
        f"The jars are too few: jar {last.number} is full at {said(last.to_l)} collected and "
        f"{last.full_min:.0f} min, and {said(left.volume_l)} at {left.abv:.1f} % vol are left over. "
        f"Have larger jars ready, or more of them, up to {MOST_JARS}."
    ]
