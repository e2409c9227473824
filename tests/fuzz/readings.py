"""Files of readings: read, and a few of them followed."""

from __future__ import annotations

import tempfile
from pathlib import Path

import potsim
from potsim.errors import PotsimError
from potsim.interfaces.readingsfile import load_readings
from potsim.planning.forecast import follow
from tests.fuzz.checks import says_something
from tests.fuzz.target import Target

SEEDS = (
    "collected (mL),strength (%),read at\n100,79,24 °C\n220,77,24 °C\n410,75,23 °C\n",
    "clock;collected;strength;vapour;pot;note\n9:10;0 mL;;83,0 °C;86 °C;first drop\n"
    "9:20;120 mL;79,5 %;83,3 °C;86 °C;\n9:31;260 mL;78,2 %;83,9 °C;87 °C;a little faster\n",
    "# jars one by one\nminutes\tjar volume\tabv\tof\n12\t60 mL\t79\tjar\n14.5\t60 mL\t78.6\tjar\n"
    "18\t60 mL\t78\tjar\n",
    "sep=;\ntime (min);mass (g);parrot (mL);strength (proof);power (W)\n10;40;60;156;700\n15;120;;154;700\n",
    "collected,strength,read at,vapour temperature\n0.1 L,79.2 %,60 °F,182 °F\n0.25 L,78 %,60 °F,183 °F\n",
    "elapsed (h:min),jar mass (g),strength (% vol),pot temperature (°C)\n\n0:10,48,79,86\n0:14,47,78,87\n",
)
WORDS = (
    *("time", "minute", "collected", "strength", "read at", "of", "jar", "stream", "parrot", "note", "power"),
    *("°F", "mL", "fl oz", "proof", "23:59", "0:00", "1 h 5 min", "60 mL", "jar volume", "mass (g)", "sep=;"),
)
EVERY = 20  # of those read, one in so many is followed
_path = Path(tempfile.mkdtemp(prefix="potsim-fuzz-")) / "readings.csv"
_run = potsim.distil(potsim.example_plan())
_read = [0]


def attempt(data: bytes) -> str:
    """Try one file of readings."""
    _path.write_bytes(data)
    try:
        found = load_readings(_path)
    except PotsimError as error:
        says_something(error)
        return "not read"
    numbers = [reading.abv for reading in found.readings if reading.abv is not None]
    assert all(0.0 <= abv <= 97.5 for abv in numbers), f"strengths {numbers}"
    _read[0] += 1
    if _read[0] % EVERY or len(found.readings) > 30:
        return "read"
    try:
        seen = follow(_run, found.readings)
    except PotsimError as error:
        says_something(error)
        return "not followed"
    for band in (seen.to_come_l, seen.to_come_min, seen.stop_l, seen.stop_min, seen.stream_abv):
        assert abs(band.value) < 1e9, f"{band}"  # true of no nan
    return "followed"


TARGET = Target("readings", [text.encode() for text in SEEDS], WORDS, attempt)
