"""What readings tell of a still and what they cannot, and what is remembered of it from run to run."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any, NamedTuple

from potsim.planning.notes import Note, caution, hint
from potsim.planning.readings import Reading
from potsim.planning.stops import ZERO_C
from potsim.records import dataclass
from potsim.still.fit import FAR, Fit, Residual
from potsim.still.observed import NAMES

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
        zero = ZERO_C
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
    far = [name for name in NUMBERS if _away(fit, name) > FAR - 1.0]
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


def _away(fit: Fit, name: str) -> float:
    k = NAMES.index(name)
    return float(abs(fit.values[k] - fit.prior.mean[k]) / fit.prior.error[k])


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
