"""Whether stream and bottle cloud, how surely, and what would help: numbers and records."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError
from potsim.liquid import clouding
from potsim.liquid.clouding import CHILLED_C, ROOM_C, Believed, ClearLimit, Dissolved, Haze, Oils
from potsim.liquid.taught import Taught, learn, let_down
from potsim.planning.charge import between
from potsim.planning.flavours import Flavours, Span, stream_l
from potsim.planning.plan import Bottling, Result
from potsim.records import dataclass, plain
from potsim.still.course import States

Array = NDArray[np.float64]

PURE_ABV = 100.0
NOISE_ABV = 10.0  # a cloud below this strength is water's, and nobody's concern
WORTH_ABV = 1.0  # a remedy that lowers the limit by less is none
CLOSER = 65  # points between two of the grid, twice, at which the stream is looked at
TINY = 1e-30  # a load of nothing at all, whose logarithm is wanted


class Glass(NamedTuple):
    """What was seen of a haze."""

    clouded_at: float | None = None  # strength at which a glass of the keep hazed [% vol]
    at_c: float | None = None  # its temperature [°C]; ``None`` is a room's
    stream_hazy_at_l: float | None = None  # all collected when the stream was first seen hazy [L]


def glass_of(result: Result | None) -> Glass | None:
    """Return what a result tells of a haze; ``None`` if nothing."""
    if result is None or (result.clouded_at is None and result.stream_hazy_at_l is None):
        return None
    return Glass(result.clouded_at, result.clouded_at_c, result.stream_hazy_at_l)


def glass_in(data: Mapping[str, Any]) -> Glass | None:
    """Return what the plain data of a run tell of a haze; ``None`` if nothing."""
    seen = data.get("glass") or {}
    at, at_c, hazy_l = (seen.get(name) for name in Glass._fields)
    return glass_of(Result(clouded_at=at, clouded_at_c=at_c, stream_hazy_at_l=hazy_l))


def believed(bottling: Bottling) -> Believed:
    """Return what a plan says that glasses of earlier batches have taught."""
    shift = bottling.cloud_shift
    return Believed() if shift is None else Believed(shift, "another batch", bottling.cloud_seen)


@dataclass(frozen=True)
class Bottled:
    """What is bottled, as far as its cloud goes."""

    spans: tuple[Span, ...]  # depletions between which the jars of the keep were collected
    ethanol_l: float  # pure alcohol in the keep, with that of what it is stretched by [L]
    abv: float  # strength of the keep, stretched [% vol]
    target_abv: float | None  # bottling strength [% vol]; ``None`` if the keep is not let down
    heads_l: float = 0.0  # what the heads take now [L]
    believed: Believed = Believed()  # what a glass of another batch has taught
    glass: Glass | None = None  # of this very keep


MIDDLE = 1  # of what is told of the stream: possibly, by the middle estimate, surely cloudy
RemedyKind = Literal["bottle stronger", "drop last jars", "larger heads", "less of"]


class Remedy(NamedTuple):
    """Something that would help against a cloud, and what it changes."""

    kind: RemedyKind
    value: float  # strength [% vol], number of jars, volume of heads [L], or share of the dose left
    botanical: str | None  # of what there would be less
    limit: ClearLimit  # the limit it would leave, at the temperature that decides


class Stream(NamedTuple):
    """Where the stream clouds, pooled from the first drop [L at 20 °C]; ``None``: not before the end."""

    possible_l: float | None  # one run in ten is hazy by here
    middle_l: float | None
    sure_l: float | None  # nine runs in ten are
    possible_abv: float | None  # strengths of the stream there [% vol]
    middle_abv: float | None
    sure_abv: float | None
    clears_l: float | None  # a stream hazy from the first drop clears here; infinite: never; ``None``: clear
    end_l: float  # where the run stops


@dataclass(frozen=True)
class LetDown:
    """How a spirit let down with water is likely to look."""

    # strength down to which it stays clear at 20 and at 5 °C
    room: ClearLimit
    chilled: ClearLimit
    keep_abv: float  # its strength before any water [% vol]
    target_abv: float | None  # the strength wanted [% vol]

    @property
    def span_abv(self) -> tuple[float, float]:
        """Strengths between which the first haze shows, warm and chilled taken together."""
        return self.room.low_abv, max(self.room.high_abv, self.chilled.high_abv)

    @property
    def verdict(self) -> clouding.Verdict | None:
        """Of the bottled spirit at room temperature; ``None`` if the keep is not let down."""
        return None if self.target_abv is None else self.room.verdict(self.target_abv)

    @property
    def deciding(self) -> ClearLimit:
        """The limit that matters: at room temperature, unless the bottle is clear there."""
        return _deciding(self.room, self.chilled, self.target_abv)


@dataclass(frozen=True)
class Cloud(LetDown):
    """The cloud in stream and bottle."""

    stream: Stream | None  # ``None`` where the stream stays clear to the end of the alcohol
    oil_mg_per_l: float  # oil of the botanicals in the spirit bottled [mg/L]
    # what is dispersed in the bottle at 20 °C by the middle estimate; ``None`` if not let down
    haze: Haze | None
    # share of each compound in the load, at the limit of the temperature that decides
    blame: dict[str, float]
    by_line: tuple[float, ...]  # share of the base spirit, then of each line of the bill, in it
    names: tuple[str, ...]  # of the lines of the bill
    remedies: tuple[Remedy, ...]  # what would help; empty where the bottle is clear, chilled too
    taught: Taught | None  # what the glass of this keep says
    shift: float | None  # the shift used [decades]

    @property
    def limit(self) -> ClearLimit:
        """At room temperature."""
        return self.room

    @property
    def clear_stream(self) -> bool:
        """Whether no haze is possible in the stream before the stop."""
        return self.may_cloud_l is None

    @property
    def may_cloud_l(self) -> float | None:
        """All collected from where the stream may be hazy; ``None`` if not before the stop."""
        stream = self.stream
        if stream is None or stream.possible_l is None or stream.possible_l >= stream.end_l:
            return None
        return stream.possible_l

    @property
    def clouds_l(self) -> float | None:
        """All collected when the stream clouds, by the middle estimate; ``None`` if not before the stop."""
        stream = self.stream
        if stream is None or stream.middle_l is None or stream.middle_l > stream.end_l:
            return None
        return stream.middle_l

    @property
    def to_blame(self) -> dict[str, float]:
        """Share of each botanical in the load, largest first; ``""`` is the base spirit."""
        found: dict[str, float] = {}
        for name, share in zip(("", *self.names), self.by_line, strict=True):
            found[name] = found.get(name, 0.0) + share
        ranked = sorted(found.items(), key=lambda pair: -pair[1])
        return {name: share for name, share in ranked if share > 0.0}

    @property
    def never(self) -> bool:
        """Whether there is no strength worth telling at which it might cloud."""
        return max(self.room.high_abv, self.chilled.high_abv) < NOISE_ABV and self.stream is None


class Oil:
    """The oil of a run, row by row, without compounds of the distiller's own, whose solubility nobody knows.

    Volatility at high dilution can put more oil into the first drops than a drop holds: they are hazy all the
    same, and are counted as pure oil.
    """

    def __init__(self, flavours: Flavours, believed: Believed) -> None:
        rows = flavours.carried.rows
        names = [flavours.compound_ids[k] for k in rows.compound]
        self.flavours = flavours
        self.believed = believed
        self.row = np.array([k for k, name in enumerate(names) if name not in flavours.own], dtype=np.intp)
        source = rows.source[self.row]
        lots = 1 + len(flavours.bill)
        spread = np.full(lots, clouding.LOT)
        spread[0] = clouding.BASE
        released = np.arange(lots) > 0
        self.oils = Oils(tuple(names[k] for k in self.row), source, spread, released)

    @cached_property
    def _per_l(self) -> Array:
        """Grams of each row of ``carried`` in a litre of stream, at its depletions."""
        carried = self.flavours.carried
        return np.asarray(carried.grid_rate * carried.rows.amount[:, None] / stream_l(carried.states))

    @cached_property
    def along(self) -> Array:
        """Logarithm of the load of the stream on the grid of ``carried``: at most, middle, at least."""
        carried = self.flavours.carried
        held = np.minimum(self._per_l[self.row], clouding.DENSEST_G_PER_L)
        found = clouding.loads(self.oils, held, np.asarray(carried.states.stream_abv))
        middle = np.log10(np.maximum(found.value, TINY)) - self.believed.shift_log10
        low, high = found.edges(self.believed)
        return np.stack([middle + high, middle, middle + low])

    @cached_property
    def _slopes(self) -> Array:
        return np.asarray(np.gradient(self.along, self.flavours.carried.depletion, axis=1))

    @cached_property
    def clear_from(self) -> NDArray[np.intp]:
        """Places on the grid from which a haze counts: a stream hazy at the first drop clears before."""
        clear = self.along < 0.0
        return np.asarray(np.where(clear.any(axis=1), np.argmax(clear, axis=1), clear.shape[1]))

    def margin(self, states: States, edge: int | NDArray[np.intp] = MIDDLE) -> Array:
        """Logarithm of the load of the stream, cubic between points of the grid; -1 where none counts."""
        grid, load, slope = self.flavours.carried.depletion, self.along, self._slopes
        k = np.clip(np.searchsorted(grid, states.depletion, side="right"), 1, grid.size - 1)
        h = grid[k] - grid[k - 1]
        t = (states.depletion - grid[k - 1]) / h
        rise = load[edge, k] - load[edge, k - 1]
        first, last = slope[edge, k - 1] * h - rise, rise - slope[edge, k] * h
        found = load[edge, k - 1] + t * (rise + (1.0 - t) * (first + t * (last - first)))
        return np.where(k > self.clear_from[edge], found, -1.0)

    def first(self) -> list[float | None]:
        """Depletions at which the stream clouds, once it has been clear; ``None`` if never worth telling."""
        grid, since = self.flavours.carried.depletion, self.clear_from[:, None]
        hazy = (self.along >= 0.0) & (np.arange(grid.size) >= since)
        edges = np.flatnonzero(hazy.any(axis=1))
        if not edges.size:
            return [None, None, None]
        k, every = np.argmax(hazy[edges], axis=1), np.arange(edges.size)
        low, high = grid[k - 1], grid[k]
        for _ in range(2):
            s = np.linspace(low, high, CLOSER, axis=1)
            states = self.flavours.course.at(s)
            margin = self.margin(states, edges[:, None])
            k = np.maximum(np.argmax(margin >= 0.0, axis=1), 1)
            low, high = s[every, k - 1], s[every, k]
        below, above = margin[every, k - 1], margin[every, k]
        at = low + (high - low) * below / (below - above)
        strong = states.stream_abv[every, k] >= NOISE_ABV
        found = dict(zip(edges.tolist(), np.where(strong, at, np.nan).tolist(), strict=True))
        return [None if math.isnan(found.get(edge, math.nan)) else found[edge] for edge in range(3)]

    def dissolved(self, by_row: Array, ethanol_l: float) -> Dissolved:
        """Letting down keeps the oil in each litre of pure alcohol, and only that decides."""
        return Dissolved(self.oils, by_row[self.row] / ethanol_l, self.believed)

    def limit(self, by_row: Array, ethanol_l: float, at_c: float) -> ClearLimit:
        """Strength down to which a spirit stays clear."""
        return clouding.pooled([self.dissolved(by_row, ethanol_l)], at_c=at_c)

    def taught_by_glass(self, by_row: Array, bottled: Bottled) -> Taught | None:
        """What a glass of this keep says, if one was seen to haze."""
        glass = bottled.glass
        if glass is None or glass.clouded_at is None:
            return None
        if glass.clouded_at > bottled.abv:
            values = {"given": glass.clouded_at, "allowed": bottled.abv, "of": "keep"}
            raise RangeError.of("too_strong", "clouded_at", **values)
        held, at_c = by_row[self.row] / bottled.ethanol_l, ROOM_C if glass.at_c is None else glass.at_c
        there = let_down(self.oils, held, PURE_ABV, glass.clouded_at, at_c=at_c)
        return self._learn(there)

    def taught_by_stream(self, glass: Glass | None) -> Taught | None:
        """What the stream says, if it was seen to haze."""
        if glass is None or glass.stream_hazy_at_l is None:
            return None
        collected_l = glass.stream_hazy_at_l
        course, depletion = self.flavours.course, self.flavours.carried.depletion
        most_l = float(self.flavours.carried.states.collected_l[-1])
        if collected_l >= most_l:
            raise RangeError.of("more_than_comes", "stream_hazy_at", given=collected_l, allowed=most_l)
        at = np.interp(collected_l, self.flavours.carried.states.collected_l, depletion)
        held = np.minimum(self._per_l[self.row], clouding.DENSEST_G_PER_L)
        there = np.array([np.interp(at, depletion, row) for row in held])[:, None]
        abv = np.asarray(course.at(np.array([at])).stream_abv)
        return self._learn(clouding.loads(self.oils, there, abv))

    def _learn(self, there: clouding.Load) -> Taught:
        return learn(there, self.believed.shift_log10, self.believed.knowing)

    def lines(self, by_row: Array, ethanol_l: float, abv: float, at_c: float) -> list[float]:
        """Share of each source in the load at a strength."""
        held = (by_row[self.row] / ethanol_l)[:, None] * abv / PURE_ABV
        part = clouding.loads(self.oils, held, np.array([abv]), at_c=at_c).part[:, 0]
        return [float(part[self.oils.lot == k].sum()) for k in range(1 + len(self.flavours.bill))]


class Batch(NamedTuple):
    """The oil of one batch by all that is known of it: what was seen of the batch itself is a measurement."""

    keep: Oil  # as let down
    stream: Oil  # as it runs
    whole: Array  # grams of each row of ``carried`` in the keep
    taught: Taught | None  # by the glass, or else by the stream

    @classmethod
    def of(cls, flavours: Flavours, bottled: Bottled) -> Batch:
        """Of what was seen in one of the two the other learns as another batch does."""
        oil, whole = Oil(flavours, bottled.believed), _by_row(flavours, bottled.spans)
        by_glass, by_stream = oil.taught_by_glass(whole, bottled), oil.taught_by_stream(bottled.glass)

        def knowing(own: Taught | None, other: Taught | None) -> Oil:
            if own is not None:
                return Oil(flavours, Believed(own.seen, "this batch"))
            return oil if other is None else Oil(flavours, Believed(other.seen, "another batch", other.seen))

        return cls(knowing(by_glass, by_stream), knowing(by_stream, by_glass), whole, by_glass or by_stream)


def poured(spirits: Sequence[tuple[Flavours, Bottled, float]], abv: float) -> LetDown | None:
    """Predict how spirits poured together look, each with its share of the alcohol; ``None`` without oil."""
    parts = []
    for flavours, bottled, share in spirits:
        if flavours.compound_ids and bottled.ethanol_l > 0.0:
            batch = Batch.of(flavours, bottled)
            held = batch.keep.dissolved(batch.whole, bottled.ethanol_l)
            parts.append(held._replace(g_per_l=held.g_per_l * share))
    if not parts or abv <= 0.0:
        return None
    room, chilled = (clouding.pooled(parts, at_c=at_c) for at_c in (ROOM_C, CHILLED_C))
    return LetDown(room, chilled, max(bottled.abv for _, bottled, _ in spirits), abv)


def cloud(flavours: Flavours, end: float, bottled: Bottled) -> Cloud | None:
    """Predict the cloud of a run; ``None`` where there is no oil or no alcohol to speak of."""
    if not flavours.compound_ids or bottled.ethanol_l <= 0.0:
        return None
    batch = Batch.of(flavours, bottled)
    oil, whole = batch.keep, batch.whole
    room, chilled = (oil.limit(whole, bottled.ethanol_l, at_c) for at_c in (ROOM_C, CHILLED_C))
    deciding = _deciding(room, chilled, bottled.target_abv)
    at = deciding.abv if 0.0 < deciding.abv < 100.0 else (bottled.target_abv or bottled.abv)
    shares = oil.lines(whole, bottled.ethanol_l, at, deciding.at_c)
    grams = float(whole[flavours.carried.rows.source > 0].sum())
    strength = bottled.target_abv or PURE_ABV
    return Cloud(
        room=room,
        chilled=chilled,
        stream=_stream(batch.stream, end),
        keep_abv=bottled.abv,
        target_abv=bottled.target_abv,
        oil_mg_per_l=1000.0 * grams * strength / 100.0 / bottled.ethanol_l,
        haze=_haze(oil, whole, bottled, room),
        blame=deciding.blame,
        by_line=tuple(shares),
        names=flavours.labels,
        remedies=_remedies(oil, bottled, whole, deciding),
        taught=batch.taught,
        shift=None if bottled.believed.knowing == "nothing" else bottled.believed.shift_log10,
    )


def to_dict(found: Cloud | None) -> dict[str, Any] | None:
    """Return a cloud as plain data; ``None`` where nothing ever clouds.

    ``clear_abv``, ``low_abv`` and ``high_abv`` are 0 where there is no strength at which it hazes, by the
    middle, the most hopeful and the most doubtful estimate, and 100 where it is hazy at any.
    """
    if found is None or found.never:
        return None
    stream, haze, taught = found.stream, found.haze, found.taught
    return {
        "bottle": {
            **_plain(found.room),
            "chilled": _plain(found.chilled),
            "verdict": found.verdict,
            "haze_mg_per_l": None if haze is None else haze.mg_per_l,
            "haze_of": {} if haze is None else haze.composition,
        },
        "stream": None
        if stream is None
        else {
            **stream._asdict(),
            "clears_l": None if stream.clears_l == math.inf else stream.clears_l,
        },
        "blame": found.blame,
        "blame_botanicals": {name or "base spirit": share for name, share in found.to_blame.items()},
        "oil_mg_per_l": found.oil_mg_per_l,
        "remedies": [
            {"kind": r.kind, "value": r.value, "botanical": r.botanical, **_plain(r.limit)}
            for r in found.remedies
        ],
        "shift": found.shift,
        "taught": plain(taught),
    }


def _plain(limit: ClearLimit) -> dict[str, float]:
    band = {"clear_abv": limit.abv, "low_abv": limit.low_abv, "high_abv": limit.high_abv}
    return {**band, "at_c": limit.at_c}


def _deciding(room: ClearLimit, chilled: ClearLimit, target_abv: float | None) -> ClearLimit:
    """The limit that matters: at room temperature, unless the bottle is clear there."""
    if target_abv is not None and target_abv > room.high_abv:
        return chilled
    return room


def _by_row(flavours: Flavours, spans: Sequence[Span]) -> Array:
    """Grams of each row of ``flavours.carried`` in the keep."""
    return np.asarray(flavours.over_by_row(spans).sum(axis=1))


def _stream(oil: Oil, end: float) -> Stream | None:
    course = oil.flavours.course
    found = oil.first()
    clear, depletion = int(oil.clear_from[MIDDLE]), oil.flavours.carried.depletion
    clears_l: float | None = math.inf
    if clear < depletion.size:
        clears_l = float(course.at(depletion[clear : clear + 1]).collected_l[0]) if clear else None
    if found[0] is None and clears_l is None:
        return None
    there = [None if at is None else course.at(np.array([at])) for at in found]
    volumes = [None if one is None else float(one.collected_l[0]) for one in there]
    strengths = [None if one is None else float(one.stream_abv[0]) for one in there]
    end_l = float(course.at(np.array([end])).collected_l[0])
    return Stream._make([*volumes, *strengths, clears_l, end_l])


def _haze(oil: Oil, whole: Array, bottled: Bottled, room: ClearLimit) -> Haze | None:
    """What is dispersed in the bottle, as if the shift were oil more or less."""
    if bottled.target_abv is None:
        return None
    shift = oil.believed.shift_log10
    held: dict[str, float] = {}
    litres = bottled.ethanol_l * 100.0 / bottled.target_abv
    for name, grams in zip(oil.oils.names, whole[oil.row].tolist(), strict=True):
        held[name] = held.get(name, 0.0) + min(grams / litres, clouding.DENSEST_G_PER_L) * 10.0**-shift
    found = clouding.haze(held, bottled.target_abv, at_c=room.at_c)
    return Haze(found.mg_per_l * 10.0**shift, found.visible, found.composition)


class _Remedies:
    """Tries remedies on a keep, and holds those that lower its limit by something."""

    def __init__(self, oil: Oil, limit: ClearLimit) -> None:
        self.oil, self.limit = oil, limit
        self.found: list[Remedy] = []

    def offer(
        self, kind: RemedyKind, value: float, by_row: Array, ethanol_l: float, name: str | None = None
    ) -> bool:
        """Whether what is left would stay clear further down."""
        if ethanol_l <= 0.0:
            return False
        after = self.oil.limit(by_row, ethanol_l, self.limit.at_c)
        if self.limit.abv - after.abv < WORTH_ABV:
            return False
        self.found.append(Remedy(kind, value, name, after))
        return True


def _remedies(oil: Oil, bottled: Bottled, whole: Array, limit: ClearLimit) -> tuple[Remedy, ...]:
    """What would help against a haze that may come, if it changes the limit by something."""
    target, flavours = bottled.target_abv, oil.flavours
    if target is None or target > limit.high_abv or limit.high_abv < NOISE_ABV:
        return ()
    tried = _Remedies(oil, limit)
    stronger = float(math.ceil(limit.high_abv))
    if target < stronger <= bottled.abv:
        tried.found.append(Remedy("bottle stronger", stronger, None, limit))
    spans, course = bottled.spans, flavours.course
    for dropped in range(1, 1 + len(spans) // 3):
        kept, left = spans[:-dropped], spans[-dropped:]
        lost_l = sum(between(course, *span).ethanol_l for span in left)
        if tried.offer("drop last jars", dropped, _by_row(flavours, kept), bottled.ethanol_l - lost_l):
            break
    if len(spans) > 1:
        first = between(course, *spans[0])
        heads_l = bottled.heads_l + first.volume_l
        rest = _by_row(flavours, spans[1:])
        tried.offer("larger heads", heads_l, rest, bottled.ethanol_l - first.ethanol_l)
    at = limit.abv if 0.0 < limit.abv < 100.0 else target
    shares = oil.lines(whole, bottled.ethanol_l, at, limit.at_c)[1:]
    if shares:
        line = int(np.argmax(shares))
        half = whole.copy()
        half[flavours.rows_of(line + 1)] *= 0.5
        name = flavours.labels[line]
        tried.offer("less of", 0.5, half, bottled.ethanol_l, name)
    return tuple(tried.found)
