"""The command line's grammar: commands as declared tables, argparse whose refusals teach."""

from __future__ import annotations

import argparse
import contextlib
import functools
import re
import textwrap
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn, TypeVar

from potsim.errors import RangeError, RequestError, UnknownNameError, Where
from potsim.interfaces import output
from potsim.interfaces.quantities import as_typed

T = TypeVar("T")
WIDTH = 80
_NEGATIVE = re.compile(r"-\.?\d")
# What argparse says, and which refusal that is: of what it refuses it gives no more than a sentence.
_SAID = (
    ("missing", r"the following arguments are required: (?P<given>.*)"),
    ("no_value", r"argument (?P<given>\S+): expected (?:one|at least one) argument"),
    ("takes_none", r"argument (?P<option>\S+): ignored explicit argument (?P<given>.*)"),
    ("exclude", r"argument (?P<given>\S+): not allowed with argument (?P<other>\S+)"),
    ("no_choice", r"argument (?P<option>\S+): invalid choice: (?P<given>.+) \(choose from (?P<allowed>.+)\)"),
    ("one_missing", r"one of the arguments (?P<given>\S+) (?P<other>\S+) is required"),
    ("", r"(?P<given>.*)"),
)


class Parser(argparse.ArgumentParser):
    """A parser that refuses in potsim's own words."""

    example = ""

    def __init__(self, **options: Any) -> None:
        options.setdefault("formatter_class", _Formatter)
        super().__init__(allow_abbrev=False, **options)
        self.color = False
        self.typed: dict[str, str] = {}  # what was typed, by the name of the argument

    def _get_value(self, action: argparse.Action, text: str) -> Any:
        """Convert one argument by its ``type``; unlike argparse, with its own refusal."""
        reader = self._registry_get("type", action.type, action.type)
        name = action.option_strings[0] if action.option_strings else str(action.metavar)
        self.typed[name] = text
        return read(name, reader, text)

    def _print_message(self, message: str, file: Any = None) -> None:
        """Print help or version; unlike argparse, without hiding that it could not."""
        output.result(message.rstrip("\n"))

    def error(self, message: str) -> NoReturn:
        """Refuse."""
        for of, pattern in _SAID:
            found = re.fullmatch(pattern, message, re.DOTALL)
            if found:
                raise RequestError.of("usage", self.prog, of=of, example=self.example, **found.groupdict())
        raise AssertionError(message)

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
                raise self._unknown("command", name, commands)
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
                raise RequestError.of("minus", self.prog, given=argument)
            if name not in known:
                raise self._unknown("option", name, known)
            if id(known[name]) in seen:
                raise RequestError.of("given_twice", self.prog, given=name)
            seen.add(id(known[name]))

    def _unknown(self, what: str, name: str, known: Collection[str]) -> UnknownNameError:
        error = UnknownNameError(what, name, known)
        error.values["prog"] = self.prog
        return error


class _Formatter(argparse.RawDescriptionHelpFormatter):
    """Help of 80 columns, with room for the longest command; a narrower terminal wraps it."""

    def __init__(self, prog: str) -> None:
        width = output.columns()
        super().__init__(prog, width=width, max_help_position=26 * width // WIDTH)
        self._action_max_length = 14

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        """Keep text as it stands where it fits, else wrap each paragraph and each line set in."""
        if width >= WIDTH:
            return super()._fill_text(text, width, indent)
        joined = re.sub(r"(?<=\S)\n(?=\S)|(?<=\S)\n {4,}(?=\S)", " ", text)
        filled = []
        for line in joined.split("\n"):
            start = line[: len(line) - len(line.lstrip())]
            more = start + "    " if start else ""
            filled += textwrap.wrap(line.strip(), width, initial_indent=start, subsequent_indent=more) or [""]
        return "\n".join(filled)


class Argument(NamedTuple):
    """One argument or option of a command, in argparse's words."""

    names: tuple[str, ...]
    settings: Mapping[str, Any]


class OneOf(NamedTuple):
    """Options that exclude each other."""

    arguments: tuple[Argument, ...]
    required: bool = False


class Command(NamedTuple):
    """A command as it is declared."""

    name: str  # what is typed
    description: str  # what it does, as paragraphs ready to be shown
    examples: tuple[str, ...]  # lines that can be pasted; the first is shown when a request is refused
    arguments: tuple[Argument | OneOf, ...] = ()
    run: Callable[[argparse.Namespace], None] | None = None  # does the work
    commands: tuple[Command, ...] = ()  # that stand below it
    help: str = ""  # of one that stands below another: its line in the list there


def argument(*names: str, **settings: Any) -> Argument:
    """Declare an argument, with the settings of argparse."""
    return Argument(names, settings)


PLAN = argument("plan", metavar="PLAN", nargs="?", help="plan file; left out: the built-in example")
JSON = argument("--json", action="store_true", help="print plain data for programs")
FORCE = argument("--force", action="store_true", help="replace files that are there already")
PICTURES = ("svg", "png", "pdf")  # suffixes that --plot takes


def parser_of(command: Command, prog: str) -> Parser:
    """Return the parser of a command."""
    return _filled(Parser(prog=prog, **_words(command)), command)


def _words(command: Command) -> dict[str, Any]:
    """What the help of a command begins and ends with."""
    heading = "examples" if len(command.examples) > 1 else "example"
    examples = "\n".join(f"  {line}" for line in command.examples)
    return {"description": command.description, "epilog": f"{heading}:\n{examples}"}


def _filled(parser: Parser, command: Command) -> Parser:
    """The parser of a command with its arguments, and the commands that stand below it."""
    parser.example = command.examples[0]
    parser.set_defaults(run=command.run, typed=parser.typed)
    for one in command.arguments:
        group = (
            parser.add_mutually_exclusive_group(required=one.required) if isinstance(one, OneOf) else parser
        )
        for inner in one.arguments if isinstance(one, OneOf) else (one,):
            group.add_argument(*inner.names, **inner.settings)
    if command.commands:
        below = parser.add_subparsers(title="commands", metavar="COMMAND", required=True, dest="action")
        for lower in command.commands:
            _filled(below.add_parser(lower.name, help=lower.help, **_words(lower)), lower)
    return parser


def read(name: str, reader: Callable[[str], T], text: str) -> T:
    """Read a typed value; a refusal says which argument it was."""
    try:
        return reader(text)
    except RequestError as error:
        raise error.at(Where(name, path="" if error.path or error.where else name)) from None


def targets(
    args: argparse.Namespace, options: Mapping[str, Collection[str]], read_file: Path | None = None
) -> dict[str, output.Target]:
    """Check the files that a command line asks to be written, by the options that name them."""
    wanted = {}
    for option, suffixes in options.items():
        name = getattr(args, option)
        if name is not None:
            check = functools.partial(output.target, force=args.force, suffixes=suffixes)
            wanted[option] = read("-o" if option == "output" else f"--{option}", check, name)
    output.check_apart(list(wanted.values()), read_file)
    return wanted


@contextlib.contextmanager
def typed_as(names: Mapping[str, str], typed: Mapping[str, str | None] | None = None) -> Iterator[None]:
    """Call arguments in refusals what the person typed, and say values as they were typed."""
    try:
        yield
    except RangeError as error:
        if error.path not in names:
            raise
        name = names[error.path]
        error.typed(as_typed((typed or {}).get(name), error), name)
        raise
