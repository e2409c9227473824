"""Where each botanical comes over, how much of it, and who is noticed: its compounds followed through a run.

A rough guide: yields and compositions differ between lots by a factor of two and more, pieces and their fat
are known to a factor of two, volatilities are off by the factor given with each compound. It says where a
compound comes over, not whether it is pleasant.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import UnknownNameError
from potsim.liquid import strength
from potsim.liquid.compounds import Compound, compound
from potsim.planning import release
from potsim.planning.botanicals import Level, ResolvedDose, labels, lines_called
from potsim.planning.charge import between
from potsim.planning.release import Band, BotanicalFlavour, Class, CompoundFlavour, Klass, Noticed, Passage
from potsim.records import dataclass
from potsim.still.carry import Carried, carry
from potsim.still.course import Course, Rising, States
from potsim.still.escape import Source, escape, refuse_strong

if TYPE_CHECKING:
    from potsim.planning.jars import Jar
    from potsim.planning.run import Run

Array = NDArray[np.float64]
Span = tuple[float, float]

MARKS = np.array([0.05, 0.5, 0.95])  # of what is over by the stop: start, half and end
FADED = 0.95  # of what a botanical gives with 99 % of the alcohol, from which on it has faded
# Ends of speed and of the share at hand, which leaves last where a piece is ground fine; the fat counts once.
ROUGHLY: tuple[tuple[tuple[Level, Level], bool], ...] = (
    (("low", "low"), True),
    (("low", "high"), False),
    (("high", "low"), False),
    (("high", "high"), False),
)
COARSE = 16  # steps of the run by which a band is found, good to a thousandth


@dataclass(frozen=True)
class Cut:
    """What of a run is looked at."""

    end: float  # depletion at the stop
    heads_end: float  # depletion at which the heads end
    jars: tuple[Span, ...]  # depletions at which each jar begins and ends
    jars_l: tuple[float, ...]  # volume of each jar [L at 20 °C]
    kept: tuple[int, ...]  # places among the jars of those that are pooled
    bottle_l: float  # what the keep is let down to [L at 20 °C]; 0 if nothing is kept


@dataclass(frozen=True)
class Flavours:
    """Trace compounds of a run; iterates over its botanicals in the order in which they come over."""

    course: Course  # the run
    bill: tuple[ResolvedDose, ...]  # the botanicals
    sources: tuple[Source, ...]  # the base spirit (source 0) and each line of the bill (sources 1 and up)
    in_charge: Mapping[str, float]  # compound id to grams of the base spirit's own
    alcohol_over: float  # depletion at which 99 % of the alcohol is over; of the charge, if it is water
    cut: Cut  # stop, heads, keep and bottle
    own: Mapping[str, Compound] = field(default_factory=dict)  # compounds that the library lacks

    def __iter__(self) -> Iterator[BotanicalFlavour]:
        return iter(self.botanicals)

    def __len__(self) -> int:
        return len(self.bill)

    def __getitem__(self, which: int | str) -> BotanicalFlavour:
        """One of them by its place in the bill, or by any of its names."""
        if isinstance(which, str):
            which = self.lines_called(which)[0]
        return self.botanicals[which]

    def cut_at(self, cut: Cut) -> Flavours:
        """Return the same run, looked at up to a stop."""
        there = replace(self, cut=cut)
        if "carried" in vars(self):  # followed once, and not again
            vars(there)["carried"] = self.carried.holding(there._edges)
        return there

    @cached_property
    def carried(self) -> Carried:
        """Every compound of every source, followed along the run when first asked for."""
        return carry(self.course, self.sources, self.own, [self.cut.end]).holding(self._edges)

    def refuse(self) -> None:
        """Refuse unknown compounds, and pot or reflux stronger than volatilities are known for, 96 % vol."""
        names = {name for one in self.sources for name in one.amounts}
        for name in names.difference(self.own):
            compound(name)
        if names:
            refuse_strong(self.course.at(np.array([leg.from_depletion for leg in self.course.legs])))

    @property
    def _edges(self) -> tuple[float, ...]:
        """Depletions that will be asked for."""
        cut = self.cut
        return (0.0, cut.heads_end, cut.end, self.alcohol_over, *itertools.chain(*cut.jars))

    @property
    def compound_ids(self) -> tuple[str, ...]:
        """Every compound followed, each once."""
        return self.carried.compound_ids

    @cached_property
    def botanicals(self) -> tuple[BotanicalFlavour, ...]:
        """One for each line of the bill, by when half is over; those that stay come last."""
        found = [self._botanical(k) for k in range(len(self.bill))]
        return tuple(sorted(found, key=lambda one: (one.passage is None, one.passage and one.passage.half_l)))

    @cached_property
    def base(self) -> tuple[CompoundFlavour, ...]:
        """The volatiles that were in the charge, in the order given."""
        names = [self.compound_ids[c] for c in self.carried.rows.compound[self.rows_of(0)]]
        told = release.dissolved(names, self.course.charge_x, self.own) if names else ()
        return tuple(self._compounds(0, dict(zip(names, told, strict=True))))

    @cached_property
    def classes(self) -> tuple[Class, ...]:
        """Class of each line of the bill, from the reference run."""
        return release.classes([dose.botanical for dose in self.bill], self.course.charge_x, self.own)

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """What each line of the bill is called."""
        return labels(self.bill)

    @property
    def collected(self) -> float:
        """Share of what passes the neck that is collected and not lost, 0 to 1."""
        return 1.0 - self.course.still.lost

    @cached_property
    def groups(self) -> tuple[str, ...]:
        """Group of flavour of each row of `carried`."""
        each = [(self.own.get(name) or compound(name)).group for name in self.compound_ids]
        return tuple(each[c] for c in self.carried.rows.compound)

    @cached_property
    def _of_source(self) -> Array:
        """What adds rows of `carried` up by source, shape (sources, rows)."""
        return np.asarray(np.arange(len(self.bill) + 1)[:, None] == self.carried.rows.source, dtype=float)

    @cached_property
    def _of_compound(self) -> Array:
        """What adds rows of `carried` up by compound, shape (compounds, rows)."""
        rows = self.carried.rows
        return np.asarray(np.arange(len(rows.compounds))[:, None] == rows.compound, dtype=float)

    def rows_of(self, source: int) -> NDArray[np.intp]:
        """Rows of `carried` of one source: 0 is the base spirit, k + 1 line k of the bill."""
        return np.flatnonzero(self._of_source[source])

    def rows_called(self, name: str) -> NDArray[np.intp]:
        """Rows of `carried` of a botanical, by any of its names."""
        return np.concatenate([self.rows_of(k + 1) for k in self.lines_called(name)])

    def lines_called(self, name: str) -> list[int]:
        """Lines of the bill of a botanical, by any of its names; refused if there is none."""
        meant = lines_called(self.bill, name)
        if not meant:
            raise UnknownNameError("bill", name, self.labels)
        return meant

    def over_by_row(self, spans: Sequence[Span]) -> Array:
        """What is collected of each row of `carried` in each span [g], shape (rows, spans)."""
        edges = np.array(spans, dtype=float).reshape(-1, 2)
        over = self.carried.at(edges.ravel()).over * self.collected * self.carried.rows.amount[:, None]
        return np.asarray(over[:, 1::2] - over[:, ::2])

    def over_g(self, spans: Sequence[Span]) -> dict[str, float]:
        """Compound id to grams over in spans of depletion; spans that follow on each other add up exactly."""
        return self.by_compound(self.over_by_row(spans).sum(axis=1))

    def by_compound(self, by_row: Array) -> dict[str, float]:
        """Grams of rows of `carried`, shape (rows,), added up for each compound."""
        return dict(zip(self.compound_ids, self._by_compound(by_row[:, None])[:, 0].tolist(), strict=True))

    def by_line(self, by_row: Array) -> Array:
        """Rows of `carried`, shape (rows, ...), added up for each line of the bill, shape (lines, ...)."""
        return np.asarray(self._of_source[1:] @ by_row)

    def jars_g(self, spans: Sequence[Span]) -> tuple[dict[str, float], ...]:
        """What comes over of each compound in each span apart, as `over_g` [g]."""
        columns = self._by_compound(self.over_by_row(spans)).T.tolist()
        return tuple(dict(zip(self.compound_ids, column, strict=True)) for column in columns)

    def stream_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Compound id to grams in a litre of stream at 20 °C, at points of the run."""
        return dict(zip(self.compound_ids, self._by_compound(self.stream_by_row(depletion)), strict=True))

    def stream_by_row(self, depletion: Array) -> Array:
        """Concentration of each row of `carried` in the stream [g/L at 20 °C], shape (rows, m)."""
        s = np.asarray(depletion, dtype=float)
        grams = self.carried.rate(s) * self.carried.rows.amount[:, None]
        return np.asarray(grams / stream_l(self.course.at(s)))

    def pot_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Compound id to grams in a litre of the pot's liquid at 20 °C, what its fat holds included."""
        s = np.asarray(depletion, dtype=float)
        grams = self._by_compound(self.carried.at(s).in_pot * self.carried.rows.amount[:, None])
        return dict(zip(self.compound_ids, grams / self.course.at(s).pot_l, strict=True))

    @cached_property
    def per_g(self) -> Array:
        """Times-threshold of a gram of each row in a litre, shape (rows,); 0 where no threshold is known."""
        return np.asarray(release.per_gram(self.compound_ids, self.own)[self.carried.rows.compound])

    @cached_property
    def jars_by_row(self) -> Array:
        """What comes over of each row of `carried` into each jar [g], shape (rows, jars)."""
        return self.over_by_row(self.cut.jars)

    @cached_property
    def times_threshold(self) -> Array:
        """Sum of concentration over odour threshold of each botanical in each jar, shape (lines, jars).

        In the order of ``bill``; 0 where no compound has a known threshold.
        """
        return np.asarray(self.by_line(self.jars_by_row * self.per_g[:, None]) / np.array(self.cut.jars_l))

    @cached_property
    def in_bottle(self) -> Array:
        """Times-threshold of each line of the bill in the bottle, shape (lines,)."""
        if self.cut.bottle_l <= 0.0:
            return np.zeros(len(self.bill))
        return np.asarray(self.by_line(self.kept_by_row * self.per_g) / self.cut.bottle_l)

    @cached_property
    def noticed(self) -> tuple[Noticed, ...]:
        """How each line of the bill is noticed in the bottle."""
        return tuple(release.noticed(self.in_bottle).tolist())

    @cached_property
    def leads(self) -> tuple[tuple[str, ...], ...]:
        """Botanicals that lead each jar by size, most first."""
        return self._named(release.leaders(self.times_threshold))

    @cached_property
    def marks(self) -> tuple[tuple[str, ...], ...]:
        """Botanicals that mark each jar, most first: what it has more of than the run as a whole."""
        volumes = np.array(self.cut.jars_l)
        mean = self.times_threshold @ volumes / (volumes.sum() or 1.0)
        return self._named(release.marks(self.times_threshold, mean))

    def _named(self, jars: list[list[int]]) -> tuple[tuple[str, ...], ...]:
        return tuple(tuple(self.labels[k] for k in lines) for lines in jars)

    @cached_property
    def faded(self) -> float | None:
        """Depletion from which all that lead or are clear have given nearly all; None if none does.

        The late class is left out: it fades only with the water. There is no band: it jumps when a threshold
        or an oil content, known to a factor of three, lets another botanical be clear.
        """
        counted = [
            k
            for k, one in enumerate(self.classes)
            if self.noticed[k] in ("leads", "clear") and one.klass in ("early", "middle")
        ]
        if not counted:
            return None
        total = self.lines_over(np.array([self.alcohol_over]))
        return float(self.lines_over.reaches(FADED * total)[counted].max())

    @cached_property
    def lines_over(self) -> Rising:
        """What has passed the neck of each line of the bill [g], along the run."""
        grams, grid = self.carried.rows.amount[:, None], self.carried.grid
        curves = (self.by_line(grams * each) for each in (grid.over, self.carried.grid_rate))
        return Rising(self.carried.depletion, *curves)

    def to_dict(self) -> list[dict[str, Any]]:
        """What ``potsim run --json`` prints under ``flavours``."""
        return [release.plain_botanical(flavour) for flavour in self.botanicals]

    def _by_compound(self, by_row: Array) -> Array:
        return np.asarray(self._of_compound @ by_row)

    @cached_property
    def kept_g(self) -> Array:
        """Oil of each line of the bill in the keep [g], shape (lines,)."""
        return self.by_line(self.kept_by_row)

    @cached_property
    def kept_by_row(self) -> Array:
        """What of each row of `carried` is kept [g], shape (rows,)."""
        return np.asarray(self.jars_by_row[:, list(self.cut.kept)].sum(axis=1))

    @cached_property
    def _shares(self) -> Array:
        """Shares over by the heads' end, the stop and 99 % of the alcohol; in plant, in pot; (5, rows)."""
        there = self.carried.at(np.array([self.cut.heads_end, self.cut.end, self.alcohol_over]))
        return np.vstack([self.collected * there.over.T, there.in_plant[:, 1], there.in_pot[:, 1]])

    @cached_property
    def _bands(self) -> tuple[Array, Array]:
        """Least and most of each line's oil that is over by the stop, as a share, shape (lines,) each.

        Of what a piece has released, the share that is still in the pot is taken to the power of the expected
        factor of the volatility, and of one over it: right for what is dissolved at the first drop. What the
        neck turns back counts the volatility once more.
        """
        lies = [release.soaks(dose, heats) for heats in [release.heat_up(self.course)] for dose in self.bill]
        tried = [
            release.source(*each, levels, holds_back)
            for levels, holds_back in ROUGHLY
            for each in zip(self.bill, lies, strict=True)
        ]
        carried = carry(self.course, tried, self.own, [self.cut.end], steps=COARSE)  # in one pot
        there = carried.at(np.array([self.cut.end]))
        free = 1.0 - there.in_plant[:, 0]
        stays = np.clip(there.in_pot[:, 0] / np.where(free > 0.0, free, 1.0), 0.0, 1.0)
        known = [self.own.get(name) or compound(name) for name in carried.compound_ids]
        along = self.course.at(np.linspace(0.0, self.cut.end, COARSE))
        back = 1.0 - escape(carried.rows.compounds, along, carried.rows.pressure_pa).past_neck.min(axis=0)
        factor = np.array([one.expected_factor for one in known]) ** (1.0 + back)
        factor = factor[carried.rows.compound]
        weight = self.collected * np.tile(self._weight[self.carried.rows.source > 0], len(ROUGHLY)) * free
        least, most = (
            np.bincount(carried.rows.source, weight * (1.0 - stays**power), len(tried))
            for power in (1.0 / factor, factor)
        )
        return least.reshape(len(ROUGHLY), -1).min(axis=0), most.reshape(len(ROUGHLY), -1).max(axis=0)

    @cached_property
    def _weight(self) -> Array:
        """Share of each row in the oil of its source; by the composition where nothing is dosed."""
        rows, weight = self.carried.rows, self.carried.rows.amount.copy()
        for k, dose in enumerate(self.bill):
            mine = self.rows_of(k + 1)
            if not weight[mine].any():
                weight[mine] = [s.pct.typical for s in dose.botanical.composition if s.basis == "oil"]
            weight[mine] /= weight[mine].sum() or 1.0
        weight[rows.source == 0] = 1.0
        return weight

    @cached_property
    def _passages(self) -> tuple[Passage, ...]:
        """One for each row, then one for each line of the bill."""
        carried, end, weight = self.carried, self.cut.end, self._weight[:, None]
        last = carried.at(np.array([end])).over
        columns = np.concatenate([last, carried.grid.over, carried.grid_rate], axis=1) * weight
        columns = np.concatenate([columns, self.by_line(columns)])
        curve, rate = np.split(columns[:, 1:], 2, axis=1)
        at = Rising(carried.depletion, curve, rate).reaches(columns[:, :1] * MARKS)
        litres = self.course.at(np.append(np.minimum(at, end).ravel(), end)).collected_l
        marks = litres[:-1].reshape(-1, MARKS.size)
        n = max(int(np.searchsorted(carried.depletion, end, side="right")), 3)
        held = rate[:, :n] / stream_l(carried.states)[:n]
        peak = peaks(carried.collected_l[:n], held, float(litres[-1]))
        return tuple(
            Passage(start, half, top, finish)
            for (start, half, finish), top in zip(marks.tolist(), peak.tolist(), strict=True)
        )

    @cached_property
    def _of_lines(self) -> list[list[float]]:
        """Of each line: shares as in `_shares`; grams releasable, kept, kept without a threshold; a band."""
        grams = (
            self.carried.rows.amount,
            self.kept_by_row,
            np.where(self.per_g > 0.0, 0.0, self.kept_by_row),
        )
        by_row = np.vstack([self._shares * self._weight, *grams])
        told: list[list[float]] = np.vstack([self.by_line(by_row.T).T, *self._bands]).T.tolist()
        return told

    def _botanical(self, line: int) -> BotanicalFlavour:
        dose, told = self.bill[line], self.classes[line]
        heads, over, in_all, plant, pot, releasable, total, unknown, low, high = self._of_lines[line]
        fixed = [self._fixed(name, grams, plant) for name, grams in dose.non_volatile_g.items()]
        return BotanicalFlavour(
            line=line,
            botanical_id=dose.botanical.id,
            botanical=self.labels[line],
            where=dose.dose.where,
            klass=told.klass,
            half_share=told.half_share,
            passage=None if told.klass == "stays" else self._passages[self._weight.size + line],
            releasable_g=releasable,
            over_g=over * releasable,
            gives_up=Band(over, min(low, over), max(high, over)),
            in_heads=min(heads, over),
            in_keep=total / releasable if releasable > 0.0 else 0.0,
            left_in_plant=plant,
            left_in_pot=pot,
            lost=max(1.0 - plant - pot - over, 0.0),
            later=max(in_all - over, 0.0),
            noticed=self.noticed[line],
            times_threshold=float(self.in_bottle[line]),
            without_threshold=unknown / total if total > 0.0 else 0.0,
            unlisted_oil_g=dose.unlisted_oil_g,
            compounds=(*self._compounds(line + 1, told.compounds), *fixed),
        )

    @cached_property
    def _of_rows(self) -> list[tuple[str, float, list[float]]]:
        """Of each row its compound, grams and shares as in `_shares`."""
        rows = self.carried.rows
        names = [self.compound_ids[k] for k in rows.compound.tolist()]
        return list(zip(names, rows.amount.tolist(), self._shares.T.tolist(), strict=True))

    def _compounds(self, source: int, told: Mapping[str, Class]) -> list[CompoundFlavour]:
        found = []
        for row in self.rows_of(source).tolist():
            name, amount, (_, over, _, plant, pot) = self._of_rows[row]
            klass = told[name].klass
            passage = None if klass == "stays" else self._passages[row]
            found.append(self._compound(name, klass, passage, amount, over * amount, plant, pot))
        return found

    def _fixed(self, name: str, grams: float, plant: float) -> CompoundFlavour:
        """A compound that does not evaporate; taken to leave the plant as the oil does."""
        return self._compound(name, "stays", None, grams, 0.0, plant, 1.0 - plant)

    def _compound(
        self,
        name: str,
        klass: Klass,
        passage: Passage | None,
        grams: float,
        over_g: float,
        plant: float,
        pot: float,
    ) -> CompoundFlavour:
        known = self.own.get(name) or compound(name)
        threshold = known.odour_threshold
        return CompoundFlavour(
            compound_id=name,
            name=known.name,
            odour=known.odour,
            group=known.group,
            klass=klass,
            passage=passage,
            releasable_g=grams,
            over_g=over_g,
            left_in_plant=plant,
            left_in_pot=pot,
            odour_threshold_ug_per_l=None if threshold is None else threshold.ug_per_l,
            route=known.route,
            expected_factor=known.expected_factor,
        )


