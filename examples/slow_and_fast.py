"""Slow and fast: less power leaves the neck more time to send water back, and takes longer."""

from pathlib import Path

import potsim

PICTURES = Path(__file__).with_name("pictures")

plan = potsim.example_plan()
made = potsim.study(
    plan,
    {"charge.abv": [26, 30, 34, 38, 42, 46], "still.power": [300, 400, 500, 600, 700, 850, 1000, 1200]},
)

print("power    strength of the keep, time to the stop")
for _, row in made[made["charge.abv"] == 38].iterrows():
    print(f"{row['still.power']:5.0f} W  {row['keep.abv']:.1f} % vol, {row['stop.elapsed_min']:4.0f} min")

ax = potsim.contours(made, "keep.abv")
ax.figure.savefig(PICTURES / "slow_and_fast.png", dpi=110)
