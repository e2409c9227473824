"""What a refusal is: its place, its kind, what was given, what is allowed; words come last.

Each kind that is raised as a record is worded once, in `potsim.interfaces.report.refusals`.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple, Self, TypeVar, cast

from potsim import faces

Act = TypeVar("Act", bound=Callable[..., Any])

VOL = "% vol"
SHARE, OF_WHAT_COMES = "of the whole (0 to 1)", "of what comes over (0 to 1)"
MOST_FAULTS = 50  # of one file that are told


class Where(NamedTuple):
    """A place in a file, or the argument of a command."""

    file: str  # name of the file, or the argument as it is typed
    line: int | None = None  # line of the file, from 1
    spot: str = (
        ""  # what stands there as a reader finds it: ``"[still] power"``, ``"[[botanical]] 'mint' mass"``
    )
    path: str = ""  # the same for a program, rows counted from 0: ``"still.power"``, ``"botanical.5.mass"``

    @property
    def words(self) -> str:
        """File, line and spot."""
        file = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{file}: {self.spot}" if self.spot else file


class PotsimError(Exception):
    """Any refusal or failure that potsim foresaw, as a record; its kind is worded when it is read.

    Parameters
    ----------
    kind : str
        What sort of fault it is, one word for a program.
    path : str
        Key of the plan or name of the argument that it is about, such as ``"still.power"``; empty for none.
    given : object
        What was given, in plain units; ``None`` where nothing was.
    allowed : object
        What would do; empty where that is not a matter of one value.
    **values : object
        Other numbers and names that its sentence needs.
    """

    exit_code = 1
    kind: str = ""

    def __init__(
        self, kind: str = "", path: str = "", *, given: Any = None, allowed: Any = "", **values: Any
    ) -> None:
        super().__init__(kind)
        self.kind = kind or self.kind
        self.path = path
        self.given = given
        self.allowed = allowed
        self.values = values
        self.units: str | None = None  # system of units that its numbers are told in; that of what is asked
        self.where: tuple[Where, ...] = ()  # places, the outermost first: a plan, and a plan that it names

    @classmethod
    def of(cls, kind: str, path: str = "", *, given: Any = None, allowed: Any = "", **values: Any) -> Self:
        """Return a refusal of a kind."""
        return cls(kind, path, given=given, allowed=allowed, **values)

    @property
    def fault(self) -> str:
        """What is wrong, without its place."""
        return faces.fault(self)

    @property
    def hint(self) -> str:
        """What to do; empty if what is allowed says it."""
        return faces.hint(self)

    @property
    def follows(self) -> bool:
        """Whether the fault reads on from its place, or is a sentence of its own."""
        return faces.follows(self)

    def at(self, where: Where) -> PotsimError:
        """Return the refusal with a place put before those that it has."""
        self.where = (where, *self.where)
        return self

    @property
    def faults(self) -> tuple[PotsimError, ...]:
        """The faults told together: itself."""
        return (self,)

    @property
    def message(self) -> str:
        """Place and fault."""
        return self.words()

    def words(self, *, files: bool = True) -> str:
        """Return place and fault, with or without the names and lines of files."""
        places = [where.words if files else where.spot for where in self.where]
        places = [place for place in places if place]
        if self.path and not (self.where and self.where[-1].path):
            places.append(self.path)
        joined = ": ".join(places)
        if not joined:
            return self.fault[:1].upper() + self.fault[1:]
        return f"{joined}{' ' if self.follows else ': '}{self.fault}"

    @property
    def record(self) -> dict[str, Any]:
        """The refusal as plain data."""
        last = self.where[-1] if self.where else Where("")
        return {
            "kind": self.kind,
            "file": last.file,
            "line": last.line,
            "path": last.path or self.path,
            "given": self.given if self.given is None or _finite(self.given) else str(self.given),
            "allowed": self.allowed,
            "values": {
                name: str(value) if isinstance(value, float) and not _finite(value) else value
                for name, value in self.values.items()
            },
            "message": self.message,
            "hint": self.hint,
        }

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (type(self), self.args, self.__dict__)


def _finite(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def _again(kind: type[PotsimError], args: tuple[Any, ...], state: dict[str, Any]) -> PotsimError:
    """Make a refusal that came from another process."""
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(state)
    return error


class RequestError(PotsimError, ValueError):
    """The request itself is wrong: a plan, a unit, a number that cannot be."""

    exit_code = 2


class RangeError(RequestError):
    """A number lies outside the range in which a model is valid."""

    @property
    def argument(self) -> str:
        """What the number is of."""
        return self.path

    def typed(self, given: object, argument: str = "") -> RangeError:
        """Return the refusal with the value, and what it is of, as a person typed it."""
        self.values.setdefault("of", self.path)  # by which its words are found
        self.given, self.path = given, argument or self.path
        return self


class UnknownNameError(RequestError, LookupError):
    """A name that nothing here goes by; the nearest known names are suggested."""

    kind = "unknown_name"

    def __init__(
        self, what: str, given: str, known: Iterable[str], *, kind: str = "", path: str = ""
    ) -> None:
        super().__init__(kind, path, given=given, what=what)
        self.known = sorted(set(known))
        self.near = nearest(given, self.known)


class SeveralFaultsError(RequestError):
    """Several faults of one file, told together."""

    kind = "several"

    def __init__(self, faults: Sequence[PotsimError]) -> None:
        super().__init__(path=faults[0].path)
        self._faults = tuple(faults)
        self.where = faults[0].where

    @property
    def hint(self) -> str:
        """Nothing: each says what to do."""
        return ""

    @property
    def faults(self) -> tuple[PotsimError, ...]:
        """Each of them, in the order of the file."""
        return self._faults

    def at(self, where: Where) -> PotsimError:
        """Return the refusals, each with a place put before those that it has."""
        for fault in self._faults:
            fault.at(where)
        return super().at(where)

    def words(self, *, files: bool = True) -> str:
        """Return all of them, a line each."""
        return "\n".join(f"{fault.words(files=files)} {fault.hint}".strip() for fault in self._faults)


class ConvergenceError(PotsimError, RuntimeError):
    """A calculation did not come to an end; the request was fair."""


def in_units_of_plan(act: Act) -> Act:
    """Tell what is refused while something is done with a plan in the plan's units."""

    @functools.wraps(act)
    def acting(plan: Any, *args: Any, **more: Any) -> Any:
        try:
            return act(plan, *args, **more)
        except PotsimError as error:
            error.units = error.units or getattr(plan, "units", None)
            raise

    return cast(Act, acting)


