"""Records: the standard library's dataclasses, made without compiling code; and any result as plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:
    from copy import copy
    from dataclasses import MISSING, Field, FrozenInstanceError, field, fields
    from dataclasses import dataclass as _standard
    from inspect import get_annotations

    @_standard(init=False, repr=False, eq=False)
    class _One:
        field: int

    _FIELD = fields(_One)[0]._field_type  # marks a field as one that `fields` lists
    _PARAMS = {
        False: _One.__dataclass_params__,
        True: copy(_One.__dataclass_params__),
    }  # as Dask's tokens ask
    _PARAMS[True].frozen = True

    def dataclass(cls: type | None = None, /, *, frozen: bool = False, kw_only: bool = False) -> Any:
        """Make a record of a class with annotated fields, as `dataclasses.dataclass` does.

        What that compiles for each class (``__init__``, ``__eq__``, ``__repr__``, ``__hash__``) is here
        written once for all. `fields`, `replace`, `asdict`, ``field(...)`` and ``__post_init__`` stay.

        Parameters
        ----------
        frozen : bool
            Whether fields may not be set again.
        kw_only : bool
            Whether fields are given by name only.
        """
        if cls is None:
            return lambda cls: _made(cls, frozen, kw_only)
        return _made(cls, frozen, kw_only)

    def _made(cls: type, frozen: bool, kw_only: bool) -> type:
        known: dict[str, Field] = {}
        for base in reversed(cls.__mro__[1:]):
            known |= getattr(base, "__dataclass_fields__", {})
        for name, annotation in get_annotations(cls).items():
            if "ClassVar" not in str(annotation):
                known[name] = _field(cls, name, annotation, kw_only)
        cls.__dataclass_fields__ = known
        cls.__dataclass_params__ = _PARAMS[frozen]
        cls.__match_args__ = () if kw_only else tuple(known)
        cls.__signature__ = _Signature()
        own = cls.__dict__
        cls.__init__ = _init(known, kw_only, hasattr(cls, "__post_init__"))
        for name in ("__repr__", "__eq__"):
            if name not in own:
                setattr(cls, name, _Methods.__dict__[name])
        if own.get("__hash__") is None:
            cls.__hash__ = _Methods.__hash__ if frozen else None
        if frozen:
            cls.__setattr__, cls.__delattr__ = _Methods.__setattr__, _Methods.__delattr__
        return cls

    def _field(cls: type, name: str, annotation: Any, kw_only: bool) -> Field:
        given = cls.__dict__.get(name, MISSING)
        one = given if isinstance(given, Field) else field(default=given)
        one.name, one.type, one.kw_only, one._field_type = name, annotation, kw_only, _FIELD
        if one.default is not MISSING:
            setattr(cls, name, one.default)
        elif given is one:
            delattr(cls, name)
        return one

    def _init(known: dict[str, Field], kw_only: bool, prepares: bool) -> Any:
        names = tuple(known)
        every = known.keys()
        count = len(names)

        def init(self: Any, /, *given: Any, **named: Any) -> None:
            values = self.__dict__
            if given:
                values.update(zip(names, given))  # noqa: B905
            if named:
                values.update(named)
            if values.keys() != every or len(given) + len(named) != count:
                _complete(self, known, len(given), named, 0 if kw_only else count)
            elif kw_only and given:
                raise TypeError(f"{type(self).__name__}() takes its fields by name only")
            if prepares:
                self.__post_init__()

        return init

    def _complete(self: Any, known: dict[str, Field], given: int, named: dict[str, Any], most: int) -> None:
        """Fill in defaults; refuse what is unknown, twice there, or missing."""
        name, values = type(self).__name__, self.__dict__
        if given > most:
            raise TypeError(f"{name}() takes at most {most} values without a name, but {given} are given")
        if strange := [key for key in named if key not in known]:
            raise TypeError(f"{name}() got an unexpected keyword argument '{strange[0]}'")
        if twice := [key for key in list(known)[:given] if key in named]:
            raise TypeError(f"{name}() got multiple values for argument '{twice[0]}'")
        for key, one in known.items():
            if key not in values:
                if one.default is not MISSING:
                    values[key] = one.default
                elif one.default_factory is not MISSING:
                    values[key] = one.default_factory()
                else:
                    raise TypeError(f"{name}() is missing the argument '{key}'")

    def _hashable(value: Any) -> Any:
        # A mapping is as its items, whatever their order.
        return frozenset(value.items()) if isinstance(value, dict) else value

    def _compared(self: Any) -> tuple[Any, ...]:
        values = self.__dict__
        return tuple(values[name] for name, one in self.__dataclass_fields__.items() if one.compare)

    class _Methods:
        """What records have; the last two are for frozen ones."""

        def __repr__(self) -> str:
            shown = (f"{k}={getattr(self, k)!r}" for k, one in self.__dataclass_fields__.items() if one.repr)
            return f"{type(self).__qualname__}({', '.join(shown)})"

        def __eq__(self, other: object) -> bool:
            return _compared(self) == _compared(other) if type(other) is type(self) else NotImplemented

        def __hash__(self) -> int:
            return hash(tuple(_hashable(value) for value in _compared(self)))

        def __setattr__(self, name: str, value: Any) -> None:
            raise FrozenInstanceError(f"cannot assign to field '{name}'")

        def __delattr__(self, name: str) -> None:
            raise FrozenInstanceError(f"cannot delete field '{name}'")

    class _Signature:
        """The signature of a record, made when somebody asks."""

        def __get__(self, instance: Any, owner: type) -> Any:
            from inspect import Parameter, Signature  # start-up: for help only

            parameters = []
            for name, one in owner.__dataclass_fields__.items():
                kind = Parameter.KEYWORD_ONLY if one.kw_only else Parameter.POSITIONAL_OR_KEYWORD
                default = one.default if one.default_factory is MISSING else one.default_factory
                empty = Parameter.empty if default is MISSING else default
                parameters.append(Parameter(name, kind, default=empty, annotation=one.type))
            return Signature(parameters)


def said(record: Any) -> dict[str, Any]:
    """Return the fields of a record that are not as they are when left out."""
    every = record.__dataclass_fields__.items()
    return {name: getattr(record, name) for name, one in every if getattr(record, name) != one.default}


def plain(value: Any) -> Any:
    """Return numbers, texts, lists and mappings: records by their fields; what is not finite is ``None``."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if hasattr(value, "__dataclass_fields__") and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if hasattr(value, "_asdict"):
        return plain(value._asdict())
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} is no plain data.")
