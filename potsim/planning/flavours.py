"""Where each botanical comes over: its compounds followed through a run.

A rough guide: yields and compositions differ between lots by a factor of two and more, rates of release are
rough, and volatilities are off by the factor given with each compound. It says where a compound comes
over, not whether it is pleasant.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import UnknownNameError
from potsim.liquid.compounds import compound
from potsim.liquid.traces import Compound
from potsim.planning.botanical_flavour import (
    BotanicalFlavour,
    CompoundFlavour,
    plain_botanical,
    plain_compound,
)
from potsim.planning.botanicals.bill import ResolvedDose
from potsim.planning.botanicals.botanical import Level
from potsim.planning.botanicals.names import key
from potsim.planning.botanicals.release import release_term
from potsim.planning.timing import Passage, alcohol_over, passages, stream_l
from potsim.still.carry import Carried, Source, carry
from potsim.still.course import Course

__all__ = ["BotanicalFlavour", "CompoundFlavour", "Flavours", "Span", "base_to_dict", "predict"]

Array = NDArray[np.float64]
Span = tuple[float, float]


@dataclass(frozen=True)
class Flavours:
    """Trace compounds of a run; iterates over its botanicals in the order in which they come over.

    Parameters
    ----------
    course : Course
        The run.
    bill : tuple of ResolvedDose
        The botanicals.
    carried : Carried
        Every compound of the base spirit (source 0) and of each line of the bill (sources 1 and up).
    alcohol_over : float
        Depletion at which 99 % of the alcohol is over; of the charge, if it is water.
    own : mapping of str to Compound
        Compounds that the library lacks.
    """

    course: Course
    bill: tuple[ResolvedDose, ...]
    carried: Carried
    alcohol_over: float
    own: Mapping[str, Compound] = field(default_factory=dict)

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
        """Rows of `carried` of a botanical, by any of its names.

        Parameters
        ----------
        name : str
            As in the plan.

        Raises
        ------
        UnknownNameError
            If no line of the bill goes by it.
        """
        meant = [
            k
            for k, dose in enumerate(self.bill)
            if key(name) in {key(known) for known in (dose.dose.name, *dose.botanical.names)}
        ]
        if not meant:
            raise UnknownNameError(
                "botanical of this bill", name, [d.botanical.common_name for d in self.bill]
            )
        return np.concatenate([self.rows_of(k + 1) for k in meant])

    def over_by_row(self, spans: Sequence[Span]) -> Array:
        """What comes over of each row of `carried` in each span [g], shape (rows, spans)."""
        edges = np.array(spans, dtype=float).reshape(-1, 2)
        over = self.carried.at(edges.ravel()).over * self.carried.rows.amount[:, None]
        return np.asarray(over[:, 1::2] - over[:, ::2])

    def over_g(self, spans: Sequence[Span]) -> dict[str, float]:
        """What comes over of each compound in all spans together, all sources together.

        Parameters
        ----------
        spans : sequence of (float, float)
            Depletions between which it is collected: one for a jar, several for what is pooled.

        Returns
        -------
        dict of str to float
            Compound id to grams. Spans that follow on each other add up exactly.
        """
        return self.by_compound(self.over_by_row(spans).sum(axis=1))

    def by_compound(self, by_row: Array) -> dict[str, float]:
        """Grams of rows of `carried`, shape (rows,), added up for each compound."""
        return dict(zip(self.compound_ids, self._by_compound(by_row[:, None])[:, 0].tolist(), strict=True))

    def jars_g(self, spans: Sequence[Span]) -> tuple[dict[str, float], ...]:
        """What comes over of each compound in each span apart, as `over_g` [g]."""
        columns = self._by_compound(self.over_by_row(spans)).T.tolist()
        return tuple(dict(zip(self.compound_ids, column, strict=True)) for column in columns)

    def stream_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Concentration of each compound in the stream.

        Parameters
        ----------
        depletion : ndarray, shape (m,)
            Points of the run.

        Returns
        -------
        dict of str to ndarray
            Compound id to grams in a litre of stream at 20 °C.
        """
        s = np.asarray(depletion, dtype=float)
        grams = self._by_compound(self.carried.rate(s) * self.carried.rows.amount[:, None])
        return dict(zip(self.compound_ids, grams / stream_l(self.course.at(s)), strict=True))

    def pot_g_per_l(self, depletion: Array) -> dict[str, Array]:
        """Concentration of each compound in the pot.

        Parameters
        ----------
        depletion : ndarray, shape (m,)
            Points of the run.

        Returns
        -------
        dict of str to ndarray
            Compound id to grams in a litre of the pot's liquid at 20 °C.
        """
        s = np.asarray(depletion, dtype=float)
        grams = self._by_compound(self.carried.at(s).in_pot * self.carried.rows.amount[:, None])
        return dict(zip(self.compound_ids, grams / self.course.at(s).pot_l, strict=True))

    def rate_g_per_10_ml(self, depletion: Array) -> Array:
        """How strongly each botanical comes over.

        Parameters
        ----------
        depletion : ndarray, shape (m,)
            Points of the run.

        Returns
        -------
        ndarray, shape (lines of the bill, m)
            Oil in 10 mL of stream at 20 °C [g], in the order of ``bill``.
        """
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

    Parameters
    ----------
    course : Course
        The run.
    bill : sequence of ResolvedDose
        The botanicals; may be empty.
    in_charge : mapping of str to float, optional
        Compound id to grams in the charge: the base spirits' own volatiles, oils of left-overs.
    own : mapping of str to Compound, optional
        Compounds that the library lacks.
    level : {'low', 'typical', 'high'}
        Which end of the range of release rates.

    Returns
    -------
    Flavours
        To 99 % of the alcohol and beyond.

    Raises
    ------
    RangeError
        If pot or reflux are stronger than volatilities are known for, 96 % vol.
    UnknownNameError
        If a compound is unknown.

    Notes
    -----
    Release counts from the first drop; what maceration has moved into the liquid is there at the start.
    Limits of the model: dilute oil (see `potsim.planning.flavour_cautions` for a film of oil on the pot),
    one rate of release for all compounds of a botanical, nothing formed or lost by heat. On a foreign still
    the order is worth more than the volumes.
    """
    terms = [release_term(dose, level) for dose in bill]
    sources = [Source(in_charge or {})] + [
        Source(t.oil_g, t.share_in_liquid, t.rate_per_s, t.where == "basket") for t in terms
    ]
    known, end = own or {}, alcohol_over(course)
    return Flavours(course, tuple(bill), carry(course, sources, known, [end]), end, known)


def base_to_dict(flavours: Flavours) -> list[dict[str, Any]]:
    """What ``potsim run --json`` prints of the base spirits' own volatiles.

    Parameters
    ----------
    flavours : Flavours
        The run.

    Returns
    -------
    list of dict
        One for each compound.
    """
    return [plain_compound(one) for one in flavours.base]
