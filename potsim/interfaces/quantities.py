"""What people type becomes numbers: decimal marks, fractions, units; nowhere else."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, Literal, NamedTuple

from potsim.data import read_table
from potsim.errors import PotsimError, RequestError, nearest
from potsim.planning.plan import MOST_JARS, JarStock
from potsim.records import dataclass

LONGEST = 200
"""Characters that a typed quantity may have [-]."""

LARGEST = 10**99
"""Number beyond which text is not read; it keeps every size a finite float."""

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?: (?:(?P<whole>[0-9]{1,6})\s+)?(?P<top>[0-9]{1,6})\s*/\s*(?P<bottom>[0-9]{1,6})
      | (?P<plain>(?:[0-9]{1,3}(?:\ [0-9]{3})+(?![0-9])|[0-9]+)(?:[.,'][0-9]+)*|[.,][0-9]+)
        (?P<exponent>[eE][+-]?[0-9]{1,3}(?![0-9]))? )""",
    re.VERBOSE,
)
_VULGAR = dict(
    zip(
        "½¼¾⅓⅔⅕⅖⅙⅛⅜⅝⅞",
        ["1/2", "1/4", "3/4", "1/3", "2/3", "1/5", "2/5", "1/6", "1/8", "3/8", "5/8", "7/8"],
        strict=True,
    )
)
_ALIKE = {
    "−": "-",
    "–": "-",
    "º": "°",
    "˚": "°",
    "℃": "°C",
    "℉": "°F",
    "％": "%",
    "’": "'",
    "×": "x",
    "✕": "x",
}


def shown(given: object) -> str:
    """Return what was given as it may stand in a message: short, printable, in quotes when it is text."""
    if isinstance(given, bool):
        return str(given).lower()
    if isinstance(given, list):
        return "a list"
    if isinstance(given, dict):
        return "a table"
    if not isinstance(given, str):
        return short(_digits(given) if isinstance(given, (int, float)) else str(given))
    return f"'{short(given)}'"


def short(text: str) -> str:
    """Return text as it may stand in a message: short and printable."""
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[: LONGEST + 1])
    return text if len(text) <= 60 else text[:57] + "..."


def refusal(given: object, why: str, allowed: str, example: str, **values: Any) -> RequestError:
    """Return the refusal of a typed quantity: what was given, why it will not do, what is allowed."""
    text = isinstance(given, str)
    told = short(given) if isinstance(given, str) else shown(given)
    return RequestError.of(
        "quantity", given=told, allowed=allowed, why=why, text=text, example=example, **values
    )


def tidy(text: str) -> str:
    """Return typed text with look-alike characters made one and blanks made single."""
    for vulgar, plain in _VULGAR.items():
        text = text.replace(vulgar, f" {plain}")
    for odd, plain in _ALIKE.items():
        text = text.replace(odd, plain)
    return " ".join(text.split())


def as_text(given: object, allowed: str, example: str) -> str:
    """Return what was given as text, if it is text or a number at all."""
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise refusal(given, "unfit", allowed, example)
    text = given if isinstance(given, str) else _digits(given)
    if not text.strip():
        raise refusal(given, "empty", allowed, example)
    if len(text) > LONGEST:
        raise refusal(given, "too_long", allowed, example, characters=len(text))
    return text


def _digits(number: float) -> str:
    return f"{Decimal(number):.3E}" if isinstance(number, int) and abs(number) > 10**20 else repr(number)


def leading_number(given: object, allowed: str, example: str) -> tuple[Fraction, str]:
    """Read the number that typed text begins with.

    A point is a decimal point. A comma is a decimal comma, unless exactly three digits follow one to
    three that do not begin with 0: ``1,500`` may be 1.5 or 1500, and is refused. Two marks settle it:
    ``1,500.0``, ``1.500,0``, ``1,500,000``. A blank or an apostrophe groups digits by three. ``1 1/2`` is
    1.5.
    """
    clean = tidy(as_text(given, allowed, example))
    found = _NUMBER.match(clean)
    if found is None:
        raise refusal(given, "no_number", allowed, example)
    if found["top"]:
        size = _fraction(found["whole"], found["top"], found["bottom"])
    else:
        size = _decimal(given, found["plain"])
    if size is None:
        raise refusal(given, "unreadable", allowed, example)
    if found["exponent"]:
        size *= Fraction(10) ** int(found["exponent"][1:])
    if size > LARGEST:
        raise refusal(given, "too_large", allowed, example)
    return (-size if found["sign"] == "-" else size), clean[found.end() :].strip()


