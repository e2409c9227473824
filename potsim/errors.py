"""What a refusal looks like: what was given, what is allowed, what to do next."""

from __future__ import annotations

import math
from collections.abc import Iterable


class PotsimError(Exception):
    """Any refusal or failure that potsim foresaw."""

    exit_code = 1

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class RequestError(PotsimError, ValueError):
    """The request itself is wrong: a plan, a unit, a number that cannot be."""

    exit_code = 2


class RangeError(RequestError):
    """A number lies outside the range in which a model is valid."""

    def __init__(self, argument: str, given: object, allowed: str, hint: str = "") -> None:
        super().__init__(f"{argument} is {given}; allowed is {allowed}.", hint)
        self.argument = argument
        self.given = given
        self.allowed = allowed


class UnknownNameError(RequestError, LookupError):
    """A name that nothing here goes by; the nearest known names are suggested."""

    def __init__(self, what: str, given: str, known: Iterable[str]) -> None:
        names = sorted(set(known))
        near = nearest(given, names)
        if near:
            hint = "Did you mean " + " or ".join(f"'{n}'" for n in near) + "?"
        else:
            hint = "Known: " + ", ".join(names[:30]) + ("." if len(names) <= 30 else ", ...")
        super().__init__(f"Unknown {what} '{given}'.", hint)
        self.given = given
        self.near = near


class ConvergenceError(PotsimError, RuntimeError):
    """A calculation did not come to an end; the request was fair."""


def require(
    key: str,
    value: float | None,
    low: float,
    high: float = math.inf,
    unit: str = "",
    *,
    open_low: bool = False,
    hint: str = "",
) -> None:
    """Refuse a number outside its range; ``None`` (not said) passes."""
    if value is None:
        return
    fine = (value > low if open_low else value >= low) and value <= high and math.isfinite(value)
    if not fine:
        least = f"more than {_plain(low)}" if open_low else f"at least {_plain(low)}"
        allowed = least if math.isinf(high) else f"{least} and at most {_plain(high)}"
        space = f" {unit}" if unit else ""
        raise RangeError(key, f"{_plain(value)}{space}", f"{allowed}{space}", hint)


def _plain(value: float) -> str:
    """A number without powers of ten, as far as a person would write it so."""
    return f"{value:,.0f}" if 1e4 <= abs(value) < 1e9 else f"{value:.6g}"


def nearest(given: str, known: Iterable[str], most: int = 3) -> tuple[str, ...]:
    """Return the known names closest in spelling to the one given."""
    import difflib  # start-up: for refusals only

    by_lower = {name.lower(): name for name in known}
    near = difflib.get_close_matches(given.lower(), list(by_lower), n=most, cutoff=0.6)
    return tuple(by_lower[name] for name in near)
