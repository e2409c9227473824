"""Where the alcohol went, and what a bottle comes to."""

from __future__ import annotations

from dataclasses import dataclass, replace

from potsim.errors import RangeError, require
from potsim.liquid.strength import Mixture
from potsim.planning.charge import Charge
from potsim.planning.plan import Bottling
from potsim.planning.proofing import Proofing

STRETCH = "the spirit added before bottling"


@dataclass(frozen=True)
class Costs:
    """Pure alcohol in and out, and money in whatever currency the prices were given.

    Parameters
    ----------
    alcohol_in_l : float
        Pure alcohol that went in, charge and any spirit added later [L at 20 °C].
    alcohol_out_l : float
        Pure alcohol in what was proofed, or kept [L at 20 °C].
    alcohol_left_l : float
        The difference: in the pot, the heads, the tails and the jars not kept [L at 20 °C].
    bottles : int or None
        Full bottles; ``None`` if no bottle was named.
    spent : float or None
        Spirits, botanicals and so on, without bottles; ``None`` if not said.
    per_bottle : float or None
        What a full bottle comes to, with the bottle itself; ``None`` without ``spent`` or a full bottle.
    unpriced : tuple of str
        Spirits that are not in ``spent``, since their price is not known.
    """

    alcohol_in_l: float
    alcohol_out_l: float
    alcohol_left_l: float
    bottles: int | None
    spent: float | None
    per_bottle: float | None
    unpriced: tuple[str, ...] = ()


def account(charge: Charge, bottling: Bottling, kept: Mixture, made: Proofing | None) -> Costs:
    """Return the account of alcohol and money of a run.

    Parameters
    ----------
    charge : Charge
        What went into the pot; what its parts cost, where they say so, is what is spent.
    bottling : Bottling
        Spirit added later, and the price of a bottle.
    kept : Mixture
        The keep with the spirit added to it.
    made : Proofing or None
        What came of both; ``None`` if they are not let down.

    Returns
    -------
    Costs
        The account; ``spent`` is ``None`` if no part of the charge says its price.
    """
    spirits = [part for part in charge.parts if part.abv > 0.0]
    prices = [part.price_per_l * part.volume_l for part in charge.parts if part.price_per_l is not None]
    spent = sum(prices) if prices else None
    unpriced = [part.name for part in spirits if part.price_per_l is None]
    alcohol_in_l, by = charge.ethanol_l, bottling.stretch
    if by is not None:
        alcohol_in_l += by.spirit_l * by.abv / 100.0
        unpriced.append(STRETCH)
    if made is None:
        left = max(alcohol_in_l - kept.ethanol_l, 0.0)
        found = Costs(alcohol_in_l, kept.ethanol_l, left, None, spent, None)
    else:
        found = costs(alcohol_in_l, made, spent=spent, bottle_price=bottling.bottle_price)
    return found if spent is None else replace(found, unpriced=tuple(unpriced))


def costs(
    alcohol_in_l: float, made: Proofing, *, spent: float | None = None, bottle_price: float | None = None
) -> Costs:
    """Return the account of alcohol and money of one proofing.

    Parameters
    ----------
    alcohol_in_l : float
        Pure alcohol that went in [L at 20 °C].
    made : Proofing
        What came of it.
    spent : float, optional
        What spirits, botanicals and so on cost.
    bottle_price : float, optional
        What an empty bottle costs; 0 if not said.

    Returns
    -------
    Costs
        The account. What fills no bottle is charged to the full ones.

    Raises
    ------
    RangeError
        If more came out than went in, or a price is below zero.

    Examples
    --------
    >>> from potsim.planning.proofing import proof_down
    >>> account = costs(1.0, proof_down(1.0, 75.0, 42.0, bottle_l=0.5), spent=30.0, bottle_price=1.0)
    >>> round(account.alcohol_left_l, 3), account.per_bottle
    (0.25, 11.0)
    """
    require("alcohol_in", alcohol_in_l, 0, unit="L")
    require("spent", spent, 0)
    require("bottle_price", bottle_price, 0)
    left = alcohol_in_l - made.ethanol_l
    if left < -1e-9 * made.ethanol_l:
        allowed = f"at least {made.ethanol_l:.4g} L, what came out"
        hint = "Count every spirit that went in, also one added before bottling."
        raise RangeError("alcohol_in", f"{alcohol_in_l:.4g} L", allowed, hint)
    per_bottle = None
    if spent is not None and made.bottles:
        per_bottle = spent / made.bottles + (bottle_price or 0.0)
    return Costs(alcohol_in_l, made.ethanol_l, max(left, 0.0), made.bottles, spent, per_bottle)
