"""What is told of flavours, and what a nose makes of them by odour thresholds: who leads, marks, is noticed.

The measure is the sum of concentration over threshold of a botanical's compounds, its *times-threshold*. The
thresholds are those in water; alcohol raises them all tenfold and more, sources differ by as much, and
compounds mask and strengthen each other. So the size says little; it serves to compare one botanical with
another in the same glass, and one jar with the next.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.liquid.compounds import Compound, compound
from potsim.planning.ingredients import Where
from potsim.planning.release import Klass
from potsim.records import dataclass

Array = NDArray[np.float64]
Noticed = Literal["leads", "clear", "hint", "lost"]

CLEAR, HINT = 0.12, 0.03  # share of the summed times-threshold from which it is that
LEAST_TIMES = 10.0  # times-threshold in water below which hardly anything is noticed in spirit
UG_PER_G = 1e6
MOST_NAMED = 3  # in a jar


def noticed(times: Array) -> NDArray[Any]:
    """How each is noticed, shape (lines, ...): the largest leads; all is lost where no smell is known."""
    total = times.sum(axis=0)
    largest = times == times.max(axis=0, initial=0.0)
    largest &= np.cumsum(largest, axis=0) == 1  # the first of those that are alike
    hint = (times >= HINT * total) & (times >= LEAST_TIMES)
    told: list[Noticed] = ["lost", "leads", "clear", "hint"]
    conditions = [np.broadcast_to(total <= 0.0, times.shape), largest, times >= CLEAR * total, hint]
    return np.asarray(np.select(conditions, told, "lost")).astype(object)


def per_gram(compound_ids: Sequence[str], own: Mapping[str, Compound]) -> Array:
    """Times-threshold of a gram of each compound in a litre; 0 where no threshold is known."""
    known = [(own.get(name) or compound(name)).odour_threshold for name in compound_ids]
    return np.array([0.0 if one is None else UG_PER_G / one.ug_per_l for one in known])


def leaders(times: Array) -> list[list[int]]:
    """Botanicals that lead each jar by size, most first: the largest, and whoever is clear beside it.

    The times-threshold have the shape (lines, jars).
    """
    led = np.isin(noticed(times), ("leads", "clear"))
    return [
        [k for k in ranked if jar[k]][:MOST_NAMED] for ranked, jar in zip(*_ranked(times, led), strict=True)
    ]


def marks(times: Array, mean: Array) -> list[list[int]]:
    """At most three that mark each jar, furthest above their mean first; else the least below."""
    usual = np.where(mean > 0.0, mean, 1.0)[:, None]
    above = np.where(times >= LEAST_TIMES, times / usual, 0.0)
    found = []
    for ranked, jar in zip(*_ranked(above, above), strict=True):
        there = [k for k in ranked if jar[k] > 0.0]
        found.append([k for k in there if jar[k] > 1.0][:MOST_NAMED] or there[:1])
    return found


def _ranked(values: Array, told: NDArray[Any]) -> tuple[list[list[int]], list[list[Any]]]:
    """Lines of each jar, most first; and what is told of each jar's lines."""
    return np.argsort(-values, axis=0, kind="stable").T.tolist(), told.T.tolist()


# --- What is told of each botanical and of each of its compounds.


class Band(NamedTuple):
    """A number with the range that its rough constants leave."""

    value: float
    low: float
    high: float


class Passage(NamedTuple):
    """Where something comes over, up to the stop.

    Parameters
    ----------
    start_l, half_l, end_l : float
        5, 50 and 95 % of what is over by the stop is over [L at 20 °C].
    peak_l : float
        The stream holds most of it [L at 20 °C].
    """

    start_l: float
    half_l: float
    peak_l: float
    end_l: float


