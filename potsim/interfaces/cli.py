"""The command line: its grammar, the table of commands, and in words what went wrong."""

from __future__ import annotations

import argparse
import contextlib
import functools
import importlib
import itertools
import re
import shlex
import sys
import textwrap
from argparse import Namespace
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn, TypeVar

from potsim import __version__
from potsim.errors import PotsimError, RangeError, RequestError, UnknownNameError, Where
from potsim.interfaces import output
from potsim.interfaces.quantities import as_typed
from potsim.planning.plan import TABLES

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


# --- All commands, and one command line run.


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
    declared: Sequence[Command] = importlib.import_module(
        f"potsim.interfaces.commands.{COMMANDS[name][0]}"
    ).COMMANDS
    return next(one for one in declared if one.name == name)


def parser_for(name: str) -> Parser:
    """Return the parser of a command."""
    return parser_of(command(name), f"potsim {name}")


DONE, UNFINISHED = 0, 1
DESCRIPTION = """\
Pot-still batch distillation, computed beforehand: what comes over, how strong,
where to cut, which jars, which flavours when, and how much water to add."""
EPILOG = """\
Results go to standard output, words to standard error. Exit codes: 0 done,
1 could not finish, 2 the request is wrong. `potsim COMMAND --help` tells more."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    debug = "--debug" in arguments
    output.prepare()
    try:
        code = _run([argument for argument in arguments if argument != "--debug"])
        output.finish()
        return code
    except BrokenPipeError:
        # Whoever reads the result has seen enough of it.
        output.abandon()
        return DONE
    except BaseException as error:  # noqa: BLE001 - the one boundary
        return _refused(error, debug)


def _run(arguments: list[str]) -> int:
    before, name, after = _split(arguments)
    if name is None or before:
        top = whole_parser()
        own = parser_for(name) if name in COMMANDS else None
        for option in before:
            if own is not None and option in own.known_options and option not in top.known_options:
                raise RequestError.of("option_first", given=option, command=name)
        top.check_options(before)
        if _parsed(top, before) is None:
            return DONE
    if name is None:
        raise RequestError.of("no_command")
    if name not in COMMANDS:
        if name.lower().endswith(".toml"):
            raise RequestError.of("no_such_command", given=name)
        raise UnknownNameError("command", name, COMMANDS)
    parser = parser_for(name)
    parser.check_options(after)
    parsed = _parsed(parser, after)
    if parsed is None:
        return DONE
    try:
        parsed.run(parsed)
    except RequestError as error:
        plan = getattr(parsed, "plan", None)
        if isinstance(plan, str) and not error.where and error.path[:1] != "-":
            from potsim.interfaces.report.requests import REQUESTS  # start-up: for refusals only

            if error.kind not in REQUESTS:  # it is about what the plan says
                error.at(Where(plan))
        raise
    return DONE


def _parsed(parser: Parser, arguments: list[str]) -> Namespace | None:
    """The arguments as the parser reads them; nothing after --help and --version, which are answered."""
    for option, after in itertools.pairwise(arguments):
        if option == "--json" and after.lower().endswith(".json"):
            at = arguments.index(option)
            rest = " ".join(shlex.quote(word) for word in (*arguments[: at + 1], *arguments[at + 2 :]))
            command = f"{parser.prog} {rest} > {shlex.quote(after)}"
            raise RequestError.of("json_file", parser.prog, given=after, command=command)
    try:
        parsed, extra = parser.parse_known_args(arguments)
    except SystemExit:
        return None
    if extra:
        raise RequestError.of("one_too_many", parser.prog, given=extra[0], example=parser.example)
    return parsed


def whole_parser() -> Parser:
    """Return the parser of what may stand before a command; its help lists the commands."""
    parser = Parser(prog="potsim", description=DESCRIPTION, epilog=EPILOG)
    parser.add_argument("--version", action="version", version=f"potsim {__version__}")
    parser.add_argument("--debug", action="store_true", help="with any command: show where an error arose")
    below = parser.add_subparsers(title="commands", metavar="COMMAND")
    for name, (_, words) in COMMANDS.items():
        below.add_parser(name, help=words, add_help=False)
    return parser


def _split(arguments: list[str]) -> tuple[list[str], str | None, list[str]]:
    """What stands before the command, the command, and what follows it."""
    for k, argument in enumerate(arguments):
        if not argument.startswith("-"):
            return arguments[:k], argument, arguments[k + 1 :]
    return arguments, None, []


def _refused(error: BaseException, debug: bool) -> int:
    """Say what went wrong, and return the exit code."""
    with contextlib.suppress(OSError):
        output.finish()
    if debug:
        import traceback  # start-up: for --debug only

        output.words("".join(traceback.format_exception(error)).rstrip())
    faults, code = _told(error)
    for message, hint in faults:
        output.words(f"potsim: error: {message}")
        if hint:
            output.words(f"hint: {hint}")
    return code


def _what_to_do(error: PotsimError) -> str:
    """Hint for a refusal that has none of its own: what is allowed stands in its message."""
    if not isinstance(error, RequestError):
        return ""
    typed = error.where and error.where[0].file.startswith("-")
    in_plan = not typed and error.record["path"].partition(".")[0] in TABLES
    return "Change it in the plan." if in_plan else "Give another value; --help shows an example."


def _told(error: BaseException) -> tuple[list[tuple[str, str]], int]:
    """Messages with hints, and the exit code, for anything that may be raised."""
    if isinstance(error, PotsimError):
        return [(one.message, one.hint or _what_to_do(one)) for one in error.faults], error.exit_code
    if isinstance(error, KeyboardInterrupt):
        said = ("stopped by Ctrl-C.", "")
    elif isinstance(error, MemoryError):
        said = ("there is not enough memory.", "Close other programs, or ask for less at once.")
    elif isinstance(error, OSError):
        where = f"'{error.filename}'" if error.filename else "standard output"
        said = (f"{where}: {error.strerror or error}.", "")
    else:
        said = (
            f"something unforeseen: {type(error).__name__}: {error}",
            "This is a fault of potsim. Repeat with --debug and report what it says.",
        )
    return [said], UNFINISHED
