"""What is known before the first reading, and readings as the fit takes them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from potsim.errors import RequestError
from potsim.planning.following.readings import Reading
from potsim.planning.plan import LeftOver
from potsim.planning.profile import ZERO_C
from potsim.planning.run import Run
from potsim.planning.volume_words import measured
from potsim.still import stills
from potsim.still.family import family
from potsim.still.observed import Observed
from potsim.still.problem import NAMES, Prior
from potsim.still.stills import LEAST_TILT_PER_K, MOST_RATIO, MOST_TILT_PER_K, Span, Stills
from potsim.still.tracks import Bench

POWER_DOUBT = 0.15  # of the power said: mains, element, what a plate loses; common practice, no source
VOLATILITY_DOUBT = 0.015  # of ln alpha: half of what published sets differ by, as our fit is to all of them
START_DOUBT = (0.15, 180.0)  # of the heat-up, and s: metal and cold corners; common practice, no source
THERMOMETER_DOUBT_K = 0.7  # its own half a degree, and the weather; common practice, no source
HOLD_UP_DOUBT = 0.015  # of the charge's volume; common practice, no source
LEAST_RATIO_DOUBT = 0.02  # of a neck said to shed nothing
WIDE = 5.0  # standard errors up to which values are sought
WIDEST = {"time_scale": 0.7, "charge_l": 0.4, "volatility_error": 0.1, "vapour_offset_k": 8.0}
LEAST_REACH = 0.2  # ratio up to which a neck is sought at least
SPARE = 0.7  # of the largest ratio of the tables, that the plan's own may take at the least power
MOST_HOLD_UP = 0.15  # of the charge's volume
BEYOND = 1.25  # of the plan's depletion at the stop, followed at least
LAST_SHARE = 0.97  # of the charge's moles, followed at most


@dataclass(frozen=True)
class HoldUp:
    """What the condenser holds back.

    Parameters
    ----------
    volume_l : float
        As far as it is known [L].
    error_l : float
        Its standard error [L].
    """

    volume_l: float
    error_l: float


def hold_up(run: Run, volume_l: float | None = None) -> HoldUp:
    """Return what is known of the hold-up: what was measured, or next to nothing.

    Parameters
    ----------
    run : Run
        The predicted run.
    volume_l : float, optional
        As measured [L].

    Returns
    -------
    HoldUp
        A measured one counts as good to a fifth.
    """
    if volume_l is None:
        return HoldUp(0.0, HOLD_UP_DOUBT * run.charge.volume_l)
    most = MOST_HOLD_UP * run.charge.volume_l
    if not 0.0 <= volume_l < most:
        raise RequestError(
            f"A hold-up of {1000.0 * volume_l:.0f} mL is given; allowed is 0 to {1000.0 * most:.0f} mL, "
            "a seventh of the charge.",
            "It is what stays in the condenser and its hose while the still runs.",
        )
    return HoldUp(volume_l, max(0.2 * volume_l, 1e-3))


def prior_of(run: Run, held: HoldUp) -> Prior:
    """Return what the plan says of the still and the charge, with the plan's own doubt.

    Parameters
    ----------
    run : Run
        The predicted run.
    held : HoldUp
        What the condenser holds back.

    Returns
    -------
    Prior
        For `potsim.still.fit.fit`.
    """
    conditions, doubt = run.setting.still.conditions, run.plan.uncertainty
    at_k = _reference_k(conditions.pressure_pa)
    still = Stills.like(conditions)
    ratio, net_w = float(still.ratio(at_k)[0]), float(still.net_power_w(at_k)[0])
    power_error = POWER_DOUBT * conditions.power_w / net_w
    pot_error = doubt.pot_loss * conditions.pot_loss_w_per_k * (at_k - conditions.room_k) / net_w
    net_error = math.hypot(power_error, pot_error)
    abv_error, volume_error = _charge_doubt(run)
    mean = {
        "ratio": ratio,
        "charge_abv": run.charge.abv,
        "start_s": run.course.first_drop_s,
        "hold_up_l": held.volume_l,
    }
    start_s = math.hypot(START_DOUBT[0] * run.course.first_drop_s, START_DOUBT[1])
    error = {
        "ratio": max(ratio * math.hypot(doubt.neck_loss, net_error), LEAST_RATIO_DOUBT),
        "time_scale": net_error,
        "charge_abv": abv_error,
        "charge_l": volume_error,
        "volatility_error": VOLATILITY_DOUBT,
        "start_s": start_s,
        "hold_up_l": held.error_l,
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
    ):
        k = NAMES.index(name)
        low[k], high[k] = max(low[k], least), min(max(high[k], means[k] + errors[k]), most)
    return Prior(means, errors, low, high, run.charge.volume_l)


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
    """Return what all tracks of a run share: tables, powers, parrot.

    Parameters
    ----------
    run : Run
        The predicted run.
    readings : sequence of Reading
        Those taken so far; they tell changes of power and the parrot.
    prior : Prior
        From `prior_of`; its bounds decide how far the tables reach.

    Returns
    -------
    Bench
        For `potsim.still.fit.fit`.

    Raises
    ------
    RequestError
        If power was changed, but it is not known where, or to less than the pot sheds.
    """
    conditions = run.setting.still.conditions
    first_w, changes = powers(run, readings)
    above = _reference_k(conditions.pressure_pa) - conditions.room_k
    shed = conditions.pot_loss_w_per_k * above
    net = np.array([first_w, *(power for _, power in changes)]) - shed
    least = float(net.min())
    # What the neck would take, and how steeply that rises, decide how little power can be followed.
    taken = conditions.neck_loss_w_per_k * above
    floor_w = max(taken / (SPARE * MOST_RATIO), shed / above / (MOST_TILT_PER_K - 1.0 / above))
    if least < floor_w:
        raise RequestError(
            f"The power is down to {least + shed:.0f} W, of which the pot sheds {shed:.0f} W and the neck "
            f"about {taken:.0f} W: too little comes over to be followed.",
            f"Correct the power to at least {floor_w + shed:.0f} W, or the losses of the plan.",
        )
    tilt = 1.0 / above + shed / above / net
    return Bench(
        family=family(
            Span(
                pressure_pa=conditions.pressure_pa,
                lowest_ratio=0.0,
                highest_ratio=min(MOST_RATIO, _ratio_at(prior, run, first_w - shed) * float(net[0]) / least),
                lowest_tilt=float(max(tilt.min(), LEAST_TILT_PER_K)),
                highest_tilt=float(tilt.max()),
                pot_tilt=float(shed / above / net[0]),
                volatility_error=WIDEST["volatility_error"],
            )
        ),
        power_w=first_w,
        net_power_w=first_w - shed,
        room_k=conditions.room_k,
        power_changes=changes,
        parrot_l=max((r.parrot_l for r in readings if r.parrot_l is not None), default=0.0),
        share=_share(run, readings),
    )


def _ratio_at(prior: Prior, run: Run, net_w: float) -> float:
    """Largest ratio sought, at another net power than the plan's."""
    return float(prior.high[0]) * _planned_net_w(run) / net_w


