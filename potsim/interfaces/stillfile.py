"""The file of a still remembered: a table that plans name, and how sure it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError, Where
from potsim.interfaces import quantities
from potsim.interfaces.quantities import shown
from potsim.interfaces.tomlfile import parse, read_file
from potsim.interfaces.wording import exact
from potsim.planning.learnt import Known, Learnt

STILL_HEADER = """\
# A still learnt from readings. A plan takes it over by  from_file = {name}  in its [still];
# what that table says itself counts before what is here.
"""


def _loss_text(w_per_k: float) -> str:
    return exact(float(f"{w_per_k:.4g}"), "W/K")


def _share_text(share: float) -> str:
    return exact(float(f"{100.0 * share:.4g}"), "%")


NUMBERS: dict[str, tuple[str, Callable[[str], float], Callable[[float], str]]] = {
    "neck_loss": ("neck_w_per_k", quantities.heat_loss_w_per_k, _loss_text),
    "heat_share": ("heat_share", quantities.share, _share_text),
}
"""Keys of a still's file: the number that is remembered, how it is read and written."""


def still_text(learnt: Learnt, name: str) -> str:
    """Write what is remembered of a still as the text of its file."""
    known = [(key, getattr(learnt, field), write) for key, (field, _, write) in NUMBERS.items()]
    known = [(key, number, write) for key, number, write in known if number is not None]
    lines = [STILL_HEADER.format(name=json.dumps(name, ensure_ascii=False)), "[still]"]
    lines += [f'{key} = "{write(number.value)}"' for key, number, write in known]
    lines += [
        "",
        "# Standard errors, and how many runs they come from; the next run is weighed against them.",
        "[learnt]",
    ]
    for key, number, write in known:
        lines += [f'{key}_error = "{write(number.error)}"', f"{key}_runs = {number.runs}"]
    lines.append(f"runs = [{', '.join(json.dumps(mark) for mark in learnt.runs)}]")
    return "\n".join(lines) + "\n"


def read_still(path: Path) -> Learnt:
    """Read the file of a still remembered."""
    document = parse(read_file(path), path.name)
    still, errors = document.get("still"), document.get("learnt")
    if not isinstance(still, dict) or not isinstance(errors, dict):
        raise RequestError.of("no_still", given=path.name)
    try:
        known = {field: _known(still, errors, key) for key, (field, _, _) in NUMBERS.items()}
        return Learnt(known["neck_w_per_k"], known["heat_share"], _runs(errors))
    except PotsimError as error:
        raise error.at(Where(path.name)) from None


def is_still(path: Path) -> bool:
    """Whether a file is one of a still remembered, and no plan."""
    try:
        document = parse(read_file(path), path.name)
    except PotsimError:
        return False
    return "learnt" in document and "charge" not in document


def _runs(errors: dict[str, Any]) -> tuple[str, ...]:
    runs = errors.get("runs", [])
    if not isinstance(runs, list) or not all(isinstance(mark, str) for mark in runs):
        raise RequestError.of("no_marks", "learnt.runs", given=shown(runs))
    return tuple(runs)


def _known(still: dict[str, Any], errors: dict[str, Any], key: str) -> Known | None:
    if key not in still:
        return None
    _, read, _ = NUMBERS[key]
    # Files of before counted the runs of a loss under its name without "_loss".
    runs = errors.get(f"{key}_runs", errors.get(f"{key.removesuffix('_loss')}_runs", 1))
    error = read(errors.get(f"{key}_error", ""))
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < 1 or error <= 0.0:
        raise RequestError.of("no_error", f"learnt.{key}_error", given=shown(runs), key=key)
    return Known(read(still[key]), error, runs)
