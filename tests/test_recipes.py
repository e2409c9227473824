"""What DEVELOPERS.md says is enough to add something, done in a copy of the package and walked through it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import potsim

PACKAGE = Path(potsim.__file__).parent
STOP = """\
    # temperature of the boiling pot rises to this [°C]
    pot_c: float | None = key(
        *(schema.TEMPERATURE, 50, 105),
        default=None,
        example="93 °C",
        label="the pot boils at",
        vary=True,
        watch=Watch("pot_c", True),
    )
"""
WORDS = """\
    "pot_c": "the pot has risen to {value:temperature}",
"""
WALK = """\
import dataclasses, json
import potsim
from potsim.interfaces.page import form
from potsim.interfaces.planfile import read_plan, write_plan
from potsim.planning.blends import blend_trials
from potsim.planning.forecast import Follower
from potsim.planning.plan import Cuts, Stop
from potsim.planning.readings import Entry, next_reading
from potsim.planning.sweep import scaled, sweep
from potsim.planning.trials import Trial

example = dataclasses.replace(potsim.example_plan(), botanicals=())
plan = read_plan(write_plan(dataclasses.replace(example, cuts=Cuts(stop=Stop(pot_c=90.0)))))
run = potsim.distil(plan)
seen = run.at(collected_l=0.2)
reading = next_reading([], Entry(elapsed_min=seen.elapsed_min, collected_l=0.2, read_abv=seen.stream_abv))
later = dataclasses.replace(plan, cuts=Cuts(stop=Stop(pot_c=92.0)))
blend = blend_trials([Trial("a", plan), Trial("b", later)], [1.0, 1.0])
followed = Follower(run, 0.0).update([reading])
tables = {table["table"]: table for section in form.schema() for table in section["tables"]}
form_keys = {field["key"]: field for field in tables["cuts.stop"]["fields"]}
varied = [row for row in sweep(plan, "cuts.stop.pot_c", [88.0, 91.0]).rows if not row.planned]
try:
    read_plan(write_plan(plan).replace("90 °C", "190 °C"), "bad.toml")
except potsim.RequestError as error:
    refusal = str(error)
print(json.dumps({
    "run": [run.end.reason, run.stop.pot_c, run.end.words],
    "strengths": [row.run.stop.pot_c for row in varied],
    "follow": [followed.stop_reason, followed.stop_l.value, run.stop.collected_l],
    "blend": blend.plan.cuts.stop.pot_c,
    "scaled": scaled(plan, 3.0).cuts.stop.pot_c,
    "form": [form_keys["pot_c"]["label"], form_keys["pot_c"]["high"], form_keys["pot_c"]["kind"]],
    "refusal": refusal,
}))
"""


def insert(file: Path, before: str, new: str) -> None:
    """Put lines into a file before others that stand there once."""
    text = file.read_text(encoding="utf-8")
    assert text.count(before) == 1
    file.write_text(text.replace(before, new + before), encoding="utf-8")


def test_a_stop_is_a_declaration_and_its_words(tmp_path) -> None:
    copy = tmp_path / "potsim"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    insert(copy / "planning" / "plan.py", "    # the stream turns cloudy\n", STOP)
    insert(copy / "interfaces" / "report" / "words.py", '    "faded": "all that leads', WORDS)
    done = subprocess.run(
        [sys.executable, "-c", WALK],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    made = json.loads(done.stdout)
    assert made["run"][0] == "pot_c"
    assert abs(made["run"][1] - 90.0) < 1e-6
    assert made["run"][2].startswith("the pot has risen to 90")
    assert all(abs(at - wanted) < 1e-6 for at, wanted in zip(made["strengths"], [88.0, 91.0], strict=True))
    assert made["follow"][0] == "pot_c"
    assert abs(made["follow"][1] - made["follow"][2]) < 2e-3
    assert 90.0 < made["blend"] < 92.0
    assert made["scaled"] == 90.0
    assert made["form"] == ["the pot boils at", 105, "temperature"]
    assert "[cuts] stop pot_c is 190 °C; allowed is at least 50 and at most 105 °C." in made["refusal"]


def test_the_starter_shows_every_key() -> None:
    from potsim.data import read_text
    from potsim.planning.plan import TABLES

    starter = read_text("starter_plan.toml")
    hidden = {"heads_share"}  # the other form of heads
    for table, of in TABLES.items():
        for name in of.keys:
            assert name in hidden or f"{name} = " in starter, f"{table}.{name}"
