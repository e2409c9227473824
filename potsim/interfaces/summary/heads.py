"""Heads cuts of other sizes: what they take of the base spirit, and what they cost."""

from __future__ import annotations

from typing import Any

from potsim.interfaces.summary.tables import Column, Section, Table
from potsim.interfaces.wording import volumes
from potsim.planning.heads import HeadsCut, heads_table
from potsim.planning.run import Run

SAFE = (
    "A heads cut does not make bad spirit safe: methanol comes over along with the alcohol from the first "
    "drop to the last, and nothing here knows what else is in a spirit of doubtful making. Charge only "
    "spirit fit to drink."
)
WHAT = "In per cent of what there is in the charge; what is early is soon out, what is late hardly touched:"
TIMES = (0.5, 1.0, 2.0, 3.0)  # the plan's own heads
SHARES = (0.005, 0.01, 0.02, 0.04)  # of the charge, where the plan takes none


def cuts(run: Run) -> tuple[HeadsCut, ...]:
    """Return what heads cuts of a few sizes would take.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of HeadsCut
        The plan's own among them; none if the base spirits bring nothing that is followed.
    """
    if not run.flavours.base:
        return ()
    heads_l = run.setting.heads_l
    wanted = [heads_l * k for k in TIMES] if heads_l > 0.0 else [run.charge.volume_l * k for k in SHARES]
    return heads_table(run.flavours, [size for size in wanted if size <= run.stop.collected_l])


def heads_sections(run: Run) -> tuple[Section, ...]:
    """Return the table of heads cuts.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Section
        One; none if the base spirits bring nothing that is followed.
    """
    found = cuts(run)
    if not found:
        return ()
    unit, sizes = volumes([cut.heads_l for cut in found])
    lost_unit, lost = volumes([cut.ethanol_l for cut in found])
    columns = (
        Column("heads of", align="left"),
        *(Column(_head(run, cut, size), unit) for cut, size in zip(found, sizes, strict=True)),
    )
    rows = [
        (f"pure alcohol, {lost_unit}", *lost),
        ("the alcohol", *(_percent(cut.ethanol_share) for cut in found)),
        *(
            (one.name, *(_percent(cut.taken[one.compound_id]) for cut in found))
            for one in run.flavours.base
            if one.compound_id in found[0].taken
        ),
    ]
    return (Section("What a heads cut takes, and what it costs", (WHAT, Table(columns, tuple(rows)))),)


def _head(run: Run, cut: HeadsCut, size: str) -> str:
    return f"plan {size}" if cut.heads_l == run.setting.heads_l else size


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}"


def plain_heads(run: Run) -> list[dict[str, Any]]:
    """Return the heads cuts as plain data, one for each size."""
    return [
        {
            "heads_l": cut.heads_l,
            "abv": cut.abv,
            "ethanol_l": cut.ethanol_l,
            "ethanol_share": cut.ethanol_share,
            "taken": dict(cut.taken),
        }
        for cut in cuts(run)
    ]
