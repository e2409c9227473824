"""Text that a person reads in a terminal: sections, facts, paragraphs and tables within 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal, NamedTuple

from potsim.interfaces import output
from potsim.interfaces.wording import column
from potsim.records import dataclass

WIDTH = 80
INDENT = 2
GAP = 2  # between columns
NARROWEST = 8  # of a column of words
LABEL, MOST_LABEL = 14, 24  # of facts


@dataclass(frozen=True)
class Column:
    """A column of a table."""

    head: str  # its name
    unit: str = ""  # unit of its numbers, set below the name; empty for none
    # numbers stand at the right, words at the left; only words are wrapped
    align: Literal["right", "left"] = "right"


@dataclass(frozen=True)
class Table:
    """Rows of ready-made cells under columns."""

    columns: tuple[Column, ...]  # the columns
    rows: tuple[tuple[str, ...], ...]  # cells, one for each column


class Told(NamedTuple):
    """A column as it is declared: what it tells of each row, and as which kind of quantity."""

    head: str  # its name
    of: Callable[[Any], Any]  # of a row its value, `None` for a blank, or ready-made text
    # in the table of formats, or what tells a column; ready-made text at the left if empty, else "right"
    kind: str | Callable[[Sequence[float]], tuple[str, list[str]]] = ""
    unit: str = ""  # of ready-made text; numbers have that of the largest


def tabulate(rows: Iterable[Any], *columns: Told | None) -> Table:
    """Return a declared table; a column of `None` is left out."""
    lines = list(rows)
    heads, cells = [], []
    for head, of, kind, unit in filter(None, columns):
        values = [of(line) for line in lines]
        if kind in ("", "right"):
            heads.append(Column(head, unit, "right" if kind else "left"))
            cells.append(values)
            continue
        known = [value for value in values if value is not None]
        its_unit, told = kind(known) if callable(kind) else column(kind, known)
        texts = iter(told)
        heads.append(Column(head, its_unit))
        cells.append(["" if value is None else next(texts) for value in values])
    return Table(tuple(heads), tuple(zip(*cells, strict=True)))


@dataclass(frozen=True)
class Facts:
    """Labels with what is to be said of each."""

    pairs: tuple[tuple[str, str], ...]  # label and text


@dataclass(frozen=True)
class Points:
    """Sentences, each with a dash before it."""

    texts: tuple[str, ...]  # the sentences


Part = str | Table | Facts | Points


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    title: str  # the heading
    parts: tuple[Part, ...]  # a string is a paragraph


def render(sections: Sequence[Section], width: int | None = None) -> str:
    """Write sections as text, as wide as the terminal if it is narrower than 80 columns."""
    width = output.columns() if width is None else width
    blocks = []
    for section in sections:
        parts = [part_lines(part, width) for part in section.parts]
        body = [line for part in parts if part for line in ("", *part)][1:]
        blocks.append("\n".join([*wrapped(section.title, width), *body]))
    return "\n\n".join(blocks)


def part_lines(part: Part, width: int = WIDTH) -> list[str]:
    """Return one part of a section as lines, indented."""
    if isinstance(part, Table):
        return table_lines(part, width)
    if isinstance(part, Facts):
        longest = max((len(label) for label, _ in part.pairs), default=0)
        label_width = min(max(LABEL, longest + GAP), MOST_LABEL)
        return [line for pair in part.pairs for line in _fact(*pair, label_width, width)]
    if isinstance(part, Points):
        return [line for text in part.texts for line in wrapped(text, width, " " * INDENT + "- ")]
    return wrapped(part, width, " " * INDENT)


def wrapped(text: str, width: int = WIDTH, first: str = "", rest: str | None = None) -> list[str]:
    """Break text into lines."""
    rest = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return lines or [first.rstrip()]


def _fact(label: str, text: str, label_width: int, width: int) -> list[str]:
    head = f"{'':{INDENT}}{label:<{label_width}}"
    return wrapped(text, width, head if head.endswith(" ") else f"{head} ", " " * (INDENT + label_width))


def table_lines(table: Table, width: int = WIDTH) -> list[str]:
    """Return a table as lines."""
    columns = table.columns
    heads = [tuple(c.head for c in columns)]
    if any(c.unit for c in columns):
        heads.append(tuple(c.unit for c in columns))
    natural = [max(len(row[k]) for row in (*heads, *table.rows)) for k in range(len(columns))]
    least = _least((*heads, *table.rows), columns)
    widths = _fitted(natural, least, width - INDENT - GAP * (len(columns) - 1))
    if widths is None:
        return _in_blocks(table, natural, least, width)
    lines: list[str] = []
    for row in (*heads, *table.rows):
        lines += _row(row, widths, columns)
    return lines


def _least(rows: Sequence[Sequence[str]], columns: Sequence[Column]) -> list[int]:
    """Least widths: of words the longest, which is never broken; of numbers all."""
    cells = [[row[k] for row in rows] for k in range(len(columns))]
    pieces = [
        [word for cell in column for word in cell.split()] if columns[k].align == "left" else column
        for k, column in enumerate(cells)
    ]
    return [max(map(len, found), default=0) for found in pieces]


def _fitted(natural: Sequence[int], least: Sequence[int], room: int) -> list[int] | None:
    """Widths that fit into the room, taken from the widest column of words; None if none do."""
    widths = list(natural)
    while sum(widths) > room:
        words = [k for k, floor in enumerate(least) if widths[k] > max(floor, NARROWEST)]
        if not words:
            return None
        widths[max(words, key=lambda k: widths[k])] -= 1
    return widths


def _row(cells: Sequence[str], widths: Sequence[int], columns: Sequence[Column]) -> list[str]:
    """One row, on several lines where words are wrapped."""
    broken = [
        wrapped(cell, size) if column.align == "left" and cell else [cell]
        for cell, size, column in zip(cells, widths, columns, strict=True)
    ]
    depth = max(len(cell) for cell in broken)
    filled = [cell + [""] * (depth - len(cell)) for cell in broken]
    return [_line(line, widths, columns) for line in zip(*filled, strict=True)]


def _line(cells: Sequence[str], widths: Sequence[int], columns: Sequence[Column]) -> str:
    placed = [
        f"{cell:<{size}}" if column.align == "left" else f"{cell:>{size}}"
        for cell, size, column in zip(cells, widths, columns, strict=True)
    ]
    return (" " * INDENT + (" " * GAP).join(placed)).rstrip()


def _in_blocks(table: Table, natural: Sequence[int], least: Sequence[int], width: int) -> list[str]:
    """A table that is too wide as several below each other, each with the first column."""
    first = max(least[0], min(natural[0], width // 3))
    room = width - INDENT - first
    blocks: list[list[int]] = [[]]
    for k in range(1, len(natural)):
        if blocks[-1] and sum(natural[j] + GAP for j in (*blocks[-1], k)) > room:
            blocks.append([])
        blocks[-1].append(k)
    parts = []
    for block in blocks:
        kept = [0, *block]
        columns = tuple(table.columns[k] for k in kept)
        narrowed = [natural[k] for k in kept], [least[k] for k in kept]
        fitted = _fitted(*narrowed, width - INDENT - GAP * len(block))
        if fitted is None:
            return _told(table, width)
        part = Table(columns, tuple(tuple(row[k] for k in kept) for row in table.rows))
        parts.append(table_lines(part, width))
    return [line for part in parts for line in ("", *part)][1:]


def _told(table: Table, width: int) -> list[str]:
    """Each row as lines of its own, for a table that is too wide."""
    lines: list[str] = []
    for row in table.rows:
        for k, (one, cell) in enumerate(zip(table.columns, row, strict=True)):
            unit = f" {one.unit}" if one.unit and cell else ""
            lead = " " * INDENT + ("- " if k == 0 else "  ")
            head = f"{one.head}: " if one.head else ""
            lines += wrapped(f"{head}{cell}{unit}", width, lead, " " * (INDENT + 4))
    return lines
