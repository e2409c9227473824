"""Scaling: the same recipe for a charge of 25 L, and what does not scale."""

from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.planning.next_trial import to_charge

PICTURES = Path(__file__).with_name("pictures")

made = to_charge(potsim.example_plan(), 25.0)
print(f"{made.charge_factor:.2f} times the charge, {made.dose_factor:.2f} times the botanicals")
for part in made.plan.charge:
    print(f"{part.name:14s} {part.volume_l:6.2f} L")
for dose in made.plan.botanicals:
    print(
        f"{dose.name:14s} "
        + (f"{dose.mass_g:6.1f} g" if dose.pieces is None else f"{dose.pieces:6.1f} pieces")
    )
for words in made.unscaled:
    print("-", words)

ax = new_axes(3.6)
for run, pen, at, above in ((made.before, ink.STREAM, 22, 1.2), (made.after, ink.POOLED, 8, -5.5)):
    share = 100 * run.collected_l / run.charge.volume_l
    ax.plot(share, run.stream_abv, **pen.style)
    words = f"charge of {run.charge.volume_l:.3g} L, {run.setting.still.conditions.power_w / 1000:.2g} kW"
    there = run.at(collected_l=at / 100 * run.charge.volume_l).stream_abv + above
    ax.text(at, there, words, color=pen.colour, fontsize=ink.SIZE)
ax.set(xlim=(0, 50), xlabel="distillate collected, % of the charge", ylabel="strength of the stream, % vol")
ink.plain(ax)
ax.figure.savefig(PICTURES / "scaling.png", dpi=110)
