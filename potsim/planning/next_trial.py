"""From what was tasted to the next trial: how strong a change each verdict makes, and what it will do."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import PurePath
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from potsim.errors import (
    VOL,
    ConvergenceError,
    PotsimError,
    RangeError,
    RequestError,
    UnknownNameError,
    Where,
    require,
)
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning.botanicals import labels, spelling
from potsim.planning.charge import check_jars
from potsim.planning.cloud import Cloud, glass_of
from potsim.planning.notes import Note, for_dose, hint, sentences
from potsim.planning.plan import VERDICTS, BotanicalDose, JarStock, Plan, Result, StillPlan, Tasting
from potsim.planning.release import CLEAR, LEAST_TIMES
from potsim.planning.run import Run, distil
from potsim.planning.schema import OIL_FACTORS, amounts_of
from potsim.planning.sweep import charge_of, grown, scaled, with_strength
from potsim.planning.trials import (
    CLOSE,
    DROP,
    RIGHT,
    WEIGHING_G,
    WRITTEN,
    Against,
    AlcoholBook,
    Difference,
    Doses,
    InBottle,
    Pair,
    Trial,
    against,
    alcohol_book,
    bottled_abv,
    bottled_l,
    check,
    differences,
    doses,
    in_bottle,
    lines_of,
    notes_by_line,
    on_scale,
    pairs,
    run_of,
    short,
)
from potsim.records import dataclass, plain

Array = NDArray[np.float64]

MOST_FACTOR = 10.0
# Factors on the oil of a lot that one tasting may teach, a third to three times; 1 is among them.
LEARNT_FACTORS = tuple(float(f) for f in np.exp(np.linspace(-np.log(3.0), np.log(3.0), 31)))
UNCHANGED = len(LEARNT_FACTORS) // 2
MOSTLY_IN_PLANT = 0.6  # share of the oil that stays in the plant, from which finer pieces do more than a dose
MOSTLY_LOST = 0.5  # share of what comes over; if less is kept, the cuts decide and not the dose
UP = ("a lot more", "more", "a touch more")
_FALLING = (("a_lot_more", "more"), ("more", "a_touch_more"), ("a_touch_less", "less"))


@dataclass(frozen=True)
class Factors:
    """By how much each verdict changes a dose; a convention of this program, no source."""

    a_lot_more: float = 2.0  # times as much, above 1 and at most 10, in falling order
    more: float = 1.5  # times as much, above 1 and at most 10, in falling order
    a_touch_more: float = 1.2  # times as much, above 1 and at most 10, in falling order
    a_touch_less: float = 1 / 1.2  # times as much, below 1 and at least 0.1, in falling order
    less: float = 1 / 1.5  # times as much, below 1 and at least 0.1, in falling order

    def __post_init__(self) -> None:
        for name in ("a_lot_more", "more", "a_touch_more"):
            require(name, getattr(self, name), 1.0, MOST_FACTOR, "times", open_low=True)
        for name in ("a_touch_less", "less"):
            value = getattr(self, name)
            if not 1 / MOST_FACTOR <= value < 1.0:
                raise RangeError.of("no_less", name, given=value, allowed=[1 / MOST_FACTOR, 1.0])
        for strong, weak in _FALLING:
            high, low = getattr(self, strong), getattr(self, weak)
            if high < low:
                raise RequestError.of("not_falling", strong, given=high, allowed=low, other=weak)

    def of(self, verdict: str) -> float:
        """Return by how much a verdict changes a dose; 1 for right, 0 for drop."""
        if verdict in (RIGHT, DROP):
            return 1.0 if verdict == RIGHT else 0.0
        return float(getattr(self, verdict.replace(" ", "_")))


@dataclass(frozen=True)
class DoseChange:
    """What a verdict does to one line of the bill."""

    line: int  # its place in the bill before, from 0
    label: str  # what it is called
    note: Tasting  # what was tasted
    factor: float  # times as much; 0 if it is dropped
    before: BotanicalDose  # the dose so far
    after: BotanicalDose | None  # the next one, rounded to what a scale shows; ``None`` if it is dropped


@dataclass(frozen=True)
class Learnt:
    """What the jars in which a botanical was noticed teach about its oil."""

    line: int  # its place in the bill, from 0
    label: str  # what it is called
    tasted: tuple[int, ...]  # jars in which it was noticed
    foretold: tuple[int, ...]  # jars in which it was foretold to be clear
    fits: tuple[int, ...]  # and with the factor learnt
    before: float  # oil_factor so far
    after: float  # and next; the same where no factor fits better


@dataclass(frozen=True)
class NextTrial:
    """The trial that follows from what was tasted."""

    trial: Trial  # the trial before
    factors: Factors  # how strong a change each verdict made
    plan: Plan  # the next plan
    before: Run  # what the trial is predicted to do
    after: Run  # what the next one is
    # what the verdicts change, in the order of the bill; what is right is not among them
    changes: tuple[DoseChange, ...]
    notes: tuple[Note, ...] = ()  # where a dose will not do what is hoped for
    learnt: tuple[Learnt, ...] = ()  # what the jars in which a botanical was noticed teach
    seen: Cloud | None = None  # the cloud of the trial before, moved to where its glass hazed

    @property
    def against(self) -> Against | None:
        """What came of the trial before, held against its forecast."""
        return against(self.before, self.trial.result)

    @property
    def advice(self) -> tuple[str, ...]:
        """`notes` in words, a sentence each."""
        return sentences(self.notes)

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Each line of the bill before and after."""
        return pairs(self.before, self.after)


