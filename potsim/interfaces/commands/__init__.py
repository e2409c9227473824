"""The commands, one module each: ``add`` puts a command on the command line, ``run`` does its work."""

from __future__ import annotations

import importlib

from potsim.interfaces.options import Subparsers

# Modules of this package, in the order in which --help lists the commands. A module is imported for every
# command line: it imports what is heavy inside ``run``.
COMMANDS = (
    *("run", "jars", "flavours", "strengths", "reach", "follow", "trial"),
    *("proof", "blend", "botanicals", "evidence", "new", "page"),
)


def add_all(subparsers: Subparsers) -> None:
    """Put all commands on the command line."""
    for name in COMMANDS:
        importlib.import_module(f"{__name__}.{name}").add(subparsers)
