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

from potsim.errors import RangeError, RequestError, UnknownNameError
from potsim.interfaces import output
from potsim.interfaces.quantities import as_typed

T = TypeVar("T")
WIDTH = 80
_NEGATIVE = re.compile(r"-\.?\d")
# What argparse says, and how it is said here: of what it refuses it gives no more than a sentence.
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
        for pattern, said in _SAID:
            found = re.fullmatch(pattern, message)
            if found:
                message = said.format(*found.groups())
        raise RequestError(message, self.where_to_look, kind="option", path=self.prog)

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
                raise RequestError(f"'{argument}' begins with a minus.", hint, kind="option", path=self.prog)
            if name not in known:
                raise UnknownNameError(f"option of {self.prog}", name, known)
            if id(known[name]) in seen:
                raise RequestError(f"{name} is given twice.", "Keep one.", kind="option", path=self.prog)
            seen.add(id(known[name]))


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
        said = error.message
        if isinstance(error, RangeError):
            said = f"'{text}' is not allowed: {said}"
        record: dict[str, Any] = {"given": text, "allowed": error.allowed}
        raise RequestError(said, error.hint, kind="option", path=name, **record) from error


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
