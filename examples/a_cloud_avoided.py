"""A cloud avoided: a heavy juniper spirit at 38 % vol, and what helps against its cloud."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.planning.botanicals import BotanicalDose
from potsim.planning.cloud import sentences
from potsim.planning.plan import Bottling, Stop

PICTURES = Path(__file__).with_name("pictures")
BOTTLED = 38.0
WAYS = {
    "100 g of juniper, stop at 55 % vol": (100, 55),
    "100 g, stop already at 70 % vol": (100, 70),
    "half the juniper, stop at 55 % vol": (50, 55),
}


def run_of(grams: float, stop_abv: float) -> potsim.Run:
    plan = potsim.example_plan()
    cuts = replace(plan.cuts, stop=Stop(stream_abv=stop_abv))
    bill = (BotanicalDose("juniper", mass_g=grams),)
    return potsim.distil(replace(plan, botanicals=bill, cuts=cuts, bottling=Bottling(abv=BOTTLED)))


ax = new_axes(2.8)
for place, (name, asked) in enumerate(WAYS.items()):
    cloud = run_of(*asked).cloud
    print(f"{name}: {' '.join(sentences(cloud, BOTTLED)[1:])}")
    band = [cloud.limit.low_abv, cloud.limit.high_abv]
    ax.plot(band, [place, place], color=ink.FAINT, linewidth=7, solid_capstyle="butt")
    ax.plot(cloud.limit.abv, place, "o", color=ink.INK, markersize=6)
    ax.text(1, place - 0.28, f"{name}: {cloud.verdict}", fontsize=ink.SIZE)
ax.axvline(BOTTLED, color=ink.VERMILION, linewidth=1.4, linestyle=(0, (5, 2)))
ax.text(BOTTLED - 0.5, 2.65, "bottled at 38 % vol", ha="right", color=ink.VERMILION, fontsize=ink.SIZE)
ax.text(43, 0, "bottled here\nit is clear", va="center", fontsize=ink.SIZE)
ax.set(xlim=(0, 60), ylim=(2.8, -0.7), yticks=[])
ax.set_xlabel("the spirit stays clear down to, % vol (bar: how far that may be off)")
ink.plain(ax)
ax.figure.savefig(PICTURES / "a_cloud_avoided.png", dpi=110)
