"""Three trials: what was tasted becomes the next bill, twice, and what that does in the bottle."""

from pathlib import Path

from matplotlib import pyplot as plt

import potsim
from potsim import trials
from potsim.trials import Tasting, Trial

PICTURES = Path(__file__).with_name("pictures")
TASTED = (
    (Tasting("juniper", "more"), Tasting("fennel seed", "less"), Tasting("bay leaf", "right")),
    (
        Tasting("juniper", "a touch more"),
        Tasting("lemon peel", "a touch less"),
        Tasting("coriander seed", "more"),
    ),
)
SHOWN = {"juniper": "-o", "coriander seed": "--s", "fennel seed": ":^", "lemon peel": "-.D"}

plan, runs = potsim.example_plan(), [potsim.distil(potsim.example_plan())]
for number, notes in enumerate(TASTED, start=1):
    made = trials.next(Trial(f"trial {number}", plan, notes=notes))
    for change in made.changes:
        print(f"trial {number}: {change.label}, {change.note.verdict}: times {change.factor:.2f}")
    plan, runs = made.plan, [*runs, made.after]

figure, ax = plt.subplots(figsize=(5.8, 3.6), layout="constrained")
for name, style in SHOWN.items():
    strong = [next(one.times_threshold for one in run.flavours if one.botanical == name) for run in runs]
    ax.plot([1, 2, 3], strong, style, label=name)
ax.set(
    xlim=(0.9, 3.1),
    xticks=[1, 2, 3],
    yscale="log",
    xlabel="trial",
    ylabel="in the bottle, times its threshold",
)
ax.legend(frameon=False, fontsize=9, loc="center right")
figure.savefig(PICTURES / "three_trials.png", dpi=110)
