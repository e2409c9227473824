"""One recipe that takes its share of several."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from potsim.errors import VOL, RequestError, require
from potsim.liquid import strength
from potsim.planning.botanicals import spelling
from potsim.planning.charge import resolve
from potsim.planning.cloud import LetDown, poured
from potsim.planning.notes import Note, hint, plain_notes
from potsim.planning.plan import BotanicalDose, Bottling, Cuts, Ingredient, JarPlan, LeftOver, Plan, Stop
from potsim.planning.proofing import Proofing, proof_down
from potsim.planning.run import Run, distil
from potsim.planning.schema import amounts_of, keys_of
from potsim.planning.trials import (
    MG_PER_G,
    InBottle,
    Trial,
    bottled_abv,
    bottled_l,
    in_bottle,
    kept_g,
    on_scale,
    run_of,
)
from potsim.records import dataclass, plain

VOLUME_STEP_L = 0.001


@dataclass(frozen=True)
class Combined:
    """One recipe made of several."""

    plan: Plan  # the recipe
    notes: tuple[Note, ...]  # what could not be taken from all


def combined(runs: Sequence[Run], weights: Sequence[float], abv: float) -> Combined:
    """Return one recipe that takes its share of several."""
    plans = [run.plan for run in runs]
    first = plans[0]
    total = sum(w * run.charge.volume_l for w, run in zip(weights, runs, strict=True))
    shares = [w * runs[0].charge.volume_l / total for w in weights]
    notes: list[Note] = []
    if any(plan.still != first.still for plan in plans):
        notes.append(hint("stills_differ", "still"))
    own = {name: one for plan in reversed(plans) for name, one in plan.own_botanicals.items()}
    compounds = {name: one for plan in reversed(plans) for name, one in plan.own_compounds.items()}
    if any(plan.own_botanicals.get(name, one) != one for plan in plans for name, one in own.items()):
        notes.append(hint("own_botanicals_differ", "own_botanical"))
    titles = list(dict.fromkeys(plan.title for plan in plans))
    plan = replace(
        first,
        title=first.title if len(titles) == 1 else " and ".join(titles),
        charge=_charge(plans, shares),
        botanicals=_bill(plans, shares),
        cuts=_cuts(runs, shares, notes),
        jars=_jars(plans, notes),
        bottling=_bottling(plans, shares, abv, notes),
        own_botanicals=own,
        own_compounds=compounds,
    )
    return Combined(plan, tuple(notes))


def _charge(plans: Sequence[Plan], shares: Sequence[float]) -> tuple[Ingredient | LeftOver, ...]:
    """Spirits and waters of one name, strength, kind and price together."""
    if all(plan.charge == plans[0].charge for plan in plans):
        return plans[0].charge
    found: dict[tuple[Any, ...], Ingredient] = {}
    for plan, share in zip(plans, shares, strict=True):
        for part in resolve(plan.charge, distil):
            place = (spelling(part.name), part.abv, part.kind, part.price_per_l)
            before = found.get(place)
            more = part.volume_l * share + (before.volume_l if before else 0.0)
            found[place] = replace(before or part, volume_l=more)
    return tuple(replace(p, volume_l=on_scale(p.volume_l, VOLUME_STEP_L)) for p in found.values())


def _bill(plans: Sequence[Plan], shares: Sequence[float]) -> tuple[BotanicalDose, ...]:
    """Doses of one botanical that are put in alike together."""
    if all((plan.charge, plan.botanicals) == (plans[0].charge, plans[0].botanicals) for plan in plans):
        return plans[0].botanicals
    found: dict[tuple[Any, ...], BotanicalDose] = {}
    for plan, share in zip(plans, shares, strict=True):
        seen: dict[tuple[Any, ...], int] = {}
        for dose in plan.botanicals:
            alike = tuple(
                getattr(dose, key.field) is None if key.extensive else getattr(dose, key.field)
                for key in keys_of(BotanicalDose).values()
                if key.name != "name"
            )
            alike = (spelling(dose.name), *alike)
            seen[alike] = seen.get(alike, 0) + 1
            place = (*alike, seen[alike])
            before = found.get(place)
            found[place] = _added(before, dose, share)
    return tuple(_weighed(dose) for dose in found.values())


def _added(before: BotanicalDose | None, dose: BotanicalDose, share: float) -> BotanicalDose:
    more = {name: value * share for name, value in amounts_of(dose).items()}
    there = amounts_of(before) if before else {}
    return replace(before or dose, **{name: value + there.get(name, 0.0) for name, value in more.items()})


def _weighed(dose: BotanicalDose) -> BotanicalDose:
    weighed: dict[str, Any] = {name: on_scale(value) for name, value in amounts_of(dose).items()}
    return replace(dose, **weighed)


def _cuts(runs: Sequence[Run], shares: Sequence[float], notes: list[Note]) -> Cuts:
    """Heads added up; stops of one kind averaged."""
    every = [run.plan.cuts for run in runs]
    first = every[0]
    if all(cuts == first for cuts in every) and _alike(run.charge.volume_l for run in runs):
        return first
    heads = sum(run.setting.heads_l * share for run, share in zip(runs, shares, strict=True))
    stop = _stop([cuts.stop for cuts in every], shares, "stop", notes)
    tails = [cuts.tails_from for cuts in every]
    known = [one for one in tails if one is not None]
    if len(known) < len(tails) and known:
        notes.append(hint("tails_differ", "cuts.tails_from"))
    tails_from = _stop(known, shares, "tails_from", notes) if len(known) == len(tails) else first.tails_from
    return Cuts(heads_l=on_scale(heads, VOLUME_STEP_L) if heads else None, stop=stop, tails_from=tails_from)


def _alike(values: Any) -> bool:
    every = list(values)
    return all(abs(value - every[0]) <= 1e-9 * abs(every[0]) for value in every)


def _stop(stops: Sequence[Stop], shares: Sequence[float], name: str, notes: list[Note]) -> Stop:
    """Amounts added up, all other numbers averaged; what is no number has to be the same."""
    first = stops[0]
    keys = {name: key for name, key in keys_of(Stop).items() if name in first.named}
    alike = [key for key in keys.values() if not key.vary]
    if any(
        set(stop.named) != set(first.named)
        or any(getattr(stop, key.field) != getattr(first, key.field) for key in alike)
        for stop in stops
    ):
        notes.append(hint("stops_differ", f"cuts.{name}", key=name))
        return first
    mean = _mean(stops, shares)
    changed: dict[str, Any] = {}
    for key in keys.values():
        if key.extensive:
            added = sum(getattr(s, key.field) * share for s, share in zip(stops, shares, strict=True))
            changed[key.field] = on_scale(added, VOLUME_STEP_L)
        elif key.vary:
            changed[key.field] = mean(key.field)
    return replace(first, **changed)


def _mean(stops: Sequence[Stop], shares: Sequence[float]) -> Callable[[str], float]:
    def mean(name: str) -> float:
        values = [float(getattr(stop, name)) for stop in stops]
        if len(set(values)) == 1:
            return values[0]
        return on_scale(sum(v * s for v, s in zip(values, shares, strict=True)) / sum(shares))

    return mean


def _jars(plans: Sequence[Plan], notes: list[Note]) -> JarPlan:
    first = plans[0].jars
    if all(plan.jars.keep == first.keep for plan in plans):
        return first
    notes.append(hint("jars_kept_differ", "jars.keep"))
    return replace(first, keep=())


def _bottling(plans: Sequence[Plan], shares: Sequence[float], abv: float, notes: list[Note]) -> Bottling:
    first = plans[0].bottling
    spirits = [plan.bottling.stretch for plan in plans]
    if any(spirits):
        if any(s is None or s.abv != (spirits[0].abv if spirits[0] else None) for s in spirits):
            notes.append(hint("stretches_differ", "bottling.stretch"))
        elif first.stretch is not None:
            litres = sum(s.spirit_l * share for s, share in zip(spirits, shares, strict=True) if s)
            first = replace(first, stretch=replace(first.stretch, spirit_l=on_scale(litres, VOLUME_STEP_L)))
    return first if first.abv is None else replace(first, abv=abv)


# --- Distillates of single botanicals poured together to come near an oil profile.


FLOOR = 0.02  # of the largest compound aimed at: below it a miss counts as little as there is of it


@dataclass(frozen=True)
class OilBlend:
    """A blend of keeps."""

    # volume of each keep in a litre of the keeps as poured (volumes before mixing), summing to 1
    shares: tuple[float, ...]
    abv: float  # strength of the blend [% vol]
    oil_mg_per_l: dict[str, float]  # compound id to content at the strength of what was aimed at [mg/L]
    wanted_mg_per_l: dict[str, float]  # compound id to content at the strength of what was aimed at [mg/L]
    # root mean square of the misses, each against what is aimed at of the compound but at least `FLOOR` of
    # the largest; 0 is a perfect match
    misfit: float
    # how much more oil the blend holds, at the same strength, than what was aimed at; below 1 it is thinner
    # than wanted and cannot be made richer by pouring
    oil_factor: float

    @property
    def misses(self) -> tuple[Miss, ...]:
        """How far off each compound is, the worst first; their root mean square is the misfit."""
        floor = FLOOR * max(self.wanted_mg_per_l.values())
        found = []
        for name, wanted in self.wanted_mg_per_l.items():
            matched = self.oil_mg_per_l[name] / self.oil_factor
            found.append(Miss(name, wanted, matched, (matched - wanted) / max(wanted, floor)))
        return tuple(sorted(found, key=lambda one: -abs(one.miss)))


@dataclass(frozen=True)
class Miss:
    """One compound of a blend beside what was aimed at."""

    compound_id: str  # the compound
    wanted_mg_per_l: float  # what was aimed at [mg/L]
    matched_mg_per_l: float  # the blend, with as much oil in all as fits best [mg/L]
    miss: float  # the difference against what was aimed at, but at least against `FLOOR` of the largest


@dataclass(frozen=True)
class Poured:
    """A blend made up to a volume."""

    volumes_l: tuple[float, ...]  # of each keep [L at 20 °C]
    proofing: Proofing  # the keeps together, and the water
    most_l: float  # the most that these keeps can be made into [L at 20 °C]


def pour(made: OilBlend, runs: Sequence[Run], volume_l: float, at_abv: float) -> Poured:
    """Return how much of each keep, and of water, makes up a volume."""
    require("make", volume_l, 0, 1e5, "L", open_low=True)
    abvs = [run.keep.abv for run in runs]
    alcohol = sum(share * abv for share, abv in zip(made.shares, abvs, strict=True))
    volumes = tuple(share * volume_l * at_abv / alcohol for share in made.shares)
    mixed = strength.mix(volumes, abvs)
    enough = [run.keep.volume_l / poured for run, poured in zip(runs, volumes, strict=True) if poured > 0.0]
    return Poured(volumes, proof_down(mixed.volume_l, mixed.abv, at_abv), volume_l * min(enough))


def oils_mg_per_l(run: Run, at_abv: float, *, bottled: bool = False) -> dict[str, float]:
    """Return the botanicals' oil in a keep let down."""
    require("at_abv", at_abv, 0, 100, VOL, open_low=True)
    ethanol_l = run.let_down.ethanol_l if bottled else run.keep.ethanol_l
    if ethanol_l <= 0.0:
        raise RequestError.of("no_alcohol_kept", run=run.plan.title)
    mine = {one.compound_id for flavour in run.flavours for one in flavour.compounds}
    grams = run.flavours.over_g(run.kept_spans)
    litres = ethanol_l * 100.0 / at_abv
    return {name: 1000.0 * grams[name] / litres for name in sorted(mine) if name in grams}


