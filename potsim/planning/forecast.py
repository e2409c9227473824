"""A run being followed: readings in, and what is still to come of it, with bands."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import heat, strength
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning import stops
from potsim.planning.charge import volume_l
from potsim.planning.cloud import Stream
from potsim.planning.frames import Shown, read_only
from potsim.planning.learnt import (
    bench_of,
    check_reading,
    hold_up,
    observed_of,
    odd_readings,
    on_bench,
    opened,
    prior_of,
    refuse_water,
    told_during_run,
    verdicts,
)
from potsim.planning.notes import Note, hint, plain_notes, sentences
from potsim.planning.readings import Reading
from potsim.planning.run import Run
from potsim.records import dataclass, plain
from potsim.still.course import EXHAUSTED
from potsim.still.courses import Points, Tracks
from potsim.still.fit import LOGARITHMS, Fit, fit
from potsim.still.observed import NAMES, Noise, places, run_out

Array = NDArray[np.float64]

BAND = 0.90
BAND_ERRORS = 1.6449  # standard errors on either side that hold 90 % of a normal distribution


@dataclass(frozen=True)
class Band:
    """A number with the band that holds the truth nine times in ten, if the still is as the model has it."""

    value: float  # the likeliest value
    low: float  # lower end of the band
    high: float  # upper end of the band

    def __format__(self, spec: str) -> str:
        return f"{self.value:{spec}} ({self.low:{spec}} to {self.high:{spec}})"


@dataclass(frozen=True)
class JarNow:
    """The jar under the spout, or the one after it."""

    number: int  # from 1
    size_l: float  # what it can hold [L]
    holds_l: float  # what is in it now [L at 20 °C]
    abv: float  # strength of that [% vol]; 0 while it is empty
    full_in_l: float  # until it is taken away, full or at the stop [L]
    full_in_min: float  # until then [min]
    full_abv: float  # strength of its contents then [% vol]


@dataclass(frozen=True)
class FlavourNow:
    """A botanical on its way over."""

    botanical: str  # its name
    klass: str  # when it comes over, as in `potsim.planning.release`
    from_in_l: float  # until it begins [L]; below 0 for what is past
    to_in_l: float  # until it is over [L]; below 0 for what is past


@dataclass(frozen=True)
class Bare:
    """Where the pot would be down to its least level."""

    in_l: float  # still to be collected until then [L]
    in_min: float  # time until then [min]


@dataclass(frozen=True)
class Curve:
    """The predicted strength of the stream with its band, for a picture; arrays of shape (m,)."""

    collected_l: Array  # collected at the spout [L]
    abv: Array  # strength there [% vol]
    low_abv: Array  # lower end of its band [% vol]
    high_abv: Array  # upper end of its band [% vol]


@dataclass(frozen=True)
class Forecast(Shown):
    """What is still to come."""

    run: Run  # the run as planned
    readings: tuple[Reading, ...]  # those that tell of it
    fit: Fit  # the still learnt
    collected_l: float  # where the run is: at the last reading [L]
    elapsed_min: float  # from switch-on to there [min]
    stream_abv: Band  # strength at the spout now [% vol]
    mean_abv: Band  # strength of all collected by now [% vol]
    to_come_l: Band  # volume of what comes until the stop [L]
    to_come_min: Band  # time until the stop [min]
    to_come_abv: Band  # strength of what comes until the stop [% vol]
    stop_l: Band  # all collected at the stop [L]
    stop_min: Band  # minute of the stop, from switch-on
    stop_mean_abv: Band  # strength of all collected at the stop [% vol]
    stop_reason: str  # what ends the run
    stop_values: Mapping[str, Any]  # what is waited for
    jar: JarNow | None  # the jar under the spout; ``None`` past the stop
    next_jar: JarNow | None  # the one after it; ``None`` if there is none
    flavours_now: tuple[FlavourNow, ...]  # botanicals that are coming over
    flavours_next: tuple[FlavourNow, ...]  # those that are still to begin
    # when the element would be bare; ``None`` if no least level is given, or it lies past what is followed
    bare: Bare | None
    odd: tuple[Note, ...]  # readings that do not fit
    verdicts: tuple[Note, ...]  # what the readings tell of the still, and what they cannot tell
    curve: Curve  # for a picture

    @property
    def hazy_l(self) -> float | None:
        """All collected when the stream was first seen hazy [L]; ``None`` if it was not."""
        seen = (one.collected_l for one in self.readings if one.entry.hazy)
        return next((volume_l for volume_l in seen if volume_l is not None), None)

    @property
    def haze(self) -> Stream | None:
        """Where the stream may turn hazy, as planned; ``None`` where it stays clear to the stop."""
        cloud = self.run.cloud
        return None if cloud is None or cloud.clear_stream else cloud.stream

    @property
    def stop_words(self) -> str:
        """What ends the run as a person would say it."""
        return stops.stop_words(self.stop_reason, self.stop_values)

    @property
    def over(self) -> bool:
        """Whether the stop has come."""
        return self.to_come_l.value <= 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return what ``potsim follow --json`` prints."""
        return document(self)

    def __repr__(self) -> str:
        stop = self.stop_l
        title, count = self.run.plan.title, len(self.readings)
        return f"<Forecast {title!r}: {count} readings, stop at {stop.low:.3f} to {stop.high:.3f} L>"

    def __str__(self) -> str:
        return in_short(self)


