"""What is read off at the still during a run: checked against what came before, raw and corrected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, fields
from functools import lru_cache
from typing import Any, Literal, get_args

from potsim.errors import VOL, RangeError, RequestError, UnknownNameError, require
from potsim.liquid import equilibrium, strength
from potsim.records import dataclass, said

Sample = Literal["stream", "jar", "parrot", "pooled"]
SAMPLES: tuple[str, ...] = get_args(Sample)
MOST_READINGS = 2000
MOST_MIN = 7 * 24 * 60.0
LIGHTEST, HEAVIEST = 0.75, 1.02  # g/mL; ethanol-water, a little warm or badly measured
SAME = 1e-9  # relative; two volumes that differ by rounding


# Of each number of an entry: what it is called, its field, least and most, its unit.
_LIMITS = (
    ("time", "elapsed_min", 0, MOST_MIN, "min"),
    ("collected", "collected_l", 0, 1e5, "L"),
    ("jar volume", "jar_l", 0, 1e5, "L"),
    ("mass", "mass_g", 0, 1e8, "g"),
    ("jar mass", "jar_g", 0, 1e8, "g"),
    ("parrot", "parrot_l", 0, 10, "L"),
    ("strength", "read_abv", 0, 100, VOL),
    ("read at", "read_c", -20, 40, "°C"),
    ("vapour temperature", "vapour_c", -20, 110, "°C"),
    ("pot temperature", "pot_c", -20, 110, "°C"),
    ("power", "power_w", 0, 1e6, "W"),
)


@dataclass(frozen=True)
class Entry:
    """One line as it was read off, in plain numbers; ``None`` for what was not read."""

    elapsed_min: float | None = None  # time since switch-on [min]
    collected_l: float | None = None  # all that has been collected by then, heads included [L at 20 °C]
    mass_g: float | None = None  # the same by mass [g]
    jar_l: float | None = None  # what one jar holds, beside all the jars before it [L at 20 °C]
    jar_g: float | None = None  # the same by mass [g]
    # what the strength was read of: what runs just now, a jar as a whole, a parrot, which mixes what runs
    # now with what ran before, or all so far poured together
    of: str = "stream"
    parrot_l: float | None = None  # what the parrot holds [L]; that of the reading before, or the plan's
    read_abv: float | None = None  # what the hydrometer shows [% vol], 0 to 100
    # temperature of the spirit round the hydrometer [°C], -20 to 40; 20 if left out
    read_c: float | None = None
    calibrated_c: float = strength.REFERENCE_C  # temperature for which the hydrometer was made [°C]
    vapour_c: float | None = None  # temperature of the vapour that leaves the neck [°C]
    pot_c: float | None = None  # temperature of the pot [°C]
    power_w: float | None = None  # power from here on [W]
    words: str = ""  # what else was noted
    hazy: bool = False  # whether the stream was seen hazy

    def __post_init__(self) -> None:
        if self.hazy and 0.0 in (self.collected_l, self.mass_g):
            raise RequestError.of("early_haze")
        for name, of, low, high, unit in _LIMITS:
            require(name, getattr(self, of), low, high, unit, open_low=of in ("parrot_l", "power_w"))
        if self.of not in SAMPLES:
            raise UnknownNameError("sample", self.of, SAMPLES)

    def to_dict(self) -> dict[str, Any]:
        """Return what was read, without what was not; for a journal."""
        return said(self)

    @classmethod
    def from_dict(cls, given: dict[str, Any]) -> Entry:
        """Return the entry that `to_dict` wrote."""
        known = {item.name: item.default for item in fields(cls)}
        for name, value in given.items():
            if name not in known:
                raise UnknownNameError("quantity", str(name), known)
            wanted = type(known[name]) if isinstance(known[name], str | bool) else float
            if type(value) is not wanted and not (wanted is float and type(value) is int):
                raise RequestError.of("wrong_type", name, given=repr(value), allowed=wanted.__name__)
        return cls(**given)


@dataclass(frozen=True)
class Reading:
    """One line, completed from the lines before it and corrected."""

    number: int  # from 1, in the order of the run
    line: int  # where it stands in its file
    entry: Entry = field(repr=False)  # as read off
    collected_l: float | None = None  # all collected by then [L at 20 °C]
    mass_g: float | None = None  # the same by mass [g]
    from_l: float | None = None  # for a jar: what had been collected when it was put under the spout [L]
    from_g: float | None = None  # the same by mass [g]
    parrot_l: float | None = None  # for a parrot: what it holds [L]
    # strength at 20 °C, corrected for the temperature at which the hydrometer was read [% vol]
    abv: float | None = None

    @property
    def placed(self) -> bool:
        """Whether it tells how far the run has come."""
        return self.collected_l is not None or self.mass_g is not None or self.entry.elapsed_min is not None

    @property
    def where(self) -> dict[str, Any]:
        """What a reading is called by: where on the run it is, what it was read of, its number."""
        return {
            "collected_l": self.collected_l,
            "mass_g": self.mass_g,
            "elapsed_min": self.entry.elapsed_min,
            "read_of": self.entry.of,
            "number": self.number,
        }


def next_reading(
    before: Sequence[Reading],
    entry: Entry,
    *,
    line: int = 0,
    pressure_pa: float = equilibrium.ATMOSPHERE_PA,
    parrot_l: float | None = None,
) -> Reading:
    """Complete and check one line after those before it; ``parrot_l`` is what the plan's parrot holds."""
    if len(before) >= MOST_READINGS:
        raise RequestError.of("too_many", "readings", given=len(before) + 1, allowed=MOST_READINGS)
    _in_time(before, entry)
    collected_l, from_l = _so_far(before, "collected_l", _at_reference(entry), entry.jar_l)
    mass_g, from_g = _so_far(before, "mass_g", entry.mass_g, entry.jar_g)
    _agree(entry.collected_l, entry.mass_g, "collected", "mass")
    _agree(entry.jar_l, entry.jar_g, "jar volume", "jar mass")
    if entry.of == "jar" and entry.read_abv is not None and collected_l is None and mass_g is None:
        raise RequestError.of("how_much", of="jar")
    if entry.of == "pooled":
        from_l, from_g = _pool(entry, collected_l, mass_g)
    reading = Reading(
        number=len(before) + 1,
        line=line,
        entry=entry,
        collected_l=collected_l,
        mass_g=mass_g,
        from_l=from_l if entry.of in ("jar", "pooled") else None,
        from_g=from_g if entry.of in ("jar", "pooled") else None,
        parrot_l=_parrot(before, entry, parrot_l),
        abv=_corrected(entry, pressure_pa),
    )
    if not reading.placed:
        raise RequestError.of("not_placed")
    return reading


