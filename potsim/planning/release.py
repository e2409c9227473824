"""How a botanical gives up its oil, when that comes over, and what a nose makes of it.

Some of the oil lies at hand, on cut faces, in broken cells and in glands of the skin, and is washed off; the
rest has to find its way out of the piece by diffusion. What is dissolved in the liquid of the piece can move,
what the wax and fat around it hold cannot, so that strong spirit draws hydrocarbons far faster than water
does (`potsim.still.carry.ease`). The numbers are rough, a factor of two either way on each.

What a nose makes of it is measured by the sum of concentration over threshold of a botanical's compounds, its
*times-threshold*. The thresholds are those in water; alcohol raises them all tenfold and more, sources differ
by as much, and compounds mask and strengthen each other. So the size says little; it serves to compare one
botanical with another in the same glass, and one jar with the next.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from potsim.data import read_table
from potsim.liquid import strength
from potsim.liquid.compounds import Compound, compound
from potsim.planning.botanicals import (
    Botanical,
    Level,
    Library,
    ResolvedDose,
    library,
    materials,
    resolve,
    spelling,
)
from potsim.planning.plan import BotanicalDose
from potsim.planning.schema import Prepared, Where
from potsim.records import dataclass
from potsim.still.carry import carry
from potsim.still.course import EXHAUSTED, Course, Rising, course
from potsim.still.escape import Pools, Soak, Source
from potsim.still.still import Conditions, Still
from potsim.still.tables import Curves

Shape = Literal["sphere", "slab"]

# Both from memory, good to a factor of two either way (`ROUGH`). Washing takes minutes; peel in steam gives a
# third of its oil at 0.15 a minute, the rest at 0.024 (Processes 9 (2021) 2075, read in a poor copy).
WASHED_PER_S = 0.3 / 60.0  # off what lies at hand in spirit at 83 °C
# In soaked plant material at 83 °C, a third of that in the liquid. Sugar, a larger molecule, in scalded beet:
# 1.3 to 1.7e-10 at a temperature not told (Yang & Cenkowski, Trans. ASAE 36 (1993) 1185, abstract); if cold,
# that is 8 to 10e-10 at 83 °C.
DIFFUSION_M2_PER_S = 4e-10
MOST_AT_HAND = 0.95
LEAST_SOAK_L_PER_KG = 0.5  # liquid of a soaked piece that hardly swells, such as a resin
ROUGH = {"low": 0.5, "typical": 1.0, "high": 2.0}  # on speed, and on the share at hand

# Fick's law in a piece whose surface is kept clean: share left = sum a_j exp(-b_j D t / L^2). First term
# exact up to its weight, the rest of the infinite series gathered in two (Crank, The Mathematics of
# Diffusion).
SERIES: Mapping[str, tuple[tuple[float, float], ...]] = {
    "sphere": tuple(zip((0.643, 0.235, 0.122), (k * math.pi**2 for k in (1.0, 8.0, 100.0)), strict=True)),
    "slab": tuple(zip((0.806, 0.103, 0.091), (k * math.pi**2 / 4.0 for k in (1.0, 9.0, 100.0)), strict=True)),
}


@dataclass(frozen=True)
class Tissue:
    """A piece of plant material as far as the release of oil goes."""

    shape: Shape  # how oil finds its way out: to all sides, or to two
    half_mm: float  # radius of the sphere, half the thickness of the slab [mm]
    at_hand: float  # share of the oil that only has to be washed off, 0 to 1
    lipid_l_per_kg: float  # fat, wax and resin [L per kg of dried material]

    def pools(self, level: Level = "typical", at_hand_level: Level = "typical") -> tuple[Pools, Pools]:
        """Shares of the oil, and the rate at which each leaves [1/s of easy time]: washed, and by diffusion.

        Parameters
        ----------
        level, at_hand_level : {'low', 'typical', 'high'}
            Which end of what is known of the speed, and of the share at hand.
        """
        speed = ROUGH[level]
        at_hand = min(self.at_hand * ROUGH[at_hand_level], MOST_AT_HAND)
        per_s = speed * DIFFUSION_M2_PER_S / (1e-3 * self.half_mm) ** 2
        slow = ((1.0 - at_hand) * a for a, _ in SERIES[self.shape])
        rates = (b * per_s for _, b in SERIES[self.shape])
        return ((at_hand, speed * WASHED_PER_S),), tuple(zip(slow, rates, strict=True))


@cache
def _pieces() -> Mapping[str, Tissue]:
    return {
        row["id"]: Tissue(
            "slab" if row["shape"] == "slab" else "sphere",
            float(row["half_mm"]),
            float(row["at_hand"]),
            float(row["lipid_l_per_kg"]),
        )
        for row in read_table("pieces.csv")
    }


@cache
def _preparations() -> Mapping[str, tuple[float, float, float]]:
    """Share brought to hand, factor on the half-size, and the most it can be [mm]."""
    return {
        row["prepared"]: (
            float(row["at_hand_added"]),
            float(row["size_factor"]),
            float(row["at_most_mm"] or math.inf),
        )
        for row in read_table("preparations.csv")
    }


def tissue(botanical: Botanical, prepared: Prepared) -> Tissue:
    """Return what a botanical is cut into; one without a row is taken like another, or as its category."""
    return tissue_of(_piece(botanical), prepared)


def _piece(botanical: Botanical) -> str:
    like = library().get(spelling(botanical.like))
    model = like.id if like is not None and like.category == botanical.category else ""
    return next(row for row in (botanical.id, model, botanical.category) if row in _pieces())


def tissue_of(piece_id: str, prepared: Prepared) -> Tissue:
    """Return a row of ``pieces.csv``, a botanical or a category, in a preparation of ``preparations.csv``."""
    whole = _pieces()[piece_id]
    added, factor, most_mm = _preparations()[prepared]
    return Tissue(
        whole.shape,
        min(whole.half_mm * factor, most_mm),
        min(whole.at_hand + added, MOST_AT_HAND),
        whole.lipid_l_per_kg,
    )


def wax_of(category: str, lipid_l_per_kg: float) -> float:
    """Fat and wax of a soaked piece per volume of liquid in it [-]."""
    return lipid_l_per_kg / max(materials()[category].soak_l_per_kg, LEAST_SOAK_L_PER_KG)


def heat_up(course: Course) -> Soak:
    """Return the time from switch-on to the first drop, in the charge."""
    boil_k = float(course.at(np.array([0.0])).pot_k[0])
    return Soak(course.first_drop_s, course.charge_x, course.still.conditions.room_k, boil_k)


def soaks(dose: ResolvedDose, heats: Soak) -> tuple[Soak, ...]:
    """Return what happens to a dose before the first drop: its maceration, then `heat_up`."""
    hours, at = dose.dose.macerated_h, dose.dose.macerated_at_abv
    if not np.any(hours):
        return (heats,)
    x = heats.x if at is None else np.asarray(strength.x_from_abv(at))[()]
    return (Soak(3600.0 * hours, x, heats.from_k, heats.from_k), heats)


def source(
    dose: ResolvedDose,
    soaks: tuple[Soak, ...] = (),
    levels: tuple[Level, Level] = ("typical", "typical"),
    holds_back: bool = True,
) -> Source:
    """Return what a dose releases, ready to be followed along a run; ``levels`` as in `Tissue.pools`."""
    known = _gives(_piece(dose.botanical), dose.botanical.category, dose.prepared, levels)
    washed, pools, wax, lipid_l_per_kg = known
    in_vapour = dose.dose.where == "basket"
    return Source(
        amounts=dose.oil_g,
        washed=washed,
        pools=pools,
        wax=wax,
        lipid_l=dose.dry_mass_g / 1000.0 * lipid_l_per_kg if holds_back else 0.0,
        soaks=() if in_vapour else soaks,
        in_vapour=in_vapour,
    )


@lru_cache(maxsize=1024)
def _gives(
    piece_id: str, category: str, prepared: Prepared, levels: tuple[Level, Level]
) -> tuple[Pools, Pools, float, float]:
    """Pools washed and diffusing, wax [-], fat of a dried kilogram [L]."""
    one = tissue_of(piece_id, prepared)
    return *one.pools(*levels), wax_of(category, one.lipid_l_per_kg), one.lipid_l_per_kg


# --- When a botanical comes over: its class, from one reference run that knows the charge's strength only.


Array = NDArray[np.float64]
Klass = Literal["early", "middle", "late", "stays"]
Own = Mapping[str, Compound]

EARLY_BELOW, MIDDLE_BELOW = 0.2, 0.6  # of the distillate
LEAST_OVER = 0.05  # of what is dissolved
DOSE_G_PER_L = 5.0
LASTS_S = 3600.0
ALCOHOL_OVER = 0.99  # share of the alcohol at which a run counts as done
LOOKS = 129  # points at which it is looked for, twice
TRIED_MOL = 1000.0
STILL = Still(1e5, Conditions(power_w=1000.0), 1000.0)  # no loss; one power from switch-on
ROWS = 1024  # of its table
KEPT = 4096  # classes remembered


class Class(NamedTuple):
    """When something comes over in the reference run."""

    klass: Klass  # by where half of what comes over is over
    half_share: float  # that place, as a share of the distillate, 0 to 1; 1 for what stays
    compounds: Mapping[str, Class] = {}  # each compound of it


def alcohol_over(course: Course) -> float:
    """Depletion ln(W0/W) at which 99 % of the alcohol is over; of the charge, if that is water."""
    if course.charge_x == 0.0:
        return float(-np.log1p(-ALCOHOL_OVER))
    goal = ALCOHOL_OVER * course.charge_mol * course.charge_x * (1.0 - course.still.lost)
    s = np.linspace(0.0, EXHAUSTED, LOOKS)
    over = course.at(s).over_ethanol_mol
    # Of next to no alcohol 99 % is a matter of rounding, and may be no more than all or nothing.
    k = max(int(np.searchsorted(over, min(goal, over[-1]))), 1)
    s = np.linspace(s[k - 1], s[k], LOOKS)
    return float(np.interp(goal, course.at(s).over_ethanol_mol, s))


def classes(botanicals: Sequence[Botanical], charge_x: float, own: Own | None = None) -> tuple[Class, ...]:
    """Return the class of each botanical."""
    x, known = round(charge_x, 12), {} if own is None else own
    keys = [(id(one), x, tuple((i, known[i]) for i in oil_ids(one) if i in known)) for one in botanicals]
    missing = {key: one for key, one in zip(keys, botanicals, strict=True) if key not in _KNOWN}
    if missing:
        if len(_KNOWN) > KEPT:
            _KNOWN.clear()
        told = _computed(list(missing.values()), x, known)
        _KNOWN.update((key, (missing[key], one)) for key, one in zip(missing, told, strict=True))
    return tuple(_KNOWN[key][1] for key in keys)


def dissolved(compound_ids: Sequence[str], charge_x: float, own: Own | None = None) -> tuple[Class, ...]:
    """Return the class of compounds that the charge itself brings, as `classes`."""
    source = Source(dict.fromkeys(compound_ids, 1.0))
    (found,) = _found(charge_x, [source], [np.ones(len(compound_ids))], {} if own is None else own)
    return tuple(found.compounds[name] for name in compound_ids)


# By the identity of a botanical, which is kept with its class so that it stays the only one of its identity.
_KNOWN: dict[tuple[int, float, tuple[tuple[str, Compound], ...]], tuple[Botanical, Class]] = {}


def per_noticed(botanical: Botanical, own: Own) -> dict[str, float]:
    """Weight of each compound by what a nose makes of a gram; alike where no threshold is known."""
    found = {}
    for name in oil_ids(botanical):
        threshold = (own.get(name) or compound(name)).odour_threshold
        found[name] = 0.0 if threshold is None else 1.0 / threshold.ug_per_l
    return found if any(found.values()) else dict.fromkeys(found, 1.0)


def oil_ids(botanical: Botanical) -> tuple[str, ...]:
    """Compounds of the oil, in the order of the composition."""
    return tuple(share.compound_id for share in botanical.composition if share.basis == "oil")


@cache
def _table() -> Curves:
    """The still's table, a part in 10 million of mole fraction coarse, which moves no class."""
    return Curves(STILL.conditions, rows=ROWS)


