"""How soon a command answers, what it loads, and how much memory it takes."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.measure import Row, best_process

HEAVY = ("numpy", "scipy", "thermo", "pandas", "matplotlib")
COMMANDS = (["run"], ["run", "--json"], ["proof", "1 L", "70 %", "42 %"], ["evidence"], ["botanicals"])


def rows() -> list[Row]:
    """Modules loaded by --help, the cold picture against bare imports, memory of the commands."""
    loaded = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys\nfrom potsim.interfaces.cli import main\nassert main(['--help']) == 0\n"
            f"print(sum(m in sys.modules for m in {HEAVY!r}), file=sys.stderr)",
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "run.png"
        picture = best_process(5, "-m", "potsim", "run", "--force", "--plot", str(target))
        assert target.stat().st_size > 10_000
    bare = best_process(5, "-c", "import numpy, scipy, thermo, matplotlib")
    return [
        Row("heavy packages loaded by --help", float(loaded.stderr), 0, False, "packages"),
        Row("run --plot from cold, against bare imports", picture / bare, 2, False),
        Row("memory of the hungriest command", max(map(_memory_mb, COMMANDS)), 300, False, "MB"),
    ]


def _memory_mb(command: list[str]) -> float:
    """Peak resident memory of one command in a process of its own."""
    program = (
        "import resource, subprocess, sys\n"
        f"subprocess.run([sys.executable, '-m', 'potsim', *{command!r}], check=True, capture_output=True)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    out = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    return float(out.stdout) / (1024.0**2 if sys.platform == "darwin" else 1024.0)
