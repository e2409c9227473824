"""A first run: what comes over, how strong, which jars, where each botanical."""

from pathlib import Path

import potsim

PICTURES = Path(__file__).with_name("pictures")

plan = potsim.example_plan()  # or potsim.load_plan("trial-1.toml")
run = potsim.distil(plan)

print(run)
print(f"after 300 mL the stream has {run.at(collected_l=0.3).stream_abv:.1f} % vol")
for caution in run.cautions[:2]:
    print("-", caution)

run.figure().savefig(PICTURES / "first_run.png", dpi=80, pil_kwargs={"optimize": True})
