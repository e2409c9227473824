"""The schema of a plan: every key of the plan file declared once, beside the field that it fills.

Reading, writing and refusing files, ``strengths --vary``, scaling and blending of trials, the page's form and
the list of keys derive from here. Fields that hold tables are named in `TABLES`.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any, NamedTuple

from potsim import faces
from potsim.errors import SHARE as OF_ONE
from potsim.errors import RangeError, RequestError, require, require_sort
from potsim.planning.schema import (
    ABV,
    ABV_DIFFERENCE,
    ADDITIONS,
    CHOICE,
    DAY,
    DECADES,
    DURATION,
    JAR_NUMBERS,
    JAR_SIZES,
    MOST_STEPS,
    PRICE,
    RELATIVE,
    SAID,
    SHARE,
    SHARES_OVER,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    TEXT,
    VOLUME,
    WORDS,
    YES,
    Key,
    Watch,
    check,
    key,
    keys_of,
)
from potsim.planning.schema import BotanicalDose as BotanicalDose
from potsim.planning.schema import Ingredient as Ingredient
from potsim.planning.schema import LeftOver as LeftOver
from potsim.planning.schema import PowerStep as PowerStep
from potsim.planning.schema import StillPlan as StillPlan
from potsim.records import dataclass

if TYPE_CHECKING:
    from potsim.liquid.compounds import Compound
    from potsim.planning.botanicals import Botanical

MOST_JARS = 500
LEAST_JAR_L = 1e-4  # two drops
MOST_OWN = 100  # botanicals, and compounds, of the distiller's own
SYSTEMS = ("metric", "us")
VERDICTS = ("a lot more", "more", "a touch more", "right", "a touch less", "less", "drop")


BY_FLAVOUR = ("cloudy", "over", "faded")  # stops that are looked for in what comes over, not on the course


@dataclass(frozen=True)
class Stop:
    """Conditions of which the first to come true ends the run, or the keep."""

    # strength of the stream falls to this [% vol at 20 °C]
    stream_abv: float | None = key(
        *(ABV, 0, 97),
        open_low=True,
        example="55 %",
        label="the stream falls to",
        slider=(1, 90, 0.5),
        watch=Watch("stream_abv", False),
    )
    # strength of the pot falls to this [% vol at 20 °C]
    pot_abv: float | None = key(
        *(ABV, 0, 97),
        open_low=True,
        example="5 %",
        label="the pot falls to",
        slider=(0.5, 60, 0.5),
        watch=Watch("pot_abv", False),
    )
    # vapour temperature rises to this [°C]
    vapour_c: float | None = key(
        *(TEMPERATURE, 50, 105),
        example="92 °C",
        label="the vapour reaches",
        slider=(78, 100, 0.1),
        watch=Watch("vapour_c", True),
    )
    # pooled distillate reaches this [L at 20 °C]
    collected_l: float | None = key(
        *(VOLUME, 0, 1e5),
        open_low=True,
        example="700 mL",
        label="this much is collected",
        extensive=True,
        watch=Watch("collected_l", True),
    )
    # share of the charged ethanol collected reaches this, 0 to 1
    recovered: float | None = key(
        *(SHARE, 0, 0.9999),
        open_low=True,
        unit="of the alcohol (0 to 1)",
        example="90 %",
        label="this much of the alcohol is over",
        slider=(1, 99.5, 0.5),
        watch=Watch("recovered", True),
    )
    # time since switch-on reaches this [min]
    elapsed_min: float | None = key(
        *(DURATION, 0, 1e5),
        open_low=True,
        example="90 min",
        label="this much time has passed",
        vary=True,
        watch=Watch("elapsed_min", True),
    )
    # the stream turns cloudy
    cloudy: bool = key(YES, default=False, example="true", label="it turns cloudy")
    # botanical name to the share of what comes over of it by 99 % of the alcohol, 0 to 1
    over: Mapping[str, float] = key(
        SHARES_OVER, default=dict, example='{ "fennel seed" = "95 %" }', label="a botanical is over"
    )
    # all that would be noticed in the bottle has given nearly all that it gives
    faded: bool = key(YES, default=False, example="true", label="the flavours have faded")
    # what the parrot shows falls to this [% vol at 20 °C]
    parrot_abv: float | None = key(
        *(ABV, 0, 97),
        open_low=True,
        example="55 %",
        label="the parrot falls to",
        slider=(1, 90, 0.5),
        watch=Watch("parrot_abv", False),
    )

    def __post_init__(self) -> None:
        check(self, "cuts.stop")
        for name, share in self.over.items():
            require(f"cuts.stop.over.{name}", share, 0, 0.999, OF_ONE, open_low=True)

    @property
    def named(self) -> dict[str, Any]:
        """The conditions given, key of the plan file to value."""
        pairs = {name: getattr(self, known.field) for name, known in keys_of(type(self)).items()}
        return {name: v for name, v in pairs.items() if v is not None and v is not False and v != {}}


@dataclass(frozen=True)
class Cuts:
    """Where heads end, where the keep ends and where the run ends."""

    # heads as a volume [L at 20 °C]; or else ``heads_share``
    heads_l: float | None = key(
        *(VOLUME, 0, 1e5),
        example="30 mL",
        label="Heads",
        noun="the heads cut",
        extensive=True,
        step=0.001,
        usually="none",
    )
    # heads as a share of the charge's volume, 0 to 1
    heads_share: float | None = key(
        *(SHARE, 0, 0.5),
        unit="of the charge (0 to 1)",
        example="2 %",
        label="Heads",
        noun="the heads cut",
        vary=True,
    )
    stop: Stop = field(default_factory=Stop)  # what ends the run
    tails_from: Stop | None = None  # what ends the keep before the run ends

    def __post_init__(self) -> None:
        require("cuts.heads", self.heads_l, 0, 1e5, "L")
        require("cuts.heads", self.heads_share, 0, 0.5, OF_ONE)
        if self.heads_l is not None and self.heads_share is not None:
            raise RequestError.of("conflict", "cuts.heads", other="heads_share")


@dataclass(frozen=True)
class JarStock:
    """Jars of one size that the distiller owns."""

    size_l: float  # what one holds [L]
    count: int | None = None  # how many there are; ``None`` for as many as needed

    def __post_init__(self) -> None:
        require("jars.sizes", self.size_l, LEAST_JAR_L, 1e4, "L")
        require("jars.sizes", self.count, 1, MOST_JARS, "jars")


@dataclass(frozen=True)
class JarPlan:
    """The jars owned and those to be pooled."""

    # what is owned; empty for a proposal
    sizes: tuple[JarStock, ...] = key(
        JAR_SIZES, default=(), example="12 x 60 mL", label="Jars you own", usually="a proposal"
    )
    # numbers of the jars pooled; empty for all between heads and tails
    keep: tuple[int, ...] = key(
        JAR_NUMBERS,
        default=(),
        example="2-9,11",
        label="Jars to pool",
        noun="what is to be pooled",
        usually="all between heads and tails",
    )
    # one small jar, emptied into the keep as long as it still tastes right [L]
    working_l: float | None = key(
        *(VOLUME, LEAST_JAR_L, 1e4),
        example="60 mL",
        label="Working jar",
        noun="the working jar",
        usually="a row of jars",
    )

    def __post_init__(self) -> None:
        check(self, "jars")
        if self.sizes and self.working_l is not None:
            raise RequestError.of("conflict", "jars.working", other="sizes")

    @property
    def stock(self) -> tuple[JarStock, ...]:
        """The jars to be filled one after the other: those owned, or the working jar each time anew."""
        return self.sizes if self.working_l is None else (JarStock(self.working_l),)


@dataclass(frozen=True)
class Stretch:
    """Neutral spirit by which a strong distillate is stretched before proofing."""

    # volume added [L at 20 °C]
    spirit_l: float = key(
        VOLUME, 0, 1e5, needed=True, open_low=True, example="1 L", label="Volume", extensive=True
    )
    # its strength [% vol at 20 °C]
    abv: float = key(
        *(ABV, 0, 100),
        needed=True,
        open_low=True,
        example="96 %",
        label="Strength",
        noun="the strength of the neutral spirit",
        slider=(1, 96.5, 0.5),
    )

    def __post_init__(self) -> None:
        check(self, "bottling.stretch")


@dataclass(frozen=True)
class Bottling:
    """Strength and bottle to which the keep is brought."""

    # bottling strength [% vol at 20 °C]; ``None`` for no proofing
    abv: float | None = key(
        *(ABV, 0, 100),
        open_low=True,
        example="42 %",
        label="Bottling strength",
        noun="the bottling strength",
        vary=True,
        usually="not let down",
    )
    # volume of a bottle [L]
    bottle_l: float | None = key(
        *(VOLUME, 0, 1e4),
        open_low=True,
        example="350 mL",
        label="Bottle",
        vary=True,
        usually="no bottles counted",
    )
    # number of additions of water
    steps: int = key(
        ADDITIONS, 1, 50, default=1, unit="additions", example="2", label="Additions of water", usually="1"
    )
    stretch: Stretch | None = None  # neutral spirit added first; no weaker than ``abv``, which it needs
    # what an empty bottle costs
    bottle_price: float | None = key(PRICE, 0, example="0.80", label="Price of a bottle")
    # learnt from a glass of an earlier batch: added to log10 of every solubility of oil [decades]
    cloud_shift: float | None = key(
        DECADES, -2, 2, example="0.2", label="Shift of the cloud", usually="no glass tried yet"
    )
    # what the glass itself showed, of which `cloud_shift` believes a part [decades]; the band reaches it
    cloud_seen: float | None = key(
        *(DECADES, -10, 10),
        example="0.4",
        label="Shift seen in the glass",
        usually="as far as the shift",
    )

    def __post_init__(self) -> None:
        check(self, "bottling")
        if self.cloud_seen is not None and self.cloud_shift is None:
            values = {"given": self.cloud_seen, "lacks": "bottling.cloud_shift"}
            raise RequestError.of("alone", "bottling.cloud_seen", **values)
        if self.stretch is not None:
            self._check_stretch(self.stretch.abv)

    def _check_stretch(self, abv: float) -> None:
        if self.abv is None:
            raise RequestError.of("alone", "bottling.stretch", lacks="bottling.abv")
        if abv < self.abv:
            raise RangeError.of("weak_stretch", "bottling.stretch.abv", given=abv, allowed=self.abv)


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainty of what was typed."""

    # of each strength [% vol]
    abv: float = key(ABV_DIFFERENCE, 0, 20, default=0.5, example="0.5 %", label="Each strength")
    # relative, of the charge's volume
    volume: float = key(
        RELATIVE, 0, 0.5, default=0.02, unit="(0.02 is 2 %)", example="2 %", label="The charge"
    )
    # relative, of what the neck sheds
    neck_loss: float = key(
        RELATIVE, 0, 2, default=0.30, unit="(0.3 is 30 %)", example="30 %", label="What the neck sheds"
    )
    # relative, of what the pot sheds
    pot_loss: float = key(
        RELATIVE, 0, 2, default=0.30, unit="(0.3 is 30 %)", example="30 %", label="What the pot sheds"
    )
    # of the room [K]
    room_c: float = key(
        TEMPERATURE_DIFFERENCE, 0, 30, default=3.0, name="room", example="3 K", label="The room"
    )
    # relative, of the heat that reaches the pot; ``None`` for what the kind of heat leaves open
    power: float | None = key(
        *(RELATIVE, 0, 0.5),
        unit="(0.15 is 15 %)",
        example="15 %",
        label="The heat",
        usually="by what heats it",
    )
    # share of what comes over that may be lost besides, 0 to 1
    lost: float = key(
        RELATIVE, 0, 0.2, default=0.02, unit="(0.02 is 2 %)", example="2 %", label="Lost besides"
    )

    def __post_init__(self) -> None:
        check(self, "uncertainty")


