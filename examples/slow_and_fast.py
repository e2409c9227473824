"""Slow and fast: less power leaves the neck more time to send water back, and takes longer."""

from pathlib import Path

from matplotlib.figure import Figure

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN

PICTURES = Path(__file__).with_name("pictures")

made = potsim.sweep(potsim.example_plan(), "still.power", [250, 300, 400, 500, 700, 1000, 1500, 2000])

power = [row.value for row in made.rows]
first = [row.run.stream_abv[0] for row in made.rows]
keep = [row.outcome.keep_abv for row in made.rows]
minutes = [row.outcome.minutes for row in made.rows]
for row, f, k, m in zip(made.rows, first, keep, minutes, strict=True):
    print(f"{row.value:5.0f} W: first drop {f:.1f} % vol, keep {k:.1f} % vol, {m:4.0f} min")

figure = Figure(figsize=(WIDTH_IN, 4.2), layout="constrained")
above, below = figure.subplots(2, 1, sharex=True)
above.plot(power, first, "o", markersize=4, **ink.STREAM.style)
above.plot(power, keep, "s", markersize=4, **ink.POOLED.style)
above.set_ylabel("strength, % vol")
below.plot(power, minutes, "^", markersize=4, **ink.POT.style)
below.set(ylim=(0, None), ylabel="switch-on to stop, min", xlabel="power during the run, W")
for ax in (above, below):
    ink.plain(ax)
ink.end_labels(
    above, [(first[-1], "first drop", ink.STREAM.colour), (keep[-1], "keep", ink.POOLED.colour)], apart=0.8
)
figure.savefig(PICTURES / "slow_and_fast.png", dpi=110)