@lru_cache(maxsize=256)
def _reference(charge_x: float) -> tuple[Course, float]:
    """The run itself, and the depletion at which 99 % of the alcohol is over."""
    tried = course(TRIED_MOL, charge_x, STILL, _table())
    end = alcohol_over(tried)
    lasts_s = float(tried.at(np.array([end])).elapsed_s[0]) - tried.first_drop_s
    return course(TRIED_MOL * LASTS_S / lasts_s, charge_x, STILL, _table()), end


def _computed(botanicals: Sequence[Botanical], charge_x: float, own: Own) -> list[Class]:
    run, _ = _reference(charge_x)
    ethanol = run.charge_mol * charge_x
    charge_l = float(np.asarray(strength.volume_from_moles(ethanol, run.charge_mol - ethanol)))
    among = Library(tuple(botanicals))
    lines = (
        BotanicalDose(one.id, mass_g=DOSE_G_PER_L * charge_l, state=one.yield_state) for one in botanicals
    )
    doses = [resolve(line, among) for line in lines]
    sources = [source(dose, soaks(dose, heat_up(run))) for dose in doses]
    weights = [
        np.array(list(per_noticed(one, own).values())) * list(each.amounts.values())
        for one, each in zip(botanicals, sources, strict=True)
    ]
    return _found(charge_x, sources, weights, own)


