"""Redrawn: three published sets of vapour over boiling ethanol and water, and our curve."""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from potsim.data import read_table
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN
from potsim.liquid.equilibrium import bubble_point

PICTURES = Path(__file__).with_name("pictures")
SETS = {
    "Kamihama 2012 (fitted)": ("published/vle_kamihama_2012.csv", "o", ink.BLUE),
    "Carey & Lewis 1932": ("published/vle_carey_lewis_1932.csv", "s", ink.VERMILION),
    "Rieder & Thompson 1949": ("published/vle_rieder_thompson_1949.csv", "^", ink.GREEN),
}

figure = Figure(figsize=(WIDTH_IN, 5.4), layout="constrained")
above, below = figure.subplots(2, 1, height_ratios=(2, 1), sharex=True)
x = np.linspace(0.0, 1.0, 201)
above.plot(x, bubble_point(x).y, **ink.POOLED.style | {"linestyle": "-"})
above.plot(x, x, color=ink.FAINT, linewidth=0.8)
below.axhline(0.0, color=ink.INK, linewidth=1.6)
for row, (name, (table, mark, colour)) in enumerate(SETS.items()):
    points = read_table(table)
    x_read, y_read, pa = (np.array([float(p[k]) for p in points]) for k in ("x1", "y1", "P_kPa"))
    off = y_read - bubble_point(x_read, 1000.0 * pa).y
    print(f"{name}: {len(points)} points, off by {np.sqrt(np.mean(off**2)):.4f} (root mean square)")
    style = {"marker": mark, "color": colour, "linestyle": "", "markersize": 5, "markerfacecolor": "white"}
    above.plot(x_read, y_read, **style)
    below.plot(x_read, off, **style)
    above.plot(0.52, 0.30 - 0.09 * row, **style)
    above.text(0.545, 0.30 - 0.09 * row, name, color=colour, fontsize=ink.SIZE, va="center")
above.text(0.13, 0.60, "our curve", ha="center", fontsize=ink.SIZE)
above.text(0.24, 0.17, "no richer than\nthe liquid", fontsize=ink.SIZE)
above.set(xlim=(0, 1), ylim=(0, 1), ylabel="ethanol in the vapour, mole fraction")
below.set(xlabel="ethanol in the boiling liquid, mole fraction", ylabel="measured − ours,\nmole fraction")
for ax in (above, below):
    ink.plain(ax)
figure.savefig(PICTURES / "redrawn_equilibrium.png", dpi=110)
