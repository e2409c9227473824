"""How strongly a botanical can be noticed, by odour thresholds: a rough guide.

The measure is the sum of concentration over threshold of its compounds. The thresholds are those in water;
ethanol raises them tenfold and more, sources differ by as much, and compounds mask and strengthen each
other. So the size of the number says little; how it changes along a run says more, and that is what
`leading` goes by.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RangeError, UnknownNameError
from potsim.liquid.compounds import Compound, compound
from potsim.planning.botanicals import Level, ResolvedDose, Where, spelling, volatiles
from potsim.planning.charge import between
from potsim.planning.plan import Ingredient
from potsim.planning.release import release_term
from potsim.planning.stops import Klass, Passage, Timing, alcohol_over, passages, stream_l
from potsim.records import dataclass
from potsim.still.carry import Carried, Source, carry
from potsim.still.course import Course

if TYPE_CHECKING:
    from potsim.planning.run import Run


Array = NDArray[np.float64]

NOTICED = 10.0  # from which a botanical is counted: thresholds in water, raised tenfold by ethanol
UG_PER_G = 1e6


def activities(flavours: Flavours, spans: Sequence[Span]) -> Array:
    """Sum of concentration over odour threshold for each botanical."""
    rows = flavours.carried.rows
    thresholds = [compound(flavours.own.get(name, name)).odour_threshold for name in flavours.compound_ids]
    per_g = np.array([0.0 if t is None else UG_PER_G / t.ug_per_l for t in thresholds])
    noticed = flavours.over_by_row(spans) * per_g[rows.compound][:, None]
    volumes = np.array([between(flavours.course, start, end).volume_l for start, end in spans])
    lines = [noticed[flavours.rows_of(k + 1)].sum(axis=0) for k in range(len(flavours.bill))]
    return np.asarray(np.array(lines).reshape(len(lines), len(spans)) / volumes)


def leading(flavours: Flavours, spans: Sequence[Span], most: int = 3) -> tuple[tuple[str, ...], ...]:
    """Botanicals that mark each jar.

    Ranked by how far each stands above its own mean over all the jars given, not by size: by size the
    same two or three botanicals with a keenly smelt compound would lead every jar, while a taster wants
    to know what a jar has that its neighbours lack. Counted are those with an activity of 10 and more
    that stand above their mean; if none does, the one nearest to its mean.
    """
    found = activities(flavours, spans)
    names = labels(flavours)
    volumes = np.array([between(flavours.course, start, end).volume_l for start, end in spans])
    mean = found @ volumes / volumes.sum() if spans else np.zeros(len(names))
    marks = []
    for jar in found.T:
        above = {k: float(jar[k] / mean[k]) for k in range(len(names)) if jar[k] >= NOTICED}
        ranked = sorted(above, key=above.__getitem__, reverse=True)
        marked = [k for k in ranked if above[k] > 1.0] or ranked[:1]
        marks.append(tuple(names[k] for k in marked[:most]))
    return tuple(marks)


def labels(flavours: Flavours) -> tuple[str, ...]:
    """Common name of each line of the bill, with its place where the same botanical lies in both."""
    names = [dose.botanical.common_name for dose in flavours.bill]
    return tuple(
        name if names.count(name) == 1 else f"{name} ({dose.dose.where})"
        for name, dose in zip(names, flavours.bill, strict=True)
    )


# --- How much of the botanicals' oil is in each jar and in the keep.


def jars_mg_per_l(run: Run) -> Array:
    """Return the botanicals' oil in each jar.

    Yields differ between lots by a factor of two and more.
    """
    spans = [(jar.start_depletion, jar.end_depletion) for jar in run.jars]
    volumes = np.array([jar.volume_l for jar in run.jars])
    return np.asarray(1000.0 * _by_line(run, spans).sum(axis=0) / volumes)


def keep_mg_per_l(run: Run) -> float:
    """Return the botanicals' oil in the keep, as it is pooled [mg/L]; see `jars_mg_per_l`."""
    return 1000.0 * float(np.sum(kept_g(run))) / run.keep.volume_l


def kept_g(run: Run) -> Array:
    """Return how much of the oil of each botanical is in the keep."""
    return np.asarray(_by_line(run, run.kept_spans).sum(axis=1))


def _by_line(run: Run, spans: Sequence[Span]) -> Array:
    """Grams of each line of the bill in each span, shape (lines, spans)."""
    over = run.flavours.over_by_row(spans)
    lines = [over[run.flavours.rows_of(k + 1)].sum(axis=0) for k in range(len(run.bill))]
    return np.array(lines).reshape(len(lines), len(spans))


