"""Where a run stands, where it stops and where it is cut.

Along its course in the distiller's units; by what the course shows, and by what comes over: a flavour, a
haze; what moving a cut costs.
"""

from __future__ import annotations

import numbers
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import SHARE, RangeError, RequestError, require
from potsim.liquid import strength
from potsim.liquid.clouding import Believed
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning.botanicals import Level, volatiles
from potsim.planning.charge import Amounts, amounts, between
from potsim.planning.cloud import Oil
from potsim.planning.flavours import Cut, Flavours
from potsim.planning.notes import hint
from potsim.planning.plan import Ingredient, Stop
from potsim.planning.schema import Watch, keys_of
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, Course, Derived, Rising, States
from potsim.still.receiver import parrot_of


@dataclass(frozen=True)
class Moment:
    """One point of a run; fields as in `Profile`."""

    collected_l: float
    stream_abv: float
    pot_abv: float
    mean_abv: float
    recovered: float
    pot_l: float
    pot_c: float
    vapour_c: float
    elapsed_min: float
    parrot_abv: float | None = None  # strength in the parrot [% vol at 20 °C]; ``None`` without one


@dataclass(frozen=True)
class Stopped(Moment):
    """The point at which a run stops, and why."""

    reason: str = ""  # key of the plan file, ``"min_level"`` or ``"exhausted"``
    words: str = ""  # the reason as a person would say it


def moment(course: Course, depletion: float) -> Moment:
    """Return one point of a course in the distiller's units."""
    point = profile(course, course.at(np.array([depletion])))
    return Moment(**{name: float(getattr(point, name)[0]) for name in quantities_of(course)})


def where(course: Course, end: float, wanted: Mapping[str, Any]) -> Moment | Profile:
    """Return the first point of a run at which one quantity has a value, or each of several values."""
    known = quantities_of(course)
    if len(wanted) != 1 or next(iter(wanted)) not in known:
        raise RequestError.of("one_quantity", "at", given=list(wanted), allowed=list(known))
    ((name, value),) = wanted.items()
    if isinstance(value, list | tuple | np.ndarray):
        flat = [_where(course, end, name, one) for one in np.ravel(np.asarray(value, dtype=object)).tolist()]
        return profile(course, course.at(np.reshape(np.array(flat), np.shape(value))))
    return moment(course, _where(course, end, name, value))


def _where(course: Course, end: float, name: str, value: Any) -> float:
    """Depletion at which a quantity first has a value."""
    if not isinstance(value, numbers.Real):
        raise RequestError.of("wrong_type", name, given=repr(value), allowed="float")
    first, last = (getattr(moment(course, s), name) for s in (0.0, end))
    low, high = min(first, last), max(first, last)
    asked = float(value)
    if not low <= asked <= high:
        raise RangeError.of("beyond_run", name, given=asked, allowed=[low, high])
    sign = 1.0 if last >= first else -1.0
    there = course.first(lambda s: sign * (read(name, s, course) - asked), end)
    return end if there is None else there


# --- The course of a run in the distiller's units.


Array = NDArray[np.float64]


@dataclass(frozen=True)
class Profile:
    """Nine quantities along a run; arrays of one shape."""

    collected_l: Array  # all that has come over since the first drop, heads included [L at 20 °C]
    stream_abv: Array  # strength of the stream [% vol at 20 °C]
    pot_abv: Array  # strength of the pot [% vol at 20 °C]
    mean_abv: Array  # strength of all collected [% vol at 20 °C]
    recovered: Array  # share of the charged ethanol collected, 0 to 1; 0 for a charge of water
    pot_l: Array  # liquid in the pot [L at 20 °C]
    pot_c: Array  # bubble point of the pot [°C]
    vapour_c: Array  # dew point of the vapour that leaves the neck [°C]
    elapsed_min: Array  # time since switch-on [min]
    parrot_abv: Array | None = None  # strength in the parrot [% vol at 20 °C]; ``None`` without one


# How each field of `Profile` is read from states, of one run or of many.
READERS: dict[str, Callable[[Derived], Array]] = {
    "collected_l": lambda s: s.collected_l,
    "stream_abv": lambda s: s.stream_abv,
    "pot_abv": lambda s: s.pot_abv,
    "mean_abv": lambda s: s.mean_abv,
    "recovered": lambda s: s.recovered,
    "pot_l": lambda s: s.pot_l,
    "pot_c": lambda s: s.pot_k - ZERO_C_K,
    "vapour_c": lambda s: s.vapour_k - ZERO_C_K,
    "elapsed_min": lambda s: s.elapsed_s / 60.0,
}
QUANTITIES = tuple(READERS)