@dataclass(frozen=True)
class Result:
    """What came of a run."""

    # day of the run
    date: datetime.date | str | None = key(DAY, example="2025-03-01", label="Day")
    # all that came over, pooled, heads included [L at 20 °C]
    collected_l: float | None = key(VOLUME, 0, 1e5, open_low=True, example="640 mL", label="Collected")
    # its strength [% vol at 20 °C]
    abv: float | None = key(ABV, 0, 100, name="strength", example="71 %", label="Its strength")
    # what was left in the pot [L at 20 °C]
    pot_left_l: float | None = key(VOLUME, 0, 1e5, example="1.3 L", label="Left in the pot")
    # its strength [% vol at 20 °C]
    pot_left_abv: float | None = key(ABV, 0, 100, example="9 %", label="Strength left in the pot")
    # numbers of the jars pooled; empty if not said
    jars_kept: tuple[int, ...] = key(JAR_NUMBERS, default=(), example="2-9", label="Jars pooled")
    # strength at which a glass of the keep hazed, let down with water [% vol]
    clouded_at: float | None = key(ABV, 0, 100, open_low=True, example="38 %", label="A glass hazed at")
    # its temperature [°C]; ``None`` is a room's
    clouded_at_c: float | None = key(TEMPERATURE, 0, 40, example="8 °C", label="The glass at")
    # all collected when the stream was first seen hazy [L at 20 °C]
    stream_hazy_at_l: float | None = key(
        VOLUME, 0, 1e5, open_low=True, example="330 mL", label="Stream hazy at"
    )
    # what was bottled, as written
    bottled: str = key(SAID, default="", example="3 bottles of 350 mL", label="Bottled")
    # what it was like, as written
    words: str = key(WORDS, default="", example="clean, a little sweet", label="In words")

    def __post_init__(self) -> None:
        check(self, "result")
        if self.clouded_at_c is not None and self.clouded_at is None:
            raise RequestError.of(
                "alone", "result.clouded_at_c", given=self.clouded_at_c, lacks="result.clouded_at"
            )


