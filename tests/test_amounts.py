"""Amounts as people say them, botanicals that are like another, and the units that answers are told in."""

from __future__ import annotations

import pytest
from refusals import Record, refused

import potsim
from potsim.interfaces.planfile import is_water
from potsim.interfaces.plots.run import figure_of_run
from potsim.interfaces.quantities import Amount, amount, system_of
from potsim.interfaces.report.run import text_of_run
from potsim.interfaces.report.sheet import jar_sheet
from potsim.interfaces.wording import in_units, metric, plural, say
from potsim.liquid import strength
from potsim.planning.botanicals import kind_named

OUNCE_G = 28.349523125  # NIST Special Publication 811, Appendix B, exact
SAID = {
    "5 g": (5.0, "g"),
    "half an ounce": (OUNCE_G / 2.0, "g"),
    "1 lb": (16.0 * OUNCE_G, "g"),
    "2 berries": (2.0, "berries"),
    "a quarter": (0.25, ""),
    "1/4": (0.25, ""),
    "¾ pod": (0.75, "pod"),
    "1 1/2 sticks": (1.5, "sticks"),
    "one and a half sticks": (1.5, "sticks"),
    "0,5 star": (0.5, "star"),
    "half a lemon": (0.5, "lemon"),
    "a quarter of a vanilla pod": (0.25, "vanilla pod"),
    "two dozen berries": (24.0, "berries"),
    "2 dozen berries": (24.0, "berries"),
    "ein halber Stern": (0.5, "Stern"),
    "zwei Scheiben": (2.0, "Scheiben"),
}


@pytest.mark.parametrize("text", SAID)
def test_an_amount_is_read(text: str) -> None:
    size, of = amount(text)
    assert (size, of) == (pytest.approx(SAID[text][0], rel=1e-12), SAID[text][1])


@pytest.mark.parametrize("number", [0.25, 2])
def test_a_bare_number_is_an_amount(number: float) -> None:
    assert amount(number) == Amount(float(number), "")


@pytest.mark.parametrize(
    ("text", "allowed"),
    [("2 tsp", "what it weighs"), ("1 cup", "what it weighs"), ("-1 pod", "a mass, or a number of pieces")],
)
def test_an_amount_that_says_nothing_of_mass_is_refused(text: str, allowed: str) -> None:
    with refused("quantity", "", text, allowed):
        amount(text)


def plan(botanical: dict[str, object], **top: object) -> potsim.Plan:
    charge = [{"name": "vodka", "volume": "1 L", "abv": "50 %"}]
    return potsim.Plan.from_dict({**top, "charge": charge, "botanical": [botanical]})


COUNTED = [
    ("ginger", "3 slices", "fresh ginger", 9.0),
    ("ginger", "6 g", "fresh ginger", 6.0),
    ("cinnamon", "1/4 stick", "cassia bark", 1.25),
    ("cinnamon", "1 quill", "Ceylon cinnamon", 3.0),
    ("star anise", "half a star", "star anise", 0.6),
    ("cloves", "10 cloves", "clove", 0.8),
    ("bay", "3 leaves", "bay leaf", 0.6),
    ("Zitronenschale", "2 Streifen", "lemon peel", 4.0),
    ("vanilla", "a quarter", "vanilla bean", 0.75),
    ("juniper berries", "12", "juniper", 12 * 0.12),
    ("chiodi di garofano", "2", "clove", 2 * 0.08),
    # peel 45 % and seeds 2 % of a lemon, 58 g without (USDA National Nutrient Database, SR 28); of an orange
    # 27 % of both, 131 g without
    ("lemon", "half a lemon", "lemon peel", pytest.approx(0.5 * 58.0 * 0.45 / 0.53, rel=0.02)),
    ("lemon peel", "the peel of half a lemon", "lemon peel", 24.5),
    ("Zitronenschale", "Schale einer halben Zitrone", "lemon peel", 24.5),
    (
        "zeste d'orange",
        "zeste d'une orange",
        "sweet orange peel",
        pytest.approx(131.0 * 0.27 / 0.73, rel=0.02),
    ),
]


@pytest.mark.parametrize(("name", "said", "meant", "grams"), COUNTED)
def test_pieces_are_weighed_as_the_library_has_them(name: str, said: str, meant: str, grams: float) -> None:
    made = plan({"name": name, "amount": said})
    dose = potsim.distil(made).bill[0]
    assert (dose.botanical.common_name, dose.wet_mass_g) == (
        meant,
        pytest.approx(grams) if isinstance(grams, float) else grams,
    )
    assert potsim.Plan.from_text(made.to_text()) == made


@pytest.mark.parametrize(
    ("botanical", "why"),
    [
        (
            {"name": "cardamom", "amount": "2 stars"},
            ("other_piece", "botanical.0.amount", "stars", "pod"),
        ),
        (
            {"name": "lemon", "amount": "half a lime"},
            ("other_piece", "botanical.0.amount", "lime", "peel strip"),
        ),
        ({"name": "juniper", "amount": "a handful"}, ("other_piece", "botanical.0.amount")),
        ({"name": "juniper", "amount": "2 g", "mass": "2 g"}, ("conflict", "botanical.0.amount")),
        ({"name": "gale", "amount": "2 g"}, ("unknown_name", "botanical.0.name", "gale")),
        ({"name": "juniper", "amount": "2 g", "like": "sage"}, ("like_known", "botanical.0.like", "juniper")),
        ({"name": "yew", "amount": "2 g", "like": "juniper"}, ("dangerous", "botanical.0.like", "yew")),
    ],
)
def test_a_dose_that_cannot_be_meant_is_refused(botanical: dict[str, object], why: Record) -> None:
    with refused(*why):
        plan(botanical)


