"""Following a run: a neck that sheds three times what the plan says is found out by four readings."""

from dataclasses import replace
from pathlib import Path

import potsim
from potsim.interfaces.plots.others import figure_of_follow
from potsim.interfaces.readingsfile import read_readings
from potsim.planning.forecast import follow
from potsim.planning.plan import Uncertainty

PICTURES = Path(__file__).with_name("pictures")
READ = """
time (min), collected (mL), strength (%), read at
10.9, 60, 82.6, 22 °C
15.5, 200, 82.3, 23 °C
22.3, 400, 80.9, 23 °C
29.4, 600, 78.9, 24 °C
"""

plan = replace(potsim.example_plan(), uncertainty=Uncertainty(neck_loss=1.0))  # its 0.6 W/K are a guess
forecast = follow(potsim.distil(plan), read_readings(READ).readings)

# What such a still would do, had its neck been known: the readings above are from it.
known = potsim.distil(replace(plan, still=replace(plan.still, neck_loss_w_per_k=1.8)))

for name, band, unit in (
    ("to come", forecast.to_come_l, "L"),
    ("stop at", forecast.stop_l, "L"),
    ("minute", forecast.stop_min, "min"),
):
    print(f"{name:8s} {band.value:6.2f} {unit}, between {band.low:.2f} and {band.high:.2f}")
print(f"had the neck been known: {known.stop.collected_l:.2f} L, {known.stop.elapsed_min:.1f} min")
for verdict in forecast.verdicts:
    print("-", verdict)

figure_of_follow(forecast).savefig(PICTURES / "following_a_run.png", dpi=110)
