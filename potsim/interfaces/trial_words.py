"""Numbers of trials in words: factors, doses, when a botanical comes over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from potsim.errors import RequestError, UnknownNameError
from potsim.interfaces.wording import (
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_power,
    format_pressure,
    format_share,
    format_temperature,
    format_volume,
    plain,
    unit_of_volumes,
)
from potsim.planning.botanicals.bill import BotanicalDose
from potsim.planning.trials.differences import Difference, Value
from potsim.planning.trials.in_bottle import InBottle
from potsim.planning.trials.next_trial import Factors
from potsim.planning.trials.trial import VERDICTS

_SHARES = {"recovered", "kept", "heads_share", "volume", "neck_loss", "pot_loss"}
_NAMES = {
    "charge_abv": "strength of charge",
    "charge_l": "charge",
    "distillate_l": "all collected",
    "distillate_abv": "its strength",
    "recovered": "alcohol collected",
    "run_min": "from switch-on to stop",
    "stop": "what stops it",
    "keep_l": "keep",
    "keep_abv": "strength of keep",
    "kept": "alcohol kept",
    "water_l": "water to bottle",
    "bottled_l": "bottled",
    "oil_mg_per_l": "oil in bottle",
    "clear_down_to_abv": "clear down to about",
    "collected_l": "collected",
    "abv": "strength",
    "jars_kept": "jars kept",
}
_ENDINGS = ("_w_per_k", "_mg_per_l", "_hpa", "_pct", "_min", "_kg", "_l", "_g", "_h", "_w", "_c", "_m")


def times(factor: float) -> str:
    """Return a factor as a person says it: ``"x 1.5"``, ``"/ 1.5"``."""
    return f"/ {plain(1 / factor, 3)}" if 0.0 < factor < 1.0 else f"x {plain(factor, 3)}"


def factors_in_words(factors: Factors) -> str:
    """Return what each verdict does: ``"a lot more x 2, more x 1.5, ..."``."""
    changing = [verdict for verdict in VERDICTS if verdict not in ("right", "drop")]
    return ", ".join(f"{verdict} {times(factors.of(verdict))}" for verdict in changing)


def read_factors(typed: str) -> Factors:
    """Read factors as typed.

    Parameters
    ----------
    typed : str
        Such as ``"more=x1.4; a touch less=/1.1"``.

    Returns
    -------
    Factors
        Those not named are as usual.

    Raises
    ------
    RequestError
        If one will not be read, or is given twice.
    """
    given: dict[str, float] = {}
    for text in re.split("[;,]", typed):
        name, equals, value = text.partition("=")
        verdict = " ".join(name.split()).lower()
        found = re.fullmatch(r"\s*([x*/]?)\s*([0-9]+(?:\.[0-9]+)?)\s*", value)
        if not equals or found is None or float(found[2]) == 0.0:
            raise RequestError(f"'{text.strip()}' is not VERDICT=FACTOR.", 'Such as "more=x1.4" "less=/1.4".')
        if verdict in ("right", "drop") or verdict not in VERDICTS:
            raise UnknownNameError(
                "verdict with a factor", verdict, [v for v in VERDICTS if v not in ("right", "drop")]
            )
        if verdict in given:
            raise RequestError(f"'{verdict}' is given twice.", "Keep one.")
        number = float(found[2])
        given[verdict] = 1 / number if found[1] == "/" else number
    return Factors(**{verdict.replace(" ", "_"): value for verdict, value in given.items()})


def amount(dose: BotanicalDose) -> str:
    """Return an amount as weighed or counted: ``"16.8 g"``, ``"1.33 pieces"``."""
    if dose.mass_g is not None:
        return format_mass(dose.mass_g)
    return pieces(dose.pieces or 0.0)


def pieces(count: float) -> str:
    """Return a number of pieces: ``"1.33 pieces"``."""
    said = plain(count, 2)
    return f"{said} piece" if said == "1" else f"{said} pieces"


def oil(mg_per_l: float) -> str:
    """Return oil for a litre in mg, to three digits."""
    return f"{mg_per_l:.3g}" if mg_per_l < 999.5 else f"{mg_per_l:.0f}"


def per_litre(g_per_l: float) -> str:
    """Return a dose for a litre in g, to three digits."""
    return f"{g_per_l:.3g}"


def when(lines: Sequence[InBottle | None]) -> tuple[str, list[tuple[str, str, str]]]:
    """Return when botanicals come over.

    Parameters
    ----------
    lines : sequence of InBottle or None
        The botanicals.

    Returns
    -------
    tuple of (str, list)
        The unit of the volumes collected; of each its class, start and end: ``("early", "17", "908")``.
    """
    ends = [line.timing.end_l for line in lines if line is not None and line.timing is not None]
    unit, per_l = unit_of_volumes(max(ends, default=0.0))
    return unit, [_when(line, per_l) for line in lines]


def _when(line: InBottle | None, per_l: float) -> tuple[str, str, str]:
    if line is None:
        return "", "", ""
    if line.timing is None:
        return line.klass, "", ""
    digits = 0 if per_l > 1.0 else 2
    start, end = (f"{per_l * volume:.{digits}f}" for volume in (line.timing.start_l, line.timing.end_l))
    return line.klass, start, end


def ratio(change: float | None) -> str:
    """Return a change of oil as a factor, ``"x 1.20"``; what comes new, ``"new"``."""
    if change is None:
        return "new"
    return "gone" if change == 0.0 else f"x {change:.2f}"


def name_of(difference: Difference) -> str:
    """Return what differs: ``"juniper"``, ``"power"``, ``"stop: stream"``."""
    field = _NAMES.get(difference.field, difference.field) if not difference.table else difference.field
    if difference.table == "result":
        field = _NAMES.get(difference.field, difference.field)
    if not difference.table or difference.table == "result":
        return field
    bare = _bare(field)
    if difference.table in ("charge", "botanical"):
        usual = field in ("volume_l", "mass_g", "pieces")
        return difference.name if usual else f"{difference.name}: {bare}"
    return f"{difference.table}: {bare}"


def _bare(field: str) -> str:
    if field == "sizes.1.size_l":
        return "size"
    for ending in _ENDINGS:
        if field.endswith(ending):
            return field.removesuffix(ending).replace("_", " ").replace(".", " ")
    return field.replace("_", " ").replace(".", " ").replace("abv", "strength").strip()


def value_of(difference: Difference, value: Value) -> str:
    """Return one side of a difference; a dash for nothing."""
    if value is None:
        return "-"
    if difference.field == "jars_kept":
        return format_numbers(int(number) for number in str(value).split(","))
    if isinstance(value, str):
        return " ".join(value.replace("_", " ").split())
    if difference.field.rpartition(".")[2] in _SHARES:
        return format_share(value)
    if difference.field == "clear_down_to_abv" and value == 0.0:
        return "any strength"
    if difference.field == "pieces":
        return pieces(value)
    return quantity(value, difference.unit)


def quantity(value: float, unit: str) -> str:
    """Return a number with its unit."""
    writers: dict[str, Any] = {
        "L": format_volume,
        "g": format_mass,
        "% vol": format_abv,
        "min": format_minutes,
        "W": format_power,
        "hPa": format_pressure,
        "°C": format_temperature,
    }
    if unit in writers:
        return str(writers[unit](value))
    if unit == "mg/L":
        return f"{oil(value)} mg/L"
    return f"{value:.4g} {unit}".strip()
