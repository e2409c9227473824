"""The commands: one table of them all, and the module that holds each."""

from __future__ import annotations

import importlib
from collections.abc import Sequence

from potsim.interfaces.options import Command, Parser, parser_of

# Name, module of this package, one line for --help, in the order in which --help lists them. A module is
# imported for its own commands only, and imports what is heavy inside the function that needs it.
COMMANDS = {
    "run": ("run", "predict a run: curve, stop, cuts, jars, keep, proofing, flavours"),
    "jars": ("run", "which jars for a run, and which of them to keep"),
    "flavours": ("run", "where each botanical comes over"),
    "strengths": ("ask", "what a stronger or weaker charge does; or any other number"),
    "reach": ("ask", "backwards: the charge and the stop that give what is wanted"),
    "follow": ("follow", "at the still: readings in, the rest of the run out"),
    "trial": ("trial", "recipes from trial to trial: next, compare, scale, blend, book"),
    "proof": ("ask", "water to add for bottling strength"),
    "blend": ("ask", "what spirits poured together come to"),
    "botanicals": ("run", "the library of botanicals, with sources"),
    "evidence": ("run", "every published value and how far we are from it"),
    "new": ("run", "write a starter plan with comments"),
    "page": ("follow", "the whole job in a browser: before, during and after the run"),
}


def command(name: str) -> Command:
    """Return a command as it is declared in its module."""
    declared: Sequence[Command] = importlib.import_module(f"{__name__}.{COMMANDS[name][0]}").COMMANDS
    return next(one for one in declared if one.name == name)


def parser(name: str) -> Parser:
    """Return the parser of a command."""
    return parser_of(command(name), f"potsim {name}")
