"""What is known before the first reading, and readings as the fit takes them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field, fields, replace
from functools import lru_cache
from typing import Any, Literal, get_args

import numpy as np

from potsim.errors import VOL, RangeError, RequestError, UnknownNameError, require
from potsim.liquid import equilibrium, strength
from potsim.planning.charge import KIND_DOUBT, heat_doubt
from potsim.planning.plan import LeftOver
from potsim.planning.run import Run
from potsim.planning.stops import ZERO_C
from potsim.records import dataclass
from potsim.still import still
from potsim.still.courses import Bench
from potsim.still.family import family
from potsim.still.observed import NAMES, Observed, Prior
from potsim.still.still import LEAST_TILT_PER_K, MOST_RATIO, MOST_TILT_PER_K, Span, Stills

LOST_LEARNT = 0.05  # share lost, once something is read: 0 to 15 %, three of these; a flask run lost 16 %
CHARGE_LEARNT = 0.03  # of the charge's strength, once something is read: a slip in blending; no source
LEAST_SHARE, MOST_SHARE = 0.25, 1.15  # of the power on the plate, that may arrive
MOST_LOST = 0.3
VOLATILITY_DOUBT = 0.015  # of ln alpha: half of what published sets differ by, as our fit is to all of them
START_DOUBT = (0.15, 180.0)  # of the heat-up, and s: metal and cold corners; common practice, no source
THERMOMETER_DOUBT_K = 0.7  # its own half a degree, and the weather; common practice, no source
HOLD_UP_DOUBT = 0.015  # of the charge's volume; common practice, no source
LEAST_RATIO_DOUBT = 0.02  # of a neck said to shed nothing
WIDE = 5.0  # standard errors up to which values are sought
WIDEST = {"time_scale": 3.0, "lost": 1.0, "charge_l": 0.4, "volatility_error": 0.1, "vapour_offset_k": 8.0}
LEAST_REACH = 0.2  # ratio up to which a neck is sought at least
SPARE = 0.7  # of the largest ratio of the tables, that the plan's own may take at the least power
MOST_HOLD_UP = 0.15  # of the charge's volume
BEYOND = 1.25  # of the plan's depletion at the stop, followed at least
LAST_SHARE = 0.97  # of the charge's moles, followed at most


@dataclass(frozen=True)
class HoldUp:
    """What the condenser holds back."""

    volume_l: float  # as far as it is known [L]
    error_l: float  # its standard error [L]


def hold_up(run: Run, volume_l: float | None = None) -> HoldUp:
    """Return what is known of the hold-up: what was measured, or next to nothing."""
    if volume_l is None:
        return HoldUp(0.0, HOLD_UP_DOUBT * run.charge.volume_l)
    most = MOST_HOLD_UP * run.charge.volume_l
    if not 0.0 <= volume_l < most:
        raise RequestError.of("hold_up", "hold_up", given=volume_l, allowed=most)
    return HoldUp(volume_l, max(0.2 * volume_l, 1e-3))


def prior_of(run: Run, held: HoldUp) -> Prior:
    """Return what the plan says of the still and the charge, with the plan's own doubt."""
    conditions, doubt = run.setting.still.conditions, run.plan.uncertainty
    ratio = float(Stills.like(conditions).ratio(_reference_k(conditions.pressure_pa))[0])
    net_w = _planned_net_w(run)
    heat = heat_doubt(run.plan.still, doubt.power)
    abv_error, volume_error = _charge_doubt(run)
    mean = {
        "ratio": ratio,
        "charge_abv": run.charge.abv,
        "start_s": run.course.first_drop_s,
        "hold_up_l": held.volume_l,
        "lost": run.setting.still.lost,
    }
    error = {
        "ratio": max(ratio * doubt.neck_loss, LEAST_RATIO_DOUBT),
        "time_scale": math.hypot(heat.either, heat.less / math.sqrt(2.0)) * conditions.power_w / net_w,
        "charge_abv": abv_error,
        "charge_l": volume_error,
        "volatility_error": VOLATILITY_DOUBT,
        "start_s": math.hypot(START_DOUBT[0] * run.course.first_drop_s, START_DOUBT[1]),
        "hold_up_l": held.error_l,
        "lost": doubt.lost,
        "vapour_offset_k": THERMOMETER_DOUBT_K,
        "pot_offset_k": THERMOMETER_DOUBT_K,
    }
    means = np.array([mean.get(name, 0.0) for name in NAMES])
    errors = np.array([max(error[name], 1e-6) for name in NAMES])
    reach = np.array([WIDEST.get(name, WIDE * size) for name, size in zip(NAMES, errors, strict=True)])
    low, high = means - reach, means + reach
    high[0] = max(high[0], LEAST_REACH)
    for name, least, most in (
        ("ratio", 0.0, MOST_RATIO),
        ("charge_abv", 0.5, 94.0),
        ("start_s", 0.0, math.inf),
        ("hold_up_l", 0.0, MOST_HOLD_UP * run.charge.volume_l),
        ("lost", 0.0, max(MOST_LOST, 2.0 * means[NAMES.index("lost")])),
    ):
        k = NAMES.index(name)
        low[k], high[k] = max(low[k], least), min(max(high[k], means[k] + errors[k]), most)
    return Prior(means, errors, low, high, run.charge.volume_l)


