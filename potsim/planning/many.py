"""Many runs at once: drawn from what is uncertain in a plan, ended, cut and added up."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from potsim.liquid import strength
from potsim.planning.apparatus import heat_doubt
from potsim.planning.plan import BY_FLAVOUR, Bottling, Ingredient, Plan, Stop
from potsim.planning.run import Run
from potsim.planning.schema import Watch
from potsim.planning.stops import READERS, WATCHED, margin
from potsim.records import dataclass
from potsim.still.course import EXHAUSTED
from potsim.still.courses import Courses, ManyStates, courses
from potsim.still.family import family
from potsim.still.receiver import first_parrot_abv
from potsim.still.still import MOST_LOST, Span, Still, Stills

Array = NDArray[np.float64]

CURVES = ("stream_abv", "pot_abv", "vapour_c", "recovered", "elapsed_min")
STOP = ("collected_l", "stream_abv", "pot_abv", "mean_abv", "recovered", "elapsed_min")


@dataclass(frozen=True)
class Cuts:
    """What ends each run and its keep; a number for all, or an array of shape (n,)."""

    stop: Mapping[str, float | Array]  # stops that watch a course; of others `stop_at` tells
    tails_from: Mapping[str, float | Array]
    least_l: float | Array  # level that must stay in the pot [L]
    solids_l: float | Array  # volume of botanicals in the pot [L]
    parrot_l: float | None = None  # what the parrot holds [L]
    reach: float = 6.0  # depletion to which runs are looked at first
    stop_at: float = np.inf  # depletion at which runs end whatever else
    tails_at: float = np.inf  # depletion at which keeps end whatever else


def single_names(roles: Sequence[str], bottling: Bottling) -> tuple[str, ...]:
    """Names of the single answers, in the order of `single`."""
    out = ["charge.volume_l", "charge.abv", "first_drop_min", *(f"stop.{name}" for name in STOP)]
    out += [f"{role}.{name}" for role in ("heads", "tails") if role in roles for name in ("volume_l", "abv")]
    out += ["keep.volume_l", "keep.abv", "keep.ethanol_l"]
    if bottling.abv is not None:
        out += ["proofing.water_l", "proofing.volume_l"]
        out += ["proofing.bottles"] if bottling.bottle_l is not None else []
    return tuple(out)


def ends(cuts: Cuts, runs: Courses) -> tuple[Array, Array]:
    """Depletions at which run and keep end; infinite where the plan's stop never comes, or at once."""
    end = np.minimum(comes(cuts.stop, runs, cuts).min(axis=0, initial=np.inf), cuts.stop_at)
    end = np.where(end > 0.0, end, np.inf)
    end = bared(cuts, runs, end)
    tails = comes(cuts.tails_from, runs, cuts).min(axis=0, initial=np.inf)
    return end, np.minimum(np.minimum(tails, cuts.tails_at), end)


def bared(cuts: Cuts, runs: Courses, end: Array) -> Array:
    """Depletions at which runs end, or sooner where the pot's level falls to what must stay in it."""
    end = end.copy()
    if np.any(np.asarray(cuts.least_l) > 0.0) and np.isfinite(end).any():

        def margin_l(states: ManyStates) -> Array:
            least, solids = (_of(value, states) for value in (cuts.least_l, cuts.solids_l))
            return np.where(np.asarray(least) > 0.0, least - states.pot_hot_l - solids, -1.0)

        bare = margin_l(runs.at(np.where(np.isfinite(end), end, 0.0)[:, None]))[:, 0] >= 0.0
        bare &= np.isfinite(end)
        if bare.any():
            level = runs.where(bare).first(margin_l, cuts.reach)
            end[bare] = np.where(level > 0.0, np.minimum(level, end[bare]), np.inf)
    return end


def _of(value: float | Array, states: ManyStates) -> float | Array:
    """The value of each run, to be held against its states."""
    return value if np.ndim(value) == 0 else np.asarray(value)[states.courses.number][:, None]


def comes(stop: Mapping[str, float | Array], runs: Courses, cuts: Cuts) -> Array:
    """Depletions at which each condition comes, shape (conditions, n); infinite where it never does."""
    out = np.full((len(stop), runs.charge_mol.size), np.inf)
    for k, (key, value) in enumerate(stop.items()):
        if key == "parrot_abv" and cuts.parrot_l is not None:
            out[k] = first_parrot_abv(runs, cuts.parrot_l, float(value), cuts.reach)
        elif key in WATCHED:
            out[k] = runs.first(_margin(WATCHED[key], value), cuts.reach)
    return out