def blend_to_profile(runs: Sequence[Run], wanted: Mapping[str, float], at_abv: float) -> OilBlend:
    """Find how to pour keeps together so that their oil comes nearest to a profile.

    Non-negative least squares (Lawson & Hanson, by `scipy.optimize.nnls`) for the pure alcohol that each
    keep gives to the blend: oil goes with it when spirit is let down. Amounts of oil may scale with the
    profile: the proportions are fitted, `OilBlend.oil_factor` says how rich it comes out.
    """
    from scipy.optimize import nnls  # start-up: scipy only here

    if len(runs) < 2:
        raise RequestError.of("too_few_to_blend", given=len(runs), allowed=2)
    aim = {name: amount for name, amount in wanted.items() if amount > 0.0}
    if not aim:
        raise RequestError.of("no_oil_aimed")
    contents = [oils_mg_per_l(run, at_abv) for run in runs]
    names = sorted(aim.keys() | {name for one in contents for name in one})
    columns = np.array([[one.get(name, 0.0) for one in contents] for name in names])
    target = np.array([aim.get(name, 0.0) for name in names])
    if not np.any(columns[target > 0.0] > 0.0):
        raise RequestError.of("no_botanical_shared")
    weight = 1.0 / np.maximum(target, FLOOR * target.max())
    alcohol, _ = nnls(columns * weight[:, None], target * weight)
    made = columns @ alcohol
    total = float(alcohol.sum())
    litres = alcohol * np.array([100.0 / run.keep.abv for run in runs])
    mixed = strength.mix(litres, [run.keep.abv for run in runs])
    return OilBlend(
        shares=tuple((litres / litres.sum()).tolist()),
        abv=float(mixed.abv),
        oil_mg_per_l=dict(zip(names, (made / total).tolist(), strict=True)),
        wanted_mg_per_l=dict(zip(names, target.tolist(), strict=True)),
        misfit=float(np.sqrt(np.mean(((made - target) * weight) ** 2))),
        oil_factor=1.0 / total,
    )


