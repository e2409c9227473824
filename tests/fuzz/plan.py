"""Plan files: read, run, told, written, read again."""

from __future__ import annotations

import tempfile
import zlib
from pathlib import Path

from potsim.data import read_text
from potsim.errors import PotsimError
from potsim.interfaces.planfile import load_plan, read_plan, write_plan
from potsim.interfaces.report.run import text_of_run
from potsim.planning.run import distil
from tests.fuzz.checks import plain, says_something
from tests.fuzz.target import Target

FULLER = b"""
title = "all that a plan can say"
parent = "other.toml"
[[charge]]
from_run = "other.toml"
jars = "2,4-5"
[[charge]]
name = "rum"
volume = "1 L"
abv = "140 proof"
kind = "pot rum"
price = "12.5 per L"
[[charge]]
name = "water"
volume = "2 US pints"
[still]
from_file = "other.toml"
power = "3 kW"
pressure = "700 hPa"
pot_mass = "2 kg"
pot_metal = "copper"
[[still.power_step]]
from_collected = "100 mL"
power = "300 W"
[[botanical]]
name = "sweet orange peel"
state = "dried"
pieces = 2
[[botanical]]
name = "star root"
mass = "1 oz"
prepared = "ground"
oil_yield = "3 %"
[[own_botanical]]
name = "star root"
category = "root"
oil_yield = "2 %"
composition = { limonene = "60 %", "own one" = "30 %" }
[[own_compound]]
name = "own one"
molar_mass = "86.13 g/mol"
groups = { "1" = 1, "2" = 3, "20" = 1 }
boils = "103 C"
[cuts]
heads = "1 %"
stop = { over = { "star root" = "90 %" }, pot_abv = "3 %", vapour_c = "97 C", recovered = "90 %" }
tails_from = { cloudy = true, elapsed = "2 h" }
[jars]
sizes = ["3 x 100 mL", "250 mL"]
keep = "2-3"
[bottling]
abv = "80 proof"
bottle = "0.7 L"
steps = 3
stretch = { spirit = "200 mL", abv = "96 %" }
bottle_price = 1
[uncertainty]
abv = "1 %"
room = "4 K"
[result]
date = 2025-03-01
collected = "640 mL"
[[note]]
botanical = "juniper"
verdict = "a touch less"
"""
WORDS = (
    *(
        "stream_abv",
        "pot_abv",
        "vapour_c",
        "collected",
        "recovered",
        "elapsed",
        "cloudy",
        "over",
        "tails_from",
    ),
    *("pressure", "pot_mass", "pot_metal", "copper", "basket", "ground", "kind", "rum", "price", "stretch"),
    *(
        "from_run",
        "from_file",
        "parent",
        "oil_yield",
        "own_botanical",
        "own_compound",
        "uncertainty",
        "steps",
    ),
)
RUN_EVERY, TOLD_EVERY = 3, 12  # of those read, one in so many is run, and is told in words
_folder = Path(tempfile.mkdtemp(prefix="potsim-fuzz-"))


def attempt(data: bytes) -> str:
    """Try one plan file."""
    (_folder / "other.toml").write_text(read_text("example_plan.toml"), encoding="utf-8")
    path = _folder / "plan.toml"
    path.write_bytes(data)
    try:
        plan = load_plan(path)
    except PotsimError as error:
        says_something(error)
        return "not read"
    try:
        again = read_plan(write_plan(plan))
    except PotsimError as error:
        says_something(error)
        return "not written"
    assert again == plan, "written and read again it is another plan"
    chance = zlib.crc32(data)
    if chance % RUN_EVERY:
        return "read"
    try:
        run = distil(plan)
        plain(run.to_dict())
        if chance % TOLD_EVERY == 0:
            text_of_run(run)
    except PotsimError as error:
        says_something(error)
        return "not run"
    return "run"


TARGET = Target(
    "plan",
    [read_text("example_plan.toml").encode(), read_text("starter_plan.toml").encode(), FULLER],
    WORDS,
    attempt,
)
