"""What a person types, and what it becomes.

Sizes of units are checked against their definitions: BIPM SI Brochure; NIST SP 811 (2008) Appendix B; Weights
and Measures Act 1985 (gallon of 4.54609 L); and against the independent constants of scipy where it has them.
"""

from __future__ import annotations

import subprocess
import sys

import pytest
from scipy import constants

from potsim.data import read_table
from potsim.interfaces import quantities
from potsim.interfaces.quantities import Kind, normal
from potsim.planning.plan import JarStock

INCH_L = 0.254**3  # a cubic inch in litres, the inch being 25.4 mm exactly
US_GAL = 231 * INCH_L
IMPERIAL_GAL = 4.54609
BTU_J = 1055.05585262
G_N = 9.80665

DEFINED = [
    (quantities.volume_l, "1 mL", 0.001),
    (quantities.volume_l, "1 cL", 0.01),
    (quantities.volume_l, "1 dL", 0.1),
    (quantities.volume_l, "1 L", 1),
    (quantities.volume_l, "1 hL", 100),
    (quantities.volume_l, "1 US gal", US_GAL),
    (quantities.volume_l, "1 imperial gal", IMPERIAL_GAL),
    (quantities.volume_l, "1 US quart", US_GAL / 4),
    (quantities.volume_l, "1 imperial quart", IMPERIAL_GAL / 4),
    (quantities.volume_l, "1 US pint", US_GAL / 8),
    (quantities.volume_l, "1 imperial pint", IMPERIAL_GAL / 8),
    (quantities.volume_l, "1 US cup", US_GAL / 16),
    (quantities.volume_l, "1 metric cup", 0.250),
    (quantities.volume_l, "1 imperial cup", IMPERIAL_GAL / 16),
    (quantities.volume_l, "1 US fl oz", constants.fluid_ounce_US * 1000),
    (quantities.volume_l, "1 imperial fl oz", constants.fluid_ounce_imp * 1000),
    (quantities.volume_l, "1 US tbsp", constants.fluid_ounce_US * 500),
    (quantities.volume_l, "1 metric tbsp", 0.015),
    (quantities.volume_l, "1 Australian tbsp", 0.020),
    (quantities.volume_l, "1 US tsp", constants.fluid_ounce_US * 1000 / 6),
    (quantities.volume_l, "1 metric tsp", 0.005),
    (quantities.mass_g, "1 mg", 0.001),
    (quantities.mass_g, "1 g", 1),
    (quantities.mass_g, "1 kg", 1000),
    (quantities.mass_g, "1 oz", constants.oz * 1000),
    (quantities.mass_g, "1 lb", constants.lb * 1000),
    (quantities.duration_min, "1 s", 1 / 60),
    (quantities.duration_min, "1 min", 1),
    (quantities.duration_min, "1 h", 60),
    (quantities.duration_min, "1 d", 1440),
    (quantities.length_m, "1 m", 1),
    (quantities.length_m, "1 km", 1000),
    (quantities.length_m, "1 ft", constants.foot),
    (quantities.pressure_hpa, "1 Pa", 0.01),
    (quantities.pressure_hpa, "1 hPa", 1),
    (quantities.pressure_hpa, "1 kPa", 10),
    (quantities.pressure_hpa, "1 mbar", 1),
    (quantities.pressure_hpa, "1 bar", constants.bar / 100),
    (quantities.pressure_hpa, "1 atm", constants.atm / 100),
    (quantities.pressure_hpa, "1 torr", constants.torr / 100),
    (quantities.pressure_hpa, "1 mmHg", 13595.1 * G_N * 1e-3 / 100),
    (quantities.pressure_hpa, "1 inHg", 13595.1 * G_N * 25.4e-3 / 100),
    (quantities.power_w, "1 W", 1),
    (quantities.power_w, "1 kW", 1000),
    (quantities.power_w, "1 BTU/h", BTU_J / 3600),
    (quantities.heat_loss_w_per_k, "1 W/K", 1),
    (quantities.heat_loss_w_per_k, "1 BTU/(h·°F)", BTU_J / 3600 * 1.8),
    (quantities.temperature_difference_k, "1 K", 1),
    (quantities.temperature_difference_k, "1 °C", 1),
    (quantities.temperature_difference_k, "1 °F", 5 / 9),
]