def _fraction(whole: str | None, top: str, bottom: str) -> Fraction | None:
    if int(bottom) == 0 or (whole and int(top) >= int(bottom)):
        return None
    return int(whole or 0) + Fraction(int(top), int(bottom))


def _decimal(given: object, plain: str) -> Fraction | None:
    """Settle which mark is the decimal one; None where the marks make no sense."""
    digits = plain.replace(" ", "'")
    marks = re.findall(r"[.,']", digits)
    kinds = list(dict.fromkeys(marks))
    if marks == [","] and re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
        decimal, grouped = digits.replace(",", "."), digits.replace(",", "")
        raise RequestError.of("two_ways", given=short(str(given)), decimal=decimal, grouped=grouped)
    if not marks or (len(marks) == 1 and marks != ["'"]):
        return Fraction(digits.replace(",", "."))
    last = kinds[-1] if len(kinds) > 1 else ""
    if len(kinds) > 2 or last == "'" or (last and marks.count(last) > 1):
        return None
    whole, _, part = digits.partition(last) if last else (digits, "", "")
    groups = re.split(r"[.,']", whole)
    if part and not part.isdecimal():
        return None
    if not 1 <= len(groups[0]) <= 3 or any(len(group) != 3 for group in groups[1:]):
        return None
    return Fraction("".join(groups) + ("." + part if part else ""))


def as_typed(typed: object, error: PotsimError) -> object:
    """Return the value of a refusal: as it was typed, and what that is where it reads otherwise."""
    given = error.given
    if not isinstance(typed, str) or not typed.strip() or len(typed) > LONGEST or not typed.isprintable():
        return given
    bare = re.fullmatch(r"[\d.,]+", typed.strip())
    if error.kind != "range":  # told with its unit by its kind
        return given if bare else typed.strip()
    told, unit = sized(given, error.values["unit"]), error.values["unit"]
    if bare:
        return f"{typed.strip()} {unit}".strip()
    number = told.removesuffix(unit).rstrip()
    same_unit = typed.split()[-1] == told.split()[-1]
    if same_unit or (number == "0" and typed.lstrip().startswith("0")):
        return typed.strip()
    alike = "".join(told.split()).startswith("".join(typed.split()))
    return given if alike else f"{typed.strip()}, that is {_rounded(number)} {unit}".rstrip()


def sized(value: object, unit: str) -> str:
    """Return a number with its unit, without powers of ten as far as a person would write it so."""
    if not isinstance(value, int | float):
        return str(value)
    number = f"{value:,.0f}" if 1e4 <= abs(value) < 1e9 else f"{value:.6g}"
    return f"{number} {unit}".rstrip()


def _rounded(number: str) -> str:
    """A number that was converted, to three digits; what is no plain number stays."""
    if not re.fullmatch(r"-?\d+\.\d+", number):
        return number
    size = float(number)
    return f"{size:.0f}" if abs(size) >= 100.0 else f"{size:.3g}"


# --- The table of units, and how a typed quantity of one kind is read against it.


_COUNTRIES = {
    "us": ("us", "usa", "american"),
    "imp": ("imperial", "imp", "uk", "british"),
    "metric": ("metric",),
    "aus": ("australian", "aus"),
}
_COUNTRY = {word: short for short, words in _COUNTRIES.items() for word in words}
_WORDS = "|".join(sorted(_COUNTRY, key=len, reverse=True))

# Spellings in which the capital says something else, or which people use for two things.
_CONFUSED = (
    *("mass Mg", "mass fl oz", "pressure Mbar", "length M", "duration m", "duration M", "volume oz"),
)