# --- Bottled spirits of several trials poured together, and one run that would give the same.


Line = tuple[str, str]  # botanical and place


@dataclass(frozen=True)
class Share:
    """One spirit of a blend."""

    trial: Trial  # where it comes from
    parts: float  # parts by volume
    run: Run  # its predicted run
    poured_l: float  # what of it is poured [L at 20 °C]
    bottled_l: float  # what there is of it [L at 20 °C]
    abv: float  # its strength [% vol at 20 °C]


@dataclass(frozen=True)
class BlendOil:
    """Oil of one botanical in the blend, and in what one run would give."""

    label: str  # the botanical
    each_mg_per_l: tuple[float, ...]  # in a litre of each spirit [mg/L at 20 °C]
    blend_mg_per_l: float  # in a litre of the blend [mg/L at 20 °C]
    run_mg_per_l: float  # in a litre of the bottled spirit of the combined run [mg/L at 20 °C]


@dataclass(frozen=True)
class TrialBlend:
    """Bottled spirits poured together."""

    shares: tuple[Share, ...]  # the spirits
    volume_l: float  # as much as the spirits allow [L at 20 °C]
    abv: float  # strength of the blend [% vol at 20 °C]
    ethanol_l: float  # pure alcohol in it [L at 20 °C]
    oils: tuple[BlendOil, ...]  # each botanical
    compounds_mg_per_l: dict[str, float]  # compound id to its content in the blend [mg/L at 20 °C]
    plan: Plan  # one run of the combined recipe, as large as that of the first spirit
    run: Run  # what it is predicted to do
    notes: tuple[Note, ...]  # what the combined recipe could not take from all

    @cached_property
    def cloud(self) -> LetDown | None:
        """How it is likely to look; ``None`` if there is no alcohol or no oil.

        What was seen of each spirit counts by the oil that it brings.
        """
        if self.abv <= 0.0 or not any(share.run.bill for share in self.shares):
            return None
        alcohol = sum(share.poured_l * share.abv for share in self.shares)
        brought = [share.poured_l * share.abv / alcohol for share in self.shares]
        return poured(
            [
                (s.run.flavours, s.run.bottled(s.abv), part)
                for s, part in zip(self.shares, brought, strict=True)
            ],
            self.abv,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        return {
            "spirits": [
                {
                    "name": s.trial.name,
                    "title": s.trial.plan.title,
                    "parts": s.parts,
                    "poured_l": s.poured_l,
                    "bottled_l": s.bottled_l,
                    "abv": s.abv,
                }
                for s in self.shares
            ],
            "volume_l": self.volume_l,
            "abv": self.abv,
            "ethanol_l": self.ethanol_l,
            "oils": plain(self.oils),
            "compounds_mg_per_l": dict(self.compounds_mg_per_l),
            "one_run": {
                "title": self.plan.title,
                "charge_l": self.run.charge.volume_l,
                "charge_abv": self.run.charge.abv,
                "bottled_l": bottled_l(self.run),
                "bottled_abv": bottled_abv(self.run),
                "notes": plain_notes(self.notes),
            },
        }


def blend_trials(trials: Sequence[Trial], parts: Sequence[float]) -> TrialBlend:
    """Pour the bottled spirits of trials together.

    Mass, alcohol and oils add up; volumes do not quite. Spirit is what the plan bottles, or the keep as
    it is if it names no bottling strength. The combined run takes of each recipe the share whose spirit
    went into the blend. Its oils differ from those of the blend, since cuts and strengths then fall
    elsewhere.
    """
    if not trials or len(trials) != len(parts):
        raise RequestError.of(
            "too_few_to_blend", given=min(len(trials), len(parts)), allowed=len(trials) or 1
        )
    for part in parts:
        require("parts", part, 0, 1e6, open_low=True)
    shares = _shares(trials, parts)
    mixed = strength.mix([s.poured_l for s in shares], [s.abv for s in shares])
    abvs = {s.abv for s in shares}
    abv = abvs.pop() if len(abvs) == 1 else mixed.abv
    made = combined([s.run for s in shares], [s.poured_l / s.bottled_l for s in shares], abv)
    run = distil(made.plan)
    return TrialBlend(
        shares=shares,
        volume_l=mixed.volume_l,
        abv=abv,
        ethanol_l=mixed.ethanol_l,
        oils=_oils(shares, mixed.volume_l, run),
        compounds_mg_per_l=_compounds(shares, mixed.volume_l),
        plan=made.plan,
        run=run,
        notes=made.notes,
    )


def _shares(trials: Sequence[Trial], parts: Sequence[float]) -> tuple[Share, ...]:
    """As much of each as the one that runs out first allows; the same spirit named twice is one stock."""
    runs: dict[int, Run] = {}
    for trial in trials:
        if id(trial) not in runs:
            runs[id(trial)] = run_of(trial)
    wanted: dict[int, float] = {}
    for trial, part in zip(trials, parts, strict=True):
        wanted[id(trial)] = wanted.get(id(trial), 0.0) + part
    a_part_l = min(bottled_l(runs[known]) / total for known, total in wanted.items())
    return tuple(
        Share(
            trial=trial,
            parts=part,
            run=runs[id(trial)],
            poured_l=part * a_part_l,
            bottled_l=bottled_l(runs[id(trial)]),
            abv=bottled_abv(runs[id(trial)]),
        )
        for trial, part in zip(trials, parts, strict=True)
    )


def _lines(run: Run) -> dict[Line, list[InBottle]]:
    found: dict[Line, list[InBottle]] = {}
    for line in in_bottle(run):
        found.setdefault((line.botanical_id, line.where), []).append(line)
    return found


def _oils(shares: tuple[Share, ...], volume_l: float, run: Run) -> tuple[BlendOil, ...]:
    each = [_lines(share.run) for share in shares]
    once = _lines(run)

    def content(lines: dict[Line, list[InBottle]], line: Line) -> float:
        return sum((one.oil_mg_per_l for one in lines.get(line, [])), 0.0)

    found = []
    for line in dict.fromkeys(line for lines in each for line in lines):
        known = next(lines[line][0] for lines in each if line in lines)
        contents = tuple(content(lines, line) for lines in each)
        poured = sum(c * s.poured_l for c, s in zip(contents, shares, strict=True))
        found.append(BlendOil(known.label, contents, poured / volume_l, content(once, line)))
    return tuple(found)


def _compounds(shares: tuple[Share, ...], volume_l: float) -> dict[str, float]:
    found: dict[str, float] = {}
    for share in shares:
        for name, grams in kept_g(share.run).items():
            poured = grams * MG_PER_G * share.poured_l / share.bottled_l
            found[name] = found.get(name, 0.0) + poured / volume_l
    return found
