"""A plan with several of its numbers varied: thousands of runs, their answers as a table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.errors import PotsimError, RequestError, require_sort
from potsim.liquid import strength
from potsim.liquid.compounds import Compound
from potsim.liquid.traces import X_MAX
from potsim.planning.apparatus import LEAST_CHARGE_L, settle
from potsim.planning.botanicals import ResolvedDose, solids
from potsim.planning.botanicals import labels as bill_labels
from potsim.planning.charge import Charge, between
from potsim.planning.frames import frame
from potsim.planning.many import Cuts, bared, comes, in_order, single, single_names
from potsim.planning.plan import Bottling, Plan, Stop
from potsim.planning.plan import Cuts as CutPlan
from potsim.planning.release import noticed, per_gram, source
from potsim.planning.run import Run, distil, resolve_bill
from potsim.planning.stops import WATCHED
from potsim.planning.sweep import (
    CHARGE_ABV,
    Number,
    Same,
    charge_of,
    charges_of_strength,
    check_same,
    floats,
    number,
)
from potsim.records import dataclass
from potsim.still.carry import over_at
from potsim.still.courses import Courses, courses
from potsim.still.escape import Soak, Source
from potsim.still.family import family
from potsim.still.still import Span, Still, Stills

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

CHUNK = 2048  # runs worked on at a time
ALONE = 16  # of runs that are computed one by one
ROLES = ("heads", "keep", "tails")
OF_CHARGE = ("charge", "botanical")  # tables whose numbers change what is in the pot
LEFT = 1e-6  # share of what comes before the keep ends that must not be heads

Progress = Callable[[int, int], None]


def study(
    plan: Plan,
    vary: Mapping[str, Iterable[float]] | Sequence[Mapping[str, float]] | pd.DataFrame,
    *,
    same: Same = "alcohol",
    flavours: bool = False,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Run a plan with several of its numbers varied together.

    Parameters
    ----------
    plan : Plan
        The plan.
    vary : mapping of str to iterable of float, or sequence of mapping, or pandas.DataFrame
        A grid: each number with its values, every one with every other, the last changing fastest. Or a list:
        a row for each run, all with the same numbers. Names as for `potsim.sweep`, values in the plan's
        plain units: L, % vol, W, min, g.
    same : {'alcohol', 'volume'}
        For ``"charge.abv"``: what stays when the strength of the charge changes.
    flavours : bool
        Whether to follow the botanicals too, which takes some twenty times as long.
    executor : concurrent.futures.Executor, optional
        Where the runs are computed: threads, processes, Dask, MPI; here if left out. It is not shut down.
    progress : callable, optional
        Called with the runs done and the runs wanted.

    Returns
    -------
    pandas.DataFrame
        A row for each run: the numbers varied; ``charge``, ``stop``, ``heads``, ``keep``, ``tails`` and
        ``proofing`` as `Run` has them; ``stop.reason``; ``refusal``, empty where the run can be made, else
        why not, with all answers missing. With flavours, of each botanical ``gives_up`` and ``in_keep`` (of
        1), ``times_threshold`` and ``noticed`` in the bottle. Units are in ``attrs["units"]``.

    Raises
    ------
    UnknownNameError
        If the plan has no such number; the nearest are suggested.
    RequestError
        If nothing is varied, or the rows of a list do not have the same numbers.

    Notes
    -----
    Runs that are stopped by what a course shows go together through tables of the stills; the keep agrees
    with that of `potsim.distil` to 1e-4 of its volume, to 2e-4 where the power is varied tenfold; what
    botanicals give up to 1e-4 of their oil. What asks for more (a stop by flavour, a parrot, named jars, jars
    that run out) is computed run by run.

    Examples
    --------
    >>> import potsim
    >>> grid = {"charge.abv": [30, 38], "still.power": [500, 700, 900]}
    >>> table = potsim.study(potsim.example_plan(), grid)
    >>> table["keep.abv"].round().tolist()
    [71.0, 70.0, 70.0, 74.0, 73.0, 73.0]
    >>> table.attrs["units"]["keep.volume_l"]
    'L'
    """
    check_same(same)
    names, values = _wanted(vary)
    numbers = [number(plan, name) for name in names]
    labels = bill_labels(resolve_bill(plan)) if flavours else ()
    bottled = _set(plan, numbers, list(range(len(numbers))), values[0].tolist(), same) or plan
    columns = single_names(ROLES, bottled.bottling)
    answers = Answer.of_none(values.shape[0], len(columns), len(labels))
    done = 0
    for rows, answer in in_order(work, _tasks(plan, numbers, values, same, labels, columns), executor):
        answers.put(rows, answer)
        done += rows.size
        if progress is not None:
            progress(done, values.shape[0])
    varied = {name: values[:, k] for k, name in enumerate(names)}
    units = {name: one.unit for one, name in zip(numbers, names, strict=True)}
    return frame(
        {**varied, **answers.columns(columns, labels), **varied}, units
    )  # what is given stays as given


