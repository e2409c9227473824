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


def _is(
    fault: PotsimError, kind: str, path: str, given: str | None, allowed: str | None, near: str | None
) -> bool:
    told = fault.record
    return (
        (told["kind"], told["path"], told["given"]) == (kind, path, given)
        and (allowed is None or told["allowed"].startswith(allowed))
        and (near is None or near in getattr(fault, "near", ()))
    )


def is_refusal(
    error: BaseException | None,
    kind: str,
    path: str = "",
    given: str | None = None,
    allowed: str | None = None,
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
    given: str | None = None,
    allowed: str | None = None,
    near: str | None = None,
    *,
    error: type[PotsimError] = RequestError,
) -> Iterator[pytest.ExceptionInfo[PotsimError]]:
    """Hold that what is done is refused, one fault having this record; ``"said"`` and a name: a sentence."""
    with pytest.raises(KINDS.get(kind, error)) as caught:
        yield caught
    assert is_refusal(caught.value, kind, path, given, allowed, near), caught.value.record