def next_trial(trial: Trial, factors: Factors | None = None) -> NextTrial:
    """Apply the verdicts of a trial; everything else stays."""
    factors = factors or Factors()
    check(trial)
    glass = glass_of(trial.result)
    if glass is None and not any(note.verdict or note.tasted_in for note in trial.notes):
        raise RequestError.of("no_verdict", allowed=list(VERDICTS)).at(Where(trial.name))
    before = run_of(trial)
    changes = _changes(trial, before, factors)
    dropped = {change.line for change in changes if change.after is None}
    _refuse_awaited(trial, changes)
    learnt = learn(trial, before)
    doses = list(trial.plan.botanicals)
    for change in changes:
        if change.after is not None:
            doses[change.line] = change.after
    for one in learnt:
        doses[one.line] = replace(doses[one.line], oil_factor=one.after)
    bill = tuple(dose for k, dose in enumerate(doses) if k not in dropped)
    bottling, seen = trial.plan.bottling, before.cloud
    taught = None if seen is None else seen.taught
    if taught is not None:
        shift, shown = round(taught.believed, 2), round(taught.seen, 2)
        bottling = replace(bottling, cloud_shift=shift, cloud_seen=shown)
    title = next_title(trial.plan.title)
    plan = replace(trial.plan, botanicals=bill, bottling=bottling, title=title)
    after = distil(plan)
    notes = _notes(before, after, changes)
    return NextTrial(trial, factors, plan, before, after, changes, notes, learnt, seen)


def learn(trial: Trial, run: Run) -> tuple[Learnt, ...]:
    """Set where each botanical was noticed against where it was foretold, and learn one bounded factor.

    The factor on its oil with which it is clear, by its share of the times-threshold, in most of the jars in
    which it was noticed and in fewest others; of equals the one nearest to 1.
    """
    numbers = [jar.number for jar in run.jars]
    times = run.flavours.times_threshold
    rest = times.sum(axis=0) - times
    found = []
    for note in trial.notes:
        check_jars(sorted(set(note.tasted_in)), numbers, f"note.{note.botanical}.tasted_in", of=trial.name)
        for line in lines_of(note, run.bill, trial.name) if note.tasted_in else ():
            tasted = np.isin(numbers, note.tasted_in)
            clear = [_clear(f * times[line], rest[line]) for f in LEARNT_FACTORS]
            right = [int((each == tasted).sum()) for each in clear]
            best = max(range(len(right)), key=lambda k: (right[k], -abs(np.log(LEARNT_FACTORS[k]))))
            dose = trial.plan.botanicals[line]
            after = float(f"{np.clip(dose.oil_factor * LEARNT_FACTORS[best], *OIL_FACTORS):.2g}")
            foretold, fits = (
                tuple(n for n, is_clear in zip(numbers, each, strict=True) if is_clear)
                for each in (clear[UNCHANGED], clear[best])
            )
            label = labels(run.bill)[line]
            found.append(Learnt(line, label, note.tasted_in, foretold, fits, dose.oil_factor, after))
    return tuple(found)


