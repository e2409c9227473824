"""What is read off at the still during a run: checked against what came before, raw and corrected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from functools import lru_cache
from typing import Any, Literal, get_args

from potsim.errors import RangeError, RequestError, UnknownNameError, require
from potsim.liquid import equilibrium, strength
from potsim.planning.volume_words import measured

Sample = Literal["stream", "jar", "parrot"]
SAMPLES: tuple[str, ...] = get_args(Sample)
MOST_READINGS = 2000
MOST_MIN = 7 * 24 * 60.0
LIGHTEST, HEAVIEST = 0.75, 1.02  # g/mL; ethanol-water, a little warm or badly measured
SAME = 1e-9  # relative; two volumes that differ by rounding


@dataclass(frozen=True)
class Entry:
    """One line as it was read off, in plain numbers; ``None`` for what was not read.

    Parameters
    ----------
    elapsed_min : float or None
        Time since switch-on [min].
    collected_l, mass_g : float or None
        All that has been collected by then, heads included [L at 20 °C; g].
    jar_l, jar_g : float or None
        The same of one jar: what it holds, beside all the jars before it [L at 20 °C; g].
    of : {'stream', 'jar', 'parrot'}
        What the strength was read of: what runs just now, a jar as a whole, or a parrot, which mixes what
        runs now with what ran before.
    parrot_l : float or None
        What the parrot holds [L]; that of the reading before if left out.
    read_abv : float or None
        What the hydrometer shows [% vol], 0 to 100.
    read_c : float or None
        Temperature of the spirit round the hydrometer [°C], -20 to 40; 20 if left out.
    calibrated_c : float
        Temperature for which the hydrometer was made [°C].
    vapour_c, pot_c : float or None
        Temperatures of the vapour that leaves the neck, and of the pot [°C].
    power_w : float or None
        Power from here on [W].
    words : str
        What else was noted.
    """

    elapsed_min: float | None = None
    collected_l: float | None = None
    mass_g: float | None = None
    jar_l: float | None = None
    jar_g: float | None = None
    of: str = "stream"
    parrot_l: float | None = None
    read_abv: float | None = None
    read_c: float | None = None
    calibrated_c: float = strength.REFERENCE_C
    vapour_c: float | None = None
    pot_c: float | None = None
    power_w: float | None = None
    words: str = ""

    def __post_init__(self) -> None:
        require("time", self.elapsed_min, 0, MOST_MIN, "min")
        for name, volume in (("collected", self.collected_l), ("jar volume", self.jar_l)):
            require(name, volume, 0, 1e5, "L")
        for name, mass in (("mass", self.mass_g), ("jar mass", self.jar_g)):
            require(name, mass, 0, 1e8, "g")
        require("parrot", self.parrot_l, 0, 10, "L", open_low=True)
        require("strength", self.read_abv, 0, 100, "% vol")
        require("read at", self.read_c, -20, 40, "°C", hint="Cool the sample, and read again.")
        for name, t in (("vapour temperature", self.vapour_c), ("pot temperature", self.pot_c)):
            require(name, t, -20, 110, "°C", hint="Is it in °F? Then say so.")
        require("power", self.power_w, 0, 1e6, "W", open_low=True)
        if self.of not in SAMPLES:
            raise UnknownNameError("sample", self.of, SAMPLES)

    def to_dict(self) -> dict[str, Any]:
        """Return what was read, without what was not; for a journal."""
        return {
            item.name: getattr(self, item.name)
            for item in fields(self)
            if getattr(self, item.name) != item.default
        }

    @classmethod
    def from_dict(cls, given: dict[str, Any]) -> Entry:
        """Return the entry that `to_dict` wrote.

        Parameters
        ----------
        given : dict
            Field to value.

        Returns
        -------
        Entry
            The same.

        Raises
        ------
        RequestError
            If a field is unknown, or no number where one belongs.
        """
        known = {item.name for item in fields(cls)}
        for name, value in given.items():
            if name not in known:
                raise UnknownNameError("quantity", str(name), known)
            wanted = str if name in ("of", "words") else (int, float)
            if isinstance(value, bool) or not isinstance(value, wanted):
                raise RequestError(
                    f"{name} is {value!r}; it is to be a {'text' if wanted is str else 'number'}."
                )
        return cls(**given)


@dataclass(frozen=True)
class Reading:
    """One line, completed from the lines before it and corrected.

    Parameters
    ----------
    number : int
        From 1, in the order of the run.
    line : int
        Where it stands in its file.
    entry : Entry
        As read off.
    collected_l, mass_g : float or None
        All collected by then [L at 20 °C; g].
    from_l, from_g : float or None
        For a jar: what had been collected when it was put under the spout.
    parrot_l : float or None
        For a parrot: what it holds [L].
    abv : float or None
        Strength at 20 °C, corrected for the temperature at which the hydrometer was read [% vol].
    """

    number: int
    line: int
    entry: Entry = field(repr=False)
    collected_l: float | None = None
    mass_g: float | None = None
    from_l: float | None = None
    from_g: float | None = None
    parrot_l: float | None = None
    abv: float | None = None

    @property
    def placed(self) -> bool:
        """Whether it tells how far the run has come."""
        return self.collected_l is not None or self.mass_g is not None or self.entry.elapsed_min is not None

    @property
    def where(self) -> str:
        """The reading as a person would call it, such as ``"the reading at 220 mL"``."""
        if self.collected_l is not None:
            place = measured(self.collected_l)
        elif self.mass_g is not None:
            place = f"{self.mass_g:.0f} g"
        elif self.entry.elapsed_min is not None:
            place = f"minute {self.entry.elapsed_min:.0f}"
        else:
            return f"reading {self.number}"
        return f"the reading at {place}" if self.entry.of != "jar" else f"the jar that ends at {place}"


def next_reading(
    before: Sequence[Reading],
    entry: Entry,
    *,
    line: int = 0,
    pressure_pa: float = equilibrium.ATMOSPHERE_PA,
) -> Reading:
    """Complete and check one line after those before it.

    Parameters
    ----------
    before : sequence of Reading
        The readings so far.
    entry : Entry
        What was read now.
    line : int
        Where it stands; 0 for nowhere.
    pressure_pa : float
        Pressure of the air [Pa], which decides the azeotrope.

    Returns
    -------
    Reading
        The next one.

    Raises
    ------
    RequestError
        If time runs backwards, less is collected than before, the strength lies beyond the azeotrope, or
        the line does not say how far the run has come.
    """
    if len(before) >= MOST_READINGS:
        raise RequestError(f"there are more than {MOST_READINGS} readings.", "Keep one a minute, or fewer.")
    _in_time(before, entry)
    collected_l, from_l = _so_far(before, "collected_l", entry.collected_l, entry.jar_l)
    mass_g, from_g = _so_far(before, "mass_g", entry.mass_g, entry.jar_g)
    _agree(entry.collected_l, entry.mass_g, "collected", "mass")
    _agree(entry.jar_l, entry.jar_g, "jar volume", "jar mass")
    if entry.of == "jar" and entry.read_abv is not None and collected_l is None and mass_g is None:
        raise RequestError(
            "the strength of a jar is given, but not how much is in it.", "Add its volume or its mass."
        )
    reading = Reading(
        number=len(before) + 1,
        line=line,
        entry=entry,
        collected_l=collected_l,
        mass_g=mass_g,
        from_l=from_l if entry.of == "jar" else None,
        from_g=from_g if entry.of == "jar" else None,
        parrot_l=_parrot(before, entry),
        abv=_corrected(entry, pressure_pa),
    )
    if not reading.placed:
        raise RequestError(
            "it does not say how far the run has come.",
            "Give the time, or the volume or mass collected.",
        )
    return reading


def _in_time(before: Sequence[Reading], entry: Entry) -> None:
    last = _latest(before, "elapsed_min")
    if entry.elapsed_min is not None and last is not None and entry.elapsed_min < last:
        raise RequestError(
            f"the time is {entry.elapsed_min:g} min, but a line before it has {last:g} min.",
            "Put the lines in the order of the run; time counts from switch-on.",
        )


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
    unit, what = ("L", "collected") if name == "collected_l" else ("g", "mass")
    if total < last * (1.0 - SAME):
        raise RequestError(
            f"{what} falls from {_said(last, unit)} to {_said(total, unit)}.",
            f"{what.capitalize()} counts all that has come over; for jars one by one use jar "
            f"{'volume' if unit == 'L' else 'mass'}.",
        )
    if jar is None:
        return total, start
    if jar > total * (1.0 + SAME):
        raise RequestError(
            f"the jar holds {_said(jar, unit)}, but all collected is {_said(total, unit)}.",
            "One of the two has another unit, or is wrong.",
        )
    return total, max(total - jar, 0.0)


def _is_jar(entry: Entry) -> bool:
    return entry.of == "jar" or entry.jar_l is not None or entry.jar_g is not None


def _said(value: float, unit: str) -> str:
    return f"{1000.0 * value:g} mL" if unit == "L" else f"{value:g} g"


def _agree(volume_l: float | None, mass_g: float | None, volume: str, mass: str) -> None:
    """Refuse a volume and a mass of one liquid that no spirit has."""
    if not volume_l or not mass_g:
        return
    heavy = mass_g / (1000.0 * volume_l)
    if not LIGHTEST <= heavy <= HEAVIEST:
        raise RequestError(
            f"{volume} {_said(volume_l, 'L')} and {mass} {_said(mass_g, 'g')} make {heavy:.3g} g/mL; "
            "spirit has 0.79 to 1.",
            "Are the units mixed up?",
        )


def _parrot(before: Sequence[Reading], entry: Entry) -> float | None:
    if entry.of != "parrot":
        return None
    if entry.parrot_l is not None:
        return entry.parrot_l
    for reading in reversed(before):
        if reading.parrot_l is not None:
            return reading.parrot_l
    raise RequestError(
        "the strength is read in a parrot, but it is not said what the parrot holds.",
        'Write for example "parrot 60 mL".',
    )


def _corrected(entry: Entry, pressure_pa: float) -> float | None:
    if entry.read_abv is None:
        return None
    at_c = strength.REFERENCE_C if entry.read_c is None else entry.read_c
    try:
        abv = float(strength.true_abv(entry.read_abv, at_c, calibrated_c=entry.calibrated_c))
    except RangeError as error:
        raise RequestError(
            f"a hydrometer does not show {entry.read_abv:g} % vol at {at_c:g} °C: {error.message}", error.hint
        ) from None
    most = _strongest(pressure_pa)
    if abv > most:
        raise RequestError(
            f"the strength is {abv:.1f} % vol at 20 °C, beyond the azeotrope, {most:.1f} % vol.",
            "A pot cannot give more. Is it in proof, read cold, or a slip?",
        )
    return abv


@lru_cache(maxsize=16)
def _strongest(pressure_pa: float) -> float:
    """Strength of the azeotrope [% vol]."""
    return float(strength.abv_from_x(float(equilibrium.azeotrope(pressure_pa).x)))
