"""One recipe that takes its share of several."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from potsim.planning import leftovers
from potsim.planning.botanicals.bill import BotanicalDose
from potsim.planning.botanicals.names import key
from potsim.planning.plan import Bottling, Cuts, Ingredient, JarPlan, LeftOver, Plan, Stop
from potsim.planning.run import Run, distil
from potsim.planning.trials.rounding import on_scale

VOLUME_STEP_L = 0.001
_MEANS = ("stream_abv", "pot_abv", "vapour_c", "recovered", "elapsed_min")


@dataclass(frozen=True)
class Combined:
    """One recipe made of several.

    Parameters
    ----------
    plan : Plan
        The recipe.
    notes : tuple of str
        What could not be taken from all, a sentence each.
    """

    plan: Plan
    notes: tuple[str, ...]


def combined(runs: Sequence[Run], weights: Sequence[float], abv: float) -> Combined:
    """Return one recipe that takes its share of several.

    Parameters
    ----------
    runs : sequence of Run
        The runs of the recipes.
    weights : sequence of float
        How much of each run is wanted, in proportion.
    abv : float
        Bottling strength [% vol]; used if the first recipe names one.

    Returns
    -------
    Combined
        Its charge is as large as that of the first, whose still it runs in; spirits, water and botanicals of
        one name and kind are put together. Cuts of one kind are averaged.
    """
    plans = [run.plan for run in runs]
    first = plans[0]
    total = sum(w * run.charge.volume_l for w, run in zip(weights, runs, strict=True))
    shares = [w * runs[0].charge.volume_l / total for w in weights]
    notes: list[str] = []
    if any(plan.still != first.still for plan in plans):
        notes.append("The stills differ: that of the first is taken.")
    own = {name: one for plan in reversed(plans) for name, one in plan.own_botanicals.items()}
    compounds = {name: one for plan in reversed(plans) for name, one in plan.own_compounds.items()}
    if any(plan.own_botanicals.get(name, one) != one for plan in plans for name, one in own.items()):
        notes.append("A botanical of your own is described in two ways: that of the first is taken.")
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
        for part in leftovers.resolve(plan.charge, distil):
            place = (key(part.name), part.abv, part.kind, part.price_per_l)
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
            alike: tuple[Any, ...] = (key(dose.name), dose.pieces is None, dose.state, dose.prepared)
            alike += (dose.macerated_h, dose.where, dose.oil_yield_pct)
            seen[alike] = seen.get(alike, 0) + 1
            place = (*alike, seen[alike])
            before = found.get(place)
            found[place] = _added(before, dose, share)
    return tuple(_weighed(dose) for dose in found.values())


def _added(before: BotanicalDose | None, dose: BotanicalDose, share: float) -> BotanicalDose:
    amount = {}
    for name in ("mass_g", "pieces"):
        value = getattr(dose, name)
        if value is not None:
            amount[name] = value * share + (getattr(before, name) if before else 0.0)
    return replace(before or dose, **amount)


def _weighed(dose: BotanicalDose) -> BotanicalDose:
    if dose.mass_g is not None:
        return replace(dose, mass_g=on_scale(dose.mass_g))
    return replace(dose, pieces=on_scale(dose.pieces or 0.0))


def _cuts(runs: Sequence[Run], shares: Sequence[float], notes: list[str]) -> Cuts:
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
        notes.append("Not all have tails_from: it is that of the first, or none.")
    tails_from = _stop(known, shares, "tails_from", notes) if len(known) == len(tails) else first.tails_from
    return Cuts(heads_l=on_scale(heads, VOLUME_STEP_L) if heads else None, stop=stop, tails_from=tails_from)


def _alike(values: Any) -> bool:
    every = list(values)
    return all(abs(value - every[0]) <= 1e-9 * abs(every[0]) for value in every)


def _stop(stops: Sequence[Stop], shares: Sequence[float], name: str, notes: list[str]) -> Stop:
    first = stops[0]
    if any(set(stop.named) != set(first.named) or stop.over != first.over for stop in stops):
        notes.append(f"The conditions of {name} differ in kind: those of the first are taken.")
        return first
    mean = _mean(stops, shares)
    changed: dict[str, Any] = {
        field.name: mean(field.name)
        for field in fields(first)
        if field.name in _MEANS and getattr(first, field.name) is not None
    }
    if first.collected_l is not None:
        added = sum((s.collected_l or 0.0) * share for s, share in zip(stops, shares, strict=True))
        changed["collected_l"] = on_scale(added, VOLUME_STEP_L)
    return replace(first, **changed)


def _mean(stops: Sequence[Stop], shares: Sequence[float]) -> Callable[[str], float]:
    def mean(name: str) -> float:
        values = [float(getattr(stop, name)) for stop in stops]
        if len(set(values)) == 1:
            return values[0]
        return on_scale(sum(v * s for v, s in zip(values, shares, strict=True)) / sum(shares))

    return mean


def _jars(plans: Sequence[Plan], notes: list[str]) -> JarPlan:
    first = plans[0].jars
    if all(plan.jars.keep == first.keep for plan in plans):
        return first
    notes.append("The jars kept differ: all between heads and tails are kept.")
    return replace(first, keep=())


def _bottling(plans: Sequence[Plan], shares: Sequence[float], abv: float, notes: list[str]) -> Bottling:
    first = plans[0].bottling
    spirits = [plan.bottling.stretch for plan in plans]
    if any(spirits):
        if any(s is None or s.abv != (spirits[0].abv if spirits[0] else None) for s in spirits):
            notes.append("Neutral spirit is added to some only: that of the first is taken.")
        elif first.stretch is not None:
            litres = sum(s.spirit_l * share for s, share in zip(spirits, shares, strict=True) if s)
            first = replace(first, stretch=replace(first.stretch, spirit_l=on_scale(litres, VOLUME_STEP_L)))
    return first if first.abv is None else replace(first, abv=abv)
