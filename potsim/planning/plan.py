"""The plan of one run in plain numbers: what goes in, the still, the cuts, the jars, the bottling.

What the distiller did not say is ``None`` here; `potsim.planning.defaults` fills it in and says so.
Argument names in refusals are the keys of the plan file, so that a reader finds the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from potsim.errors import RangeError, RequestError, require
from potsim.planning.still_plan import StillPlan

if TYPE_CHECKING:
    from potsim.liquid.traces import Compound
    from potsim.planning.botanicals.bill import BotanicalDose
    from potsim.planning.botanicals.library import Botanical

MOST_JARS = 500
LEAST_JAR_L = 1e-4  # two drops


@dataclass(frozen=True)
class Ingredient:
    """One base spirit, or water, that goes into the charge.

    Parameters
    ----------
    name : str
        What it is called.
    volume_l : float
        Volume at 20 °C [L].
    abv : float
        Strength [% vol at 20 °C]; 0 for water.
    kind : str or None
        Kind of base spirit, whose own volatiles are then followed; see `potsim.planning.botanicals.spirits`.
    price_per_l : float or None
        Price of a litre, in whatever money the plan counts.
    """

    name: str
    volume_l: float
    abv: float = 0.0
    kind: str | None = None
    price_per_l: float | None = None

    def __post_init__(self) -> None:
        require("charge.volume", self.volume_l, 0, 1e5, "L", open_low=True)
        require("charge.abv", self.abv, 0, 100, "% vol")
        require("charge.price", self.price_per_l, 0)


@dataclass(frozen=True)
class LeftOver:
    """Jars of an earlier run that go into this charge.

    Parameters
    ----------
    name : str
        What it is called.
    plan : Plan
        The plan of the earlier run.
    jars : tuple of int
        Numbers of the jars taken.
    """

    name: str
    plan: Plan
    jars: tuple[int, ...]


@dataclass(frozen=True)
class Stop:
    """Conditions of which the first to come true ends the run, or the keep.

    Parameters
    ----------
    stream_abv, pot_abv : float or None
        Strength of the stream or of the pot falls to this [% vol at 20 °C].
    vapour_c : float or None
        Vapour temperature rises to this [°C].
    collected_l : float or None
        Pooled distillate reaches this [L at 20 °C].
    recovered : float or None
        Share of the charged ethanol collected reaches this, 0 to 1.
    elapsed_min : float or None
        Time since switch-on reaches this [min].
    cloudy : bool
        The stream turns cloudy.
    over : mapping of str to float
        Botanical name to the share of what comes over of it by 99 % of the alcohol, 0 to 1.
    """

    stream_abv: float | None = None
    pot_abv: float | None = None
    vapour_c: float | None = None
    collected_l: float | None = None
    recovered: float | None = None
    elapsed_min: float | None = None
    cloudy: bool = False
    over: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require("cuts.stop.stream_abv", self.stream_abv, 0, 97, "% vol", open_low=True)
        require("cuts.stop.pot_abv", self.pot_abv, 0, 97, "% vol", open_low=True)
        require("cuts.stop.vapour_c", self.vapour_c, 50, 105, "°C")
        require("cuts.stop.collected", self.collected_l, 0, 1e5, "L", open_low=True)
        require(
            "cuts.stop.recovered",
            self.recovered,
            0,
            0.9999,
            "of the alcohol (0 to 1)",
            open_low=True,
            hint="The last trace never comes over: stop at 99 %.",
        )
        require("cuts.stop.elapsed", self.elapsed_min, 0, 1e5, "min", open_low=True)
        for name, share in self.over.items():
            require(f"cuts.stop.over.{name}", share, 0, 0.999, "of what comes over (0 to 1)", open_low=True)

    @property
    def named(self) -> dict[str, Any]:
        """The conditions given, key of the plan file to value."""
        pairs = {
            "stream_abv": self.stream_abv,
            "pot_abv": self.pot_abv,
            "vapour_c": self.vapour_c,
            "collected": self.collected_l,
            "recovered": self.recovered,
            "elapsed": self.elapsed_min,
            "cloudy": self.cloudy or None,
            "over": dict(self.over) or None,
        }
        return {key: value for key, value in pairs.items() if value is not None}


@dataclass(frozen=True)
class Cuts:
    """Where heads end, where the keep ends and where the run ends.

    Parameters
    ----------
    heads_l, heads_share : float or None
        Heads as a volume [L at 20 °C] or as a share of the charge's volume, 0 to 1; not both.
    stop : Stop
        What ends the run.
    tails_from : Stop or None
        What ends the keep before the run ends.
    """

    heads_l: float | None = None
    heads_share: float | None = None
    stop: Stop = field(default_factory=Stop)
    tails_from: Stop | None = None

    def __post_init__(self) -> None:
        require("cuts.heads", self.heads_l, 0, 1e5, "L")
        require("cuts.heads", self.heads_share, 0, 0.5, "of the charge (0 to 1)")
        if self.heads_l is not None and self.heads_share is not None:
            raise RequestError("cuts.heads is given as a volume and as a share.", "Keep one.")


@dataclass(frozen=True)
class JarStock:
    """Jars of one size that the distiller owns.

    Parameters
    ----------
    size_l : float
        What one holds [L].
    count : int or None
        How many there are; ``None`` for as many as needed.
    """

    size_l: float
    count: int | None = None

    def __post_init__(self) -> None:
        require("jars.sizes", self.size_l, LEAST_JAR_L, 1e4, "L")
        require("jars.sizes (count)", self.count, 1, MOST_JARS, "jars")


@dataclass(frozen=True)
class JarPlan:
    """The jars owned and those to be pooled.

    Parameters
    ----------
    sizes : tuple of JarStock
        What is owned; empty for a proposal.
    keep : tuple of int
        Numbers of the jars pooled; empty for all between heads and tails.
    """

    sizes: tuple[JarStock, ...] = ()
    keep: tuple[int, ...] = ()


@dataclass(frozen=True)
class Stretch:
    """Neutral spirit by which a strong distillate is stretched before proofing.

    Parameters
    ----------
    spirit_l : float
        Volume added [L at 20 °C].
    abv : float
        Its strength [% vol at 20 °C].
    """

    spirit_l: float
    abv: float

    def __post_init__(self) -> None:
        require("bottling.stretch.spirit", self.spirit_l, 0, 1e5, "L", open_low=True)
        require("bottling.stretch.abv", self.abv, 0, 100, "% vol", open_low=True)


@dataclass(frozen=True)
class Bottling:
    """Strength and bottle to which the keep is brought.

    Parameters
    ----------
    abv : float or None
        Bottling strength [% vol at 20 °C]; ``None`` for no proofing.
    bottle_l : float or None
        Volume of a bottle [L].
    steps : int
        Number of additions of water.
    stretch : Stretch or None
        Neutral spirit added first; no weaker than ``abv``, which it needs.
    bottle_price : float or None
        What an empty bottle costs.
    """

    abv: float | None = None
    bottle_l: float | None = None
    steps: int = 1
    stretch: Stretch | None = None
    bottle_price: float | None = None

    def __post_init__(self) -> None:
        require("bottling.abv", self.abv, 0, 100, "% vol", open_low=True)
        require("bottling.bottle", self.bottle_l, 0, 1e4, "L", open_low=True)
        require("bottling.steps", self.steps, 1, 50, "additions")
        require("bottling.bottle_price", self.bottle_price, 0)
        if self.stretch is not None:
            self._check_stretch(self.stretch.abv)

    def _check_stretch(self, abv: float) -> None:
        if self.abv is None:
            raise RequestError(
                "bottling.stretch is given, but no bottling.abv.",
                "Say the strength to which both are let down, or leave the stretch out.",
            )
        if abv < self.abv:
            raise RangeError(
                "bottling.stretch.abv",
                f"{abv:g} % vol",
                f"at least {self.abv:g} % vol, the bottling strength",
                "Stretch with stronger spirit, or bottle weaker; water comes by itself.",
            )


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainty of what was typed.

    Parameters
    ----------
    abv : float
        Of each strength [% vol].
    volume, neck_loss, pot_loss : float
        Relative, of the charge's volume and the two losses.
    room_c : float
        Of the room [K].
    """

    abv: float = 0.5
    volume: float = 0.02
    neck_loss: float = 0.30
    pot_loss: float = 0.30
    room_c: float = 3.0

    def __post_init__(self) -> None:
        require("uncertainty.abv", self.abv, 0, 20, "% vol")
        require("uncertainty.volume", self.volume, 0, 0.5, "(0.02 is 2 %)")
        require("uncertainty.neck_loss", self.neck_loss, 0, 2, "(0.3 is 30 %)")
        require("uncertainty.pot_loss", self.pot_loss, 0, 2, "(0.3 is 30 %)")
        require("uncertainty.room", self.room_c, 0, 30, "K")


@dataclass(frozen=True)
class Plan:
    """All that one run is computed from.

    Parameters
    ----------
    charge : tuple of Ingredient or LeftOver
        What is blended into the pot; at least one.
    title : str
        A name for the run.
    still : StillPlan
        The still.
    botanicals : tuple of BotanicalDose
        The bill.
    cuts, jars, bottling, uncertainty
        The distiller's decisions and doubts.
    own_botanicals : mapping of str to Botanical
        Botanicals that the plan adds to the library.
    own_compounds : mapping of str to Compound
        Compounds that the plan adds to the library.
    """

    charge: tuple[Ingredient | LeftOver, ...]
    title: str = "Untitled run"
    still: StillPlan = field(default_factory=StillPlan)
    botanicals: tuple[BotanicalDose, ...] = ()
    cuts: Cuts = field(default_factory=Cuts)
    jars: JarPlan = field(default_factory=JarPlan)
    bottling: Bottling = field(default_factory=Bottling)
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    own_botanicals: Mapping[str, Botanical] = field(default_factory=dict)
    own_compounds: Mapping[str, Compound] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.charge:
            raise RequestError("The plan has no charge.", "Add a [[charge]] with name, volume and abv.")
