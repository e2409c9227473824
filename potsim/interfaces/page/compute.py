"""What the page shows of a plan: the run as `run --json` gives it, and what its picture needs besides."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

import numpy as np

from potsim.errors import PotsimError
from potsim.interfaces.page.tables import as_rows, counted
from potsim.planning.plan import Bottling, JarPlan, Plan
from potsim.planning.run import Run, distil
from potsim.planning.stops import QUANTITIES
from potsim.planning.sweep import with_strength

APART_ABV = 5.0  # by which a weaker and a stronger charge differ from the plan's [% vol]
RIBBON_POINTS = 61


_JAR = ("number", "role", "size_l", "volume_l", "from_l", "to_l", "abv", "start_abv", "end_abv", "full_min")
_KEEP = ("volume_l", "abv", "ethanol_l", "jars")
_PROOFING = ("target_abv", "water_l", "water_kg", "volume_l", "bottles", "left_over_l")
_CHARGE = ("volume_l", "abv", "ethanol_l")


def predicted(plan: Plan) -> dict[str, Any]:
    """Return the whole run of a plan."""
    run = distil(plan)
    return {"run": run.to_dict(), "numbers": counted(plan), "ribbons": ribbons(run)}


def in_motion(plan: Plan) -> dict[str, Any]:
    """Return what moves on the page while a slider does."""
    run = distil(plan)
    stop, made = run.stop, run.proofing
    lean = {
        "title": plan.title,
        "charge": {**_of(run.charge, _CHARGE), "boiling_c": float(run.pot_c[0])},
        "first_drop_min": run.first_drop_min,
        "curve": {name: getattr(run.profile, name).tolist() for name in QUANTITIES},
        "stop": {"reason": run.end.reason, "words": run.end.words, **_of(stop, QUANTITIES)},
        "jars": [_of(jar, _JAR) for jar in run.jars],
        "keep": _of(run.keep, _KEEP),
        "proofing": None if made is None else {**_of(made, _PROOFING), "stretch": _stretch(plan)},
    }
    return {"run": lean, "numbers": counted(plan), "ribbons": ribbons(run)}


def _stretch(plan: Plan) -> dict[str, float] | None:
    by = plan.bottling.stretch
    return None if by is None else _of(by, ("spirit_l", "abv"))


def _of(thing: Any, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: getattr(thing, name) for name in names}


def ribbons(run: Run) -> list[dict[str, Any]]:
    """Return how strongly each botanical comes over along the run, in the order in which they come."""
    flavours = run.flavours
    if not len(flavours):
        return []
    depletion = np.linspace(0.0, run.end.depletion, RIBBON_POINTS)
    rates = flavours.rate_g_per_10_ml(depletion)
    collected_l = run.course.at(depletion).collected_l.tolist()
    lines: defaultdict[str, list[int]] = defaultdict(list)
    for k, dose in enumerate(flavours.bill):
        lines[dose.botanical.id].append(k)
    found = []
    for one in flavours.botanicals:
        rate = rates[lines[one.botanical_id].pop(0)]
        most = float(rate.max())
        columns = {"collected_l": collected_l, "strength": (rate / (most or 1.0)).tolist()}
        found.append({"botanical": one.botanical, "class": one.klass, **as_rows(columns)})
    return found


def beside(plan: Plan) -> list[dict[str, Any]]:
    """Return the stream of a weaker and of a stronger charge, the alcohol in it being the same."""
    bare = replace(plan, jars=JarPlan(), bottling=Bottling(), botanicals=())
    abv = distil(bare).charge.abv
    found = []
    for name, other in (("weaker", abv - APART_ABV), ("stronger", abv + APART_ABV)):
        try:
            run = distil(with_strength(bare, other))
        except PotsimError:
            continue
        columns = {"collected_l": run.collected_l.tolist(), "stream_abv": run.stream_abv.tolist()}
        found.append({"which": name, "abv": run.charge.abv, **as_rows(columns)})
    return found
