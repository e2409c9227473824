"""The floors of the house: imports point downwards only."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import potsim

ROOT = Path(potsim.__file__).parent
FLOORS = ["data", "liquid", "still", "planning", "interfaces"]
# A package above its floor of use: who may import it.
HOMES = {
    "thermo": {"liquid"},
    "chemicals": {"liquid"},
    "matplotlib": {"interfaces"},
    "tomlkit": {"interfaces"},
}
MODULES = sorted(p for p in ROOT.rglob("*.py"))


def imports(path: Path) -> list[str]:
    """Absolute dotted names of all that a module imports, wherever in the file."""
    package = ["potsim", *path.relative_to(ROOT).parent.parts]
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            stem = ".".join([*base, *(node.module or "").split(".")]).strip(".")
            found += [f"{stem}.{alias.name}" for alias in node.names]
    return found


def floor(path: Path) -> str | None:
    first = path.relative_to(ROOT).parts[0]
    return first if first in FLOORS else None


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_down(path: Path) -> None:
    here = floor(path)
    if here is None:
        return
    name = path.relative_to(ROOT).as_posix()
    for imported in imports(path):
        parts = imported.split(".")
        if parts[0] == "potsim" and len(parts) > 1 and parts[1] in FLOORS:
            assert FLOORS.index(parts[1]) <= FLOORS.index(here), f"{name} imports {imported}"
        for package, homes in HOMES.items():
            if parts[0] == package:
                assert here in homes, f"{name} imports {imported}"


def test_the_page_for_contributors_names_files_that_are_there() -> None:
    house = ROOT.parent
    named = set(
        re.findall(r"`([\w/]+\.(?:py|csv|js))", (house / "DEVELOPERS.md").read_text(encoding="utf-8"))
    )
    there = [
        p.as_posix() for folder in ("potsim", "tests", "benchmarks") for p in (house / folder).rglob("*.*")
    ]
    lost = {name for name in named if not any(path.endswith(f"/{name}") for path in there)}
    assert len(named) > 30
    assert not lost


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_file_holds_one_idea(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 700


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_inside_functions_say_that_they_are_for_the_start(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    functions = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)]
    inside = [node for each in functions for node in ast.walk(each)]
    if any(isinstance(node, ast.Import | ast.ImportFrom) for node in inside):
        assert "start-up:" in text


REFUSALS = {"PotsimError", "RequestError", "RangeError", "UnknownNameError", "ConvergenceError", "BusyError"}


def refusals(path: Path) -> list[ast.Call]:
    """Calls of a module that make a refusal, or check a range."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            of = node.func.value if isinstance(node.func, ast.Attribute) else node.func
            if isinstance(of, ast.Name) and of.id in {*REFUSALS, "require"}:
                found.append(node)
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.stem)
def test_refusals_are_records_without_a_sentence(path: Path) -> None:
    for call in refusals(path):
        named = isinstance(call.func, ast.Attribute) or ast.unparse(call.func) in (
            "UnknownNameError",
            "require",
        )
        assert named, f"line {call.lineno}: raise a record, with .of"
        said = [n.value for n in ast.walk(call) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
        assert not [text for text in said if len(text.split()) > 2], f"line {call.lineno} of {path.name}"