@dataclass(frozen=True)
class Kind:
    """One kind of quantity and the units it may be typed in."""

    name: str  # as in the column ``kind`` of the table of units
    what: str  # with its article, for messages: ``"a volume"``
    example: str  # a quantity of this kind
    signed: bool = False  # whether less than nothing has a meaning

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
        """Read a typed quantity."""
        number, unit = leading_number(text, self.allowed, self.example)
        return self.sign_checked(text, number * self.size(text, unit))

    def plain(self, text: str) -> float:
        """Read a typed quantity, in the base unit."""
        return float(self.read(text))

    def sign_checked(self, text: str, size: Fraction) -> Fraction:
        """Return the size, unless it is negative where that has no meaning."""
        if size < 0 and not self.signed:
            raise refusal(text, "negative", self.allowed, self.example)
        return size

    def size(self, text: str, unit: str) -> Fraction:
        """Return the size of a unit as typed; the whole text is for the message."""
        if not unit:
            raise refusal(text, "no_unit", self.allowed, self.example)
        if f"{self.name} {unit}" in _CONFUSED:
            raise RequestError.of("confused_unit", given=text, of=f"{self.name} {unit}", example=self.example)
        spelling = normal(unit)
        sizes, bare = _units(self.name)
        for word in (spelling, spelling[:-1] if spelling.endswith("s") and len(spelling) > 3 else spelling):
            if word in sizes:
                return sizes[word]
            if word in bare:
                raise self._which(text, unit, bare[word])
        near = nearest(spelling, [s for s in sizes if len(s) > 1], most=1)
        nearby = self._display(near[0]) if near else ""
        raise refusal(text, "unknown_unit", self.allowed, self.example, unit=short(unit), near=nearby)

    def _display(self, spelling: str) -> str:
        return next(row["unit"] for row in _rows(self.name) if spelling in row["spellings"].split())

    def _which(self, text: str, unit: str, choices: tuple[str, ...]) -> RequestError:
        sizes = {name: float(self.units[normal(name)]) for name in choices}
        return RequestError.of(
            "which_size", given=text, allowed=list(choices), unit=short(unit), sizes_l=sizes
        )


def normal(unit: str) -> str:
    """Return a unit in the spelling of the table: lower case, nothing between, the country first."""
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


System = Literal["metric", "us"]


def system_of(given: object) -> System | None:
    """Return the system of units that a quantity was typed in; ``None`` where it does not tell."""
    if not isinstance(given, str):
        return None
    unit = normal(re.sub(r"^[^a-z°%]*", "", tidy(given), flags=re.IGNORECASE))
    return "us" if unit in ("proof", "°proof", "usproof") else _systems().get(unit, _systems().get(unit[:-1]))


@cache
def _systems() -> dict[str, System]:
    found: dict[str, System] = {}
    for row in read_table("units.csv"):
        for word in row["spellings"].split() if row["system"] else ():
            found[word] = "us" if row["system"] == "us" else "metric"
    return found


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


# --- What is counted, shared and paid: jars owned, jar numbers, pieces, shares of a whole, prices.


_JARS = 'sizes, each with how many there are (none: as many as needed): "12 x 60 mL, 6 x 250 mL"'
_SHARE = "a share in %, or without the sign a number from 0 to below 1"
_NUMBERS = "jar numbers and ranges with commas between"
_MONEY = r"\s*(?:[€$£¥]|[A-Z]{3}|[A-Z][a-z]|kr)\s*"


def jars(text: str) -> tuple[JarStock, ...]:
    """Read the jars that a person owns, such as ``"12 x 60 mL, 250 mL"``."""
    found: list[JarStock] = []
    for item in re.split(
        r"\s*(?:;|,\s|(?<=[A-Za-z)]),|\n)\s*", tidy(as_text(text, _JARS, "12 x 60 mL")).rstrip(",; ")
    ):
        counted = re.fullmatch(r"([0-9]+) ?[xX*] ?(.*)", item)
        if not counted and re.match(r"[0-9]+ [0-9]", item) and "/" not in item:
            raise refusal(text, "no_times", _JARS, "12 x 60 mL")
        size = float(VOLUME.read(counted[2] if counted else item))
        if counted and not 1 <= int(counted[1]) <= MOST_JARS:
            raise refusal(text, "jar_count", _JARS, "12 x 60 mL", most=MOST_JARS)
        if any(stock.size_l == size for stock in found):
            raise refusal(text, "listed_twice", _JARS, "12 x 60 mL", item=short(item))
        found.append(JarStock(size, int(counted[1]) if counted else None))
    return tuple(found)


