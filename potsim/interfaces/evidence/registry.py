"""Every comparison there is: those of all modules of this package."""

from __future__ import annotations

import importlib
import pkgutil
from types import ModuleType

from potsim.interfaces import evidence
from potsim.interfaces.evidence.core import Comparison


def modules() -> tuple[str, ...]:
    """Return the names of the modules that hold comparisons; a new one needs no registration.

    Returns
    -------
    tuple of str
        In alphabetical order.
    """
    every = sorted(module.name for module in pkgutil.iter_modules(evidence.__path__))
    return tuple(name for name in every if hasattr(_module(name), "comparisons"))


def everything() -> dict[str, list[Comparison]]:
    """Return all comparisons by the module that holds them.

    Returns
    -------
    dict
        Name of the module, which is the subject, to its comparisons.
    """
    return {name: list(_module(name).comparisons()) for name in modules()}


def _module(name: str) -> ModuleType:
    return importlib.import_module(f"{evidence.__name__}.{name}")
