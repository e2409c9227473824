"""Tasks for a process of the page that go wrong in every way."""

from __future__ import annotations

import os
import time
from typing import Any

from potsim.errors import PotsimError, RequestError


def echo(sent: dict[str, Any]) -> Any:
    """Return what was sent."""
    return sent


def slow(sent: dict[str, Any]) -> Any:
    """Take a while."""
    time.sleep(0.2)
    return sent


def loops(sent: dict[str, Any]) -> Any:
    """Never end."""
    while True:
        pass


def eats(sent: dict[str, Any]) -> Any:
    """Take more memory than there is for it."""
    return len(bytearray(4 << 30))


def dies(sent: dict[str, Any]) -> Any:
    """End the process."""
    os._exit(3)


def fails(sent: dict[str, Any]) -> Any:
    """Have a fault."""
    raise KeyError("x")


def refuses(sent: dict[str, Any]) -> Any:
    """Refuse."""
    raise RequestError.of("empty_charge")


def refusal(error: PotsimError) -> Any:
    """Say so."""
    return {"refused": {"message": error.message}}


TASKS = {one.__name__: one for one in (echo, slow, loops, eats, dies, fails, refuses, refusal)}
TASKS |= {"answer": eats, "shelf": echo}  # as the page asks for them
