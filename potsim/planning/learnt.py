"""What is known of a still: before the first reading, by readings, and from run to run."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby
from typing import Any, NamedTuple

import numpy as np

from potsim.errors import RequestError
from potsim.liquid.compounds import ZERO_C_K
from potsim.planning.apparatus import KIND_DOUBT, heat_doubt
from potsim.planning.notes import Note, caution, hint
from potsim.planning.plan import LeftOver
from potsim.planning.readings import Reading
from potsim.planning.run import Run
from potsim.records import dataclass
from potsim.still import still
from potsim.still.courses import Bench
from potsim.still.family import family
from potsim.still.fit import FAR, Fit, Residual
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
MOST_COLLECTED = 0.9  # of the charge's volume or mass, that a reading may tell of
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


def opened(prior: Prior, run: Run) -> Prior:
    """Return what is known before with the doubt that readings may settle, the same before any of them."""
    error = prior.error.copy()
    least = {"time_scale": KIND_DOUBT, "lost": LOST_LEARNT, "charge_abv": CHARGE_LEARNT * run.charge.abv}
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
    all_w = np.array([first_w, *(power for _, power in changes)])
    least_part = max(LEAST_SHARE / still.heat_share, _enough(run, float(all_w.min())))
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


def _enough(run: Run, least_w: float) -> float:
    """Share of a power in the pot that must arrive to be followed; refuses one of which all is too little.

    What the neck takes, and how steeply that rises, decide how little can be followed.
    """
    still = run.setting.still
    above = _reference_k(still.conditions.pressure_pa) - still.conditions.room_k
    shed, taken = still.conditions.pot_loss_w_per_k * above, still.conditions.neck_loss_w_per_k * above
    floor_w = max(taken / (SPARE * MOST_RATIO), shed / above / (MOST_TILT_PER_K - 1.0 / above), 1.0)
    if floor_w + shed > least_w or still.heat_share < LEAST_SHARE:
        needed_w = still.on_plate_w(floor_w + shed)
        values = {"given": still.on_plate_w(least_w), "allowed": needed_w, "shed_w": shed, "neck_w": taken}
        raise RequestError.of("little_to_follow", "power", **values)
    return (floor_w + shed) / least_w


def check_reading(run: Run, reading: Reading) -> None:
    """Refuse a reading that cannot be of a run: of more than was charged, or a power that hardly boils it."""
    collected_l, mass_g, power_w = reading.collected_l or 0.0, reading.mass_g or 0.0, reading.entry.power_w
    for path, given, allowed, quantity in (
        ("collected", collected_l, run.charge.volume_l, "volume"),
        ("mass", mass_g, 1000.0 * run.charge.mass_kg, "mass_about"),
    ):
        if given > MOST_COLLECTED * allowed:
            values = {"given": given, "allowed": MOST_COLLECTED * allowed, "charge": allowed}
            raise RequestError.of("beyond_charge", path, quantity=quantity, **values)
    if power_w is not None and collected_l > 0.0:
        _enough(run, run.setting.still.heat_share * power_w)


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
        vapour_k=column([r.entry.vapour_c for r in readings]) + ZERO_C_K,
        pot_k=column([r.entry.pot_c for r in readings]) + ZERO_C_K,
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


# --- What readings tell of a still and what they cannot.


TELLS = 0.2  # narrowed down by so much, a number is told by the readings
ALIKE = 0.98  # two numbers that show so alike cannot be told apart
SHOWS = 0.5  # standard errors of the readings that a number's own doubt must move to matter
SCATTER = 1.5
SURE = 2.0  # standard errors from nothing, or from the plan, at which a number is told
OFFSET_K = 2.0
THERMOMETERS = {"vapour_offset_k": "vapour", "pot_offset_k": "pot"}
NUMBERS = ("ratio", "charge_abv", "charge_l", "hold_up_l", "time_scale")  # looked at beside the plan's own
PAIRS = (
    ("ratio", "charge_abv"),
    ("ratio", "charge_l"),
    ("charge_abv", "charge_l"),
    ("charge_l", "hold_up_l"),
    ("time_scale", "start_s"),
    ("time_scale", "lost"),
    ("charge_l", "lost"),
)


def odd_readings(fit: Fit, readings: Sequence[Reading]) -> tuple[Note, ...]:
    """Readings that do not fit."""
    odd = sorted((r for r in fit.residuals if r.left_out), key=lambda r: r.line)
    return tuple(
        _odd(one, readings[line]) for line, group in groupby(odd, key=lambda r: r.line) for one in group
    )


def _odd(residual: Residual, reading: Reading) -> Note:
    per, zero = 1.0, 0.0
    if residual.kind == "time":
        per = 60.0
    elif residual.kind != "strength":
        zero = ZERO_C_K
    return caution(
        "odd_reading",
        **reading.where,
        of=residual.kind,
        line=reading.line,
        off=residual.off / per,
        read=(residual.read - zero) / per,
        expected=(residual.fitted - zero) / per,
    )


def verdicts(fit: Fit) -> tuple[Note, ...]:
    """What the readings tell of the still, and what they cannot."""
    if not fit.residuals:
        return (hint("nothing_read"),)
    untold = _contradicted(fit)
    said = [caution("contradicts_plan", **untold)] if untold["numbers"] else []
    said += [
        tell(fit) for name, tell in (("ratio", _neck), ("time_scale", _heat)) if name not in untold["numbers"]
    ]
    said += _behind(fit)
    for one, other in PAIRS:
        if _shows(fit, one) and _shows(fit, other) and abs(fit.alike(one, other)) > ALIKE:
            said.append(hint("alike", one, other=other, correlation=fit.alike(one, other)))
    said += [
        caution("thermometer_off", where, off_k=fit.value(name))
        for name, where in THERMOMETERS.items()
        if abs(fit.value(name)) > OFFSET_K
    ]
    if fit.widened > SCATTER:
        said.append(hint("scatter", times=fit.widened))
    left = sum(r.left_out for r in fit.residuals)
    if 2 * left > len(fit.residuals):
        said.append(caution("most_do_not_fit", left_out=left, of=len(fit.residuals)))
    if fit.loosened:
        said.append(caution("plan_loosened"))
    away = dict(zip(NAMES, np.abs(fit.values - fit.prior.mean) / fit.prior.error, strict=True))
    far = [name for name in NUMBERS if away[name] > FAR - 1.0]
    if far:
        said.append(caution("far_from_plan", numbers=far))
    return tuple(said)


def _contradicted(fit: Fit) -> dict[str, Any]:
    """Numbers that enough was read for, and that are not told as it fits neither the plan nor itself."""
    count = {kind: sum(r.kind == kind for r in fit.residuals) for kind in ("strength", "time")}
    apart = fit.loosened or fit.widened > SCATTER
    needs = (("ratio", "strength"), ("time_scale", "time"))
    numbers = [name for name, kind in needs if apart and count[kind] > 1 and fit.told(name) < TELLS]
    return {"numbers": numbers, "strengths": count["strength"], "times": count["time"]}


def _shows(fit: Fit, name: str) -> bool:
    k = NAMES.index(name)
    return bool(fit.information[k, k] > SHOWS**2)


def _neck(fit: Fit) -> Note:
    loss = {"w_per_k": fit.neck_loss_w_per_k, "planned_w_per_k": fit.planned_neck_loss_w_per_k}
    if fit.told("ratio") < TELLS:
        return hint("neck_not_told", "neck", **loss)
    return hint("neck_told", "neck", **loss, error=fit.neck_loss_error, share=fit.neck_share)


def _heat(fit: Fit) -> Note:
    if fit.told("time_scale") < TELLS:
        return hint("heat_not_told", "still.heat_share")
    heat = {
        "share": fit.heat_share,
        "error": fit.heat_share_error,
        "planned": fit.bench.heat_share,
        "pot_w_per_k": fit.pot_loss_w_per_k,
    }
    bound = fit.at_bound("time_scale")  # the slower, the less arrives
    if bound is not None:
        beyond = "less" if bound == "high" else "more"
        return caution("heat_at_bound", "still.heat_share", **heat, beyond=beyond)
    return hint("heat_told", "still.heat_share", **heat)


def _behind(fit: Fit) -> list[Note]:
    """What the readings say of spirit that is lost and of the charge, where that is beyond their doubt."""
    said = []
    lost, abv = fit.value("lost"), fit.value("charge_abv")
    if fit.told("lost") >= TELLS and lost > SURE * fit.lost.error:
        said.append(caution("lost_told", "still.lost", share=lost, error=fit.lost.error))
    planned = float(fit.prior.mean[NAMES.index("charge_abv")])
    if abs(abv - planned) > SURE * fit.error("charge_abv"):
        values = {"abv": abv, "error": fit.error("charge_abv"), "planned_abv": planned}
        said.append(caution("charge_told", "charge.abv", **values))
    return said


# --- A still remembered: its losses from one run, refined by the next.


FROM_RUN_TO_RUN = 0.05  # of a loss: draught, lagging, weather; common practice, no source
APART = 3.0  # standard errors beyond which two runs do not agree


class Known(NamedTuple):
    """A number of a still as runs have told it."""

    value: float
    error: float  # its standard error, in the same unit
    runs: int = 1  # runs that it was learnt from


@dataclass(frozen=True)
class Learnt:
    """What is remembered of a still."""

    neck_w_per_k: Known | None  # heat that the neck sheds [W/K]; ``None`` if no reading told
    heat_share: Known | None  # share of the power on the plate that reaches the pot, 0 to 1
    runs: tuple[str, ...] = ()  # marks of the runs that are in it
    notes: tuple[Note, ...] = ()  # what to heed


def mark_of(title: str, readings: Sequence[Reading]) -> str:
    """Return the mark of a run: the same however far it has come."""
    first = json.dumps([title, readings[0].entry.to_dict()], sort_keys=True)
    return hashlib.sha256(first.encode()).hexdigest()[:12]


def learn(fit: Fit, mark: str, before: Learnt | None = None) -> Learnt:
    """Remember what a run told of its still, or refine what is remembered by it.

    Earlier runs and this one are weighed by the squares of their standard errors. What the plan
    contributed to this run's answer is taken out first, so that a plan that names what is remembered does
    not count it twice; each run's own error gets 5 % on top, by which stills differ from run to run. Where
    two do not agree, the error grows with how far they lie apart. The pot's loss is held: one run cannot
    part it from the share of the heat that arrives. What was not told is said, and stays as it was.
    """
    before = Learnt(None, None) if before is None else before
    if mark in before.runs:
        return replace(before, notes=(hint("run_known"),))
    notes: list[Note] = []
    net_w, above = fit.bench.net_power_w, fit.above_k
    scale, ratio = NAMES.index("time_scale"), NAMES.index("ratio")
    plan = fit.bench.heat_share
    neck = _remembered(
        "neck",
        (fit.neck_loss_w_per_k, fit.neck_loss_error, fit.told("ratio")),
        (fit.planned_neck_loss_w_per_k, float(fit.prior.error[ratio]) * net_w / above),
        before.neck_w_per_k,
        notes,
    )
    share = _remembered(
        "heat_share",
        (fit.heat_share, fit.heat_share_error, fit.told("time_scale")),
        (plan, float(fit.prior.error[scale]) * plan * net_w / fit.bench.power_w),
        before.heat_share,
        notes,
    )
    told = neck is not before.neck_w_per_k or share is not before.heat_share
    return Learnt(neck, share, (*before.runs, mark) if told else before.runs, tuple(notes))


def _remembered(
    name: str,
    found: tuple[float, float, float],
    plan: tuple[float, float],
    old: Known | None,
    notes: list[Note],
) -> Known | None:
    """A number with what this run tells of it: value, error and how far it is told, beside the plan's own."""
    value, error, told = found
    if told < TELLS:
        notes.append(hint("not_learnt", name, kept=old is not None))
        return old
    if old is None:
        return Known(value, math.hypot(error, FROM_RUN_TO_RUN * value))
    new, error = _alone(value, error, *plan)
    distance = abs(new - old.value) / math.hypot(error, old.error)
    if distance > APART:
        then = {"before": old.value, "error_before": old.error}
        notes.append(caution("learnt_differs", name, value=new, error=error, **then))
    weights = 1.0 / old.error**2, 1.0 / error**2
    both = sum(weights)
    mean = (weights[0] * old.value + weights[1] * new) / both
    return Known(max(mean, 0.0), max(1.0, distance) / math.sqrt(both), old.runs + 1)


def _alone(value: float, error: float, plan: float, plan_error: float) -> tuple[float, float]:
    """What the readings say without the plan."""
    weight = max(1.0 / error**2 - 1.0 / plan_error**2, 1e-3 / error**2)
    alone = (value / error**2 - plan / plan_error**2) / weight
    return alone, math.hypot(1.0 / math.sqrt(weight), FROM_RUN_TO_RUN * alone)