@pytest.mark.parametrize(("read", "text", "size"), DEFINED, ids=[text for _, text, _ in DEFINED])
def test_a_unit_has_its_defined_size(read, text, size) -> None:
    assert read(text) == pytest.approx(size, rel=1e-12)


def test_every_unit_of_the_table_is_checked_above() -> None:
    assert {row["unit"] for row in read_table("units.csv")} == {text[2:] for _, text, _ in DEFINED}


@pytest.mark.parametrize("row", read_table("units.csv"), ids=lambda row: f"{row['kind']} {row['unit']}")
def test_every_spelling_is_read(row) -> None:
    kind = Kind(row["kind"], "", "")
    for spelling in row["spellings"].split():
        assert kind.size("", spelling) == kind.size("", row["unit"])
        assert normal(spelling) == spelling or row["kind"] in {"heat_loss"}


@pytest.mark.parametrize("kind", ["volume", "mass", "duration", "length", "pressure", "power", "heat_loss"])
def test_no_spelling_means_two_units(kind) -> None:
    words = [w for row in read_table("units.csv") if row["kind"] == kind for w in row["spellings"].split()]
    assert len(words) == len(set(words))


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("250 mL", 0.25),
        ("250ml", 0.25),
        ("250 ML", 0.25),  # a megalitre is more than any plan may hold
        ("  250   mL ", 0.25),
        ("250\u202fmL", 0.25),
        (".25 L", 0.25),
        ("0,9 L", 0.9),
        (",9 L", 0.9),
        ("0,900 L", 0.9),
        ("1,5 L", 1.5),
        ("1234,567 mL", 1.234567),
        ("1.500 L", 1.5),
        ("1,500.0 mL", 1.5),
        ("1.500,0 mL", 1.5),
        ("1,500,000 mL", 1500),
        ("1 500 mL", 1.5),
        ("1'500 mL", 1.5),
        ("1e3 mL", 1.0),
        ("1/2 L", 0.5),
        ("1 1/2 L", 1.5),
        ("1½ L", 1.5),
        ("2 litres", 2.0),
        ("50 cc", 0.05),
        ("1 gal (US)", US_GAL),
        ("1 U.S. gallon", US_GAL),
        ("2 UK pints", IMPERIAL_GAL / 4),
        ("2 metric cups", 0.5),
        ("3 US fl. oz.", 3 * US_GAL / 128),
    ],
)
def test_volumes_as_people_write_them(text, litres) -> None:
    assert quantities.volume_l(text) == pytest.approx(litres, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("20 °C", 20),
        ("20C", 20),
        ("20 ºC", 20),
        ("20 degrees C", 20),
        ("-5 °C", -5),
        ("−5 °C", -5),
        ("32 °F", 0),
        ("212 °F", 100),
        ("78 °F", 25.555555555555557),
        ("-40 F", -40),
        ("273.15 K", 0),
        ("351.15 kelvin", 78),
        ("0 K", -273.15),
    ],
)
def test_temperatures(text, celsius) -> None:
    assert quantities.temperature_c(text) == pytest.approx(celsius, abs=1e-12)
    assert quantities.temperature_k(text) == pytest.approx(celsius + 273.15, abs=1e-10)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("90 min", 90),
        ("1 h 30 min", 90),
        ("1h30m", 90),
        ("1h30min", 90),
        ("1 d, 2 hours and 30 seconds", 1560.5),
        ("1,5 h", 90),
        ("1 1/2 h", 90),
        ("2 days", 2880),
    ],
)
def test_durations(text, minutes) -> None:
    assert quantities.duration_min(text) == pytest.approx(minutes, rel=1e-12)
    assert quantities.duration_h(text) == pytest.approx(minutes / 60, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["62 %", "62%", "62 % vol", "62 vol%", "62% abv", "62 % ABV", "62 percent", "62,0 %"]
)
def test_strengths(text) -> None:
    assert quantities.abv(text) == 62.0


