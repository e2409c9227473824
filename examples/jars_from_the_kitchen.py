"""Jars from the kitchen: a dozen small ones and a few large ones, placed where they tell most."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim import JarPlan, JarStock

PICTURES = Path(__file__).with_name("pictures")

plan = potsim.example_plan()
owned = JarPlan(sizes=(JarStock(0.06, count=8), JarStock(0.125, count=3), JarStock(0.25, count=2)))
run = potsim.distil(replace(plan, jars=owned))

print(run.jars_frame()[["number", "role", "volume_l", "abv"]].round(3).to_string(index=False))
for note in run.notes:
    if note.subject.startswith("jars"):
        print("-", note)

ax = run.plot()
ax.figure.savefig(PICTURES / "jars_from_the_kitchen.png", dpi=110)