def _found(charge_x: float, sources: Sequence[Source], weights: Sequence[Array], own: Own) -> list[Class]:
    """Class of each source, its compounds being weighted, and of each compound."""
    run, end = _reference(charge_x)
    carried = carry(run, sources, own, [end], alone=True)
    at_end, rows = carried.at(np.array([end])), carried.rows
    sums = np.zeros((len(sources), rows.source.size))
    sums[rows.source, np.arange(rows.source.size)] = np.concatenate(weights)
    mix = np.vstack([sums, np.eye(rows.source.size)])
    over, free = (mix @ at_end.over)[:, 0], (mix @ (1.0 - at_end.in_plant))[:, 0]
    curves = Rising(carried.depletion, mix @ carried.grid.over, mix @ carried.grid_rate)
    half = np.minimum(curves.reaches(0.5 * over[:, None])[:, 0], end)
    litres = run.at(np.append(half, end)).collected_l
    found = [
        _class(*each)
        for each in zip(over.tolist(), free.tolist(), (litres[:-1] / litres[-1]).tolist(), strict=True)
    ]
    single = found[len(sources) :]
    names = [name for one in sources for name in one.amounts]
    return [
        Class(*found[k][:2], {names[row]: single[row] for row in np.flatnonzero(rows.source == k)})
        for k in range(len(sources))
    ]


