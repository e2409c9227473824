"""Scaling: the same recipe for a charge of 25 L, and what does not scale."""

from pathlib import Path

from matplotlib import pyplot as plt

import potsim
from potsim import trials

PICTURES = Path(__file__).with_name("pictures")

made = trials.to_charge(potsim.example_plan(), 25.0)
print(f"{made.charge_factor:.2f} times the charge, {made.dose_factor:.2f} times the botanicals")
for part in made.plan.charge:
    print(f"{part.name:14s} {part.volume_l:6.2f} L")
for dose in made.plan.botanicals:
    amount = f"{dose.mass_g:6.1f} g" if dose.pieces is None else f"{dose.pieces:6.1f} pieces"
    print(f"{dose.name:14s} {amount}")
for words in made.unscaled:
    print("-", words)

figure, ax = plt.subplots(figsize=(5.8, 3.6), layout="constrained")
for run, dash in ((made.before, "-"), (made.after, "--")):
    share = 100 * run.collected_l / run.charge.volume_l
    ax.plot(share, run.stream_abv, dash, label=f"charge of {run.charge.volume_l:.3g} L")
ax.set(xlim=(0, 50), xlabel="distillate collected, % of the charge", ylabel="strength of the stream, % vol")
ax.legend(frameon=False)
figure.savefig(PICTURES / "scaling.png", dpi=110)