def numbers(text: str) -> tuple[int, ...]:
    """Read a set of jar numbers, such as ``"2-9,11"``."""
    found: set[int] = set()
    for item in re.split(r"\s*[,;]\s*", tidy(as_text(text, _NUMBERS, "2-9,11"))):
        span = re.fullmatch(r"([0-9]{1,9})(?: ?(?:-|to) ?([0-9]{1,9}))?", item)
        if span is None:
            raise refusal(text, "odd_item", _NUMBERS, "2-9,11", item=short(item))
        first, last = int(span[1]), int(span[2] or span[1])
        if first < 1 or last > MOST_JARS:
            raise refusal(text, "jar_outside", _NUMBERS, "2-9,11", most=MOST_JARS)
        if last < first:
            raise refusal(text, "backwards", _NUMBERS, f"{last}-{first}", item=short(item))
        twice = found & set(range(first, last + 1))
        if twice:
            raise refusal(text, "jar_twice", _NUMBERS, "2-9,11", jar=min(twice))
        found |= set(range(first, last + 1))
    return tuple(sorted(found))


def price_per_l(text: str) -> float:
    """Read a price by volume, in whatever money, such as ``"12 per L"`` or ``"9 € per 700 mL"``."""
    allowed = "money per volume"
    parts = re.split(r"/|\bper\b", as_text(text, allowed, "12 per L"), maxsplit=1)
    if len(parts) != 2 or not parts[1].strip():
        raise refusal(text, "no_volume", allowed, "12 per L")
    money, volume = parts[0].strip(), parts[1].strip()
    litres = VOLUME.read(volume if re.match(r"[0-9.,]", volume) else f"1 {volume}")
    if litres == 0:
        raise refusal(text, "of_nothing", allowed, "12 per L")
    return float(_money(text, money, allowed, "12 per L") / litres)


def price(given: str | float) -> float:
    """Read a price, in whatever money, such as ``0.8`` or ``"0.80 €"``; refused when negative."""
    allowed = "an amount of money"
    return float(_money(given, as_text(given, allowed, "0.80"), allowed, "0.80"))


def _money(given: object, text: str, allowed: str, example: str) -> Fraction:
    amount, rest = leading_number(re.sub(rf"^{_MONEY}", "", text), allowed, example)
    if amount < 0 or not re.fullmatch(rf"(?:{_MONEY})?", rest):
        raise refusal(given, "no_price", allowed, example)
    return amount


def decades(given: str | float) -> float:
    """Read a shift of a decadic logarithm, such as ``0.2`` or ``"-0.15"``."""
    allowed = "a plain number of decades, which may be negative"
    number, rest = leading_number(given, allowed, "0.2")
    if rest not in ("", "decades"):
        raise refusal(given, "not_plain", allowed, "0.2")
    return float(number)


# "the peel of half a lemon" is an amount of lemons; the name of the row says that it is the peel.
_PEEL_OF = re.compile(
    r"^(?:(?:the|die|la|le|el|a) )?(?:peel|zest|rind|schale|zeste|écorce|piel|cáscara|scorza|buccia|casca)s? "
    r"(?:of |von |de |di |d'|(?=eine))",
    re.IGNORECASE,
)
_AMOUNT = 'a mass, or a number of pieces ("2 berries", "half a slice")'


class Amount(NamedTuple):
    """How much there is of a botanical: a mass, or so many of something."""

    size: float  # grams, or how many
    of: str  # ``"g"``; the word that is counted, as typed; empty for a bare number


def amount(given: str | float) -> Amount:
    """Read how much there is of a botanical, such as ``"5 g"``, ``"3 pods"``, ``"a quarter"``, ``0.5``."""
    size, rest = _number_in_words(given)
    words = re.sub(r"^(?:of |d'|de |di |von )(?:an? |the )?|^an? ", "", rest)
    if size < 0:
        raise refusal(given, "negative", _AMOUNT, "3 pods")
    spelled = normal(words) if words else ""
    for word in (spelled, spelled.removesuffix("s")):
        if word in MASS.units:
            return Amount(float(size * MASS.units[word]), "g")
        if word in VOLUME.units or word in _units("volume")[1]:
            raise refusal(given, "a_volume", "what it weighs, or a number of pieces", "5 g")
    return Amount(float(size), words)


def _number_in_words(given: str | float) -> tuple[Fraction, str]:
    """The number that an amount begins with, in figures or words, and what follows it."""
    words = _PEEL_OF.sub("", tidy(as_text(given, _AMOUNT, "3 pods"))).split()
    size, rest = _worded(None, words)
    if size is not None:
        return size, " ".join(rest)
    size, after = leading_number(" ".join(words), _AMOUNT, "3 pods")
    size, rest = _worded(size, after.split())
    return size or Fraction(0), " ".join(rest)