def opened(prior: Prior, readings: Sequence[Reading], run: Run) -> Prior:
    """Return what is known before with the doubt that readings may settle; nothing read leaves the plan's."""
    error = prior.error.copy()
    least = {
        "time_scale": KIND_DOUBT if any(r.entry.elapsed_min is not None for r in readings) else 0.0,
        "lost": LOST_LEARNT if readings else 0.0,
        "charge_abv": CHARGE_LEARNT * run.charge.abv if any(r.abv is not None for r in readings) else 0.0,
    }
    low, high = prior.low.copy(), prior.high.copy()
    for name, size in least.items():
        k = NAMES.index(name)
        error[k] = max(error[k], size)
    k = NAMES.index("charge_abv")
    low[k] = max(prior.mean[k] - WIDE * error[k], 0.5)
    high[k] = min(prior.mean[k] + WIDE * error[k], 94.0)
    return replace(prior, error=error, low=low, high=high)


def _charge_doubt(run: Run) -> tuple[float, float]:
    """Standard errors of the charge: strength [% vol], and volume, relative."""
    doubt, parts = run.plan.uncertainty, run.charge.parts
    if any(isinstance(part, LeftOver) for part in run.plan.charge) or not parts:
        return doubt.abv, doubt.volume
    volume = sum(p.volume_l for p in parts)
    strong = [p.volume_l * doubt.abv for p in parts if p.abv > 0.0]
    moved = [p.volume_l * doubt.volume * (p.abv - run.charge.abv) for p in parts]
    abv = math.hypot(*strong, *moved) / volume
    return max(abv, 0.05), max(doubt.volume * math.hypot(*[p.volume_l for p in parts]) / volume, 1e-3)


def bench_of(run: Run, readings: Sequence[Reading], prior: Prior) -> Bench:
    """Return what all tracks of a run share: tables, powers, parrot."""
    still = run.setting.still
    conditions = still.conditions
    first_w, changes = powers(run, readings)
    above = _reference_k(conditions.pressure_pa) - conditions.room_k
    shed = conditions.pot_loss_w_per_k * above
    taken = conditions.neck_loss_w_per_k * above
    all_w = np.array([first_w, *(power for _, power in changes)])
    # What the neck takes, and how steeply that rises, decide how little power can be followed.
    floor_w = max(taken / (SPARE * MOST_RATIO), shed / above / (MOST_TILT_PER_K - 1.0 / above), 1.0)
    least_part = max(LEAST_SHARE / still.heat_share, (floor_w + shed) / float(all_w.min()))
    if least_part > 1.0:
        needed_w = still.on_plate_w(floor_w + shed)
        values = {"given": float(all_w.min()), "allowed": needed_w, "shed_w": shed, "neck_w": taken}
        raise RequestError.of("little_to_follow", "power", **values)
    most_part = MOST_SHARE / still.heat_share
    net = np.concatenate([part * all_w - shed for part in (least_part, 1.0, most_part)])
    least = float(net.min())
    pot_tilt = shed / above / net
    highest = float(prior.high[0]) * _planned_net_w(run) / least
    return Bench(
        family=family(
            Span(
                pressure_pa=conditions.pressure_pa,
                lowest_ratio=0.0,
                highest_ratio=min(MOST_RATIO, highest),
                lowest_tilt=float(max(1.0 / above + pot_tilt.min(), LEAST_TILT_PER_K)),
                highest_tilt=float(1.0 / above + pot_tilt.max()),
                pot_tilt=float(pot_tilt.min()),
                volatility_error=WIDEST["volatility_error"],
                pot_tilt_reach=float(pot_tilt.max() - pot_tilt.min()),
            )
        ),
        power_w=first_w,
        net_power_w=first_w - shed,
        heat_share=still.heat_share,
        room_k=conditions.room_k,
        power_changes=changes,
        parrot_l=max((r.parrot_l for r in readings if r.parrot_l is not None), default=0.0),
        share=_share(run, readings),
    )


