"""A refusal is told by its record; where that says too little, by a sentence of `test_wording.REFUSALS`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from test_wording import REFUSALS

from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError

Record = tuple[Any, ...]  # what `refused` is given

KINDS: dict[str, type[PotsimError]] = {"range": RangeError, "unknown_name": UnknownNameError}


def is_of(
    fault: PotsimError, kind: str, path: str, given: str | None, allowed: str | None, near: str | None
) -> bool:
    """Whether a fault has this record; of what is allowed the beginning is asked, of near names one."""
    told = fault.record
    return (
        (told["kind"], told["path"], told["given"]) == (kind, path, given)
        and (allowed is None or told["allowed"].startswith(allowed))
        and (near is None or near in getattr(fault, "near", ()))
    )


@contextmanager
def refused(
    kind: str,
    path: str = "",
    given: str | None = None,
    allowed: str | None = None,
    near: str | None = None,
    *,
    error: type[PotsimError] = RequestError,
) -> Iterator[pytest.ExceptionInfo[PotsimError]]:
    """Hold that what is done is refused, one fault having this record; ``"said"`` and a name: a sentence."""
    with pytest.raises(KINDS.get(kind, error)) as caught:
        yield caught
    if kind == "said":
        assert re.search(REFUSALS[path], str(caught.value))
    else:
        faults = caught.value.faults
        assert any(is_of(fault, kind, path, given, allowed, near) for fault in faults), [
            fault.record for fault in faults
        ]
