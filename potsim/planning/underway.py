"""A run under way or over: its jars as they are, what to do next, and what is poured together.

The course is the one fitted to the readings; what was measured of a jar or of the jug counts before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import datetime
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning.charge import check_jars
from potsim.planning.events import Measured, Pool, Water
from potsim.planning.forecast import BAND_ERRORS, Band, Forecast
from potsim.planning.journal import JarState, Journal
from potsim.planning.readings import Reading
from potsim.planning.run import Run
from potsim.records import dataclass
from potsim.still.observed import run_out

Array = NDArray[np.float64]

FIRST_SHARE = 0.9  # of the water that is poured before the jug is read again; common practice, no source
TOLD_ABV = 0.05  # [% vol]; so little weaker than the label is the label
SLIVER_L = 5e-4  # so little is no jar
LAST_SHARE = 0.05  # of a jar: less in the last one is the time between two taps
MOST_COMING = 500  # jars laid out beyond those noted
# Standard errors of one careful reading; common practice, no source.
READ_ABV, READ_G, READ_L = 0.3, 1.0, 0.002


@dataclass(frozen=True)
class JarUnderWay:
    """One jar of a run that is on or over."""

    number: int  # from 1
    role: str  # heads, keep or tails, as planned for where it lies
    # over (noted as full), safe (emptied into the keep), out (left out), flowing (under the spout) or coming
    state: str
    size_l: float  # what it can hold [L]
    # collected at the spout when it is put there and taken away [L at 20 °C]
    from_l: float
    to_l: float
    # what is or will be in it [L, % vol]; the strength as measured where it was
    volume_l: float
    abv: float
    abv_pm: float  # half the band that holds its strength nine times in ten [% vol]
    fitted_abv: float  # its strength by the fitted course [% vol]
    measured: bool  # whether its strength was measured
    full_min: float  # minute at which it was or will be taken away, from switch-on
    word: str  # how it tastes


@dataclass(frozen=True)
class Order:
    """Something to do."""

    # heat (turn it on), first_drop (wait for it), jar (change it), empty (taste it, empty it into the keep),
    # off (turn off a plate that goes on giving heat), stop, level (the pot is near its least) or pour
    kind: str
    jar: int | None = None  # the jar that is due
    at_min: float | None = None  # when [min from switch-on]
    collected_l: float | None = None  # what is collected by then [L]


@dataclass(frozen=True)
class Poured:
    """Jars poured together, and the water that brings them to bottling strength."""

    jars: tuple[int, ...]  # which
    # what is poured together, without water: by the fitted course, or as measured [L, % vol, g]
    volume_l: Band
    abv: Band
    mass_g: Band
    measured: Measured | None  # what was measured in the jug; what was poured in before that is in it
    # what is in the jug now, water included [L, % vol]
    jug_l: float
    jug_abv: float
    target_abv: float | None  # bottling strength [% vol]; ``None`` if nothing is let down
    # all the water that is still missing [g]; ``None`` where there is no bottling strength
    water_g: Band | None
    # what is safe to pour now [g]: nine tenths before the jug has been read again, and never more than the
    # least that may be missing
    first_g: float
    poured_g: float  # water that was poured already [g]
    end_l: float  # volume at bottling strength [L]
    bottles: int | None  # full bottles; ``None`` if no bottle is named
    left_over_l: float  # what fills none [L]
    weak: bool  # whether it is below bottling strength already


class _Span(NamedTuple):
    """Where a jar lies on the collected axis, and what was noted of it."""

    number: int
    role: str
    size_l: float
    from_l: float
    to_l: float
    noted: JarState | None


@dataclass
class UnderWay:
    """A run with its journal and the forecast from it."""

    run: Run  # as planned
    journal: Journal  # what happened
    forecast: Forecast  # by the readings of the journal
    off_before_min: float = 0.0  # so long before the stop a plate is turned off [min]
    _jars: tuple[JarUnderWay, ...] | None = field(default=None, repr=False)

    # Places -----------------------------------------------------------------------------------------------

    @property
    def _held(self) -> Array:
        tracks = self.forecast.fit.tracks
        return np.asarray(tracks.rows.hold_up_l + self.forecast.fit.bench.parrot_l)

    @property
    def _caught(self) -> Array:
        """Share of what runs out that is collected, on every track."""
        return np.asarray(1.0 - self.forecast.fit.tracks.rows.lost)

    def _amounts(self, collected_l: Array) -> tuple[Array, Array]:
        """Moles of ethanol and water collected at places on the collected axis, shape (k, n)."""
        fit, held, caught = self.forecast.fit, self._held[:, None], self._caught[:, None]
        over = np.minimum(collected_l / caught + held, fit.tracks.points.over_l[:, -1:])
        ethanol, water = run_out(fit.tracks, over, held)
        return caught * ethanol, caught * water

    def _likeliest(self, collected_l: Array, name: str) -> Array:
        """Something along the likeliest course at places on the collected axis."""
        tracks = self.forecast.fit.tracks
        places = collected_l / float(self._caught[0]) + float(self._held[0])
        places = np.minimum(places, tracks.points.over_l[0, -1])
        return np.asarray(tracks.at(np.broadcast_to(places, (len(self._held), places.size)), name)[0][0])

    def minutes(self, collected_l: Array) -> Array:
        """When so much is collected, on the likeliest course [min from switch-on]."""
        minutes = self._likeliest(np.append(collected_l, self.forecast.collected_l), "elapsed_s") / 60.0
        return np.asarray(minutes[:-1] - minutes[-1] + self.forecast.elapsed_min)

    def vapour_k(self, collected_l: Array) -> Array:
        """Temperature of the vapour when so much is collected, on the likeliest course [K]."""
        return self._likeliest(collected_l, "vapour_k")

    def collected_at(self, minute: float) -> float:
        """What is collected at a minute, on the likeliest course [L]."""
        places = np.linspace(0.0, self.end_l, 257)
        return float(np.interp(minute, self.minutes(places), places))

    @property
    def end_l(self) -> float:
        """All collected at the stop [L]: as noted once the heat is off, else as forecast."""
        spans = [j.to_l for j in self._noted_spans]
        if self.journal.heat_off is not None:
            return max([*spans, self._off_l])
        return max([*spans, self.forecast.stop_l.value])

    @cached_property
    def _off_l(self) -> float:
        """What is over once the heat is off, on the likeliest course [L]; a plate goes on for a while."""
        off = self.journal.heat_off
        minute = None if off is None else self.journal.minute(off)
        if minute is None or (not self.journal.readings and minute < self.first_drop_min):
            return self.forecast.collected_l
        held, most = float(self._held[0]), float(self.forecast.fit.tracks.points.over_l[0, -1])
        places = np.linspace(0.0, max((most - held) * float(self._caught[0]), 1e-6), 513)
        over = float(np.interp(minute + self.off_before_min, self.minutes(places), places))
        return max(over, self.forecast.collected_l)

    # Jars -------------------------------------------------------------------------------------------------

    @cached_property
    def _noted_spans(self) -> tuple[_Span, ...]:
        planned, begin = self.run.jars, 0.0
        spans: list[_Span] = []
        for jar in self.journal.jars:
            like = planned[min(jar.number, len(planned)) - 1] if planned else None
            reading = self._reading_of(jar.number)
            end = reading.collected_l if reading is not None else None
            volume = jar.volume_l
            if volume is None and end is None:
                volume = (like.to_l - like.from_l) if like else 0.0
            end = begin + (volume or 0.0) if end is None else max(end, begin)
            role = like.role if like else "keep"
            spans.append(_Span(jar.number, role, like.size_l if like else end - begin, begin, end, jar))
            begin = end
        return tuple(spans)

    def _reading_of(self, number: int) -> Reading | None:
        """What was read of a jar; ``None`` if nothing was."""
        for record in self.journal.standing:
            if getattr(record.event, "jar", None) == number:
                reading = self.journal.reading_of(record.id)
                if reading is not None:
                    return reading
        return None

    def _coming_spans(self) -> list[_Span]:
        """Jars that are not noted yet, up to the stop."""
        if not self.run.jars or self.journal.heat_off is not None:
            return self._last_span()
        return self._unnoted_spans(self.forecast.stop_l.value)

    def _unnoted_spans(self, end: float) -> list[_Span]:
        """Jars that are not noted, up to a place: as planned, the last size again and again."""
        planned, noted = self.run.jars, self._noted_spans
        begin = noted[-1].to_l if noted else 0.0
        number = noted[-1].number + 1 if noted else 1
        spans: list[_Span] = []
        while planned and begin < end - SLIVER_L and len(spans) < MOST_COMING:
            like = planned[min(number, len(planned)) - 1]
            width = like.size_l if number >= len(planned) else like.to_l - like.from_l
            if self.working_l is not None and like.role != "heads":
                width = self.working_l
            close = min(begin + width, end)
            if end - close < SLIVER_L:
                close = end
            spans.append(_Span(number, like.role, like.size_l, begin, close, None))
            begin, number = close, number + 1
        return spans

    def _last_span(self) -> list[_Span]:
        """What ran into a jar that nobody noted before the heat went off."""
        noted = self._noted_spans
        begin, end = (noted[-1].to_l if noted else 0.0), self._off_l
        if end - begin < SLIVER_L or not self.run.jars or self.journal.heat_off is None:
            return []
        number = noted[-1].number + 1 if noted else 1
        like = self.run.jars[min(number, len(self.run.jars)) - 1]
        if noted and end - begin < LAST_SHARE * like.size_l:  # it was noted as the heat went off
            return []
        return [_Span(number, like.role, like.size_l, begin, end, None)]

    @property
    def jars(self) -> tuple[JarUnderWay, ...]:
        """The jars in order: those noted, the one under the spout, those to come."""
        if self._jars is None:
            self._jars = self._laid()
        return self._jars

    def _laid(self) -> tuple[JarUnderWay, ...]:
        spans = [*self._noted_spans, *self._coming_spans()]
        if not spans:
            return ()
        ethanol, water = self._parts(spans)
        abv = np.asarray(strength.abv_from_moles(ethanol, water))
        spread = BAND_ERRORS * self.forecast.fit.spread(abv)
        full = self.minutes(np.array([s.to_l for s in spans]))
        flowing = next((k for k, s in enumerate(spans) if s.noted is None), -1)
        begun = self.journal.heat_on is not None and self.journal.heat_off is None
        found = []
        for k, span in enumerate(spans):
            measured = self._measured_abv(span.number)
            at = self.journal.minute(span.noted.at) if span.noted else None
            found.append(
                JarUnderWay(
                    number=span.number,
                    role=span.role,
                    state=_state(span, k == flowing and begun, self.journal.heat_off is not None),
                    size_l=span.size_l,
                    from_l=span.from_l,
                    to_l=span.to_l,
                    volume_l=self._volume(span),
                    abv=float(abv[0, k]) if measured is None else measured,
                    abv_pm=float(spread[k]) if measured is None else BAND_ERRORS * READ_ABV,
                    fitted_abv=float(abv[0, k]),
                    measured=measured is not None,
                    full_min=float(full[k]) if at is None else at,
                    word=span.noted.word if span.noted else "",
                )
            )
        return tuple(found)

    def _parts(self, spans: Sequence[_Span]) -> tuple[Array, Array]:
        """Moles of ethanol and water between the ends of each span on every track, shape (k, n)."""
        ends = np.array([[s.from_l, max(s.to_l, s.from_l + 1e-6)] for s in spans])
        places = np.broadcast_to(ends.ravel(), (len(self._held), 2 * len(spans)))
        ethanol, water = self._amounts(places)
        return (
            np.maximum(ethanol[:, 1::2] - ethanol[:, ::2], 1e-12),
            np.maximum(water[:, 1::2] - water[:, ::2], 1e-12),
        )

    def _volume(self, span: _Span) -> float:
        if span.noted is not None and span.noted.volume_l is not None:
            return span.noted.volume_l
        return span.to_l - span.from_l

    def _measured_abv(self, number: int) -> float | None:
        reading = self._reading_of(number)
        return None if reading is None or reading.entry.of != "jar" else reading.abv

    # Orders -----------------------------------------------------------------------------------------------

    @property
    def orders(self) -> tuple[Order, ...]:
        """What there is to do, the next first; of what is under way all that is still due."""
        if self.journal.heat_on is None:
            return (Order("heat"),)
        if self.journal.heat_off is not None:
            return (Order("pour"),)
        found: list[Order] = []
        if not self.journal.readings and not self.journal.jars:
            found.append(Order("first_drop", at_min=self.first_drop_min, collected_l=0.0))
        found += self.changes
        stop_l, stop_min = self.end_l, self.stop_min
        if self.off_before_min:
            at = stop_min - self.off_before_min
            found.append(Order("off", None, at, self.collected_at(at)))
        found.append(Order("stop", None, stop_min, stop_l))
        bare = self.forecast.bare
        if bare is not None:
            at_min = self.forecast.elapsed_min + bare.in_min
            found.append(Order("level", None, at_min, self.forecast.collected_l + bare.in_l))
        return tuple(sorted(found, key=lambda order: order.at_min or 0.0))

    @property
    def changes(self) -> tuple[Order, ...]:
        """When the jars that are not noted are changed as planned, up to the stop or the heat going off."""
        kind = "jar" if self.working_l is None else "empty"
        spans = [span for span in self._unnoted_spans(self.end_l) if span.to_l < self.end_l - SLIVER_L]
        minutes = self.minutes(np.array([span.to_l for span in spans]))
        return tuple(
            Order(kind, span.number, float(at), span.to_l) for span, at in zip(spans, minutes, strict=True)
        )

    @property
    def working_l(self) -> float | None:
        """Size of the one small jar that is emptied into the keep again and again [L]; ``None`` for none."""
        return self.run.plan.jars.working_l

    @property
    def stop_min(self) -> float:
        """When the run stops [min from switch-on]: when the heat went off, or as forecast."""
        off: datetime | None = self.journal.heat_off
        at = None if off is None else self.journal.minute(off)
        return float(self.minutes(np.array([self.end_l]))[0]) if at is None else at

    @property
    def first_drop_min(self) -> float:
        """When the first drop falls [min from switch-on]."""
        return float(self.minutes(np.array([0.0]))[0])

    # Pouring ----------------------------------------------------------------------------------------------

    @property
    def kept(self) -> tuple[int, ...]:
        """Jars that are poured together: as chosen; else those emptied into the keep; else as planned."""
        there = [jar for jar in self.jars if jar.state in ("over", "safe", "flowing", "out")]
        chosen = self.journal.latest(Pool)
        if chosen is not None:
            return tuple(jar.number for jar in there if jar.number in chosen.jars)
        if any(jar.state == "safe" for jar in there):
            return tuple(jar.number for jar in there if jar.state == "safe")
        planned = self.run.plan.jars.keep
        return tuple(
            jar.number
            for jar in there
            if jar.state != "out" and (jar.number in planned if planned else jar.role == "keep")
        )

    def pour(self, numbers: Sequence[int] | None = None) -> Poured:
        """Return jars poured together, those kept if none are named, with the water that is missing."""
        wanted = self.kept if numbers is None else tuple(sorted(set(numbers)))
        there = {jar.number: k for k, jar in enumerate(self.jars)}
        check_jars(wanted, there, "jars")
        if not wanted:
            raise RequestError.of("no_jar_poured", "jars")
        volume, abv = self._pooled([self.jars[there[n]] for n in wanted])
        stretch = self.run.plan.bottling.stretch
        if stretch is not None:
            ends = zip(_ends(volume), _ends(abv), strict=True)
            mixed = [strength.mix([v, stretch.spirit_l], [a, stretch.abv]) for v, a in ends]
            volume = Band(*(m.volume_l for m in mixed))
            abv = Band(*(m.abv for m in mixed))
        return self._let_down(wanted, volume, abv)

    def _pooled(self, jars: Sequence[JarUnderWay]) -> tuple[Band, Band]:
        """Volume and strength of jars poured together, with their bands."""
        spans = [_Span(j.number, j.role, j.size_l, j.from_l, j.to_l, None) for j in jars]
        ethanol, water = self._parts(spans)
        fitted = np.asarray(strength.volume_from_moles(ethanol, water))
        scale = np.array([j.volume_l for j in jars]) / np.maximum(fitted, 1e-9)
        ethanol, water = ethanol * scale, water * scale
        own = 0.0
        total = sum(j.volume_l for j in jars)
        for k, jar in enumerate(jars):
            if jar.measured:
                ethanol[:, k], water[:, k] = strength.moles(jar.volume_l, jar.abv)
                own += (READ_ABV * jar.volume_l / total) ** 2
        volume = np.asarray(strength.volume_from_moles(ethanol.sum(axis=1), water.sum(axis=1)))
        abv = np.asarray(strength.abv_from_moles(ethanol.sum(axis=1), water.sum(axis=1)))
        abv_pm = BAND_ERRORS * float(np.hypot(self.forecast.fit.spread(abv), np.sqrt(own)))
        volume_pm = BAND_ERRORS * READ_L * len(jars) ** 0.5
        return (
            Band(float(volume[0]), max(float(volume[0]) - volume_pm, 0.0), float(volume[0]) + volume_pm),
            Band(float(abv[0]), max(float(abv[0]) - abv_pm, 0.0), min(float(abv[0]) + abv_pm, 100.0)),
        )

    def _let_down(self, wanted: tuple[int, ...], volume: Band, abv: Band) -> Poured:
        measured: Measured | None = self.journal.latest(Measured)
        pooled_g = _mass(volume, abv)
        poured_g, after_g = self._water()
        jug_l, jug_abv = volume, abv
        if measured is not None:
            jug_l, jug_abv = _jug(measured, abv)
            if not poured_g - after_g:
                volume, abv, pooled_g = jug_l, jug_abv, _mass(jug_l, jug_abv)
        added_l = (after_g if measured is not None else poured_g) / _WATER_G_PER_L
        now = strength.mix([jug_l.value, added_l], [jug_abv.value, 0.0])
        bottling = self.run.plan.bottling
        target = bottling.abv
        missing, end_l, first = None, now.volume_l, 0.0
        if target is not None:
            missing = _missing(jug_l, jug_abv, added_l, target)
            end_l = strength.mix([now.volume_l, missing.value / _WATER_G_PER_L], [now.abv, 0.0]).volume_l
            last = poured_g > 0.0 and measured is not None
            first = missing.value if last else min(FIRST_SHARE * missing.value, missing.low)
        bottles = None if bottling.bottle_l is None else int(end_l / bottling.bottle_l + 1e-9)
        left = end_l - (bottles or 0) * (bottling.bottle_l or 0.0)
        return Poured(
            jars=wanted,
            volume_l=volume,
            abv=abv,
            mass_g=pooled_g,
            measured=measured,
            jug_l=now.volume_l,
            jug_abv=now.abv,
            target_abv=target,
            water_g=missing,
            first_g=first,
            poured_g=poured_g,
            end_l=end_l,
            bottles=bottles,
            left_over_l=left,
            weak=target is not None and now.abv < target - TOLD_ABV,
        )

    def _water(self) -> tuple[float, float]:
        """All the water poured, and that poured since the jug was last measured [g]."""
        records = self.journal.standing
        measured = [r.at for r in records if isinstance(r.event, Measured)]
        since = max(measured, default=None)
        water = [(r.at, r.event.mass_g) for r in records if isinstance(r.event, Water)]
        after = sum(g for at, g in water if since is None or at > since)
        return sum(g for _, g in water), after


_WATER_G_PER_L = 1000.0 * float(strength.mass_of(1.0, 0.0))


def _state(span: _Span, flowing: bool, off: bool) -> str:
    if span.noted is None:
        return "over" if off else "flowing" if flowing else "coming"
    return {True: "safe", False: "out", None: "over"}[span.noted.kept]


def _ends(band: Band) -> tuple[float, float, float]:
    return band.value, band.low, band.high


def _mass(volume: Band, abv: Band) -> Band:
    """Mass of a volume [g]; its ends are those of the volume."""
    return Band(*(1000.0 * float(strength.mass_of(v, abv.value)) for v in _ends(volume)))


def _jug(measured: Measured, fitted: Band) -> tuple[Band, Band]:
    """What is in the jug as measured; what was not measured is as fitted."""
    at_c = strength.REFERENCE_C if measured.read_c is None else measured.read_c
    if measured.read_abv is None:
        abv = fitted
    else:
        true = float(strength.true_abv(measured.read_abv, at_c))
        pm = BAND_ERRORS * READ_ABV
        abv = Band(true, max(true - pm, 0.0), min(true + pm, 100.0))
    if measured.mass_g is not None:
        per = 1000.0 * float(strength.mass_of(1.0, abv.value))
        pm = BAND_ERRORS * READ_G / per
        volume_l = measured.mass_g / per
    else:
        volume_l = float(strength.volume_at(measured.volume_l or 0.0, abv.value, at_c, strength.REFERENCE_C))
        pm = BAND_ERRORS * READ_L
    return Band(volume_l, max(volume_l - pm, 0.0), volume_l + pm), abv


def _missing(volume: Band, abv: Band, added_l: float, target_abv: float) -> Band:
    """Water that is missing [g]; nothing if it is too weak already."""

    def grams(volume_l: float, strength_abv: float) -> float:
        now = strength.mix([volume_l, added_l], [strength_abv, 0.0])
        if now.abv <= target_abv:
            return 0.0
        return float(strength.water_to_reach(now.volume_l, now.abv, target_abv)) * _WATER_G_PER_L

    value = grams(volume.value, abv.value)
    least = value - float(
        np.hypot(value - grams(volume.low, abv.value), value - grams(volume.value, abv.low))
    )
    most = value + float(
        np.hypot(grams(volume.high, abv.value) - value, grams(volume.value, abv.high) - value)
    )
    return Band(value, max(least, 0.0), most)