def _planned_net_w(run: Run) -> float:
    c = run.setting.still.conditions
    return float(Stills.like(c).net_power_w(_reference_k(c.pressure_pa))[0])


def on_bench(prior: Prior, bench: Bench, run: Run) -> Prior:
    """Return what is known before, seen from the powers that were told."""
    factor = _planned_net_w(run) / bench.net_power_w
    mean, error = prior.mean.copy(), prior.error.copy()
    low, high = prior.low.copy(), prior.high.copy()
    mean[0], error[0] = factor * mean[0], factor * error[0]
    all_w = np.array([bench.power_w, *(power for _, power in bench.power_changes)])
    span, above = bench.family.span, bench.family.reference_k - bench.room_k
    # Parts of the power at which the tables end: by the tilt that the pot's loss makes, and by all of it.
    steepest = (1.0 - 1e-9) * (span.highest_tilt - 1.0 / above)
    least_net = bench.shed_w / above / steepest if steepest > 0.0 and bench.shed_w > 0.0 else 1.0
    least_part = max(LEAST_SHARE / bench.heat_share, (least_net + bench.shed_w) / float(all_w.min()))
    parts = np.array([MOST_SHARE / bench.heat_share, least_part])
    ends = np.log(bench.net_power_w / (parts * bench.power_w - bench.shed_w))
    k = NAMES.index("time_scale")
    low[k], high[k] = ends[0] + 1e-9, ends[1] - 1e-9
    weakest = float(least_part * all_w.min() - bench.shed_w)
    high[0] = min(factor * high[0], span.highest_ratio * weakest / bench.net_power_w * (1.0 - 1e-9))
    return replace(prior, mean=mean, error=error, low=low, high=high)


def _share(run: Run, readings: Sequence[Reading]) -> float:
    """How much of the charge's moles is followed: past the stop, the least level and every reading."""
    stop = -math.expm1(-BEYOND * run.end.depletion - 0.1)
    collected = max((r.collected_l or 0.0 for r in readings), default=0.0)
    mass = max((r.mass_g or 0.0 for r in readings), default=0.0)
    if collected > 0.9 * run.charge.volume_l or mass > 900.0 * run.charge.mass_kg:
        of = ("collected", collected, run.charge.volume_l, "volume")
        if not collected:
            of = ("mass", mass, 1000.0 * run.charge.mass_kg, "mass_about")
        path, given, allowed, quantity = of
        raise RequestError.of("more_than_charged", path, given=given, allowed=allowed, quantity=quantity)
    read = collected / run.charge.volume_l + mass / (1000.0 * run.charge.mass_kg)
    return min(LAST_SHARE, max(stop, 1.15 * read + 0.1))


def powers(run: Run, readings: Sequence[Reading]) -> tuple[float, tuple[tuple[float, float], ...]]:
    """Return the power at the first drop, and its changes by what was collected."""
    still = run.setting.still
    planned = [(p.from_collected_l, p.power_w) for p in still.power_changes]
    first_w = now_w = still.conditions.power_w  # in the pot; what is told stands on the plate
    told: list[tuple[float, float]] = []
    last_l = 0.0
    for reading in readings:
        if reading.collected_l is not None:
            last_l = reading.collected_l
        if reading.entry.power_w is None:
            continue
        power = still.heat_share * reading.entry.power_w  # in the pot, of what is printed on the plate
        if reading.collected_l is None and last_l == 0.0:
            continue  # during the heat-up
        if last_l == 0.0:
            first_w = now_w = power
        elif power != now_w:
            told, now_w = [one for one in told if one[0] < last_l] + [(last_l, power)], power
    if any(r.entry.power_w is not None and r.collected_l is not None for r in readings):
        planned = [one for one in planned if one[0] > last_l]
    return first_w, (*told, *planned)


