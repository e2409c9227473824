"""Redrawn: three published sets of vapour over boiling ethanol and water, and our curve."""

import csv
from importlib.resources import files
from pathlib import Path

import numpy as np
from matplotlib import pyplot as plt

import potsim

PICTURES = Path(__file__).with_name("pictures")
SETS = {
    "Kamihama 2012 (fitted)": ("vle_kamihama_2012.csv", "C0o"),
    "Carey & Lewis 1932": ("vle_carey_lewis_1932.csv", "C1s"),
    "Rieder & Thompson 1949": ("vle_rieder_thompson_1949.csv", "C2^"),
}

figure, (above, below) = plt.subplots(
    2, 1, figsize=(5.8, 5.4), layout="constrained", height_ratios=(2, 1), sharex=True
)
x = np.linspace(0.0, 1.0, 201)
above.plot(x, potsim.bubble_point(x).y, color="black", linewidth=1.6, label="our curve")
above.plot(x, x, color="0.6", linewidth=0.8, label="no richer than the liquid")
below.axhline(0.0, color="black", linewidth=1.6)
for name, (table, mark) in SETS.items():
    text = (files("potsim") / "data" / "published" / table).read_text(encoding="utf-8")
    points = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    x_read, y_read, pa = (np.array([float(p[k]) for p in points]) for k in ("x1", "y1", "P_kPa"))
    off = y_read - potsim.bubble_point(x_read, 1000.0 * pa).y
    print(f"{name}: {len(points)} points, off by {np.sqrt(np.mean(off**2)):.4f} (root mean square)")
    above.plot(x_read, y_read, mark, markersize=5, markerfacecolor="white", label=name)
    below.plot(x_read, off, mark, markersize=5, markerfacecolor="white")
above.set(xlim=(0, 1), ylim=(0, 1), ylabel="ethanol in the vapour, mole fraction")
above.legend(frameon=False, fontsize=9)
below.set(xlabel="ethanol in the boiling liquid, mole fraction", ylabel="measured − ours,\nmole fraction")
figure.savefig(PICTURES / "redrawn_equilibrium.png", dpi=110)
