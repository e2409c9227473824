"""``potsim page``: the local web page."""

from __future__ import annotations

import argparse
from pathlib import Path

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command

ABOUT = Command(
    name="page",
    help="the whole job in a browser: before, during and after the run",
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
)


def add(subparsers: Subparsers) -> None:
    """Put ``page`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument(
        "--data", metavar="DIR", help="folder for all that is kept (default: potsim-runs in your home)"
    )
    parser.add_argument("--host", metavar="ADDRESS", help="serve the home network too, such as 0.0.0.0")
    parser.add_argument("--port", metavar="N", help="port (default: 8437, or any that is free)")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    port = _port(args.port)
    from potsim.interfaces.page.serve import LOOPBACK, Wish, serve

    data = Path(args.data).expanduser() if args.data else Path.home() / "potsim-runs"
    wish = Wish(data, args.host or LOOPBACK, port, browser=not args.no_browser)
    serve(wish, _at_once, output.words)
    return 0


def _at_once(text: str) -> None:
    """Print the address now: the command goes on running."""
    output.result(text)
    output.finish()


def _port(text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:6]) <= 65535):
        raise RequestError(f"--port is '{text}'; allowed is 1 to 65535.", "Such as 8080.")
    return int(text)
