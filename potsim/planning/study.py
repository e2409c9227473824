"""What many draws of one plan come to, all at once."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from potsim.liquid import strength
from potsim.planning.plan import BY_FLAVOUR, Bottling, Ingredient, Stop, Uncertainty
from potsim.planning.run import Run
from potsim.planning.schema import Watch
from potsim.planning.stops import WATCHED, ZERO_C, margin
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED
from potsim.still.courses import Courses, ManyStates, courses, family
from potsim.still.receiver import first_parrot_abv
from potsim.still.still import MOST_LOST, Span, Still, Stills

Array = NDArray[np.float64]

CURVES = ("stream_abv", "pot_abv", "vapour_c", "recovered", "elapsed_min")
STOP = ("collected_l", "stream_abv", "pot_abv", "mean_abv", "recovered", "elapsed_min")


def names(study: Study) -> tuple[str, ...]:
    """Names of the single answers, in the order of `answers`."""
    out = ["charge.volume_l", "charge.abv", "first_drop_min", *(f"stop.{name}" for name in STOP)]
    out += [
        f"{role}.{name}" for role in ("heads", "tails") if role in study.roles for name in ("volume_l", "abv")
    ]
    out += ["keep.volume_l", "keep.abv", "keep.ethanol_l"]
    if study.bottling.abv is not None:
        out += ["proofing.water_l", "proofing.volume_l"]
        out += ["proofing.bottles"] if study.bottling.bottle_l is not None else []
    numbers = range(1, len(study.roles) + 1)
    return (*out, *(f"jars.{k}.{name}" for name in ("volume_l", "abv", "full_min") for k in numbers))


def answers(study: Study, z: Array) -> tuple[Array, Array]:
    """Run all draws."""
    draws = drawn(study, z)
    single = np.full((z.shape[0], len(names(study))), np.nan)
    curve = np.full((z.shape[0], len(CURVES), len(study.grid_l)), np.nan)
    fine = can_run(study, draws)
    if not fine.any():
        return single, curve
    mol = (draws.ethanol_mol + draws.water_mol)[fine]
    ethanol = draws.ethanol_mol[fine]
    got = 1.0 - draws.lost[fine]
    runs = courses(family(study.span), mol, ethanol / mol, draws.stills.where(fine), study.still, got)
    end, keep_end = _ends(study, runs)
    ended = np.isfinite(end)
    fine[fine] = ended
    if not fine.any():
        return single, curve
    runs, end, keep_end = runs.where(ended), end[ended], keep_end[ended]
    by_volume = np.array([*(edge.collected_l for edge in study.edges), *study.grid_l])
    there = runs.at_collected(by_volume, study.reach)
    jars = len(study.edges)
    single[fine] = _single(study, runs, end, _answer_edges(study, there[:, :jars], end, keep_end))
    curve[fine] = _curve(runs, there[:, jars:])
    return single, curve


def _ends(study: Study, runs: Courses) -> tuple[Array, Array]:
    """Depletions at which run and keep end; infinite where the plan's stop never comes, or at once."""
    end = np.minimum(_first(study.stop, runs, study.reach, study.still.parrot_l), study.stop_at)
    end = np.where(end > 0.0, end, np.inf)
    least_l = study.still.min_level_l
    ended = np.flatnonzero(np.isfinite(end))
    if least_l > 0.0 and ended.size:

        def margin(states: ManyStates) -> Array:
            return least_l - states.pot_hot_l - study.solids_l

        bare = margin(runs.at(np.where(np.isfinite(end), end, 0.0)[:, None]))[:, 0] >= 0.0
        bare &= np.isfinite(end)
        if bare.any():
            level = runs.where(bare).first(margin, study.reach)
            end[bare] = np.where(level > 0.0, np.minimum(level, end[bare]), np.inf)
    keep_end = np.minimum(_first(study.tails_from, runs, study.reach, study.still.parrot_l), study.tails_at)
    return end, np.minimum(keep_end, end)


