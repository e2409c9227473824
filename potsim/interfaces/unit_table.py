"""The table of units, and how a typed quantity of one kind is read against it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from potsim.data import read_table
from potsim.errors import RequestError, nearest
from potsim.interfaces.numerals import leading_number, refusal, shown

_COUNTRIES = {
    "us": ("us", "usa", "american"),
    "imp": ("imperial", "imp", "uk", "british"),
    "metric": ("metric",),
    "aus": ("australian", "aus"),
}
_COUNTRY = {word: short for short, words in _COUNTRIES.items() for word in words}
_WORDS = "|".join(sorted(_COUNTRY, key=len, reverse=True))

# Spellings in which the capital says something else, or which people use for two things: kind, spelling, why.
_CONFUSED = {
    ("mass", "Mg"): '"Mg" is a megagram, which is a tonne; write "mg" or "kg"',
    ("pressure", "Mbar"): '"Mbar" is a megabar; write "mbar"',
    ("length", "M"): '"M" is mega, or miles; write "m" for metres',
    ("duration", "m"): 'a bare "m" may be minutes or months; write "min", or months as days ("60 d")',
    ("duration", "M"): 'a bare "M" may be minutes or months; write "min", or months as days ("60 d")',
    ("volume", "oz"): '"oz" is a mass; a volume is in "US fl oz" or "imperial fl oz"',
    ("mass", "fl oz"): '"fl oz" is a volume; a mass is in "oz"',
}


@dataclass(frozen=True)
class Kind:
    """One kind of quantity and the units it may be typed in.

    Parameters
    ----------
    name : str
        As in the column ``kind`` of the table of units.
    what : str
        With its article, for messages: ``"a volume"``.
    example : str
        A quantity of this kind.
    signed : bool
        Whether less than nothing has a meaning.
    """

    name: str
    what: str
    example: str
    signed: bool = False

    @property
    def units(self) -> Mapping[str, Fraction]:
        """Spelling to size in the base unit."""
        return _units(self.name)[0]

    @property
    def allowed(self) -> str:
        """The units, for a message."""
        names: dict[str, list[str]] = {}
        for row in _rows(self.name):
            country, _, rest = row["unit"].partition(" ") if row["bare"] else ("", "", row["unit"])
            names.setdefault(rest, []).append(country)
        listed = [f"{'/'.join(countries)} {rest}".strip() for rest, countries in names.items()]
        return f"{self.what} in " + ", ".join(listed[:-1]) + (" or " if len(listed) > 1 else "") + listed[-1]

    def read(self, text: str) -> Fraction:
        """Read a typed quantity.

        Parameters
        ----------
        text : str
            A number and its unit.

        Returns
        -------
        Fraction
            Exactly what is written, in the base unit.

        Raises
        ------
        RequestError
            If it is not a number with a unit of this kind, or may mean two things.
        """
        number, unit = leading_number(text, self.allowed, self.example)
        return self.sign_checked(text, number * self.size(text, unit))

    def sign_checked(self, text: str, size: Fraction) -> Fraction:
        """Return the size, unless it is negative where that has no meaning."""
        if size < 0 and not self.signed:
            raise refusal(text, "is less than nothing", self.allowed, self.example)
        return size

    def size(self, text: str, unit: str) -> Fraction:
        """Return the size of a unit as typed; the whole text is for the message."""
        if not unit:
            raise refusal(text, "has no unit", self.allowed, self.example)
        if (self.name, unit) in _CONFUSED:
            why = _CONFUSED[self.name, unit]
            raise RequestError(f"{shown(text)}: {why}.", f'Write for example "{self.example}".')
        spelling = normal(unit)
        sizes, bare = _units(self.name)
        for word in (spelling, spelling[:-1] if spelling.endswith("s") and len(spelling) > 3 else spelling):
            if word in sizes:
                return sizes[word]
            if word in bare:
                raise self._which(text, unit, bare[word])
        near = nearest(spelling, [s for s in sizes if len(s) > 1], most=1)
        why = f"has the unknown unit {shown(unit)}"
        if near:
            why += f" (nearest: {self._display(near[0])})"
        raise refusal(text, why, self.allowed, self.example)

    def _display(self, spelling: str) -> str:
        return next(row["unit"] for row in _rows(self.name) if spelling in row["spellings"].split())

    def _which(self, text: str, unit: str, choices: tuple[str, ...]) -> RequestError:
        sizes = [f"{name} ({float(self.units[normal(name)]) * 1000:.4g} mL)" for name in choices]
        return RequestError(
            f"{shown(text)}: a bare {shown(unit)} has {len(choices)} sizes: {', '.join(sizes)}.",
            f'Say which, for example "1 {choices[0]}".',
        )


def normal(unit: str) -> str:
    """Return a unit in the spelling of the table: lower case, nothing between, the country first.

    Parameters
    ----------
    unit : str
        As typed, such as ``"gal (U.S.)"``.

    Returns
    -------
    str
        Such as ``"usgal"``.
    """
    words = re.sub(r"[().·*⋅]", lambda m: "" if m[0] == "." else " ", unit.lower()).strip()
    before = re.fullmatch(rf"({_WORDS})(.*)", words)
    after = re.fullmatch(rf"(.*) ({_WORDS})", words)
    if before:
        words = _COUNTRY[before[1]] + before[2]
    elif after:
        words = _COUNTRY[after[2]] + after[1]
    return re.sub(r"[ _]", "", words)


@cache
def _rows(kind: str) -> tuple[dict[str, str], ...]:
    return tuple(row for row in read_table("units.csv") if row["kind"] == kind)


@cache
def _units(kind: str) -> tuple[dict[str, Fraction], dict[str, tuple[str, ...]]]:
    """Spelling to size, and bare word to the units it may mean."""
    sizes: dict[str, Fraction] = {}
    bare: dict[str, tuple[str, ...]] = {}
    for row in _rows(kind):
        top, _, bottom = row["factor"].partition("/")
        for word in row["spellings"].split():
            sizes[word] = Fraction(top) / Fraction(bottom or "1")
        for word in row["bare"].split():
            bare[word] = (*bare.get(word, ()), row["unit"])
    return sizes, bare


VOLUME = Kind("volume", "a volume", "250 mL")
MASS = Kind("mass", "a mass", "14 g")
DURATION = Kind("duration", "a duration", "12 h")
LENGTH = Kind("length", "a height", "60 m", signed=True)
PRESSURE = Kind("pressure", "a pressure", "1004 hPa")
POWER = Kind("power", "a power", "700 W")
HEAT_LOSS = Kind("heat_loss", "a heat loss", "0.6 W/K")
DIFFERENCE = Kind("difference", "a difference of temperature", "3 K", signed=True)
