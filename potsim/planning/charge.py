"""Base spirits and water blended into a pot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from potsim.errors import RequestError
from potsim.liquid import strength
from potsim.planning.plan import Ingredient


@dataclass(frozen=True)
class Charge:
    """What is in the pot at switch-on.

    Parameters
    ----------
    volume_l : float
        Volume at 20 °C [L]; less than the sum of the parts, by the contraction.
    abv : float
        Strength [% vol at 20 °C].
    mass_kg : float
        Mass [kg].
    ethanol_mol, water_mol : float
        Moles.
    parts : tuple of Ingredient
        What it was blended from.
    """

    volume_l: float
    abv: float
    mass_kg: float
    ethanol_mol: float
    water_mol: float
    parts: tuple[Ingredient, ...]

    @property
    def mol(self) -> float:
        """Moles of ethanol and water."""
        return self.ethanol_mol + self.water_mol

    @property
    def x(self) -> float:
        """Mole fraction of ethanol."""
        return self.ethanol_mol / self.mol

    @property
    def ethanol_l(self) -> float:
        """Litres of pure alcohol at 20 °C."""
        return self.volume_l * self.abv / 100.0

    def with_water(self, water_l: float) -> Charge:
        """Return the charge with more water in it.

        Parameters
        ----------
        water_l : float
            Volume at 20 °C [L].

        Returns
        -------
        Charge
            A new one; ``parts`` stay as they were.
        """
        if water_l == 0.0:
            return self
        both = strength.mix([self.volume_l, water_l], [self.abv, 0.0])
        ethanol, water = strength.moles(both.volume_l, both.abv)
        return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), self.parts)


def blend(parts: Sequence[Ingredient]) -> Charge:
    """Blend spirits and water by mass.

    Parameters
    ----------
    parts : sequence of Ingredient
        At least one.

    Returns
    -------
    Charge
        The blend; mass and ethanol add up, volumes do not.

    Raises
    ------
    RequestError
        If there is nothing to blend.
    """
    if not parts:
        raise RequestError("There is nothing in the charge.", "Give at least one spirit or water.")
    both = strength.mix([p.volume_l for p in parts], [p.abv for p in parts])
    ethanol, water = strength.moles(both.volume_l, both.abv)
    return Charge(both.volume_l, both.abv, both.mass_kg, float(ethanol), float(water), tuple(parts))
