"""Charge strength: the same spirit let down further, and what it does to yield, strength and time."""

from pathlib import Path

import potsim

PICTURES = Path(__file__).with_name("pictures")

made = potsim.sweep(potsim.example_plan(), "charge.abv", [25, 30, 45, 55])

print("charge    keep            over   time")
for row in made.with_own:
    came = row.outcome
    print(
        f"{row.value:4.0f} %  {came.keep_l:5.2f} L at {came.keep_abv:.0f} %"
        f"  {came.recovered:4.0%}  {came.minutes:4.0f} min{'  (the plan)' if row.planned else ''}"
    )

made.figure().savefig(PICTURES / "charge_strength.png", dpi=110)