def test_a_botanical_like_another_has_its_oil_part_and_piece_and_says_so() -> None:
    made = plan({"name": "bog gale", "amount": "2 leaves", "like": "bay"})
    run, model = potsim.distil(made), potsim.distil(plan({"name": "bay", "amount": "2 leaves"}))
    assert run.bill[0].oil_g == model.bill[0].oil_g
    assert "bog gale: not in the library; oil, part and piece taken like those of bay leaf" in run.assumed
    assert potsim.Plan.from_text(made.to_text()) == made
    own = {"name": "bog gale", "like": "bay leaf", "oil_yield": "3 %"}
    described = plan({"name": "bog gale", "amount": "2 leaves"}, own_botanical=[own])
    assert potsim.distil(described).bill[0].oil_yield_pct.typical == 3.0
    assert potsim.Plan.from_text(described.to_text()) == described


def test_names_of_pieces_in_the_plural() -> None:
    assert [plural(p) for p in ("leaf", "berry", "piece of peel", "calyx")] == [
        *("leaves", "berries", "pieces of peel", "calyxes")
    ]


@pytest.mark.parametrize("name", ["Wasser", "eau", "agua destilada", "acqua", "água", "water", "l'eau"])
def test_water_is_water_in_every_kitchen(name: str) -> None:
    assert is_water(name)


@pytest.mark.parametrize("name", ["eau de vie", "Kirschwasser", "vodka"])
def test_spirit_is_no_water(name: str) -> None:
    assert not is_water(name)


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Korn", "neutral"), ("rhum", "pot rum"), ("orujo", "wine"), ("Obstler", "fruit"), ("ron", "pot rum")],
)
def test_spirits_in_the_words_of_other_kitchens(word: str, kind: str) -> None:
    assert kind_named(word) == kind


# --- The units of answers.


CUPS = """
[[charge]]
name = "vodka"
volume = "4 US cups"
abv = "100 proof"
[[botanical]]
name = "juniper"
amount = "0.5 oz"
[still]
room = "80 °F"
[bottling]
abv = "84 proof"
"""


def test_what_most_is_typed_in_is_what_answers_are_told_in() -> None:
    made = potsim.Plan.from_text(CUPS)
    assert made.units == "us"
    assert potsim.Plan.from_text(made.to_text()) == made
    assert potsim.Plan.from_text('units = "metric"\n' + CUPS).units == "metric"
    assert plan({"name": "juniper", "amount": "0.5 oz"}).units is None
    assert [system_of(text) for text in ("4 US cups", "250 mL", "62 %", "80 °F", "100 proof", "2 L")] == [
        *("us", "metric", None, "us", "us", "metric")
    ]


def test_the_card_of_cups_says_cups_and_millilitres_and_its_data_are_metric() -> None:
    run = potsim.distil(potsim.Plan.from_text(CUPS))
    said = str(run)
    assert "4 US cups (946 mL) at 100 proof (50.1 % vol)" in said
    assert "°C" not in said
    assert "°F" in said
    tables = text_of_run(run)
    assert "% vol" not in "".join(line for line in tables.splitlines() if "(" not in line)
    with in_units("us"):
        assert jar_sheet(run).count("proof") >= 3
    assert figure_of_run(run).axes[0].get_ylabel() == "stream, proof"
    data = run.to_dict()
    assert data["plan"]["units"] == "us"
    assert "US cups" not in str(data["notes"])
    # the hydrometer of a plan in proof is one for 60 °F
    assert data["proofing"]["calibrated_c"] == pytest.approx(strength.US_REFERENCE_C)
    assert "At 80 °F a hydrometer for 60 °F shows" in str(run.to_dict()["notes"]) or "°C" in str(
        data["notes"]
    )


def test_a_volume_is_told_in_both_systems() -> None:
    assert metric("volume", 0.25) == say("volume", 0.25) == "250 mL"
    with in_units("us"):
        # 231 cubic inches are a gallon of 16 cups, 128 fluid ounces: NIST Special Publication 811
        assert say("volume", 0.231 * 16.387064 / 16.0) == "1 US cup (237 mL)"
        assert say("volume", 0.0295735295625) == "1 US fl oz (30 mL)"
        assert say("temperature", 100.0) == "212 °F"
        assert metric("volume", 0.25) == "250 mL"


# --- Readings in proof, against the tables of the gauging manual: 27 CFR 30.23, whose example prints what
# Table 1 has at 192 and 193 proof; read in search excerpts of the regulation, not in the table itself.


@pytest.mark.parametrize(
    ("shown", "t_f", "true"),
    [(193.0, 72.0, 190.2), (192.0, 72.0, 189.1), (192.0, 73.0, 188.9), (193.0, 75.0, 189.5)],
)
def test_a_proof_hydrometer_is_one_for_60_f(shown: float, t_f: float, true: float) -> None:
    abv = strength.true_abv(shown / 2.0, (t_f - 32.0) / 1.8, calibrated_c=strength.US_REFERENCE_C)
    assert float(strength.proof_from_abv(abv)) == pytest.approx(true, abs=0.1)  # printed to 0.1


def test_proof_gauges_a_reading_alone_a_weight_and_a_litre(say) -> None:
    assert "is            143 proof (71.5 % vol), at 20 °C" in say("proof", "150 proof", "--at", "80 °F").out
    weighed, litre = say("proof", "930 g", "72 %", "42 %").out, say("proof", "72 %", "42 %").out
    assert "1.06 L at 72.0 % vol" in weighed
    assert "1 L at 72.0 % vol" in litre
    marked = say("proof", "72 %", "--at", "20 °C", "--hydrometer", "60 °F").out
    assert "on a hydrometer for 60 °F" in marked
    assert "--steps needs a TARGET" in say("proof", "72 %", "--steps", "2").err
