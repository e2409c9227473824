"""What goes back to the browser: plain data, files, and refusals in words."""

from __future__ import annotations

import json
import re
from typing import Any

from starlette.responses import Response

from potsim.errors import PotsimError
from potsim.interfaces.page.spoken import spoken
from potsim.interfaces.quantities import LONGEST

SOURCE = "plan"
"""What a plan that came from a form is called in refusals, which put it first; it is taken off again."""
_TABLE = re.compile(
    rf"^{SOURCE}: \[\[?(?P<table>[\w.]+)\]\]?(?: (?P<number>\d+))?(?: (?P<inner>stop|tails_from|stretch))?"
    r"(?:[ .](?P<key>[a-z_]+))?"
)
_KEY = re.compile(r"^(?P<path>[a-z]+(?:\.[a-z_]+)+)")


def data(value: Any, status: int = 200) -> Response:
    """Return plain data, in ASCII, which any text survives."""
    body = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return Response(body, status, media_type="application/json")


def attachment(content: str | bytes, name: str, media_type: str) -> Response:
    """Return a file to be saved."""
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def refusal(error: PotsimError) -> dict[str, Any]:
    """Return a refusal as data."""
    path, message = place(error.message)
    message, hint, path = spoken(message, error.hint, path)
    return {"refused": {"message": message, "hint": hint, "path": path}}


def place(message: str) -> tuple[str, str]:
    """Find which value of the plan a refusal is about."""
    found = _TABLE.match(message)
    if found:
        number = [] if found["number"] is None else [str(int(found["number"]) - 1)]
        steps = [found["table"], *number, found["inner"], found["key"]]
        words = message[found.end() :].lstrip(": ")
        keyed = found["key"] and message[found.end() : found.end() + 1] in {":", " "}
        if found["key"] in {"has", "is"}:  # "[[charge]] 1 has no abv."
            steps, words, keyed = steps[:-1], f"This {message[found.start('key') :]}", False
        return ".".join(step for step in steps if step), words if keyed else words or message
    message = message.removeprefix(f"{SOURCE}: ")
    named = _KEY.match(message)
    return (named["path"] if named else ""), message


def malformed(words: str, status: int = 400) -> Response:
    """Return the refusal of a request that no page of ours would send."""
    return data({"refused": {"message": words[: 4 * LONGEST], "hint": "", "path": ""}}, status)