def _wanted(vary: Any) -> tuple[list[str], Array]:
    """Names, and values of shape (runs, names)."""
    if hasattr(vary, "to_dict") and not isinstance(vary, Mapping):
        vary = vary.to_dict("records")
    if isinstance(vary, Mapping):
        each = [np.atleast_1d(floats(values, name)) for name, values in vary.items()]
        if not each or any(one.size == 0 for one in each):
            raise RequestError.of("nothing_varied")
        grid = np.meshgrid(*each, indexing="ij")
        return list(vary), np.stack([one.ravel() for one in grid], axis=1)
    require_sort("vary", vary, Sequence, "varied")
    rows = list(vary)
    for row in rows:
        require_sort("vary", row, Mapping, "varied")
    if not rows or not rows[0]:
        raise RequestError.of("nothing_varied")
    names = list(rows[0])
    for k, row in enumerate(rows):
        if set(row) != set(names):
            raise RequestError.of("rows_differ", given=list(row), allowed=names, row=k)
    return names, np.stack([floats([row[name] for row in rows], name) for name in names], axis=1)


# --- Answers, chunk by chunk, and the columns of the table that they become.


FLAVOUR = ("gives_up", "in_keep", "times_threshold")


@dataclass(frozen=True)
class Answer:
    """What some runs came to; arrays of as many rows."""

    numbers: Array  # in the order of the columns
    reason: NDArray[Any]
    refusal: NDArray[Any]
    flavours: Array
    noticed: NDArray[Any]

    @classmethod
    def of_none(cls, runs: int, columns: int, lines: int) -> Answer:
        """Answers that are still to be filled in."""
        texts = (np.full(shape, "", dtype=object) for shape in (runs, runs, (runs, lines)))
        reason, refusal, told = texts
        flavours = np.full((runs, len(FLAVOUR) * lines), np.nan)
        return cls(np.full((runs, columns), np.nan), reason, refusal, flavours, told)

    def put(self, rows: NDArray[np.intp], some: Answer) -> None:
        """Fill in some runs."""
        for one in fields(self):
            getattr(self, one.name)[rows] = getattr(some, one.name)

    def columns(self, names: Sequence[str], labels: Sequence[str]) -> dict[str, Any]:
        """All columns of the table in their order."""
        out: dict[str, Any] = {name: self.numbers[:, k] for k, name in enumerate(names)}
        out["stop.reason"] = self.reason
        for k, label in enumerate(labels):
            for j, name in enumerate(FLAVOUR):
                out[f"{label}.{name}"] = self.flavours[:, 3 * k + j]
            out[f"{label}.noticed"] = self.noticed[:, k]
        return {**out, "refusal": self.refusal}


# --- Runs that go together: all that they differ in, as arrays.


@dataclass(frozen=True)
class Together:
    """Runs under one pressure with the same sort of stops and one bottling; arrays of shape (n,)."""

    rows: NDArray[np.intp]  # which of the study
    still: Still  # one of them
    span: Span  # their stills
    stills: Stills  # of each
    bottling: Bottling
    stop: Mapping[str, Array]  # what each waits for
    tails: Mapping[str, Array]
    ethanol_mol: Array
    mol: Array
    heating_w: Array
    metal_j_per_k: Array
    least_l: Array  # level that must stay in the pot [L]
    capacity_l: Array
    heads_l: Array
    lost: Array
    pots: Array  # what the different charges and bills hold, see `_pots`; of no run in particular
    pot: NDArray[np.intp]  # which of them each has
    lines: tuple[Source, ...]  # of one of the bills; none where flavours are not followed
    own: Mapping[str, Compound]

    @property
    def solids_l(self) -> Array:
        """Volume of the botanicals in the pot [L]."""
        return np.asarray(self.pots[self.pot, 3])

    def where(self, chosen: NDArray[np.intp] | NDArray[np.bool_]) -> Together:
        """Return some of the runs."""
        changed: dict[str, Any] = {"stills": self.stills.where(chosen)}
        for one in fields(self):
            value = getattr(self, one.name)
            if isinstance(value, np.ndarray) and one.name != "pots":
                changed[one.name] = value[chosen]
            elif one.name in ("stop", "tails"):
                changed[one.name] = {key: each[chosen] for key, each in value.items()}
        return replace(self, **changed)


