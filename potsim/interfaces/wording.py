"""Numbers back to words for people: one rounding for tables, plots and pages; and exact text for files."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from decimal import Decimal

from potsim.planning.jars import MOST_ML

MOST_MG = 10_000.0  # more oil is told in grams


def plain(value: float, decimals: int) -> str:
    """Return a number with at most so many decimals, without trailing zeros and without ``-0``."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def format_volume(volume_l: float) -> str:
    """Return a volume as people say it: ``"30.5 mL"``, ``"250 mL"``, ``"1.35 L"``."""
    size = abs(volume_l)
    if size < 0.09995:
        return f"{plain(volume_l * 1000, 1)} mL"
    if size < 0.9995:
        return f"{plain(volume_l * 1000, 0)} mL"
    return f"{plain(volume_l, 2 if size < 9.995 else 1)} L"


def unit_of_volumes(most_l: float) -> tuple[str, float]:
    """Return the unit for a column of volumes up to a largest, and how many of it make a litre."""
    return ("L", 1.0) if 1000.0 * abs(most_l) >= MOST_ML else ("mL", 1000.0)


def volumes(values_l: Sequence[float]) -> tuple[str, list[str]]:
    """Return the unit for a column of volumes, and its numbers."""
    most = max(map(abs, values_l), default=0.0)
    unit, per_l = unit_of_volumes(most)
    decimals = 2 if unit == "L" else 1 if most < 0.09995 else 0
    return unit, [_no_minus_zero(f"{per_l * v:.{decimals}f}") for v in values_l]


def _no_minus_zero(text: str) -> str:
    return text.lstrip("-") if float(text) == 0.0 else text


def masses(masses_g: Sequence[float]) -> tuple[str, list[str]]:
    """Return the unit for a column of masses of oil, and its numbers."""
    grams = 1000.0 * max(map(abs, masses_g), default=0.0) >= MOST_MG
    unit, per_g = ("g", 1.0) if grams else ("mg", 1000.0)
    return unit, [_digits(per_g * mass) for mass in masses_g]


def _digits(value: float) -> str:
    if abs(value) >= 99.95:
        return f"{value:.0f}"
    return f"{value:.3g}" if value == 0.0 or abs(value) >= 1e-4 else f"{value:.6f}".rstrip("0").rstrip(".")


def format_mass(mass_g: float) -> str:
    """Return a mass as people say it: ``"350 mg"``, ``"1.5 g"``, ``"1.25 kg"`` (from grams)."""
    size = abs(mass_g)
    if 0 < size < 0.09995:
        return f"{plain(mass_g * 1000, 1)} mg"
    if size < 9.995:
        return f"{plain(mass_g, 2)} g"
    return f"{plain(mass_g, 1)} g" if size < 999.5 else f"{plain(mass_g / 1000, 2)} kg"


def format_abv(abv: float) -> str:
    """Return a strength with one decimal: ``"62.0 % vol"``."""
    return f"{abv:.1f} % vol"


def format_share(share: float) -> str:
    """Return a share, 0 to 1, in per cent: ``"90 %"``; one decimal below 10 %."""
    percent = share * 100
    return f"{plain(percent, 1 if abs(percent) < 9.95 else 0)} %"


def format_temperature(temperature_c: float) -> str:
    """Return a temperature with one decimal: ``"78.4 °C"``."""
    return f"{temperature_c:.1f} °C"


def format_power(power_w: float) -> str:
    """Return a power: ``"700 W"``, ``"1.2 kW"``."""
    return f"{plain(power_w, 0)} W" if abs(power_w) < 999.5 else f"{plain(power_w / 1000, 2)} kW"


def format_pressure(pressure_hpa: float) -> str:
    """Return a pressure to the whole hectopascal: ``"1013 hPa"``."""
    return f"{plain(pressure_hpa, 0)} hPa"


def format_minutes(minutes: float) -> str:
    """Return a duration: ``"30 s"``, ``"7.5 min"``, ``"45 min"``, ``"1 h 05 min"``, ``"2 d 3 h"``."""
    sign, size = ("-", -minutes) if minutes < 0 else ("", minutes)
    if size < 59.5 / 60:
        seconds = plain(size * 60, 0)
        return "0 min" if seconds == "0" else f"{sign}{seconds} s"
    if size < 9.75:
        return f"{sign}{plain(round(size * 2) / 2, 1)} min"
    whole = round(size)
    if whole < 60:
        return f"{sign}{whole} min"
    if whole < 1440:
        return f"{sign}{whole // 60} h" + (f" {whole % 60:02d} min" if whole % 60 else "")
    hours = round(size / 60)
    return f"{sign}{hours // 24} d" + (f" {hours % 24} h" if hours % 24 else "")


def format_numbers(numbers: Iterable[int]) -> str:
    """Return jar numbers as a person writes them: ``"2-9,11"``."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    parts = [[f"{s[0]}-{s[-1]}"] if len(s) > 2 else [str(n) for n in s] for s in spans]
    return ",".join(itertools.chain.from_iterable(parts))


def exact(value: float, unit: str, per_unit: int = 1) -> str:
    """Return text that reads back as exactly this number."""
    size = Decimal(repr(float(value))) * per_unit
    digits = f"{size:f}" if -12 < size.adjusted() < 20 or not size else f"{size:E}"
    digits = digits.rstrip("0").rstrip(".") if "." in digits and "E" not in digits else digits
    return f"{digits} {unit}"
