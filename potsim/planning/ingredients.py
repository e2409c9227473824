"""What a plan says of what goes in: spirits and water, jars left over, botanicals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from potsim.errors import RequestError
from potsim.planning import schema
from potsim.planning.schema import check, key, keys_of
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.planning.plan import Plan

OIL_FACTORS = (0.1, 10.0)  # beyond, the botanical is another, or the number is a slip
State = Literal["dried", "fresh"]
Prepared = Literal["whole", "cracked", "ground", "sliced"]
Where = Literal["pot", "basket"]
STATES: tuple[State, ...] = ("dried", "fresh")
PREPARED: tuple[Prepared, ...] = ("whole", "cracked", "ground", "sliced")
WHERE: tuple[Where, ...] = ("pot", "basket")


@dataclass(frozen=True)
class Ingredient:
    """One base spirit, or water, that goes into the charge."""

    name: str = key(schema.TEXT, example="apple spirit", label="Name")  # what it is called
    # volume at 20 °C [L]
    volume_l: float = key(
        *(schema.VOLUME, 0, 1e5),
        open_low=True,
        name="volume",
        example="0.9 L",
        label="Volume",
        vary=True,
        extensive=True,
    )
    # strength [% vol at 20 °C]; 0 for water
    abv: float = key(
        *(schema.ABV, 0, 100), default=0.0, example="62 %", label="Strength", vary=True, slider=(1, 96.5, 0.5)
    )
    # kind of base spirit, whose own volatiles are then followed; see `potsim.planning.botanicals`
    kind: str | None = key(schema.SPIRIT, default=None, example="fruit", label="Kind of spirit")
    # price of a litre, in whatever money the plan counts
    price_per_l: float | None = key(
        *(schema.PRICE_PER_L, 0), default=None, name="price", example="12 per L", label="Price"
    )

    def __post_init__(self) -> None:
        check(self, "charge")


@dataclass(frozen=True)
class LeftOver:
    """What came of an earlier run, or some jars of it, that goes into this charge."""

    name: str = key(schema.TEXT, example="tails of trial 1", label="Name")  # what it is called
    plan: Plan  # type: ignore[misc]  # the plan of the earlier run; `key` gives no default either
    # numbers of the jars taken; empty for all of it
    jars: tuple[int, ...] = key(
        schema.JAR_NUMBERS, default=(), example="1,17-20", label="Jars", usually="all of it"
    )
    # how often that run was done
    times: float = key(
        *(schema.COUNT, 0, 1000),
        default=1.0,
        open_low=True,
        unit="times",
        example="4",
        label="Times",
        usually="once",
    )

    def __post_init__(self) -> None:
        check(self, "charge")


@dataclass(frozen=True)
class BotanicalDose:
    """One line of a bill, as the distiller says it."""

    name: str = key(schema.TEXT, example="juniper", label="Name")  # any name that the library understands
    # mass as weighed [g]; or else ``pieces``
    mass_g: float | None = key(
        *(schema.MASS, 0, 1e7),
        default=None,
        name="mass",
        example="14 g",
        label="Mass",
        vary=True,
        extensive=True,
    )
    # number of usual pieces
    pieces: float | None = key(
        *(schema.COUNT, 0, 1e7),
        default=None,
        unit="pieces",
        example="2",
        label="Pieces",
        vary=True,
        extensive=True,
    )
    # how the amount was said in place of mass or pieces: ``"g"``, the name of the piece, empty for a bare
    # number; ``None`` where it was not
    counted: str | None = key(
        schema.AMOUNT,
        default=None,
        name="amount",
        example="3 pods",
        label="or amount",
        usually="mass or pieces",
    )
    # state weighed; ``None`` for that of the library
    state: State | None = key(
        *(schema.CHOICE,),
        default=None,
        example="fresh",
        label="State",
        choices=STATES,
        usually="that of the library",
    )
    # preparation; ``None`` for the usual one
    prepared: Prepared | None = key(
        schema.CHOICE,
        default=None,
        example="cracked",
        label="Prepared",
        choices=PREPARED,
        what="preparation",
        usually="as is usual for it",
    )
    # hours in the charge at room temperature before the still is lit [h]
    macerated_h: float = key(
        *(schema.DURATION_H, 0, 1e4),
        default=0.0,
        name="macerated",
        example="12 h",
        label="Macerated",
        vary=True,
        usually="not",
    )
    # strength it is macerated at [% vol]; ``None`` for that of the charge
    macerated_at_abv: float | None = key(
        *(schema.ABV, 0, 96),
        default=None,
        name="macerated_at",
        example="60 %",
        label="Macerated at",
        noun="the strength it is macerated at",
        usually="the strength of the charge",
    )
    # what this lot gives against what was foretold: learnt, or the distiller's own
    oil_factor: float = key(
        *(schema.RATIO, *OIL_FACTORS), default=1.0, example="1.3", label="Oil, times", usually="1"
    )
    # botanical of the library that stands for one that the library lacks
    like: str | None = key(
        *(schema.TEXT,),
        default=None,
        example="juniper",
        label="Like",
        noun="what it is like",
        usually="the library knows it",
    )
    # in the pot, or in a basket in the rising vapour
    where: Where = key(
        schema.CHOICE, default="pot", example="basket", label="Where", choices=WHERE, usually="pot"
    )
    # oil found in this very lot, mass % in the state the library counts; ``None`` for the typical one
    oil_yield_pct: float | None = key(
        *(schema.PERCENT, 0, 100),
        default=None,
        name="oil_yield",
        example="1.2 %",
        label="Oil",
        vary=True,
        usually="that of the library",
    )

    def __post_init__(self) -> None:
        for known in keys_of(type(self)).values():
            try:
                known.check(getattr(self, known.field), "botanical")
            except RequestError as error:
                error.path = f"botanical.{self.name}.{known.name}"
                raise
        path = f"botanical.{self.name}"
        if (self.mass_g is None) == (self.pieces is None):
            if self.mass_g is None:
                raise RequestError.of("no_amount", path)
            raise RequestError.of("conflict", f"{path}.mass", given=self.mass_g, other="pieces")
        if self.where == "basket" and self.macerated_h > 0:
            raise RequestError.of("macerated_in_basket", f"{path}.macerated", given=self.macerated_h)
        if self.macerated_at_abv is not None and not self.macerated_h:
            at = f"{path}.macerated_at"
            raise RequestError.of("alone", at, given=self.macerated_at_abv, lacks="macerated")
