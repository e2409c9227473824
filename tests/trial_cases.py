"""What is written into a trial file after a run."""

from __future__ import annotations

from potsim.data import read_text

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