def predict(
    course: Course,
    bill: Sequence[ResolvedDose],
    in_charge: Mapping[str, float] | None = None,
    own: Mapping[str, Compound] | None = None,
    levels: tuple[Level, Level] = ("typical", "typical"),
    holds_back: bool = True,
) -> Flavours:
    """Follow the compounds of a bill and of the charge through a run, to 99 % of the alcohol, all of it kept.

    Release counts from the maceration through the heat-up to the boil. Limits of the model: dilute oil,
    pieces of one size, nothing formed or lost by heat.
    """
    known, base, end = own or {}, in_charge or {}, release.alcohol_over(course)
    sources = _sources(course, bill, base, levels, holds_back)
    whole_l = between(course, 0.0, end).volume_l
    cut = Cut(end, 0.0, ((0.0, end),), (whole_l,), (0,), whole_l)
    return Flavours(course, tuple(bill), tuple(sources), base, end, cut, known)


def _sources(
    course: Course,
    bill: Sequence[ResolvedDose],
    in_charge: Mapping[str, float],
    levels: tuple[Level, Level],
    holds_back: bool = True,
) -> list[Source]:
    heats = release.heat_up(course)
    lies = ((dose, release.soaks(dose, heats)) for dose in bill)
    return [Source(in_charge), *(release.source(*each, levels, holds_back) for each in lies)]