def _together(
    plan: Plan, numbers: Sequence[Number], values: Array, same: Same, flavours: bool
) -> list[Together]:
    """Gather the runs that can go together; the others are left out."""
    of_charge = [k for k, one in enumerate(numbers) if one.table in OF_CHARGE]
    others = [k for k in range(len(numbers)) if k not in of_charge]
    alike = plan.still.capacity_l is not None and plan.still.built_of is None  # whatever is in the pot
    try:
        charge = charge_of(plan)
    except PotsimError:
        return []
    pots, pot = _pots(plan, numbers, of_charge, values, same)
    lines = tuple(source(dose) for dose in resolve_bill(plan)) if flavours else ()
    settled: list[_Settled | None] = []
    chosen = others if alike else list(range(len(numbers)))
    kinds, kind = _different(values[:, chosen])
    for each in kinds.tolist():
        changed = _set(plan, numbers, chosen, each, same)
        settled.append(None if changed is None else _settle(changed, charge if alike else None))
    groups: dict[Any, list[int]] = {}
    for k, one in enumerate(settled):
        if one is not None:
            groups.setdefault(one.sort, []).append(k)
    possible = np.asarray(np.isfinite(pots).all(axis=1))[pot]
    made = []
    for members in groups.values():
        rows = np.flatnonzero(possible & np.isin(kind, members))
        if rows.size:
            place = np.zeros(kinds.shape[0], dtype=np.intp)
            place[members] = np.arange(len(members))
            some = [one for k in members if (one := settled[k]) is not None]
            made.append(_group(rows, pots, pot[rows], some, place[kind[rows]], lines, plan.own_compounds))
    return [one for one in made if one is not None]


def _different(values: Array) -> tuple[Array, NDArray[np.intp]]:
    """Each different row once, and which of them each is."""
    if values.shape[1] == 0:
        return np.zeros((1, 0)), np.zeros(values.shape[0], dtype=np.intp)
    kinds, which = np.unique(values, axis=0, return_inverse=True)
    return kinds, which.reshape(-1)


def _set(
    plan: Plan, numbers: Sequence[Number], chosen: Sequence[int], values: Sequence[float], same: Same
) -> Plan | None:
    """Return the plan with some of its numbers set; ``None`` where it cannot hold them."""
    try:
        for k, value in zip(chosen, values, strict=True):
            plan = numbers[k].put(plan, value, same)
    except PotsimError:
        return None
    return plan


def _pots(
    plan: Plan, numbers: Sequence[Number], of_charge: Sequence[int], values: Array, same: Same
) -> tuple[Array, NDArray[np.intp]]:
    """What the different charges hold, and which each run has.

    Columns: ethanol and all moles, litres, and what `_brought` tells; NaN where one must be looked at by
    itself.
    """
    kinds, which = _different(values[:, of_charge])
    brought = _brought(resolve_bill(plan))
    pots = np.full((kinds.shape[0], 3 + len(brought)), np.nan)
    if [numbers[k].name for k in of_charge] == [CHARGE_ABV]:
        pots[:, :3] = np.stack(charges_of_strength(plan, kinds[:, 0], same), axis=1)
        pots[:, 3:] = brought
    else:
        for k, each in enumerate(kinds.tolist()):
            changed = _set(plan, numbers, of_charge, each, same)
            try:
                if changed is not None and (charge := charge_of(changed)).ethanol_mol > 0.0:
                    bill = _brought(resolve_bill(changed))
                    pots[k] = charge.ethanol_mol, charge.mol, charge.volume_l, *bill
            except PotsimError:  # told when the run goes alone
                continue
    pots[pots[:, 2] < LEAST_CHARGE_L] = np.nan
    return pots, which