def read(name: str, states: States, course: Course) -> Array:
    """A field of `Profile` of one run; rounding must not lift a mean above what ran."""
    if name == "parrot_abv":
        return parrot_of(course).at(states)
    found = READERS[name](states)
    if name != "mean_abv" or len(course.legs) > 1:
        return found
    return np.minimum(found, np.maximum(course.first_abv, states.stream_abv))


def quantities_of(course: Course) -> tuple[str, ...]:
    """Names of the quantities along a run; the parrot's where there is one."""
    return QUANTITIES if course.still.parrot_l is None else (*QUANTITIES, "parrot_abv")


def profile(course: Course, states: States) -> Profile:
    """Turn states of a course into the distiller's units."""
    return Profile(**{name: read(name, states, course) for name in quantities_of(course)})


# --- Where a run ends: the stops of a plan looked up on its course.


Margin = Callable[[States], Array]


@dataclass(frozen=True)
class Condition:
    """Something that ends a run when it comes true."""

    reason: str  # key of the plan file, or ``"min_level"``
    values: Mapping[str, Any]  # what it waits for
    margin: Margin  # negative before, zero or more once true
    # whether a condition that never comes is a mistake of the plan; ``cloudy`` is only reported
    needed: bool = True


@dataclass(frozen=True)
class End:
    """Where something ended, and why."""

    reason: str  # key of the plan file, ``"min_level"`` or ``"exhausted"``
    values: Mapping[str, Any]  # what was waited for
    depletion: float  # ln(W0 / W) there

    @property
    def words(self) -> str:
        """The reason as a person would say it."""
        return stop_words(self.reason, self.values)


def stop_words(reason: str, values: Mapping[str, Any]) -> str:
    """Return what ends a run as a person would say it."""
    return str(hint("stop", reason, **values))


WATCHED = {name: key.watch for name, key in keys_of(Stop).items() if key.watch is not None}
"""Stops that watch one quantity of a run, by their key in the plan file."""


def margin(watch: Watch, reached: Array, value: float | Array) -> Array:
    """How far a value is passed: negative before."""
    return reached - value if watch.rises else value - reached


def conditions(stop: Stop, course: Course) -> list[Condition]:
    """Stops that need nothing but the course."""
    return [
        Condition(key, {"value": value}, _margin(WATCHED[key], value, course))
        for key, value in stop.named.items()
        if key in WATCHED
    ]


def _margin(watch: Watch, value: float, course: Course) -> Margin:
    return lambda states: margin(watch, read(watch.quantity, states, course), value)


def min_level(course: Course, solids_l: float) -> Condition:
    """The pot's level falls to what must stay in it."""
    level = course.still.min_level_l
    return Condition("min_level", {"value": level}, lambda s: level - s.pot_hot_l - solids_l)


def find_end(course: Course, wanted: list[Condition], level: Condition) -> End:
    """Find what ends the run."""
    found = []
    for condition in wanted:
        at = locate(course, condition, "cuts.stop")
        if at is not None:
            found.append(End(condition.reason, condition.values, at))
    needed = [c for c in wanted if c.needed]
    if needed and not any(end.reason in {c.reason for c in needed} for end in found):
        raise _never(course, "cuts.stop", needed)
    end = min(found, key=lambda end: end.depletion, default=End("exhausted", {}, EXHAUSTED))
    if course.still.min_level_l == 0.0 or level.margin(course.at(np.array([end.depletion])))[0] < 0.0:
        return end
    bare = course.first(level.margin, end.depletion)
    if bare == 0.0:
        raise RequestError.of("bare_element", "still.min_level", given=course.still.min_level_l)
    return End(level.reason, level.values, end.depletion if bare is None else bare)


def locate(course: Course, condition: Condition, key: str) -> float | None:
    """Find where a condition comes true, refusing one that is true before anything has come over."""
    at = course.first(condition.margin)
    if at == 0.0:
        raise RequestError.of(
            "true_already",
            f"{key}.{condition.reason}",
            waits=[(condition.reason, condition.values)],
            **_told(moment(course, 0.0)),
        )
    if at is None and condition.reason == "collected":
        raise _never(course, f"{key}.collected", [condition])
    return at


