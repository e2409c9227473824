"""A cloud avoided: a heavy juniper spirit at 38 % vol, and what helps against its cloud."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.interfaces.report.cloud import level, sentences
from potsim.planning.botanicals import BotanicalDose
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
    bill = (BotanicalDose("juniper", mass_g=grams, prepared="cracked", macerated_h=24.0),)
    return potsim.distil(replace(plan, botanicals=bill, cuts=cuts, bottling=Bottling(abv=BOTTLED)))


ax = new_axes(2.8)
for place, (name, asked) in enumerate(WAYS.items()):
    cloud = run_of(*asked).cloud
    print(f"{name}: {sentences(cloud)[0]}")
    ax.plot(
        [cloud.room.low_abv, cloud.room.high_abv],
        [place, place],
        color=ink.FAINT,
        linewidth=7,
        solid_capstyle="butt",
    )
    ax.plot(cloud.room.abv, place, "o", color=ink.INK, markersize=6)
    ax.text(1, place - 0.28, f"{name}: {level(cloud.room, BOTTLED)}", fontsize=ink.SIZE)
ax.axvline(BOTTLED, color=ink.VERMILION, linewidth=1.4, linestyle=(0, (5, 2)))
ax.text(BOTTLED - 0.5, 2.65, "bottled at 38 % vol", ha="right", color=ink.VERMILION, fontsize=ink.SIZE)
ax.set(xlim=(0, 60), ylim=(2.8, -0.7), yticks=[])
ax.set_xlabel("strength at which the first haze shows, % vol (bar: eight of ten batches)")
ink.plain(ax)
ax.figure.savefig(PICTURES / "a_cloud_avoided.png", dpi=110)
