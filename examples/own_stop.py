"""One's own stop: any condition along the run ends it, here that pot and stream both say it is enough."""

from dataclasses import replace
from pathlib import Path

import numpy as np

import potsim
from potsim import Cuts, Stop

PICTURES = Path(__file__).with_name("pictures")
POT_C, STREAM_ABV = 95.0, 60.0

plan = potsim.example_plan()
run = potsim.distil(plan)

# Negative before, 0 and more from there on: the pot is hot enough, and the stream weak enough.
there = run.first(lambda now: np.minimum(now.pot_c - POT_C, STREAM_ABV - now.stream_abv))

print(f"the plan stops at {run.stop.collected_l:.3f} L, {run.stop.stream_abv:.1f} % vol")
print(
    f"both hold from {there.collected_l:.3f} L, {there.stream_abv:.1f} % vol, minute {there.elapsed_min:.0f}"
)
stopped = potsim.distil(
    replace(plan, cuts=Cuts(heads_l=plan.cuts.heads_l, stop=Stop(collected_l=there.collected_l)))
)
print(f"keep {stopped.keep.volume_l:.3f} L at {stopped.keep.abv:.1f} % vol")

ax = run.plot(label="the plan's stop")
stopped.plot(ax, label=f"{POT_C:g} °C and {STREAM_ABV:g} % vol")
ax.figure.savefig(PICTURES / "own_stop.png", dpi=110)