def _brought(bill: Sequence[ResolvedDose]) -> list[float]:
    """Litres of botanicals; of each line its fat [L], seconds in a maceration and x there; all oils [g].

    x is -1 for that of the charge.
    """
    fat = [float(source(dose).lipid_l) for dose in bill]
    seconds = [3600.0 * dose.dose.macerated_h for dose in bill]
    at = [dose.dose.macerated_at_abv for dose in bill]
    x = [-1.0 if abv is None else float(strength.x_from_abv(abv)) for abv in at]
    return [solids(bill), *fat, *seconds, *x, *(grams for dose in bill for grams in dose.oil_g.values())]


class _Settled(NamedTuple):
    """A plan made whole but for its charge."""

    still: Still
    stop: Stop
    cuts: CutPlan
    bottling: Bottling

    @property
    def sort(self) -> tuple[Any, ...]:
        """What runs must have in common to go together."""
        tails = self.cuts.tails_from
        named = () if tails is None else tuple(tails.named)
        return self.still.conditions.pressure_pa, tuple(self.stop.named), named, self.bottling


def _settle(plan: Plan, charge: Charge | None) -> _Settled | None:
    """Fill in what a plan leaves out; ``None`` where its run must be looked at by itself."""
    if plan.jars.keep or any(one.count is not None for one in plan.jars.sizes):
        return None
    try:
        setting = settle(plan, charge_of(plan) if charge is None else charge)
    except PotsimError:
        return None
    stops = [setting.stop, *([] if plan.cuts.tails_from is None else [plan.cuts.tails_from])]
    watched = all(key in WATCHED and key != "parrot_abv" for stop in stops for key in stop.named)
    if not watched or setting.still.power_changes or setting.still.parrot_l is not None:
        return None
    return _Settled(setting.still, setting.stop, plan.cuts, plan.bottling)


def _group(
    rows: NDArray[np.intp],
    pots: Array,
    pot: NDArray[np.intp],
    settled: Sequence[_Settled],
    which: NDArray[np.intp],
    lines: tuple[Source, ...],
    own: Mapping[str, Compound],
) -> Together | None:
    """Put runs together as arrays; without those whose heat is too weak."""
    stills = [one.still for one in settled]
    conditions = np.array([[getattr(s.conditions, f.name) for f in fields(Stills)] for s in stills])
    numbers = ("heat_up_power_w", "metal_j_per_k", "min_level_l", "capacity_l", "lost")
    columns = np.array([[getattr(still, name) for name in numbers] for still in stills])[which]
    heating_w, metal, least_l, capacity_l, lost = columns.T
    each, pressure_pa = Stills(*conditions[which].T), stills[0].conditions.pressure_pa
    fine = each.can_run(pressure_pa) & (each.with_power(heating_w).net_power_w(373.15) > 0.0)
    if not fine.any():
        return None
    heads = np.array([[one.cuts.heads_l or 0.0, one.cuts.heads_share or 0.0] for one in settled])[which]
    stops = [one.stop.named for one in settled]
    tails = [one.cuts.tails_from.named if one.cuts.tails_from else {} for one in settled]
    return Together(
        rows=rows,
        still=stills[0],
        span=Span.over(each.where(fine), pressure_pa),
        stills=each,
        bottling=settled[0].bottling,
        stop={key: np.array([stop[key] for stop in stops])[which] for key in stops[0]},
        tails={key: np.array([stop[key] for stop in tails])[which] for key in tails[0]},
        ethanol_mol=pots[pot, 0],
        mol=pots[pot, 1],
        heating_w=heating_w,
        metal_j_per_k=metal,
        least_l=least_l,
        capacity_l=capacity_l,
        heads_l=np.where(heads[:, 0] > 0.0, heads[:, 0], heads[:, 1] * pots[pot, 2]),
        lost=lost,
        pots=pots,
        pot=pot,
        lines=lines,
        own=own,
    ).where(fine)