# --- Where each botanical comes over: its compounds followed through a run.


Span = tuple[float, float]


@dataclass(frozen=True)
class Flavours:
    """Trace compounds of a run; iterates over its botanicals in the order in which they come over."""

    course: Course  # the run
    bill: tuple[ResolvedDose, ...]  # the botanicals
    # every compound of the base spirit (source 0) and of each line of the bill (sources 1 and up)
    carried: Carried
    alcohol_over: float  # depletion at which 99 % of the alcohol is over; of the charge, if it is water
    own: Mapping[str, Compound] = field(default_factory=dict)  # compounds that the library lacks

    def __iter__(self) -> Iterator[BotanicalFlavour]:
        return iter(self.botanicals)

    def __len__(self) -> int:
        return len(self.bill)

    @property
    def compound_ids(self) -> tuple[str, ...]:
        """Every compound followed, each once."""
        return self.carried.compound_ids

    @cached_property
    def botanicals(self) -> tuple[BotanicalFlavour, ...]:
        """One for each line of the bill, by when half is over; those that stay come last."""
        held = self.carried.in_plant(self.alcohol_over).tolist()
        found = [self._botanical(k, dose, held[k + 1]) for k, dose in enumerate(self.bill)]
        found.sort(key=lambda pair: (pair[1].klass == "stays", pair[0]))
        return tuple(flavour for _, flavour in found)

    @cached_property
    def base(self) -> tuple[CompoundFlavour, ...]:
        """The volatiles that were in the charge, in the order given."""
        return tuple(self._compounds(0))

    def rows_of(self, source: int) -> NDArray[np.intp]:
        """Rows of `carried` of one source: 0 is the base spirit, k + 1 line k of the bill."""
        return np.flatnonzero(self.carried.rows.source == source)

    def rows_called(self, name: str) -> NDArray[np.intp]:
        """Rows of `carried` of a botanical, by any of its names."""
        meant = [
            k
            for k, dose in enumerate(self.bill)
            if spelling(name) in {spelling(known) for known in (dose.dose.name, *dose.botanical.names)}
        ]
        if not meant:
            raise UnknownNameError(
                "botanical of this bill", name, [d.botanical.common_name for d in self.bill]
            )
        return np.concatenate([self.rows_of(k + 1) for k in meant])

    def over_by_row(self, spans: Sequence[Span]) -> Array:
        """What is collected of each row of `carried` in each span [g], shape (rows, spans)."""
        edges = np.array(spans, dtype=float).reshape(-1, 2)
        got = (1.0 - self.course.still.lost) * self.carried.rows.amount[:, None]
        over = self.carried.at(edges.ravel()).over * got
        return np.asarray(over[:, 1::2] - over[:, ::2])

    def over_g(self, spans: Sequence[Span]) -> dict[str, float]:
        """What comes over of each compound in all spans together, all sources together."""
        return self.by_compound(self.over_by_row(spans).sum(axis=1))

    def by_compound(self, by_row: Array) -> dict[str, float]:
        """Grams of rows of `carried`, shape (rows,), added up for each compound."""
        return dict(zip(self.compound_ids, self._by_compound(by_row[:, None])[:, 0].tolist(), strict=True))

    def jars_g(self, spans: Sequence[Span]) -> tuple[dict[str, float], ...]:
        """What comes over of each compound in each span apart, as `over_g` [g]."""
        columns = self._by_compound(self.over_by_row(spans)).T.tolist()
        return tuple(dict(zip(self.compound_ids, column, strict=True)) for column in columns)

    def stream_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Concentration of each compound in the stream."""
        s = np.asarray(depletion, dtype=float)
        grams = self._by_compound(self.carried.rate(s) * self.carried.rows.amount[:, None])
        return dict(zip(self.compound_ids, grams / stream_l(self.course.at(s)), strict=True))

    def pot_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Concentration of each compound in the pot."""
        s = np.asarray(depletion, dtype=float)
        grams = self._by_compound(self.carried.at(s).in_pot * self.carried.rows.amount[:, None])
        return dict(zip(self.compound_ids, grams / self.course.at(s).pot_l, strict=True))

    def rate_g_per_10_ml(self, depletion: Array) -> Array:
        """How strongly each botanical comes over."""
        s = np.asarray(depletion, dtype=float)
        grams = self.carried.rate(s) * self.carried.rows.amount[:, None]
        lines = [grams[self.rows_of(k + 1)].sum(axis=0) for k in range(len(self.bill))]
        return np.array(lines).reshape(len(lines), s.size) / stream_l(self.course.at(s)) * 0.01

    def to_dict(self) -> list[dict[str, Any]]:
        """What ``potsim run --json`` prints under ``flavours``."""
        return [plain_botanical(flavour) for flavour in self.botanicals]

    def _by_compound(self, by_row: Array) -> Array:
        total = np.zeros((len(self.carried.rows.compounds), by_row.shape[1]))
        np.add.at(total, self.carried.rows.compound, by_row)
        return total

    @cached_property
    def _passages(self) -> tuple[Passage, ...]:
        """One for each row, then one for each line of the bill."""
        groups = [self.rows_of(k + 1) for k in range(len(self.bill))]
        return passages(self.carried, groups, self.alcohol_over)

    def _botanical(self, line: int, dose: ResolvedDose, held: float) -> tuple[float, BotanicalFlavour]:
        whole = self._passages[self.carried.rows.amount.size + line]
        fixed = [
            self._compound(name, Passage.none(grams, held)) for name, grams in dose.non_volatile_g.items()
        ]
        flavour = BotanicalFlavour(
            line=line,
            botanical_id=dose.botanical.id,
            botanical=dose.botanical.common_name,
            where=dose.dose.where,
            klass=whole.klass,
            timing=whole.timing,
            releasable_g=whole.releasable_g,
            over_g=whole.over_g,
            left_in_pot=whole.left_in_pot,
            left_in_plant=whole.left_in_plant,
            unlisted_oil_g=dose.unlisted_oil_g,
            compounds=(*self._compounds(line + 1), *fixed),
        )
        return whole.half_share, flavour

    def _compounds(self, source: int) -> list[CompoundFlavour]:
        names, rows = self.compound_ids, self.carried.rows
        return [
            self._compound(names[rows.compound[row]], self._passages[row]) for row in self.rows_of(source)
        ]

    def _compound(self, name: str, passage: Passage) -> CompoundFlavour:
        known = self.own.get(name) or compound(name)
        threshold = known.odour_threshold
        return CompoundFlavour(
            compound_id=name,
            name=known.name,
            odour=known.odour,
            klass=passage.klass,
            timing=passage.timing,
            releasable_g=passage.releasable_g,
            over_g=passage.over_g,
            left_in_pot=passage.left_in_pot,
            left_in_plant=passage.left_in_plant,
            odour_threshold_ug_per_l=None if threshold is None else threshold.ug_per_l,
            route=known.route,
            expected_factor=known.expected_factor,
        )