def _planned_net_w(run: Run) -> float:
    c = run.setting.still.conditions
    return float(Stills.like(c).net_power_w(_reference_k(c.pressure_pa))[0])


def on_bench(prior: Prior, bench: Bench, run: Run) -> Prior:
    """Return what is known before, seen from the powers that were told.

    Parameters
    ----------
    prior : Prior
        At the power of the plan.
    bench : Bench
        With the power that there was.
    run : Run
        The predicted run.

    Returns
    -------
    Prior
        The ratio is as many times larger as the net power is smaller, and sought as far as the tables reach.
    """
    factor = _planned_net_w(run) / bench.net_power_w
    shed = bench.power_w - bench.net_power_w
    least = min([bench.net_power_w, *(power - shed for _, power in bench.power_changes)])
    reach = bench.family.span.highest_ratio * least / bench.net_power_w * (1.0 - 1e-9)
    mean, error, high = prior.mean.copy(), prior.error.copy(), prior.high.copy()
    mean[0], error[0], high[0] = factor * mean[0], factor * error[0], min(factor * high[0], reach)
    return replace(prior, mean=mean, error=error, high=high)


def _share(run: Run, readings: Sequence[Reading]) -> float:
    """How much of the charge's moles is followed: past the stop, the least level and every reading."""
    stop = -math.expm1(-BEYOND * run.end.depletion - 0.1)
    collected = max((r.collected_l or 0.0 for r in readings), default=0.0)
    mass = max((r.mass_g or 0.0 for r in readings), default=0.0)
    if collected > 0.9 * run.charge.volume_l or mass > 900.0 * run.charge.mass_kg:
        amount = measured(collected) if collected else f"{mass:.0f} g"
        raise RequestError(
            f"{amount} are collected, of a charge of {run.charge.volume_l:.3g} L.",
            "Is the plan that of this run?",
        )
    read = collected / run.charge.volume_l + mass / (1000.0 * run.charge.mass_kg)
    return min(LAST_SHARE, max(stop, 1.15 * read + 0.1))


def powers(run: Run, readings: Sequence[Reading]) -> tuple[float, tuple[tuple[float, float], ...]]:
    """Return the power at the first drop, and its changes by what was collected.

    Parameters
    ----------
    run : Run
        The predicted run.
    readings : sequence of Reading
        Those taken so far.

    Returns
    -------
    first_w : float
        Power at the first drop [W].
    changes : tuple of (float, float)
        Collected volume [L] and power from there on [W]; the plan's own as far as readings do not overtake
        them.
    """
    still = run.setting.still
    planned = [(p.from_collected_l, p.power_w) for p in still.power_changes]
    first_w = now_w = still.conditions.power_w
    told: list[tuple[float, float]] = []
    last_l = 0.0
    for reading in readings:
        if reading.collected_l is not None:
            last_l = reading.collected_l
        power = reading.entry.power_w
        if power is None:
            continue
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
    """Leave out the readings of the heat-up: all before something is over, but the first drop itself.

    Parameters
    ----------
    readings : sequence of Reading
        All.

    Returns
    -------
    tuple of Reading
        Those that tell of the run.
    """
    for k, reading in enumerate(readings):
        if reading.collected_l is not None or reading.mass_g is not None or reading.abv is not None:
            return tuple(readings[k:])
    return ()


def observed_of(readings: Sequence[Reading]) -> Observed:
    """Return readings as arrays for the fit.

    Parameters
    ----------
    readings : sequence of Reading
        From `told_during_run`.

    Returns
    -------
    Observed
        In SI units, strengths in % vol and volumes in litres.
    """

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
    """Refuse to follow a run of water: strengths and temperatures would tell nothing.

    Parameters
    ----------
    run : Run
        The predicted run.

    Raises
    ------
    RequestError
        If the charge holds no alcohol.
    """
    if run.charge.ethanol_mol == 0.0:
        raise RequestError(
            "The charge holds no alcohol: there is nothing to follow.", "Follow a run of spirit."
        )


@lru_cache(maxsize=16)
def _reference_k(pressure_pa: float) -> float:
    return stills.reference_k(pressure_pa)
