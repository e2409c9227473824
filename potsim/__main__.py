"""``python -m potsim``."""

from __future__ import annotations

import os
import sys


def main() -> int:
    """Run the command line of this process and return its exit code."""
    # The matrices here are small: further threads of BLAS would be started only to wait.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from potsim.interfaces.cli import main as run

    return run()


if __name__ == "__main__":
    sys.exit(main())
