"""JSON schemas of what results are as plain data, made from documents of many sorts of plans.

``python -m potsim.interfaces.schemas`` writes ``potsim/data/json_schema.json`` anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from potsim.errors import UnknownNameError
from potsim.interfaces.planfile import example_plan
from potsim.planning.ensemble import ensemble
from potsim.planning.plan import Bottling, Cuts, Ingredient, JarPlan, JarStock, Plan, Stop, Stretch
from potsim.planning.run import distil
from potsim.planning.schema import unit_of
from potsim.planning.sweep import sweep

TABLE = "json_schema.json"
DRAFT = "https://json-schema.org/draft/2020-12/schema"
# Objects whose keys are names of botanicals, compounds, answers or the like, not words of the format.
MAPS = ("cuts_add", "over", "shares", "traces_g", "blame", "blame_botanicals", "composition", "keep.volume_l")
SAID = {
    "run": "Run.to_dict",
    "sweep": "Sweep.to_dict",
    "ensemble": "Ensemble.bands",
    "follow": "Forecast.to_dict",
}
TYPES = ((bool, "boolean"), (int, "integer"), (float, "number"), (str, "string"), (type(None), "null"))


def json_schema(kind: str = "run") -> dict[str, Any]:
    """Return the JSON schema of a result as plain data.

    Parameters
    ----------
    kind : {'run', 'sweep', 'ensemble', 'follow'}
        Of ``run.to_dict()``, ``sweep.to_dict()``, ``ensemble.bands()`` or ``forecast.to_dict()``; the
        commands print the same with ``--json``.

    Returns
    -------
    dict
        Draft 2020-12. Keys may be added later; those required stay.

    Raises
    ------
    UnknownNameError
        For another kind.

    Examples
    --------
    >>> import potsim
    >>> potsim.json_schema("run")["properties"]["keep"]["properties"]["abv"]
    {'type': 'number', 'description': '% vol'}
    """
    if kind not in SAID:
        raise UnknownNameError("document", kind, SAID)
    text = (files("potsim") / "data" / TABLE).read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)[kind]
    return found


def made() -> dict[str, Any]:
    """Return the schemas as the code has them now."""
    return {
        kind: {"$schema": DRAFT, "title": SAID[kind], **schema_of(documents)}
        for kind, documents in samples().items()
    }


def schema_of(values: Sequence[Any], name: str = "") -> dict[str, Any]:
    """Return a schema that all values meet; what all objects have is required."""
    types = {next(word for kind, word in TYPES if isinstance(v, kind)) for v in values if not _many(v)}
    if "number" in types:
        types.discard("integer")
    elif "integer" in types and unit_of(name):
        types = (types - {"integer"}) | {"number"}
    out: dict[str, Any] = {}
    objects = [v for v in values if isinstance(v, dict)]
    lists = [v for v in values if isinstance(v, list | tuple)]
    types |= ({"object"} if objects else set()) | ({"array"} if lists else set())
    if types:
        out["type"] = sorted(types) if len(types) > 1 else next(iter(types))
    if unit_of(name) and types & {"number", "array"}:
        out["description"] = unit_of(name)
    if objects and name in MAPS:
        out["additionalProperties"] = schema_of([v for one in objects for v in one.values()])
    elif objects:
        keys = dict.fromkeys(key for one in objects for key in one)
        out["properties"] = {key: schema_of([o[key] for o in objects if key in o], key) for key in keys}
        out["required"] = [key for key in keys if all(key in one for one in objects)]
    if lists and (items := [item for one in lists for item in one]):
        out["items"] = schema_of(items)
    return out


def _many(value: Any) -> bool:
    return isinstance(value, dict | list | tuple)


def samples() -> dict[str, list[Any]]:
    """Return documents of each kind: with and without all that a plan may leave out."""
    plan = example_plan()
    bare = replace(plan, botanicals=(), bottling=Bottling())
    plate = replace(plan.still, heated_by="plate", parrot_l=0.08, lost=0.02, power_w=1200.0)
    stopped = Cuts(
        heads_share=0.02,
        stop=Stop(stream_abv=40.0, over={"coriander seed": 0.9}),
        tails_from=Stop(vapour_c=86.0),
    )
    more = (
        plan,
        bare,
        Plan((Ingredient("water", 2.0, 0.0),)),
        Plan((Ingredient("spirit", 2.0, 40.0, price_per_l=20.0),)),
        replace(plan, still=plate, bottling=replace(plan.bottling, stretch=Stretch(0.5, 60.0))),
        replace(plan, cuts=stopped, jars=JarPlan((JarStock(0.06, 4),))),
    )
    sweeps = (sweep(plan, "charge.abv", [30.0, 90.0]), sweep(bare, "still.power", [20.0, 700.0]))
    run, readings = distil(plan), [{"time": "15 min", "collected": "200 mL", "strength": "79 %"}]
    later = {"time": "60 min", "collected": "1100 mL", "strength": "55 %"}
    follows = (run.follow(readings), run.follow([*readings, later]), distil(bare).follow(readings))
    plain = {
        "run": [distil(one).to_dict() for one in more],
        "sweep": [one.to_dict() for one in sweeps],
        "ensemble": [ensemble(one, 40).bands() for one in (plan, bare)],
        "follow": [one.to_dict() for one in follows],
    }
    as_printed: dict[str, list[Any]] = json.loads(json.dumps(plain))
    return as_printed


def _write(lines: Iterable[str]) -> None:
    Path(str(files("potsim") / "data" / TABLE)).write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    _write([json.dumps(made(), indent=1, ensure_ascii=False)])
