"""The words of refusals, notes and hints, here and nowhere else; other tests look at kinds and numbers."""

from __future__ import annotations

import json
import string
from dataclasses import replace
from pathlib import Path

import pytest

import potsim
from potsim.interfaces.report.words import STOPS, WORDS, words
from potsim.interfaces.wording import METRIC, say
from potsim.planning.jars import TOO_SMALL
from potsim.planning.next_trial import to_charge
from potsim.planning.notes import EVERY_RUN, Note, caution, danger, hint
from potsim.planning.plan import JarPlan, JarStock, Plan, Stop
from potsim.planning.schema import keys_of

# --- Notes


@pytest.mark.parametrize("subject", ["law", "fire", "attendance", "cooling", "forecast"])
def test_what_is_said_with_every_run(subject: str, bare: Plan) -> None:
    (note,) = (
        note for note in potsim.distil(bare).notes if (note.kind, note.subject) == (EVERY_RUN, subject)
    )
    assert words(note).endswith(".")


MUCH = {"state": "dried", "usual_low_g_per_l": 0.02, "usual_high_g_per_l": 0.3, "source": "from memory"}
STRONG = {"lights_c": 23.4, "usual_abv": 40.0}
FEW = {"number": 3, "full_l": 0.23, "full_min": 17.2, "left_over_l": 0.8, "left_over_abv": 70.0}
STRIP = {"pieces": 2, "piece": "strip", "mass_g": 2.0, "state": "fresh", "source": "kitchen"}
ROW = [{"size_l": 0.06, "count": 4}, {"size_l": 1.5, "count": 2}]
SCALE = {"step_g": 0.01, "most_off": 0.02}
PLACE = {"collected_l": 0.22, "mass_g": None, "elapsed_min": None, "read_of": "stream", "number": 1}
NOTES = [
    (
        caution("fill", boiling_l=3.3333, fill=0.8333, most_fill=0.75),
        "Fill: the boiling charge takes 3.33 L, 83 % of the pot; at most 75 % leaves room for foam (common "
        "practice, no source).",
    ),
    (
        danger("strong_charge", abv=55.0, usual_botanicals_abv=None, **STRONG),
        "Charge of 55 % vol: its vapour lights at 23 °C (from IEC 60079-20-1). Usual are at most 40 % in a "
        "small still (common practice, no source).",
    ),
    (
        danger("strong_charge", abv=90.0, usual_botanicals_abv=60.0, **STRONG),
        "Charge of 90 % vol: its vapour lights at 23 °C (from IEC 60079-20-1). Usual are at most 40 % in a "
        "small still, 60 % with botanicals (common practice, no source).",
    ),
    (
        caution("early_end", least_level_l=0.5),
        "Switch off before the planned stop: the pot is down to its least level of 500 mL. Charge more to "
        "get to the stop.",
    ),
    (
        caution("dose", "clove", g_per_l=50.0, **MUCH),
        "clove: 50 g per litre of charge (dried) is much more than usual, 0.02 to 0.3 g/L (from memory).",
    ),
    (
        caution("dose", "clove", g_per_l=0.001, **MUCH),
        "clove: 0.001 g per litre of charge (dried) is much less than usual, 0.02 to 0.3 g/L (from memory).",
    ),
    (
        danger("limit", "thujone", mg_per_kg=20.4, limit_mg_per_kg=10.0, source="a regulation"),
        "thujone: about 20 mg/kg in the drink is over the limit of 10 mg/kg (a regulation).",
    ),
    (hint("assumed_capacity", capacity_l=3.4, fill=0.7), "Pot of 3.4 L, 70 % full: no capacity given."),
    (hint("assumed_power", power_w=1020.0, capacity_l=3.4), "Power 1.02 kW, for a pot of 3.4 L: none given."),
    (
        hint("assumed_loss", "still.neck_loss", w_per_k=0.6, reference_l=4.0, built_of=None),
        "Neck sheds 0.6 W/K, scaled from a 4 L still: no neck_loss given.",
    ),
    (
        hint("assumed_loss", "still.pot_loss", w_per_k=1.0, reference_l=4.0, built_of=None),
        "Pot sheds 1 W/K, scaled from a 4 L still: no pot_loss given.",
    ),
    (
        hint("assumed_loss", "still.neck_loss", w_per_k=0.6, reference_l=4.0, built_of="copper"),
        "Neck sheds 0.6 W/K, lid and the wall above the liquid of a bare copper pot this size: no neck_loss "
        "given.",
    ),
    (hint("assumed_room", room_c=20.0), "Room at 20 °C: none given."),
    (
        hint("assumed_pressure", pressure_hpa=1013.25),
        "At sea level, 1013 hPa: no altitude or pressure given.",
    ),
    (hint("assumed_stop", share=0.9), "Stop when 90 % of the alcohol is over: no stop given."),
    (
        hint("assumed_stop_of_water", collected_l=0.5, share=0.2),
        "Stop at 500 mL, 20 % of the water: no stop given.",
    ),
    (
        hint("assumed_last_stop", share=0.9),
        "Stop when 90 % of the alcohol is over if no cloud comes before.",
    ),
    (hint("power_step_unused", from_l=1.5), "The power step at 1.5 L never comes."),
    (
        hint("taken_as", "juniper", state="dried", prepared="whole"),
        "juniper: taken dried and whole, not said otherwise",
    ),
    (
        hint("taken_as", "juniper", state=None, prepared="whole"),
        "juniper: taken whole, not said otherwise",
    ),
    (hint("piece", "lemon peel", **STRIP), "lemon peel: 2 x strip taken as 2 g each, fresh: kitchen"),
    (
        hint("fresh_water", "lemon peel", share=0.816, source="a table"),
        "lemon peel: 82 % water when fresh: a table",
    ),
    (hint("jars_proposed", row=ROW), "No jars are named, so a row is proposed: 4 x 60 mL, 2 x 1.5 L."),
    (
        hint("jars_too_few", most_jars=500, **FEW),
        "The jars are too few: jar 3 is full at 230 mL collected and 17 min, and 800 mL at 70.0 % vol are "
        "left over. Have larger jars ready, or more of them, up to 500.",
    ),
    (
        hint("jar_at_cut", number=1, cut="heads", volume_l=0.03, size_l=0.06),
        "Change jar 1 at the heads cut, when it holds 30 mL of its 60 mL.",
    ),
    (
        hint("hot_room", room_c=45.0, at_c=20.0),
        "A room of 45 °C is too hot for proofing: cool spirit and water to 20 °C first.",
    ),
    (
        hint("reading_away", at_c=25.0, calibrated_c=20.0, reading_abv=41.93, abv=40.0),
        "At 25 °C a hydrometer for 20 °C shows 41.9 % vol, not 40.0 % vol.",
    ),
    (
        hint("more_stays_behind", "cacao nibs"),
        "cacao nibs: more of it will not help much, it hardly distils and stays in the pot. Try it macerated "
        "in the spirit after the run.",
    ),
    (
        hint("more_stays_in_plant", "angelica root", share=0.7),
        "angelica root: 70 % of its oil stays in the plant. Crack, slice or grind it finer, or macerate it "
        "longer, rather than add more.",
    ),
    (
        hint("lost_by_cut", "fennel seed", where="after", share=0.92, half_l=1.32),
        "fennel seed: a cut, not the dose, loses it: 92 % of what comes over of it comes after the keep; let "
        "the keep last longer (half of what comes to the stop is over at 1.32 L) rather than add more.",
    ),
    (
        hint("lost_by_cut", "bay leaf", where="before", share=0.92, half_l=None),
        "bay leaf: a cut, not the dose, loses it: 92 % of what comes over of it comes before the keep; take "
        "less heads rather than add more.",
    ),
    (
        hint("lost_by_cut", "bay leaf", where="between", share=0.92, half_l=None),
        "bay leaf: a cut, not the dose, loses it: 92 % of what comes over of it comes in jars that are left "
        "out; pool those jars too rather than add more.",
    ),
]


