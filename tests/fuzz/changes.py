"""How an input is changed: lines and values as a person, or a broken program, would get them wrong."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

_VALUE = re.compile(r'"[^"\n]*"|[-+]?\d[\d.,]*(?:e[-+]?\d+)?|[A-Za-z_]+|[^\sA-Za-z0-9_"]')
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
ODD = (
    *("0", "-1", "1e-300", "1e300", "1e-9", "nan", "inf", "-inf", "-0.0", "99999999999999999999", "0.5", "1"),
    *(
        '""',
        '" "',
        '"0"',
        '"-5 °C"',
        '"1 L"',
        '"1,5 L"',
        '"1,500 L"',
        '"100 %"',
        '"0 %"',
        '"97 %"',
        '"96.9 %"',
    ),
    *('"1e-6 mL"', '"5000 L"', '"1/2 cup"', '"½ L"', "true", "[]", "{}", "[1, 2]", '"\\u0000"', "1979-05-27"),
    *(
        "\x00",
        "\ufeff",
        "é",
        "\u202e",
        "😀",
        "\r",
        "\t",
        '"',
        "'",
        '"""',
        "\\",
        "[[",
        "]]",
        "=",
        ",",
        ";",
        "#",
        "  ",
    ),
)


class Changer:
    """Changes inputs.

    Parameters
    ----------
    seeds : sequence of bytes
        Inputs from which lines are borrowed.
    tokens : sequence of str
        Words and values to put in.
    """

    def __init__(self, seeds: Sequence[bytes], tokens: Sequence[str]) -> None:
        self.seeds = seeds
        self.lines = [line for seed in seeds for line in _text(seed).split("\n")]
        values = [found for line in self.lines for found in _VALUE.findall(line) if len(found) > 1]
        self.values = sorted({*values, *tokens, *ODD})

    def change(self, data: bytes, most: int, number: int, blindly: Callable[[bytes, int], bytes]) -> bytes:
        """Return an input, or one of the first ones, a little different; one in six changed blindly."""
        chance = random.Random(number)
        fresh = chance.random()
        if fresh < 1 / 6:
            return blindly(data, most)
        lines = _text(data if fresh < 2 / 3 else chance.choice(self.seeds)).split("\n")
        for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 5))):
            self._one(lines, chance)
        return "\n".join(lines).encode("utf-8", "surrogateescape")[:most]

    def _one(self, lines: list[str], chance: random.Random) -> None:
        k = chance.randrange(len(lines))
        what = chance.random()
        if what < 0.45:
            _other_number(lines, chance)
        elif what < 0.7:
            lines[k] = self._other_value(lines[k], chance)
        elif what < 0.78:
            lines.insert(k, chance.choice(self.lines))
        elif what < 0.83:
            lines[k] = chance.choice(self.lines)
        elif what < 0.9 and len(lines) > 1:
            del lines[k]
        elif what < 0.93:
            other = chance.randrange(len(lines))
            lines[k], lines[other] = lines[other], lines[k]
        elif what < 0.96:
            lines.insert(k, lines[k])
        else:
            begin = chance.randrange(len(self.lines))
            lines[k:k] = self.lines[begin : begin + chance.randrange(1, 8)]

    def _other_value(self, line: str, chance: random.Random) -> str:
        found = list(_VALUE.finditer(line))
        value = chance.choice(self.values)
        if not found:
            return line + value
        place = chance.choice(found)
        if chance.random() < 0.3 and place[0][:1] in '"0123456789':
            value = _digit(place[0], chance)
        return line[: place.start()] + value + line[place.end() :]


def _other_number(lines: list[str], chance: random.Random) -> None:
    """Put another number in place of one, so that the rest still reads."""
    places = [(k, found) for k, line in enumerate(lines) for found in _NUMBER.finditer(line)]
    if not places:
        return
    k, found = chance.choice(places)
    if chance.random() < 0.3:
        number = chance.choice(("0", "1", "2", "1e-9", "1e9", "100", "0.001", "96.5", "1000", "-1", "20"))
    else:
        number = f"{float(found[0]) * 10 ** chance.uniform(-2, 2):.{chance.choice((1, 2, 3, 9))}g}"
    lines[k] = lines[k][: found.start()] + number + lines[k][found.end() :]


def _digit(text: str, chance: random.Random) -> str:
    """The same with one character of a number other than it was."""
    k = chance.randrange(len(text))
    return text[:k] + chance.choice(("", "0", "9", "1", ".", ",", "-", "e", " ", "00", "5")) + text[k + 1 :]


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")