def _class(over: float, free: float, half_share: float) -> Class:
    if over < LEAST_OVER * free or over <= 0.0:
        return Class("stays", 1.0)
    return Class(
        "early" if half_share < EARLY_BELOW else "middle" if half_share < MIDDLE_BELOW else "late", half_share
    )


# --- What a nose makes of flavours, by odour thresholds: who leads, marks, is noticed.


Noticed = Literal["leads", "clear", "hint", "lost"]

CLEAR, HINT = 0.12, 0.03  # share of the summed times-threshold from which it is that
LEAST_TIMES = 10.0  # times-threshold in water below which hardly anything is noticed in spirit
UG_PER_G = 1e6
MOST_NAMED = 3  # in a jar


def noticed(times: Array) -> NDArray[Any]:
    """How each is noticed, shape (lines, ...): the largest leads; all is lost where no smell is known."""
    total = times.sum(axis=0)
    largest = times == times.max(axis=0, initial=0.0)
    largest &= np.cumsum(largest, axis=0) == 1  # the first of those that are alike
    hint = (times >= HINT * total) & (times >= LEAST_TIMES)
    told: list[Noticed] = ["lost", "leads", "clear", "hint"]
    conditions = [np.broadcast_to(total <= 0.0, times.shape), largest, times >= CLEAR * total, hint]
    return np.asarray(np.select(conditions, told, "lost")).astype(object)


def per_gram(compound_ids: Sequence[str], own: Mapping[str, Compound]) -> Array:
    """Times-threshold of a gram of each compound in a litre; 0 where no threshold is known."""
    known = [(own.get(name) or compound(name)).odour_threshold for name in compound_ids]
    return np.array([0.0 if one is None else UG_PER_G / one.ug_per_l for one in known])


def leaders(times: Array) -> list[list[int]]:
    """Botanicals that lead each jar by size, most first: the largest, and whoever is clear beside it.

    The times-threshold have the shape (lines, jars).
    """
    led = np.isin(noticed(times), ("leads", "clear"))
    return [
        [k for k in ranked if jar[k]][:MOST_NAMED] for ranked, jar in zip(*_ranked(times, led), strict=True)
    ]


def marks(times: Array, mean: Array) -> list[list[int]]:
    """At most three that mark each jar, furthest above their mean first; else the least below."""
    usual = np.where(mean > 0.0, mean, 1.0)[:, None]
    above = np.where(times >= LEAST_TIMES, times / usual, 0.0)
    found = []
    for ranked, jar in zip(*_ranked(above, above), strict=True):
        there = [k for k in ranked if jar[k] > 0.0]
        found.append([k for k in there if jar[k] > 1.0][:MOST_NAMED] or there[:1])
    return found


