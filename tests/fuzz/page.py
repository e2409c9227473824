"""What a browser sends to the page: plans to be answered, things told of a run; as JSON."""

from __future__ import annotations

import json
import tempfile
import time
import zlib
from pathlib import Path
from typing import Any

import potsim
from potsim.errors import PotsimError
from potsim.interfaces.page import told
from potsim.interfaces.page.runs import TASKS
from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.planfile import tables_of
from tests.fuzz.checks import plain, says_something
from tests.fuzz.target import Target

EXAMPLE = tables_of(potsim.example_plan())
RUN_EVERY = 10  # of the requests that want a still run, one in so many is run
DEAR = frozenset(TASKS) - {"opened", "begin", "saved", "start", "shelf", "refusal"}
OF_RUN = ("run", "pour", "fit", "next_trial")
_folder = Path(tempfile.mkdtemp(prefix="potsim-fuzz-"))
_shelf = Shelf(_folder)
_run = _shelf.begin(potsim.example_plan().to_text(), "a run")
_journal = next(path for path in _folder.iterdir() if path.name.endswith(".jsonl"))
_begun = _journal.read_bytes()
_things = (
    {"kind": "heat", "ticks": ["cooling", "outlet", "flame", "stays"]},
    {
        "kind": "reading",
        "collected": "120 mL",
        "strength": "78,5 %",
        "temperature": "24 °C",
        "time": "14 min",
    },
    {"kind": "reading", "strength": "74 %", "collected": "180 mL", "pooled": True, "words": "warm"},
    {"kind": "reading", "of": 1, "where": "jar", "hazy": True, "vapour": "83 °C"},
    {"kind": "jar", "n": 1, "volume": "60 mL", "left_out": False, "saw": 0},
    {"kind": "volume", "n": 1, "volume": "55 mL"},
    {"kind": "word", "n": 1, "text": "green"},
    {"kind": "strike", "of": "one-1"},
    {"kind": "off"},
    {"kind": "pool", "jars": [2, 3]},
    {"kind": "measured", "mass": "880 g", "strength": "72.4 %", "temperature": "20 °C"},
    {"kind": "water", "mass": "300 g"},
    {"kind": "bottled", "count": 3},
    {"kind": "verdict", "botanical": "juniper", "verdict": "more", "words": "thin", "tasted_in": "2-4"},
    {"kind": "clouded", "at": "38 %", "at_c": "8 °C"},
    {"kind": "hold_up", "volume": "90 mL"},
    {"kind": "note", "text": "a note"},
    {"kind": "title", "title": "Second"},
)
_asked: tuple[dict[str, Any], ...] = (
    *(
        {"task": "tell", "sent": {"things": [{"id": "one-1", **thing}], "device": "phone"}}
        for thing in _things
    ),
    {"task": "tell", "sent": {"things": [{"id": f"n-{k}", **one} for k, one in enumerate(_things)]}},
    {"task": "answer", "sent": {"plan": EXAMPLE, "units": "us"}},
    {"task": "beside", "sent": {"plan": EXAMPLE}},
    {"task": "reach", "sent": {"plan": EXAMPLE, "bottles": 6}},
    {"task": "compare", "sent": {"parts": [{"tables": EXAMPLE}, {"tables": EXAMPLE}]}},
    {"task": "blend", "sent": {"parts": [{"tables": EXAMPLE, "parts": 2}, {"tables": EXAMPLE, "parts": 1}]}},
    {"task": "opened", "sent": {"text": potsim.example_plan().to_text(), "name": "t.toml"}},
    {"task": "begin", "sent": {"plan": EXAMPLE}},
    *({"task": task, "sent": {"run": _run}} for task in (*OF_RUN, "sheet")),
)


def attempt(data: bytes) -> str:
    """Try one request."""
    try:
        asked = json.loads(data.decode("utf-8"))
        task, sent = asked["task"], asked["sent"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return "no request"
    if not isinstance(sent, dict) or not isinstance(task, str):
        return "no request"
    if task == "tell":
        _journal.write_bytes(_begun)
        try:
            answer = told.tell(_shelf, _run, {"sent_ms": time.time() * 1000.0, **sent}, 100)
        except PotsimError as error:
            says_something(error)
            return "refused"
        plain(answer)
        return "told" if answer["accepted"] else "turned down"
    if task in OF_RUN and "run" not in sent:
        return "no request"  # it is part of the address
    if task not in TASKS or task == "refusal" or (task in DEAR and zlib.crc32(data) % RUN_EVERY):
        return "left out"
    try:
        plain(TASKS[task]({**sent, "root": str(_folder)}))
    except PotsimError as error:
        says_something(error)
        return "refused"
    return "answered"


TARGET = Target(
    "page",
    [json.dumps(one, ensure_ascii=False, indent=1).encode() for one in _asked],
    ("null", "true", "[]", "{}", '"tell"', '"answer"', '"id"', '"at_ms"', '"sure"', "1e999", '"of"'),
    attempt,
)
