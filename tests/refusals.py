"""A refusal is told by its record; where that says too little, by a sentence of `test_wording.REFUSALS`."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import ANY

import pytest
from test_wording import REFUSALS

from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError
from potsim.interfaces.quantities import sized
from potsim.interfaces.report.refusals import allowed_range

Record = tuple[Any, ...]  # what `refused` is given

KINDS: dict[str, type[PotsimError]] = {"range": RangeError, "unknown_name": UnknownNameError}


def _is(fault: PotsimError, kind: str, path: str, given: Any, allowed: Any, near: str | None) -> bool:
    told = json.loads(json.dumps(fault.record, allow_nan=False))  # plain data
    if fault.kind == "range":  # a number or how it is told with its unit; a range or how that is told
        unit = fault.values["unit"]
        told["given"] = sized(fault.given, unit) if isinstance(given, str) else told["given"]
        told["allowed"] = allowed_range(fault) if isinstance(allowed, str) else told["allowed"]
    return (
        (told["kind"], told["path"]) == (kind, path)
        and _same(told["given"], given)
        and (allowed is None or _same(told["allowed"], allowed, begins=True))
        and (near is None or near in getattr(fault, "near", ()))
    )


def _same(told: Any, wanted: Any, *, begins: bool = False) -> bool:
    """Whether a value of a record is the one wanted: numbers to six digits, a text (or how it begins)."""
    if wanted is ANY or told == wanted:
        return True
    if isinstance(told, list) and isinstance(wanted, list | tuple):
        return len(told) == len(wanted) and all(map(_same, told, wanted))
    if isinstance(told, float) and isinstance(wanted, int | float):
        return bool(told == pytest.approx(wanted))
    return str(told).startswith(str(wanted)) if begins else str(told) == str(wanted)


def is_refusal(
    error: BaseException | None,
    kind: str,
    path: str = "",
    given: Any = ANY,
    allowed: Any = None,
    near: str | None = None,
) -> bool:
    """Whether a fault has this record (allowed begins so, near is among them), or says the sentence named."""
    assert isinstance(error, PotsimError)
    if kind == "said":
        return re.search(REFUSALS[path], str(error)) is not None
    return any(_is(fault, kind, path, given, allowed, near) for fault in error.faults)


@contextmanager
def refused(
    kind: str,
    path: str = "",
    given: Any = ANY,
    allowed: Any = None,
    near: str | None = None,
    *,
    error: type[PotsimError] = RequestError,
) -> Iterator[pytest.ExceptionInfo[PotsimError]]:
    """Hold that what is done is refused, one fault having this record; ``"said"`` and a name: a sentence."""
    with pytest.raises(KINDS.get(kind, error)) as caught:
        yield caught
    assert is_refusal(caught.value, kind, path, given, allowed, near), caught.value.record
