"""A plan for more or less of the same: charge, bill and the volumes of the cuts grow together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from potsim.errors import require
from potsim.planning import leftovers
from potsim.planning.botanicals.bill import BotanicalDose
from potsim.planning.plan import Cuts, Plan, Stop
from potsim.planning.run import distil


def scaled(plan: Plan, factor: float, digits: int | None = None) -> Plan:
    """Return a plan for so many times as much.

    Parameters
    ----------
    plan : Plan
        The plan.
    factor : float
        How many times as much, above 0.
    digits : int, optional
        Significant digits to which the amounts are rounded; exact if left out.

    Returns
    -------
    Plan
        Charge, botanicals, heads, collected volumes of stops and power steps, and the spirit added before
        bottling, all times the factor; strengths, times, still, jars and bottle stay. Jars of earlier runs
        become spirit of the same strength.

    Raises
    ------
    RangeError
        If the factor is not above 0.

    Examples
    --------
    >>> import potsim
    >>> scaled(potsim.example_plan(), 2.0).charge[0].volume_l
    1.8
    """
    require("factor", factor, 0.0, open_low=True)

    def times(amount: Any) -> Any:
        if amount is None:
            return amount
        return amount * factor if digits is None else float(f"{amount * factor:.{digits}g}")

    def dose(of: BotanicalDose) -> BotanicalDose:
        return replace(of, mass_g=times(of.mass_g), pieces=times(of.pieces))

    def stop(of: Stop) -> Stop:
        return replace(of, collected_l=times(of.collected_l))

    still, bottling, cuts = plan.still, plan.bottling, plan.cuts
    steps = tuple(replace(step, from_collected_l=times(step.from_collected_l)) for step in still.power_steps)
    stretch = bottling.stretch
    return replace(
        plan,
        charge=tuple(
            replace(part, volume_l=times(part.volume_l)) for part in leftovers.resolve(plan.charge, distil)
        ),
        still=replace(still, power_steps=steps),
        botanicals=tuple(dose(of) for of in plan.botanicals),
        cuts=Cuts(
            heads_l=times(cuts.heads_l),
            heads_share=cuts.heads_share,
            stop=stop(cuts.stop),
            tails_from=stop(cuts.tails_from) if cuts.tails_from else None,
        ),
        bottling=replace(
            bottling, stretch=replace(stretch, spirit_l=times(stretch.spirit_l)) if stretch else None
        ),
    )
