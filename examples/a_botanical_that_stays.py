"""A botanical that stays: in its plant or in the pot, more than most people think."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.planning.botanicals import BotanicalDose

PICTURES = Path(__file__).with_name("pictures")

plan = potsim.example_plan()
vanilla, clove = BotanicalDose("vanilla bean", pieces=2), BotanicalDose("clove", mass_g=0.5)
run = potsim.distil(replace(plan, botanicals=(*plan.botanicals, vanilla, clove)))

ax = new_axes(3.8)
for place, flavour in enumerate(run.flavours):
    plant, liquid, over = (
        100 * share for share in (flavour.left_in_plant, flavour.left_in_pot, flavour.gives_up.value)
    )
    print(f"{flavour.botanical:15s} {flavour.klass:6s}  over {over:3.0f} %, left {plant + liquid:3.0f} %")
    ax.barh(place, over, color=ink.BLUE, edgecolor=ink.INK, linewidth=0.6)
    ax.barh(place, liquid, left=over, color="#e4e4e4", edgecolor=ink.INK, linewidth=0.6)
    ax.barh(place, plant, left=over + liquid, color="white", hatch="////", edgecolor=ink.INK, linewidth=0.6)
    ax.text(-2, place, flavour.botanical, ha="right", va="center", fontsize=ink.SIZE)
ax.text(1, -0.9, "comes over", color=ink.BLUE, fontsize=ink.SIZE)
ax.text(70, -0.9, "stays: grey in the liquid, hatched in the plant", ha="center", fontsize=ink.SIZE)
ax.set(xlim=(0, 100.4), ylim=(len(run.flavours) - 0.4, -1.2), yticks=[])
ax.set_xlabel("% of the oil, where the run stops")
ink.plain(ax)
ax.figure.savefig(PICTURES / "a_botanical_that_stays.png", dpi=110)
