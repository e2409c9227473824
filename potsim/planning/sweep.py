"""A plan with other numbers, and what comes of it beside its own run."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from potsim import faces
from potsim.errors import (
    VOL,
    PotsimError,
    RangeError,
    RequestError,
    UnknownNameError,
    require,
    require_sort,
)
from potsim.liquid import strength
from potsim.planning import notes
from potsim.planning.botanicals import spelling
from potsim.planning.charge import Charge, blend, resolve
from potsim.planning.frames import NAMES, Outcome, Place, Shown, frame, outcome, particular, places
from potsim.planning.notes import Note, plain_notes, sentences
from potsim.planning.plan import TABLES, Ingredient, LeftOver, Plan, Stop
from potsim.planning.release import BotanicalFlavour
from potsim.planning.run import Run, distil, resolve_bill
from potsim.planning.schema import COUNT, MASS, SHARE, UNITS, VOLUME, Key, amounts_of, keys_of
from potsim.records import dataclass, plain

if TYPE_CHECKING:
    import pandas as pd


# --- A charge brought to another strength: with more or less water, or with more or less of everything.


Same = Literal["alcohol", "volume"]
WATER = "water"
LEAST_WATER = 1e-9  # share of the charge's mass; less is rounding


def charge_of(plan: Plan) -> Charge:
    """Return what a plan puts into the pot, the botanicals' own water included."""
    return _with_juices(plan, resolve(plan.charge, distil))


def strongest(plan: Plan) -> float:
    """Return the strength of a plan's spirits without water, in the pot with the botanicals' own."""
    return _most(_undiluted(resolve(plan.charge, distil)), 1.0, _juices_kg(plan))


def check_same(same: str) -> None:
    """Refuse what is neither ``'alcohol'`` nor ``'volume'``."""
    if same not in get_args(Same):
        raise UnknownNameError("same", same, get_args(Same))


def with_strength(plan: Plan, abv: float, same: Same = "alcohol") -> Plan:
    """Return a plan whose charge has another strength.

    Mass and ethanol mass are conserved; densities by OIML R 22 (`potsim.liquid.strength`).
    """
    check_same(same)
    require("charge.abv", abv, 0, 100, VOL, open_low=True)
    parts = resolve(plan.charge, distil)
    undiluted = _undiluted(parts)
    juices_kg = _juices_kg(plan)
    w = float(strength.w_from_abv(abv))
    spirit_w = float(strength.w_from_abv(undiluted.abv))
    if same == "alcohol":
        more = 1.0
    else:
        charge = _with_juices(plan, parts)
        more = charge.volume_l * abv / (100.0 * undiluted.ethanol_l)
    spirit_kg = more * undiluted.mass_kg
    water_kg = spirit_kg * (spirit_w / w - 1.0) - juices_kg
    if water_kg < -LEAST_WATER * spirit_kg:
        most = _most(undiluted, more, juices_kg)
        raise RangeError.of("too_strong", "charge.abv", given=abv, allowed=most, of="charge")
    some = water_kg > LEAST_WATER * spirit_kg
    water_l = water_kg / float(strength.mass_of(1.0, 0.0)) if some else 0.0
    kept = plan.charge if same == "alcohol" else parts
    return replace(plan, charge=_poured(kept, parts, more, water_l))


BASE_ABV = 96.0  # of the strongest spirit that is sold [% vol]; common practice, no source


def with_stronger_spirit(plan: Plan) -> Plan:
    """Return a plan whose spirits are as strong as any, with as much alcohol and liquid as before."""
    parts = resolve(plan.charge, distil)
    strong = tuple(
        replace(part, volume_l=part.volume_l * part.abv / BASE_ABV, abv=BASE_ABV)
        if 0.0 < part.abv < BASE_ABV
        else part
        for part in parts
    )
    return with_strength(replace(plan, charge=strong), charge_of(plan).abv)


class Charges(NamedTuple):
    """What many charges of one plan's spirits hold; NaN where the spirits are too weak for it."""

    ethanol_mol: NDArray[np.float64]
    mol: NDArray[np.float64]
    volume_l: NDArray[np.float64]


