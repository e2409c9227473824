"""Redrawn: spout against pot as Groening measured them, and a still with and without a cooling neck."""

import csv
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
from matplotlib import pyplot as plt

import potsim
from potsim import Cuts, Ingredient, Stop

PICTURES = Path(__file__).with_name("pictures")
TABLE = files("potsim") / "data" / "published" / "groening_spout_vs_pot.csv"

lines = TABLE.read_text(encoding="utf-8").splitlines()
print("\n".join(line.lstrip("# ") for line in lines if line.startswith("#")))
rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
pot = np.array([float(row["boiling_liquid_abv"]) for row in rows])
spout = np.array([float(row["distillate_abv"]) for row in rows])

plan = potsim.example_plan()
strong = replace(
    plan,
    charge=(Ingredient("spirit", 2.4, 93.0),),
    botanicals=(),
    cuts=Cuts(stop=Stop(pot_abv=1.0)),
    still=replace(plan.still, min_level_l=0.0, altitude_m=0.0),
    bottling=potsim.Bottling(),
)
necks = {
    "one stage, no reflux": (replace(strong.still, neck_loss_w_per_k=0.0), "--"),
    "the example's neck": (strong.still, "-"),
}
figure, ax = plt.subplots(figsize=(5.8, 4.0), layout="constrained")
ax.plot([0, 100], [0, 100], color="0.6", linewidth=0.8, label="no stronger than the pot")
for name, (still, dash) in necks.items():
    run = potsim.distil(replace(strong, still=still))
    at = np.linspace(1.5, run.pot_abv[0], 60)
    ax.plot(at, run.at(pot_abv=at).stream_abv, dash, label=name)
    there = np.interp(pot, at, run.at(pot_abv=at).stream_abv)
    off = float(np.sqrt(np.mean((there - spout)[pot <= 50] ** 2)))
    print(f"{name}: off by {off:.1f} % vol (root mean square, pots of 5 to 50 % vol)")
label = "Groening, early 19th century, uncertain by 2 % vol"
ax.plot(pot, spout, "o", color="black", markerfacecolor="white", markersize=6, label=label)
ax.set(xlim=(0, 100), ylim=(0, 100), xlabel="in the boiling pot, % vol", ylabel="at the spout, % vol")
ax.legend(frameon=False, fontsize=9)
figure.savefig(PICTURES / "redrawn_groening.png", dpi=110)