@dataclass(frozen=True)
class Tasting:
    """What a taster says of one botanical."""

    # any of its names; ``"juniper (basket)"`` where the bill has it in pot and basket
    botanical: str = key(TEXT, needed=True, example="coriander seed", label="Botanical")
    # one of `VERDICTS`; ``None`` if it is only talked about
    verdict: str | None = key(CHOICE, example="a touch less", label="Verdict", choices=VERDICTS)
    # what it was like
    words: str = key(WORDS, default="", example="soapy at the end", label="In words")
    # strength or place at which it was tasted, as written
    tasted_at: str | None = key(SAID, example="20 %", label="Tasted at")
    # jars of the trial in which it was noticed; none if it is not told
    tasted_in: tuple[int, ...] = key(JAR_NUMBERS, default=(), example="2-5", label="Tasted in jars")

    def __post_init__(self) -> None:
        check(self, "note")


PARTS: Mapping[str, tuple[type[Any], ...]] = {
    "charge": (Ingredient, LeftOver),
    "still": (StillPlan,),
    "botanicals": (BotanicalDose,),
    "cuts": (Cuts,),
    "jars": (JarPlan,),
    "bottling": (Bottling,),
    "uncertainty": (Uncertainty,),
}
"""What the parts of a plan are."""


def _check_sort(value: Any, path: str, kinds: tuple[type[Any], ...], *, many: bool) -> None:
    """Refuse a part of a plan that is another sort of thing."""
    names = [kind.__name__ for kind in kinds]
    if many and not isinstance(value, list | tuple):
        raise RequestError.of("wrong_sort", path, given=repr(value), allowed=names, several=True)
    for one in value if many else (value,):
        if not isinstance(one, kinds):
            raise RequestError.of("wrong_sort", path, given=repr(one), allowed=names, several=many)


