"""How sure: two thousand runs drawn from what is uncertain in the plan, and what would narrow them."""

from pathlib import Path

from matplotlib.figure import Figure

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import WIDTH_IN
from potsim.planning.ensemble import advice, ensemble

PICTURES = Path(__file__).with_name("pictures")
ASKED = {"keep.volume_l": "volume of the keep", "keep.abv": "strength of the keep"}

sure = ensemble(potsim.example_plan(), n=2000, seed=1)
for name in ASKED:
    band = sure.answers[name]
    print(f"{name:14s} {band.value:6.2f}, nine times in ten {band.low:.2f} to {band.high:.2f}")
    print("-", advice(name, sure.shares[name]))

figure = Figure(figsize=(WIDTH_IN, 5.6), layout="constrained")
above, below = figure.subplots(2, 1)
curve = sure.curves["stream_abv"]
ml = 1000 * curve.collected_l
above.fill_between(ml, curve.low, curve.high, facecolor=ink.BLUE, alpha=0.25, linewidth=0)
above.plot(ml, curve.value, **ink.STREAM.style)
above.text(150, 68, "line: the plan; band: 9 runs in 10", fontsize=ink.SIZE)
above.set(
    xlim=(0, ml[-1]), xlabel="distillate collected, mL at 20 °C", ylabel="strength of the stream, % vol"
)

rows = [(name, share) for name in ASKED for share in sure.shares[name] if share.share > 0.02]
for place, (name, share) in enumerate(rows):
    hatch = "" if name == "keep.abv" else "////"
    below.barh(place, 100 * share.share, color="#cfe2ef", edgecolor=ink.INK, hatch=hatch, linewidth=0.6)
    below.text(100 * share.share + 1, place, share.name, va="center", fontsize=ink.SIZE)
below.text(
    99,
    len(rows) - 1,
    "hatched: volume of the keep\nplain: its strength",
    ha="right",
    va="center",
    fontsize=ink.SIZE,
)
below.set(xlim=(0, 100), ylim=(len(rows) - 0.4, -0.6), yticks=[], xlabel="% of the spread that hangs on it")
for ax in (above, below):
    ink.plain(ax)
figure.savefig(PICTURES / "how_sure.png", dpi=110)
