"""``potsim jars``: which jars for a run, and which of them to keep."""

from __future__ import annotations

import argparse
import dataclasses
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json, add_plan, read, typed_as
from potsim.interfaces.planfile import the_plan

if TYPE_CHECKING:
    from potsim.planning.plan import JarPlan


TYPED = {"minutes": "--away", "most_lost": "--most"}
ABOUT = Command(
    name="jars",
    help="which jars for a run, and which of them to keep",
    description="""\
Lay jars along a run, those of the plan or others, and pool some of them: what
each holds and when it is full, and what one more or one less would change. Then
the other way of collecting, one small jar emptied into the keep: how large it
may be, so that a while away from the still costs at most so much of the keep.
And whether stream and bottle cloud. Without PLAN: the built-in example.""",
    examples=(
        "potsim jars",
        'potsim jars --sizes "12 x 60 mL" "250 mL"',
        'potsim jars trial-1.toml --keep "2-9,11"',
        'potsim jars trial-1.toml --away "2 min" --most "5 %"',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``jars`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    add_plan(parser)
    parser.add_argument(
        "--sizes", metavar="SIZE", nargs="+", help='jars you own: "60 mL", or "12 x 60 mL" when they are few'
    )
    parser.add_argument("--keep", metavar="JARS", help='numbers of the jars to pool: "2-9,11"')
    parser.add_argument(
        "--away", metavar="TIME", default="1 min", help="how long you may be called away (1 min)"
    )
    parser.add_argument(
        "--most", metavar="SHARE", default="10 %", help="what that may cost, of the keep (10 %%)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.interfaces import quantities

    away_min = read("--away", quantities.duration_min, args.away)
    most_share = read("--most", quantities.share, args.most)
    plan = the_plan(args.plan)
    plan = dataclasses.replace(plan, jars=_jars(args, plan.jars))
    from potsim.planning.run import distil

    made = distil(plan)
    from potsim.interfaces.report import jars as working

    with typed_as(TYPED, {"--away": args.away, "--most": args.most}):
        small = working.found(made, away_min, most_share)
    if args.json:
        whole = made.to_dict()
        data = {key: whole[key] for key in ("potsim", "title", "jars", "jar_notes", "keep", "cloud")}
        data["changes"] = [dataclasses.asdict(change) for change in made.keep.changes]
        data["working_jar"] = working.plain(small, away_min, most_share)
        output.result_json(data)
        return 0
    from potsim.interfaces.report.flavours import cloud_sections
    from potsim.interfaces.report.jars import changes_section, jar_section, keep_section
    from potsim.interfaces.report.run import CLEANING, is_cleaning
    from potsim.interfaces.report.tables import Section, render

    if is_cleaning(made):
        output.result(render([Section("Nothing to keep", (CLEANING,))]))
        return 0
    pooled = (jar_section(made), keep_section(made), changes_section(made))
    output.result(render([*pooled, working.section(small, away_min, most_share), *cloud_sections(made)]))
    return 0


def _jars(args: argparse.Namespace, planned: JarPlan) -> JarPlan:
    """Jars of the plan, with those of the command line in their place."""
    from potsim.interfaces import quantities

    sizes, keep = planned.sizes, planned.keep
    if args.sizes is not None:
        sizes = read("--sizes", quantities.jars, ", ".join(_size(size) for size in args.sizes))
        if keep and args.keep is None:
            output.words("The plan's own jars.keep counts other jars: all between heads and tails are kept.")
        keep = ()
    if args.keep is not None:
        keep = read("--keep", quantities.numbers, args.keep)
    return dataclasses.replace(planned, sizes=sizes, keep=keep)


def _size(typed: str) -> str:
    if not typed.strip():
        raise RequestError("--sizes: a size is empty.", 'Such as --sizes "60 mL" "250 mL".')
    return typed