def predict(
    course: Course,
    bill: Sequence[ResolvedDose],
    in_charge: Mapping[str, float] | None = None,
    own: Mapping[str, Compound] | None = None,
    level: Level = "typical",
) -> Flavours:
    """Follow the compounds of a bill and of the charge through a run.

    Release counts from the first drop; what maceration has moved into the liquid is there at the start.
    Limits of the model: dilute oil (see `potsim.planning.cautions` for a film of oil on the pot), one rate
    of release for all compounds of a botanical, nothing formed or lost by heat. On a foreign still the
    order is worth more than the volumes.
    """
    terms = [release_term(dose, level) for dose in bill]
    sources = [Source(in_charge or {})] + [
        Source(t.oil_g, t.share_in_liquid, t.rate_per_s, t.where == "basket") for t in terms
    ]
    known, end = own or {}, alcohol_over(course)
    return Flavours(course, tuple(bill), carry(course, sources, known, [end]), end, known)


def base_to_dict(flavours: Flavours) -> list[dict[str, Any]]:
    """What ``potsim run --json`` prints of the base spirits' own volatiles."""
    return [plain_compound(one) for one in flavours.base]


# --- What one line of the bill does over a run, as a whole and compound by compound.


@dataclass(frozen=True)
class CompoundFlavour:
    """One compound of one botanical, or of the base spirit."""

    compound_id: str  # what it is and what it smells of
    name: str  # what it is and what it smells of
    odour: str  # what it is and what it smells of
    klass: Klass  # when it comes over, see `potsim.planning.stops`
    timing: Timing | None  # start, peak and end; None for what stays
    releasable_g: float  # what the source holds of it, and what of that is over with 99 % of the alcohol [g]
    over_g: float  # what the source holds of it, and what of that is over with 99 % of the alcohol [g]
    # share of the releasable amount not over by then, and the part of that still in the plant; 0 to 1
    left_in_pot: float
    # share of the releasable amount not over by then, and the part of that still in the plant; 0 to 1
    left_in_plant: float
    # least concentration noticed in water [µg/L], a rough guide; None when none is known
    odour_threshold_ug_per_l: float | None
    route: str  # how its volatility was found
    expected_factor: float  # expected error of the volatility: 2 means between half and double