def together(of: Together) -> Answer:
    """Answers of runs that go together; no numbers, NaN, where one must go alone."""
    names = single_names(ROLES, of.bottling)
    answer = Answer.of_none(of.rows.size, len(names), len(of.lines))
    tables = family(of.span)
    fine = of.ethanol_mol / of.mol <= tables.highest_x
    if not fine.any():
        return answer
    some = of.where(fine)
    x = some.ethanol_mol / some.mol
    runs = courses(
        *(tables, some.mol, x, some.stills, some.still, 1.0 - some.lost),
        heating_w=some.heating_w,
        metal_j_per_k=some.metal_j_per_k,
    )
    cuts = Cuts(some.stop, some.tails, some.least_l, some.solids_l)
    stops = comes(some.stop, runs, cuts)
    end = stops.min(axis=0)
    why = np.array([*some.stop, "min_level"], dtype=object)
    whole = bared(cuts, runs, end)
    which = np.where(whole < end, len(some.stop), stops.argmin(axis=0))
    tails = comes(some.tails, runs, cuts)
    keep_end = np.minimum(tails.min(axis=0, initial=np.inf), whole)
    boils_l = runs.at(np.zeros(1)).pot_hot_l[:, 0] + some.solids_l
    heads = np.where(some.heads_l > 0.0, runs.at_collected(some.heads_l[:, None], cuts.reach)[:, 0], 0.0)
    good = np.isfinite(whole) & (stops > 0.0).all(axis=0) & (tails > 0.0).all(axis=0)
    good &= (boils_l <= some.capacity_l) & (heads < keep_end * (1.0 - LEFT))
    if "collected" in some.stop:
        good &= np.isfinite(stops[list(some.stop).index("collected")])
    if of.lines:
        first = runs.at(np.zeros(1))
        good &= np.maximum(first.pot_x, first.x_reflux)[:, 0] <= X_MAX
    if not good.any():
        return answer
    edges = np.stack([np.zeros_like(heads), heads, keep_end, whole], axis=1)[good]
    runs, some, whole = runs.where(good), some.where(good), whole[good]
    made = single(runs, whole, edges, ROLES, (1,), of.bottling)
    known = [k for k, name in enumerate(names) if name not in ("heads.abv", "tails.abv")]
    made[~np.isfinite(made[:, known]).all(axis=1)] = np.nan
    at = np.flatnonzero(fine)[good]
    answer.numbers[at], answer.reason[at] = made, why[which[good]]
    if of.lines:
        bottle_l = made[:, names.index("keep.volume_l" if of.bottling.abv is None else "proofing.volume_l")]
        answer.flavours[at], answer.noticed[at] = _tasted(some, runs, edges[:, 1:].T, bottle_l)
    return answer


def _tasted(of: Together, runs: Courses, at: Array, bottle_l: Array) -> tuple[Array, NDArray[Any]]:
    """`FLAVOUR` of each line of the bill, flat, and how it is noticed; from shares over at three depletions.

    Those are where heads, keep and run end, shape (3, n).
    """
    boil_k = runs.at(np.zeros(1)).pot_k[:, 0]
    room_k, lines = of.stills.room_k, len(of.lines)
    heats = Soak(runs.first_drop_s, runs.charge_x, room_k, boil_k)
    told, oils = np.split(of.pots[of.pot, 4:].T, [3 * lines])
    fat, seconds, x = told.reshape(3, lines, -1)
    grams = iter(oils)
    sources = []
    for k, line in enumerate(of.lines):
        wet = Soak(seconds[k], np.where(x[k] < 0.0, runs.charge_x, x[k]), room_k, room_k)
        soaks = () if line.in_vapour else (wet, heats) if seconds[k].any() else (heats,)
        amounts = {name: next(grams) for name in line.amounts}
        lipid_l = fat[k] if np.any(line.lipid_l) else 0.0
        sources.append(replace(line, amounts=amounts, lipid_l=lipid_l, soaks=soaks))
    at, which = np.unique(at, axis=0, return_inverse=True)  # of runs without tails keep and run end together
    rows, over = over_at(runs, sources, at, of.still.conditions.pressure_pa, of.own)
    by_line = np.asarray(np.arange(lines)[:, None] == rows.source, dtype=float)
    heads, kept, ends = (
        runs.got * rows.amount * share for share in over[:, which.reshape(-1)].transpose(1, 0, 2)
    )
    kept -= heads
    names = [name for line in of.lines for name in line.amounts]
    smelt = per_gram(names, of.own)[:, None] * kept
    whole = by_line @ rows.amount
    some = np.where(whole > 0.0, whole, 1.0)
    times = by_line @ smelt / np.where(bottle_l > 0.0, bottle_l, np.inf)
    table = np.stack([by_line @ ends / some, by_line @ kept / some, times], axis=1)
    return table.reshape(3 * lines, -1).T, noticed(times).T


