"""Whether stream and bottle cloud, at what strength they stay clear, and what would help."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import clouding
from potsim.liquid.compounds import compound
from potsim.planning.charge import between
from potsim.planning.flavours import Flavours, Span
from potsim.planning.jars import said as volume
from potsim.planning.stops import Condition
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED, States

Array = NDArray[np.float64]
Held = TypeVar("Held", float, Array)
PURE_ABV = 100.0
SOME_DROPS_L = 0.0005
SOONER = (
    "In practice spirit with oil in it clouds sooner than computed, ordinary gin below 42 % vol or so "
    "(common practice, no source): let a small glass down first, and chill it."
)
TINY = 1e-30  # a load of nothing at all, whose logarithm is wanted


@dataclass(frozen=True)
class Bottled:
    """What is bottled, as far as its cloud goes."""

    spans: tuple[Span, ...]  # depletions between which the jars of the keep were collected
    ethanol_l: float  # pure alcohol in the keep, with that of what it is stretched by [L]
    target_abv: float | None  # bottling strength [% vol]; ``None`` if the keep is not let down


@dataclass(frozen=True)
class Remedy:
    """Something that would help against a cloud."""

    words: str  # what to do
    clear_abv: float  # strength down to which the spirit would then stay clear [% vol]


@dataclass(frozen=True)
class Cloud:
    """The cloud in stream and bottle, near 20 to 25 °C; colder is sooner."""

    # distillate collected when the stream clouds [L at 20 °C]; ``None`` if it stays clear to the last drop
    # of alcohol
    stream_l: float | None
    stream_abv: float | None  # strength of the stream there [% vol]
    within_run: bool  # whether that is before the run ends
    limit: clouding.ClearLimit  # strength down to which the keep stays clear, as a band
    verdict: clouding.Verdict | None  # of the bottled spirit; ``None`` if the keep is not let down
    oil_mg_per_l: float  # oil in the spirit bottled [mg/L]
    remedies: tuple[Remedy, ...]  # what would help; empty if the bottle is clear
    # distillate collected when a stream that is cloudy from the first drop turns clear [L at 20 °C];
    # infinite if it never does, ``None`` if it is clear at the first drop
    clears_l: float | None = None


def stream_load(flavours: Flavours) -> Array:
    """Oil in the stream over what it keeps clear, along the run."""
    carried = flavours.carried
    held = _known(flavours, flavours.stream_g_per_l(carried.depletion))
    filled = np.asarray(clouding.load(held, carried.states.stream_abv))
    return np.asarray(np.broadcast_to(filled, carried.depletion.shape))


def cloudy_condition(flavours: Flavours) -> Condition:
    """Return the stop at which the stream turns cloudy."""
    along = flavours.carried.depletion
    load = np.log(np.maximum(stream_load(flavours), TINY))
    clear = np.flatnonzero(load < 0.0)
    since = EXHAUSTED if clear.size == 0 else float(along[clear[0]])

    def margin(states: States) -> Array:
        return np.where(states.depletion > since, np.interp(states.depletion, along, load), -1.0)

    return Condition("cloudy", "the stream turns cloudy", margin, needed=False)


def cloud(flavours: Flavours, end: float, bottled: Bottled) -> Cloud | None:
    """Predict the cloud of a run."""
    if not flavours.compound_ids or bottled.ethanol_l <= 0.0:
        return None
    at = flavours.course.first(cloudy_condition(flavours).margin)
    point = None if at is None else flavours.course.at(np.array([at]))
    whole = _by_row(flavours, bottled.spans)
    limit = _limit(flavours, whole, bottled.ethanol_l)
    verdict = None if bottled.target_abv is None else limit.verdict(bottled.target_abv)
    oil_g = float(whole[flavours.carried.rows.source > 0].sum())
    bottle_l = bottled.ethanol_l * 100.0 / (bottled.target_abv or 100.0)
    return Cloud(
        stream_l=None if point is None else float(point.collected_l[0]),
        stream_abv=None if point is None else float(point.stream_abv[0]),
        within_run=at is not None and at <= end,
        limit=limit,
        verdict=verdict,
        oil_mg_per_l=1000.0 * oil_g / bottle_l,
        remedies=() if verdict in (None, "clear") else _remedies(flavours, bottled, whole, limit),
        clears_l=_clears_l(flavours),
    )


def _clears_l(flavours: Flavours) -> float | None:
    clear = np.flatnonzero(stream_load(flavours) < 1.0)
    if clear.size == 0:
        return np.inf
    first = flavours.carried.depletion[clear[:1]]
    return None if clear[0] == 0 else float(flavours.course.at(first).collected_l[0])


def sentences(found: Cloud, target_abv: float | None) -> tuple[str, ...]:
    """Say what a cloud means to the distiller."""
    said = _stream_words(found)
    limit = limit_words(found.limit)
    if target_abv is None or found.verdict is None:
        return (*said, f"The keep when it is let down: {limit}, near 20 °C.", SOONER)
    words = {"clear": "is clear", "may cloud": "may cloud", "cloudy": "will cloud"}[found.verdict]
    said.append(f"The bottle {words} at {target_abv:g} % vol: {limit}, near 20 °C.")
    if found.verdict != "clear":
        said.append(_blame_words(found.limit))
    for remedy in found.remedies:
        if remedy.clear_abv == found.limit.abv:
            said.append(f"{remedy.words}.")
            continue
        clear = round(remedy.clear_abv)
        reach = f"down to about {clear} % vol" if clear else "however far it is let down"
        said.append(f"{remedy.words}: clear {reach}.")
    return (*said, SOONER)


def _stream_words(found: Cloud) -> list[str]:
    """Whether the stream clouds, and when; the first drops too."""
    said = []
    if found.clears_l == np.inf:
        return ["The stream is cloudy from the first drop to the end of the alcohol."]
    if found.clears_l is not None:
        drops = "drops come" if found.clears_l < SOME_DROPS_L else f"{volume(found.clears_l)} come"
        said.append(f"The first {drops} over cloudy, full of oil.")
    if found.stream_l is None:
        after = "" if found.clears_l is None else " after that"
        return [*said, f"The stream stays clear{after} to the end of the alcohol."]
    when = "clouds" if found.within_run else "would cloud, after the stop,"
    return [*said, f"The stream {when} at {volume(found.stream_l)}, {found.stream_abv:.0f} % vol."]


def to_dict(found: Cloud | None, target_abv: float | None) -> dict[str, Any] | None:
    """Return a cloud as plain data."""
    if found is None:
        return None
    return {
        "stream_l": found.stream_l,
        "within_run": found.within_run,
        "clears_l": None if found.clears_l == np.inf else found.clears_l,
        "verdict": found.verdict,
        "clear_abv": found.limit.abv,
        "band": [found.limit.low_abv, found.limit.high_abv],
        "blame": found.limit.blame,
        "oil_mg_per_l": found.oil_mg_per_l,
        "words": list(sentences(found, target_abv)),
    }


def limit_words(limit: clouding.ClearLimit) -> str:
    """Say down to what strength oil stays clear."""
    if limit.state == "always cloudy":
        return "its oil does not stay clear even in pure alcohol"
    if round(limit.abv) == 0:
        worst = f" (at worst down to {round(limit.high_abv)} % vol)" if round(limit.high_abv) else ""
        return f"its oil stays clear however far it is let down{worst}"
    band = f"{round(limit.low_abv)} to {round(limit.high_abv)}"
    return f"its oil stays clear down to about {round(limit.abv)} % vol ({band})"


def _blame_words(limit: clouding.ClearLimit) -> str:
    """The compounds that make up most of the load, two at the most."""
    worst = itertools.islice(limit.blame.items(), 2)
    named = [f"{compound(name).name} ({100.0 * share:.0f} %)" for name, share in worst]
    return f"Mostly to blame: {' and '.join(named)}."


def _known(flavours: Flavours, held: Mapping[str, Held]) -> dict[str, Held]:
    """Without compounds of the distiller's own, whose solubility nobody knows.

    Volatility at high dilution can put more oil into the first drops than a drop holds: they are cloudy
    all the same, and are counted as pure oil.
    """
    most = clouding.DENSEST_G_PER_L
    return {
        name: cast(Held, np.minimum(amount, most))
        for name, amount in held.items()
        if name not in flavours.own
    }


def _by_row(flavours: Flavours, spans: Sequence[Span]) -> Array:
    """Grams of each row of ``flavours.carried`` in the keep."""
    return np.asarray(flavours.over_by_row(spans).sum(axis=1))


def _limit(flavours: Flavours, by_row: Array, ethanol_l: float) -> clouding.ClearLimit:
    """Letting down keeps the oil in each litre of pure alcohol, and only that decides."""
    held = {name: grams / ethanol_l for name, grams in flavours.by_compound(by_row).items()}
    return clouding.clear_limit(_known(flavours, held), PURE_ABV)


def _remedies(
    flavours: Flavours, bottled: Bottled, whole: Array, limit: clouding.ClearLimit
) -> tuple[Remedy, ...]:
    found = [Remedy(f"Bottle at {np.ceil(limit.high_abv):.0f} % vol or more", limit.abv)]
    if len(bottled.spans) > 1:
        left_l = bottled.ethanol_l - between(flavours.course, *bottled.spans[-1]).ethanol_l
        shorter = _limit(flavours, _by_row(flavours, bottled.spans[:-1]), left_l)
        found.append(Remedy("Leave out the last jar kept", shorter.abv))
    blamed = _most_to_blame(flavours, whole, limit)
    if blamed is not None:
        half = whole.copy()
        half[flavours.rows_of(blamed + 1)] *= 0.5
        name = flavours.bill[blamed].botanical.common_name
        found.append(Remedy(f"Halve the {name}", _limit(flavours, half, bottled.ethanol_l).abv))
    return tuple(found)


def _most_to_blame(flavours: Flavours, whole: Array, limit: clouding.ClearLimit) -> int | None:
    """Line of the bill whose oil makes up most of the load."""
    rows = flavours.carried.rows
    total = flavours.by_compound(whole)
    names = [flavours.compound_ids[k] for k in rows.compound]
    share = [
        limit.blame.get(n, 0.0) * g / total[n] if total[n] else 0.0 for n, g in zip(names, whole, strict=True)
    ]
    blame = [float(np.sum(np.array(share)[rows.source == line + 1])) for line in range(len(flavours.bill))]
    return int(np.argmax(blame)) if blame and max(blame) > 0.0 else None
