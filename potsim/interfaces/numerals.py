"""How people write a number: decimal points and commas, thousands, fractions; and how a refusal is worded."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from potsim.errors import RequestError

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
_VULGAR = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}
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
    """Return what was given as it may stand in a message: short, printable, in quotes when it is text.

    Parameters
    ----------
    given : object
        Whatever was typed, or stands in a file.

    Returns
    -------
    str
        Such as ``'250 mL'`` with its quotes, ``a list`` or ``true``.
    """
    if isinstance(given, bool):
        return str(given).lower()
    if isinstance(given, list):
        return "a list"
    if isinstance(given, dict):
        return "a table"
    if not isinstance(given, str):
        return _short(_digits(given) if isinstance(given, (int, float)) else str(given))
    return f"'{_short(given)}'"


def _short(text: str) -> str:
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[: LONGEST + 1])
    return text if len(text) <= 60 else text[:57] + "..."


def refusal(given: object, why: str, allowed: str, example: str) -> RequestError:
    """Word a refusal: what was given, why it will not do, what is allowed, an example.

    Parameters
    ----------
    given : object
        What was typed.
    why : str
        The rest of the sentence that begins with what was given.
    allowed : str
        What would have been read.
    example : str
        Something that may be typed instead.

    Returns
    -------
    RequestError
        To be raised by the caller.
    """
    return RequestError(f"{shown(given)} {why}; allowed: {allowed}.", f'Write for example "{example}".')


def tidy(text: str) -> str:
    """Return typed text with look-alike characters made one and blanks made single.

    Parameters
    ----------
    text : str
        As typed or pasted.

    Returns
    -------
    str
        The same words.
    """
    for vulgar, plain in _VULGAR.items():
        text = text.replace(vulgar, f" {plain}")
    for odd, plain in _ALIKE.items():
        text = text.replace(odd, plain)
    return " ".join(text.split())


def as_text(given: object, allowed: str, example: str) -> str:
    """Return what was given as text, if it is text or a number at all.

    Parameters
    ----------
    given : object
        Text, or a number from a file.
    allowed, example : str
        For the refusal.

    Returns
    -------
    str
        The text, neither empty nor endless.

    Raises
    ------
    RequestError
        If it is a truth value, a list, a table, a date, empty or too long.
    """
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise refusal(given, "will not do", allowed, example)
    text = given if isinstance(given, str) else _digits(given)
    if not text.strip():
        raise refusal(given, "is empty", allowed, example)
    if len(text) > LONGEST:
        raise refusal(given, f"is too long ({len(text)} characters)", allowed, example)
    return text


def _digits(number: float) -> str:
    return f"{Decimal(number):.3E}" if isinstance(number, int) and abs(number) > 10**20 else repr(number)


def leading_number(given: object, allowed: str, example: str) -> tuple[Fraction, str]:
    """Read the number that typed text begins with.

    Parameters
    ----------
    given : object
        Such as ``"1,5 L"``; a number from a file is read as its digits.
    allowed, example : str
        For the refusal.

    Returns
    -------
    number : Fraction
        Exactly what is written.
    rest : str
        What follows it, without blanks at its ends.

    Raises
    ------
    RequestError
        If the text does not begin with a number, or the number can be read in two ways.

    Notes
    -----
    A point is a decimal point. A comma is a decimal comma, unless exactly three digits follow one to three
    that do not begin with 0: ``1,500`` may be 1.5 or 1500, and is refused. Two marks settle it: ``1,500.0``,
    ``1.500,0``, ``1,500,000``. A blank or an apostrophe groups digits by three. ``1 1/2`` is 1.5.
    """
    clean = tidy(as_text(given, allowed, example))
    found = _NUMBER.match(clean)
    if found is None:
        raise refusal(given, "does not begin with a number", allowed, example)
    if found["top"]:
        size = _fraction(found["whole"], found["top"], found["bottom"])
    else:
        size = _decimal(given, found["plain"])
    if size is None:
        raise refusal(given, "does not begin with a number that can be read", allowed, example)
    if found["exponent"]:
        size *= Fraction(10) ** int(found["exponent"][1:])
    if size > LARGEST:
        raise refusal(given, "is too large for anything here", allowed, example)
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
        raise RequestError(
            f"{shown(given)} can be read in two ways: {decimal} or {grouped}.",
            f'Write "{decimal}" or "{grouped}" with the unit.',
        )
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


def as_typed(typed: object, given: object) -> object:
    """Return a value for a refusal: as it was typed, and what that is where it reads otherwise.

    Parameters
    ----------
    typed : object
        What was typed; no text if that is not known.
    given : object
        The value as the refusal has it, its unit last.

    Returns
    -------
    object
        Such as ``"200 °F, that is 93.3333 °C"``.

    Examples
    --------
    >>> as_typed("200 °F", "93.3333 °C"), as_typed("50L", "50 L"), as_typed("0", "0 additions")
    ('200 °F, that is 93.3333 °C', '50 L', '0 additions')
    """
    if not isinstance(typed, str) or not typed.strip() or len(typed) > LONGEST or not typed.isprintable():
        return given
    number, _, unit = str(given).partition(" ")
    bare = re.fullmatch(r"[\d.,]+", typed.strip())
    if bare:
        return f"{typed.strip()} {unit}".strip()
    same_unit = typed.split()[-1] == str(given).split()[-1]
    if same_unit or (number == "0" and typed.lstrip().startswith("0")):
        return typed.strip()
    alike = "".join(str(given).split()).startswith("".join(typed.split()))
    return given if alike else f"{typed.strip()}, that is {given}"
