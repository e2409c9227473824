"""Three trials: what was tasted becomes the next bill, twice, and what that does in the bottle."""

from pathlib import Path

import potsim
from potsim.interfaces.plots import ink
from potsim.interfaces.plots.run import new_axes
from potsim.planning.comparison import in_bottle
from potsim.planning.next_trial import next_trial
from potsim.planning.trials import Tasting, Trial

PICTURES = Path(__file__).with_name("pictures")
TASTED = (
    (Tasting("juniper", "more"), Tasting("fennel seed", "less"), Tasting("bay leaf", "right")),
    (
        Tasting("juniper", "a touch more"),
        Tasting("lemon peel", "a touch less"),
        Tasting("coriander seed", "more"),
    ),
)
PENS = (ink.STREAM, ink.POOLED, ink.POT, ink.OVER)
SHOWN = ("juniper", "coriander seed", "fennel seed", "lemon peel")

plan, runs = potsim.example_plan(), [potsim.distil(potsim.example_plan())]
for number, notes in enumerate(TASTED, start=1):
    made = next_trial(Trial(f"trial {number}", plan, notes=notes))
    for change in made.changes:
        print(f"trial {number}: {change.label}, {change.note.verdict}: times {change.factor:.2f}")
    for advice in made.advice:
        print("-", advice)
    plan, runs = made.plan, [*runs, made.after]

ax = new_axes(3.6)
labels = []
for name, pen in zip(SHOWN, PENS, strict=True):
    mg_per_l = [next(line.oil_mg_per_l for line in in_bottle(run) if line.label == name) for run in runs]
    ax.plot([1, 2, 3], mg_per_l, "o", markersize=4, **pen.style)
    labels.append((mg_per_l[-1], name, pen.colour))
ax.set(xlim=(0.9, 3.05), ylim=(0, None), xticks=[1, 2, 3], xlabel="trial", ylabel="oil in the bottle, mg/L")
ink.plain(ax)
ink.end_labels(ax, labels, apart=5)
ax.figure.savefig(PICTURES / "three_trials.png", dpi=110)