def together(faults: Sequence[PotsimError]) -> PotsimError:
    """Return faults as one refusal, in the order of their lines; what is beyond `MOST_FAULTS` is left out."""
    every = [one for fault in faults for one in fault.faults]
    every.sort(key=lambda one: (one.where[0].line or 0) if one.where else 0)
    return every[0] if len(every) == 1 else SeveralFaultsError(every[:MOST_FAULTS])


def require(
    key: str,
    value: float | None,
    low: float,
    high: float = math.inf,
    unit: str = "",
    *,
    open_low: bool = False,
    **values: Any,
) -> None:
    """Refuse a number outside its range; ``None`` (not said) passes."""
    if value is None:
        return
    if isinstance(value, str | bytes | list | tuple | dict):
        raise RequestError.of("wrong_type", key, given=repr(value), allowed="float", unit=unit)
    fine = (value > low if open_low else value >= low) and value <= high and math.isfinite(value)
    if not fine:
        most = high if math.isfinite(high) else None
        raise RangeError.of(
            "range", key, given=value, allowed=[low, most], unit=unit, open_low=open_low, **values
        )


def require_sort(key: str, value: object, kinds: type | tuple[type, ...], allowed: str) -> None:
    """Refuse what is another sort of thing; ``allowed`` is the name of what is asked for."""
    if not isinstance(value, kinds):
        import reprlib  # start-up: for refusals only

        raise RequestError.of("wrong_type", key, given=reprlib.repr(value), allowed=allowed)


def nearest(given: str, known: Iterable[str], most: int = 3) -> tuple[str, ...]:
    """Return the known names closest in spelling to the one given."""
    import difflib  # start-up: for refusals only

    by_lower = {name.lower(): name for name in known}
    near = difflib.get_close_matches(given.lower(), list(by_lower), n=most, cutoff=0.6)
    return tuple(by_lower[name] for name in near)