def _clear(mine: Array, rest: Array) -> NDArray[np.bool_]:
    return np.asarray((mine >= CLEAR * (mine + rest)) & (mine >= LEAST_TIMES))


def next_title(title: str) -> str:
    """Return the title of the next trial: the last number in it one higher."""
    found = list(re.finditer(r"[0-9]{1,9}", title))
    if not found:
        return f"{title}, trial 2"
    last = found[-1]
    return f"{title[: last.start()]}{int(last[0]) + 1}{title[last.end() :]}"


def _changes(trial: Trial, run: Run, factors: Factors) -> tuple[DoseChange, ...]:
    found = []
    names = labels(run.bill)
    for line, note in sorted(notes_by_line(trial, run.bill).items()):
        verdict = note.verdict or RIGHT
        if verdict == RIGHT:
            continue
        factor, dose = factors.of(verdict), trial.plan.botanicals[line]
        after = None if verdict == DROP else _times(dose, factor)
        found.append(DoseChange(line, names[line], note, factor, dose, after))
    return tuple(found)


def _times(dose: BotanicalDose, factor: float) -> BotanicalDose:
    amounts: dict[str, Any] = {name: on_scale(value * factor) for name, value in amounts_of(dose).items()}
    return replace(dose, **amounts)


def _refuse_awaited(trial: Trial, changes: tuple[DoseChange, ...]) -> None:
    """Refuse to drop a botanical that the run waits for."""
    dropped = {spelling(change.before.name): change.label for change in changes if change.after is None}
    cuts = trial.plan.cuts
    for name, stop in (("stop", cuts.stop), ("tails_from", cuts.tails_from)):
        for awaited in stop.over if stop else ():
            if spelling(awaited) in dropped:
                label = dropped[spelling(awaited)]
                raise RequestError.of("awaited", f"cuts.{name}", given=label).at(Where(trial.name))


def _notes(before: Run, after: Run, changes: tuple[DoseChange, ...]) -> tuple[Note, ...]:
    lines = in_bottle(before)
    wanted = [lines[c.line] for c in changes if c.note.verdict in UP]
    found = [note for line in wanted for note in (stays(line), lost_by_cut(line)) if note is not None]
    known = {note.subject for dose in before.bill for note in for_dose(dose, before.charge.volume_l)}
    new = [note for dose in after.bill for note in for_dose(dose, after.charge.volume_l)]
    return (*found, *(note for note in new if note.subject not in known))


def stays(line: InBottle) -> Note | None:
    """Whether more of a botanical will not help: it hardly distils, or most of it stays in the plant."""
    if line.klass == "stays":
        return hint("more_stays_behind", line.label)
    if line.left_in_plant < MOSTLY_IN_PLANT:
        return None
    return hint("more_stays_in_plant", line.label, share=line.left_in_plant)


def lost_by_cut(line: InBottle) -> Note | None:
    """Whether a cut, and not the dose, loses a botanical."""
    if line.klass == "stays" or line.kept >= MOSTLY_LOST:
        return None
    lost = {"before": line.before, "between": line.between, "after": line.after}
    where, share = max(lost.items(), key=lambda place: place[1])
    half_l = line.passage.half_l if where == "after" and line.passage is not None else None
    return hint("lost_by_cut", line.label, where=where, share=share, half_l=half_l)


# --- A recipe for another size: doses by the litre, fill, power, time, jars, and what does not scale.


Per = Literal["alcohol", "charge"]
SURFACE = 2.0 / 3.0  # power of the volume with which a surface grows
CLOSE_ENOUGH = 1e-9  # relative
SAME_ABV = 1e-9  # % vol
MARGIN = 3.0 * WRITTEN  # relative; so much more that rounding leaves no bottle short
MOST_RUNS = 40
AMOUNTS = {
    *("volume_l", "mass_g", "pieces", "heads_l", "collected_l", "from_collected_l", "spirit_l", "size_l"),
    *("capacity_l", "power_w", "heat_up_power_w", "min_level_l", "pot_mass_kg", "condenser_w", "parrot_l"),
    *("neck_loss_w_per_k", "pot_loss_w_per_k"),
}