def _ranked(values: Array, told: NDArray[Any]) -> tuple[list[list[int]], list[list[Any]]]:
    """Lines of each jar, most first; and what is told of each jar's lines."""
    return np.argsort(-values, axis=0, kind="stable").T.tolist(), told.T.tolist()


# --- What is told of each botanical and of each of its compounds.


class Band(NamedTuple):
    """A number with the range that its rough constants leave."""

    value: float
    low: float
    high: float


class Passage(NamedTuple):
    """Where something comes over, up to the stop."""

    # 5, 50 and 95 % of what is over by the stop is over [L at 20 °C]
    start_l: float
    half_l: float
    peak_l: float  # the stream holds most of it [L at 20 °C]
    # 5, 50 and 95 % of what is over by the stop is over [L at 20 °C]
    end_l: float


@dataclass(frozen=True)
class CompoundFlavour:
    """One compound of one botanical, or of the base spirit."""

    # what it is, what it smells of and the group of flavour that is
    compound_id: str
    name: str
    odour: str
    group: str
    klass: Klass  # when it comes over in the reference run, see `classes`
    passage: Passage | None  # where it comes over in this run; None for what stays
    # what the source holds of it, and what of that is over by the stop [g]
    releasable_g: float
    over_g: float
    # shares of it that are still in the plant, and in the pot, at the stop, 0 to 1
    left_in_plant: float
    left_in_pot: float
    # least concentration noticed in water [µg/L], a rough guide; None when none is known
    odour_threshold_ug_per_l: float | None
    route: str  # how its volatility was found
    expected_factor: float  # expected error of the volatility: 2 means between half and double


@dataclass(frozen=True)
class BotanicalFlavour:
    """One line of the bill; the volatile oil as a whole and each compound."""

    line: int  # which line of the bill, from 0
    # what it is
    botanical_id: str
    botanical: str
    where: Where  # where it lies
    klass: Klass  # when it comes over in the reference run, see `classes`
    half_share: float  # share of the reference run's distillate at which half of it is over, 0 to 1
    passage: Passage | None  # where its oil comes over in this run; None for what stays
    # oil whose compounds are followed, and what of that is over by the stop [g]
    releasable_g: float
    over_g: float
    gives_up: Band  # share of that oil that is over by the stop, 0 to 1
    # shares of that oil in the heads and in the keep, 0 to 1
    in_heads: float
    in_keep: float
    # shares of it still in the plant, in the pot, and lost after the neck, at the stop, 0 to 1; with what is
    # over they make 1
    left_in_plant: float
    left_in_pot: float
    lost: float
    later: float  # share of it that comes over between the stop and 99 % of the alcohol, 0 to 1
    noticed: Noticed  # in the bottle
    times_threshold: float  # sum of concentration over odour threshold in the bottle [-]
    # share of what is in the keep that has no known threshold and is left out of it, 0 to 1
    without_threshold: float
    unlisted_oil_g: float  # oil of unknown composition, which is not followed [g]
    compounds: tuple[CompoundFlavour, ...]  # in the order of the composition, what is not volatile last


def plain_compound(one: CompoundFlavour) -> dict[str, Any]:
    """Return a compound as plain data for programs."""
    told = {"compound": one.compound_id, "name": one.name, "odour": one.odour, "group": one.group}
    amounts = ("releasable_g", "over_g", "left_in_plant", "left_in_pot", "expected_factor")
    return told | _when(one) | {name: getattr(one, name) for name in amounts}


def plain_botanical(one: BotanicalFlavour) -> dict[str, Any]:
    """Return a botanical as plain data for programs; start, half, peak and end are None for what stays."""
    told = {"botanical": one.botanical, "where": one.where, **_when(one), "gives_up": one.gives_up._asdict()}
    shares = ("in_heads", "in_keep", "left_in_plant", "left_in_pot", "lost", "later")
    bottle = ("noticed", "times_threshold", "without_threshold")
    amounts = ("releasable_g", "over_g", "unlisted_oil_g")
    told |= {name: getattr(one, name) for name in (*shares, *bottle, *amounts)}
    return told | {"compounds": [plain_compound(each) for each in one.compounds]}


def _when(one: BotanicalFlavour | CompoundFlavour) -> dict[str, Any]:
    where = dict.fromkeys(Passage._fields) if one.passage is None else one.passage._asdict()
    return {"class": one.klass, **where}