def charges_of_strength(plan: Plan, abv: NDArray[np.float64], same: Same = "alcohol") -> Charges:
    """Return the charges that `with_strength` makes of a plan, all at once."""
    fine = (abv > 0.0) & (abv <= 100.0)
    asked = np.where(fine, abv, 1.0)
    parts = resolve(plan.charge, distil)
    undiluted, juices_kg = _undiluted(parts), _juices_kg(plan)
    spirit_w = float(strength.w_from_abv(undiluted.abv))
    more = np.ones_like(asked)
    if same == "volume":
        more = _with_juices(plan, parts).volume_l * asked / (100.0 * undiluted.ethanol_l)
    spirit_kg = more * undiluted.mass_kg
    whole_kg = spirit_kg * spirit_w / np.asarray(strength.w_from_abv(asked))
    fine &= whole_kg - spirit_kg - juices_kg >= -LEAST_WATER * spirit_kg
    volume_l = whole_kg / np.asarray(strength.mass_of(1.0, asked))
    ethanol, water = (np.asarray(one) for one in strength.moles(volume_l, asked))
    return Charges(*(np.where(fine, one, np.nan) for one in (ethanol, ethanol + water, volume_l)))


def _with_juices(plan: Plan, parts: tuple[Ingredient, ...]) -> Charge:
    water_l = _juices_l(plan)
    charge = blend(parts)
    return charge.with_water(water_l) if water_l > 0.0 else charge


def _juices_l(plan: Plan) -> float:
    """Water that fresh botanicals bring [L]."""
    return sum(dose.water_brought_l for dose in resolve_bill(plan))


def _juices_kg(plan: Plan) -> float:
    return float(strength.mass_of(_juices_l(plan), 0.0))


def _undiluted(parts: tuple[Ingredient, ...]) -> Charge:
    spirits = tuple(part for part in parts if part.abv > 0.0)
    if not spirits:
        raise RequestError.of("no_alcohol", "charge.abv")
    return blend(spirits)


def _most(undiluted: Charge, more: float, juices_kg: float) -> float:
    """Strength of so many times the spirits with the water of the botanicals alone [% vol]."""
    spirit_kg = more * undiluted.mass_kg
    w = float(strength.w_from_abv(undiluted.abv)) * spirit_kg / (spirit_kg + juices_kg)
    return float(strength.abv_from_w(w))


def _poured(
    kept: tuple[Ingredient | LeftOver, ...], parts: tuple[Ingredient, ...], more: float, water_l: float
) -> tuple[Ingredient | LeftOver, ...]:
    """Give every spirit its new volume, and share the water among the waters that there are."""
    there = sum(part.volume_l for part in parts if part.abv == 0.0)
    poured: list[Ingredient | LeftOver] = []
    for part, resolved in zip(kept, parts, strict=True):
        if resolved.abv > 0.0:
            poured.append(part if more == 1.0 else replace(resolved, volume_l=more * resolved.volume_l))
        elif water_l > 0.0:
            poured.append(replace(resolved, volume_l=water_l * resolved.volume_l / there))
    if there == 0.0 and water_l > 0.0:
        poured.append(Ingredient(WATER, water_l))
    return tuple(poured)


# --- Any one number of a plan set to another value, under the key that it has in the plan file.


CHARGE_ABV = "charge.abv"
# Of which only one can be said.
CLEARS = {"altitude_m": "pressure_hpa", "pressure_hpa": "altitude_m", "mass_g": "pieces", "pieces": "mass_g"}
ALTERNATIVES = {"heads_l": "heads_share", "heads_share": "heads_l"}  # one number in two forms
NAMED = {"heads_share": "heads"}  # under one name


@dataclass(frozen=True)
class Number:
    """A number of a plan."""

    name: str  # its key, such as ``"still.power"``
    table: str  # table of the plan file that the number is typed in
    key: Key  # what it is typed under
    path: tuple[str | int, ...]  # where it lies in a `Plan`: fields and rows down to the field itself

    @property
    def unit(self) -> str:
        """Unit of the plain number; empty for a count or a share."""
        return UNITS.get(self.key.kind, "")

    def get(self, plan: Plan) -> float | None:
        """Return the number; ``None`` where the plan does not say it."""
        if self.name == CHARGE_ABV:
            return charge_of(plan).abv
        thing: Any = plan
        for step in self.path:
            thing = thing[step] if isinstance(step, int) else getattr(thing, step, None)
        return None if thing is None else float(thing)

    def put(self, plan: Plan, value: float, same: Same = "alcohol") -> Plan:
        """Return the plan with another value."""
        if self.name == CHARGE_ABV:
            return with_strength(plan, value, same)
        other = CLEARS.get(self.key.field)
        changes = {self.key.field: value, **({other: None} if other else {})}
        changed: Plan = _changed(plan, self.path[:-1], changes)
        return changed