def _margin(watch: Watch, value: float | Array) -> Callable[[ManyStates], Array]:
    return lambda states: margin(watch, READERS[watch.quantity](states), _of(value, states))


def single(
    runs: Courses,
    end: Array,
    edges: Array,
    roles: Sequence[str],
    kept: Sequence[int],
    bottling: Bottling,
    *,
    jars: bool = False,
) -> Array:
    """Answers, shape (n, answers), in the order of `single_names`, then of the jars; NaN for none."""
    there, states = runs.at(end[:, None]), runs.at(edges)
    ethanol = np.maximum(np.diff(states.over_ethanol_mol), 0.0)
    water = np.maximum(np.diff(states.over_mol) - ethanol, 0.0)
    charged = runs.charge_mol * runs.charge_x
    columns = [
        np.asarray(strength.volume_from_moles(charged, runs.charge_mol - charged)),
        np.asarray(strength.abv_from_x(runs.charge_x)),
        runs.first_drop_s / 60.0,
        *(READERS[name](there)[:, 0] for name in STOP),
    ]
    of = np.array(roles)
    for role in ("heads", "tails"):
        if role in roles:
            columns += _poured(ethanol[:, of == role].sum(axis=1), water[:, of == role].sum(axis=1))
    chosen = list(kept)
    keep = ethanol[:, chosen].sum(axis=1), water[:, chosen].sum(axis=1)
    keep_l, keep_abv = _poured(*keep)
    columns += [keep_l, keep_abv, keep_l * keep_abv / 100.0]
    columns += _bottled(bottling, *keep)
    if not jars:
        return np.stack(columns, axis=1)
    jar_l, jar_abv = _poured(ethanol, water)
    full_min = np.where(jar_l > 0.0, states.elapsed_s[:, 1:] / 60.0, np.nan)
    return np.concatenate([np.stack(columns, axis=1), jar_l, jar_abv, full_min], axis=1)


def _poured(ethanol: Array, water: Array) -> list[Array]:
    """Volume and strength of what is poured together; no strength of nothing."""
    some = ethanol + water > 0.0
    abv = np.asarray(strength.abv_from_moles(np.where(some, ethanol, 1.0), water))
    return [np.asarray(strength.volume_from_moles(ethanol, water)), np.where(some, abv, np.nan)]


def _bottled(bottling: Bottling, ethanol: Array, water: Array) -> list[Array]:
    """Water, volume and bottles; none where the keep is weaker than the bottling strength."""
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


def curve(runs: Courses, s: Array) -> Array:
    """Quantities of `CURVES` at depletions, shape (n, m), of shape (n, curves, m); NaN beyond the end."""
    there = np.isfinite(s)
    states = runs.at(np.where(there, s, 0.0))
    columns = [np.where(there, READERS[name](states), np.nan) for name in CURVES]
    return np.stack(columns, axis=1)


# --- Much work, by one process or many.


WAITING = 16  # pieces handed to an executor ahead of the one waited for
Key = TypeVar("Key")
Answer = TypeVar("Answer")


def in_order(
    work: Callable[..., Answer], tasks: Iterable[tuple[Key, tuple[object, ...]]], executor: Executor | None
) -> Iterator[tuple[Key, Answer]]:
    """Yield keys with what is made of what stands beside them, in order; at most `WAITING` in the making."""
    waiting: deque[tuple[Key, Future[Answer]]] = deque()
    try:
        for key, given in tasks:
            if executor is None:
                yield key, work(*given)
                continue
            waiting.append((key, executor.submit(work, *given)))
            if len(waiting) >= WAITING:
                key, future = waiting.popleft()
                yield key, future.result()
        while waiting:
            key, future = waiting.popleft()
            yield key, future.result()
    finally:  # an interrupt leaves nothing in the queue
        for _, future in waiting:
            future.cancel()


# --- What is uncertain in a plan, how it is drawn, and what many draws come to.