@dataclass(frozen=True)
class CompoundFlavour:
    """One compound of one botanical, or of the base spirit.

    Parameters
    ----------
    compound_id, name, odour, group : str
        What it is, what it smells of and the group of flavour that is.
    klass : {'early', 'middle', 'late', 'stays'}
        When it comes over in the reference run, see `potsim.planning.release`.
    passage : Passage or None
        Where it comes over in this run; None for what stays.
    releasable_g, over_g : float
        What the source holds of it, and what of that is over by the stop [g].
    left_in_plant, left_in_pot : float
        Shares of it that are still in the plant, and in the pot, at the stop, 0 to 1.
    odour_threshold_ug_per_l : float or None
        Least concentration noticed in water [µg/L], a rough guide; None when none is known.
    route : str
        How its volatility was found.
    expected_factor : float
        Expected error of the volatility: 2 means between half and double.
    """

    compound_id: str
    name: str
    odour: str
    group: str
    klass: Klass
    passage: Passage | None
    releasable_g: float
    over_g: float
    left_in_plant: float
    left_in_pot: float
    odour_threshold_ug_per_l: float | None
    route: str
    expected_factor: float


@dataclass(frozen=True)
class BotanicalFlavour:
    """One line of the bill; the volatile oil as a whole and each compound.

    Parameters
    ----------
    line : int
        Which line of the bill, from 0.
    botanical_id, botanical : str
        What it is.
    where : {'pot', 'basket'}
        Where it lies.
    klass : {'early', 'middle', 'late', 'stays'}
        When it comes over in the reference run, see `potsim.planning.release`.
    half_share : float
        Share of the reference run's distillate at which half of it is over, 0 to 1.
    passage : Passage or None
        Where its oil comes over in this run; None for what stays.
    releasable_g, over_g : float
        Oil whose compounds are followed, and what of that is over by the stop [g].
    gives_up : Band
        Share of that oil that is over by the stop, 0 to 1.
    in_heads, in_keep : float
        Shares of that oil in the heads and in the keep, 0 to 1.
    left_in_plant, left_in_pot, lost : float
        Shares of it still in the plant, in the pot, and lost after the neck, at the stop, 0 to 1; with what
        is over they make 1.
    later : float
        Share of it that comes over between the stop and 99 % of the alcohol, 0 to 1.
    noticed : {'leads', 'clear', 'hint', 'lost'}
        In the bottle.
    times_threshold : float
        Sum of concentration over odour threshold in the bottle [-].
    without_threshold : float
        Share of what is in the keep that has no known threshold and is left out of it, 0 to 1.
    unlisted_oil_g : float
        Oil of unknown composition, which is not followed [g].
    compounds : tuple of CompoundFlavour
        In the order of the composition, what is not volatile last.
    """

    line: int
    botanical_id: str
    botanical: str
    where: Where
    klass: Klass
    half_share: float
    passage: Passage | None
    releasable_g: float
    over_g: float
    gives_up: Band
    in_heads: float
    in_keep: float
    left_in_plant: float
    left_in_pot: float
    lost: float
    later: float
    noticed: Noticed
    times_threshold: float
    without_threshold: float
    unlisted_oil_g: float
    compounds: tuple[CompoundFlavour, ...]


def plain_compound(one: CompoundFlavour) -> dict[str, Any]:
    """Return a compound as plain data for programs."""
    return {
        "compound": one.compound_id,
        "name": one.name,
        "odour": one.odour,
        "group": one.group,
        **_when(one),
        "releasable_g": one.releasable_g,
        "over_g": one.over_g,
        "left_in_plant": one.left_in_plant,
        "left_in_pot": one.left_in_pot,
        "expected_factor": one.expected_factor,
    }


def plain_botanical(one: BotanicalFlavour) -> dict[str, Any]:
    """Return a botanical as plain data for programs; start, half, peak and end are None for what stays."""
    return {
        "botanical": one.botanical,
        "where": one.where,
        **_when(one),
        "gives_up": one.gives_up._asdict(),
        "in_heads": one.in_heads,
        "in_keep": one.in_keep,
        "left_in_plant": one.left_in_plant,
        "left_in_pot": one.left_in_pot,
        "lost": one.lost,
        "later": one.later,
        "noticed": one.noticed,
        "times_threshold": one.times_threshold,
        "without_threshold": one.without_threshold,
        "releasable_g": one.releasable_g,
        "over_g": one.over_g,
        "unlisted_oil_g": one.unlisted_oil_g,
        "compounds": [plain_compound(each) for each in one.compounds],
    }


def _when(one: BotanicalFlavour | CompoundFlavour) -> dict[str, Any]:
    where = dict.fromkeys(Passage._fields) if one.passage is None else one.passage._asdict()
    return {"class": one.klass, **where}