def _changed(thing: Any, path: tuple[str | int, ...], changes: dict[str, Any]) -> Any:
    """Return a part of a plan with fields changed below it; a stop that is not there is made."""
    if not path:
        return replace(Stop() if thing is None else thing, **changes)
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        return tuple(_changed(row, rest, changes) if k == step else row for k, row in enumerate(thing))
    return replace(thing, **{step: _changed(getattr(thing, step), rest, changes)})


def numbers(plan: Plan) -> dict[str, Number]:
    """Return the numbers of a plan that can be varied."""
    require_sort("plan", plan, Plan, "plan")
    known: dict[str, Number] = {}
    for found in (
        Number(CHARGE_ABV, "charge", keys_of(Ingredient)["abv"], ()),
        *_rows(plan),
        *_tables(plan),
    ):
        known.setdefault(found.name, found)
    return known


def number(plan: Plan, key: str) -> Number:
    """Return the number of a plan that goes by a key."""
    known = numbers(plan)
    require_sort("key", key, str, "str")
    by_spelling = {_spelled(name): name for name in known}
    if _spelled(key) not in by_spelling:
        raise UnknownNameError("number", key, known)
    return known[by_spelling[_spelled(key)]]


def in_other_form(plan: Plan, of: Number) -> Plan:
    """Return a plan with a number said in its other form: heads as a share of the charge, or as a volume."""
    value, charge_l = of.get(plan) or 0.0, charge_of(plan).volume_l
    other = value * charge_l if of.key.kind == SHARE else value / charge_l
    changes: dict[str, Any] = {of.key.field: None, ALTERNATIVES[of.key.field]: other}
    return replace(plan, cuts=replace(plan.cuts, **changes))


def _spelled(key: str) -> str:
    return ".".join(spelling(part) for part in key.split("."))


def _rows(plan: Plan) -> Iterator[Number]:
    """Numbers of tables that may stand several times; an amount goes by the name alone, too."""
    for table in ("charge", "botanical"):
        for k, row in enumerate(_at(plan, TABLES[table].path)):
            keys = {} if isinstance(row, LeftOver) else _said(row, keys_of(type(row)))
            amount = next((key for key in keys.values() if key.extensive), None)
            if amount is not None:
                yield replace(_number(table, amount, k), name=f"{table}.{row.name}")
            if table == "botanical" and row.pieces is not None:  # what was counted can be weighed too
                keys = {**keys, "mass": keys_of(type(row))["mass"]}
            for key in keys.values():
                yield _number(table, key, k, f"{table}.{row.name}")
    for k, step in enumerate(plan.still.power_steps):
        for key in _said(step, keys_of(type(step))).values():
            yield _number("still.power_step", key, k, f"still.power_step.{k + 1}")


def _said(row: Any, keys: Mapping[str, Key]) -> dict[str, Key]:
    """Keys of a row that can be varied; of amounts that which is said."""
    amounts = [key for key in keys.values() if key.extensive and getattr(row, key.field) is not None]
    return {n: key for n, key in keys.items() if key.vary and (not key.extensive or key in amounts)}


def _tables(plan: Plan) -> Iterator[Number]:
    """Numbers of tables that stand once."""
    for table, of in TABLES.items():
        if of.most > 1 or not of.path:
            continue
        there = _at(plan, of.path)
        if there is None and of.kind is not Stop:
            continue
        for key in of.keys.values():
            if key.vary and not (key.field in ALTERNATIVES and _other_said(there, key.field)):
                yield _number(table, key)


def _other_said(there: Any, field: str) -> bool:
    """Whether a number stands in its other form: heads as a share where they are not a volume."""
    other = getattr(there, ALTERNATIVES[field]) is not None
    return other if field == "heads_l" else getattr(there, field) is None


def _number(table: str, key: Key, row: int | None = None, name: str = "") -> Number:
    path = (*TABLES[table].path, *(() if row is None else (row,)), key.field)
    return Number(f"{name or table}.{NAMED.get(key.field, key.name)}", table, key, path)


