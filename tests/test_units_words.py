"""Numbers back to words, and what is written reads back."""

from __future__ import annotations

import json
from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from potsim.interfaces import quantities, wording


@settings(max_examples=60)
@given(st.floats(min_value=1e-6, max_value=1e5))
def test_exact_text_reads_back(size) -> None:
    assert quantities.volume_l(wording.exact(size, "mL", 1000)) == size
    assert quantities.volume_l(wording.exact(size, "L")) == size
    assert quantities.power_w(wording.exact(size, "W")) == size
    assert quantities.temperature_c(wording.exact(size, "°C")) == size


@settings(max_examples=30)
@given(st.sets(st.integers(1, 500), min_size=1, max_size=40))
def test_jar_numbers_read_back(jars) -> None:
    assert quantities.numbers(wording.format_numbers(jars)) == tuple(sorted(jars))


@pytest.mark.parametrize(
    ("write", "value", "text"),
    [
        (wording.format_volume, 0.25, "250 mL"),
        (wording.format_volume, 0.0155, "15.5 mL"),
        (wording.format_volume, 0.09996, "100 mL"),
        (wording.format_volume, 0.9996, "1 L"),
        (wording.format_volume, 1.35, "1.35 L"),
        (wording.format_volume, 12.34, "12.3 L"),
        (wording.format_volume, 0.0, "0 mL"),
        (wording.format_volume, -1e-9, "0 mL"),
        (wording.format_mass, 14.0, "14 g"),
        (wording.format_mass, 0.05, "50 mg"),
        (wording.format_mass, 1250.0, "1.25 kg"),
        (wording.format_abv, 62.04, "62.0 % vol"),
        (wording.format_share, 0.9, "90 %"),
        (wording.format_share, 0.025, "2.5 %"),
        (wording.format_temperature, 78.44, "78.4 °C"),
        (wording.format_power, 700.0, "700 W"),
        (wording.format_power, 1200.0, "1.2 kW"),
        (wording.format_pressure, 1013.25, "1013 hPa"),
        (wording.format_minutes, 0.0, "0 min"),
        (wording.format_minutes, 0.5, "30 s"),
        (wording.format_minutes, 7.4, "7.5 min"),
        (partial(wording.at_least, "minutes_short"), 1.86, "1.8 min"),
        (partial(wording.at_least, "minutes_short"), 0.3166, "18 s"),
        (partial(wording.at_least, "minutes_short"), 12.9, "12 min"),
        (partial(wording.at_least, "minutes_short"), 3.0, "3 min"),
        (wording.format_minutes, 59.7, "1 h"),
        (wording.format_minutes, 65.2, "1 h 05 min"),
        (wording.format_minutes, 3060.0, "2 d 3 h"),
        (wording.format_minutes, -90.0, "-1 h 30 min"),
        (wording.format_numbers, [11, 2, 3, 4, 7, 8], "2-4,7,8,11"),
    ],
)
def test_numbers_back_to_words(write, value, text) -> None:
    assert write(value) == text


# What the table of formats holds for the page.


def said_by_the_page(kind: str, value: float, system: str) -> str:
    """As the browser goes by the table: the first step whose bound is not reached, then its numbers."""
    found = json.loads(json.dumps(wording.formats()))[system][kind]
    step = next((one for one in found["steps"] if abs(value) < one["below"]), found)
    text = f"{value * step['times'] + found['plus']:.{step['decimals']}f}"
    if step["trim"] and "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {step['unit']}".strip()


@pytest.mark.parametrize("system", wording.SYSTEMS)
@pytest.mark.parametrize("kind", sorted(wording.METRIC))
def test_the_page_says_a_number_as_every_other_face_does(kind: str, system: wording.System) -> None:
    for value in (
        0.0012,
        0.03,
        0.0999,
        0.25,
        0.9994,
        0.99951,
        2.999,
        3.001,
        9.99,
        10.01,
        78.44,
        640.0,
        12345.6,
    ):
        with wording.in_units(system):
            # what a sentence tells in metric units too stands behind it
            assert wording.say(kind, value).partition(" (")[0] == said_by_the_page(kind, value, system)


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        ("volume", 3.785411784, "1 US gal (3.79 L)"),
        ("volume", 0.0295735295625, "1 US fl oz (30 mL)"),
        ("mass", 28.349523125, "1 oz (28.3 g)"),
        ("mass", 907.18474, "2 lb (907.2 g)"),
        ("temperature", 100.0, "212 °F"),
        ("temperature", 0.0, "32 °F"),
        ("pressure", 1013.25, "29.92 inHg"),
        ("abv", 62.0, "124 proof (62.0 % vol)"),
    ],
)
def test_numbers_in_us_units(kind: str, value: float, text: str) -> None:
    """Gallon, ounce, pound: NIST HB 44; 29.92 inHg: the standard atmosphere in inches, from memory."""
    with wording.in_units("us"):
        assert wording.say(kind, value) == text
    assert wording.say("volume", 0.25) == "250 mL"


def test_a_column_has_one_unit_by_its_largest() -> None:
    assert wording.column("volume_column", [0.03, 0.5]) == ("mL", ["30", "500"])
    assert wording.column("volume_column", [0.03, 10.0]) == ("L", ["0.03", "10.00"])
    assert wording.column("volume_column", [0.03, 0.05]) == ("mL", ["30.0", "50.0"])
    assert wording.column("mass_column", []) == ("g", [])
    assert wording.column("mass_column", [10.0, 12000.0]) == ("kg", ["0.01", "12.00"])
