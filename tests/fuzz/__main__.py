"""``python -m tests.fuzz plan --tries 100000``."""

from __future__ import annotations

import argparse
import importlib
import sys
import tempfile
import warnings
from pathlib import Path

TARGETS = {
    "plan": "plan",
    "readings": "readings",
    "trial": "trial",
    "journal": "journal",
    "page": "page",
    "command": "command_line",
}


def main() -> None:
    """Fuzz what is named; the process ends with 1 if anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--tries", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--found", type=Path, help="folder for inputs that bring a fault")
    parser.add_argument("--again", type=Path, help="try one kept input and show what it brings")
    args = parser.parse_args()
    try:
        import atheris
    except ImportError:
        sys.exit("Fuzzing wants atheris: pip install atheris (Linux).")
    warnings.simplefilter("error")
    if args.again is not None:
        print(
            importlib.import_module(f"tests.fuzz.{TARGETS[args.target]}").TARGET.attempt(
                args.again.read_bytes()
            )
        )
        return
    with atheris.instrument_imports(include=["potsim.interfaces", "potsim.planning", "tomllib"]):
        target = importlib.import_module(f"tests.fuzz.{TARGETS[args.target]}").TARGET
    from tests.fuzz.loop import fuzz

    fuzz(
        target,
        args.tries,
        args.seed,
        args.found or Path(tempfile.gettempdir()) / f"potsim-found-{target.name}",
    )


if __name__ == "__main__":
    main()
