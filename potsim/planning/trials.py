"""A trial: the plan of a run and what happened when it was run and tasted; two trials side by side."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim import faces
from potsim.errors import RequestError, UnknownNameError, Where
from potsim.planning.botanicals import ResolvedDose, labels, lines_called, spelling
from potsim.planning.charge import blend, resolve
from potsim.planning.cloud import glass_of
from potsim.planning.frames import Shown, outcome
from potsim.planning.plan import Plan, Result, Tasting
from potsim.planning.release import Klass, Passage
from potsim.planning.run import Run, distil, resolve_bill
from potsim.planning.schema import keys_of, unit_of
from potsim.records import dataclass, plain

WEIGHING_G = 0.01  # the step of a scale for small masses; common practice, no source
CLOSE = 0.02  # a step of the scale may be so large a share of a dose; common practice, no source
WRITTEN = 1e-4  # relative; amounts that are scaled are written so closely, and can be scaled back
MOST_DIGITS = 6


def on_scale(amount: float, step: float = WEIGHING_G) -> float:
    """Round an amount to the step of a scale, or finer where that step is coarse beside it."""
    if amount == 0.0:
        return 0.0
    finest = math.floor(math.log10(abs(amount) * CLOSE))
    return round(amount, -min(round(math.log10(step)), finest))


def short(amount: float) -> float:
    """Round an amount to the fewest digits that keep it to one part in ten thousand."""
    for digits in range(1, MOST_DIGITS):
        rounded = float(f"{amount:.{digits}g}")
        if abs(rounded - amount) <= WRITTEN * abs(amount):
            return rounded
    return float(f"{amount:.{MOST_DIGITS}g}")


# --- A trial: the plan of a run, and what happened when it was run and tasted.


RIGHT, DROP = "right", "drop"


@dataclass(frozen=True)
class Trial:
    """One run of a recipe under test."""

    name: str  # name of its file, or what else it is called
    plan: Plan  # the recipe
    parent: str | None = None  # the trial it grew from
    result: Result | None = None  # what came of it; ``None`` if it has not been run
    notes: tuple[Tasting, ...] = ()  # what was tasted


def notes_by_line(trial: Trial, bill: tuple[ResolvedDose, ...] | None = None) -> Mapping[int, Tasting]:
    """Return the note with a verdict for each line of the bill that has one."""
    bill = resolve_bill(trial.plan) if bill is None else bill
    found: dict[int, Tasting] = {}
    for note in trial.notes:
        for line in lines_of(note, bill, trial.name):
            before = found.get(line)
            if before is not None and note.verdict not in (None, before.verdict):
                values: dict[str, Any] = {"before": before.verdict, "of": labels(bill)[line]}
                raise RequestError.of("verdicts_differ", given=note.verdict, **values).at(Where(trial.name))
            if note.verdict is not None and before is None:
                found[line] = note
    return found


def lines_of(note: Tasting, bill: tuple[ResolvedDose, ...], name: str) -> list[int]:
    """Return the lines of a bill that a note is about; refused if there is none."""
    meant = lines_called(bill, note.botanical)
    if not meant:
        raise UnknownNameError("bill", note.botanical, labels(bill), path="note.botanical").at(Where(name))
    return meant


class Against(NamedTuple):
    """What came of a run, held against its forecast; strengths in % vol, all at 20 °C."""

    collected_l: float  # as measured [L]
    foretold_l: float  # to the stop [L]
    abv: float | None  # all collected, as measured
    foretold_abv: float | None  # of as much; ``None`` where the forecast ends before
    alcohol_l: float | None  # pure alcohol collected [L]
    charged_l: float  # pure alcohol in the charge [L]
    doubt_abv: float  # by which a measured strength may be off, beside that of the charge

    @property
    def off_abv(self) -> float | None:
        """How much stronger it came than foretold; ``None`` where that cannot be said."""
        return None if self.abv is None or self.foretold_abv is None else self.abv - self.foretold_abv


def against(run: Run, result: Result | None) -> Against | None:
    """Hold what came of a run against its forecast; ``None`` where it is not said how much came over."""
    if result is None or result.collected_l is None:
        return None
    foretold_l, foretold_abv = run.stop.collected_l, None
    if result.collected_l <= foretold_l:
        foretold_abv = float(run.at(collected_l=result.collected_l).mean_abv)
    return Against(
        collected_l=result.collected_l,
        foretold_l=foretold_l,
        abv=result.abv,
        foretold_abv=foretold_abv,
        alcohol_l=None if result.abv is None else result.collected_l * result.abv / 100.0,
        charged_l=run.charge.ethanol_l,
        doubt_abv=2.0 * run.plan.uncertainty.abv,
    )


class AlcoholBook(NamedTuple):
    """Where the pure alcohol of a run went, as measured; all at 20 °C."""

    charged_l: float  # in the charge [L]
    collected_l: float  # collected [L]
    pot_l: float  # left in the pot [L]
    lost_l: float  # neither [L]; below nothing where more is found than went in
    lost_share: float  # of what left the pot, as `still.lost` counts it; nought where nothing did


def alcohol_book(charged_l: float, result: Result | None) -> AlcoholBook | None:
    """Close the book of alcohol after a run; ``None`` where what came over or what was left is not said."""
    if result is None or None in (result.collected_l, result.abv, result.pot_left_l, result.pot_left_abv):
        return None
    collected, pot = (
        float(volume) * float(abv) / 100.0
        for volume, abv in ((result.collected_l, result.abv), (result.pot_left_l, result.pot_left_abv))
        if volume is not None and abv is not None
    )
    left_pot = charged_l - pot
    lost = left_pot - collected
    return AlcoholBook(charged_l, collected, pot, lost, lost / left_pot if left_pot > 0.0 else 0.0)


def run_of(trial: Trial) -> Run:
    """Return what a trial is predicted to do, its haze by what was seen of it."""
    return distil(trial.plan, glass_of(trial.result))


def check(trial: Trial) -> None:
    """Refuse a trial that contradicts itself."""
    bill = resolve_bill(trial.plan)
    notes_by_line(trial, bill)
    result = trial.result
    if result is None or (result.collected_l is None and result.pot_left_l is None):
        return
    spirit = blend(resolve(trial.plan.charge, distil))
    charge_l = spirit.volume_l + sum(line.water_brought_l for line in bill)
    for name, there_l in (("pot_left", result.pot_left_l), ("collected", result.collected_l)):
        if there_l is not None and there_l > charge_l:
            path = f"result.{name}"
            values: dict[str, Any] = {"given": there_l, "allowed": charge_l, "quantity": "volume"}
            raise RequestError.of("more_than_charged", path, **values).at(Where(trial.name))
    held = (result.collected_l or 0.0) * (result.abv or 0.0) / 100.0
    if held > spirit.ethanol_l:
        values = {"collected_l": result.collected_l, "held_l": held}
        raise RequestError.of(
            "more_alcohol", "result.strength", given=result.abv, allowed=spirit.ethanol_l, **values
        ).at(Where(trial.name))


# --- In what two plans differ, key by key.


Value = float | str | None
AMOUNTS = ("mass_g", "pieces")
APART = 1e-9  # relative; closer numbers are the same


@dataclass(frozen=True)
class Difference:
    """A key of which two plans say different things."""

    table: str  # table of the plan where it stands
    name: str  # ingredient or botanical there; empty for other tables
    field: str  # key of the table
    unit: str  # unit of a number; empty for words and counts
    a: Value  # what one says; ``None`` for nothing
    b: Value  # what the other says; ``None`` for nothing

    @property
    def key(self) -> str:
        """Table, name and field in one."""
        return ".".join(part for part in (self.table, self.name, self.field) if part)


def differences(a: Plan, b: Plan) -> tuple[Difference, ...]:
    """Return in what two plans differ; title aside."""
    first, second = _flat(a), _flat(b)
    in_one, in_other = ({place[:2] for place in flat} for flat in (first, second))
    found = []
    for place in dict.fromkeys([*first, *second]):
        one, other = first.get(place), second.get(place)
        table, name, field = place
        lone = table == "botanical" and (place[:2] not in in_one or place[:2] not in in_other)
        if not same(one, other) and not (lone and field not in AMOUNTS):
            found.append(Difference(table, name, field, unit_of(field), one, other))
    return tuple(found)


def same(a: Value, b: Value) -> bool:
    """Whether two values are the same, rounding aside."""
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= APART * max(abs(a), abs(b))
    return a == b


Place = tuple[str, str, str]


def _flat(plan: Plan) -> dict[Place, Value]:
    """Every leaf of a plan that says something."""
    found: dict[Place, Value] = {}
    for table, rows in (("charge", plan.charge), ("botanical", plan.botanicals)):
        for name, row in _named(rows):
            found |= {(table, name, field): value for field, value in _leaves(row) if field != "name"}
    tables = ("still", "cuts", "jars", "bottling", "uncertainty", "own_botanicals", "own_compounds")
    for table in tables:
        found |= {(table, "", field): value for field, value in _leaves(getattr(plan, table))}
    return {place: value for place, value in found.items() if value is not None}


def _named(rows: Iterable[Any]) -> Iterator[tuple[str, Any]]:
    """Rows with their names; of several with one name, the later ones are numbered."""
    seen: Counter[str] = Counter()
    first: dict[str, str] = {}
    for row in rows:
        name = first.setdefault(spelling(row.name), row.name)
        seen[name] += 1
        yield (name if seen[name] == 1 else f"{name} ({seen[name]})"), row


def _leaves(thing: Any, name: str = "") -> Iterator[tuple[str, Value]]:
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        inner: Iterable[tuple[str, Any]] = (
            (field.name, getattr(thing, field.name)) for field in dataclasses.fields(thing)
        )
    elif isinstance(thing, Mapping):
        inner = ((str(k), v) for k, v in thing.items())
    elif isinstance(thing, tuple) and any(dataclasses.is_dataclass(part) for part in thing):
        inner = ((str(k), part) for k, part in enumerate(thing, start=1))
    else:
        yield name, _leaf(thing)
        return
    for field, value in inner:
        yield from _leaves(value, f"{name}.{field}" if name else field)


def _leaf(value: Any) -> Value:
    if isinstance(value, bool):
        return "yes" if value else None
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or None
    return None if value is None else str(value)


# --- Two trials side by side: what was decided otherwise, and what that is predicted to change.


NOTICEABLE = 0.005  # relative; predictions closer than this count as the same, far below what is known
_TOLD = ("g_per_l_charge", "g_per_l_alcohol", "g_per_l_bottled")


@dataclass(frozen=True)
class Pair:
    """One line of the bill in two runs."""

    label: str  # what it is
    a: InBottle | None  # what it comes to in each; ``None`` where it is not in the bill
    b: InBottle | None  # what it comes to in each; ``None`` where it is not in the bill

    @property
    def change(self) -> float | None:
        """Oil in the bottle, b over a; ``None`` where a has none of it."""
        if self.a is None or self.a.oil_mg_per_l == 0.0:
            return None
        return 0.0 if self.b is None else self.b.oil_mg_per_l / self.a.oil_mg_per_l

    @property
    def differs(self) -> bool:
        """Whether dose, oil in the bottle or timing differ noticeably."""
        if self.a is None or self.b is None:
            return True
        one, other = self.a, self.b
        if not same(one.doses.mass_g, other.doses.mass_g):
            return True
        pairs = [(one.oil_mg_per_l, other.oil_mg_per_l), (one.left_in_plant, other.left_in_plant)]
        pairs += [(getattr(one.doses, name), getattr(other.doses, name)) for name in _TOLD]
        if one.passage and other.passage:
            pairs += [(one.passage.start_l, other.passage.start_l), (one.passage.end_l, other.passage.end_l)]
        return one.klass != other.klass or any(noticeable(x, y) for x, y in pairs)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "botanical": self.label,
            "a": plain(self.a),
            "b": plain(self.b),
            "change": self.change,
        }


@dataclass(frozen=True)
class Comparison(Shown):
    """Two trials side by side; only what differs."""

    a: Trial  # the two
    b: Trial  # the two
    run_a: Run  # their predicted runs
    run_b: Run  # their predicted runs
    decided: tuple[Difference, ...]  # what the plans say differently
    predicted: tuple[Difference, ...]  # what the runs are predicted to do differently
    measured: tuple[Difference, ...]  # what the results say differently
    botanicals: tuple[Pair, ...]  # lines of the bill that come to something else, those of a first
    unchanged: int  # lines of the bill that do not

    def __repr__(self) -> str:
        found = len(self.decided) + len(self.predicted) + len(self.measured) + len(self.botanicals)
        return f"<Comparison {self.a.plan.title!r} and {self.b.plan.title!r}: {found} differences>"

    def __str__(self) -> str:
        return faces.text_of_comparison(self)

    @property
    def empty(self) -> bool:
        """Whether nothing differs."""
        return not (self.decided or self.predicted or self.measured or self.botanicals)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""

        def rows(found: Iterable[Difference]) -> list[dict[str, Any]]:
            return [{"key": d.key, "unit": d.unit, "a": d.a, "b": d.b} for d in found]

        return {
            "a": {"name": self.a.name, "title": self.a.plan.title},
            "b": {"name": self.b.name, "title": self.b.plan.title},
            "decided": rows(self.decided),
            "predicted": rows(self.predicted),
            "measured": rows(self.measured),
            "botanicals": [pair.to_dict() for pair in self.botanicals],
            "unchanged": self.unchanged,
        }


def compare(a: Trial, b: Trial) -> Comparison:
    """Put two trials side by side."""
    run_a, run_b = run_of(a), run_of(b)
    every = pairs(run_a, run_b)
    differing = tuple(pair for pair in every if pair.differs)
    return Comparison(
        a=a,
        b=b,
        run_a=run_a,
        run_b=run_b,
        decided=differences(a.plan, b.plan),
        predicted=predicted(run_a, run_b),
        measured=_measured(a, b),
        botanicals=differing,
        unchanged=len(every) - len(differing),
    )


def pairs(a: Run, b: Run) -> tuple[Pair, ...]:
    """Match the lines of two bills: by botanical, and by place where it has several lines."""
    first, second = _by_place(in_bottle(a)), _by_place(in_bottle(b))
    found = []
    for place in dict.fromkeys([*first, *second]):
        one, other = first.get(place), second.get(place)
        known = one or other
        found.append(Pair(known.label if known else "", one, other))
    return tuple(found)


def predicted(a: Run, b: Run) -> tuple[Difference, ...]:
    """Return what two runs are predicted to do differently."""
    one, other = _numbers(a), _numbers(b)
    return tuple(
        Difference("", "", name, "" if name == "bottles" else unit_of(name), one[name], other[name])
        for name in one
        if _apart(one[name], other[name])
    )


def noticeable(a: float, b: float) -> bool:
    """Whether two predictions differ by more than 0.5 %."""
    return abs(a - b) > NOTICEABLE * max(abs(a), abs(b))


def _apart(a: Value, b: Value) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return noticeable(a, b)
    return a != b


def _numbers(run: Run) -> dict[str, Value]:
    of = outcome(run)
    found: dict[str, Value] = {}
    for field in fields(of):
        value = getattr(of, field.name)
        name = "run_min" if field.name == "minutes" else field.name
        found[name] = value if value is None or isinstance(value, str) else float(value)
    cloud = run.cloud
    found["oil_mg_per_l"] = None if cloud is None else float(cloud.oil_mg_per_l)
    found["haze_low_abv"], found["haze_high_abv"] = (None, None) if cloud is None else cloud.span_abv
    found["bottle"] = None if cloud is None else cloud.verdict
    return found


def _by_place(lines: tuple[InBottle, ...]) -> dict[tuple[str, str], InBottle]:
    several = Counter(line.botanical_id for line in lines)
    found: dict[tuple[str, str], InBottle] = {}
    for line in lines:
        where = line.where if several[line.botanical_id] > 1 else ""
        place, n = (line.botanical_id, where), 1
        while place in found:
            n += 1
            place = (line.botanical_id, f"{where} {n}")
        found[place] = line
    return found


def _measured(a: Trial, b: Trial) -> tuple[Difference, ...]:
    one, other = _results(a), _results(b)
    return tuple(
        Difference("result", "", known.field, known.unit, one.get(known.field), other.get(known.field))
        for known in keys_of(Result).values()
        if not same(one.get(known.field), other.get(known.field))
    )


def _results(trial: Trial) -> dict[str, Value]:
    """What came of a trial; a day alone is that of the plan, which nobody has run."""
    found: dict[str, Value] = dict(_leaves(trial.result))
    found = {field: value for field, value in found.items() if value not in (None, "")}
    return {} if found.keys() <= {"date"} else found


# --- What each line of the bill comes to: dose by the litre, oil in the bottle, where the rest of it went.


Array = NDArray[np.float64]
MG_PER_G = 1000.0


@dataclass(frozen=True)
class Doses:
    """A dose by the litre, in the state it is put in."""

    mass_g: float  # mass put in [g]
    # for each litre of charge, of pure alcohol in the charge, and of bottled spirit [g/L at 20 °C]. By
    # alcohol 0 for a charge without any
    g_per_l_charge: float
    g_per_l_alcohol: float
    g_per_l_bottled: float


@dataclass(frozen=True)
class InBottle:
    """What one line of the bill comes to."""

    label: str  # what it is and where it lies
    botanical_id: str  # what it is and where it lies
    where: str  # what it is and where it lies
    doses: Doses  # how much of it
    oil_mg_per_l: float  # its oil in a litre of bottled spirit [mg/L at 20 °C]
    klass: Klass  # when it comes over, see `potsim.planning.release`
    passage: Passage | None  # where, up to the stop; ``None`` for what stays
    left_in_plant: float  # share of its oil still in the plant, and in the pot, at the stop
    left_in_pot: float
    # shares of what does come over: in the keep, before it (heads), in jars left out between, and after it
    # (tails, and what would come after the stop); together 1, or all 0 if nothing comes over
    kept: float
    before: float
    between: float
    after: float
    cloud_share: float  # its share in the oil that clouds the bottle, 0 to 1


def bottled_l(run: Run) -> float:
    """Return the volume bottled [L at 20 °C]: after proofing, or the keep as it is."""
    return run.keep.volume_l if run.proofing is None else run.proofing.volume_l


def bottled_abv(run: Run) -> float:
    """Return the strength bottled [% vol at 20 °C]: after proofing, or that of the keep."""
    return run.keep.abv if run.proofing is None else run.proofing.target_abv


def doses(run: Run) -> tuple[Doses, ...]:
    """Return the dose of each line of the bill, by the litre."""
    charge, alcohol, bottled = run.charge.volume_l, run.charge.ethanol_l, bottled_l(run)
    return tuple(
        Doses(
            line.wet_mass_g,
            line.wet_mass_g / charge,
            line.wet_mass_g / alcohol if alcohol > 0.0 else 0.0,
            line.wet_mass_g / bottled,
        )
        for line in run.bill
    )


def in_bottle(run: Run) -> tuple[InBottle, ...]:
    """Return what each line of the bill comes to.

    A rough guide, as all of `potsim.planning.flavours`: it compares trials better than it foretells one.
    Oil of unknown composition is not followed and not counted.
    """
    flavours = run.flavours
    names, each, found = labels(run.bill), doses(run), sorted(flavours.botanicals, key=lambda one: one.line)
    # Share of each in the load that decides whether the bottle clouds.
    cloud = [0.0] * len(run.bill) if run.cloud is None else list(run.cloud.by_line[1:])
    grams = _grams_by_place(run)
    litres = bottled_l(run)
    lines = []
    for k, flavour in enumerate(found):
        there = grams[flavours.rows_of(k + 1)].sum(axis=0)
        over = float(there.sum())
        kept, before, between, after = (there / over if over > 0.0 else there).tolist()
        lines.append(
            InBottle(
                label=names[k],
                botanical_id=flavour.botanical_id,
                where=flavour.where,
                doses=each[k],
                oil_mg_per_l=float(there[0]) * MG_PER_G / litres,
                klass=flavour.klass,
                passage=flavour.passage,
                left_in_plant=flavour.left_in_plant,
                left_in_pot=flavour.left_in_pot,
                kept=kept,
                before=before,
                between=between,
                after=after,
                cloud_share=cloud[k],
            )
        )
    return tuple(lines)


def kept_g(run: Run) -> dict[str, float]:
    """Return what the keep holds of each compound [g]."""
    return run.flavours.over_g(run.kept_spans)


def _grams_by_place(run: Run) -> Array:
    """Grams of each row in the keep, before it, between its jars and after it; shape (rows, 4)."""
    spans = run.kept_spans
    end = max(run.flavours.alcohol_over, run.end.depletion)
    gaps = [(a[1], b[0]) for a, b in itertools.pairwise(spans) if b[0] > a[1]]
    groups: Sequence[Sequence[tuple[float, float]]] = (
        spans,
        [(0.0, spans[0][0])],
        gaps,
        [(spans[-1][1], end)],
    )
    return np.stack([run.flavours.over_by_row(group).sum(axis=1) for group in groups], axis=1)