@pytest.mark.parametrize(
    ("note", "said"), NOTES, ids=[f"{note.kind}-{k}" for k, (note, _) in enumerate(NOTES)]
)
def test_a_note_in_words(note: Note, said: str) -> None:
    assert words(note) == said


def test_templates_name_ways_of_telling_that_there_are() -> None:
    """A way of telling in words of ours must be in the table of formats; the rest is Python's."""
    ways = {
        spec
        for said in WORDS.values()
        if isinstance(said, str)
        for _, _, spec, _ in string.Formatter().parse(said)
    }
    assert {spec for spec in ways if spec and len(spec) > 3} <= set(METRIC)


FIREWEED = """
[[charge]]
name = "spirit"
volume = "1 L"
abv = "40 %"

[[botanical]]
name = "Fireweed"
mass = "60 g"

[[own_botanical]]
name = "Fireweed"
category = "leaf"
oil_yield = "1 %"
usual_dose_per_l = ["1 g", "5 g"]
"""


def test_a_caution_is_one_by_its_severity_whatever_its_first_word(say, tmp_path: Path) -> None:
    """A botanical called as one of the usual cautions begins."""
    (tmp_path / "fireweed.toml").write_text(FIREWEED, encoding="utf-8")
    data = json.loads(say("run", "fireweed.toml", "--json").out)
    (note,) = (note for note in data["notes"] if note["subject"] == "Fireweed" and note["kind"] == "dose")
    assert note["severity"] == "caution"
    assert note["g_per_l"] == pytest.approx(60.0)
    assert note["words"] in data["cautions"]
    usual = [note["words"] for note in data["notes"] if note["kind"] == EVERY_RUN]
    assert data["cautions"][-len(usual) :] == usual
    assert note["words"] not in usual