# --- A forecast in short, and as plain data for programs.


BANDS = (
    *("stream_abv", "mean_abv", "to_come_l", "to_come_min", "to_come_abv"),
    *("stop_l", "stop_min", "stop_mean_abv"),
)


def in_short(forecast: Forecast) -> str:
    """Return what to do now, in one sentence."""
    return str(now(forecast))


def now(forecast: Forecast) -> Note:
    """What to do now: stop, or collect so much more."""
    waits = {"reason": forecast.stop_reason, "values": dict(forecast.stop_values)}
    if forecast.over:
        return hint("stop_now", **waits)
    return hint("collect", **waits, volume_l=plain(forecast.to_come_l), minutes=plain(forecast.to_come_min))


def document(forecast: Forecast) -> dict[str, Any]:
    """Return a forecast as plain data."""
    return {
        "title": forecast.run.plan.title,
        "in_short": in_short(forecast),
        "now": {"collected_l": forecast.collected_l, "elapsed_min": forecast.elapsed_min},
        "band": BAND,
        **{name: plain(getattr(forecast, name)) for name in BANDS},
        "stop": {"reason": forecast.stop_reason, "words": forecast.stop_words, "reached": forecast.over},
        "jar": plain(forecast.jar),
        "next_jar": plain(forecast.next_jar),
        "flavours_now": plain(forecast.flavours_now),
        "flavours_next": plain(forecast.flavours_next),
        "element_bare": plain(forecast.bare),
        "still": _still(forecast.fit),
        "readings": [_reading(one, forecast.fit, k) for k, one in enumerate(forecast.readings)],
        "odd": list(sentences(forecast.odd)),
        "verdicts": list(sentences(forecast.verdicts)),
        "tells": plain_notes((*forecast.odd, *forecast.verdicts)),
        "haze": {
            "possible_l": None if forecast.haze is None else forecast.haze.possible_l,
            "sure_l": None if forecast.haze is None else forecast.haze.sure_l,
            "seen_l": forecast.hazy_l,
        },
        "curve": plain(forecast.curve),
    }


def _still(fit: Fit) -> dict[str, Any]:
    learnt = {
        name: {
            "value": fit.value(name),
            "standard_error": fit.error(name),
            "relative_error": name in LOGARITHMS,
            "told_by_readings": fit.told(name),
        }
        for name in NAMES
    }
    return {
        "neck_loss_w_per_k": fit.neck_loss_w_per_k,
        "neck_loss_error_w_per_k": fit.neck_loss_error,
        "pot_loss_w_per_k": fit.pot_loss_w_per_k,
        "heat_share": fit.heat_share,
        "heat_share_error": fit.heat_share_error,
        "lost": fit.value("lost"),
        "lost_error": fit.lost.error,
        "net_power_w": fit.net_power_w,
        "learnt": learnt,
        "correlation": fit.correlation.tolist(),
        "names": list(NAMES),
        "widened": fit.widened,
    }


def _reading(reading: Reading, fit: Fit, line: int) -> dict[str, Any]:
    """A reading raw and corrected, and how far it lies from the fit."""
    return {
        "number": reading.number,
        "line": reading.line,
        "as_read": reading.entry.to_dict(),
        "collected_l": reading.collected_l,
        "mass_g": reading.mass_g,
        "from_l": reading.from_l,
        "abv": reading.abv,
        "against_fit": [
            {"kind": r.kind, "read": r.read, "fitted": r.fitted, "error": r.error, "left_out": r.left_out}
            for r in fit.residuals
            if r.line == line
        ],
    }


