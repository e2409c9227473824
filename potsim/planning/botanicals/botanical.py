"""What one botanical is: names, oil, composition, pieces, water and cautions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from potsim.data import read_table
from potsim.errors import RequestError, UnknownNameError, require

State = Literal["dried", "fresh"]
Level = Literal["low", "typical", "high"]
STATES: tuple[State, ...] = ("dried", "fresh")
IN_PLAN = "given in the plan"


@dataclass(frozen=True)
class Spread:
    """A number known only roughly.

    Parameters
    ----------
    low, typical, high : float
        Range met with and the value taken; must not fall.
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.typical <= self.high:
            raise RequestError(
                f"low {self.low:g}, typical {self.typical:g} and high {self.high:g} do not rise.",
                "Put them in order.",
            )

    def at(self, level: Level) -> float:
        """Return the low, typical or high value."""
        return {"low": self.low, "typical": self.typical, "high": self.high}[level]


@dataclass(frozen=True)
class Share:
    """One compound of a botanical.

    Parameters
    ----------
    compound_id : str
        Row of ``compounds.csv``.
    pct : Spread
        Per cent of the oil or of the plant, see ``basis``.
    basis : {'oil', 'plant'}
        ``plant`` for what is not volatile and stays in the pot.
    source, confidence : str
        Where the figures come from.
    """

    compound_id: str
    pct: Spread
    basis: Literal["oil", "plant"] = "oil"
    source: str = IN_PLAN
    confidence: str = IN_PLAN


@dataclass(frozen=True)
class Piece:
    """One usual piece of a botanical: a strip of peel, a star, a stick.

    Parameters
    ----------
    mass_g : float
        What it weighs [g] in ``state``.
    name : str
        What it is called.
    state : {'dried', 'fresh'}
        State in which it weighs that.
    source : str
        Where the weight comes from.
    """

    mass_g: float
    name: str = "piece"
    state: State = "dried"
    source: str = IN_PLAN


@dataclass(frozen=True)
class UsualDose:
    """What is usually taken.

    Parameters
    ----------
    low_g_per_l, high_g_per_l : float
        Grams, in the state of the oil yield, per litre of charge [g/L].
    source : str
        Where the range comes from.
    """

    low_g_per_l: float
    high_g_per_l: float
    source: str = IN_PLAN


@dataclass(frozen=True)
class Caution:
    """Something to be careful with.

    Parameters
    ----------
    text : str
        What to heed.
    source : str
        Regulation or ``from memory``.
    compound_id : str
        Compound concerned; empty if none.
    limit_mg_per_kg : float or None
        What the finished drink may hold of it [mg/kg].
    """

    text: str
    source: str
    compound_id: str = ""
    limit_mg_per_kg: float | None = None


@dataclass(frozen=True)
class Material:
    """A kind of plant material.

    Parameters
    ----------
    category : str
        Peel, leaf, seed, root and so on.
    soak_l_per_kg : float
        Liquid that a kilogram of dried material soaks up [L/kg].
    solids_kg_per_l : float
        Density of its dry matter [kg/L].
    usual_prepared : str
        Preparation taken when none is named.
    """

    category: str
    soak_l_per_kg: float
    solids_kg_per_l: float
    usual_prepared: str


@cache
def materials() -> Mapping[str, Material]:
    """Return the kinds of plant material by category."""
    return {
        row["category"]: Material(
            row["category"],
            float(row["soak_l_per_kg"]),
            float(row["solids_kg_per_l"]),
            row["usual_prepared"],
        )
        for row in read_table("parts.csv")
    }


