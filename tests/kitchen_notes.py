"""Forty plans as people write them down in a kitchen: several units, languages, slips. Invented data."""

from __future__ import annotations

from typing import NamedTuple


class Note(NamedTuple):
    """One kitchen note."""

    name: str
    charge: str  # volume, strength and name with bars between, rows with semicolons
    bill: str  # amount and name in the same way
    rest: str = ""  # TOML of the other tables
    mended: tuple[tuple[str, str], ...] = ()  # slips: what stands there, and what should


NOTES = (
    Note("plain", "0.9 L | 62 % | apple spirit; 0.6 L | water", "14 g | juniper"),
    Note("ginger by the slice", "1 L | 50 % | vodka; 300 mL | water", "12 g | juniper; 3 slices | ginger"),
    Note("orange", "1.2 L | 45 % | vodka", "10 g | juniper; 2 strips | orange peel"),
    Note(
        "pods and a star",
        "1 L | 55 % | neutral spirit; 0.4 L | water",
        "15 g | juniper; 4 pods | cardamom; 1 star | star anise",
    ),
    Note("half a star", "700 mL | 60 % | vodka; 300 mL | water", "8 g | juniper; 0.5 star | star anise"),
    Note("a quarter stick", "750 mL | 50 % | vodka", "9 g | juniper; 1/4 stick | cinnamon"),
    Note("a leaf", "0.7 L | 43 % | rum", "a leaf | bay; 5 g | coriander"),
    Note("half a pod", "0.7 L | 45 % | rum; 100 mL | water", "half a pod | vanilla; 2 g | allspice"),
    Note("Wacholder", "1 L | 60 % | Korn; 0,4 L | Wasser", "16 g | Wacholderbeeren; 5 g | Koriandersamen"),
    Note(
        "Ingwer frisch", "1 L | 52 % | vodka; 0.2 L | Wasser", "12 g | Wacholder; 6 g | Ingwer; 1 g | Kümmel"
    ),
    Note("Zitronenschale", "800 mL | 50 % | vodka", "10 g | Wacholder; 2 strips | Zitronenschale"),
    Note(
        "genièvre", "1 L | 60 % | eau de vie; 0.5 L | eau", "14 g | genièvre; 4 g | coriandre; 1 g | réglisse"
    ),
    Note("zestes", "1 L | 48 % | vodka", "9 g | baies de genièvre; 2 strips | zeste de citron; 1 g | poivre"),
    Note(
        "enebro",
        "900 mL | 55 % | aguardiente; 300 mL | agua",
        "12 g | enebro; 1 stick | canela; 3 g | cilantro",
    ),
    Note("naranja", "1 L | 45 % | vodka", "11 g | bayas de enebro; 3 g | cáscara de naranja amarga"),
    Note(
        "ginepro",
        "1 L | 60 % | grappa; 0.4 L | acqua",
        "13 g | ginepro; 4 g | coriandolo; 2 | chiodi di garofano",
    ),
    Note(
        "zimbro", "1 L | 50 % | vodka; 200 mL | água", "12 g | zimbro; 3 g | coentro; 0.5 g | pimenta preta"
    ),
    Note(
        "American cups",
        "4 US cups | 100 proof | vodka; 1 US cup | water",
        "0.5 oz | juniper; 0.2 oz | coriander",
    ),
    Note("bare cup", "4 cups | 100 proof | vodka", "0.5 oz | juniper", "", (("4 cups", "4 US cups"),)),
    Note(
        "bare gallon", "0.5 gallon | 90 proof | vodka", "1 oz | juniper", "", (("0.5 gallon", "0.5 US gal"),)
    ),
    Note(
        "quart", "1 US qt | 100 proof | vodka; 8 US fl oz | water", "0.6 oz | juniper; 2 strips | lemon peel"
    ),
    Note(
        "Fahrenheit room", "1 L | 50 % | vodka", "12 g | juniper", '[still]\nroom = "68 °F"\npower = "600 W"'
    ),
    Note("altitude in feet", "1 L | 50 % | vodka", "12 g | juniper", '[still]\naltitude = "3000 ft"'),
    Note("a pint", "2 UK pt | 50 % | vodka", "20 g | juniper; 3 sprigs | rosemary"),
    Note(
        "two slips",
        "1 L | 50 | vodka; 300 mL | water",
        "12 | juniper; 4 g | coriander",
        "",
        (("50 | vodka", "50 % | vodka"), ("12 | juniper", "12 g | juniper")),
    ),
    Note(
        "three slips",
        "1 L | 140 % | vodka; 0.3 | water",
        "12 g | junipr",
        "",
        (("140 %", "40 %"), ("0.3 | water", "0.3 L | water"), ("junipr", "juniper")),
    ),
    Note(
        "misspelt key",
        "1 L | 50 % | vodka",
        "12 g | juniper",
        '[cuts]\nhead = "30 mL"',
        (("head =", "heads ="),),
    ),
    Note("comma in a mass", "1 L | 50 % | vodka", "12,5 g | juniper"),
    Note(
        "too many slips",
        "1 L | 50 | vodka; 0.2 | water",
        "12 g | junper; 3 g | corriander sead",
        '[bottling]\nabv = "420 %"',
        (
            ("50 | vodka", "50 % | vodka"),
            ("0.2 | water", "0.2 L | water"),
            ("junper", "juniper"),
            ("corriander sead", "coriander seed"),
            ("420 %", "42 %"),
        ),
    ),
    Note(
        "stop by strength",
        "1 L | 45 % | vodka",
        "10 g | juniper",
        '[cuts]\nheads = "20 mL"\nstop = { stream_abv = "55 %" }',
    ),
    Note(
        "stop without a unit",
        "1 L | 45 % | vodka",
        "10 g | juniper",
        "[cuts]\nstop = { stream_abv = 55 }",
        (("stream_abv = 55", 'stream_abv = "55 %"'),),
    ),
    Note(
        "bottles",
        "2 L | 50 % | vodka",
        "20 g | juniper; 6 g | coriander",
        '[bottling]\nabv = "42 %"\nbottle = "350 mL"',
    ),
    Note("mint", "0.7 L | 45 % | vodka", "3 sprigs | mint; 2 strips | lime peel"),
    Note(
        "pepper and cloves", "1 L | 50 % | vodka", "12 g | juniper; 10 peppercorns | pepper; 2 buds | clove"
    ),
    Note(
        "hours",
        "1 L | 50 % | vodka",
        "12 g | juniper",
        '[still]\npower = "500 W"\n[cuts]\nstop = { elapsed = "1 h 10 min" }',
        (("1 h 10 min", "50 min"),),
    ),
    Note("berries counted", "0.7 L | 45 % | vodka", "40 berries | juniper; 2 berries | allspice"),
    Note("whisky base", "0.7 L | 43 % | whisky", "3 g | cacao nibs; 1 pod | vanilla"),
    Note(
        "water only by name",
        "0.5 L | 96 % | neutral alcohol; 0.7 L | water",
        "14 g | juniper; 1 g | angelica root",
    ),
    Note("jars", "1.5 L | 45 % | vodka", "14 g | juniper", '[jars]\nsizes = "12 x 60 mL, 4 x 250 mL"'),
    Note("elder", "1 L | 45 % | vodka", "10 g | juniper; 5 g | elder", "", (("| elder", "| elderflower"),)),
)


def text_of(note: Note) -> str:
    """Return the note as a plan file, slips included."""
    lines = [f'title = "{note.name}"']
    for row in note.charge.split(";"):
        volume, *strength, name = (part.strip() for part in row.split("|"))
        lines += ["", "[[charge]]", f'name = "{name}"', f'volume = "{volume}"']
        lines += [f'abv = "{strength[0]}"'] if strength else []
        lines += [f'kind = "{name}"'] if name in KINDS else []
    for row in note.bill.split(";"):
        amount, name = (part.strip() for part in row.split("|"))
        lines += ["", "[[botanical]]", f'name = "{name}"', f'amount = "{amount}"']
    return "\n".join([*lines, "", note.rest, ""])


KINDS = ("rum", "vodka", "Korn", "grappa", "aguardiente de orujo", "whisky")


def mended(note: Note) -> str:
    """Return the note as a plan file once every slip is put right."""
    for slip, right in note.mended:
        fields = {name: getattr(note, name).replace(slip, right) for name in ("charge", "bill", "rest")}
        note = note._replace(**fields)
    return text_of(note)
