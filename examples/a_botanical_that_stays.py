"""A botanical that stays: in its plant or in the pot, more than most people think."""

from dataclasses import replace
from pathlib import Path

from matplotlib import pyplot as plt

import potsim
from potsim import BotanicalDose

PICTURES = Path(__file__).with_name("pictures")

plan = potsim.example_plan()
vanilla, clove = BotanicalDose("vanilla bean", pieces=2), BotanicalDose("clove", mass_g=0.5)
run = potsim.distil(replace(plan, botanicals=(*plan.botanicals, vanilla, clove)))

figure, ax = plt.subplots(figsize=(5.8, 3.8), layout="constrained")
for place, one in enumerate(run.flavours):
    plant, liquid, over = (100 * share for share in (one.left_in_plant, one.left_in_pot, one.gives_up.value))
    print(f"{one.botanical:15s} {one.klass:6s}  over {over:3.0f} %, left {plant + liquid:3.0f} %")
    ax.barh(place, over, color="C0", edgecolor="black", linewidth=0.6)
    ax.barh(place, liquid, left=over, color="0.88", edgecolor="black", linewidth=0.6)
    ax.barh(place, plant, left=over + liquid, color="white", hatch="////", edgecolor="black", linewidth=0.6)
ax.text(1, -0.9, "comes over", color="C0", fontsize=9)
ax.text(60, -0.9, "stays: grey in the liquid, hatched in the plant", ha="center", fontsize=9)
ax.set(xlim=(0, 100.4), ylim=(len(run.flavours) - 0.4, -1.2), xlabel="% of the oil, where the run stops")
ax.set_yticks(range(len(run.flavours)), [one.botanical for one in run.flavours])
figure.savefig(PICTURES / "a_botanical_that_stays.png", dpi=110)