# --- From a plan and the readings so far: what this still does, and what is still to come.


DRAWN, DRAWN_TO = 61, 1.08  # points of the band for a picture, and how far past the stop
LITTLE_L = 1e-4  # of so little the strength is that of the stream
COARSE = 8  # of these points one will do for the level of the pot, which falls all but evenly


class Follower:
    """A run being followed: readings in, forecast out, each beginning where the last one ended.

    Held against 20 runs of another equilibrium (modified UNIFAC) in stills that differ from the plan by its
    own doubt, 5 % held back in the condenser, eight readings over two thirds of the run: the bands of nine in
    ten held its volume in 19 and its time in 18, in 16 where nobody told the hold-up. The stop came out 19 to
    21 mL of 1,070 too soon on the average: half of that is the other equilibrium, a third the strength of
    the charge, which readings may correct. One run cannot part the pot's loss from the share of the heat that
    arrives: the one is held, the other learnt.
    """

    def __init__(self, run: Run, hold_up_l: float | None = None, noise: Noise | None = None) -> None:
        refuse_water(run)
        self.run, self.noise = run, noise or Noise()
        self.prior = prior_of(run, hold_up(run, hold_up_l))
        self._flavours = _shares(run)
        self._last: tuple[tuple[Reading, ...], Fit] | None = None

    def update(self, readings: Sequence[Reading]) -> Forecast:
        """Learn from all readings so far, and forecast the rest.

        The search begins at the last answer while readings are added; when one is taken back or changed it
        begins anew, so that nothing of it stays.
        """
        for reading in readings:
            check_reading(self.run, reading)
        told = told_during_run(readings)
        known = opened(self.prior, self.run)
        bench = bench_of(self.run, readings, known)
        before = None
        if self._last is not None:
            until, last = self._last
            if told[: len(until)] == until and last.bench.family is bench.family:
                before = last
        prior = on_bench(known, bench, self.run)
        found = fit(bench, prior, observed_of(told), self.noise, before)
        self._last = told, found
        return _Looking(self.run, told, found, self._flavours).forecast()


def follow(
    run: Run, readings: Sequence[Reading], hold_up_l: float | None = None, noise: Noise | None = None
) -> Forecast:
    """Learn a still from readings and forecast the rest of the run; `Follower` does it again and again."""
    return Follower(run, hold_up_l, noise).update(readings)


