"""What cannot be read is refused, with words that say what is allowed instead."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.errors import PotsimError, RequestError
from potsim.interfaces import quantities
from potsim.interfaces.tomlfile import KINDS

REFUSED = [
    (quantities.volume_l, "250", "'250' has no unit; allowed: a volume in mL, cL"),
    (quantities.volume_l, 250, "250 has no unit"),
    (quantities.volume_l, True, "True will not do"),
    (quantities.volume_l, ["1 L"], "A list will not do"),
    (quantities.volume_l, "", "'' is empty"),
    (quantities.volume_l, "mL", "does not begin with a number"),
    (quantities.volume_l, "a cup", "does not begin with a number"),
    (quantities.volume_l, "1 cup", "US cup (236.6 mL), metric cup (250 mL), imperial cup (284.1 mL)"),
    (quantities.volume_l, "2 Cups", "a bare 'Cups' has 3 sizes"),
    (quantities.volume_l, "1 gal", "US gal (3785 mL), imperial gal (4546 mL)"),
    (quantities.volume_l, "1 fl oz", "US fl oz (29.57 mL), imperial fl oz (28.41 mL)"),
    (quantities.volume_l, "1 pint", "US pint (473.2 mL), imperial pint (568.3 mL)"),
    (quantities.volume_l, "1 tbsp", "Australian tbsp (20 mL)"),
    (quantities.volume_l, "3 oz", '"oz" is a mass'),
    (quantities.volume_l, "1,500 mL", 'two ways: 1.500 or 1500. Write "1.500" or "1500"'),
    (quantities.volume_l, "1.2.3 L", "that can be read"),
    (quantities.volume_l, "1,50,000 mL", "that can be read"),
    (quantities.volume_l, "1 1/0 L", "that can be read"),
    (quantities.volume_l, "-5 mL", "less than nothing"),
    (quantities.volume_l, "nan L", "does not begin with a number"),
    (quantities.volume_l, "inf L", "does not begin with a number"),
    (quantities.volume_l, "1 lites", "unknown unit 'lites' (nearest: L)"),
    (quantities.volume_l, "20 °C", "unknown unit '°C'"),
    (quantities.volume_l, "5 L kg", "unknown unit 'L kg'"),
    (quantities.volume_l, "10² mL", "unknown unit"),
    (quantities.volume_l, "٣ L", "does not begin with a number"),
    (quantities.volume_l, "1" * 300 + " L", "is too long (302 characters)"),
    (quantities.mass_g, "1 Mg", '"Mg" is a megagram'),
    (quantities.mass_g, "2 fl oz", '"fl oz" is a volume'),
    (quantities.mass_g, "14 mL", "allowed: a mass in mg, g, kg, oz or lb"),
    (quantities.power_w, "1 MW", "allowed: a power in W, kW or BTU/h"),
    (quantities.power_w, "2 hp", "unknown unit 'hp'"),
    (quantities.pressure_hpa, "1 Mbar", '"Mbar" is a megabar'),
    (quantities.length_m, "60 M", 'write "m" for metres'),
    (quantities.duration_min, "30 m", "minutes or months"),
    (quantities.duration_min, "1:30", "h:min or as min:s"),
    (quantities.duration_min, "30 min 1 h", "from large units to small"),
    (quantities.duration_min, "1h30", "has no unit"),
    (quantities.duration_min, "-1 h", "less than nothing"),
    (quantities.temperature_c, "20", "which degrees"),
    (quantities.temperature_c, "20 °", "which degrees"),
    (quantities.temperature_c, "-300 °C", "below absolute zero"),
    (quantities.temperature_c, "20 R", "unknown unit 'R'"),
    (quantities.abv, "62", "whether it is % or proof"),
    (quantities.abv, "0.62", "whether it is % or proof"),
    (quantities.abv, "62 % w/w", "by weight"),
    (quantities.abv, "101 %", "between 0 and 100 % vol"),
    (quantities.abv, "-1 %", "between 0 and 100 % vol"),
    (quantities.abv, "201 proof", "between 0 and 200 proof"),
    (quantities.abv, "62 °", "unknown unit '°'"),
    (quantities.abv_difference, "1 proof", "a doubt in % vol"),
    (quantities.share, "90", "may be meant in %"),
    (quantities.share, 1, "may be meant in %"),
    (quantities.share, "110 %", "between 0 and 100 %"),
    (quantities.share, float("nan"), "does not begin with a number"),
    (quantities.percent, "1.2", "has no unit"),
    (quantities.jars, "12 60 mL", "lacks the x"),
    (quantities.jars, "0 x 60 mL", "between 1 and 500 jars"),
    (quantities.jars, "60, 250 mL", "'60' has no unit"),
    (quantities.jars, "60 mL, 60 mL", "lists '60 mL' twice"),
    (
        quantities.numbers,
        "9-2",
        'backwards; allowed: jar numbers and ranges with commas between. Write for example "2-9"',
    ),
    (quantities.numbers, "0-3", "outside 1 to 500"),
    (quantities.numbers, "1-999999999", "outside 1 to 500"),
    (quantities.numbers, "2-9,9", "names jar 9 twice"),
    (quantities.numbers, "2,,3", "has '' in it"),
    (quantities.numbers, "all", "has 'all' in it"),
    (quantities.portion, "300 mL", "is not VOLUME@ABV"),
    (quantities.portion, "300 mL @ 72", "whether it is % or proof"),
    (quantities.price_per_l, "12", "for what volume"),
    (quantities.price_per_l, "12 per 0 L", "the price of nothing"),
    (quantities.price, -1, "is no price"),
    (quantities.count, "two", "does not begin with a number"),
    (quantities.count, -2, "will not do"),
]


@pytest.mark.parametrize(
    ("read", "given", "words"), REFUSED, ids=[f"{r.__name__} {g!r:.30}" for r, g, _ in REFUSED]
)
def test_a_refusal_says_what_and_what_instead(read, given, words) -> None:
    with pytest.raises(RequestError) as refused:
        read(given)
    assert words in str(refused.value)
    assert refused.value.exit_code == 2
    assert refused.value.hint


READERS = [quantities.portion] + [
    r for r in (form.read for form in KINDS.values()) if getattr(r, "__module__", "") == quantities.__name__
]
TYPED = st.one_of(
    st.text(max_size=30),
    st.from_regex(r"-?[0-9]{0,4}[., '/]?[0-9]{0,4} ?(mL|US cup|%|proof|°F|h|@|x|per L|W/K)?", fullmatch=True),
    st.floats(),
    st.integers(),
)


@settings(max_examples=60, deadline=None)
@given(TYPED)
@example("1/0")
@example("9" * 199)
@example("1e99 L")
@example(10**400)
def test_whatever_is_typed_is_read_or_refused(typed) -> None:
    for read in READERS:
        if read is quantities.Portion:
            continue
        try:
            read(typed)
        except PotsimError:
            continue


@pytest.mark.parametrize("text", ["0.077,96.5 L", "1.500,000.5 mL", "1,000.00,5 mL", "1'000.5,5 mL"])
def test_marks_that_make_no_sense_are_refused(text: str) -> None:
    with refused("quantity", "", text):
        quantities.volume_l(text)
