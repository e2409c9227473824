"""One's own activity model: any smooth function of composition and temperature takes the place of ours.

The constants of `van_laar` are for the example only; put your own there.
"""

from pathlib import Path

import numpy as np

import potsim

PICTURES = Path(__file__).with_name("pictures")


def van_laar(x: np.ndarray, temperature_k: np.ndarray) -> np.ndarray:
    """GE / RT of ethanol (x) and water by two constants."""
    a, b = 1.65, 0.95
    return a * b * x * (1 - x) / (a * x + b * (1 - x)) * (351.0 / temperature_k)


plan = potsim.example_plan()
usual = potsim.distil(plan)
with potsim.activity_model(van_laar):
    other = potsim.distil(plan)
    x = np.array([0.05, 0.2, 0.5])
    print("vapour over x = 0.05, 0.2, 0.5:", potsim.bubble_point(x).y.round(3))
    print(f"keep {other.keep.volume_l:.3f} L at {other.keep.abv:.2f} % vol")
    ax = other.plot(label="van Laar, constants of the example")
print(f"ours {usual.keep.volume_l:.3f} L at {usual.keep.abv:.2f} % vol")
usual.plot(ax, label="the package's model")
ax.figure.savefig(PICTURES / "own_activity_model.png", dpi=110)
