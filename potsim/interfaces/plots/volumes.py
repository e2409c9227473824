"""Volumes in a picture: in millilitres, or in litres where millilitres would be long numbers."""

from __future__ import annotations

from dataclasses import dataclass

from potsim.interfaces.wording import unit_of_volumes


@dataclass(frozen=True)
class Volumes:
    """The unit of volume of one picture.

    Parameters
    ----------
    unit : str
        Its symbol.
    per_l : float
        How many to a litre.
    digits : int
        Decimals worth saying.

    Examples
    --------
    >>> volumes_up_to(0.48).words(0.0304), volumes_up_to(61.0).words(60.914)
    ('30 mL', '60.9 L')
    """

    unit: str
    per_l: float
    digits: int

    def number(self, volume_l: float) -> str:
        """Return a volume [L] in the unit, without it."""
        return f"{self.per_l * volume_l:.{self.digits}f}"

    def words(self, volume_l: float) -> str:
        """Return a volume [L] with the unit."""
        return f"{self.number(volume_l)} {self.unit}"


def volumes_up_to(most_l: float) -> Volumes:
    """Return the unit for a picture that reaches to a volume.

    Parameters
    ----------
    most_l : float
        Largest volume in it [L].

    Returns
    -------
    Volumes
        Millilitres below ten litres.
    """
    unit, per_l = unit_of_volumes(most_l)
    return Volumes(unit, per_l, 1 if unit == "L" else 0)
