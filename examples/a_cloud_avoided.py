"""A cloud avoided: a heavy juniper spirit at 38 % vol, and what helps against its cloud."""

from dataclasses import replace
from pathlib import Path

from matplotlib import pyplot as plt

import potsim
from potsim import BotanicalDose, Bottling, Stop

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


figure, ax = plt.subplots(figsize=(5.8, 2.8), layout="constrained")
for place, (name, asked) in enumerate(WAYS.items()):
    cloud = run_of(*asked).cloud
    haze = cloud.room
    print(
        f"{name}: {cloud.verdict}; first haze at {haze.abv:.0f} % vol,"
        f" {haze.low_abv:.0f} to {haze.high_abv:.0f}"
    )
    ax.plot([haze.low_abv, haze.high_abv], [place, place], color="0.6", linewidth=7, solid_capstyle="butt")
    ax.plot(haze.abv, place, "o", color="black", markersize=6)
    ax.text(1, place - 0.28, f"{name}: {cloud.verdict}", fontsize=9)
ax.axvline(BOTTLED, color="C3", linewidth=1.4, linestyle="--")
ax.text(BOTTLED - 0.5, 2.65, "bottled at 38 % vol", ha="right", color="C3", fontsize=9)
ax.set(xlim=(0, 60), ylim=(2.8, -0.7), yticks=[])
ax.set_xlabel("strength at which the first haze shows, % vol (bar: eight of ten batches)", fontsize=9)
figure.savefig(PICTURES / "a_cloud_avoided.png", dpi=110)
