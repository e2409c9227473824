"""How sure a run is, as a distiller wants to read it."""

from __future__ import annotations

from potsim.interfaces.summary.tables import Column, Points, Section, Table
from potsim.interfaces.wording import unit_of_volumes
from potsim.planning.ensemble.bands import Band
from potsim.planning.ensemble.many import Ensemble

# Answer, what it is called, its unit, what one of the answer's own unit is in that, decimals.
ROWS = (
    ("first_drop_min", "first drop", "min", 1.0, 0),
    ("stop.collected_l", "collected", "L", 1.0, 2),
    ("stop.elapsed_min", "minute of the stop", "min", 1.0, 0),
    ("stop.recovered", "alcohol over", "%", 100.0, 1),
    ("keep.volume_l", "keep", "L", 1.0, 2),
    ("keep.abv", "strength of the keep", "% vol", 1.0, 1),
    ("proofing.water_l", "water to add", "L", 1.0, 2),
    ("proofing.volume_l", "bottled", "L", 1.0, 2),
    ("proofing.bottles", "bottles", "", 1.0, 0),
)


def sure_section(found: Ensemble) -> Section:
    """Return how sure a run is.

    Parameters
    ----------
    found : Ensemble
        Runs drawn from what is uncertain.

    Returns
    -------
    Section
        Values with their bands, what was taken for uncertain, what to measure better.
    """
    columns = (
        Column("", align="left"),
        Column("", align="left"),
        Column("run"),
        Column("+/-"),
        Column("9 in 10 lie between"),
    )
    rows = [
        (words, *_row(found.answers[name], unit, per, digits))
        for name, words, unit, per, digits in ROWS
        if name in found.answers
    ]
    doubt = found.plan.uncertainty
    volume, neck, pot = (
        f"+/-{100.0 * share:.0f} %" for share in (doubt.volume, doubt.neck_loss, doubt.pot_loss)
    )
    taken = (
        f"{found.n} runs drawn (seed {found.seed}) with strengths +/-{doubt.abv:g} % vol, volumes {volume}, "
        f"neck loss {neck}, pot loss {pot}, room +/-{doubt.room_c:g} °C, and the misfit of the vapour model "
        "to published data. Set your own in [uncertainty]."
    )
    return Section("How sure", (Table(columns, tuple(rows)), taken, Points(found.sentences())))


def _row(band: Band, unit: str, per: float, digits: int) -> tuple[str, ...]:
    """Unit and numbers; volumes in millilitres where they are small."""
    if unit == "L" and (small := unit_of_volumes(band.high))[0] == "mL":
        unit, per, digits = (*small, 0)
    return unit, *_cells(band, per, digits)


def _cells(band: Band, per: float, digits: int) -> tuple[str, str, str]:
    low, high = (f"{per * value:.{digits}f}" for value in (band.low, band.high))
    return f"{per * band.value:.{digits}f}", f"{per * band.sd:.{max(digits, 1)}f}", f"{low} and {high}"