class _Looking:
    """All that is asked of the tracks of a fit; arrays of shape (10,), row 0 the likeliest."""

    def __init__(
        self, run: Run, readings: tuple[Reading, ...], found: Fit, flavours: tuple[_Share, ...]
    ) -> None:
        self.run, self.readings, self.fit, self.flavours = run, readings, found, flavours
        self.tracks = found.tracks
        self.points = found.tracks.points
        self.held = found.tracks.rows.hold_up_l + found.bench.parrot_l
        self.kept = 1.0 - found.tracks.rows.lost  # share of what runs out that is collected
        self.now = self._now()
        self.bare = self._bare()
        self.reason, self.values, self.end = self._end()
        self.end = np.maximum(self.end, self.now)

    def _now(self) -> Array:
        """What has passed the neck at the last reading."""
        if not self.readings:
            return np.minimum(self.held, self.points.over_l[:, -1])
        last = observed_of(self.readings[-1:])
        return np.asarray(places(self.tracks, last)[:, 0])

    def _at(self, over_l: Array, *names: str) -> tuple[Array, ...]:
        return tuple(v[:, 0] for v in self.tracks.at(over_l[:, None], *names))

    @cached_property
    def _spout_abv(self) -> Array:
        """Strength at the spout along the tracks, shape (k, m)."""
        if not self.held.any():
            return self.points.stream_abv
        over = self.points.over_l
        ethanol, water = self.tracks.mixed(over, np.broadcast_to(self.held[:, None], over.shape))
        return np.asarray(strength.abv_from_moles(ethanol, water))

    @cached_property
    def _parrot_abv(self) -> Array:
        """What the plan's parrot shows along the tracks, shape (k, m), if readings have not named one."""
        behind = (self.run.setting.still.parrot_l or 0.0) - self.fit.bench.parrot_l
        over = self.points.over_l
        held = np.broadcast_to((self.held + max(behind, 0.0))[:, None], over.shape)
        return np.asarray(strength.abv_from_moles(*self.tracks.mixed(over, held)))

    def _passed(self, key: str, value: float) -> Array:
        """How far a stop is passed along the tracks, shape (k, m)."""
        p = self.points
        charged = self.tracks.charge_mol * self.tracks.charge_x
        quantities: dict[str, Callable[[], Array]] = {
            "stream_abv": lambda: self._spout_abv,
            "parrot_abv": lambda: self._parrot_abv,
            "pot_abv": lambda: np.asarray(strength.abv_from_x(p.pot_x)),
            "mean_abv": lambda: _mean_abv(p),
            "pot_l": lambda: volume_l(p.pot_mol, p.pot_mol * p.pot_x),
            "pot_c": lambda: p.pot_k - ZERO_C_K,
            "vapour_c": lambda: p.vapour_k - ZERO_C_K,
            "collected_l": lambda: self.kept[:, None] * (p.over_l - self.held[:, None]),
            "recovered": lambda: self.kept[:, None] * p.ethanol_mol / charged[:, None],
            "elapsed_min": lambda: p.elapsed_s / 60.0,
        }
        watch = stops.WATCHED[key]
        return stops.margin(watch, quantities[watch.quantity](), value)

    def _end(self) -> tuple[str, Mapping[str, Any], Array]:
        """What ends the run on the likeliest track, and where on each."""
        stop = self.run.setting.stop
        found: list[tuple[str, Mapping[str, Any], Array]] = [("exhausted", {}, self.points.over_l[:, -1])]
        named = {c.reason: c.values for c in stops.conditions(stop, self.run.course)}
        for key, values in named.items():
            found.append((key, values, _first(self.points.over_l, self._passed(key, stop.named[key]))))
        if self.run.end.reason not in (*named, "min_level", "exhausted"):
            over = -math.expm1(-self.run.end.depletion) * self.tracks.charge_mol
            found.append(
                (self.run.end.reason, self.run.end.values, self.tracks.where("over_mol", over[:, None])[:, 0])
            )
        if self.bare is not None:
            level = self.run.setting.still.min_level_l
            found.append(("min_level", {"value": level}, self.bare))
        reason, values, _ = min(found, key=lambda one: float(one[2][0]))
        return reason, values, np.min([one[2] for one in found], axis=0)

    def _bare(self) -> Array | None:
        """Where the pot is down to its least level on each track."""
        level = self.run.setting.still.min_level_l
        if level == 0.0:
            return None
        p = self.points
        x, k = p.pot_x[:, ::COARSE], p.pot_k[:, ::COARSE]
        grams = p.pot_mol[:, ::COARSE] * np.asarray(strength.molar_mass(x))
        margin = level - self.run.solids_l - grams / np.asarray(heat.liquid_density(x, k))
        return _first(p.over_l[:, ::COARSE], margin) if margin[0, -1] >= 0.0 else None

    def _run_out(self, over_l: Array) -> tuple[Array, Array]:
        """Moles of ethanol and of water that have run out at the spout."""
        ethanol, water = run_out(self.tracks, over_l[:, None], self.held[:, None])
        return ethanol[:, 0], water[:, 0]

    def band(self, per_row: Array, most: float = math.inf) -> Band:
        """The likeliest value and its band, from nothing to ``most``."""
        low, high = self.fit.band(per_row, BAND)
        return Band(float(per_row[0]), max(float(low), 0.0), min(float(high), most))

    def forecast(self) -> Forecast:
        """Ask for everything."""
        (now_s,), (end_s,) = self._at(self.now, "elapsed_s"), self._at(self.end, "elapsed_s")
        last = [r.entry.elapsed_min for r in self.readings[-1:] if r.entry.elapsed_min is not None]
        collected = self.kept * np.maximum(self.now - self.held, 0.0)
        spout = _abv(*(v[:, 0] for v in self.tracks.mixed(self.now[:, None], self.held[:, None])))
        out_now, out_end = self._run_out(self.now), self._run_out(self.end)
        jar, following = jars_now(self.run, self.readings, self.tracks, self.now, self.end)
        on, later = self._flavours(self._at(self.now, "ethanol_mol")[0])
        return Forecast(
            run=self.run,
            readings=self.readings,
            fit=self.fit,
            collected_l=float(collected[0]),
            elapsed_min=last[0] if last else float(now_s[0]) / 60.0,
            stream_abv=self.band(spout, 100.0),
            mean_abv=self.band(_abv(*out_now) if collected.min() > LITTLE_L else spout, 100.0),
            to_come_l=self.band(self.kept * (self.end - self.now)),
            to_come_min=self.band((end_s - now_s) / 60.0),
            to_come_abv=self.band(_abv(out_end[0] - out_now[0], out_end[1] - out_now[1]), 100.0),
            stop_l=self.band(self.kept * np.maximum(self.end - self.held, 0.0)),
            stop_min=self.band(end_s / 60.0),
            stop_mean_abv=self.band(_abv(*out_end), 100.0),
            stop_reason=self.reason,
            stop_values=self.values,
            jar=jar,
            next_jar=following,
            flavours_now=on,
            flavours_next=later,
            bare=self._bare_in(now_s),
            odd=odd_readings(self.fit, self.readings),
            verdicts=verdicts(self.fit),
            curve=self._curve(),
        )

    def _bare_in(self, now_s: Array) -> Bare | None:
        if self.bare is None:
            return None
        there = float(self._at(self.bare, "elapsed_s")[0][0])
        return Bare(float(self.kept[0] * (self.bare[0] - self.now[0])), (there - float(now_s[0])) / 60.0)

    def _flavours(self, ethanol_now: Array) -> tuple[tuple[FlavourNow, ...], tuple[FlavourNow, ...]]:
        """Botanicals on now and to come, by the share of the alcohol that is over."""
        charged = float(self.tracks.charge_mol[0] * self.tracks.charge_x[0])
        shares = self.points.ethanol_mol[0] / charged
        here, now = float(ethanol_now[0]) / charged, float(self.now[0])
        on, later = [], []
        for one in self.flavours:
            start, end = self.kept[0] * (np.interp([one.start, one.end], shares, self.points.over_l[0]) - now)
            told = FlavourNow(one.botanical, one.klass, float(start), float(end))
            if one.start <= here <= one.end:
                on.append(told)
            elif one.start > here:
                later.append(told)
        return tuple(on), tuple(sorted(later, key=lambda f: f.from_in_l))

    def _curve(self) -> Curve:
        """Strength at the spout from the first drop to a little past the stop, with its band."""
        end = min(DRAWN_TO * float(self.end[0]), float(self.points.over_l[:, -1].min()))
        over = np.linspace(float(self.held[0]), end, DRAWN)
        marks = [float(v) for v in (self.now[0], self.end[0]) if over[0] < v < end]
        over = np.sort(np.append(over, marks))
        collected = self.kept[0] * (over - self.held[0])
        rows = zip(self.points.over_l, self._spout_abv, self.held, self.kept, strict=True)
        abv = np.stack([np.interp(collected / kept + held, over_l, row) for over_l, row, held, kept in rows])
        arrays = (collected, np.ascontiguousarray(abv[0]), *map(np.asarray, self.fit.band(abv, BAND)))
        read_only(arrays)
        return Curve(*arrays)