def _never(course: Course, path: str, wanted: list[Condition]) -> RequestError:
    waits = [(c.reason, c.values) for c in wanted]
    return RequestError.of("never", path, waits=waits, **_told(moment(course, EXHAUSTED)))


def _told(there: Moment) -> dict[str, float]:
    names = ("collected_l", "stream_abv", "pot_abv", "vapour_c", "elapsed_min")
    return {name: getattr(there, name) for name in names}


# --- Where the cuts lie, and what moving one of them costs.


STRENGTHS = (10.0, 7.5, 5.0, 2.5, 0.0, -2.5, -5.0, -7.5, -10.0)  # around the plan's, rounded [% vol]
ROUND_ABV = 2.5
HEADS = (0.0, 0.5, 1.0, 1.5, 2.0)  # of the plan's
NOTHING_LEFT = 1e-6  # of what comes over: so little is no keep
HEADS_OF_CHARGE = (0.0, 0.01, 0.02, 0.03, 0.05)  # of the charge's volume, where the plan takes none


@dataclass(frozen=True)
class CutPoints:
    """Where heads end, where the keep ends and where the run ends."""

    heads: float  # depletion at which the keep begins; 0 for no heads
    keep_end: float  # depletion at which the keep ends
    end: float  # depletion at which the run ends; that of ``keep_end`` for no tails

    def __post_init__(self) -> None:
        if not 0.0 <= self.heads < self.keep_end <= self.end:
            raise RequestError.of("no_keep", "cuts")


@dataclass(frozen=True)
class CutRow:
    """What comes of a cut at one place; all volumes at 20 °C."""

    planned: bool  # whether it is the plan's own
    heads_l: float  # heads [L]
    stream_abv: float  # strength of the stream at the cut [% vol]
    collected_l: float  # all that has come over by then [L]
    keep_l: float  # the keep, at which the other cut stays put [L, % vol]
    keep_abv: float  # the keep, at which the other cut stays put [L, % vol]
    left_l: float  # pure alcohol of the charge that is not in the keep: in heads, tails and pot [L]
    elapsed_min: float  # minute at which the cut comes, from switch-on
    vapour_c: float  # temperature of the vapour there [°C]


@dataclass(frozen=True)
class CutTable:
    """What moving the cuts costs."""

    keep_end: tuple[CutRow, ...]  # the end of the keep moved, in the order of the run; the heads stay
    heads: tuple[CutRow, ...]  # the heads cut moved, smallest heads first; the end of the keep stays


def cut_points(course: Course, heads_l: float, keep_end: float, end: float) -> CutPoints:
    """Place the heads cut by its volume."""
    if heads_l == 0.0:
        return CutPoints(0.0, keep_end, end)
    until = float(course.at(np.array([keep_end])).collected_l[0])
    if heads_l >= until * (1.0 - NOTHING_LEFT):
        raise RequestError.of("all_heads", "cuts.heads", given=heads_l, allowed=until)
    run = amounts(course, end)
    heads = run.depletion(run.at_collected_l(np.array([heads_l])))
    return CutPoints(float(heads[0]), keep_end, end)


def cut_table(course: Course, points: CutPoints, upto: float = EXHAUSTED) -> CutTable:
    """Tabulate what moving a cut costs."""
    run = amounts(course, max(upto, points.end))
    return CutTable(_keep_ends(course, points, run), _heads(course, points, run))


def _keep_ends(course: Course, points: CutPoints, run: Amounts) -> tuple[CutRow, ...]:
    planned = float(course.at(np.array([points.keep_end])).stream_abv[0])
    near = ROUND_ABV * round(planned / ROUND_ABV)
    wanted = np.array([near + away for away in STRENGTHS if abs(near + away - planned) >= 0.5 * ROUND_ABV])
    there = _falls_to(course, run, wanted[(wanted < run.stream_abv[0]) & (wanted > run.stream_abv.min())])
    ends = np.sort(np.append(there[there > points.heads], points.keep_end))
    starts = np.full(ends.shape, points.heads)
    return _rows(course, starts, ends, at=ends, planned=points.keep_end)


