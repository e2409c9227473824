"""What DEVELOPERS.md says is enough to add something, done in a copy of the package and walked through it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import potsim

PACKAGE = Path(potsim.__file__).parent
STOP = """\
    # temperature of the boiling pot rises to this [°C]
    pot_c: float | None = key(
        *(TEMPERATURE, 50, 105),
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
from potsim.interfaces.page import told
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
tables = {table["table"]: table for section in told.schema() for table in section["tables"]}
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


def walk(tmp_path: Path, program: str) -> dict[str, Any]:
    """What a program prints that runs with the copy of the package."""
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package."""
    return Path(shutil.copytree(PACKAGE, tmp_path / "potsim", ignore=shutil.ignore_patterns("__pycache__")))


def test_a_stop_is_a_declaration_and_its_words(tmp_path: Path, copy: Path) -> None:
    insert(copy / "planning" / "plan.py", "    # the stream turns cloudy\n", STOP)
    insert(copy / "interfaces" / "report" / "words.py", '    "faded": "all that leads', WORDS)
    made = walk(tmp_path, WALK)
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


NUMBER = '''\
    @property
    def pace_l(self) -> float:
        """Keep for each minute of the run [L at 20 °C]."""
        return self.keep.volume_l / self.stop.elapsed_min

'''
SHOWN = """\
import json, potsim
from potsim.interfaces.report.sheet import content
from potsim.interfaces.page.answers import answer
from potsim.interfaces.planfile import tables_of
from potsim.interfaces.report.run import text_of_run
from potsim.interfaces.wording import format_volume

run = potsim.distil(potsim.example_plan())
print(json.dumps({
    "size": run.keep.volume_l / run.stop.elapsed_min,
    "shown": format_volume(run.keep.volume_l / run.stop.elapsed_min),
    "json": run.to_dict()["pace_l"],
    "text": text_of_run(run),
    "sheet": content(run, "report", "html"),
    "page": answer({"plan": tables_of(run.plan)})["rows"]["cuts"],
}))
"""


def test_a_number_is_a_property_and_a_line_on_each_face(tmp_path: Path, copy: Path) -> None:
    insert(copy / "planning" / "run.py", "    @property\n    def stop(self)", NUMBER)
    insert(copy / "planning" / "run.py", '"first_drop_min", "faded_l"', '"pace_l", ')
    report = copy / "interfaces" / "report"
    insert(report / "run.py", '        ("condenser", f"has', '        ("pace", format_volume(run.pace_l)),\n')
    insert(report / "underway.py", "heads {format_volume(run.setting", "{format_volume(run.pace_l)}, ")
    made = walk(tmp_path, SHOWN)
    assert made["json"] == made["size"]
    for face in ("text", "sheet", "page"):
        assert made["shown"] in made[face], face


COMPOUND = {
    "compounds.csv": "nerol,",
    "compound_volatility.csv": "nerol,",
    "cosolvency.csv": "nerol,",
}
HELD = "juniper,made_up,1,2,3,oil,made for this test,from memory\n"
FOLLOWED = """\
import json, potsim
from potsim.interfaces.report.run import text_of_run
from potsim.planning.sweep import sweep

plan = potsim.example_plan()
run = potsim.distil(plan)
(juniper,) = [one for one in run.flavours if one.botanical_id == "juniper"]
(made_up,) = [one for one in juniper.compounds if one.compound_id == "made_up"]
seen = run.at(collected_l=0.2)
told = [{"time": f"{seen.elapsed_min} min", "collected": "200 mL", "strength": f"{seen.stream_abv} %"}]
print(json.dumps({
    "over": made_up.over_g,
    "klass": made_up.klass,
    "cloud": run.to_dict()["cloud"],
    "text": len(text_of_run(run)),
    "strengths": [row.run.keep.volume_l for row in sweep(plan, "charge.abv", [30.0]).rows],
    "follow": run.follow(told).over,
}))
"""


def test_a_compound_is_a_row_of_each_table(tmp_path: Path, copy: Path) -> None:
    for table, start in COMPOUND.items():
        file = copy / "data" / table
        (row,) = [line for line in file.read_text(encoding="utf-8").splitlines() if line.startswith(start)]
        with file.open("a", encoding="utf-8") as end:
            end.write(row.replace("nerol", "made_up") + "\n")
    with (copy / "data" / "composition.csv").open("a", encoding="utf-8") as end:
        end.write(HELD)
    made = walk(tmp_path, FOLLOWED)
    assert made["over"] > 0.0
    assert made["klass"] in ("early", "middle", "late")
    assert made["cloud"] is not None
    assert made["follow"] is False


def test_the_starter_shows_every_key() -> None:
    from potsim.data import read_text
    from potsim.planning.plan import TABLES

    starter = read_text("starter_plan.toml")
    hidden = {"heads_share"}  # the other form of heads
    for table, of in TABLES.items():
        for name in of.keys:
            assert name in hidden or f"{name} = " in starter, f"{table}.{name}"
