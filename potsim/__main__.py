"""``python -m potsim``."""

from __future__ import annotations

import gc
import os
import signal
import sys


def main() -> int:
    """Run the command line of this process and return its exit code."""
    # The matrices here are small: further threads of BLAS would be started only to wait.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Until the command line can say so in words, Ctrl-C ends this process as it ends any other.
    here = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if here:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    # What a command makes is seldom in circles, and looking for them was a twentieth of its time.
    gc.set_threshold(50_000)
    from potsim.interfaces.cli import main as run  # start-up: the number of threads is set first

    if here:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    return run()


if __name__ == "__main__":
    sys.exit(main())
