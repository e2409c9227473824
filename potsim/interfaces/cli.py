"""The command line: parse, hand over to a command, and say in words what went wrong."""

from __future__ import annotations

import contextlib
import itertools
import shlex
import sys
from argparse import Namespace
from collections.abc import Sequence

from potsim import __version__
from potsim.errors import PotsimError, RequestError, UnknownNameError, Where
from potsim.interfaces import commands, output
from potsim.interfaces.options import Parser
from potsim.planning.plan import TABLES

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
        own = commands.parser(name) if name in commands.COMMANDS else None
        for option in before:
            if own is not None and option in own.known_options and option not in top.known_options:
                raise RequestError.of("option_first", given=option, command=name)
        top.check_options(before)
        if _parsed(top, before) is None:
            return DONE
    if name is None:
        raise RequestError.of("no_command")
    if name not in commands.COMMANDS:
        if name.lower().endswith(".toml"):
            raise RequestError.of("no_such_command", given=name)
        raise UnknownNameError("command", name, commands.COMMANDS)
    parser = commands.parser(name)
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
    for name, (_, words) in commands.COMMANDS.items():
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
