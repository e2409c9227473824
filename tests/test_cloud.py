"""The cloud of a run, and how it is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

import potsim
from potsim.interfaces.plots import figure_of_run
from potsim.liquid.clouding import ClearLimit, Verdict
from potsim.planning.bill import BotanicalDose
from potsim.planning.cloud import Cloud, Remedy, sentences
from potsim.planning.plan import Bottling


def a_cloud(limit: ClearLimit, verdict: Verdict | None, *remedies: Remedy) -> Cloud:
    return Cloud(None, None, False, limit, verdict, 100.0, remedies)


BLAMED = {"alpha_pinene": 0.62, "limonene": 0.3, "linalool": 0.08}
NEVER = ClearLimit("always clear", 0.0, 0.0, 0.0, {})
AT_WORST = ClearLimit("always clear", 0.0, 0.0, 19.2, {"limonene": 1.0})
BETWEEN = ClearLimit("clouds below", 37.3, 31.8, 43.1, BLAMED)
FULL = ClearLimit("always cloudy", 100.0, 95.0, 100.0, {"limonene": 1.0})


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (NEVER, "its oil stays clear however far it is let down, near 20 °C."),
        (
            AT_WORST,
            "its oil stays clear however far it is let down (at worst down to 19 % vol), near 20 °C.",
        ),
        (BETWEEN, "its oil stays clear down to about 37 % vol (32 to 43), near 20 °C."),
        (FULL, "its oil does not stay clear even in pure alcohol, near 20 °C."),
    ],
)
def test_the_limit_in_words(limit: ClearLimit, words: str) -> None:
    assert sentences(a_cloud(limit, None), None)[1] == f"The keep when it is let down: {words}"
    assert sentences(a_cloud(limit, "clear"), 50.0)[1] == f"The bottle is clear at 50 % vol: {words}"


def test_a_cloud_names_what_is_to_blame_and_what_would_help() -> None:
    remedies = (Remedy("Halve the juniper", 30.6), Remedy("Leave out the last jar kept", 0.2))
    said = sentences(a_cloud(BETWEEN, "may cloud", *remedies), 42.0)
    assert said[1].startswith("The bottle may cloud at 42 % vol: ")
    assert said[2:] == (
        "Mostly to blame: alpha-pinene (62 %) and limonene (d-) (30 %).",
        "Halve the juniper: clear down to about 31 % vol.",
        "Leave out the last jar kept: clear however far it is let down.",
    )


def test_the_cloud_stands_in_words_under_the_picture() -> None:
    plan = potsim.example_plan()
    heavy = replace(plan, botanicals=(BotanicalDose("juniper", mass_g=120.0, prepared="ground"),))
    for run, words in (
        (potsim.distil(plan), "The bottle is clear at 42 % vol"),
        (potsim.distil(replace(plan, bottling=Bottling())), "The keep when it is let down"),
        (potsim.distil(heavy), "cloud at 42 % vol"),
    ):
        assert words in " ".join(figure_of_run(run).get_supxlabel().split())