def _first(stop: Stop, runs: Courses, reach: float, parrot_l: float | None) -> Array:
    """Depletion at which the first of the conditions comes."""
    out = np.full(runs.charge_mol.shape, np.inf)
    for key, value in stop.named.items():
        if key == "parrot_abv" and parrot_l is not None:
            out = np.minimum(out, first_parrot_abv(runs, parrot_l, value, reach))
        elif key in WATCHED:
            out = np.minimum(out, runs.first(_margin(WATCHED[key], value), reach))
    return out


def _margin(watch: Watch, value: float) -> Callable[[ManyStates], Array]:
    return lambda states: margin(watch, _quantity(states, watch.quantity), value)


def _single(study: Study, runs: Courses, end: Array, edges: Array) -> Array:
    """Answers in the order of `names`, from the depletions at which jars begin and end."""
    there, states = runs.at(end[:, None]), runs.at(edges)
    ethanol = np.maximum(np.diff(states.over_ethanol_mol), 0.0)
    water = np.maximum(np.diff(states.over_mol) - ethanol, 0.0)
    charged = runs.charge_mol * runs.charge_x
    columns = [
        np.asarray(strength.volume_from_moles(charged, runs.charge_mol - charged)),
        np.asarray(strength.abv_from_x(runs.charge_x)),
        runs.first_drop_s / 60.0,
        *(_quantity(there, name)[:, 0] for name in STOP),
    ]
    roles = np.array(study.roles)
    for role in ("heads", "tails"):
        if role in study.roles:
            columns += _poured(ethanol[:, roles == role].sum(axis=1), water[:, roles == role].sum(axis=1))
    kept = list(study.kept)
    keep = ethanol[:, kept].sum(axis=1), water[:, kept].sum(axis=1)
    keep_l, keep_abv = _poured(*keep)
    columns += [keep_l, keep_abv, keep_l * keep_abv / 100.0]
    columns += _bottled(study, *keep)
    jar_l, jar_abv = _poured(ethanol, water)
    full_min = np.where(jar_l > 0.0, states.elapsed_s[:, 1:] / 60.0, np.nan)
    return np.concatenate([np.stack(columns, axis=1), jar_l, jar_abv, full_min], axis=1)


def _answer_edges(study: Study, by_volume: Array, end: Array, keep_end: Array) -> Array:
    """Depletions at which jars begin and end, shape (n, jars + 1)."""
    s = by_volume.copy()
    for k, edge in enumerate(study.edges):
        if edge.at != "collected":
            s[:, k] = end if edge.at == "end" else keep_end
    s = np.minimum(s, end[:, None])
    for k, role in enumerate(study.roles):
        if role == "keep":
            s[:, k + 1] = np.minimum(s[:, k + 1], keep_end)
        elif role == "tails":
            s[:, k + 1] = np.maximum(s[:, k + 1], keep_end)
    return np.maximum.accumulate(s, axis=1)


def _poured(ethanol: Array, water: Array) -> list[Array]:
    """Volume and strength of what is poured together; no strength of nothing."""
    some = ethanol + water > 0.0
    abv = np.asarray(strength.abv_from_moles(np.where(some, ethanol, 1.0), water))
    return [np.asarray(strength.volume_from_moles(ethanol, water)), np.where(some, abv, np.nan)]


def _bottled(study: Study, ethanol: Array, water: Array) -> list[Array]:
    """Water, volume and bottles; none where the keep is weaker than the bottling strength."""
    bottling = study.bottling
    if bottling.abv is None:
        return []
    if bottling.stretch is not None:
        added = strength.moles(bottling.stretch.spirit_l, bottling.stretch.abv)
        ethanol, water = ethanol + added.ethanol_mol, water + added.water_mol
    volume_l, abv = _poured(ethanol, water)
    strong = abv >= bottling.abv
    abv = np.where(strong, abv, bottling.abv)
    water_l = np.asarray(strength.water_to_reach(volume_l, abv, bottling.abv))
    more = np.asarray(strength.moles(water_l, 0.0).water_mol)
    bottled_l = np.asarray(strength.volume_from_moles(ethanol, water + more))
    out = [water_l, bottled_l]
    if bottling.bottle_l is not None:
        out.append(np.floor(bottled_l / bottling.bottle_l + 1e-9))
    return [np.where(strong, column, np.nan) for column in out]