def _falls_to(course: Course, run: Amounts, strengths: Array) -> Array:
    """Depletions at which the stream first falls to strengths, all of them reached after the first drop."""
    fallen = run.stream_abv <= strengths[:, None]
    first = np.argmax(fallen, axis=1)
    low, high = run.depletion(run.over_mol[first - 1]), run.depletion(run.over_mol[first])
    rows = np.arange(strengths.size)
    for _ in range(3):
        s = np.linspace(low, high, 33, axis=1)
        abv = course.at(s).stream_abv
        k = np.maximum(np.argmax(abv <= strengths[:, None], axis=1), 1)
        low, high = s[rows, k - 1], s[rows, k]
    above, below = abv[rows, k - 1] - strengths, strengths - abv[rows, k]
    return np.asarray(low + (high - low) * above / np.maximum(above + below, 1e-300))


def _heads(course: Course, points: CutPoints, run: Amounts) -> tuple[CutRow, ...]:
    planned, until = course.at(np.array([points.heads, points.keep_end])).collected_l
    if points.heads > 0.0:
        sizes = np.array([share * planned for share in HEADS if share != 1.0])
    else:
        charge = strength.volume_from_moles(
            course.charge_mol * course.charge_x, course.charge_mol * (1.0 - course.charge_x)
        )
        sizes = np.array([share * float(charge) for share in HEADS_OF_CHARGE if share > 0.0])
    moved = run.depletion(run.at_collected_l(sizes[sizes < until]))
    starts = np.sort(np.append(moved, points.heads))
    ends = np.full(starts.shape, points.keep_end)
    return _rows(course, starts, ends, at=starts, planned=points.heads)


def _rows(course: Course, starts: Array, ends: Array, *, at: Array, planned: float) -> tuple[CutRow, ...]:
    """Rows for keeps from ``starts`` to ``ends``, told at the cut that moves."""
    first, last = course.at(starts), course.at(ends)
    cut = first if at is starts else last
    ethanol, water = _difference(first, last)
    keep_l = np.asarray(strength.volume_from_moles(ethanol, water))
    keep_abv = np.asarray(strength.abv_from_moles(ethanol, water))
    charged = float(strength.volume_from_moles(course.charge_mol * course.charge_x, 0.0))
    columns = (first.collected_l, cut.stream_abv, cut.collected_l, keep_l, keep_abv)
    left = np.maximum(charged - keep_l * keep_abv / 100.0, 0.0)
    rows = np.stack([*columns, left, cut.elapsed_s / 60.0, cut.vapour_k - ZERO_C_K], axis=1)
    return tuple(
        CutRow(place == planned, *row) for place, row in zip(at.tolist(), rows.tolist(), strict=True)
    )


def _difference(first: States, last: States) -> tuple[Array, Array]:
    """Moles of ethanol and of water between two places."""
    ethanol = np.maximum(last.over_ethanol_mol - first.over_ethanol_mol, 0.0)
    return ethanol, np.maximum(last.over_mol - first.over_mol - ethanol, 0.0)


# --- Cuts by what comes over: what heads take of the base spirit; stops that wait for a flavour or a haze.


@dataclass(frozen=True)
class HeadsCut:
    """A heads cut of one size."""

    heads_l: float  # its volume [L at 20 °C]
    abv: float  # its strength [% vol]
    ethanol_l: float  # pure alcohol in it [L at 20 °C]
    ethanol_share: float  # that as a share of the alcohol charged, 0 to 1
    # compound id to the share of it that the cut takes, of all in the charge, 0 to 1
    taken: Mapping[str, float]


def in_charge(parts: Sequence[Ingredient], level: Level = "typical") -> dict[str, float]:
    """Return what the base spirits of a charge bring of each volatile."""
    total: dict[str, float] = {}
    for part in parts:
        for name, grams in volatiles(part.kind, part.volume_l * part.abv / 100.0, level).items():
            total[name] = total.get(name, 0.0) + grams
    return total


def heads_cut(flavours: Flavours, volume_l: float) -> HeadsCut:
    """Return what a heads cut takes.

    Only what was in the charge is counted, not the botanicals. Methanol is no heads compound: from a
    charge of usual strength a heads cut takes about as much of it as of the alcohol.
    """
    course = flavours.course
    require("heads", volume_l, 0, unit="L", open_low=True)
    at = course.first(lambda states: states.collected_l - volume_l)
    if at is None:
        most = float(course.at(flavours.carried.depletion[-1:]).collected_l[0])
        raise RangeError.of("all_heads", "cuts.heads", given=volume_l, allowed=most)
    portion = between(course, 0.0, at)
    charged = course.charge_mol * course.charge_x
    over = flavours.over_by_row([(0.0, at)])[:, 0]
    rows = flavours.carried.rows
    return HeadsCut(
        heads_l=volume_l,
        abv=portion.abv,
        ethanol_l=portion.ethanol_l,
        ethanol_share=portion.ethanol_mol / charged if charged > 0.0 else 0.0,
        taken={
            flavours.compound_ids[rows.compound[row]]: float(over[row] / rows.amount[row])
            for row in flavours.rows_of(0)
            if rows.amount[row] > 0.0
        },
    )


