"""What results are as plain data meets the schemas that are shipped."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import jsonschema
import pytest
from refusals import refused

import potsim
from potsim.interfaces import schemas
from potsim.planning.sweep import number


@pytest.fixture(scope="module")
def other() -> potsim.Plan:
    """A plan that the schemas were not made from."""
    plan = number(potsim.example_plan(), "charge.abv").put(potsim.example_plan(), 33.0)
    return replace(plan, jars=potsim.JarPlan((potsim.JarStock(0.1, None), potsim.JarStock(0.25, 3))))


def documents(plan: potsim.Plan) -> dict[str, Any]:
    run = potsim.distil(plan)
    return {
        "run": run.to_dict(),
        "sweep": potsim.sweep(plan, "still.power", [20.0, 600.0]).to_dict(),
        "ensemble": potsim.ensemble(plan, 30).bands(),
        "follow": run.follow([{"time": "20 min", "collected": "250 mL", "strength": "77 %"}]).to_dict(),
    }


def test_documents_of_another_plan_meet_the_schemas(other: potsim.Plan) -> None:
    for kind, document in documents(other).items():
        schema = potsim.json_schema(kind)
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(json.loads(json.dumps(document)), schema)
        assert schema["required"]


def test_a_document_that_lacks_or_garbles_something_does_not(other: potsim.Plan) -> None:
    document = json.loads(json.dumps(potsim.distil(other).to_dict()))
    for key, value in (("keep", None), ("first_drop_min", "9 min"), ("jars", {})):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**document, key: value}, potsim.json_schema("run"))
    del document["plan"]
    with pytest.raises(jsonschema.ValidationError, match="'plan' is a required property"):
        jsonschema.validate(document, potsim.json_schema("run"))


def test_another_kind_is_refused() -> None:
    with refused("unknown_name", "", "sweeps", None, "sweep"):
        potsim.json_schema("sweeps")


@pytest.mark.long
def test_the_schemas_shipped_are_those_of_the_code() -> None:
    shipped = {kind: potsim.json_schema(kind) for kind in schemas.SAID}
    assert shipped == schemas.made()
