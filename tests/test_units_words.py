"""Numbers back to words, and what is written reads back."""

from __future__ import annotations

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
        (wording.format_volume, 0.0305, "30.5 mL"),
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
        (wording.format_minutes, 59.7, "1 h"),
        (wording.format_minutes, 65.2, "1 h 05 min"),
        (wording.format_minutes, 3060.0, "2 d 3 h"),
        (wording.format_minutes, -90.0, "-1 h 30 min"),
        (wording.format_numbers, [11, 2, 3, 4, 7, 8], "2-4,7,8,11"),
    ],
)
def test_numbers_back_to_words(write, value, text) -> None:
    assert write(value) == text
