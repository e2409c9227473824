"""``python -m potsim``."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line of this process and return its exit code."""
    from potsim.interfaces.cli import main as run

    return run()


if __name__ == "__main__":
    sys.exit(main())