def told_during_run(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Leave out the readings of the heat-up: all before something is over, but the first drop itself."""
    for k, reading in enumerate(readings):
        if reading.collected_l is not None or reading.mass_g is not None or reading.abv is not None:
            return tuple(readings[k:])
    return ()


def observed_of(readings: Sequence[Reading]) -> Observed:
    """Return readings as arrays for the fit."""

    def column(values: list[float | None]) -> np.ndarray:
        return np.array([math.nan if value is None else value for value in values], dtype=float)

    return Observed(
        collected_l=column([r.collected_l for r in readings]),
        mass_g=column([r.mass_g for r in readings]),
        elapsed_s=60.0 * column([r.entry.elapsed_min for r in readings]),
        abv=column([r.abv for r in readings]),
        vapour_k=column([r.entry.vapour_c for r in readings]) + ZERO_C,
        pot_k=column([r.entry.pot_c for r in readings]) + ZERO_C,
        from_l=column([r.from_l for r in readings]),
        from_g=column([r.from_g for r in readings]),
        in_parrot=np.array([r.entry.of == "parrot" for r in readings], dtype=bool),
    )


def refuse_water(run: Run) -> None:
    """Refuse to follow a run of water: strengths and temperatures would tell nothing."""
    if run.charge.ethanol_mol == 0.0:
        raise RequestError.of("no_alcohol")


@lru_cache(maxsize=16)
def _reference_k(pressure_pa: float) -> float:
    return still.reference_k(pressure_pa)


# --- What is read off at the still during a run: checked against what came before, raw and corrected.


Sample = Literal["stream", "jar", "parrot", "pooled"]
SAMPLES: tuple[str, ...] = get_args(Sample)
MOST_READINGS = 2000
MOST_MIN = 7 * 24 * 60.0
LIGHTEST, HEAVIEST = 0.75, 1.02  # g/mL; ethanol-water, a little warm or badly measured
SAME = 1e-9  # relative; two volumes that differ by rounding


# Of each number of an entry: what it is called, its field, least and most, its unit.
_LIMITS = (
    ("time", "elapsed_min", 0, MOST_MIN, "min"),
    ("collected", "collected_l", 0, 1e5, "L"),
    ("jar volume", "jar_l", 0, 1e5, "L"),
    ("mass", "mass_g", 0, 1e8, "g"),
    ("jar mass", "jar_g", 0, 1e8, "g"),
    ("parrot", "parrot_l", 0, 10, "L"),
    ("strength", "read_abv", 0, 100, VOL),
    ("read at", "read_c", -20, 40, "°C"),
    ("vapour temperature", "vapour_c", -20, 110, "°C"),
    ("pot temperature", "pot_c", -20, 110, "°C"),
    ("power", "power_w", 0, 1e6, "W"),
)


@dataclass(frozen=True)
class Entry:
    """One line as it was read off, in plain numbers; ``None`` for what was not read."""

    elapsed_min: float | None = None  # time since switch-on [min]
    collected_l: float | None = None  # all that has been collected by then, heads included [L at 20 °C]
    mass_g: float | None = None  # the same by mass [g]
    jar_l: float | None = None  # what one jar holds, beside all the jars before it [L at 20 °C]
    jar_g: float | None = None  # the same by mass [g]
    # what the strength was read of: what runs just now, a jar as a whole, a parrot, which mixes what runs
    # now with what ran before, or all so far poured together
    of: str = "stream"
    parrot_l: float | None = None  # what the parrot holds [L]; that of the reading before, or the plan's
    read_abv: float | None = None  # what the hydrometer shows [% vol], 0 to 100
    # temperature of the spirit round the hydrometer [°C], -20 to 40; 20 if left out
    read_c: float | None = None
    calibrated_c: float = strength.REFERENCE_C  # temperature for which the hydrometer was made [°C]
    vapour_c: float | None = None  # temperature of the vapour that leaves the neck [°C]
    pot_c: float | None = None  # temperature of the pot [°C]
    power_w: float | None = None  # power from here on [W]
    words: str = ""  # what else was noted
    hazy: bool = False  # whether the stream was seen hazy

    def __post_init__(self) -> None:
        if self.hazy and 0.0 in (self.collected_l, self.mass_g):
            raise RequestError.of("early_haze")
        for name, of, low, high, unit in _LIMITS:
            require(name, getattr(self, of), low, high, unit, open_low=of in ("parrot_l", "power_w"))
        if self.of not in SAMPLES:
            raise UnknownNameError("sample", self.of, SAMPLES)

    def to_dict(self) -> dict[str, Any]:
        """Return what was read, without what was not; for a journal."""
        return {
            item.name: getattr(self, item.name)
            for item in fields(self)
            if getattr(self, item.name) != item.default
        }

    @classmethod
    def from_dict(cls, given: dict[str, Any]) -> Entry:
        """Return the entry that `to_dict` wrote."""
        known = {item.name: item.default for item in fields(cls)}
        for name, value in given.items():
            if name not in known:
                raise UnknownNameError("quantity", str(name), known)
            wanted = type(known[name]) if isinstance(known[name], str | bool) else float
            if type(value) is not wanted and not (wanted is float and type(value) is int):
                raise RequestError.of("wrong_type", name, given=repr(value), allowed=wanted.__name__)
        return cls(**given)


@dataclass(frozen=True)
class Reading:
    """One line, completed from the lines before it and corrected."""

    number: int  # from 1, in the order of the run
    line: int  # where it stands in its file
    entry: Entry = field(repr=False)  # as read off
    collected_l: float | None = None  # all collected by then [L at 20 °C]
    mass_g: float | None = None  # the same by mass [g]
    from_l: float | None = None  # for a jar: what had been collected when it was put under the spout [L]
    from_g: float | None = None  # the same by mass [g]
    parrot_l: float | None = None  # for a parrot: what it holds [L]
    # strength at 20 °C, corrected for the temperature at which the hydrometer was read [% vol]
    abv: float | None = None

    @property
    def placed(self) -> bool:
        """Whether it tells how far the run has come."""
        return self.collected_l is not None or self.mass_g is not None or self.entry.elapsed_min is not None

    @property
    def where(self) -> dict[str, Any]:
        """What a reading is called by: where on the run it is, what it was read of, its number."""
        return {
            "collected_l": self.collected_l,
            "mass_g": self.mass_g,
            "elapsed_min": self.entry.elapsed_min,
            "read_of": self.entry.of,
            "number": self.number,
        }


def next_reading(
    before: Sequence[Reading],
    entry: Entry,
    *,
    line: int = 0,
    pressure_pa: float = equilibrium.ATMOSPHERE_PA,
    parrot_l: float | None = None,
) -> Reading:
    """Complete and check one line after those before it; ``parrot_l`` is what the plan's parrot holds."""
    if len(before) >= MOST_READINGS:
        raise RequestError.of("too_many", "readings", given=len(before) + 1, allowed=MOST_READINGS)
    _in_time(before, entry)
    collected_l, from_l = _so_far(before, "collected_l", _at_reference(entry), entry.jar_l)
    mass_g, from_g = _so_far(before, "mass_g", entry.mass_g, entry.jar_g)
    _agree(entry.collected_l, entry.mass_g, "collected", "mass")
    _agree(entry.jar_l, entry.jar_g, "jar volume", "jar mass")
    if entry.of == "jar" and entry.read_abv is not None and collected_l is None and mass_g is None:
        raise RequestError.of("how_much", of="jar")
    if entry.of == "pooled":
        from_l, from_g = _pool(entry, collected_l, mass_g)
    reading = Reading(
        number=len(before) + 1,
        line=line,
        entry=entry,
        collected_l=collected_l,
        mass_g=mass_g,
        from_l=from_l if entry.of in ("jar", "pooled") else None,
        from_g=from_g if entry.of in ("jar", "pooled") else None,
        parrot_l=_parrot(before, entry, parrot_l),
        abv=_corrected(entry, pressure_pa),
    )
    if not reading.placed:
        raise RequestError.of("not_placed")
    return reading


def _at_reference(entry: Entry) -> float | None:
    """All collected [L at 20 °C]; a pool measured warm or cold is brought to 20 °C by its own strength."""
    if entry.of != "pooled" or entry.collected_l is None or entry.read_c is None or entry.read_abv is None:
        return entry.collected_l
    w = float(strength.w_from_abv(_true_abv(entry)))
    there, here = (float(strength.density(w, t_c)) for t_c in (entry.read_c, strength.REFERENCE_C))
    return entry.collected_l * there / here


def _pool(entry: Entry, collected_l: float | None, mass_g: float | None) -> tuple[float | None, float | None]:
    """Where a pool begins: at the first drop, on the scale on which it is placed."""
    if entry.jar_l is not None or entry.jar_g is not None:
        raise RequestError.of("pool_and_jar")
    if collected_l is None and mass_g is None:
        raise RequestError.of("how_much", of="pooled")
    return (None, 0.0) if collected_l is None else (0.0, None)


def _in_time(before: Sequence[Reading], entry: Entry) -> None:
    last = _latest(before, "elapsed_min")
    if entry.elapsed_min is not None and last is not None and entry.elapsed_min < last:
        raise RequestError.of("falls", "time", given=entry.elapsed_min, last=last, quantity="minutes_exact")


def _latest(before: Sequence[Reading], name: str) -> float | None:
    for reading in reversed(before):
        value: float | None = getattr(reading.entry if name == "elapsed_min" else reading, name)
        if value is not None:
            return value
    return None


def _so_far(
    before: Sequence[Reading], name: str, total: float | None, jar: float | None
) -> tuple[float | None, float | None]:
    """All collected by now and when this jar began, from the total or from the jars; refuses a fall."""
    last = _latest(before, name) or 0.0
    ends = [getattr(r, name) for r in before if _is_jar(r.entry) and getattr(r, name) is not None]
    start = ends[-1] if ends else 0.0
    if total is None:
        if jar is None:
            return None, None
        start = start if start + jar >= last * (1.0 - SAME) else last
        return start + jar, start
    what, quantity = ("collected", "volume") if name == "collected_l" else ("mass", "mass")
    if total < last * (1.0 - SAME):
        raise RequestError.of("falls", what, given=total, last=last, quantity=quantity)
    if jar is None:
        return total, start
    if jar > total * (1.0 + SAME):
        raise RequestError.of("jar_of_more", what, given=total, jar=jar, quantity=quantity)
    return total, max(total - jar, 0.0)


def _is_jar(entry: Entry) -> bool:
    return entry.of == "jar" or entry.jar_l is not None or entry.jar_g is not None


def _agree(volume_l: float | None, mass_g: float | None, volume: str, mass: str) -> None:
    """Refuse a volume and a mass of one liquid that no spirit has."""
    if not volume_l or not mass_g:
        return
    heavy = mass_g / (1000.0 * volume_l)
    if not LIGHTEST <= heavy <= HEAVIEST:
        values: dict[str, Any] = {"volume": volume, "volume_l": volume_l, "mass": mass, "mass_g": mass_g}
        raise RequestError.of("no_spirit_so_dense", given=heavy, allowed=[LIGHTEST, HEAVIEST], **values)


def _parrot(before: Sequence[Reading], entry: Entry, planned_l: float | None) -> float | None:
    if entry.of != "parrot":
        return None
    if entry.parrot_l is not None:
        return entry.parrot_l
    for reading in reversed(before):
        if reading.parrot_l is not None:
            return reading.parrot_l
    if planned_l is None:
        raise RequestError.of("how_much", of="parrot")
    return planned_l


def _corrected(entry: Entry, pressure_pa: float) -> float | None:
    if entry.read_abv is None:
        return None
    abv = _true_abv(entry)
    most = _strongest(pressure_pa)
    if abv > most:
        raise RequestError.of("beyond_azeotrope", "strength", given=abv, allowed=most)
    return abv


def _true_abv(entry: Entry) -> float:
    """Strength at 20 °C of what the hydrometer shows [% vol]."""
    at_c = strength.REFERENCE_C if entry.read_c is None else entry.read_c
    assert entry.read_abv is not None
    try:
        return float(strength.true_abv(entry.read_abv, at_c, calibrated_c=entry.calibrated_c))
    except RangeError as error:
        inner = {"of": error.path, "shown": error.given}
        raise RequestError.of(
            "no_such_reading", "strength", given=entry.read_abv, allowed=error.allowed, at_c=at_c, **inner
        ) from None


@lru_cache(maxsize=16)
def _strongest(pressure_pa: float) -> float:
    """Strength of the azeotrope [% vol]."""
    return float(strength.abv_from_x(float(equilibrium.azeotrope(pressure_pa).x)))
