"""Numbers back to words, and what is written reads back."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from potsim.interfaces import units, wording


@settings(max_examples=60)
@given(st.floats(min_value=1e-6, max_value=1e5))
def test_exact_text_reads_back(size) -> None:
    assert units.volume_l(wording.exact(size, "mL", 1000)) == size
    assert units.volume_l(wording.exact(size, "L")) == size
    assert units.power_w(wording.exact(size, "W")) == size
    assert units.temperature_c(wording.exact(size, "°C")) == size


@settings(max_examples=30)
@given(st.sets(st.integers(1, 500), min_size=1, max_size=40))
def test_jar_numbers_read_back(jars) -> None:
    assert units.numbers(units.format_numbers(jars)) == tuple(sorted(jars))


@pytest.mark.parametrize(
    ("write", "value", "text"),
    [
        (units.format_volume, 0.25, "250 mL"),
        (units.format_volume, 0.0305, "30.5 mL"),
        (units.format_volume, 0.09996, "100 mL"),
        (units.format_volume, 0.9996, "1 L"),
        (units.format_volume, 1.35, "1.35 L"),
        (units.format_volume, 12.34, "12.3 L"),
        (units.format_volume, 0.0, "0 mL"),
        (units.format_volume, -1e-9, "0 mL"),
        (units.format_mass, 14.0, "14 g"),
        (units.format_mass, 0.05, "50 mg"),
        (units.format_mass, 1250.0, "1.25 kg"),
        (units.format_abv, 62.04, "62.0 % vol"),
        (units.format_share, 0.9, "90 %"),
        (units.format_share, 0.025, "2.5 %"),
        (units.format_temperature, 78.44, "78.4 °C"),
        (units.format_power, 700.0, "700 W"),
        (units.format_power, 1200.0, "1.2 kW"),
        (units.format_pressure, 1013.25, "1013 hPa"),
        (units.format_minutes, 0.0, "0 min"),
        (units.format_minutes, 0.5, "30 s"),
        (units.format_minutes, 7.4, "7.5 min"),
        (units.format_minutes, 59.7, "1 h"),
        (units.format_minutes, 65.2, "1 h 05 min"),
        (units.format_minutes, 3060.0, "2 d 3 h"),
        (units.format_minutes, -90.0, "-1 h 30 min"),
        (units.format_numbers, [11, 2, 3, 4, 7, 8], "2-4,7,8,11"),
    ],
)
def test_numbers_back_to_words(write, value, text) -> None:
    assert write(value) == text