def peaks(litres: Array, held: Array, end_l: float) -> Array:
    """Where each stream holds most up to an end: at what is pooled by then, or between, by a parabola.

    ``litres`` are points of shape (n,), at least three; ``held`` what it holds there, (rows, n).
    """
    top = np.argmax(held, axis=1)
    inside = np.clip(top, 1, litres.size - 2)
    every = np.arange(len(held))
    x = [litres[inside + k] for k in (-1, 0, 1)]
    y = [held[every, inside + k] for k in (-1, 0, 1)]
    rise, fall = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
    bend = (fall - rise) / (x[2] - x[0])
    # Vertex of the parabola through the highest point and its neighbours.
    vertex = 0.5 * (x[0] + x[1]) - 0.5 * rise / np.where(bend < 0.0, bend, -1.0)
    refined = np.where(bend < 0.0, np.clip(vertex, x[0], x[2]), x[1])
    last = litres.size - 1
    return np.minimum(np.where(top == 0, 0.0, np.where(top == last, end_l, refined)), end_l)


def stream_l(states: States) -> Array:
    """Litres at 20 °C that come over for each unit of depletion."""
    x = states.stream_x
    return np.asarray(states.pot_mol * np.asarray(strength.volume_from_moles(x, 1.0 - x)))


def rows_by_jar(of: Flavours, jars: Sequence[Jar]) -> list[dict[str, Any]]:
    """What comes over of every compound of every botanical, jar by jar."""
    rows, grams = of.carried.rows, of.jars_by_row
    mg_per_l = 1000.0 * grams / np.array(of.cut.jars_l)
    times = grams * of.per_g[:, None] / np.array(of.cut.jars_l)
    return [
        {
            "botanical": of.labels[source - 1],
            "compound": of.compound_ids[rows.compound[row]],
            "jar": jar.number,
            "volume_l": jar.to_l,
            "mg_per_l": float(mg_per_l[row, k]),
            "times_threshold": float(times[row, k]) if of.per_g[row] > 0.0 else math.nan,
        }
        for row, source in enumerate(rows.source)
        if source > 0
        for k, jar in enumerate(jars)
    ]


def jars_mg_per_l(run: Run) -> Array:
    """Return the botanicals' oil in each jar as it is [mg/L]; what the base spirit brings is not counted."""
    held = run.flavours.by_line(run.flavours.jars_by_row).sum(axis=0)
    return np.asarray(1000.0 * held / np.array([jar.volume_l for jar in run.jars]))


def keep_mg_per_l(run: Run) -> float:
    """Return the botanicals' oil in the keep, as it is pooled [mg/L]."""
    return 1000.0 * float(run.flavours.kept_g.sum()) / run.keep.volume_l