def test_us_proof_is_twice_the_strength_at_60_f() -> None:
    # 27 CFR 5.11: twice the % vol at 60 °F; at 20 °C that is within 0.2 % vol of half the proof.
    assert quantities.abv("120 proof") == quantities.abv("120 US proof")
    assert quantities.abv("120 proof") == pytest.approx(60, abs=0.2)
    assert quantities.abv("120 proof") != 60
    assert quantities.abv("0 proof") == 0


def test_uk_proof_spirit_weighs_twelve_thirteenths_of_water() -> None:
    # Customs and Excise Act 1952, s. 172 (from memory): at 51 °F it weighs 12/13 of as much water.
    from potsim.liquid import strength

    w = strength.w_from_abv(quantities.abv("100 UK proof"))
    at_51_f = quantities.temperature_c("51 °F")
    ratio = strength.density(w, at_51_f) / strength.density(0.0, at_51_f)
    assert ratio == pytest.approx(12 / 13, abs=2e-5)  # 0.01 % vol
    assert quantities.abv("70 UK proof") == pytest.approx(40.0)
    assert (
        quantities.abv("70 imperial proof")
        == quantities.abv("70 British proof")
        == quantities.abv("70 UK proof")
    )


def test_shares_and_per_cent() -> None:
    assert (
        quantities.share("90 %")
        == quantities.share("0.9")
        == quantities.share(0.9)
        == quantities.share("0,9")
        == 0.9
    )
    assert quantities.share("100 %") == 1
    assert quantities.share("150 %", most=2) == 1.5
    assert quantities.percent("1.2 %") == 1.2


def test_jars() -> None:
    twelve = (JarStock(0.06, 12), JarStock(0.25, 6))
    for text in (
        "12 x 60 mL, 6 x 250 mL",
        "12x60mL,6x250mL",
        "12 × 60 mL; 6 × 0,25 L",
        "12 X 60 ml, 6*25 cl",
    ):
        assert quantities.jars(text) == twelve
    assert quantities.jars("60 mL") == (JarStock(0.06),)
    assert quantities.jars("60 mL, 2 x 1/2 L") == (JarStock(0.06), JarStock(0.5, 2))


def test_numbers() -> None:
    assert quantities.numbers("2-9,11") == (2, 3, 4, 5, 6, 7, 8, 9, 11)
    assert quantities.numbers("11, 2 – 4; 6 to 7") == (2, 3, 4, 6, 7, 11)


def test_portions_prices_and_counts() -> None:
    assert (
        quantities.portion("300 mL @ 72 %")
        == quantities.Portion(0.3, 72.0)
        == quantities.portion("300mL@72%")
    )
    assert (
        quantities.price_per_l("12 per L")
        == quantities.price_per_l("€12/L")
        == quantities.price_per_l("12 EUR per L")
        == 12
    )
    assert quantities.price_per_l("9 per 700 mL") == pytest.approx(9 / 0.7)
    assert quantities.price("0.80 €") == quantities.price(0.8) == quantities.price("$0.80") == 0.8
    assert quantities.count(2) == quantities.count("2") == 2
    assert quantities.count("1/2") == 0.5


def test_reading_units_loads_nothing_heavy() -> None:
    code = (
        "import sys; from potsim.interfaces import quantities as q; q.volume_l('1 L'); q.abv('62 %');"
        "print([m for m in ('numpy', 'scipy', 'thermo', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
