"""``potsim page``: the local web page."""

from __future__ import annotations

import argparse
from pathlib import Path

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, argument


def run(args: argparse.Namespace) -> None:
    """Serve the page until it is stopped."""
    from potsim.interfaces.page.serve import LOOPBACK, Wish, serve  # start-up: --help loads nothing heavy

    data = Path(args.data).expanduser() if args.data else Path.home() / "potsim-runs"
    wish = Wish(data, args.host or LOOPBACK, args.port, browser=not args.no_browser)
    serve(wish, _at_once, output.words)


def _at_once(text: str) -> None:
    """Print the address now: the command goes on running."""
    output.result(text)
    output.finish()


def _port(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:6]) <= 65535):
        raise RequestError(f"'{text}' is not a port; allowed is 1 to 65535.", "Such as 8080.")
    return int(text)


PAGE = Command(
    name="page",
    description="""\
Serve a web page on this machine and open it in the browser. Plans, runs and
stills are kept in a folder of their own as files that the other commands read;
what is told of a run is on disk at once. Only this machine can reach the page,
until it is opened to a phone on the page itself, or by --host; then a square to
scan, or a printed code, lets each browser in.""",
    examples=(
        "potsim page",
        "potsim page --no-browser --port 8080 --data my-runs",
        "potsim page --host 0.0.0.0",
    ),
    arguments=(
        argument(
            "--data", metavar="DIR", help="folder for all that is kept (default: potsim-runs in your home)"
        ),
        argument("--host", metavar="ADDRESS", help="serve the home network too, such as 0.0.0.0"),
        argument("--port", metavar="N", type=_port, help="port (default: 8437, or any that is free)"),
        argument("--no-browser", action="store_true", help="do not open a browser"),
    ),
    run=run,
)
COMMANDS = (PAGE,)