@dataclass(frozen=True)
class _Share:
    """A botanical by the shares of the alcohol over at its beginning and its end."""

    botanical: str
    klass: str
    start: float
    end: float


def _shares(run: Run) -> tuple[_Share, ...]:
    states = run.course.at(np.linspace(0.0, min(1.5 * run.end.depletion + 1.0, EXHAUSTED), 400))
    over = states.over_ethanol_mol / (run.course.charge_mol * run.course.charge_x)
    found = []
    for flavour in run.flavours.botanicals:
        if flavour.passage is not None:
            span = np.interp([flavour.passage.start_l, flavour.passage.end_l], states.collected_l, over)
            found.append(_Share(flavour.botanical, flavour.klass, float(span[0]), float(span[1])))
    return tuple(found)


def _mean_abv(points: Points) -> Array:
    """Strength of all that is over; before the first drop that of the stream."""
    x = np.divide(
        points.ethanol_mol, points.over_mol, where=points.over_mol > 0.0, out=np.zeros_like(points.over_mol)
    )
    return np.where(points.over_mol > 0.0, np.asarray(strength.abv_from_x(x)), points.stream_abv)


def _first(over_l: Array, margin: Array) -> Array:
    """Where a margin first reaches nothing along each track, its end if it never does."""
    true = margin >= 0.0
    k = np.argmax(true, axis=1)
    rows = np.arange(len(k))
    never, before = ~true[rows, k], np.maximum(k - 1, 0)
    low, high = margin[rows, before], margin[rows, k]
    part = np.where(k > 0, -low / np.where(high > low, high - low, 1.0), 0.0)
    place = over_l[rows, before] + part * (over_l[rows, k] - over_l[rows, before])
    return np.where(never, over_l[:, -1], place)


