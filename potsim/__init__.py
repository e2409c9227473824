"""Pot-still batch distillation, computed beforehand.

The public names load when first used, so that ``import potsim`` costs next to nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from potsim.errors import PotsimError as PotsimError
    from potsim.interfaces.planfile import example_plan as example_plan
    from potsim.interfaces.planfile import load_plan as load_plan
    from potsim.planning.ensemble import ensemble as ensemble
    from potsim.planning.plan import Plan as Plan
    from potsim.planning.reach import reach as reach
    from potsim.planning.run import Run as Run
    from potsim.planning.run import distil as distil
    from potsim.planning.sweep import sweep as sweep

_HOMES = {
    "PotsimError": "potsim.errors",
    "Plan": "potsim.planning.plan",
    "Run": "potsim.planning.run",
    "distil": "potsim.planning.run",
    "ensemble": "potsim.planning.ensemble",
    "example_plan": "potsim.interfaces.planfile",
    "load_plan": "potsim.interfaces.planfile",
    "reach": "potsim.planning.reach",
    "sweep": "potsim.planning.sweep",
}
__all__ = [
    "Plan",
    "PotsimError",
    "Run",
    "__version__",
    "distil",
    "ensemble",
    "example_plan",
    "load_plan",
    "reach",
    "sweep",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'potsim' has no attribute '{name}'")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
