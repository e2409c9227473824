"""Altitude: thinner air boils the same spirit cooler, so a stop by thermometer has to move."""

from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes

PICTURES = Path(__file__).with_name("pictures")
PENS = (ink.STREAM, ink.POOLED, ink.OVER)

made = potsim.sweep(potsim.example_plan(), "still.altitude", [0, 1500, 3000])

ax = new_axes(3.6)
labels = []
for row, pen in zip(made.rows, PENS, strict=True):
    run = row.run
    ax.plot(1000 * run.collected_l, run.vapour_c, **pen.style)
    labels.append((run.vapour_c[-1], f"{row.value:.0f} m", pen.colour))
    print(
        f"{row.value:4.0f} m: first drop {run.stream_abv[0]:.1f} % vol at {run.vapour_c[0]:.1f} °C; "
        f"{run.stop.stream_abv:.0f} % vol at {run.stop.vapour_c:.1f} °C, {run.stop.collected_l:.3f} L"
    )
ax.set(xlim=(0, 1100), xlabel="distillate collected, mL at 20 °C", ylabel="vapour, °C")
ax.set_title("each line ends where the stream has fallen to 55 % vol", loc="left", fontsize=ink.SIZE)
ink.plain(ax)
ink.end_labels(ax, labels, apart=1.0)
ax.figure.savefig(PICTURES / "altitude.png", dpi=110)