@dataclass(frozen=True)
class BotanicalFlavour:
    """One line of the bill; the volatile oil as a whole and each compound."""

    line: int  # which line of the bill, from 0
    botanical_id: str  # what it is
    botanical: str  # what it is
    where: Where  # where it lies
    klass: Klass  # when its oil comes over, see `potsim.planning.stops`
    timing: Timing | None  # start, peak and end; None for what stays
    # oil whose compounds are followed, and what of that is over with 99 % of the alcohol [g]
    releasable_g: float
    over_g: float  # oil whose compounds are followed, and what of that is over with 99 % of the alcohol [g]
    # share of the releasable oil not over by then, and the part of that still in the plant; 0 to 1
    left_in_pot: float
    # share of the releasable oil not over by then, and the part of that still in the plant; 0 to 1
    left_in_plant: float
    unlisted_oil_g: float  # oil of unknown composition, which is not followed [g]
    compounds: tuple[CompoundFlavour, ...]  # in the order of the composition, what is not volatile last


def plain_compound(one: CompoundFlavour) -> dict[str, Any]:
    """Return a compound as plain data for programs."""
    return {
        "compound": one.compound_id,
        "name": one.name,
        "odour": one.odour,
        **_when(one),
        "expected_factor": one.expected_factor,
    }


def plain_botanical(flavour: BotanicalFlavour) -> dict[str, Any]:
    """Return a botanical as plain data for programs; start, peak and end are left out for what stays."""
    return {
        "botanical": flavour.botanical,
        "where": flavour.where,
        **_when(flavour),
        "unlisted_oil_g": flavour.unlisted_oil_g,
        "compounds": [plain_compound(one) for one in flavour.compounds],
    }


def _when(flavour: BotanicalFlavour | CompoundFlavour) -> dict[str, Any]:
    timing = flavour.timing
    return {
        "class": flavour.klass,
        **({} if timing is None else asdict(timing)),
        "releasable_g": flavour.releasable_g,
        "over_g": flavour.over_g,
        "left_in_pot": flavour.left_in_pot,
        "left_in_plant": flavour.left_in_plant,
    }


# --- What a heads cut takes away of the base spirit's own volatiles, and what it costs in alcohol.


@dataclass(frozen=True)
class HeadsCut:
    """A heads cut of one size."""

    heads_l: float  # its volume [L at 20 °C] and strength [% vol]
    abv: float  # its volume [L at 20 °C] and strength [% vol]
    ethanol_l: float  # pure alcohol in it [L at 20 °C], and that as a share of the alcohol charged, 0 to 1
    # pure alcohol in it [L at 20 °C], and that as a share of the alcohol charged, 0 to 1
    ethanol_share: float
    # compound id to the share of it that the cut takes, of all in the charge, 0 to 1
    taken: Mapping[str, float]


def in_charge(parts: Sequence[Ingredient], level: Level = "typical") -> dict[str, float]:
    """Return what the base spirits of a charge bring of each volatile."""
    total: dict[str, float] = {}
    for part in parts:
        for name, grams in volatiles(part.kind, part.volume_l * part.abv / 100.0, level).items():
            total[name] = total.get(name, 0.0) + grams
    return total


def heads_table(flavours: Flavours, heads_l: Sequence[float]) -> tuple[HeadsCut, ...]:
    """Return what heads cuts of several sizes take.

    Only what was in the charge is counted, not the botanicals. Methanol is no heads compound: from a
    charge of usual strength a heads cut takes about as much of it as of the alcohol.
    """
    return tuple(_cut(flavours, volume) for volume in heads_l)


def _cut(flavours: Flavours, volume_l: float) -> HeadsCut:
    course = flavours.course
    at = course.first(lambda states: states.collected_l - volume_l) if volume_l > 0.0 else None
    if at is None:
        most = float(course.at(flavours.carried.depletion[-1:]).collected_l[0])
        raise RangeError("heads", f"{volume_l:g} L", f"more than 0 and at most {most:.3g} L", "Take less.")
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
