"""What is counted, shared and paid: jars owned, jar numbers, pieces, shares of a whole, prices."""

from __future__ import annotations

import re
from fractions import Fraction

from potsim.interfaces.numerals import as_text, leading_number, refusal, shown, tidy
from potsim.interfaces.unit_table import VOLUME
from potsim.planning.plan import MOST_JARS, JarStock

_JARS = 'sizes, each with how many there are (none: as many as needed): "12 x 60 mL, 6 x 250 mL"'
_SHARE = "a share in %, or a number from 0 to below 1"
_NUMBERS = "jar numbers and ranges with commas between"
_MONEY = r"\s*(?:[€$£¥]|[A-Z]{3}|[A-Z][a-z]|kr)\s*"


def jars(text: str) -> tuple[JarStock, ...]:
    """Read the jars that a person owns, such as ``"12 x 60 mL, 250 mL"``.

    Parameters
    ----------
    text : str
        Sizes with commas between; before each, how many there are. Without a number: as many as needed.

    Returns
    -------
    tuple of JarStock
        In the order given.

    Raises
    ------
    RequestError
        If a size or a number will not be read, or a size is listed twice.
    """
    found: list[JarStock] = []
    for item in re.split(
        r"\s*(?:;|,\s|(?<=[A-Za-z)]),|\n)\s*", tidy(as_text(text, _JARS, "12 x 60 mL")).rstrip(",; ")
    ):
        counted = re.fullmatch(r"([0-9]+) ?[xX*] ?(.*)", item)
        if not counted and re.match(r"[0-9]+ [0-9]", item) and "/" not in item:
            raise refusal(text, "lacks the x between number and size", _JARS, "12 x 60 mL")
        size = float(VOLUME.read(counted[2] if counted else item))
        if counted and not 1 <= int(counted[1]) <= MOST_JARS:
            raise refusal(text, f"is not between 1 and {MOST_JARS} jars", _JARS, "12 x 60 mL")
        if any(stock.size_l == size for stock in found):
            raise refusal(text, f"lists {shown(item)} twice", _JARS, "12 x 60 mL")
        found.append(JarStock(size, int(counted[1]) if counted else None))
    return tuple(found)


def numbers(text: str) -> tuple[int, ...]:
    """Read a set of jar numbers, such as ``"2-9,11"``.

    Parameters
    ----------
    text : str
        Numbers and ranges with commas between.

    Returns
    -------
    tuple of int
        Rising.

    Raises
    ------
    RequestError
        If a range runs backwards, a number is zero or comes twice, or there are too many.

    Examples
    --------
    >>> numbers("2-4,11")
    (2, 3, 4, 11)
    """
    found: set[int] = set()
    for item in re.split(r"\s*[,;]\s*", tidy(as_text(text, _NUMBERS, "2-9,11"))):
        span = re.fullmatch(r"([0-9]{1,9})(?: ?(?:-|to) ?([0-9]{1,9}))?", item)
        if span is None:
            raise refusal(text, f"has {shown(item)} in it", _NUMBERS, "2-9,11")
        first, last = int(span[1]), int(span[2] or span[1])
        if first < 1 or last > MOST_JARS:
            raise refusal(text, f"names a jar outside 1 to {MOST_JARS}", _NUMBERS, "2-9,11")
        if last < first:
            raise refusal(text, f"has the range {shown(item)} backwards", _NUMBERS, f"{last}-{first}")
        twice = found & set(range(first, last + 1))
        if twice:
            raise refusal(text, f"names jar {min(twice)} twice", _NUMBERS, "2-9,11")
        found |= set(range(first, last + 1))
    return tuple(sorted(found))


def price_per_l(text: str) -> float:
    """Read a price by volume, in whatever money, such as ``"12 per L"`` or ``"9 € per 700 mL"``.

    Parameters
    ----------
    text : str
        Money, ``per`` or ``/``, a volume.

    Returns
    -------
    float
        Money for a litre.

    Raises
    ------
    RequestError
        If it does not say what volume the price is for.
    """
    allowed = "money per volume"
    parts = re.split(r"/|\bper\b", as_text(text, allowed, "12 per L"), maxsplit=1)
    if len(parts) != 2 or not parts[1].strip():
        raise refusal(text, "does not say for what volume", allowed, "12 per L")
    money, volume = parts[0].strip(), parts[1].strip()
    litres = VOLUME.read(volume if re.match(r"[0-9.,]", volume) else f"1 {volume}")
    if litres == 0:
        raise refusal(text, "is the price of nothing", allowed, "12 per L")
    return float(_money(text, money, allowed, "12 per L") / litres)


def price(given: str | float) -> float:
    """Read a price, in whatever money, such as ``0.8`` or ``"0.80 €"``; refused when negative."""
    allowed = "an amount of money"
    return float(_money(given, as_text(given, allowed, "0.80"), allowed, "0.80"))


def _money(given: object, text: str, allowed: str, example: str) -> Fraction:
    amount, rest = leading_number(re.sub(rf"^{_MONEY}", "", text), allowed, example)
    if amount < 0 or not re.fullmatch(rf"(?:{_MONEY})?", rest):
        raise refusal(given, "is no price", allowed, example)
    return amount


def count(given: str | float, what: str = "a number of pieces", whole: bool = False) -> float:
    """Read a plain number, such as ``2`` or ``"1/2"``.

    Parameters
    ----------
    given : str or float
        A number without a unit.
    what : str
        What is counted, with its article.
    whole : bool
        Whether only whole numbers will do.

    Returns
    -------
    float
        The number.

    Raises
    ------
    RequestError
        If it is not such a number, or is negative.
    """
    allowed = f"{what}, {'a whole' if whole else 'a plain'} number"
    number, rest = leading_number(given, allowed, "2")
    if rest or number < 0 or (whole and number.denominator != 1):
        raise refusal(given, "will not do", allowed, "2")
    return float(number)


def share(given: str | float, most: float = 1.0) -> float:
    """Read a share of a whole.

    Parameters
    ----------
    given : str or float
        ``"90 %"``, or a number such as 0.9.
    most : float
        The largest allowed, 1 for all of it.

    Returns
    -------
    float
        Share, 0 to 1.

    Raises
    ------
    RequestError
        If it is not a share. A number of 1 or more without % is refused: it may be meant in %.

    Examples
    --------
    >>> share("90 %"), share("0.9"), share(0.9)
    (0.9, 0.9, 0.9)
    """
    number, unit = leading_number(given, _SHARE, "90 %")
    if unit not in {"", "%"}:
        raise refusal(given, f"has the unknown unit {shown(unit)}", _SHARE, "90 %")
    if not unit and number >= 1:
        raise refusal(given, "may be meant in %", _SHARE, f"{min(float(number), 90.0):g} %")
    size = number / 100 if unit else number
    if not 0 <= size <= most:
        raise refusal(given, f"is not between 0 and {most * 100:g} %", _SHARE, "90 %")
    return float(size)


def percent(text: str) -> float:
    """Read per cent, such as ``"1.2 %"``, and return the figure before the sign.

    Parameters
    ----------
    text : str
        A number and ``%``.

    Returns
    -------
    float
        Per cent, 0 to 100.

    Raises
    ------
    RequestError
        If it is not per cent, or outside 0 to 100.
    """
    allowed = "per cent from 0 to 100 %"
    number, unit = leading_number(text, allowed, "1.2 %")
    if unit != "%" or not 0 <= number <= 100:
        raise refusal(text, "has no unit" if not unit else "will not do", allowed, "1.2 %")
    return float(number)