def _curve(runs: Courses, s: Array) -> Array:
    there = np.isfinite(s)
    states = runs.at(np.where(there, s, 0.0))
    columns = [np.where(there, _quantity(states, name), np.nan) for name in CURVES]
    return np.stack(columns, axis=1)


def _quantity(states: ManyStates, name: str) -> Array:
    """A quantity of `potsim.planning.stops.Profile`."""
    if name in ("vapour_c", "pot_c"):
        return np.asarray(getattr(states, f"{name[:-2]}_k")) - ZERO_C
    if name == "elapsed_min":
        return states.elapsed_s / 60.0
    return np.asarray(getattr(states, name))


# --- What is uncertain in a plan, and how it is drawn.


# Standard deviation of a relative error of ln alpha that the model's misfit to published vapour compositions
# near one atmosphere amounts to: Kamihama et al. 2012, Carey & Lewis 1932, Rieder & Thompson 1949 and Beebe
# et al. 1942 (380 mmHg) are each met best with +0.021, -0.015, -0.028 and -0.015; the root mean square.
VOLATILITY_SD = 0.02
FURTHEST = 4.0  # standard deviations within which numbers are drawn
MOST_POWER_OFF = 2.5  # of the heat that arrives, which no plate multiplies: more would widen all tables
COLDEST_K, WARMEST_K = 273.15, 318.15  # rooms drawn
CHARGE = "strength of "
VOLUME, NECK, POT, ROOM = "volume of the charge", "neck loss", "pot loss", "temperature of the room"
POWER, LOST = "heat that arrives", "spirit lost"
EQUILIBRIUM = "vapour data"
GRID = 41  # points of the bands along the run


@dataclass(frozen=True)
class Input:
    """An uncertain number."""

    name: str  # what it is called
    # its standard deviation: of the number itself for strengths [% vol], the room [K] and the vapour data;
    # of its logarithm for volume, power and losses, which stay positive; of the spirit lost upwards alone
    size: float
    of_spirit: bool = False  # whether it is the strength of one part of the charge


@dataclass(frozen=True)
class Edge:
    """Where a jar begins or ends."""

    at: str  # by volume, or with the keep or the run
    collected_l: float  # pooled distillate there in the plan's own run [L]


@dataclass(frozen=True)
class Study:
    """All that the draws of a plan are computed from; small, and fit to be sent to other processes."""

    parts: tuple[Ingredient, ...]  # what the charge is blended from
    botanical_water_mol: float  # water that the botanicals bring
    solids_l: float  # volume of botanicals in the pot [L]
    still: Still  # the plan's still
    inputs: tuple[Input, ...]  # what is uncertain
    span: Span  # stills that may be drawn
    stop: Stop  # what ends the run and the keep; what is in `BY_FLAVOUR` is taken from the plan's own run
    tails_from: Stop
    stop_at: float  # depletion at which ``cloudy`` or ``over`` end them there; infinite if they do not
    tails_at: float  # depletion at which ``cloudy`` or ``over`` end them there; infinite if they do not
    edges: tuple[Edge, ...]  # of the jars, one more than jars
    roles: tuple[str, ...]  # of the jars
    kept: tuple[int, ...]  # positions of the jars that are pooled
    heads_l: float  # heads [L]
    bottling: Bottling  # as in the plan
    grid_l: tuple[float, ...]  # pooled distillate at which the curve is told [L]
    reach: float  # depletion to which runs are looked at first


