"""Every published value: it holds, or is owned up to; and each comparison could fail."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

from potsim import data
from potsim.interfaces import evidence
from potsim.interfaces.evidence import Comparison, compare, everything, modules

ALL = [pytest.param(c, id=f"{name}: {c.subject}") for name, found in everything().items() for c in found]
MISSED = {
    subject
    for name in modules()
    for subject in getattr(importlib.import_module(f"{evidence.__name__}.{name}"), "MISSED", ())
}
TABLES = sorted(
    path.relative_to(Path(data.__file__).parent) for path in Path(data.__file__).parent.rglob("*.csv")
)
NAMED = ("source", "from memory", "common practice", "handbook", "oiml r 22", "fitted by")


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("comparison", ALL)
def test_holds_or_is_owned_up_to(comparison: Comparison) -> None:
    found = f"worst {comparison.worst:.3g}, rms {comparison.rms:.3g}, within {comparison.within:.2f}"
    assert comparison.holds == (comparison.subject not in MISSED), (
        f"{comparison.source}: {found}, allowed {comparison.tolerance:g} {comparison.unit} {comparison.note}"
    )
    assert comparison.source.strip()


@pytest.mark.parametrize("comparison", ALL)
@pytest.mark.parametrize("tolerances", [5.0, -5.0])
def test_every_reference_moved_by_five_tolerances_is_refused(
    comparison: Comparison, tolerances: float
) -> None:
    assert not comparison.shifted(tolerances).holds


def test_a_known_miss_is_still_a_comparison() -> None:
    assert {c.values[0].subject for c in ALL} >= MISSED


@pytest.mark.parametrize("table", TABLES, ids=str)
def test_every_table_says_where_its_numbers_come_from(table: Path) -> None:
    name = table.as_posix()
    said = data.header(name).lower()
    columns = data.read_table(name)[0]
    by_row = [column for column in columns if "source" in column or "confidence" in column]
    assert by_row or any(word in said for word in NAMED), name
    for row in data.read_table(name):
        for column in {"source", "confidence"} & set(by_row):
            assert row[column].strip() or not any(map(is_number, row.values())), f"{name}: {row}"


def test_columns_of_unequal_length_or_with_holes_are_refused() -> None:
    with pytest.raises(ValueError, match="2 published values against 1 computed"):
        compare("x", "y", "-", [1.0, 2.0], [1.0], 0.1)
    with pytest.raises(ValueError, match="not finite"):
        compare("x", "y", "-", [1.0], [float("nan")], 0.1)
    with pytest.raises(ValueError, match="0 published values"):
        compare("x", "y", "-", [], [], 0.1)


def test_what_a_criterion_limits() -> None:
    worst = compare("x", "y", "-", [0.0, 0.0], [0.05, 0.2], 0.1)
    assert not worst.holds
    assert worst.worst == 0.2
    assert worst.rms == pytest.approx(0.1458, abs=1e-4)
    assert compare("x", "y", "-", [0.0, 0.0], [0.05, 0.2], 0.15, criterion="rms").holds
    assert compare("x", "y", "-", [0.0, 0.0], [0.05, 0.2], 0.1, criterion="share", share=0.5).holds
    assert not compare("x", "y", "-", [0.0, 0.0], [0.05, 0.2], 0.1, criterion="share", share=0.6).holds
