"""Cautions that the botanicals call for: doses, dangers, legal limits, a film of oil on the pot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from potsim.liquid import clouding, strength
from potsim.planning.botanicals.bill import dose_warnings, limit_warnings
from potsim.planning.botanicals.botanical import Caution
from potsim.planning.flavours import Flavours, Span

FILM = 1.0  # load of the pot from which oil no longer dissolves
MG_PER_G = 1e3


def for_bill(flavours: Flavours, charge_l: float) -> tuple[str, ...]:
    """Doses far from the usual, and what to heed of each botanical.

    Parameters
    ----------
    flavours : Flavours
        The run.
    charge_l : float
        Volume of the charge [L at 20 °C].

    Returns
    -------
    tuple of str
        Sentences, each once.
    """
    doses = [sentence for dose in flavours.bill for sentence in dose_warnings(dose, charge_l)]
    known = [
        _said(dose.botanical.common_name, caution)
        for dose in flavours.bill
        for caution in dose.botanical.cautions
    ]
    return tuple(dict.fromkeys([*doses, *known]))


def _said(name: str, caution: Caution) -> str:
    who = "" if caution.text.lower().startswith(name.split()[0].lower()) else f"{name}: "
    return f"{who}{caution.text} ({caution.source})"


def for_drink(flavours: Flavours, kept: Sequence[Span], volume_l: float, abv: float) -> tuple[str, ...]:
    """Legal limits that the bottled spirit would exceed.

    Parameters
    ----------
    flavours : Flavours
        The run.
    kept : sequence of (float, float)
        Depletions between which the keep is collected.
    volume_l, abv : float
        Bottled spirit: volume [L at 20 °C] and strength [% vol].

    Returns
    -------
    tuple of str
        One sentence a compound over its limit; none when nothing is kept.

    Notes
    -----
    The content is that of the keep in the mass of the bottled spirit. It is predicted from typical yields and
    good to a factor of two or three: near a limit, have it measured.
    """
    if volume_l <= 0.0:
        return ()
    kilograms = float(strength.mass_of(volume_l, abv))
    held = {name: grams * MG_PER_G / kilograms for name, grams in flavours.over_g(kept).items()}
    return limit_warnings(flavours.bill, held)


def film(flavours: Flavours, end: float) -> tuple[str, ...]:
    """Whether more oil lies in the pot than its liquid dissolves.

    Parameters
    ----------
    flavours : Flavours
        The run.
    end : float
        Depletion at which it stops.

    Returns
    -------
    tuple of str
        One sentence, or none.

    Notes
    -----
    The sum of concentration over solubility, at the strength of the pot. The solubilities are those near 20
    to 25 °C, in truth they are higher at the boil: the film is foretold too soon rather than too late.
    Compounds of the distiller's own, whose solubility is not known, are left out.
    """
    if not flavours.compound_ids:
        return ()
    s = flavours.carried.depletion[flavours.carried.depletion <= end]
    held = {name: c for name, c in flavours.pot_g_per_l(s).items() if name not in flavours.own}
    states = flavours.course.at(s)
    filled = np.broadcast_to(np.asarray(clouding.load(held, states.pot_abv)), s.shape)
    if not np.any(filled >= FILM):
        return ()
    first = int(np.argmax(filled >= FILM))
    from_l = float(states.collected_l[first])
    return (
        f"Oil film: from {from_l:.2f} L on the pot holds more oil than it dissolves (up to "
        f"{float(filled.max()):.1f} times as much, counted at room temperature). While it lasts the first to "
        "come over come more slowly than shown.",
    )