@dataclass(frozen=True)
class Drawn:
    """Draws of the uncertain numbers; arrays of shape (n,)."""

    ethanol_mol: Array  # the charges
    water_mol: Array  # the charges
    stills: Stills  # the stills
    lost: Array  # share of what leaves the neck that is lost


def study_of(run: Run, *, model_misfit: bool = True) -> Study:
    """Return the study of a run's uncertainties."""
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
        tails_at=points.keep_end
        if (tails.over or tails.cloudy or tails.faded) and points.keep_end < points.end
        else np.inf,
        edges=_edges(run),
        roles=tuple(jar.role for jar in run.jars),
        kept=tuple(k for k, jar in enumerate(run.jars) if jar.number in run.keep.jars),
        heads_l=run.setting.heads_l,
        bottling=run.plan.bottling,
        grid_l=tuple(np.linspace(0.0, collected_l, GRID).tolist()),
        reach=min(2.0 * points.end + 0.2, 6.0),
    )


def standard_numbers(study: Study, size: int, seed: np.random.SeedSequence) -> Array:
    """Draw standard normal numbers, none further out than four standard deviations."""
    tail = 3.167124183311998e-05  # of the normal distribution beyond FURTHEST
    uniform = np.random.default_rng(seed).random((size, len(study.inputs)))
    return np.asarray(ndtri(tail + (1.0 - 2.0 * tail) * uniform))


def drawn(study: Study, z: Array) -> Drawn:
    """Turn standard normal numbers into charges and stills."""
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
        power_w=c.power_w * np.exp(_held(off.get(POWER, nothing), study.inputs)),
        neck_loss_w_per_k=c.neck_loss_w_per_k * np.exp(off.get(NECK, nothing)),
        pot_loss_w_per_k=c.pot_loss_w_per_k * np.exp(off.get(POT, nothing)),
        room_k=np.clip(c.room_k + off.get(ROOM, nothing), COLDEST_K, WARMEST_K),
        volatility_error=off.get(EQUILIBRIUM, nothing),
    )
    lost = np.minimum(study.still.lost + np.maximum(off.get(LOST, nothing), 0.0), MOST_LOST)
    return Drawn(ethanol, water, stills, lost)


def _held(off: Array, inputs: tuple[Input, ...]) -> Array:
    """Hold the power's doubt within what the tables are made for."""
    most = sum(MOST_POWER_OFF * one.size for one in inputs if one.name == POWER)
    return np.clip(off, -most, most)


def can_run(study: Study, drawn: Drawn) -> NDArray[np.bool_]:
    """Whether each draw can be run at all: enough heat under every power, a charge that a pot separates."""
    pressure_pa = study.still.conditions.pressure_pa
    fine = drawn.stills.can_run(pressure_pa)
    told = drawn.stills.power_w / study.still.conditions.power_w
    for change in study.still.power_changes:
        fine &= drawn.stills.with_power(told * change.power_w).can_run(pressure_pa)
    boiling = drawn.stills.with_power(told * study.still.heat_up_power_w).net_power_w(373.15)
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
        *(Input(_strength_of(k, p), given.abv, of_spirit=True) for k, p in enumerate(parts) if p.abv > 0.0),
        Input(VOLUME, _spread(given.volume)),
        Input(NECK, _spread(given.neck_loss) if c.neck_loss_w_per_k > 0.0 else 0.0),
        Input(POT, _spread(given.pot_loss) if c.pot_loss_w_per_k > 0.0 else 0.0),
        Input(POWER, _spread(given.power)),
        Input(LOST, given.lost),
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
    off = float(np.exp(size.get(POWER, 0.0) * MOST_POWER_OFF / FURTHEST))
    powers = [min(powers) / off, max(powers) * off]
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
    if run.end.reason in (*BY_FLAVOUR, "exhausted"):
        return run.points.end
    looked_for = set(run.setting.stop.named) & set(WATCHED)
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
