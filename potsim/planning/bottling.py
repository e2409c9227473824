"""The keep brought down to bottling strength, as a plan asks."""

from __future__ import annotations

from dataclasses import replace

from potsim.errors import RangeError, RequestError
from potsim.liquid import strength
from potsim.planning.keep import Keep, stretched
from potsim.planning.plan import Bottling
from potsim.planning.proofing import WARMEST_C, Proofing, proof_down


def bottle(bottling: Bottling, pooled: Keep, room_c: float) -> Proofing | None:
    """Proof a keep down.

    Parameters
    ----------
    bottling : Bottling
        As in the plan.
    pooled : Keep
        What is kept.
    room_c : float
        Temperature of the room [°C]; told for 20 °C where it is too hot for proofing.

    Returns
    -------
    Proofing or None
        ``None`` if the plan names no bottling strength.

    Raises
    ------
    RequestError
        If the keep, stretched or not, holds no alcohol or is no stronger than that.
    """
    if bottling.abv is None:
        return None
    mixed = stretched(pooled, bottling.stretch)
    if mixed.abv == 0.0:
        raise RequestError(
            f"The keep holds no alcohol, and cannot be bottled at {bottling.abv:g} % vol.",
            "Charge a spirit, keep other jars, or leave bottling.abv out.",
        )
    at_c = room_c if room_c <= WARMEST_C else strength.REFERENCE_C
    try:
        made = proof_down(
            mixed.volume_l,
            mixed.abv,
            bottling.abv,
            at_c=at_c,
            steps=bottling.steps,
            bottle_l=bottling.bottle_l,
        )
    except RangeError as error:
        if error.argument != "target_abv":
            raise
        raise RangeError("bottling.abv", error.given, error.allowed, error.hint) from error
    if at_c == room_c:
        return made
    hot = f"A room of {room_c:.0f} °C is too hot for proofing: cool spirit and water to {at_c:.0f} °C first."
    return replace(made, notes=(hot, *made.notes))
