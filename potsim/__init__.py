"""Pot-still batch distillation, computed beforehand.

Public are the names listed here, `potsim.liquid`'s modules named in the README and what their results offer;
all else may change. The names load when first used, so that ``import potsim`` costs next to nothing.

Plans
    `Plan` and its parts `Ingredient`, `LeftOver`, `StillPlan`, `PowerStep`, `BotanicalDose`, `Cuts`, `Stop`,
    `JarPlan`, `JarStock`, `Bottling`, `Stretch`, `Uncertainty`; `load_plan`, `example_plan`.
Runs
    `distil` gives a `Run`; `sweep` a `Sweep`; `study` a table of many runs; `reach` a `Reach`; `ensemble`
    an `Ensemble`; ``run.follow`` a `Forecast`; `contours` draws a study; `json_schema` of
    what they are as plain data.
Modules
    `trials` (next, compare, blend, scale, book), `strength`, `proofing`, `botanicals`, `frames` (tables of
    pandas); the functions `bubble_point` and `clear_limit`.
Your own
    `activity_model` for a ``with`` block; ``run.first`` for a stop; botanicals and compounds in a plan.
Errors
    `PotsimError`, above `RequestError`, `RangeError`, `UnknownNameError` and `ConvergenceError`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from potsim import trials as trials
    from potsim.errors import ConvergenceError as ConvergenceError
    from potsim.errors import PotsimError as PotsimError
    from potsim.errors import RangeError as RangeError
    from potsim.errors import RequestError as RequestError
    from potsim.errors import UnknownNameError as UnknownNameError
    from potsim.interfaces.planfile import example_plan as example_plan
    from potsim.interfaces.planfile import load_plan as load_plan
    from potsim.interfaces.plots.others import contours as contours
    from potsim.interfaces.schemas import json_schema as json_schema
    from potsim.liquid import strength as strength
    from potsim.liquid.clouding import clear_limit as clear_limit
    from potsim.liquid.equilibrium import activity_model as activity_model
    from potsim.liquid.equilibrium import bubble_point as bubble_point
    from potsim.planning import botanicals as botanicals
    from potsim.planning import frames as frames
    from potsim.planning import proofing as proofing
    from potsim.planning.ensemble import Ensemble as Ensemble
    from potsim.planning.ensemble import ensemble as ensemble
    from potsim.planning.forecast import Forecast as Forecast
    from potsim.planning.plan import BotanicalDose as BotanicalDose
    from potsim.planning.plan import Bottling as Bottling
    from potsim.planning.plan import Cuts as Cuts
    from potsim.planning.plan import Ingredient as Ingredient
    from potsim.planning.plan import JarPlan as JarPlan
    from potsim.planning.plan import JarStock as JarStock
    from potsim.planning.plan import LeftOver as LeftOver
    from potsim.planning.plan import Plan as Plan
    from potsim.planning.plan import PowerStep as PowerStep
    from potsim.planning.plan import StillPlan as StillPlan
    from potsim.planning.plan import Stop as Stop
    from potsim.planning.plan import Stretch as Stretch
    from potsim.planning.plan import Uncertainty as Uncertainty
    from potsim.planning.reach import Reach as Reach
    from potsim.planning.reach import reach as reach
    from potsim.planning.run import Run as Run
    from potsim.planning.run import distil as distil
    from potsim.planning.study import study as study
    from potsim.planning.sweep import Sweep as Sweep
    from potsim.planning.sweep import sweep as sweep

_HOMES = {
    "ConvergenceError": "potsim.errors",
    "PotsimError": "potsim.errors",
    "RangeError": "potsim.errors",
    "RequestError": "potsim.errors",
    "UnknownNameError": "potsim.errors",
    "example_plan": "potsim.interfaces.planfile",
    "load_plan": "potsim.interfaces.planfile",
    "clear_limit": "potsim.liquid.clouding",
    "contours": "potsim.interfaces.plots.others",
    "json_schema": "potsim.interfaces.schemas",
    "activity_model": "potsim.liquid.equilibrium",
    "bubble_point": "potsim.liquid.equilibrium",
    "Ensemble": "potsim.planning.ensemble",
    "ensemble": "potsim.planning.ensemble",
    "Forecast": "potsim.planning.forecast",
    "BotanicalDose": "potsim.planning.plan",
    "Bottling": "potsim.planning.plan",
    "Cuts": "potsim.planning.plan",
    "Ingredient": "potsim.planning.plan",
    "JarPlan": "potsim.planning.plan",
    "JarStock": "potsim.planning.plan",
    "LeftOver": "potsim.planning.plan",
    "Plan": "potsim.planning.plan",
    "PowerStep": "potsim.planning.plan",
    "StillPlan": "potsim.planning.plan",
    "Stop": "potsim.planning.plan",
    "Stretch": "potsim.planning.plan",
    "Uncertainty": "potsim.planning.plan",
    "Reach": "potsim.planning.reach",
    "reach": "potsim.planning.reach",
    "Run": "potsim.planning.run",
    "distil": "potsim.planning.run",
    "study": "potsim.planning.study",
    "Sweep": "potsim.planning.sweep",
    "sweep": "potsim.planning.sweep",
}
_MODULES = {
    "strength": "potsim.liquid.strength",
    "frames": "potsim.planning.frames",
    "proofing": "potsim.planning.proofing",
    "botanicals": "potsim.planning.botanicals",
    "trials": "potsim.trials",
}
__all__ = [
    "BotanicalDose",
    "Bottling",
    "ConvergenceError",
    "Cuts",
    "Ensemble",
    "Forecast",
    "Ingredient",
    "JarPlan",
    "JarStock",
    "LeftOver",
    "Plan",
    "PotsimError",
    "PowerStep",
    "RangeError",
    "Reach",
    "RequestError",
    "Run",
    "StillPlan",
    "Stop",
    "Stretch",
    "Sweep",
    "Uncertainty",
    "UnknownNameError",
    "__version__",
    "activity_model",
    "botanicals",
    "bubble_point",
    "clear_limit",
    "contours",
    "distil",
    "ensemble",
    "example_plan",
    "frames",
    "json_schema",
    "load_plan",
    "proofing",
    "reach",
    "strength",
    "study",
    "sweep",
    "trials",
]


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        value = importlib.import_module(_MODULES[name])
    elif name in _HOMES:
        value = getattr(importlib.import_module(_HOMES[name]), name)
    else:
        raise AttributeError(f"module 'potsim' has no attribute '{name}'")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