# Standard deviation of a relative error of ln alpha that the model's misfit to published vapour compositions
# near one atmosphere amounts to: Kamihama et al. 2012, Carey & Lewis 1932, Rieder & Thompson 1949 and Beebe
# et al. 1942 (380 mmHg) are each met best with +0.021, -0.015, -0.028 and -0.015; the root mean square.
VOLATILITY_SD = 0.02
FURTHEST = 4.0  # standard deviations within which numbers are drawn
MOST_POWER_OFF = 2.5  # of the heat that arrives, which no plate multiplies: more would widen all tables
COLDEST_K, WARMEST_K = 273.15, 318.15  # rooms drawn
CHARGE = "strength of "
VOLUME, NECK, POT, ROOM = "volume of the charge", "neck loss", "pot loss", "temperature of the room"
POWER, LESS, LOST = "heat that arrives", "what heats the pot", "spirit lost"
EQUILIBRIUM = "vapour data"
GRID = 41  # points of the bands along the run


@dataclass(frozen=True)
class Input:
    """An uncertain number."""

    name: str  # what it is called
    # its standard deviation: of the number itself for strengths [% vol], the room [K] and the vapour data;
    # of its logarithm for volume, power and losses, which stay positive; of the spirit lost upwards alone, of
    # what heats the pot downwards alone
    size: float
    of_spirit: bool = False  # whether it is the strength of one part of the charge


@dataclass(frozen=True)
class Edge:
    """Where a jar begins or ends."""

    at: str  # by volume, or with the keep or the run
    collected_l: float  # pooled distillate there in the plan's own run [L]


@dataclass(frozen=True)
class Doubts:
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


