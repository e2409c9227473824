"""A digest of what the example comes to, asked in several ways; run as a script, it prints it."""

from __future__ import annotations

import hashlib
import json
import sys

import potsim
from potsim.planning.ensemble import ensemble


def digest() -> str:
    """One digest of a run, a sweep, a question asked backwards and an ensemble."""
    plan = potsim.example_plan()
    made = [
        potsim.distil(plan).to_dict(),
        potsim.sweep(plan, "charge.abv", [30.0, 45.0]).to_dict(),
        potsim.reach(plan, bottles=4).to_dict(),
        {name: vars(band) for name, band in ensemble(plan, n=64, seed=3).answers.items()},
    ]
    return hashlib.sha256(json.dumps(made, allow_nan=False).encode()).hexdigest()


if __name__ == "__main__":
    sys.stdout.write(digest())
