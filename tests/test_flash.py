"""Flash points: the pure value as the standard has it, mixtures beside a table known from memory."""

import numpy as np
import pytest
from chemicals.safety import LFL, UFL, T_flash
from refusals import refused

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.interfaces import quantities
from potsim.liquid import strength
from potsim.liquid.heat import flash_point
from potsim.planning.notes import fire

ETHANOL, STANDARD = "64-17-5", "IEC 60079-20-1 (2010)"
# Flash points [°C] by mass per cent; a handbook's table, from memory, its edition not noted.
REMEMBERED = {5: 62, 10: 49, 20: 36, 30: 29, 40: 26, 50: 24, 60: 22, 80: 20, 96: 17}


def test_figures_of_ethanol_are_those_of_the_standard() -> None:
    """IEC 60079-20-1 (2010) through the library chemicals."""
    told = {row["fact"]: float(row["value"]) for row in read_table("safety.csv") if row["topic"] == "fire"}
    assert told["flash point of ethanol"] + 273.15 == T_flash(ETHANOL, method=STANDARD)
    assert told["lower flammable limit of the vapour in air"] == pytest.approx(
        100.0 * LFL(CASRN=ETHANOL, method=STANDARD)
    )
    assert told["upper flammable limit of the vapour in air"] == pytest.approx(
        100.0 * UFL(CASRN=ETHANOL, method=STANDARD)
    )
    assert flash_point(1.0) == pytest.approx(T_flash(ETHANOL, method=STANDARD), abs=1e-3)


def test_mixtures_err_to_the_safe_side_of_a_table_from_memory() -> None:
    ours = [flash_point(float(strength.x_from_w(mass / 100.0))) - 273.15 for mass in REMEMBERED]
    above = np.array(list(REMEMBERED.values())) - ours
    assert above.min() > 0.0
    assert above.max() < 7.1
    assert np.all(np.diff(ours) < 0.0)


@pytest.mark.parametrize("x", [0.0, 1e-4])
def test_what_cannot_be_lit_is_refused(x: float) -> None:
    with refused("not_lit", "x", x, 0.003, error=RangeError):
        flash_point(x)


def test_a_strong_charge_is_told_where_it_lights() -> None:
    assert fire(40.0) == ()
    assert fire(quantities.abv("80 proof")) == ()  # 40 % vol at 60 °F, the same to any hydrometer
    assert fire(41.0) != ()
    (note,) = fire(100.0)
    assert (note.kind, note.severity) == ("strong_charge", "danger")
    assert note.values["lights_c"] == pytest.approx(12.0, abs=0.01)
