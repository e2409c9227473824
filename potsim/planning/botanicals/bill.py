"""The bill of botanicals: what the distiller weighs out, and what that brings into the still."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from potsim.errors import RequestError, UnknownNameError, require
from potsim.planning.botanicals.botanical import STATES, Botanical, Spread, State
from potsim.planning.botanicals.library import Library, find

Prepared = Literal["whole", "cracked", "ground", "sliced"]
Where = Literal["pot", "basket"]
PREPARED: tuple[Prepared, ...] = ("whole", "cracked", "ground", "sliced")
WHERE: tuple[Where, ...] = ("pot", "basket")

# Beyond these multiples of the usual range a dose is likelier a slip than a wish; common practice, no source.
FAR_ABOVE = 2.0
FAR_BELOW = 0.1


@dataclass(frozen=True)
class BotanicalDose:
    """One line of a bill, as the distiller says it.

    Parameters
    ----------
    name : str
        Any name that the library understands.
    mass_g : float or None
        Mass as weighed [g]; or else ``pieces``.
    pieces : float or None
        Number of usual pieces.
    state : {'dried', 'fresh'} or None
        State weighed; ``None`` for that of the library.
    prepared : {'whole', 'cracked', 'ground', 'sliced'} or None
        Preparation; ``None`` for the usual one.
    macerated_h : float
        Hours in the charge at room temperature before the still is lit [h].
    where : {'pot', 'basket'}
        In the pot, or in a basket in the rising vapour.
    oil_yield_pct : float or None
        Oil found in this very lot, mass % in the state the library counts; ``None`` for the typical one.
    """

    name: str
    mass_g: float | None = None
    pieces: float | None = None
    state: State | None = None
    prepared: Prepared | None = None
    macerated_h: float = 0.0
    where: Where = "pot"
    oil_yield_pct: float | None = None

    def __post_init__(self) -> None:
        require(self._key("mass"), self.mass_g, 0, 1e7, "g")
        require(self._key("pieces"), self.pieces, 0, 1e7, "pieces")
        require(self._key("macerated"), self.macerated_h, 0, 1e4, "h")
        require(self._key("oil_yield"), self.oil_yield_pct, 0, 100, "%")
        if (self.mass_g is None) == (self.pieces is None):
            said = "neither mass nor pieces" if self.mass_g is None else "both mass and pieces"
            raise RequestError(f"botanical '{self.name}' has {said}.", "Give one of the two.")
        if self.state is not None and self.state not in STATES:
            raise UnknownNameError(self._key("state"), self.state, STATES)
        if self.prepared is not None and self.prepared not in PREPARED:
            raise UnknownNameError(self._key("prepared"), self.prepared, PREPARED)
        if self.where not in WHERE:
            raise UnknownNameError(self._key("where"), self.where, WHERE)
        if self.where == "basket" and self.macerated_h > 0:
            raise RequestError(
                f"botanical '{self.name}' is macerated and in the basket; what hangs in the vapour does not"
                " lie in the charge.",
                "Leave macerated out, or put it in the pot.",
            )

    def _key(self, field: str) -> str:
        return f"botanical.{field} of '{self.name}'"


@dataclass(frozen=True)
class ResolvedDose:
    """What one line of a bill brings into the still.

    Parameters
    ----------
    dose : BotanicalDose
        The line as said.
    botanical : Botanical
        What it means.
    prepared : {'whole', 'cracked', 'ground', 'sliced'}
        Preparation taken.
    dry_mass_g, wet_mass_g : float
        Mass it has dried, and as put in [g].
    oil_yield_pct : Spread
        Oil yield taken, with its range [mass %].
    oil_g : mapping of str to float
        Compound id to what can be released of it [g].
    unlisted_oil_g : float
        Oil of which the composition says nothing; it is not followed [g].
    non_volatile_g : mapping of str to float
        Compound id to what stays in the pot [g].
    water_brought_l, soaks_up_l, solids_volume_l : float
        Water of fresh material, liquid held by the solids and volume of the solids themselves [L].
    notes : tuple of str
        What was taken because it was not said.
    """

    dose: BotanicalDose
    botanical: Botanical
    prepared: Prepared
    dry_mass_g: float
    wet_mass_g: float
    oil_yield_pct: Spread
    oil_g: Mapping[str, float]
    unlisted_oil_g: float
    non_volatile_g: Mapping[str, float]
    water_brought_l: float
    soaks_up_l: float
    solids_volume_l: float
    notes: tuple[str, ...] = ()

    @property
    def oil_total_g(self) -> float:
        """All oil of the dose, listed or not [g]."""
        return sum(self.oil_g.values()) + self.unlisted_oil_g

    @property
    def counted_mass_g(self) -> float:
        """Mass in the state that yield and usual dose refer to [g]."""
        return self.dry_mass_g if self.botanical.yield_state == "dried" else self.wet_mass_g


def resolve(dose: BotanicalDose, among: Library | None = None) -> ResolvedDose:
    """Return what a line of a bill brings into the still.

    Parameters
    ----------
    dose : BotanicalDose
        The line.
    among : Library, optional
        Where to look the name up; the library of the package if left out.

    Returns
    -------
    ResolvedDose
        Masses, releasable oil by compound, water and volumes.

    Raises
    ------
    UnknownNameError
        If nothing goes by the name.
    RequestError
        If the name is ambiguous, the state not known, or pieces have no known weight.

    Notes
    -----
    ``oil = mass * yield``, ``oil_i = oil * share_i``, with the mass in the state that the yield refers
    to. A fresh piece and the same piece dried hold the same dry matter, hence the same oil. The shares of
    a composition rarely reach 100 %: they are never scaled up, and the rest is ``unlisted_oil_g``. Yields
    differ between lots by a factor of two and more. A gram of the water in fresh material is taken as a
    millilitre (0.2 % off; its amount is known to a tenth at best).

    Examples
    --------
    >>> round(resolve(BotanicalDose("juniper", mass_g=14)).oil_total_g, 3)
    0.168
    """
    botanical = find(dose.name, among, dose.state)
    state = _state(dose, botanical)
    wet_g = _mass_as_put_in(dose, botanical, state)
    dry_g = botanical.mass_in_g("dried", wet_g, state)
    counted_g = botanical.mass_in_g(botanical.yield_state, wet_g, state)
    given = dose.oil_yield_pct
    oil_yield = botanical.oil_yield_pct if given is None else Spread(given, given, given)
    oil_g = counted_g * oil_yield.typical / 100
    prepared = dose.prepared or _known_prepared(botanical.usual_prepared)
    return ResolvedDose(
        dose=dose,
        botanical=botanical,
        prepared=prepared,
        dry_mass_g=dry_g,
        wet_mass_g=wet_g,
        oil_yield_pct=oil_yield,
        oil_g=_by_compound(botanical, "oil", oil_g),
        unlisted_oil_g=oil_g * max(0.0, 1 - botanical.listed_pct / 100),
        non_volatile_g=_by_compound(botanical, "plant", counted_g),
        water_brought_l=(wet_g - dry_g) / 1000,
        soaks_up_l=dry_g / 1000 * botanical.material.soak_l_per_kg,
        solids_volume_l=dry_g / 1000 / botanical.material.solids_kg_per_l,
        notes=_notes(dose, botanical, state, prepared),
    )


def solids(bill: Iterable[ResolvedDose]) -> float:
    """Return the volume of those botanicals that lie in the pot.

    Parameters
    ----------
    bill : iterable of ResolvedDose
        The bill.

    Returns
    -------
    float
        Volume of their solids [L].
    """
    return sum(dose.solids_volume_l for dose in bill if dose.dose.where == "pot")


def dose_warnings(resolved: ResolvedDose, charge_l: float) -> tuple[str, ...]:
    """Return what to say of a dose far outside the usual range; never a refusal.

    Parameters
    ----------
    resolved : ResolvedDose
        The dose.
    charge_l : float
        Volume of the charge [L at 20 °C].

    Returns
    -------
    tuple of str
        One sentence, or none.

    Raises
    ------
    RangeError
        If there is no charge.
    """
    require("charge.volume", charge_l, 0, 1e6, "L", open_low=True)
    usual = resolved.botanical.usual_dose
    if usual is None:
        return ()
    per_l = resolved.counted_mass_g / charge_l
    if FAR_BELOW * usual.low_g_per_l <= per_l <= FAR_ABOVE * usual.high_g_per_l:
        return ()
    side = "much more" if per_l > usual.high_g_per_l else "much less"
    return (
        f"{resolved.botanical.common_name}: {per_l:.3g} g per litre of charge"
        f" ({resolved.botanical.yield_state}) is {side} than usual, {usual.low_g_per_l:g} to"
        f" {usual.high_g_per_l:g} g/L ({usual.source}).",
    )


def limit_warnings(bill: Iterable[ResolvedDose], content_mg_per_kg: Mapping[str, float]) -> tuple[str, ...]:
    """Return which legal limits a drink made from a bill would exceed.

    Parameters
    ----------
    bill : iterable of ResolvedDose
        The bill, which tells what limits apply.
    content_mg_per_kg : mapping of str to float
        Compound id to what the drink holds of it [mg/kg].

    Returns
    -------
    tuple of str
        One sentence a compound over its limit. Where a bill brings two limits for one compound (thujone
        with and without Artemisia), the higher one applies.
    """
    limits: dict[str, tuple[float, str]] = {}
    for caution in (c for resolved in bill for c in resolved.botanical.cautions):
        if caution.limit_mg_per_kg is not None:
            held = limits.get(caution.compound_id, (0.0, ""))
            limits[caution.compound_id] = max(held, (caution.limit_mg_per_kg, caution.source))
    return tuple(
        f"{compound_id}: about {content_mg_per_kg[compound_id]:.2g} mg/kg in the drink is over the limit of"
        f" {limit:g} mg/kg ({source})."
        for compound_id, (limit, source) in limits.items()
        if content_mg_per_kg.get(compound_id, 0.0) > limit
    )


def _state(dose: BotanicalDose, botanical: Botanical) -> State:
    """State the dose is weighed in; refused where it cannot be converted."""
    if dose.state is None:
        return botanical.piece.state if dose.pieces is not None and botanical.piece else botanical.yield_state
    if dose.state in botanical.states:
        return dose.state
    if dose.state == "dried":
        raise RequestError(
            f"{botanical.common_name} is counted fresh, not dried.",
            "Give it fresh, or name the dried botanical.",
        )
    raise RequestError(
        f"{botanical.common_name} is known dried only: how much water the fresh material holds is not known.",
        "Give the mass it would have dried, or add it as a botanical of your own.",
    )


def _mass_as_put_in(dose: BotanicalDose, botanical: Botanical, state: State) -> float:
    """Mass of a dose in its state [g]."""
    if dose.mass_g is not None:
        return dose.mass_g
    if botanical.piece is None or dose.pieces is None:
        raise RequestError(f"What a piece of {botanical.common_name} weighs is not known.", "Give its mass.")
    return botanical.mass_in_g(state, dose.pieces * botanical.piece.mass_g, botanical.piece.state)


def _notes(dose: BotanicalDose, botanical: Botanical, state: State, prepared: Prepared) -> tuple[str, ...]:
    """Say what was taken because the line does not say it."""
    name, water, piece = botanical.common_name, botanical.fresh_water_fraction, botanical.piece
    taken = [*([] if dose.state else [state]), *([] if dose.prepared else [prepared])]
    notes = [f"{name}: taken {' and '.join(taken)}, not said otherwise"] if taken else []
    if 0.0 in (dose.mass_g, dose.pieces):
        notes.append(f"{name}: the dose is nothing, and nothing comes over; leave the line out to drop it")
    if dose.pieces is not None and piece is not None:
        each = f"{piece.mass_g:g} g each, {piece.state}"
        notes.append(f"{name}: {dose.pieces:g} x {piece.name} taken as {each}: {piece.source}")
    if water is not None and (
        state == "fresh" or (dose.pieces is not None and piece and piece.state == "fresh")
    ):
        notes.append(f"{name}: {100.0 * water:.0f} % water when fresh: {botanical.fresh_water_source}")
    return tuple(notes)


def _by_compound(botanical: Botanical, basis: str, whole_g: float) -> dict[str, float]:
    """Grams of each compound in so much oil, or in so much of the plant."""
    return {s.compound_id: whole_g * s.pct.typical / 100 for s in botanical.composition if s.basis == basis}


def _known_prepared(name: str) -> Prepared:
    for known in PREPARED:
        if known == name:
            return known
    raise UnknownNameError("preparation", name, PREPARED)