def _at_reference(entry: Entry) -> float | None:
    """All collected [L at 20 °C]; a pool measured warm or cold is brought to 20 °C by its own strength."""
    if entry.of != "pooled" or entry.collected_l is None or entry.read_c is None or entry.read_abv is None:
        return entry.collected_l
    w = float(strength.w_from_abv(_true_abv(entry)))
    there, here = (float(strength.density(w, t_c)) for t_c in (entry.read_c, strength.REFERENCE_C))
    return entry.collected_l * there / here


def _pool(entry: Entry, collected_l: float | None, mass_g: float | None) -> tuple[float | None, float | None]:
    """Where a pool begins: at the first drop, on the scale on which it is placed."""
    if entry.jar_l is not None or entry.jar_g is not None:
        raise RequestError.of("pool_and_jar")
    if collected_l is None and mass_g is None:
        raise RequestError.of("how_much", of="pooled")
    return (None, 0.0) if collected_l is None else (0.0, None)


def _in_time(before: Sequence[Reading], entry: Entry) -> None:
    last = _latest(before, "elapsed_min")
    if entry.elapsed_min is not None and last is not None and entry.elapsed_min < last:
        raise RequestError.of("falls", "time", given=entry.elapsed_min, last=last, quantity="minutes_exact")


def _latest(before: Sequence[Reading], name: str) -> float | None:
    for reading in reversed(before):
        value: float | None = getattr(reading.entry if name == "elapsed_min" else reading, name)
        if value is not None:
            return value
    return None


def _so_far(
    before: Sequence[Reading], name: str, total: float | None, jar: float | None
) -> tuple[float | None, float | None]:
    """All collected by now and when this jar began, from the total or from the jars; refuses a fall."""
    last = _latest(before, name) or 0.0
    ends = [getattr(r, name) for r in before if _is_jar(r.entry) and getattr(r, name) is not None]
    start = ends[-1] if ends else 0.0
    if total is None:
        if jar is None:
            return None, None
        start = start if start + jar >= last * (1.0 - SAME) else last
        return start + jar, start
    what, quantity = ("collected", "volume") if name == "collected_l" else ("mass", "mass")
    if total < last * (1.0 - SAME):
        raise RequestError.of("falls", what, given=total, last=last, quantity=quantity)
    if jar is None:
        return total, start
    if jar > total * (1.0 + SAME):
        raise RequestError.of("jar_of_more", what, given=total, jar=jar, quantity=quantity)
    return total, max(total - jar, 0.0)


def _is_jar(entry: Entry) -> bool:
    return entry.of == "jar" or entry.jar_l is not None or entry.jar_g is not None


def _agree(volume_l: float | None, mass_g: float | None, volume: str, mass: str) -> None:
    """Refuse a volume and a mass of one liquid that no spirit has."""
    if not volume_l or not mass_g:
        return
    heavy = mass_g / (1000.0 * volume_l)
    if not LIGHTEST <= heavy <= HEAVIEST:
        values: dict[str, Any] = {"volume": volume, "volume_l": volume_l, "mass": mass, "mass_g": mass_g}
        raise RequestError.of("no_spirit_so_dense", given=heavy, allowed=[LIGHTEST, HEAVIEST], **values)


def _parrot(before: Sequence[Reading], entry: Entry, planned_l: float | None) -> float | None:
    if entry.of != "parrot":
        return None
    if entry.parrot_l is not None:
        return entry.parrot_l
    for reading in reversed(before):
        if reading.parrot_l is not None:
            return reading.parrot_l
    if planned_l is None:
        raise RequestError.of("how_much", of="parrot")
    return planned_l


def _corrected(entry: Entry, pressure_pa: float) -> float | None:
    if entry.read_abv is None:
        return None
    abv = _true_abv(entry)
    most = _strongest(pressure_pa)
    if abv > most:
        raise RequestError.of("beyond_azeotrope", "strength", given=abv, allowed=most)
    return abv


def _true_abv(entry: Entry) -> float:
    """Strength at 20 °C of what the hydrometer shows [% vol]."""
    at_c = strength.REFERENCE_C if entry.read_c is None else entry.read_c
    assert entry.read_abv is not None
    try:
        return float(strength.true_abv(entry.read_abv, at_c, calibrated_c=entry.calibrated_c))
    except RangeError as error:
        raise RequestError.of(
            "no_such_reading", "strength", given=entry.read_abv, allowed=error.allowed, at_c=at_c
        ) from None


@lru_cache(maxsize=16)
def _strongest(pressure_pa: float) -> float:
    """Strength of the azeotrope [% vol]."""
    return float(strength.abv_from_x(float(equilibrium.azeotrope(pressure_pa).x)))
