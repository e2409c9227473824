"""Trials that have been tasted: as a file, and as the built-in example with what was thought of it."""

from __future__ import annotations

from dataclasses import replace

from potsim.data import read_text
from potsim.interfaces.planfile import example_plan
from potsim.planning.next_trial import next_trial
from potsim.planning.plan import Tasting
from potsim.planning.run import distil
from potsim.planning.trials import Trial

RESULT = """
# How it went.
[result]   # measured
date = 2025-03-01
collected = "1.1 L"   # in the jug
strength = "73 %"
jars_kept = "2-9"
bottled = "5 bottles"
words = \"\"\"
clean,
a little sweet\"\"\"
"""
NOTES = """
# Tasted by two.
[[note]]
botanical = "juniper"
verdict = "a touch more"
words = "quiet"
tasted_at = "20 %"   # with water

[[note]]
botanical = "lemon peel"
verdict = "less"

# The last one.
[[note]]
botanical = "black pepper"
verdict = "drop"   # at last
"""
TASTED = read_text("example_plan.toml") + RESULT + NOTES
"""The built-in example, run and tasted."""

PLAN = example_plan()
RUN = distil(PLAN)
FIRST = Trial("trial-1.toml", PLAN)
NOTED = replace(
    FIRST,
    notes=(
        Tasting("juniper berries", "a touch more", "quiet"),
        Tasting("lemon peel", "less"),
        Tasting("coriander", "right"),
        Tasting("fennel seed", "a lot more"),
        Tasting("black pepper", "drop", "burns"),
    ),
)
SECOND = Trial("trial-2.toml", next_trial(NOTED).plan, parent="trial-1.toml")
