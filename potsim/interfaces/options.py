"""The command line's grammar: argparse whose refusals teach, and how a typed value is read."""

from __future__ import annotations

import argparse
import contextlib
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.interfaces import output
from potsim.interfaces.quantities import as_typed

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction["Parser"]
else:
    Subparsers = argparse.Action

T = TypeVar("T")
WIDTH = 80
_NEGATIVE = re.compile(r"-\.?\d")
# What argparse says, and how it is said here.
_SAID = (
    (r"the following arguments are required: (.*)", "missing: {0}."),
    (r"argument (\S+): expected one argument", "{0} needs a value."),
    (r"argument (\S+): expected at least one argument", "{0} needs a value."),
    (r"argument (\S+): ignored explicit argument (.*)", "{0} takes no value, but is given {1}."),
    (r"argument (\S+): not allowed with argument (\S+)", "{0} and {1} exclude each other."),
    (r"argument (\S+): invalid choice: (.+) \(choose from (.+)\)", "{0} is {1}; allowed: {2}."),
    (r"one of the arguments (\S+) (\S+) is required", "{0} or {1} is missing."),
)


class Parser(argparse.ArgumentParser):
    """A parser that refuses in potsim's own words."""

    example = ""

    def __init__(self, **options: Any) -> None:
        options.setdefault("formatter_class", _Formatter)
        super().__init__(allow_abbrev=False, **options)
        self.color = False

    def _print_message(self, message: str, file: Any = None) -> None:
        """Print help or version; unlike argparse, without hiding that it could not."""
        output.result(message.rstrip("\n"))

    def error(self, message: str) -> NoReturn:
        """Refuse."""
        for pattern, said in _SAID:
            found = re.fullmatch(pattern, message)
            if found:
                message = said.format(*found.groups())
        raise RequestError(f"{self.prog}: {message}", self.where_to_look)

    @property
    def where_to_look(self) -> str:
        """Hint with an example."""
        more = f"{self.prog} --help"
        return f"For example: {self.example} (more: {more})" if self.example else f"See {more}"

    @property
    def known_options(self) -> Mapping[str, argparse.Action]:
        """Options as they are typed, with what they stand for."""
        return self._option_string_actions

    @property
    def commands(self) -> Mapping[str, Parser]:
        """Commands that it takes, each with its parser; none for most."""
        groups = [action for action in self._actions if isinstance(action, argparse._SubParsersAction)]
        return {name: parser for group in groups for name, parser in group.choices.items()}

    def check_options(self, arguments: Sequence[str]) -> None:
        """Refuse unknown and repeated options, before anything else is looked at."""
        known, commands = self.known_options, self.commands
        first = next((k for k, argument in enumerate(arguments) if not argument.startswith("-")), None)
        if commands and first is not None:
            name = arguments[first]
            if name not in commands:
                raise UnknownNameError(f"command of {self.prog}", name, commands)
            commands[name].check_options(arguments[first + 1 :])
            arguments = arguments[:first]
        seen: set[int] = set()
        for argument in arguments:
            if argument == "--":
                return
            name = argument.partition("=")[0]
            if not argument.startswith("-") or argument == "-" or " " in name:
                continue
            if _NEGATIVE.match(argument):
                hint = 'Nothing here is negative but a temperature: "-5 °C", in quotes and with the blank.'
                raise RequestError(f"{self.prog}: '{argument}' begins with a minus.", hint)
            if name not in known:
                raise UnknownNameError(f"option of {self.prog}", name, known)
            if id(known[name]) in seen:
                raise RequestError(f"{self.prog}: {name} is given twice.", "Keep one.")
            seen.add(id(known[name]))


class _Formatter(argparse.RawDescriptionHelpFormatter):
    """Help of 80 columns, whatever the terminal, with room for the longest command."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=WIDTH, max_help_position=26)
        self._action_max_length = 14


@dataclass(frozen=True)
class Command:
    """How a command is introduced."""

    name: str  # what is typed
    help: str  # one line for the list of commands
    description: str  # what it does, as paragraphs ready to be shown
    examples: tuple[str, ...]  # lines that can be pasted; the first is shown when a request is refused


def add_command(
    subparsers: Subparsers, command: Command, run: Callable[[argparse.Namespace], int] | None
) -> Parser:
    """Add a command to the command line."""
    plural = "s" if len(command.examples) > 1 else ""
    parser: Parser = subparsers.add_parser(
        command.name,
        help=command.help,
        description=command.description,
        epilog=f"example{plural}:\n" + "\n".join(f"  {line}" for line in command.examples),
    )
    parser.example = command.examples[0]
    if run is not None:
        parser.set_defaults(run=run)
    return parser


def add_plan(parser: Parser) -> None:
    """Add the argument ``PLAN``."""
    parser.add_argument("plan", metavar="PLAN", nargs="?", help="plan file; left out: the built-in example")


def add_json(to: argparse._ActionsContainer) -> None:
    """Add the option ``--json`` to a parser or to a group of one."""
    to.add_argument("--json", action="store_true", help="print plain data for programs")


def add_force(parser: Parser) -> None:
    """Add the option ``--force``."""
    parser.add_argument("--force", action="store_true", help="replace files that are there already")


def read(name: str, reader: Callable[[str], T], text: str) -> T:
    """Read a typed value; a refusal says which argument it was."""
    try:
        return reader(text)
    except RequestError as error:
        said = error.message
        if isinstance(error, RangeError):
            said = f"'{text}' is not allowed: {said}"
        raise RequestError(f"{name}: {said}", error.hint) from error


@contextlib.contextmanager
def typed_as(names: Mapping[str, str], typed: Mapping[str, str | None] | None = None) -> Iterator[None]:
    """Call arguments in refusals what the person typed, and say values as they were typed."""
    try:
        yield
    except RangeError as error:
        if error.argument not in names:
            raise
        name = names[error.argument]
        given = as_typed((typed or {}).get(name), error.given)
        raise RangeError(name, given, error.allowed, error.hint) from error
