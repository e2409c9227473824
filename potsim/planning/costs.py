"""Where the alcohol went, and what a bottle comes to."""

from __future__ import annotations

from dataclasses import dataclass

from potsim.errors import RangeError, require
from potsim.planning.proofing import Proofing


@dataclass(frozen=True)
class Costs:
    """Pure alcohol in and out, and money in whatever currency the prices were given.

    Parameters
    ----------
    alcohol_in_l : float
        Pure alcohol that went in, charge and any spirit added later [L at 20 °C].
    alcohol_out_l : float
        Pure alcohol in what was proofed [L at 20 °C].
    alcohol_left_l : float
        The difference: in the pot, the heads, the tails and the jars not kept [L at 20 °C].
    bottles : int or None
        Full bottles; ``None`` if no bottle was named.
    spent : float or None
        Spirits, botanicals and so on, without bottles; ``None`` if not said.
    per_bottle : float or None
        What a full bottle comes to, with the bottle itself; ``None`` without ``spent`` or a full bottle.
    """

    alcohol_in_l: float
    alcohol_out_l: float
    alcohol_left_l: float
    bottles: int | None
    spent: float | None
    per_bottle: float | None


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
