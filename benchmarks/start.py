"""How soon a command answers, what it loads, and how much memory it takes."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.measure import Row

HEAVY = ("numpy", "scipy", "thermo", "pandas", "matplotlib")
EMPTY = (
    "import sys\nfrom matplotlib.figure import Figure\nfigure = Figure(figsize=(7, 9))\n"
    "for axes in figure.subplots(3, 1):\n    axes.set_xlabel('collected, mL')\nfigure.savefig(sys.argv[1])"
)
STEPS = """\
import sys, time
from dataclasses import replace
import potsim
plan, many = potsim.example_plan(), int(sys.argv[1])
steps = tuple(potsim.PowerStep(0.02 * (k + 1), 650.0 - 3.0 * k) for k in range(many))
plan = replace(plan, still=replace(plan.still, power_steps=steps))
before = time.process_time()
run = potsim.distil(plan)
run.to_dict()
spent = time.process_time() - before
assert len(run.course.legs) == many + 1
print(spent)
"""
TURNS = 15
COMMANDS = (["run"], ["run", "--json"], ["proof", "1 L", "70 %", "42 %"], ["evidence"], ["botanicals"])


def rows() -> list[Row]:
    """Modules loaded by --help, the cold run and its picture, memory of the commands."""
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
    run, modules = _cold_run()
    turns = f"median of {TURNS} turns of user time"
    executed = f"{modules} modules of potsim executed; {turns}"
    return [
        Row("heavy packages loaded by --help", float(loaded.stderr), 0, False, "packages"),
        Row("run from cold, against a bare import of numpy", run, 2.2, False, "x", executed),
        Row("run --plot from cold, against three empty panels", _cold_picture(), 1.5, False, "x", turns),
        Row("50 changes of power against none, in a fresh process", _steps(), 5, False, "x"),
        Row("memory of the hungriest command", max(map(_memory_mb, COMMANDS)), 200, False, "MB"),
    ]


def _cold_picture() -> float:
    """User time of the picture of a run over that of one without anything in it."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "run.png"
        picture = ("-m", "potsim", "run", "--force", "--plot", str(target))
        _user_s(*picture)  # compiles what is not compiled yet
        assert target.stat().st_size > 10_000
        return _by_turns(picture, ("-c", EMPTY, str(target)))


def _cold_run() -> tuple[float, int]:
    """User time of a plain run over that of importing numpy, and how many of our modules it executes."""
    run = ("-m", "potsim", "run")
    _user_s(*run)  # compiles what is not compiled yet
    ratio = _by_turns(run, ("-c", "import numpy"))
    count = "print(sum(name.partition('.')[0] == 'potsim' for name in sys.modules), file=sys.stderr)"
    script = f"import sys\nfrom potsim.interfaces.cli import main\nassert main(['run']) == 0\n{count}"
    told = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stderr
    return ratio, int(told.split()[-1])


def _by_turns(one: tuple[str, ...], other: tuple[str, ...]) -> float:
    """User time of one process over that of another, by turns: a machine has faster and slower minutes."""
    spent = [(_user_s(*one), _user_s(*other)) for _ in range(TURNS)]
    return statistics.median(first for first, _ in spent) / statistics.median(second for _, second in spent)


def _steps() -> float:
    """Time of a run with 50 changes of power and its plain data, over that of one without any."""
    spent: dict[str, list[float]] = {"0": [], "50": []}
    for _ in range(5):  # by turns: a machine has faster and slower minutes
        for many, seconds in spent.items():
            out = subprocess.run(
                [sys.executable, "-c", STEPS, many], check=True, capture_output=True, text=True
            )
            seconds.append(float(out.stdout))
    return statistics.median(spent["50"]) / statistics.median(spent["0"])


def _user_s(*arguments: str) -> float:
    """User time of a Python process of its own."""
    own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with Path(os.devnull).open("wb") as nowhere:
        child = subprocess.Popen([sys.executable, *arguments], stdout=nowhere, stderr=nowhere, env=own)
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0
    return used.ru_utime


def _memory_mb(command: list[str]) -> float:
    """Peak resident memory of one command in a process of its own."""
    program = (
        "import resource, subprocess, sys\n"
        f"subprocess.run([sys.executable, '-m', 'potsim', *{command!r}], check=True, capture_output=True)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    out = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    return float(out.stdout) / (1024.0**2 if sys.platform == "darwin" else 1024.0)