@pytest.mark.parametrize(
    ("size_ml", "verb"), [(59.0, "does not"), (60.0, "may not"), (99.0, "may not"), (100.0, None)]
)
def test_a_small_jar_in_words(size_ml: float, verb: str | None, bare: Plan) -> None:
    jars = JarPlan(sizes=(JarStock(size_ml / 1000.0),))
    row = potsim.distil(replace(bare, jars=jars)).row
    said = [words(note) for note in row.notes if note.kind == TOO_SMALL]
    opening = f"A jar of {size_ml:.0f} mL {verb} float a hydrometer, which takes 60 to 100 mL"
    assert [text[: len(opening)] for text in said] == ([] if verb is None else [opening])


@pytest.mark.parametrize("room_c", [5.0, 35.0])
def test_what_a_scaled_neck_sheds_in_words(room_c: float, bare: Plan) -> None:
    """The share of the power: W/K by the degrees between vapour and room, over the power."""
    made = to_charge(replace(bare, still=replace(bare.still, room_c=room_c)), 25.0)
    before, after = (
        100.0 * s.neck_loss_w_per_k * (float(run.vapour_c[0]) - room_c) / s.power_w
        for run, s in ((made.before, made.before.plan.still), (made.after, made.after.plan.still))
        if s.neck_loss_w_per_k is not None and s.power_w is not None
    )
    neck = made.unscaled[0]
    assert (neck.values["share"], neck.values["share_before"]) == pytest.approx(
        (after / 100.0, before / 100.0)
    )
    told = (
        f" {say('share', after / 100.0)} instead of {say('share', before / 100.0)}; with it goes the reflux."
    )
    assert told in words(neck)


def test_every_stop_has_its_words() -> None:
    assert set(keys_of(Stop)) <= set(STOPS)