@cache
def _number_words() -> Mapping[str, Fraction]:
    return {
        word: Fraction(row["number"])
        for row in read_table("number_words.csv")
        for word in row["words"].split()
    }


def _worded(size: Fraction | None, words: list[str]) -> tuple[Fraction | None, list[str]]:
    """Go on with a number in words: "half a dozen" multiplies, "one and a half" adds."""
    while words:
        word = words[0].casefold()
        known = _number_words().get(word) or _number_words().get(word.removesuffix("s"))
        if known is None:
            break
        size, words = known * (1 if size is None else size), words[1:]
    if size is not None and len(words) > 1 and words[0].casefold() in ("and", "und", "et", "y", "e"):
        more, rest = _worded(None, words[1:])
        if more is not None:
            return size + more, rest
    return size, words


def count(given: str | float, what: str = "a number of pieces", whole: bool = False) -> float:
    """Read a plain number, such as ``2`` or ``"1/2"``."""
    allowed = f"{what}, {'a whole' if whole else 'a plain'} number"
    number, rest = leading_number(given, allowed, "2")
    if rest or number < 0 or (whole and number.denominator != 1):
        raise refusal(given, "unfit", allowed, "2")
    return float(number)


def whole(what: str) -> Callable[[str], int]:
    """Return the reader of a whole number."""
    return lambda text: int(count(text, what, whole=True))


def share(given: str | float, most: float = 1.0) -> float:
    """Read a share of a whole."""
    number, unit = leading_number(given, _SHARE, "90 %")
    if unit not in {"", "%"}:
        raise refusal(given, "unknown_unit", _SHARE, "90 %", unit=short(unit), near="")
    if not unit and number >= 1:
        raise refusal(given, "in_percent", _SHARE, f"{min(float(number), 90.0):g} %")
    size = number / 100 if unit else number
    if not 0 <= size <= most:
        raise refusal(given, "not_share", _SHARE, "90 %", most=most * 100)
    return float(size)


def percent(text: str) -> float:
    """Read per cent, such as ``"1.2 %"``, and return the figure before the sign."""
    allowed = "per cent from 0 to 100 %"
    number, unit = leading_number(text, allowed, "1.2 %")
    if unit != "%" or not 0 <= number <= 100:
        raise refusal(text, "no_unit" if not unit else "unfit", allowed, "1.2 %")
    return float(number)


# --- The only place where what a person types becomes a number: "250 mL", "62 %", "120 proof", "78 °F".


_ABV = "a strength in %, % vol, proof (US) or UK proof"
_TEMPERATURE = "a temperature in °C, °F or K"
_PORTION = "a volume and a strength with @ between"

# Proof spirit weighs 12/13 of as much water at 51 °F (Customs and Excise Act 1952, from memory), which makes
# it 57.14 % vol; other strengths go by its figure, common practice, no source.
_UK_PROOF = Fraction(4, 7)


@dataclass(frozen=True)
class Portion:
    """A volume of a given strength."""

    volume_l: float  # volume [L at 20 °C]
    abv: float  # strength [% vol at 20 °C]


# A volume [L]; a mass [g]; a heating power [W]; a heat loss for each degree above the room [W/K]; an absolute
# pressure [hPa]; a height [m]; a difference of temperature [K].
volume_l, mass_g, power_w, heat_loss_w_per_k = VOLUME.plain, MASS.plain, POWER.plain, HEAT_LOSS.plain
pressure_hpa, length_m, temperature_difference_k = PRESSURE.plain, LENGTH.plain, DIFFERENCE.plain


def mass_kg(text: str) -> float:
    """Read a mass, and return kilograms."""
    return float(MASS.read(text) / 1000)


def duration_min(text: str) -> float:
    """Read a duration [min], such as ``"90 min"`` or ``"1 h 30 min"``."""
    return float(_duration(text))


def duration_h(text: str) -> float:
    """Read a duration as `duration_min` does, and return hours."""
    return float(_duration(text) / 60)


