"""The file of a still remembered: a table that plans name, and how sure it is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from potsim.errors import PotsimError, RequestError, Where
from potsim.interfaces import quantities
from potsim.interfaces.tomlfile import parse, read_file
from potsim.interfaces.wording import exact
from potsim.planning.forecast import Learnt, Loss

STILL_HEADER = """\
# A still learnt from readings. A plan takes it over by  from_file = {name}  in its [still];
# what that table says itself counts before what is here.
"""


def still_text(learnt: Learnt, name: str) -> str:
    """Write what is remembered of a still as the text of its file."""
    losses = [(key, loss) for key, loss in (("neck", learnt.neck), ("pot", learnt.pot)) if loss is not None]
    lines = [STILL_HEADER.format(name=json.dumps(name, ensure_ascii=False)), "[still]"]
    lines += [f'{key}_loss = "{_loss_text(loss.w_per_k)}"' for key, loss in losses]
    lines += [
        "",
        "# Standard errors, and how many runs they come from; the next run is weighed against them.",
        "[learnt]",
    ]
    for key, loss in losses:
        lines += [f'{key}_loss_error = "{_loss_text(loss.error_w_per_k)}"', f"{key}_runs = {loss.runs}"]
    lines.append(f"runs = [{', '.join(json.dumps(mark) for mark in learnt.runs)}]")
    return "\n".join(lines) + "\n"


def _loss_text(w_per_k: float) -> str:
    return exact(float(f"{w_per_k:.4g}"), "W/K")


def read_still(path: Path) -> Learnt:
    """Read the file of a still remembered."""
    document = parse(read_file(path), path.name)
    still, errors = document.get("still"), document.get("learnt")
    if not isinstance(still, dict) or not isinstance(errors, dict):
        raise RequestError(
            f"'{path.name}' is not a still that was learnt: it needs [still] and [learnt].",
            "Name another file.",
            kind="file",
        )
    try:
        return Learnt(_loss(still, errors, "neck"), _loss(still, errors, "pot"), _runs(errors))
    except PotsimError as error:
        raise error.at(Where(path.name)) from None


def _runs(errors: dict[str, Any]) -> tuple[str, ...]:
    runs = errors.get("runs", [])
    if not isinstance(runs, list) or not all(isinstance(mark, str) for mark in runs):
        raise RequestError('[learnt] runs is to be a list of marks such as ["5f2a"].', "Correct it.")
    return tuple(runs)


def _loss(still: dict[str, Any], errors: dict[str, Any], key: str) -> Loss | None:
    if f"{key}_loss" not in still:
        return None
    runs = errors.get(f"{key}_runs", 1)
    error = quantities.heat_loss_w_per_k(errors.get(f"{key}_loss_error", ""))
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < 1 or error <= 0.0:
        raise RequestError(
            f"[learnt] {key}_runs and {key}_loss_error are to be a whole number from 1 and an error above 0.",
            "Correct them, or save the still to a new file.",
        )
    return Loss(quantities.heat_loss_w_per_k(still[f"{key}_loss"]), error, runs)