# --- Runs that go alone, and the work that an executor is given.


@dataclass(frozen=True)
class _Task:
    """A chunk of a study."""

    plan: Plan
    names: tuple[str, ...]  # of the numbers varied
    values: Array  # shape (runs, names)
    same: Same
    columns: tuple[str, ...]  # of the answers
    labels: tuple[str, ...]  # of the botanicals that are followed
    group: Together | None  # the same runs, where they go together


def work(task: _Task) -> Answer:
    """Compute a chunk of a study."""
    answer = Answer.of_none(task.values.shape[0], len(task.columns), len(task.labels))
    numbers = answer.numbers
    if task.group is not None:
        found = together(task.group)
        places = [task.columns.index(name) for name in single_names(ROLES, task.group.bottling)]
        numbers[:, places] = found.numbers
        answer = replace(found, numbers=numbers)
    alone = np.flatnonzero(np.isnan(numbers[:, 0]))
    varied = [number(task.plan, name) for name in task.names] if alone.size else []
    for row in alone:
        try:
            plan = task.plan
            for one, value in zip(varied, task.values[row].tolist(), strict=True):
                plan = one.put(plan, value, task.same)
            run = distil(plan)
        except PotsimError as error:
            answer.refusal[row], answer.reason[row] = str(error), ""
            continue
        numbers[row] = list(numbers_of(run, task.columns).values())
        answer.reason[row] = run.end.reason
        if task.labels:
            answer.flavours[row], answer.noticed[row] = _flavours(run)
    return answer


def numbers_of(run: Run, names: Sequence[str]) -> dict[str, float]:
    """Answers of one run by the names of `potsim.planning.many.single_names`; NaN for none."""
    points = run.points
    spans = {"heads": (0.0, points.heads), "tails": (points.keep_end, points.end)}
    told: dict[str, Any] = {}
    for role, (begin, finish) in spans.items():
        some = between(run.course, begin, finish) if finish > begin else None
        told[f"{role}.volume_l"] = 0.0 if some is None else some.volume_l
        told[f"{role}.abv"] = None if some is None else some.abv
    for name in names:
        if name not in told:
            there: Any = run
            for step in name.split("."):
                there = getattr(there, step, None)
            told[name] = there
    return {name: np.nan if told[name] is None else float(told[name]) for name in names}


def _flavours(run: Run) -> tuple[Array, list[str]]:
    """`FLAVOUR` of each line of the bill, flat; and how it is noticed."""
    of = run.flavours
    amount = of.by_line(of.carried.rows.amount)
    over = of.by_line(of.over_by_row([(0.0, run.points.end)])[:, 0])
    some = np.where(amount > 0.0, amount, 1.0)
    table = np.stack([over / some, of.kept_g / some, of.in_bottle], axis=1)
    return table.ravel(), list(of.noticed)


def _tasks(
    plan: Plan,
    numbers: Sequence[Number],
    values: Array,
    same: Same,
    labels: tuple[str, ...],
    columns: tuple[str, ...],
) -> Iterator[tuple[NDArray[np.intp], tuple[_Task]]]:
    """Split the runs of a study: those that go together, then the others."""
    names = tuple(one.name for one in numbers)
    alone = np.ones(values.shape[0], dtype=bool)
    for group in _together(plan, numbers, values, same, bool(labels)):
        alone[group.rows] = False
        for k in range(0, group.rows.size, CHUNK):
            part = group.where(np.arange(k, min(k + CHUNK, group.rows.size)))
            yield part.rows, (_Task(plan, names, values[part.rows], same, columns, labels, part),)
    rest = np.flatnonzero(alone)
    for k in range(0, rest.size, ALONE):
        rows = rest[k : k + ALONE]
        yield rows, (_Task(plan, names, values[rows], same, columns, labels, None),)