def doubts_of(run: Run, *, model_misfit: bool = True) -> Doubts:
    """Return what is uncertain of a run."""
    still, points = run.setting.still, run.points
    inputs = _inputs(run.plan, run.charge.parts, still, model_misfit=model_misfit)
    collected_l = float(run.collected_l[-1])
    tails = run.plan.cuts.tails_from or Stop()
    return Doubts(
        parts=run.charge.parts,
        botanical_water_mol=sum(float(strength.moles(d.water_brought_l, 0.0).water_mol) for d in run.bill),
        solids_l=run.solids_l,
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


def standard_numbers(doubts: Doubts, size: int, seed: np.random.SeedSequence) -> Array:
    """Draw standard normal numbers, none further out than four standard deviations."""
    from scipy.special import ndtri  # start-up: scipy only where something is drawn

    tail = 3.167124183311998e-05  # of the normal distribution beyond FURTHEST
    uniform = np.random.default_rng(seed).random((size, len(doubts.inputs)))
    return np.asarray(ndtri(tail + (1.0 - 2.0 * tail) * uniform))


def drawn(doubts: Doubts, z: Array) -> Drawn:
    """Turn standard normal numbers into charges and stills."""
    off = {one.name: one.size * z[:, k] for k, one in enumerate(doubts.inputs)}
    nothing = np.zeros(z.shape[0])
    larger = np.exp(off.get(VOLUME, nothing))
    ethanol, water = nothing.copy(), np.full_like(nothing, doubts.botanical_water_mol)
    for number, part in enumerate(doubts.parts):
        abv = np.clip(part.abv + off.get(_strength_of(number, part), nothing), 0.0, 100.0)
        each = strength.moles(part.volume_l * larger, abv)
        ethanol, water = ethanol + each.ethanol_mol, water + each.water_mol
    c = doubts.still.conditions
    either = _held(off.get(POWER, nothing), POWER, doubts)
    less = np.minimum(_held(off.get(LESS, nothing), LESS, doubts), 0.0)
    stills = Stills(
        power_w=c.power_w * np.exp(either + less),
        neck_loss_w_per_k=c.neck_loss_w_per_k * np.exp(off.get(NECK, nothing)),
        pot_loss_w_per_k=c.pot_loss_w_per_k * np.exp(off.get(POT, nothing)),
        room_k=np.clip(c.room_k + off.get(ROOM, nothing), COLDEST_K, WARMEST_K),
        volatility_error=off.get(EQUILIBRIUM, nothing),
    )
    lost = np.minimum(doubts.still.lost + np.maximum(off.get(LOST, nothing), 0.0), MOST_LOST)
    return Drawn(ethanol, water, stills, lost)


def _held(off: Array, name: str, doubts: Doubts) -> Array:
    """Hold a doubt of the power within what the tables are made for."""
    most = sum(MOST_POWER_OFF * one.size for one in doubts.inputs if one.name == name)
    return np.clip(off, -most, most)


def can_run(doubts: Doubts, drawn: Drawn) -> NDArray[np.bool_]:
    """Whether each draw can be run at all: enough heat under every power, a charge that a pot separates."""
    pressure_pa = doubts.still.conditions.pressure_pa
    fine = drawn.stills.can_run(pressure_pa)
    told = drawn.stills.power_w / doubts.still.conditions.power_w
    for change in doubts.still.power_changes:
        fine &= drawn.stills.with_power(told * change.power_w).can_run(pressure_pa)
    boiling = drawn.stills.with_power(told * doubts.still.heat_up_power_w).net_power_w(373.15)
    x = drawn.ethanol_mol / (drawn.ethanol_mol + drawn.water_mol)
    return np.asarray(fine & (boiling > 0.0) & (x <= family(doubts.span).highest_x))


def names(doubts: Doubts) -> tuple[str, ...]:
    """Names of the single answers, in the order of `answers`."""
    numbers = range(1, len(doubts.roles) + 1)
    jars = (f"jars.{k}.{name}" for name in ("volume_l", "abv", "full_min") for k in numbers)
    return (*single_names(doubts.roles, doubts.bottling), *jars)


def answers(doubts: Doubts, z: Array) -> tuple[Array, Array]:
    """Run all draws."""
    draws = drawn(doubts, z)
    alone = np.full((z.shape[0], len(names(doubts))), np.nan)
    along = np.full((z.shape[0], len(CURVES), len(doubts.grid_l)), np.nan)
    fine = can_run(doubts, draws)
    if not fine.any():
        return alone, along
    mol = (draws.ethanol_mol + draws.water_mol)[fine]
    ethanol = draws.ethanol_mol[fine]
    got = 1.0 - draws.lost[fine]
    runs = courses(family(doubts.span), mol, ethanol / mol, draws.stills.where(fine), doubts.still, got)
    cuts = Cuts(
        doubts.stop.named,
        doubts.tails_from.named,
        doubts.still.min_level_l,
        doubts.solids_l,
        doubts.still.parrot_l,
        doubts.reach,
        doubts.stop_at,
        doubts.tails_at,
    )
    end, keep_end = ends(cuts, runs)
    ended = np.isfinite(end)
    fine[fine] = ended
    if not fine.any():
        return alone, along
    runs, end, keep_end = runs.where(ended), end[ended], keep_end[ended]
    by_volume = np.array([*(edge.collected_l for edge in doubts.edges), *doubts.grid_l])
    there = runs.at_collected(by_volume, doubts.reach)
    jars = len(doubts.edges)
    edges = _answer_edges(doubts, there[:, :jars], end, keep_end)
    alone[fine] = single(runs, end, edges, doubts.roles, doubts.kept, doubts.bottling, jars=True)
    along[fine] = curve(runs, there[:, jars:])
    return alone, along


def _answer_edges(doubts: Doubts, by_volume: Array, end: Array, keep_end: Array) -> Array:
    """Depletions at which jars begin and end, shape (n, jars + 1)."""
    s = by_volume.copy()
    for k, edge in enumerate(doubts.edges):
        if edge.at != "collected":
            s[:, k] = end if edge.at == "end" else keep_end
    s = np.minimum(s, end[:, None])
    for k, role in enumerate(doubts.roles):
        if role == "keep":
            s[:, k + 1] = np.minimum(s[:, k + 1], keep_end)
        elif role == "tails":
            s[:, k + 1] = np.maximum(s[:, k + 1], keep_end)
    return np.maximum.accumulate(s, axis=1)


def _strength_of(number: int, part: Ingredient) -> str:
    return f"{CHARGE}{part.name} ({number + 1})"


def _inputs(
    plan: Plan, parts: tuple[Ingredient, ...], still: Still, *, model_misfit: bool
) -> tuple[Input, ...]:
    """All that is uncertain; what is certain, or nothing, is left out."""
    c, given = still.conditions, plan.uncertainty
    heat = heat_doubt(plan.still, given.power)
    wanted = [
        *(Input(_strength_of(k, p), given.abv, of_spirit=True) for k, p in enumerate(parts) if p.abv > 0.0),
        Input(VOLUME, _spread(given.volume)),
        Input(NECK, _spread(given.neck_loss) if c.neck_loss_w_per_k > 0.0 else 0.0),
        Input(POT, _spread(given.pot_loss) if c.pot_loss_w_per_k > 0.0 else 0.0),
        Input(POWER, _spread(heat.either)),
        Input(LESS, heat.less),
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
    off, less = (float(np.exp(size.get(name, 0.0) * MOST_POWER_OFF / FURTHEST)) for name in (POWER, LESS))
    powers = [min(powers) / off / less, max(powers) * off]
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