def _duration(given: str) -> Fraction:
    text = as_text(given, DURATION.allowed, DURATION.example)
    if re.fullmatch(r"\s*\d+:\d+\s*", text):
        raise refusal(text, "clock", DURATION.allowed, "1 h 30 min")
    parts = re.split(r"(?<=[a-z])[ ,]*(?:and )?(?=[0-9])", tidy(text), flags=re.IGNORECASE) or [text]
    total, before = Fraction(0), None
    for part in parts:
        number, unit = leading_number(part or text, DURATION.allowed, DURATION.example)
        # After hours, "m" can only be minutes.
        size = DURATION.size(text, "min" if unit == "m" and before == 60 else unit)
        if before is not None and size >= before:
            raise refusal(text, "small_first", DURATION.allowed, "1 h 30 min")
        DURATION.sign_checked(text, number)
        total, before = total + number * size, size
    return total


def temperature_c(text: str) -> float:
    """Read a temperature [°C], such as ``"78 °C"``, ``"172 °F"`` or ``"351 K"``.

    0 °C = 273.15 K (SI, exact); 32 °F = 0 °C and 180 °F to 100 °C.
    """
    return float(_kelvin(text) - Fraction("273.15"))


def temperature_k(text: str) -> float:
    """Read a temperature as `temperature_c` does, and return kelvins."""
    return float(_kelvin(text))


def _kelvin(text: str) -> Fraction:
    number, unit = leading_number(text, _TEMPERATURE, "20 °C")
    if not unit or unit == "°":
        raise refusal(text, "which_degrees", _TEMPERATURE, "20 °C")
    zero = {"k": Fraction(0), "f": Fraction("459.67"), "c": Fraction("273.15")}
    spelling = normal(unit)
    if spelling not in DIFFERENCE.units:
        raise refusal(text, "unknown_unit", _TEMPERATURE, "20 °C", unit=short(unit), near="")
    size = DIFFERENCE.units[spelling]
    scale = "k" if spelling.startswith("k") else "f" if size != 1 else "c"
    kelvin = (number + zero[scale]) * size
    if kelvin < 0:
        raise refusal(text, "below_zero", _TEMPERATURE, "20 °C")
    return kelvin


def abv(text: str) -> float:
    """Read a strength [% vol at 20 °C].

    Proof is US proof, twice the % vol at 60 °F, unless it says UK, British or imperial; those are 7/4 of
    the % vol, good to 0.1 % vol.
    """
    number, unit = leading_number(text, _ABV, "62 %")
    spelling = normal(unit)
    if not unit:
        with_unit = f"{short(str(text).strip())} {'%' if number <= 100 else 'proof'}"
        raise refusal(text, "which_strength", _ABV, with_unit if 0 <= number <= 200 else "62 %")
    if spelling in {"%mass", "%wt", "%w/w", "wt%", "mass%", "%byweight", "%bymass", "%w", "%m/m"}:
        raise refusal(text, "by_weight", _ABV, "62 % vol")
    if spelling in {"%", "%vol", "%abv", "vol%", "abv", "%v/v", "%byvolume", "%alc/vol", "percent"}:
        strength = float(number)
    elif spelling in {"impproof", "°impproof"}:
        strength = float(number * _UK_PROOF)
    elif spelling in {"proof", "usproof", "°proof", "°usproof"}:
        strength = _from_us_proof(text, float(number))
    else:
        raise refusal(text, "unknown_unit", _ABV, "62 %", unit=short(unit), near="")
    if not 0 <= strength <= 100:
        raise refusal(text, "not_abv", _ABV, "62 %")
    return strength


def _from_us_proof(text: str, proof: float) -> float:
    if not 0 <= proof <= 200:
        raise refusal(text, "not_proof", _ABV, "120 proof")
    from potsim.liquid.strength import abv_from_proof  # start-up: numpy only where a proof is read

    return float(abv_from_proof(proof))


def abv_difference(text: str) -> float:
    """Read a doubt of a strength [% vol], such as ``"0.5 %"``; refusals as `abv`."""
    number, unit = leading_number(text, "a difference of strengths in % vol", "0.5 % vol")
    if normal(unit) not in {"%", "%vol", "%abv", "vol%"} or number < 0:
        raise refusal(text, "no_doubt", "a difference of strengths in % vol", "0.5 % vol")
    return float(number)


def portion(text: str) -> Portion:
    """Read a volume of a strength, such as ``"300 mL @ 72 %"``."""
    parts = as_text(text, _PORTION, "300 mL @ 72 %").split("@")
    if len(parts) != 2 or not all(part.strip() for part in parts):
        raise refusal(text, "no_portion", _PORTION, "300 mL @ 72 %")
    return Portion(volume_l(parts[0]), abv(parts[1]))