@dataclass(frozen=True)
class Plan:
    """All that one run is computed from."""

    charge: tuple[Ingredient | LeftOver, ...]  # what is blended into the pot; at least one
    title: str = key(
        TEXT, default="Untitled run", example="Bench spirit, trial 1", label="Title"
    )  # a name for the run
    # system of units that answers are told in; ``None`` is metric
    units: str | None = key(
        CHOICE,
        example="us",
        label="Units of answers",
        choices=SYSTEMS,
        what="system of units",
        usually="those that most is typed in",
    )
    still: StillPlan = field(default_factory=StillPlan)  # the still
    botanicals: tuple[BotanicalDose, ...] = ()  # the bill
    cuts: Cuts = field(default_factory=Cuts)  # where heads end, tails begin and the run stops
    jars: JarPlan = field(default_factory=JarPlan)  # sizes of the jars, and which are kept
    bottling: Bottling = field(default_factory=Bottling)  # strength and size of the bottles
    uncertainty: Uncertainty = field(default_factory=Uncertainty)  # doubts about what the plan says
    # botanicals that the plan adds to the library
    own_botanicals: Mapping[str, Botanical] = field(default_factory=dict)
    # compounds that the plan adds to the library
    own_compounds: Mapping[str, Compound] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check(self, "plan")
        for name, kinds in PARTS.items():
            _check_sort(getattr(self, name), f"plan.{name}", kinds, many=name in ("charge", "botanicals"))
        for name in ("charge", "botanicals"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        if not self.charge:
            raise RequestError.of("empty_charge")

    @classmethod
    def from_dict(cls, tables: Mapping[str, Any]) -> Plan:
        """Return the plan that the tables of a plan file describe, quantities as text with their units.

        Parameters
        ----------
        tables : mapping
            Such as ``{"charge": [{"name": "apple spirit", "volume": "0.9 L", "abv": "62 %"}]}``.

        Returns
        -------
        Plan
            What they say.

        Raises
        ------
        RequestError
            With every fault of them.

        Examples
        --------
        >>> import potsim
        >>> plan = potsim.Plan.from_dict({"charge": [{"name": "spirit", "volume": "0.9 L", "abv": "62 %"}]})
        >>> plan.charge[0].volume_l
        0.9
        """
        require_sort("tables", tables, Mapping, "tables")
        return faces.plan_of(tables, faces.Source("plan"))

    @classmethod
    def from_text(cls, text: str) -> Plan:
        """Return the plan in the text of a plan file; refusals as `from_dict`."""
        require_sort("text", text, str, "str")
        return faces.read_plan(text)

    def to_text(self) -> str:
        """Return the text of a plan file that says the same."""
        return faces.write_plan(self)

    def save(self, path: str | os.PathLike[str], *, replace: bool = False) -> None:
        """Write a plan file.

        Parameters
        ----------
        path : path-like
            Where to; its name ends in ``.toml``.
        replace : bool
            Whether a file that is there already is replaced.

        Raises
        ------
        RequestError
            If the file is there already, or cannot be written.
        """
        faces.write_all([(faces.target(os.fspath(path), force=replace, suffixes=("toml",)), self.to_text())])


# --- The tables of a plan file.


class Table(NamedTuple):
    """A table of the plan file."""

    kind: type[Any]  # the dataclass that it becomes
    path: tuple[str, ...] = ()  # where that lies in a `Plan`; empty for what no run is computed from
    most: int = 1  # rows that a file may have; 1 for a table that stands once

    @property
    def keys(self) -> Mapping[str, Key]:
        """Its keys by name."""
        return keys_of(self.kind)


TABLES: Mapping[str, Table] = {
    "charge": Table(Ingredient, ("charge",), most=100),
    "still": Table(StillPlan, ("still",)),
    "still.power_step": Table(PowerStep, ("still", "power_steps"), most=MOST_STEPS),
    "botanical": Table(BotanicalDose, ("botanicals",), most=100),
    "cuts": Table(Cuts, ("cuts",)),
    "cuts.stop": Table(Stop, ("cuts", "stop")),
    "cuts.tails_from": Table(Stop, ("cuts", "tails_from")),
    "jars": Table(JarPlan, ("jars",)),
    "bottling": Table(Bottling, ("bottling",)),
    "bottling.stretch": Table(Stretch, ("bottling", "stretch")),
    "uncertainty": Table(Uncertainty, ("uncertainty",)),
    "result": Table(Result),
    "note": Table(Tasting, most=200),
}
"""The tables of a plan file, dotted name to what is in them."""


def most_rows(table: str) -> int:
    """Return how many rows a table of a plan file may have."""
    return TABLES[table].most if table in TABLES else MOST_OWN
