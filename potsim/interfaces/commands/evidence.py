"""``potsim evidence``: every published value, and how far we are from it."""

from __future__ import annotations

import argparse

from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json

ABOUT = Command(
    name="evidence",
    help="every published value and how far we are from it",
    description="""\
Compute every published value that potsim is held to, and print how far it is
off: where the value was published, how many there are, the root mean square and
the worst deviation, and the tolerance, which comes from the source.""",
    examples=("potsim evidence", "potsim evidence --markdown > tests/EVIDENCE.md"),
)


def add(subparsers: Subparsers) -> None:
    """Put ``evidence`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    either = parser.add_mutually_exclusive_group()
    add_json(either)
    either.add_argument("--markdown", action="store_true", help="print the table kept in the repository")


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.interfaces.evidence.core import everything
    from potsim.interfaces.report import evidence as summary

    every = everything()
    if args.json:
        output.result_json(summary.data_of_evidence(every))
    elif args.markdown:
        output.result(summary.markdown_of_evidence(every))
    else:
        output.result(summary.text_of_evidence(every))
    return 0