def _abv(ethanol: Array, water: Array) -> Array:
    """Strength of amounts [% vol]; of nothing 0."""
    ethanol, water = np.maximum(ethanol, 0.0), np.maximum(water, 0.0)
    some = ethanol + water > 1e-9
    x = ethanol / np.where(some, ethanol + water, 1.0)
    return np.where(some, np.asarray(strength.abv_from_x(x)), 0.0)


# --- The jar under the spout and the one after it, while a run is being followed.


FULL = 1e-9  # relative; a jar that lacks so little is full
BEGUN_L = 1e-6


def jars_now(
    run: Run, readings: Sequence[Reading], tracks: Tracks, now_l: Array, end_l: Array
) -> tuple[JarNow | None, JarNow | None]:
    """Return the jar under the spout and the next one."""
    held, kept = float(tracks.rows.hold_up_l[0] + tracks.bench.parrot_l), 1.0 - float(tracks.rows.lost[0])
    now, end = kept * max(float(now_l[0]) - held, 0.0), kept * (float(end_l[0]) - held)
    if end <= now:
        return None, None
    first = _jar(run, readings, tracks, (held, kept), (now, now, end))
    begins = now + first.full_in_l
    if begins >= end * (1.0 - FULL):
        return first, None
    return first, _jar(run, readings, tracks, (held, kept), (begins, now, end))


def _jar(
    run: Run,
    readings: Sequence[Reading],
    tracks: Tracks,
    behind: tuple[float, float],
    at: tuple[float, float, float],
) -> JarNow:
    """The jar that is under the spout when so much is collected; ``at`` is that, now, and the stop [L].

    ``behind`` the neck are what is held back [L] and the share of the rest that is collected.
    """
    (held, kept), (there, now, end) = behind, at
    number, begin, size, close = _slot(run, readings, there)
    close = min(close, end)
    places_l = held + np.array([begin, max(now, begin), close, now]) / kept
    u = np.broadcast_to(places_l, (len(tracks.charge_mol), 4))
    over, ethanol, seconds = (v[0] for v in tracks.at(u, "over_mol", "ethanol_mol", "elapsed_s"))
    begun = now > begin + BEGUN_L
    return JarNow(
        number=number,
        size_l=size,
        holds_l=now - begin if begun else 0.0,
        abv=_jar_abv(ethanol[1] - ethanol[0], over[1] - over[0]) if begun else 0.0,
        full_in_l=close - now,
        full_in_min=float(seconds[2] - seconds[3]) / 60.0,
        full_abv=_jar_abv(ethanol[2] - ethanol[0], over[2] - over[0]),
    )


def _slot(run: Run, readings: Sequence[Reading], at_l: float) -> tuple[int, float, float, float]:
    """Number, beginning, size and end of the jar under the spout when so much is collected.

    Jars that were read are where they were; the others follow on as planned, the last size again and again.
    """
    planned, begin, number = run.jars, 0.0, 0
    read = [r.collected_l for r in readings if r.entry.of == "jar" and r.collected_l is not None]
    while True:
        number += 1
        jar = planned[min(number, len(planned)) - 1]
        width = jar.to_l - jar.from_l if number < len(planned) else jar.size_l
        close = read[number - 1] if number <= len(read) else begin + width
        if close > at_l * (1.0 + FULL) + FULL:
            return number, begin, jar.size_l, close
        begin = max(begin, close)


def _jar_abv(ethanol_mol: float, total_mol: float) -> float:
    ethanol = min(max(float(ethanol_mol), 0.0), float(total_mol))
    return float(strength.abv_from_x(ethanol / float(total_mol)))