# --- Stops by what comes over: so much of a botanical is over, all that counts has faded, the stream is hazy.


SOONEST_FADED = 0.25  # of the distillate, before which a stop by fading is refused


def over_condition(flavours: Flavours, name: str, share: float) -> Condition:
    """Return the stop at which a share of a botanical's oil is over."""
    require(f"cuts.stop.over.{name}", share, 0, 0.999, SHARE, open_low=True)
    carried, rows = flavours.carried, flavours.rows_called(name)
    grams = carried.rows.amount[rows]
    curve = grams @ carried.grid.over[rows]
    total = float(grams @ carried.at(np.array([flavours.alcohol_over])).over[rows, 0])
    if total <= 0.0:
        raise RequestError.of("nothing_over", "cuts.stop.over", given=name)
    rising = Rising(carried.depletion, curve[None], (grams @ carried.grid_rate[rows])[None])
    waits = {"botanical": name, "value": share}
    return Condition("over", waits, lambda states: rising(states.depletion)[0] / total - share)


def faded_condition(flavours: Flavours, heads_l: float) -> Condition:
    """Return the stop at which all that would be noticed in the bottle has given nearly all it gives.

    Who counts is found from a keep of all that comes over after the heads; the late class is left out.
    """
    course, over = flavours.course, flavours.alcohol_over
    heads = course.first(lambda states: states.collected_l - heads_l) if heads_l > 0.0 else 0.0
    if heads is None or heads >= over:
        most_l = float(course.at(np.array([over])).collected_l[0])
        raise RequestError.of("all_heads", "cuts.heads", given=heads_l, allowed=most_l)
    whole_l = between(course, heads, over).volume_l
    whole = flavours.cut_at(Cut(over, heads, ((heads, over),), (whole_l,), (0,), whole_l))
    faded = whole.faded
    if faded is None:
        raise RequestError.of("nothing_fades", "cuts.stop.faded")
    at, end_l = (float(course.at(np.array([s])).collected_l[0]) for s in (faded, over))
    if at < SOONEST_FADED * end_l:
        values = {"distillate_l": end_l, "share": SOONEST_FADED}
        raise RequestError.of("fades_early", "cuts.stop.faded", given=at, **values)
    return Condition("faded", {"late": _late(whole, faded)}, lambda states: states.depletion - faded)


def _late(whole: Flavours, faded: float) -> list[dict[str, Any]]:
    """Late botanicals that would be noticed: whether they lead, and the share over when the others fade."""
    there, in_all = whole.lines_over(np.array([faded, whole.alcohol_over])).T
    return [
        {
            "botanical": whole.labels[k],
            "leads": whole.noticed[k] == "leads",
            "share": float(there[k] / in_all[k]),
        }
        for k, one in enumerate(whole.classes)
        if whole.noticed[k] in ("leads", "clear") and one.klass == "late"
    ]


NO_GLASS = Believed()


def wanted(stop: Stop, flavours: Flavours, heads_l: float, believed: Believed = NO_GLASS) -> list[Condition]:
    """Return the conditions of a stop."""
    found = conditions(stop, flavours.course)
    found += [over_condition(flavours, name, share) for name, share in stop.over.items()]
    if stop.cloudy and flavours.compound_ids:
        # A stream that is cloudy from the first drop has to clear first.
        found.append(Condition("cloudy", {}, Oil(flavours, believed).margin, needed=False))
    if stop.faded:
        found.append(faded_condition(flavours, heads_l))
    return found


def keep_end_depletion(
    tails_from: Stop | None, flavours: Flavours, end: End, heads_l: float, believed: Believed = NO_GLASS
) -> float:
    """Return the depletion at which the keep ends."""
    if tails_from is None:
        return end.depletion
    conditions = wanted(tails_from, flavours, heads_l, believed)
    found = [locate(flavours.course, one, "cuts.tails_from") for one in conditions]
    return min([end.depletion, *(at for at in found if at is not None)])