def _at(plan: Plan, path: tuple[str, ...]) -> Any:
    """What lies at a path of a plan; ``None`` where it ends in nothing."""
    thing: Any = plan
    for step in path:
        thing = None if thing is None else getattr(thing, step)
    return thing


# --- A plan for more or less of the same: charge, bill and the volumes of the cuts grow together.


MEASURED_PIECES = 0.5
MEASURED = {VOLUME: 0.01, MASS: 0.1, COUNT: MEASURED_PIECES}  # what a kitchen measures, by kind of quantity


def up_to(step: float, amount: float) -> float:
    """Round an amount up to what can be measured: of fewer than five steps to a tenth, but of pieces."""
    step = step if amount >= 5.0 * step or step == MEASURED_PIECES else step / 10.0
    return float(f"{math.ceil(amount / step * (1.0 - NEAR)) * step:.9g}")


def grown(of: Any, factor: float, *, measurable: bool = False) -> Any:
    """Return a table with all that grows with the batch so many times as large."""
    keys = {key.field: key for key in keys_of(type(of)).values()}
    amounts = {name: factor * value for name, value in amounts_of(of).items()}
    if measurable:
        steps = {name: keys[name].step or MEASURED[keys[name].kind] for name in amounts}
        amounts = {name: up_to(steps[name], value) for name, value in amounts.items()}
    return replace(of, **amounts)


def scaled(plan: Plan, factor: float, *, measurable: bool = False) -> Plan:
    """Return a plan for so many times as much; if asked, with amounts rounded up to what can be measured."""
    require("factor", factor, 0.0, open_low=True)
    grow = partial(grown, factor=factor, measurable=measurable)
    still, bottling, cuts = plan.still, plan.bottling, plan.cuts
    tails, stretch = cuts.tails_from, bottling.stretch
    return replace(
        plan,
        charge=tuple(map(grow, resolve(plan.charge, distil))),
        still=replace(still, power_steps=tuple(map(grow, still.power_steps))),
        botanicals=tuple(map(grow, plan.botanicals)),
        cuts=replace(grow(cuts), stop=grow(cuts.stop), tails_from=grow(tails) if tails else None),
        bottling=replace(bottling, stretch=grow(stretch) if stretch else None),
    )


# --- One number of a plan varied, all else left as it is: what a stronger or weaker charge does.


NEAR = 1e-9  # relative; closer values are the same


class Curve(NamedTuple):
    """Strength of the stream along a run, first drop to stop; arrays of one shape."""

    collected_l: NDArray[np.float64]  # pooled distillate [L at 20 °C]
    stream_abv: NDArray[np.float64]  # [% vol at 20 °C]


