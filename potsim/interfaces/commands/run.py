"""``potsim run``: the predicted run of a plan."""

from __future__ import annotations

import argparse
import functools
import sys
from typing import TYPE_CHECKING

from potsim.interfaces import files, output
from potsim.interfaces.options import (
    Command,
    Subparsers,
    add_command,
    add_force,
    add_json,
    add_plan,
    read,
    typed_as,
)
from potsim.interfaces.planfile import the_plan, the_plan_file

if TYPE_CHECKING:
    from potsim.planning.ensemble import Ensemble
    from potsim.planning.plan import Plan


PICTURES = ("svg", "png", "pdf")
PAGES = ("html",)
RUNS = 2000  # drawn for --sure
MANY = 20_000  # from here on it is said beforehand how long it takes
ABOUT = Command(
    name="run",
    help="predict a run: curve, stop, cuts, jars, keep, proofing, flavours",
    description="""\
Predict a run from the first drop to the stop: what comes over and how strong it
is, where to cut, which jar comes when, what the keep is, how much water brings
it to bottling strength, and where each botanical comes over. Without PLAN: the
built-in example.""",
    examples=(
        "potsim run",
        "potsim run trial-1.toml --plot trial-1.svg --csv trial-1.csv",
        "potsim run trial-1.toml --report trial-1.html",
        "potsim run trial-1.toml --json",
        "potsim run trial-1.toml --sure",
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``run`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    add_plan(parser)
    add_json(parser)
    parser.add_argument("--plot", metavar="FILE", help="draw the curve: .svg, .png or .pdf")
    parser.add_argument("--csv", metavar="FILE", help="write the curve as numbers")
    parser.add_argument("--report", metavar="FILE", help="write a page to print: .html")
    parser.add_argument("--sure", action="store_true", help="say how sure it is: bands, and what widens them")
    parser.add_argument("--seed", metavar="N", help="with --sure: what the draws start from; 0 if left out")
    parser.add_argument(
        "--runs", metavar="N", help=f"with --sure: how many runs are drawn; {RUNS} if left out"
    )
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    given = (("plot", args.plot, PICTURES), ("csv", args.csv, ()), ("report", args.report, PAGES))
    wanted = {
        kind: read(f"--{kind}", functools.partial(files.target, force=args.force, suffixes=suffixes), name)
        for kind, name, suffixes in given
        if name is not None
    }
    files.check_apart(list(wanted.values()), the_plan_file(args.plan))
    plan = the_plan(args.plan)
    from potsim.interfaces.output import content
    from potsim.planning.run import distil

    made = distil(plan)
    sure = _sure(args, plan)
    files.write_all([(target, content(made, kind, target.suffix, sure)) for kind, target in wanted.items()])
    if args.json:
        bands = {} if sure is None else {"band": sure.bands()}
        output.result_json({**made.to_dict(), **bands})
    else:
        from potsim.interfaces.report.run import text_of_run

        output.result(text_of_run(made, sure))
    for target in wanted.values():
        output.words(f"Written: {target.name}")
    return 0


def _sure(args: argparse.Namespace, plan: Plan) -> Ensemble | None:
    """Draw runs if the bands were asked for; say beforehand how long many will take."""
    from potsim.errors import RequestError

    if not args.sure:
        for option in ("seed", "runs"):
            if getattr(args, option) is not None:
                raise RequestError(f"--{option} goes with --sure.", f"Add --sure, or leave --{option} out.")
        return None
    from potsim.planning.ensemble import MOST, ensemble, estimate_s

    seed = 0 if args.seed is None else _whole("--seed", args.seed)
    runs = RUNS if args.runs is None else _whole("--runs", args.runs)
    if MANY < runs <= MOST:
        output.words(f"Drawing {runs:,} runs takes about {estimate_s(plan, runs):.0f} s. Ctrl-C stops.")
    with typed_as({"n": "--runs"}, {"--runs": args.runs}):
        return ensemble(plan, runs, seed, progress=_bar if runs > MANY else None)


def _bar(done: int, of: int) -> None:
    """Tell on a terminal how far the draws have come."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r  {done:,} of {of:,} runs" + ("\n" if done >= of else ""))
        sys.stderr.flush()


def _whole(option: str, text: str) -> int:
    from potsim.interfaces import quantities

    return int(read(option, lambda given: quantities.count(given, "a count", whole=True), text))
