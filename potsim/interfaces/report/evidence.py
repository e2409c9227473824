"""The table of evidence, for a terminal and for the repository."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from potsim.interfaces.evidence.core import Comparison
from potsim.interfaces.report.tables import wrapped

HEAD = f"{'role':<8}  {'n':>4}  {'rms':>9}  {'worst':>9}  {'tolerance':>9}  {'limits':<8}  holds"
COLUMNS = ("subject", "source", "role", "n", "rms", "worst", "tolerance", "unit", "limits", "holds", "note")
NOTHING = 1e-6  # of the tolerance; less is rounding, and is printed as 0
LIMITS = (
    "limits: what the tolerance holds for, every value (worst), the root mean square (rms) or a share of the "
    "values. Roles: fitted values entered a regression, tested ones did not, practice is of the trade."
)


def verdict(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return in a sentence how many comparisons hold."""
    flat = [c for comparisons in every.values() for c in comparisons]
    missed = [c for c in flat if not c.holds]
    values = sum(c.n for c in flat)
    said = f"{len(flat) - len(missed)} of {len(flat)} comparisons hold, of {values} published values in all."
    if not missed:
        return said
    return f"{said} Not held: " + "; ".join(f"{c.subject} ({c.source})" for c in missed) + "."


def cells(comparison: Comparison) -> tuple[str, ...]:
    """Return one comparison as texts, in the order of `COLUMNS`."""
    c = comparison
    return (
        c.subject,
        c.source,
        c.role,
        str(c.n),
        _short(c.rms, c.tolerance),
        _short(c.worst, c.tolerance, sign=True),
        f"{c.tolerance:.3g}",
        c.unit,
        f"{100.0 * c.share:.0f} %" if c.criterion == "share" else c.criterion,
        "yes" if c.holds else "NO",
        c.note,
    )


def _short(value: float, tolerance: float, *, sign: bool = False) -> str:
    if abs(value) < NOTHING * tolerance:
        return "0"
    return f"{value:+.3g}" if sign else f"{value:.3g}"


def text_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return the evidence as text of at most 80 columns."""
    lines: list[str] = []
    for title, comparisons in every.items():
        lines += [_title(title), f"    {HEAD}"]
        for comparison in comparisons:
            lines += _lines(comparison)
        lines.append("")
    return "\n".join([*lines, *wrapped(LIMITS), "", *wrapped(verdict(every))])


def _lines(comparison: Comparison) -> list[str]:
    subject, source, role, n, rms, worst, tolerance, unit, limits, holds, _ = cells(comparison)
    of = "" if unit == "-" else f" [{unit}]"
    numbers = f"{role:<8}  {n:>4}  {rms:>9}  {worst:>9}  {tolerance:>9}  {limits:<8}  {holds}"
    return [*wrapped(f"{subject}{of}: {source}", first="  "), f"    {numbers}"]


def markdown_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> str:
    """Return the evidence as the Markdown that is kept in the repository."""
    lines = [
        "# Evidence",
        "",
        "Published values and how far potsim is from them. Written by `potsim evidence --markdown`; a test",
        "holds this file to what that prints.",
        "",
        verdict(every),
        "",
        LIMITS[0].upper() + LIMITS[1:],
    ]
    for title, comparisons in every.items():
        lines += ["", f"## {_title(title)}", "", _row(COLUMNS), _row(["---"] * len(COLUMNS))]
        lines += [_row(cells(comparison)) for comparison in comparisons]
    return "\n".join(lines)


def _row(texts: Sequence[str]) -> str:
    return "| " + " | ".join(text.replace("|", "\\|") for text in texts) + " |"


def data_of_evidence(every: Mapping[str, Sequence[Comparison]]) -> list[dict[str, Any]]:
    """Return the evidence as plain data."""
    return [
        {
            "module": title,
            "subject": c.subject,
            "source": c.source,
            "role": c.role,
            "unit": c.unit,
            "n": c.n,
            "rms": c.rms,
            "worst": c.worst,
            "tolerance": c.tolerance,
            "criterion": c.criterion,
            "share": c.share,
            "holds": c.holds,
            "note": c.note,
            "published": c.published.tolist(),
            "computed": c.computed.tolist(),
        }
        for title, comparisons in every.items()
        for c in comparisons
    ]


def _title(module: str) -> str:
    return module.replace("_", " ").capitalize()
