"""What is uncertain in a plan, and how it is drawn."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from potsim.liquid import strength
from potsim.planning.plan import Bottling, Ingredient, Stop, Uncertainty
from potsim.planning.run import Run
from potsim.still.course import EXHAUSTED
from potsim.still.family import family
from potsim.still.still import Still
from potsim.still.stills import Span, Stills

Array = NDArray[np.float64]

# Standard deviation of a relative error of ln alpha that the model's misfit to published vapour compositions
# near one atmosphere amounts to: Kamihama et al. 2012, Carey & Lewis 1932, Rieder & Thompson 1949 and Beebe
# et al. 1942 (380 mmHg) are each met best with +0.021, -0.015, -0.028 and -0.015; the root mean square.
VOLATILITY_SD = 0.02
FURTHEST = 4.0  # standard deviations within which numbers are drawn
COLDEST_K, WARMEST_K = 273.15, 318.15  # rooms drawn
CHARGE = "strength of "
VOLUME, NECK, POT, ROOM = "volume of the charge", "neck loss", "pot loss", "temperature of the room"
EQUILIBRIUM = "vapour data"
GRID = 41  # points of the bands along the run


@dataclass(frozen=True)
class Input:
    """An uncertain number.

    Parameters
    ----------
    name : str
        What it is, in words.
    size : float
        Its standard deviation: of the number itself for strengths [% vol], the room [K] and the vapour data;
        of its logarithm for volume and losses, which stay positive.
    """

    name: str
    size: float


@dataclass(frozen=True)
class Edge:
    """Where a jar begins or ends.

    Parameters
    ----------
    at : {'collected', 'keep_end', 'end'}
        By volume, or with the keep or the run.
    collected_l : float
        Pooled distillate there in the plan's own run [L].
    """

    at: str
    collected_l: float


@dataclass(frozen=True)
class Study:
    """All that the draws of a plan are computed from; small, and fit to be sent to other processes.

    Parameters
    ----------
    parts : tuple of Ingredient
        What the charge is blended from.
    botanical_water_mol : float
        Water that the botanicals bring.
    solids_l : float
        Volume of botanicals in the pot [L].
    still : Still
        The plan's still.
    inputs : tuple of Input
        What is uncertain.
    span : Span
        Stills that may be drawn.
    stop, tails_from : Stop
        What ends the run and the keep; ``cloudy`` and ``over`` are taken from the plan's own run.
    stop_at, tails_at : float
        Depletion at which ``cloudy`` or ``over`` end them there; infinite if they do not.
    edges : tuple of Edge
        Of the jars, one more than jars.
    roles : tuple of str
        Of the jars.
    kept : tuple of int
        Positions of the jars that are pooled.
    heads_l : float
        Heads [L].
    bottling : Bottling
        As in the plan.
    grid_l : tuple of float
        Pooled distillate at which the curve is told [L].
    reach : float
        Depletion to which runs are looked at first.
    """

    parts: tuple[Ingredient, ...]
    botanical_water_mol: float
    solids_l: float
    still: Still
    inputs: tuple[Input, ...]
    span: Span
    stop: Stop
    tails_from: Stop
    stop_at: float
    tails_at: float
    edges: tuple[Edge, ...]
    roles: tuple[str, ...]
    kept: tuple[int, ...]
    heads_l: float
    bottling: Bottling
    grid_l: tuple[float, ...]
    reach: float


@dataclass(frozen=True)
class Drawn:
    """Draws of the uncertain numbers; arrays of shape (n,).

    Parameters
    ----------
    ethanol_mol, water_mol : ndarray
        The charges.
    stills : Stills
        The stills.
    """

    ethanol_mol: Array
    water_mol: Array
    stills: Stills


def study_of(run: Run, *, model_misfit: bool = True) -> Study:
    """Return the study of a run's uncertainties.

    Parameters
    ----------
    run : Run
        The plan's own run.
    model_misfit : bool
        Whether the misfit of the vapour data counts.

    Returns
    -------
    Study
        Without draws yet.
    """
    still, points = run.setting.still, run.points
    inputs = _inputs(run.plan.uncertainty, run.charge.parts, still, model_misfit=model_misfit)
    collected_l = float(run.collected_l[-1])
    tails = run.plan.cuts.tails_from or Stop()
    return Study(
        parts=run.charge.parts,
        botanical_water_mol=sum(float(strength.moles(d.water_brought_l, 0.0).water_mol) for d in run.bill),
        solids_l=sum(dose.solids_volume_l for dose in run.bill if dose.dose.where == "pot"),
        still=still,
        inputs=inputs,
        span=_span(still, inputs),
        stop=run.setting.stop,
        tails_from=tails,
        stop_at=_stop_at(run),
        tails_at=points.keep_end if (tails.over or tails.cloudy) and points.keep_end < points.end else np.inf,
        edges=_edges(run),
        roles=tuple(jar.role for jar in run.jars),
        kept=tuple(k for k, jar in enumerate(run.jars) if jar.number in run.keep.jars),
        heads_l=run.setting.heads_l,
        bottling=run.plan.bottling,
        grid_l=tuple(np.linspace(0.0, collected_l, GRID).tolist()),
        reach=min(2.0 * points.end + 0.2, 6.0),
    )


def standard_numbers(study: Study, size: int, seed: np.random.SeedSequence) -> Array:
    """Draw standard normal numbers, none further out than four standard deviations.

    Parameters
    ----------
    study : Study
        What is uncertain.
    size : int
        Number of draws.
    seed : SeedSequence
        Where the numbers come from.

    Returns
    -------
    ndarray, shape (size, inputs)
        The numbers.
    """
    tail = 3.167124183311998e-05  # of the normal distribution beyond FURTHEST
    uniform = np.random.default_rng(seed).random((size, len(study.inputs)))
    return np.asarray(ndtri(tail + (1.0 - 2.0 * tail) * uniform))


def drawn(study: Study, z: Array) -> Drawn:
    """Turn standard normal numbers into charges and stills.

    Parameters
    ----------
    study : Study
        What is uncertain.
    z : ndarray, shape (n, inputs)
        Numbers, 0 for the plan's own value.

    Returns
    -------
    Drawn
        n charges and stills. Strengths are held between 0 and 100 % vol, rooms between 0 and 45 °C.
    """
    off = {one.name: one.size * z[:, k] for k, one in enumerate(study.inputs)}
    nothing = np.zeros(z.shape[0])
    larger = np.exp(off.get(VOLUME, nothing))
    ethanol, water = nothing.copy(), np.full_like(nothing, study.botanical_water_mol)
    for number, part in enumerate(study.parts):
        abv = np.clip(part.abv + off.get(_strength_of(number, part), nothing), 0.0, 100.0)
        each = strength.moles(part.volume_l * larger, abv)
        ethanol, water = ethanol + each.ethanol_mol, water + each.water_mol
    c = study.still.conditions
    stills = Stills(
        power_w=np.full_like(nothing, c.power_w),
        neck_loss_w_per_k=c.neck_loss_w_per_k * np.exp(off.get(NECK, nothing)),
        pot_loss_w_per_k=c.pot_loss_w_per_k * np.exp(off.get(POT, nothing)),
        room_k=np.clip(c.room_k + off.get(ROOM, nothing), COLDEST_K, WARMEST_K),
        volatility_error=off.get(EQUILIBRIUM, nothing),
    )
    return Drawn(ethanol, water, stills)


def can_run(study: Study, drawn: Drawn) -> NDArray[np.bool_]:
    """Whether each draw can be run at all: enough heat under every power, a charge that a pot separates."""
    pressure_pa = study.still.conditions.pressure_pa
    fine = drawn.stills.can_run(pressure_pa)
    for change in study.still.power_changes:
        fine &= drawn.stills.with_power(change.power_w).can_run(pressure_pa)
    boiling = drawn.stills.with_power(study.still.heat_up_power_w).net_power_w(373.15)
    x = drawn.ethanol_mol / (drawn.ethanol_mol + drawn.water_mol)
    return np.asarray(fine & (boiling > 0.0) & (x <= family(study.span).highest_x))


def _strength_of(number: int, part: Ingredient) -> str:
    return f"{CHARGE}{part.name} ({number + 1})"


def _inputs(
    given: Uncertainty, parts: tuple[Ingredient, ...], still: Still, *, model_misfit: bool
) -> tuple[Input, ...]:
    """All that is uncertain; what is certain, or nothing, is left out."""
    c = still.conditions
    wanted = [
        *(Input(_strength_of(k, p), given.abv) for k, p in enumerate(parts) if p.abv > 0.0),
        Input(VOLUME, _spread(given.volume)),
        Input(NECK, _spread(given.neck_loss) if c.neck_loss_w_per_k > 0.0 else 0.0),
        Input(POT, _spread(given.pot_loss) if c.pot_loss_w_per_k > 0.0 else 0.0),
        Input(ROOM, given.room_c),
        Input(EQUILIBRIUM, VOLATILITY_SD if model_misfit else 0.0),
    ]
    return tuple(one for one in wanted if one.size > 0.0)


def _spread(relative: float) -> float:
    """Standard deviation of the logarithm of a number of given relative standard deviation."""
    return float(np.sqrt(np.log1p(relative**2)))


def _span(still: Still, inputs: tuple[Input, ...]) -> Span:
    """Stills at the ends of all draws, the plan's own first."""
    c = still.conditions
    size = {one.name: FURTHEST * one.size for one in inputs}
    powers = [c.power_w, *(change.power_w for change in still.power_changes)]
    ends = [(0.0, 0.0, 0.0, c.power_w)]
    ends += itertools.product((-1.0, 1.0), (-1.0, 1.0), (-1.0, 1.0), powers)
    neck, pot, room, power_w = np.array(ends).T
    error = np.zeros_like(neck)
    error[0] = size.get(EQUILIBRIUM, 0.0)
    extremes = Stills(
        power_w=power_w,
        neck_loss_w_per_k=c.neck_loss_w_per_k * np.exp(size.get(NECK, 0.0) * neck),
        pot_loss_w_per_k=c.pot_loss_w_per_k * np.exp(size.get(POT, 0.0) * pot),
        room_k=np.clip(c.room_k + size.get(ROOM, 0.0) * room, COLDEST_K, WARMEST_K),
        volatility_error=error,
    )
    return Span.over(extremes, c.pressure_pa)


def _stop_at(run: Run) -> float:
    """Depletion at which the run ends but for stops that are looked for in every draw."""
    if run.end.reason in ("cloudy", "over", "exhausted"):
        return run.points.end
    looked_for = set(run.setting.stop.named) - {"cloudy", "over"}
    return np.inf if looked_for else EXHAUSTED


def _edges(run: Run) -> tuple[Edge, ...]:
    """Edges of the jars, those at a cut that moves from draw to draw marked so."""
    points = run.points
    edges = [Edge("collected", run.jars[0].from_l)]
    for jar in run.jars:
        at = "collected"
        if jar.end_depletion == points.end:
            at = "end"
        elif jar.role == "keep" and abs(jar.end_depletion - points.keep_end) < 1e-9:
            at = "keep_end"
        edges.append(Edge(at, jar.to_l))
    return tuple(edges)
