"""The sheet of a run: what stands on it, and that it can be written on."""

from __future__ import annotations

from pathlib import Path

import potsim

ANEW = """
title = "Left-overs"
[[charge]]
from_run = "quince.toml"
jars = "1,6-7"
[[charge]]
name = "quince spirit"
volume = "1 L"
abv = "55 %"
"""


def test_oils_of_left_over_jars_are_said_not_to_be_followed(say, tmp_path: Path) -> None:
    (tmp_path / "anew.toml").write_text(ANEW, encoding="utf-8")
    words = "Oils that left-over jars bring into the charge are not followed."
    assert words in say("run", "anew.toml").out
    assert words in potsim.distil(potsim.load_plan(tmp_path / "anew.toml")).assumed
    assert words not in say("run", "quince.toml").out