@dataclass(frozen=True)
class Row:
    """A plan with one number set, and what came of its run; the run itself is made anew when asked for."""

    value: float  # the number
    planned: bool  # whether it is the plan's own
    plan: Plan | None  # the plan with it; ``None`` if no plan can hold it
    refusal: str  # why it cannot be run; empty if it can
    notes: tuple[Note, ...]  # what to take care of, but for what goes for every run
    outcome: Outcome | None = None  # what came of the run; ``None`` if it cannot be run
    places: tuple[Place, ...] = ()  # where each botanical comes over
    curve: Curve | None = None
    stronger: bool = False  # whether it takes stronger spirit than the plan has

    @cached_property
    def run(self) -> Run | None:
        """The run; ``None`` if it cannot be run."""
        return None if self.plan is None or self.refusal else distil(self.plan)

    @property
    def cautions(self) -> tuple[str, ...]:
        """`notes` in words."""
        return sentences(self.notes)

    def to_dict(self) -> dict[str, Any]:
        """Return the row as plain data."""
        return {
            **self.numbers(),
            "notes": plain_notes(self.notes),
            "flavours": [place.to_dict() for place in self.places],
        }

    def numbers(self) -> dict[str, Any]:
        """Return the row as plain data, without the flavours."""
        return {
            "value": self.value,
            "planned": self.planned,
            "stronger": self.stronger,
            **(dict.fromkeys(NAMES) if self.outcome is None else plain(self.outcome)),
            "refusal": self.refusal,
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True)
class Sweep(Shown):
    """Runs that differ in one number.

    Parameters
    ----------
    plan : Plan
        The plan they come from.
    number : Number
        What is varied.
    same : {'alcohol', 'volume'} or None
        What stays when the strength of the charge changes; ``None`` when another number is varied.
    rows : tuple of Row
        In the order of the values given.
    own : Row or None
        The plan as it is; ``None`` if it does not say the number.
    """

    plan: Plan
    number: Number
    same: Same | None
    rows: tuple[Row, ...]
    own: Row | None

    @property
    def with_own(self) -> tuple[Row, ...]:
        """All rows, the plan's own among them, by their values; each value once."""
        own = [] if self.own is None or any(row.planned for row in self.rows) else [self.own]
        return tuple(sorted([*self.rows, *own], key=lambda row: row.value))

    def __repr__(self) -> str:
        refused = sum(row.outcome is None for row in self.rows)
        some = f", {refused} refused" if refused else ""
        return f"<Sweep {self.plan.title!r}: {len(self.rows)} values of {self.number.name}{some}>"

    def __str__(self) -> str:
        return faces.text_of_sweep(self)

    def to_frame(self) -> pd.DataFrame:
        """Return the rows as a table.

        Returns
        -------
        pandas.DataFrame
            One row a value, in the order given; numbers are missing where a plan cannot be run.
        """
        units = {"value": self.number.unit} if self.number.unit else {}
        return frame([row.numbers() for row in self.rows], units)

    def flavours_to_frame(self) -> pd.DataFrame:
        """Return where the botanicals come over as a table.

        Returns
        -------
        pandas.DataFrame
            One row a value and botanical: ``value`` and what `Place.to_dict` gives.
        """
        places = ["class" if field.name == "klass" else field.name for field in fields(Place)]
        columns = ["value", *places]
        rows = [{"value": row.value, **place.to_dict()} for row in self.rows for place in row.places]
        return frame({column: [row[column] for row in rows] for column in columns})

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        return {
            "key": self.number.name,
            "unit": self.number.unit,
            "same": self.same,
            "own": None if self.own is None else self.own.to_dict(),
            "rows": [row.to_dict() for row in self.rows],
        }


