"""``potsim new``: a starter plan."""

from __future__ import annotations

import argparse

from potsim.interfaces import files, output
from potsim.interfaces.options import Command, Subparsers, add_command, add_force

ABOUT = Command(
    name="new",
    help="write a starter plan with comments",
    description="""\
Write a plan file to start from: every key that there is, with comments. Change
it in any text editor, then hand it to `potsim run`.""",
    examples=("potsim new trial-1.toml",),
)


def add(subparsers: Subparsers) -> None:
    """Put ``new`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument("file", metavar="FILE", help="where to write it, such as trial-1.toml")
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    target = files.target(args.file, force=args.force, suffixes=("toml",))
    from potsim.interfaces.planfile import new_plan_text

    files.write_all([(target, new_plan_text())])
    output.words(f"Written: {target.name}. Change it, then: potsim run {target.name}")
    return 0
