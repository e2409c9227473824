"""Any result as plain data for programs."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return numbers, texts, lists and mappings: records by their fields; what is not finite is ``None``."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return plain(value._asdict())
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} is no plain data.")
