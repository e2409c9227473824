"""Jars from the kitchen: a dozen small ones and a few large ones, placed where they tell most."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.planning.plan import JarPlan, JarStock

PICTURES = Path(__file__).with_name("pictures")
SHADES = {"heads": "white", "keep": "#d5e4f0", "tails": "#f2f2f2"}

plan = potsim.example_plan()
owned = JarPlan(sizes=(JarStock(0.06, count=8), JarStock(0.125, count=3), JarStock(0.25, count=2)))
run = potsim.distil(replace(plan, jars=owned))

ax = new_axes(3.4)
for jar in run.jars:
    print(f"jar {jar.number:2d}  {jar.role:5s}  {1000 * jar.volume_l:4.0f} mL at {jar.abv:.1f} % vol")
    left, width = 1000 * jar.from_l, 1000 * (jar.to_l - jar.from_l)
    ax.bar(left, jar.abv, width, align="edge", color=SHADES[jar.role], edgecolor=ink.INK, linewidth=0.8)
    if width > 40:
        ax.text(left + width / 2, 2, f"{jar.number}", ha="center", fontsize=ink.SIZE - 1, color=ink.INK)
for note in run.row.notes:
    print("-", note)

ax.plot(1000 * run.collected_l, run.stream_abv, **ink.STREAM.style)
ax.text(20, 83, "the stream", color=ink.STREAM.colour, fontsize=ink.SIZE)
words = "each jar as wide as it holds and as high as its strength; white: the heads"
ax.set_title(words, loc="left", fontsize=ink.SIZE)
ax.set(xlim=(0, 1000 * run.stop.collected_l), ylim=(0, 100))
ax.set(xlabel="distillate collected, mL at 20 °C", ylabel="strength, % vol")
ink.plain(ax)
ax.figure.savefig(PICTURES / "jars_from_the_kitchen.png", dpi=110)
