"""What must hold of whatever comes out."""

from __future__ import annotations

import math
from typing import Any

from potsim.errors import PotsimError


def plain(value: Any, where: str = "") -> None:
    """Walk plain data: numbers finite, texts, lists and tables, nothing else."""
    if isinstance(value, dict):
        for key, inner in value.items():
            assert isinstance(key, str), f"{where}: key {key!r}"
            plain(inner, f"{where}.{key}")
    elif isinstance(value, list):
        for k, inner in enumerate(value):
            plain(inner, f"{where}[{k}]")
    elif isinstance(value, float):
        assert math.isfinite(value), f"{where} is {value}"
    else:
        assert value is None or isinstance(value, (str, int, bool)), f"{where} is a {type(value)}"


def says_something(error: PotsimError, *, hint: bool = False) -> None:
    """A refusal has words, and none of them is a fault in making them; if asked for, also what to do."""
    words = f"{error.message} {error.hint}"
    assert error.message.strip(), "a refusal without words"
    assert error.hint.strip() or not hint, f"no hint: {error.message}"
    for fault in ("Traceback", "<class", "object at 0x", "np.float64"):
        assert fault not in words, f"{fault} in: {words}"
