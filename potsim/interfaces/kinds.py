"""How each kind of quantity of a plan is read from what is typed, and written back exactly: one table."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

from potsim.interfaces import quantities
from potsim.interfaces.quantities import LONGEST, leading_number, refusal
from potsim.interfaces.wording import exact, format_numbers
from potsim.planning import schema
from potsim.planning.botanicals import Share, Spread, UsualDose, composition
from potsim.planning.plan import JarStock
from potsim.planning.schema import Key


class Form(NamedTuple):
    """How a kind of quantity stands in a file."""

    read: Callable[[Any], Any]  # from what stands there to the value; refuses
    write: Callable[[Any], Any]  # back again, exactly


def read(key: Key, given: object) -> Any:
    """Return the value of a key from what is typed; range and choices are not looked at."""
    return KINDS[key.kind].read(given)


def write(key: Key, value: Any) -> Any:
    """Return a value of a key as it is typed."""
    return KINDS[key.kind].write(value)


def text(given: object) -> str:
    """Read text that says something, such as a name."""
    if not isinstance(given, str):
        raise refusal(given, "not_text", 'text in quotes ("...")', "apple spirit")
    if not given.strip():
        raise refusal(given, "empty", "text that says something", "apple spirit")
    if len(given) > LONGEST or not given.isprintable():
        raise refusal(given, "unfit", f"one line of up to {LONGEST} characters", "apple spirit")
    return given.strip()


def same(value: Any) -> Any:
    """Return the value as it is: what is read is what is written."""
    return value


def _words(given: object) -> str:
    if not isinstance(given, str):
        raise refusal(given, "not_text", 'text in quotes ("...")', "more lemon next time")
    return given


def _yes(given: object) -> bool:
    if not isinstance(given, bool):
        raise refusal(given, "unfit", "true or false, without quotes", "true")
    return given


def _day(given: object) -> object:
    if isinstance(given, (datetime.date, datetime.time)):
        return given
    return text(given)


def _said(given: object) -> object:
    """What a person notes of a result in words or figures; kept as it stands."""
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise refusal(given, "unfit", "text in quotes, or a number", "3 bottles of 350 mL")
    return given


def _spirit(given: object) -> str:
    composition(text(given))
    return text(given)


def _jar_numbers(given: object) -> tuple[int, ...]:
    if isinstance(given, list):
        return () if not given else quantities.numbers(",".join(str(item) for item in given))
    return quantities.numbers(given)  # type: ignore[arg-type]


def _jar_sizes(given: object) -> tuple[JarStock, ...]:
    if not isinstance(given, list):
        return quantities.jars(given)  # type: ignore[arg-type]
    for item in given:
        quantities.jars(item)
    return quantities.jars("; ".join(given)) if given else ()


def _write_sizes(stock: tuple[JarStock, ...]) -> list[str]:
    return [(f"{jar.count} x " if jar.count else "") + write_volume(jar.size_l) for jar in stock]


def _write_amount(amount: quantities.Amount) -> str:
    return exact(amount.size, "g") if amount.of == "g" else f"{exact(amount.size, amount.of)}".rstrip()


def _shares_over(given: object) -> dict[str, float]:
    if not isinstance(given, dict):
        raise refusal(given, "unfit", "botanicals and shares", '{ "fennel seed" = "95 %" }')
    return {text(name): quantities.share(value) for name, value in given.items()}


def write_volume(litres: float) -> str:
    """Return a volume as it is typed: in litres from one litre on."""
    return exact(litres, "L") if litres >= 1 else exact(litres, "mL", 1000)


def write_share(share: float) -> str:
    """Return a share in per cent."""
    return exact(share, "%", 100)


def write_number(number: float) -> int | float:
    """Return a plain number as a person writes it, without a needless ``.0``."""
    return int(number) if float(number).is_integer() else float(number)


def measure(read: Callable[[str], float], unit: str) -> Form:
    """Return the form of a quantity that is kept in the unit it is written in."""
    return Form(read, lambda value: exact(value, unit))


# --- What the distiller adds to the library.


def _spread(given: object) -> Spread:
    """Read ``"1.2 %"``, or low, typical and high in a list."""
    if not isinstance(given, list):
        typical = quantities.percent(given)  # type: ignore[arg-type]
        return Spread(typical, typical, typical)
    if len(given) != 3:
        raise refusal(given, "not_three", "low, typical and high", "0.8 %, 1.2 %, 2 %")
    return Spread(*(quantities.percent(item) for item in given))


def _write_spread(spread: Spread) -> str | list[str]:
    figures = [exact(pct, "%") for pct in (spread.low, spread.typical, spread.high)]
    return figures[0] if len(set(figures)) == 1 else figures


def _composition(given: object) -> tuple[Share, ...]:
    if not isinstance(given, dict):
        raise refusal(given, "unfit", "compounds and shares of the oil", '{ limonene = "70 %" }')
    return tuple(Share(text(name), _spread(share)) for name, share in given.items())


def _names(given: object) -> tuple[str, ...]:
    return tuple(text(item) for item in (given if isinstance(given, list) else [given]))


def _usual(given: object) -> UsualDose:
    if not isinstance(given, list) or len(given) != 2:
        raise refusal(given, "unfit", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    low, high = (quantities.mass_g(item) for item in given)
    if low > high:
        raise refusal(given, "falls", "the least and the most for a litre of charge", '["2 g", "8 g"]')
    return UsualDose(low, high)


def _molar_mass(given: object) -> float:
    allowed = "a molar mass in g/mol"
    number, unit = leading_number(given, allowed, "154.3 g/mol")
    if unit.replace(" ", "") != "g/mol":
        raise refusal(given, "no_unit" if not unit else "unfit", allowed, "154.3 g/mol")
    return float(number)


def _groups(given: object) -> dict[int, int]:
    allowed = "numbers of subgroups and how many of each"
    if not isinstance(given, dict) or not all(name.isascii() and name.isdigit() for name in given):
        raise refusal(given, "unfit", allowed, '{ "1" = 2, "2" = 3 }')
    return {int(name[:9]): int(quantities.count(n, "groups", whole=True)) for name, n in given.items()}


# --- The table.


KINDS: dict[str, Form] = {
    schema.VOLUME: Form(quantities.volume_l, write_volume),
    schema.ABV: measure(quantities.abv, "%"),
    schema.SHARE: Form(quantities.share, write_share),
    schema.RELATIVE: Form(partial(quantities.share, most=10.0), write_share),
    schema.PERCENT: measure(quantities.percent, "%"),
    schema.MASS: measure(quantities.mass_g, "g"),
    schema.MASS_KG: measure(quantities.mass_kg, "kg"),
    schema.DURATION: measure(quantities.duration_min, "min"),
    schema.DURATION_H: measure(quantities.duration_h, "h"),
    schema.TEMPERATURE: measure(quantities.temperature_c, "°C"),
    schema.HEIGHT: measure(quantities.length_m, "m"),
    schema.PRESSURE: measure(quantities.pressure_hpa, "hPa"),
    schema.POWER: measure(quantities.power_w, "W"),
    schema.HEAT_LOSS: measure(quantities.heat_loss_w_per_k, "W/K"),
    schema.ABV_DIFFERENCE: measure(quantities.abv_difference, "%"),
    schema.TEMPERATURE_DIFFERENCE: measure(quantities.temperature_difference_k, "K"),
    schema.AMOUNT: Form(quantities.amount, _write_amount),
    schema.COUNT: Form(quantities.count, write_number),
    schema.ADDITIONS: Form(lambda given: int(quantities.count(given, "additions", whole=True)), same),
    schema.PRICE: Form(quantities.price, write_number),
    schema.PRICE_PER_L: measure(quantities.price_per_l, "per L"),
    schema.TEXT: Form(text, text),
    schema.WORDS: Form(_words, same),
    schema.SAID: Form(_said, same),
    schema.DAY: Form(_day, same),
    schema.YES: Form(_yes, same),
    schema.CHOICE: Form(text, same),
    schema.SPIRIT: Form(_spirit, same),
    schema.JAR_NUMBERS: Form(_jar_numbers, format_numbers),
    schema.JAR_SIZES: Form(_jar_sizes, _write_sizes),
    schema.SHARES_OVER: Form(
        _shares_over, lambda over: {name: write_share(share) for name, share in over.items()}
    ),
    schema.SPREAD: Form(_spread, _write_spread),
    schema.COMPOSITION: Form(
        _composition, lambda shares: {share.compound_id: _write_spread(share.pct) for share in shares}
    ),
    schema.NAMES: Form(_names, list),
    schema.USUAL_DOSE: Form(
        _usual, lambda dose: [exact(dose.low_g_per_l, "g"), exact(dose.high_g_per_l, "g")]
    ),
    schema.MOLAR_MASS: measure(_molar_mass, "g/mol"),
    schema.GROUPS: Form(_groups, lambda groups: {str(group): n for group, n in dict(groups).items()}),
    schema.KELVIN: measure(quantities.temperature_k, "K"),
    schema.RATIO: Form(partial(quantities.count, what="a ratio"), write_number),
    schema.DECADES: Form(quantities.decades, write_number),
}
"""Kind of quantity to how it is read and written."""