@dataclass(frozen=True, kw_only=True)
class Botanical:
    """One botanical, of the library or of the distiller's own.

    Parameters
    ----------
    id, common_name : str
        Row of the library and everyday name.
    category : str
        Kind of material, a row of ``parts.csv``.
    oil_yield_pct : Spread
        Volatile oil, mass % of the material in ``yield_state``.
    composition : tuple of Share
        What the oil is made of; typical shares of at most 100 % in all.
    yield_state : {'dried', 'fresh'}
        State that yield and usual dose refer to.
    fresh_water_fraction : float or None
        Mass lost on drying, as a fraction of the fresh mass; ``None`` if it is used dried only.
    latin_names, aliases : tuple of str
        Other names.
    part, remarks : str
        Part of the plant, and what else to know.
    piece, usual_dose, cautions
        See `Piece`, `UsualDose` and `Caution`.
    prepared_usually : str
        Preparation taken when none is named; empty for that of the category.
    yield_source, yield_confidence, fresh_water_source : str
        Where the figures come from.

    Raises
    ------
    UnknownNameError
        If the category is unknown.
    RequestError
        If a percentage cannot be, or the composition passes 100 %.
    """

    id: str
    common_name: str
    category: str
    oil_yield_pct: Spread
    composition: tuple[Share, ...] = ()
    latin_names: tuple[str, ...] = ()
    aliases: tuple[str, ...] = ()
    part: str = ""
    yield_state: State = "dried"
    yield_source: str = IN_PLAN
    yield_confidence: str = IN_PLAN
    piece: Piece | None = None
    fresh_water_fraction: float | None = None
    fresh_water_source: str = IN_PLAN
    prepared_usually: str = ""
    usual_dose: UsualDose | None = None
    cautions: tuple[Caution, ...] = ()
    remarks: str = ""

    def __post_init__(self) -> None:
        if self.category not in materials():
            raise UnknownNameError("kind of plant material", self.category, materials())
        require(f"oil_yield of {self.common_name}", self.oil_yield_pct.low, 0, 100, "%")
        require(f"oil_yield of {self.common_name}", self.oil_yield_pct.high, 0, 100, "%")
        require(f"water of fresh {self.common_name}", self.fresh_water_fraction, 0, 0.98, "(a fraction)")
        for share in self.composition:
            require(f"{share.compound_id} in {self.common_name}", share.pct.low, 0, 100, "%")
        if self.listed_pct > 100 + 1e-9:
            raise RequestError(
                f"The composition of {self.common_name} adds up to {self.listed_pct:g} % of its oil;"
                " allowed is at most 100 %.",
                "Lower the typical shares; what is not listed is left open, never scaled up.",
            )
        counted_fresh = self.yield_state == "fresh" or (
            self.piece is not None and self.piece.state == "fresh"
        )
        if counted_fresh and self.fresh_water_fraction is None:
            raise RequestError(
                f"{self.common_name} is counted or weighed fresh, but the water it then holds is not given.",
                "Give fresh_water, the mass lost on drying as a fraction of the fresh mass.",
            )

    @property
    def names(self) -> tuple[str, ...]:
        """All that it is called, common name first."""
        return (self.common_name, self.id, *self.latin_names, *self.aliases)

    @property
    def listed_pct(self) -> float:
        """Typical per cent of the oil that the composition accounts for."""
        return sum(share.pct.typical for share in self.composition if share.basis == "oil")

    @property
    def states(self) -> tuple[State, ...]:
        """States in which it can be dosed."""
        if self.yield_state == "fresh":
            return ("fresh",)
        return ("dried",) if self.fresh_water_fraction is None else STATES

    @property
    def material(self) -> Material:
        """The kind of material it is."""
        return materials()[self.category]

    @property
    def usual_prepared(self) -> str:
        """Preparation taken when none is named."""
        return self.prepared_usually or self.material.usual_prepared

    def mass_in_g(self, wanted: State, mass_g: float, given: State) -> float:
        """Return what the same matter weighs in another state [g].

        Parameters
        ----------
        wanted, given : {'dried', 'fresh'}
            State asked for and state weighed.
        mass_g : float
            Mass weighed [g].
        """
        if wanted == given:
            return mass_g
        dry = 1.0 - (self.fresh_water_fraction or 0.0)
        return mass_g * dry if wanted == "dried" else mass_g / dry
