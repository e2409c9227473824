"""Trial files: read, and the next trial made of them, written and read again."""

from __future__ import annotations

import datetime
import tempfile
import zlib
from pathlib import Path

from potsim.data import read_text
from potsim.errors import PotsimError
from potsim.interfaces.planfile import read_plan
from potsim.interfaces.trialfile import next_text, read_trial
from potsim.planning.next_trial import next_trial
from tests.fuzz.checks import says_something
from tests.fuzz.target import Target

TASTED = """
[result]
date = 2026-03-01
collected = "640 mL"
pot_left = "1.1 L"
pot_left_abv = "6 %"
bottled = 3
clouded_at = "38 %"
clouded_at_c = "8 °C"
words = "soft, a little green"
[[note]]
botanical = "juniper"
verdict = "a touch less"
tasted_in = "2-5"
[[note]]
botanical = "coriander seed"
verdict = "drop"
"""
WORDS = (
    "more",
    "less",
    "much more",
    "a touch more",
    "keep",
    "stream_hazy_at",
    "tasted_in",
    "cloud_shift",
    "oil_factor",
)
MADE_EVERY = 10  # of those read, of one in so many the next trial is made
_path = Path(tempfile.mkdtemp(prefix="potsim-fuzz-")) / "trial-1.toml"


def attempt(data: bytes) -> str:
    """Try one trial file."""
    _path.write_bytes(data)
    try:
        file = read_trial(_path)
    except PotsimError as error:
        says_something(error)
        return "not read"
    if zlib.crc32(data) % MADE_EVERY:
        return "read"
    try:
        made = next_trial(file.trial)
        text = next_text(file, made, _path.parent, datetime.date(2026, 3, 2))
    except PotsimError as error:
        says_something(error)
        return "no next"
    assert read_plan(text) == made.plan, "written and read again it is another plan"
    return "next"


TARGET = Target(
    "trial",
    [f'parent = "trial-0.toml"\n{read_text("example_plan.toml")}{TASTED}'.encode()],
    WORDS,
    attempt,
)
