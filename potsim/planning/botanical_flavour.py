"""What one line of the bill does over a run, as a whole and compound by compound."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from potsim.planning.botanicals.bill import Where
from potsim.planning.timing import Klass, Timing


@dataclass(frozen=True)
class CompoundFlavour:
    """One compound of one botanical, or of the base spirit.

    Parameters
    ----------
    compound_id, name, odour : str
        What it is and what it smells of.
    klass : {'early', 'middle', 'late', 'stays'}
        When it comes over, see `potsim.planning.timing`.
    timing : Timing or None
        Start, peak and end; None for what stays.
    releasable_g, over_g : float
        What the source holds of it, and what of that is over with 99 % of the alcohol [g].
    left_in_pot, left_in_plant : float
        Share of the releasable amount not over by then, and the part of that still in the plant; 0 to 1.
    odour_threshold_ug_per_l : float or None
        Least concentration noticed in water [µg/L], a rough guide; None when none is known.
    route : str
        How its volatility was found.
    expected_factor : float
        Expected error of the volatility: 2 means between half and double.
    """

    compound_id: str
    name: str
    odour: str
    klass: Klass
    timing: Timing | None
    releasable_g: float
    over_g: float
    left_in_pot: float
    left_in_plant: float
    odour_threshold_ug_per_l: float | None
    route: str
    expected_factor: float


@dataclass(frozen=True)
class BotanicalFlavour:
    """One line of the bill; the volatile oil as a whole and each compound.

    Parameters
    ----------
    line : int
        Which line of the bill, from 0.
    botanical_id, botanical : str
        What it is.
    where : {'pot', 'basket'}
        Where it lies.
    klass : {'early', 'middle', 'late', 'stays'}
        When its oil comes over, see `potsim.planning.timing`.
    timing : Timing or None
        Start, peak and end; None for what stays.
    releasable_g, over_g : float
        Oil whose compounds are followed, and what of that is over with 99 % of the alcohol [g].
    left_in_pot, left_in_plant : float
        Share of the releasable oil not over by then, and the part of that still in the plant; 0 to 1.
    unlisted_oil_g : float
        Oil of unknown composition, which is not followed [g].
    compounds : tuple of CompoundFlavour
        In the order of the composition, what is not volatile last.
    """

    line: int
    botanical_id: str
    botanical: str
    where: Where
    klass: Klass
    timing: Timing | None
    releasable_g: float
    over_g: float
    left_in_pot: float
    left_in_plant: float
    unlisted_oil_g: float
    compounds: tuple[CompoundFlavour, ...]


def plain_compound(one: CompoundFlavour) -> dict[str, Any]:
    """Return a compound as plain data for programs.

    Parameters
    ----------
    one : CompoundFlavour
        The compound.
    """
    return {
        "compound": one.compound_id,
        "name": one.name,
        "odour": one.odour,
        **_when(one),
        "expected_factor": one.expected_factor,
    }


def plain_botanical(flavour: BotanicalFlavour) -> dict[str, Any]:
    """Return a botanical as plain data for programs; start, peak and end are left out for what stays.

    Parameters
    ----------
    flavour : BotanicalFlavour
        The line of the bill.
    """
    return {
        "botanical": flavour.botanical,
        "where": flavour.where,
        **_when(flavour),
        "unlisted_oil_g": flavour.unlisted_oil_g,
        "compounds": [plain_compound(one) for one in flavour.compounds],
    }


def _when(flavour: BotanicalFlavour | CompoundFlavour) -> dict[str, Any]:
    timing = flavour.timing
    return {
        "class": flavour.klass,
        **({} if timing is None else asdict(timing)),
        "releasable_g": flavour.releasable_g,
        "over_g": flavour.over_g,
        "left_in_pot": flavour.left_in_pot,
        "left_in_plant": flavour.left_in_plant,
    }
