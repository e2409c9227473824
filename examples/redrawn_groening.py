"""Redrawn: spout against pot as Groening measured them, and a still with and without a cooling neck."""

from pathlib import Path

import numpy as np

from potsim.data import header, read_table
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.liquid import strength
from potsim.still.still import Conditions
from potsim.still.tables import balance

PICTURES = Path(__file__).with_name("pictures")
TABLE = "published/groening_spout_vs_pot.csv"

print(header(TABLE))
rows = read_table(TABLE)
pot = np.array([float(row["boiling_liquid_abv"]) for row in rows])
spout = np.array([float(row["distillate_abv"]) for row in rows])

stills = {
    "one stage, no reflux": (Conditions(), ink.POOLED),
    "the example's neck": (
        Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0),
        ink.STREAM,
    ),
}
ax = new_axes(4.0)
ax.plot([0, 100], [0, 100], color=ink.FAINT, linewidth=0.8)
for name, (still, pen) in stills.items():
    at = np.linspace(0.5, 95, 200)
    ours, there = (
        np.asarray(strength.abv_from_x(balance(np.asarray(strength.x_from_abv(abv)), still).y_distillate))
        for abv in (at, pot)
    )
    ax.plot(at, ours, **pen.style)
    off = float(np.sqrt(np.mean((there - spout)[pot <= 50] ** 2)))
    print(f"{name}: off by {off:.1f} % vol (root mean square, pots of 5 to 50 % vol)")
ax.plot(pot, spout, "o", color=ink.INK, markerfacecolor="white", markersize=6)
ax.text(32, 88, "the example's neck", color=ink.STREAM.colour, fontsize=ink.SIZE, ha="right")
ax.text(26, 69, "one stage, no reflux (dashed)", color=ink.POOLED.colour, fontsize=ink.SIZE)
ax.text(62, 28, "circles: Groening,\nearly 19th century,\nuncertain by 2 % vol", fontsize=ink.SIZE)
ax.text(24, 18, "no stronger than the pot", fontsize=ink.SIZE, rotation=34, rotation_mode="anchor")
ax.set(xlim=(0, 100), ylim=(0, 100), xlabel="in the boiling pot, % vol", ylabel="at the spout, % vol")
ink.plain(ax)
ax.figure.savefig(PICTURES / "redrawn_groening.png", dpi=110)
