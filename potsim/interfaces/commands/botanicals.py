"""``potsim botanicals``: the library, and one botanical with its sources."""

from __future__ import annotations

import argparse
import dataclasses

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json

ABOUT = Command(
    name="botanicals",
    help="the library of botanicals, with sources",
    description="""\
List the botanicals that plans can name; or, with NAME, tell all that is known
of one: its oil, the compounds in it, the usual dose, cautions, and where each
figure comes from. Common, Latin and other usual names are understood.""",
    examples=("potsim botanicals", "potsim botanicals juniper", 'potsim botanicals "Coriandrum sativum"'),
)


def add(subparsers: Subparsers) -> None:
    """Put ``botanicals`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument("name", metavar="NAME", nargs="?", help="one botanical; left out: the list")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.planning.botanicals import find, library

    if args.name is not None and not args.name.strip():
        raise RequestError("NAME is empty.", "Name a botanical, or leave it out for the list.")
    if args.name is not None:
        one = find(args.name)
        if args.json:
            output.result_json(dataclasses.asdict(one))
        else:
            from potsim.interfaces.report.flavours import sections_of
            from potsim.interfaces.report.tables import render

            output.result(render(sections_of(one)))
        return 0
    every = sorted(library().values(), key=lambda botanical: botanical.common_name.lower())
    if args.json:
        output.result_json([dataclasses.asdict(botanical) for botanical in every])
    else:
        from potsim.interfaces.report.flavours import list_of
        from potsim.interfaces.report.tables import render

        output.result(render([list_of(every)]))
    return 0
