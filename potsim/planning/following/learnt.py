"""A still remembered: its losses from one run, refined by the next."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

from potsim.errors import RequestError
from potsim.planning.following.readings import Reading
from potsim.planning.following.verdicts import TELLS
from potsim.still.fit import Fit
from potsim.still.problem import NAMES

FROM_RUN_TO_RUN = 0.05  # of a loss: draught, lagging, weather; common practice, no source
APART = 3.0  # standard errors beyond which two runs do not agree


@dataclass(frozen=True)
class Loss:
    """Heat shed for each degree above the room.

    Parameters
    ----------
    w_per_k, error_w_per_k : float
        The loss and its standard error [W/K].
    runs : int
        Runs that it was learnt from.
    """

    w_per_k: float
    error_w_per_k: float
    runs: int = 1


@dataclass(frozen=True)
class Learnt:
    """What is remembered of a still.

    Parameters
    ----------
    neck, pot : Loss or None
        Losses; ``None`` for one that no reading told.
    runs : tuple of str
        Marks of the runs that are in it.
    notes : tuple of str
        What to heed, a sentence each.
    """

    neck: Loss | None
    pot: Loss | None
    runs: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def mark_of(title: str, readings: Sequence[Reading]) -> str:
    """Return the mark of a run: the same however far it has come.

    Parameters
    ----------
    title : str
        Title of its plan.
    readings : sequence of Reading
        At least one.

    Returns
    -------
    str
        Twelve letters and digits.
    """
    first = json.dumps([title, readings[0].entry.to_dict()], sort_keys=True)
    return hashlib.sha256(first.encode()).hexdigest()[:12]


def learn(fit: Fit, mark: str, before: Learnt | None = None) -> Learnt:
    """Remember the losses of a run, or refine what is remembered by them.

    Parameters
    ----------
    fit : Fit
        The still learnt from this run's readings.
    mark : str
        From `mark_of`.
    before : Learnt, optional
        What is remembered already.

    Returns
    -------
    Learnt
        To be remembered from now on.

    Raises
    ------
    RequestError
        If the readings told neither loss, or the run is in it already.

    Notes
    -----
    Earlier runs and this one are weighed by the squares of their standard errors. What the plan contributed
    to this run's answer is taken out first, so that a plan that names what is remembered does not count it
    twice; each run's own error gets 5 % on top, by which losses differ from run to run. Where two do not
    agree, the error grows with how far they lie apart.
    """
    if before is not None and mark in before.runs:
        raise RequestError(
            "This run is in the still already; it would count twice.",
            "To take it in anew with more readings, save to a new file.",
        )
    found = (
        ("neck", fit.neck_loss_w_per_k, fit.loss_errors[0], fit.told("ratio")),
        ("pot", fit.pot_loss_w_per_k, fit.loss_errors[1], fit.told("time_scale")),
    )
    if all(told < TELLS for *_, told in found):
        raise RequestError(
            "The readings tell neither what the neck sheds nor what the pot sheds; there is nothing to save.",
            "Read several strengths far apart, and a few times.",
        )
    prior = _prior_losses(fit)
    losses: dict[str, Loss | None] = {}
    notes: list[str] = []
    for (name, value, error, told), (plan, plan_error) in zip(found, prior, strict=True):
        old: Loss | None = getattr(before, name) if before is not None else None
        if told < TELLS:
            losses[name] = old
            kept = "it is left as it was" if old is not None else "it is not saved"
            notes.append(f"This run does not tell what the {name} sheds; {kept}.")
        elif old is None:
            losses[name] = _told(name, value, math.hypot(error, FROM_RUN_TO_RUN * value), 1, notes)
        else:
            losses[name] = _refined(name, old, _alone(value, error, plan, plan_error), notes)
    runs = (*(before.runs if before is not None else ()), mark)
    return Learnt(losses["neck"], losses["pot"], runs, tuple(notes))


def _told(name: str, value: float, error: float, runs: int, notes: list[str]) -> Loss:
    if value < 0.0:
        notes.append(
            f"The {name} seems to shed less than nothing ({value:.2f} W/K): there was more power than was "
            "said. It is saved as 0."
        )
    return Loss(max(value, 0.0), error, runs)


def _alone(value: float, error: float, plan: float, plan_error: float) -> tuple[float, float]:
    """What the readings say without the plan."""
    weight = 1.0 / error**2 - 1.0 / plan_error**2
    alone = (value / error**2 - plan / plan_error**2) / weight
    return alone, math.hypot(1.0 / math.sqrt(weight), FROM_RUN_TO_RUN * alone)


def _refined(name: str, old: Loss, new: tuple[float, float], notes: list[str]) -> Loss:
    value, error = new
    distance = abs(value - old.w_per_k) / math.hypot(error, old.error_w_per_k)
    if distance > APART:
        notes.append(
            f"This run says that the {name} sheds {value:.2f} ± {error:.2f} W/K, those before "
            f"{old.w_per_k:.2f} ± {old.error_w_per_k:.2f}: has the still, its lagging or the draught changed?"
        )
    weights = 1.0 / old.error_w_per_k**2, 1.0 / error**2
    both = sum(weights)
    mean = (weights[0] * old.w_per_k + weights[1] * value) / both
    return _told(name, mean, max(1.0, distance) / math.sqrt(both), old.runs + 1, notes)


def _prior_losses(fit: Fit) -> tuple[tuple[float, float], tuple[float, float]]:
    """Losses of neck and pot in the plan, each with its standard error [W/K]."""
    bench, prior = fit.bench, fit.prior
    above = bench.family.reference_k - bench.room_k
    net = bench.net_power_w
    ratio, scale = NAMES.index("ratio"), NAMES.index("time_scale")
    neck = float(prior.mean[ratio]) * net / above
    neck_error = math.hypot(float(prior.error[ratio]) * net / above, neck * float(prior.error[scale]))
    pot = (bench.power_w - net) / above
    return (neck, neck_error), (pot, net / above * float(prior.error[scale]))
