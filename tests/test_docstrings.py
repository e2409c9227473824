"""Examples in docstrings run as they are pasted: nothing is there but what they import."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import potsim

MODULES = [
    one.name for one in pkgutil.walk_packages(potsim.__path__, "potsim.") if not one.name.endswith("__main__")
]


def examples() -> list[doctest.DocTest]:
    """All of them, each with nothing defined."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = [
        each
        for name in MODULES
        for each in finder.find(importlib.import_module(name), name, globs={})
        if each.examples
    ]
    return [doctest.DocTest(each.examples, {}, each.name, each.filename, each.lineno, None) for each in found]


@pytest.mark.parametrize("example", examples(), ids=lambda example: example.name)
def test_it_runs_when_pasted(example: doctest.DocTest) -> None:
    said: list[str] = []
    failed, tried = doctest.DocTestRunner(verbose=False).run(example, out=said.append)
    assert not failed, "".join(said)
    assert tried


def test_what_computes_shows_how() -> None:
    named = {example.name.rsplit(".", 1)[-1] for example in examples()}
    assert {"distil", "sweep", "study", "ensemble", "follow", "contours", "json_schema", "reach"} <= named
