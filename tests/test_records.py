"""Records do what the standard library's dataclasses do; only their making is cheaper."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, field
from typing import Any, ClassVar

import pytest

from potsim import records


def _point(make: Callable[..., Any]) -> Any:
    @make(frozen=True)
    class Point:
        """A point."""

        kind: ClassVar[str] = "point"
        x: float
        y: float = 2.0
        tags: tuple[str, ...] = field(default=(), repr=False)
        notes: list[str] = field(default_factory=list, compare=False)

        def __post_init__(self) -> None:
            if self.x < 0:
                raise ValueError("x")

    return Point


def _by_name(make: Callable[..., Any]) -> Any:
    @make(frozen=True, kw_only=True)
    class Named:
        """By name."""

        a: int
        b: int = 0

    return Named


def _open(make: Callable[..., Any]) -> Any:
    @make
    class Open:
        """May be changed."""

        a: int
        b: int = 0

    @make
    class Wider(Open):
        """With one more."""

        c: int = 3

    return Wider


@records.dataclass(frozen=True)
class Kept:
    """One that can be found again by its name."""

    a: int
    b: tuple[int, ...] = ()


CALLS: list[Callable[[Any, Any, Any], Any]] = [
    lambda point, named, wide: repr(point(1.0)),
    lambda point, named, wide: repr(point(1.0, tags=("a",), notes=["b"])).replace("records", ""),
    lambda point, named, wide: repr(named(a=1)) + repr(wide(1, c=5)),
    lambda point, named, wide: point(1.0) == point(1.0, notes=["other"]),
    lambda point, named, wide: point(1.0) == point(1.0, 3.0),
    lambda point, named, wide: point(1.0) == 1.0,
    lambda point, named, wide: hash(point(1.0)) == hash(point(1.0, notes=["other"])),
    lambda point, named, wide: hash(wide(1)),
    lambda point, named, wide: dataclasses.asdict(point(1.0)),
    lambda point, named, wide: dataclasses.replace(point(1.0), y=5.0).y,
    lambda point, named, wide: dataclasses.replace(point(1.0), x=-1.0),
    lambda point, named, wide: [f.name for f in dataclasses.fields(point)],
    lambda point, named, wide: [f.name for f in dataclasses.fields(wide(1))],
    lambda point, named, wide: dataclasses.is_dataclass(named),
    lambda point, named, wide: point.__match_args__ + wide.__match_args__,
    lambda point, named, wide: str(inspect.signature(wide)).split(" ->")[0],
    lambda point, named, wide: str(inspect.signature(named)).split(" ->")[0],
    lambda point, named, wide: point(1.0).notes is point(1.0).notes,
    lambda point, named, wide: vars(copy.deepcopy(point(1.0, notes=["a"]))),
    lambda point, named, wide: (point.y, point.kind, hasattr(point, "notes"), wide.c),
    lambda point, named, wide: point(),
    lambda point, named, wide: point(1.0, x=1.0),
    lambda point, named, wide: point(1.0, z=1.0),
    lambda point, named, wide: point(1.0, 2.0, (), [], 5),
    lambda point, named, wide: named(1),
    lambda point, named, wide: named(1, 2),
    lambda point, named, wide: named(b=1),
    lambda point, named, wide: point(-1.0),
    lambda point, named, wide: setattr(point(1.0), "x", 2.0),
    lambda point, named, wide: delattr(point(1.0), "x"),
    lambda point, named, wide: setattr(wide(1), "c", 2.0),
]


@pytest.mark.parametrize("call", CALLS)
def test_a_record_answers_as_a_dataclass_does(call: Callable[[Any, Any, Any], Any]) -> None:
    def outcome(make: Callable[..., Any]) -> object:
        try:
            return call(_point(make), _by_name(make), _open(make))
        except (TypeError, ValueError, FrozenInstanceError) as error:
            return type(error)

    assert outcome(records.dataclass) == outcome(dataclasses.dataclass)


def test_a_record_survives_pickle() -> None:
    kept = Kept(1, (2, 3))
    again = pickle.loads(pickle.dumps(kept))
    assert again == kept
    assert hash(again) == hash(kept)
    with pytest.raises(FrozenInstanceError):
        again.a = 2  # type: ignore[misc]