def sweep(
    plan: Plan,
    key: str,
    values: Iterable[float],
    same: Same = "alcohol",
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Sweep:
    """Run a plan with one of its numbers set to each of several values.

    Parameters
    ----------
    plan : Plan
        The plan.
    key : str
        The number: ``"charge.abv"``, ``"still.power"``, ``"cuts.heads"``, ``"botanical.juniper"``, or any
        other of `potsim.planning.sweep.numbers`.
    values : iterable of float
        The values, in the plan's plain units: L, % vol, W, min, g.
    same : {'alcohol', 'volume'}
        For ``"charge.abv"``: what stays. The alcohol, so that only the water changes; or the volume in the
        pot, so that spirit and water both change.
    progress : callable, optional
        Called with the runs done and the runs wanted.

    Returns
    -------
    Sweep
        A row for each value, with the plan and its run; or with the refusal, where a plan cannot be run.

    Raises
    ------
    UnknownNameError
        If the plan has no such number, or ``same`` is neither; the nearest are suggested.
    RequestError
        If there is no value, or one that is no number.

    Notes
    -----
    All else stays, the stop and the heads too. A pot that the plan leaves to the defaults is sized to each
    charge.

    Examples
    --------
    >>> import potsim
    >>> made = potsim.sweep(potsim.example_plan(), "charge.abv", [25, 35, 45])
    >>> [round(row.outcome.recovered, 2) for row in made.rows]
    [0.74, 0.85, 0.91]
    """
    check_same(same)
    varied = number(plan, key)
    of_charge = varied.name == CHARGE_ABV
    wanted: list[float] = floats(values, varied.name).tolist()
    if not wanted:
        raise RequestError.of("no_values", varied.name)
    own = varied.get(plan)
    rows = []
    for value in wanted:
        rows.append(_row(plan, varied, value, same, planned=_is(value, own)))
        if progress is not None:
            progress(len(rows), len(wanted))
    at_home = next((row for row in rows if row.planned), None)
    if at_home is None and own is not None:
        at_home = _run(plan, own, planned=True, at_abv=own if of_charge else 0.0)
    return Sweep(plan, varied, same if of_charge else None, tuple(rows), at_home)


def floats(values: Any, name: str) -> NDArray[np.float64]:
    """Return values of a number as an array; texts are refused."""
    made = list(values) if isinstance(values, Iterable) and not isinstance(values, str) else [values]
    for one in made:
        if isinstance(one, str | bytes) or one is None:
            raise RequestError.of("wrong_type", name, given=repr(one), allowed="float")
    return np.array([float(one) for one in made])


def _is(value: float, own: float | None) -> bool:
    return own is not None and math.isclose(value, own, rel_tol=NEAR, abs_tol=1e-12)


def _row(plan: Plan, varied: Number, value: float, same: Same, *, planned: bool) -> Row:
    of_charge = varied.name == CHARGE_ABV
    try:
        stronger = of_charge and not planned and strongest(plan) * (1.0 + NEAR) < value < BASE_ABV
        of = with_stronger_spirit(plan) if stronger else plan
        changed = plan if planned else varied.put(of, value, same)
    except PotsimError as error:
        return Row(value, planned, None, str(error), _fire(value) if of_charge else ())
    row = _run(changed, value, planned=planned, at_abv=value if of_charge else 0.0)
    return replace(row, stronger=stronger)


def _run(plan: Plan, value: float, *, planned: bool, at_abv: float = 0.0) -> Row:
    try:
        run = distil(plan)
    except PotsimError as error:
        return Row(value, planned, plan, str(error), _fire(at_abv))
    curve = Curve(run.collected_l, run.stream_abv)
    return Row(value, planned, plan, "", particular(run), outcome(run), places(run), curve)


def _fire(abv: float) -> tuple[Note, ...]:
    """Caution against a strong charge, also where it cannot be run."""
    return notes.fire(abv) if 0.0 <= abv <= 100.0 else ()


# --- The answers of one run in the order in which they are needed, as numbers.


STEPS_ABV = (-5.0, 5.0)  # % vol from the charge's own strength
CLASSES = ("early", "middle", "late", "stays")
NOTICED = ("leads", "clear", "hint", "lost")


class Neighbour(NamedTuple):
    """What the same alcohol at another strength in the pot would give."""

    charge_abv: float  # in the pot [% vol]
    keep_l: float
    keep_abv: float
    elapsed_min: float  # until the keep is done


class Strongest(NamedTuple):
    """How strong the charge can be: the plan's spirits without water."""

    charge_abv: float  # in the pot [% vol]


class Card(NamedTuple):
    """What one screen answers."""

    run: Run
    asked: bool  # whether a stop that the plan asks for ends the run
    comes: Mapping[str, tuple[BotanicalFlavour, ...]]  # class to its botanicals, in order of coming
    noticed: Mapping[str, tuple[BotanicalFlavour, ...]]  # how they are noticed in the bottle
    neighbours: tuple[Neighbour | Strongest | None, ...]  # a weaker charge, a stronger one


def card(run: Run) -> Card:
    """Gather what one screen answers."""
    wanted = run.plan.cuts.stop.named
    in_order = sorted(run.flavours, key=lambda one: one.passage.half_l if one.passage else 0.0)
    return Card(
        run=run,
        asked=run.end.reason in wanted or not wanted,
        comes={klass: tuple(one for one in in_order if one.klass == klass) for klass in CLASSES},
        noticed={how: tuple(one for one in in_order if one.noticed == how) for how in NOTICED},
        neighbours=tuple(_neighbour(run, step) for step in STEPS_ABV),
    )


def _neighbour(run: Run, step: float) -> Neighbour | Strongest | None:
    """The run at a weaker or stronger charge; the limit where the spirits are too weak for it."""
    abv = run.charge.abv + step
    if run.charge.ethanol_mol == 0.0 or abv <= 0.0:
        return None
    plan = _without_flavours(run)
    most = strongest(plan)
    if abv > most:
        return Strongest(most)
    try:
        there = distil(with_strength(plan, abv))
    except RequestError:
        return None
    return Neighbour(abv, there.keep.volume_l, there.keep.abv, there.kept_min)


def _without_flavours(run: Run) -> Plan:
    """The plan with the botanicals' water alone, where no stop asks what they give: much cheaper to run."""
    plan = run.plan
    stops = (plan.cuts.stop, plan.cuts.tails_from)
    if any(stop is not None and (stop.over or stop.cloudy or stop.faded) for stop in stops):
        return plan
    juice_l = sum(dose.water_brought_l for dose in run.bill)
    juices = (Ingredient("water", juice_l),) if juice_l > 0.0 else ()
    return replace(plan, charge=(*plan.charge, *juices), botanicals=())