@dataclass(frozen=True)
class Scaled:
    """A recipe for another size."""

    plan: Plan  # the recipe scaled; amounts are written to one part in ten thousand
    before: Run  # what the old recipe is predicted to do
    after: Run  # what the new one is
    per: Per  # whether doses go by the litre of pure alcohol or of charge
    charge_factor: float  # times as much charge
    alcohol_factor: float  # times as much pure alcohol
    dose_factor: float  # times as much of the botanicals
    weighing_g: float  # step of the scale that is taken [g]
    unscaled: tuple[Note, ...]  # what does not scale

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Each line of the bill before and after."""
        return pairs(self.before, self.after)


def to_charge(
    plan: Plan,
    volume_l: float,
    abv: float | None = None,
    per: Per = "alcohol",
    still: StillPlan | None = None,
) -> Scaled:
    """Scale a recipe to a charge.

    Amounts of spirit, water, heads, and volumes of stops go with the charge; power too, so that the run
    takes as long. What sheds heat is a surface and goes with the 2/3 power of the volume. Strengths,
    temperatures, times and shares stay.
    """
    require("charge", volume_l, 0, 1e5, "L", open_low=True)
    require("abv", abv, 0, 100, VOL, open_low=True)
    _check_per(per)
    made = _exact(plan, volume_l, abv, per, still)
    return _told(plan, made, per, still)


def to_bottles(
    plan: Plan, bottles: int, abv: float | None = None, per: Per = "alcohol", still: StillPlan | None = None
) -> Scaled:
    """Scale a recipe to a number of full bottles."""
    require("bottles", bottles, 1, 1e6, "bottles")
    _check_per(per)
    size = plan.bottling.bottle_l
    if size is None or plan.bottling.abv is None:
        missing = "bottling.bottle" if size is None else "bottling.abv"
        raise RequestError.of("no_bottle", missing, bottles=bottles)
    wanted = bottles * size * (1.0 + MARGIN)
    base = distil(plan)
    volume_l = base.charge.volume_l * wanted / bottled_l(base)
    for _ in range(MOST_RUNS):
        made = _exact(plan, volume_l, abv, per, still)
        got = bottled_l(distil(made))
        if abs(got / wanted - 1.0) < 0.1 * MARGIN:
            return _told(plan, made, per, still)
        volume_l *= wanted / got
    raise ConvergenceError.of("bottles_unfilled", given=bottles)


def _check_per(per: str) -> None:
    if per not in get_args(Per):
        raise UnknownNameError("per", per, get_args(Per))


def _exact(plan: Plan, volume_l: float, abv: float | None, per: Per, still: StillPlan | None) -> Plan:
    """The plan scaled, with all digits."""
    charge = charge_of(plan)
    if charge.ethanol_l == 0.0 and (per == "alcohol" or abv is not None):
        raise RequestError.of("no_alcohol", "per", given=per)
    by_charge = volume_l / charge.volume_l
    kept = abv is None or abs(abv - charge.abv) < SAME_ABV
    by_alcohol = by_charge if kept else by_charge * (abv or 0.0) / charge.abv
    by_dose = by_alcohol if per == "alcohol" else by_charge
    made = scaled(plan, by_charge)
    sizes = tuple(JarStock(jar.size_l * by_charge, jar.count) for jar in made.jars.sizes)
    made = replace(
        made,
        botanicals=tuple(grown(dose, by_dose) for dose in plan.botanicals),
        still=_still(made.still, by_charge) if still is None else still,
        jars=replace(made.jars, sizes=sizes),
    )
    if kept or abv is None:
        return made
    # The botanicals' own water counts, and goes by another factor than the rest.
    for _ in range(MOST_RUNS):
        made = with_strength(made, abv, same="volume")
        off = volume_l / charge_of(made).volume_l
        if abs(off - 1.0) < CLOSE_ENOUGH:
            return made
        made = replace(made, charge=scaled(made, off).charge)
    raise ConvergenceError.of("charge_not_found")


def _still(given: StillPlan, factor: float) -> StillPlan:
    """A still of the same fill, with power in proportion; surfaces grow less."""
    surface = factor**SURFACE
    powers = {"capacity_l": factor, "power_w": factor, "heat_up_power_w": factor, "min_level_l": factor}
    powers |= {"condenser_w": factor, "parrot_l": factor}
    powers |= {"neck_loss_w_per_k": surface, "pot_loss_w_per_k": surface, "pot_mass_kg": surface}
    changed: dict[str, Any] = {
        name: getattr(given, name) * by for name, by in powers.items() if getattr(given, name) is not None
    }
    steps = tuple(replace(step, power_w=step.power_w * factor) for step in given.power_steps)
    return replace(given, power_steps=steps, **changed)


def _short(thing: Any, name: str = "") -> Any:
    """A plan, or a part of it, with as few digits of each amount as a person can read and measure."""
    if isinstance(thing, tuple):
        return tuple(_short(part) for part in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        return replace(thing, **{f.name: _short(getattr(thing, f.name), f.name) for f in fields(thing)})
    return short(thing) if name in AMOUNTS and isinstance(thing, float) else thing


def _told(plan: Plan, exact: Plan, per: Per, still: StillPlan | None) -> Scaled:
    made: Plan = _short(exact)
    if still is not None:
        made = replace(made, still=still)
    before, after = distil(plan), distil(made)
    by_charge = after.charge.volume_l / before.charge.volume_l
    alcohol = before.charge.ethanol_l
    by_alcohol = after.charge.ethanol_l / alcohol if alcohol > 0.0 else by_charge
    return Scaled(
        plan=made,
        before=before,
        after=after,
        per=per,
        charge_factor=by_charge,
        alcohol_factor=by_alcohol,
        dose_factor=by_alcohol if per == "alcohol" else by_charge,
        weighing_g=WEIGHING_G,
        unscaled=(_neck(before, after), *_release(before, after), _weighing(after)),
    )


def _neck(before: Run, after: Run) -> Note:
    def shed(run: Run) -> float:
        there = run.setting.still.conditions
        warm = float(run.vapour_c[0]) - (there.room_k - ZERO_C_K)
        return there.neck_loss_w_per_k * warm / there.power_w

    begins = {"abv": float(after.stream_abv[0]), "abv_before": float(before.stream_abv[0])}
    share = {"share": shed(after), "share_before": shed(before)}
    return hint("neck_does_not_scale", "still.neck_loss", **share, **begins)


def _release(before: Run, after: Run) -> tuple[Note, ...]:
    if not after.bill:
        return ()
    took, takes = (run.stop.elapsed_min - run.first_drop_min for run in (before, after))
    most = [pair for pair in pairs(before, after) if pair.change is not None]
    most.sort(key=lambda pair: -abs((pair.change or 0.0) - 1.0))
    moved = [{"botanical": pair.label, "change": (pair.change or 0.0) - 1.0} for pair in most[:3]]
    return (hint("release_does_not_scale", "botanical", minutes=takes, minutes_before=took, changes=moved),)


def _weighing(after: Run) -> Note:
    coarse = [
        {"botanical": label, "mass_g": line.wet_mass_g}
        for label, line in zip(labels(after.bill), after.bill, strict=True)
        if 0.0 < line.wet_mass_g * CLOSE < WEIGHING_G
    ]
    scale = {"step_g": WEIGHING_G, "most_off": CLOSE}
    return hint("weighing", "botanical", doses=len(after.bill), coarse=coarse, **scale)


# --- All trials of a recipe in the order in which they were made.


@dataclass(frozen=True)
class Entry:
    """One file of a book."""

    name: str  # the file
    trial: Trial | None  # what it says; ``None`` if it cannot be read
    run: Run | None  # what it is predicted to do; ``None`` if it cannot be run
    parent: str | None  # the trial it is compared with, if that is in the book
    changes: tuple[Difference, ...]  # what it does differently from that
    error: PotsimError | None = None  # why it cannot be read or run

    @property
    def refusal(self) -> str:
        """Why it cannot be read or run, in words; empty if it can."""
        return "" if self.error is None else str(self.error)

    @property
    def date(self) -> str:
        """Day of the run as written; empty if not said."""
        result = self.trial.result if self.trial else None
        return "" if result is None or result.date is None else str(result.date)

    @property
    def told(self) -> bool:
        """Whether anything is told of its run but a day, which a plan just made has too."""
        trial = self.trial
        if trial is None:
            return False
        result = None if trial.result is None else replace(trial.result, date=None)
        return result not in (None, Result()) or any(note.verdict or note.words for note in trial.notes)

    @property
    def alcohol(self) -> AlcoholBook | None:
        """Where the alcohol went, where it was measured what came over and what was left in the pot."""
        if self.run is None or self.trial is None:
            return None
        return alcohol_book(self.run.charge.ethanol_l, self.trial.result)

    @property
    def doses(self) -> dict[str, Doses]:
        """Botanical to its dose by the litre."""
        if self.run is None:
            return {}
        return dict(zip(labels(self.run.bill), doses(self.run), strict=True))

    @property
    def verdicts(self) -> tuple[tuple[str, str], ...]:
        """Botanical and verdict, in the order of the notes."""
        notes = self.trial.notes if self.trial else ()
        return tuple((note.botanical, note.verdict) for note in notes if note.verdict)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        trial, run = self.trial, self.run
        result = trial.result if trial else None
        return {
            "file": self.name,
            "title": trial.plan.title if trial else None,
            "parent": self.parent,
            "date": self.date or None,
            "charge_l": run.charge.volume_l if run else None,
            "charge_abv": run.charge.abv if run else None,
            "keep_l": run.keep.volume_l if run else None,
            "keep_abv": run.keep.abv if run else None,
            "bottled_l": bottled_l(run) if run else None,
            "bottled_abv": bottled_abv(run) if run else None,
            "collected_l": result.collected_l if result else None,
            "strength_abv": result.abv if result else None,
            "alcohol": plain(self.alcohol),
            "words": result.words if result else None,
            "changes": [{"key": d.key, "unit": d.unit, "a": d.a, "b": d.b} for d in self.changes],
            "notes": plain(trial.notes) if trial else [],
            "doses": {name: plain(dose) for name, dose in self.doses.items()},
            "refusal": self.refusal,
        }


def book(found: Mapping[str, Trial | PotsimError]) -> tuple[Entry, ...]:
    """Put trials in order, each beside the one it grew from."""
    trials = {name: trial for name, trial in found.items() if isinstance(trial, Trial)}
    entries = [_entry(trial, trials) for trial in trials.values()]
    refused = [
        Entry(name, None, None, None, (), error)
        for name, error in found.items()
        if isinstance(error, PotsimError)
    ]
    known = {entry.name: entry for entry in entries}
    entries.sort(key=lambda entry: (_day(entry, known), len(_line_of(entry, known)), _counted(entry.name)))
    return (*entries, *sorted(refused, key=lambda entry: _counted(entry.name)))


def _entry(trial: Trial, trials: Mapping[str, Trial]) -> Entry:
    parent = _parent(trial, trials)
    changes = differences(parent.plan, trial.plan) if parent else ()
    try:
        check(trial)
        run = run_of(trial)
    except PotsimError as error:
        return Entry(trial.name, trial, None, parent.name if parent else None, changes, error)
    return Entry(trial.name, trial, run, parent.name if parent else None, changes)


def _parent(trial: Trial, trials: Mapping[str, Trial]) -> Trial | None:
    """The trial it grew from; of several that were blended, the first."""
    for named in (trial.parent, trial.parent.partition(", ")[0]) if trial.parent else ():
        name = PurePath(named).name
        if name != trial.name and name in trials:
            return trials[name]
    return None


def _line_of(entry: Entry, known: Mapping[str, Entry]) -> list[Entry]:
    """The entry, its parent, the parent's parent and so on."""
    line, seen = [entry], {entry.name}
    while line[-1].parent in known and line[-1].parent not in seen:
        line.append(known[str(line[-1].parent)])
        seen.add(line[-1].name)
    return line


def _day(entry: Entry, known: Mapping[str, Entry]) -> str:
    dated = [one.date for one in _line_of(entry, known) if _is_day(one.date)]
    return max(dated[:1], default="9999")


def _is_day(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text[:10])
    except ValueError:
        return False
    return True


def _counted(name: str) -> list[tuple[int, str]]:
    """A name so that trial-10 comes after trial-2."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"([0-9]{1,9})", name)]
