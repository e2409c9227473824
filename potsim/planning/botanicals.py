"""Names as people type them: case, accents, plurals, hyphens and spaces do not count."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from typing import Literal

from potsim.data import read_table
from potsim.errors import SHARE, RequestError, UnknownNameError, nearest, require
from potsim.planning.notes import Note, hint
from potsim.planning.plan import BotanicalDose
from potsim.planning.schema import PREPARED, STATES, Prepared, State
from potsim.records import dataclass

ENDINGS = (("leaves", "leaf"), ("ies", "y"))
NO_PLURAL = ("ss", "us", "is")


@lru_cache(maxsize=4096)
def spelling(name: str) -> str:
    """Return the form in which two spellings of one name are equal.

    The crossing sign of Latin names is dropped. A misspelt letter makes another name: no guessing.
    """
    plain = unicodedata.normalize("NFKD", name.casefold().replace("×", " "))
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+", letters)
    return "".join(singular(word) for word in words if word != "x")


def singular(word: str) -> str:
    """Return an English word without its plural ending."""
    for plural, single in ENDINGS:
        if word.endswith(plural) and len(word) > len(plural) - (plural == "leaves"):
            return word.removesuffix(plural) + single
    if word.endswith("s") and len(word) > 3 and not word.endswith(NO_PLURAL):
        return word[:-1]
    return word


# --- What one botanical is: names, oil, composition, pieces, water and cautions.


Level = Literal["low", "typical", "high"]
IN_PLAN = "given in the plan"


@dataclass(frozen=True)
class Spread:
    """A number known only roughly."""

    low: float  # least met with
    typical: float  # value taken; not below ``low``
    high: float  # most met with; not below ``typical``

    def __post_init__(self) -> None:
        if not self.low <= self.typical <= self.high:
            raise RequestError.of("not_rising", given=[self.low, self.typical, self.high])

    def at(self, level: Level) -> float:
        """Return the low, typical or high value."""
        return {"low": self.low, "typical": self.typical, "high": self.high}[level]


@dataclass(frozen=True)
class Share:
    """One compound of a botanical."""

    compound_id: str  # row of ``compounds.csv``
    pct: Spread  # per cent of the oil or of the plant, see ``basis``
    basis: Literal["oil", "plant"] = "oil"  # ``plant`` for what is not volatile and stays in the pot
    source: str = IN_PLAN  # where the figures come from
    confidence: str = IN_PLAN  # where the figures come from


@dataclass(frozen=True)
class Piece:
    """One usual piece of a botanical: a strip of peel, a star, a stick."""

    mass_g: float  # what it weighs [g] in ``state``
    name: str = "piece"  # what it is called
    state: State = "dried"  # state in which it weighs that
    source: str = IN_PLAN  # where the weight comes from


@dataclass(frozen=True)
class UsualDose:
    """What is usually taken."""

    low_g_per_l: float  # least, in the state of the oil yield, per litre of charge [g/L]
    high_g_per_l: float  # most [g/L]
    source: str = IN_PLAN  # where the range comes from


@dataclass(frozen=True)
class Caution:
    """Something to be careful with."""

    text: str  # what to heed
    source: str  # regulation or ``from memory``
    compound_id: str = ""  # compound concerned; empty if none
    limit_mg_per_kg: float | None = None  # what the finished drink may hold of it [mg/kg]


@dataclass(frozen=True)
class Material:
    """A kind of plant material."""

    category: str  # peel, leaf, seed, root and so on
    soak_l_per_kg: float  # liquid that a kilogram of dried material soaks up [L/kg]
    solids_kg_per_l: float  # density of its dry matter [kg/L]
    usual_prepared: str  # preparation taken when none is named


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
    """One botanical, of the library or of the distiller's own."""

    id: str  # row of the library
    common_name: str  # everyday name
    category: str  # kind of material, a row of ``parts.csv``
    oil_yield_pct: Spread  # volatile oil, mass % of the material in ``yield_state``
    composition: tuple[Share, ...] = ()  # what the oil is made of; typical shares of at most 100 % in all
    latin_names: tuple[str, ...] = ()  # names of the plant
    aliases: tuple[str, ...] = ()  # other everyday names
    part: str = ""  # part of the plant
    yield_state: State = "dried"  # state that yield and usual dose refer to
    yield_source: str = IN_PLAN  # where the oil yield comes from
    yield_confidence: str = IN_PLAN  # how far the oil yield is to be trusted
    piece: Piece | None = None  # see `Piece`, `UsualDose` and `Caution`
    fruit: Piece | None = None  # the peel of a whole fruit, where it is one
    fruit_words: tuple[str, ...] = ()  # what the fruit is called
    # mass lost on drying, as a fraction of the fresh mass; ``None`` if it is used dried only
    fresh_water_fraction: float | None = None
    fresh_water_source: str = IN_PLAN  # where the loss on drying comes from
    prepared_usually: str = ""  # preparation taken when none is named; empty for that of the category
    usual_dose: UsualDose | None = None  # see `Piece`, `UsualDose` and `Caution`
    cautions: tuple[Caution, ...] = ()  # see `Piece`, `UsualDose` and `Caution`
    remarks: str = ""  # what else to know
    like: str = ""  # botanical of the library whose figures stand for those that are not known of it

    def __post_init__(self) -> None:
        if self.category not in materials():
            raise UnknownNameError("material", self.category, materials())
        require("own_botanical.oil_yield", self.oil_yield_pct.low, 0, 100, "%")
        require("own_botanical.oil_yield", self.oil_yield_pct.high, 0, 100, "%")
        require("own_botanical.fresh_water", self.fresh_water_fraction, 0, 0.98, SHARE)
        for share in self.composition:
            require(f"own_botanical.composition.{share.compound_id}", share.pct.low, 0, 100, "%")
        if self.listed_pct > 100 + 1e-9:
            raise RequestError.of(
                "more_than_oil", "own_botanical.composition", given=self.listed_pct, allowed=100
            )
        counted_fresh = self.yield_state == "fresh" or (
            self.piece is not None and self.piece.state == "fresh"
        )
        if counted_fresh and self.fresh_water_fraction is None:
            raise RequestError.of("no_fresh_water", "own_botanical.fresh_water", name=self.common_name)

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

    def piece_counted(self, counted: str | None) -> Piece | None:
        """The piece of which so many are put in: its usual one, or the peel of a fruit."""
        return self.fruit if self.fruit is not None and counted == self.fruit.name else self.piece

    def counted_by(self, word: str) -> int:
        """How well a word says its piece: 2 its own, as ``"strip"`` of a peel strip, 1 another, 0 not."""
        if self.piece is None:
            return 0
        own = {singular(part) for part in self.piece.name.casefold().split()} - {"of"}
        said = {singular(part) for part in word.casefold().split()} - {"of"}
        if said <= own or spelling(word) in map(spelling, self.fruit_words):
            return 2
        return int(any(piece <= own for piece in _piece_words().get(spelling(word), ())))

    def mass_in_g(self, wanted: State, mass_g: float, given: State) -> float:
        """Return what the same matter weighs in another state [g]."""
        if wanted == given:
            return mass_g
        dry = 1.0 - (self.fresh_water_fraction or 0.0)
        return mass_g * dry if wanted == "dried" else mass_g / dry


@cache
def _fruits() -> Mapping[str, Mapping[str, str]]:
    """The peel of whole fruits, by botanical."""
    return {row["id"]: row for row in read_table("fruits.csv")}


@cache
def _piece_words() -> Mapping[str, tuple[frozenset[str], ...]]:
    """Other words for pieces, and what they may be: words of the name of a piece."""
    found: defaultdict[str, list[frozenset[str]]] = defaultdict(list)
    for row in read_table("piece_words.csv"):
        for word in _split(row["words"]):
            found[spelling(word)].append(frozenset(row["piece"].split()))
    return {word: tuple(pieces) for word, pieces in found.items()}


# --- The library of botanicals, and how a name finds its botanical.


class Library(Mapping[str, Botanical]):
    """Botanicals by id, with an index of all their names."""

    def __init__(self, botanicals: Collection[Botanical]) -> None:
        self._botanicals = {b.id: b for b in botanicals}
        self._named = _index((b.id, b.names) for b in botanicals)

    def __getitem__(self, botanical_id: str) -> Botanical:
        return self._botanicals[botanical_id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._botanicals)

    def __len__(self) -> int:
        return len(self._botanicals)

    def called(self, name: str) -> tuple[Botanical, ...]:
        """Return all botanicals that go by a name; empty if none does."""
        key = spelling(name)
        return tuple(self[one] for one in self._named.get(key) or _abroad().get(key, []) if one in self)


class _Shipped(Library):
    """The library of the package; each botanical is made when it is first asked for."""

    def __init__(self) -> None:
        super().__init__(())
        self._rows = {row["id"]: row for row in read_table("botanicals.csv")}
        self._named = _index(
            (one, (row["common_name"], one, *_split(row["latin_names"]), *_split(row["aliases"])))
            for one, row in self._rows.items()
        )

    def __getitem__(self, botanical_id: str) -> Botanical:
        if botanical_id not in self._botanicals:
            self._botanicals[botanical_id] = _of_row(self._rows[botanical_id])
        return self._botanicals[botanical_id]

    def __contains__(self, botanical_id: object) -> bool:
        return botanical_id in self._rows

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def _index(named: Iterable[tuple[str, Iterable[str]]]) -> dict[str, list[str]]:
    """Each name, as it is compared, to the ids that go by it."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for botanical_id, names in named:
        for key in dict.fromkeys(spelling(name) for name in names):
            found[key].append(botanical_id)
    return dict(found)


@cache
def _abroad() -> dict[str, list[str]]:
    """The names of other kitchens, read only where no English or Latin name fits."""
    cells = (
        (row["id"], [row[column] for column in row if column != "id"])
        for row in read_table("common_names.csv")
    )
    return _index((one, _split(";".join(names))) for one, names in cells)


@dataclass(frozen=True)
class Choice:
    """How a name that may mean several botanicals was read."""

    name: str  # as typed
    taken: str  # common name of the botanical taken
    others: tuple[str, ...]  # common names of those it may also mean
    by: Literal["state", "piece", "commonest"]  # what decided


def choose(
    name: str, among: Library | None = None, state: State | None = None, counted: str | None = None
) -> tuple[Botanical, Choice | None]:
    """Return the botanical that a name means, and how that was decided where it may mean several.

    ``counted`` is the word by which it is counted, such as ``"slice"``. Without a hint the commonest is
    taken: the first row of ``botanicals.csv``.
    """
    among = library() if among is None else among
    candidates = among.called(name)
    if not candidates:
        _refuse_dangerous(name)
        near = _nearest(name, among)
        raise UnknownNameError("botanical", name, near)
    if len(candidates) == 1:
        return candidates[0], None
    by_state = [b for b in candidates if state is not None and b.yield_state == state]
    fits = [b.counted_by(counted) if counted else 0 for b in candidates]
    by_piece = [b for b, fit in zip(candidates, fits, strict=True) if fit and fit == max(fits)]
    by: Literal["state", "piece", "commonest"]
    if 0 < len(by_state) < len(candidates):
        taken, by = by_state[0], "state"
    elif 0 < len(by_piece) < len(candidates):
        taken, by = by_piece[0], "piece"
    else:
        taken, by = candidates[0], "commonest"
    return taken, Choice(
        name, taken.common_name, tuple(b.common_name for b in candidates if b is not taken), by
    )


def meant(dose: BotanicalDose, among: Library | None = None) -> tuple[Botanical, Choice | None]:
    """Return the botanical of a line of a bill; one that the library lacks is taken like another of it."""
    among = library() if among is None else among
    if dose.like is None:
        return choose(dose.name, among, dose.state, dose.counted)
    if among.called(dose.name):
        raise RequestError.of("like_known", "like", given=dose.name)
    _refuse_dangerous(dose.name)
    model, choice = choose(dose.like, among, dose.state, dose.counted)
    own = replace(model, id=spelling(dose.name), common_name=dose.name, like=model.common_name)
    return replace(own, latin_names=(), aliases=(), cautions=()), choice


def find(
    name: str, among: Library | None = None, state: State | None = None, counted: str | None = None
) -> Botanical:
    """Return the one botanical that a name means; see `choose`."""
    return choose(name, among, state, counted)[0]


def _refuse_dangerous(name: str) -> None:
    """Refuse the names of what poisons, or of what is easily mistaken for it."""
    for row in read_table("dangerous_names.csv"):
        if spelling(row["name"]) == spelling(name):
            raise RequestError.of("dangerous", given=name, why=row["why"])


def extend(among: Library, own: Mapping[str, Botanical], compounds: Collection[str] = ()) -> Library:
    """Return a library with the distiller's own botanicals added."""
    for botanical in own.values():
        for name in botanical.names:
            taken = among.called(name)
            if taken:
                raise RequestError.of("name_taken", given=name, taken=taken[0].common_name)
        for share in botanical.composition:
            if compounds and share.compound_id not in compounds:
                raise UnknownNameError("compound", share.compound_id, compounds)
        among = Library((*among.values(), botanical))
    return among


def _nearest(name: str, among: Library) -> list[str]:
    """Names closest in spelling, one a botanical."""
    every = [n for b in among.values() for n in (b.common_name, *b.latin_names, *b.aliases)]
    closest: dict[tuple[str, ...], str] = {}
    for near in nearest(name, every, most=6):
        closest.setdefault(tuple(b.id for b in among.called(near)), near)
    return list(closest.values())[:3]


def _split(cell: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in cell.split(";") if part.strip())


def _spread(row: Mapping[str, str], stem: str) -> Spread:
    return Spread(float(row[f"{stem}_low"]), float(row[f"{stem}_typical"]), float(row[f"{stem}_high"]))


def _state_of_row(cell: str) -> State:
    return "fresh" if cell == "fresh" else "dried"


def _optional(cell: str) -> float | None:
    return float(cell) if cell else None


@cache
def _rows_of(table: str) -> dict[str, list[dict[str, str]]]:
    """Rows of a table by the botanical that they are about."""
    found: defaultdict[str, list[dict[str, str]]] = defaultdict(list)
    for row in read_table(table):
        found[row["botanical_id"]].append(row)
    return found


def _share(row: Mapping[str, str]) -> Share:
    basis: Literal["oil", "plant"] = "oil" if row["basis"] == "oil" else "plant"
    return Share(row["compound_id"], _spread(row, "pct"), basis, row["source"], row["confidence"])


def _caution(row: Mapping[str, str]) -> Caution:
    return Caution(row["text"], row["source"], row["compound_id"], _optional(row["limit_mg_per_kg"]))


def _of_row(row: Mapping[str, str]) -> Botanical:
    fruit = _fruits().get(row["id"])
    same = ("id", "common_name", "category", "part", "remarks")
    sources = ("yield_source", "yield_confidence", "fresh_water_source")
    return Botanical(
        **{name: row[name] for name in (*same, *sources)},
        oil_yield_pct=_spread(row, "yield_pct"),
        composition=tuple(map(_share, _rows_of("composition.csv")[row["id"]])),
        latin_names=_split(row["latin_names"]),
        aliases=_split(row["aliases"]),
        yield_state=_state_of_row(row["yield_state"]),
        piece=Piece(
            float(row["piece_g"]), row["piece_name"], _state_of_row(row["piece_state"]), row["piece_source"]
        ),
        fruit=None
        if fruit is None
        else Piece(float(fruit["peel_g"]), fruit["fruit"], "fresh", fruit["source"]),
        fruit_words=() if fruit is None else _split(fruit["words"]),
        fresh_water_fraction=_optional(row["fresh_water_fraction"]),
        prepared_usually=row["usual_prepared"],
        usual_dose=UsualDose(
            float(row["dose_g_per_l_low"]), float(row["dose_g_per_l_high"]), row["dose_source"]
        ),
        cautions=tuple(map(_caution, _rows_of("cautions.csv").get(row["id"], ()))),
    )


@cache
def library() -> Library:
    """Return the library of the package."""
    return _Shipped()


# --- The bill of botanicals: what the distiller weighs out, and what that brings into the still.


@dataclass(frozen=True)
class ResolvedDose:
    """What one line of a bill brings into the still."""

    dose: BotanicalDose  # the line as said
    botanical: Botanical  # what it means
    prepared: Prepared  # preparation taken
    dry_mass_g: float  # mass it has dried [g]
    wet_mass_g: float  # mass as put in [g]
    oil_yield_pct: Spread  # oil yield taken, with its range [mass %]
    oil_g: Mapping[str, float]  # compound id to what can be released of it [g]
    unlisted_oil_g: float  # oil of which the composition says nothing; it is not followed [g]
    non_volatile_g: Mapping[str, float]  # compound id to what stays in the pot [g]
    # water of fresh material, liquid held by the solids and volume of the solids themselves [L]
    water_brought_l: float
    soaks_up_l: float
    solids_volume_l: float
    notes: tuple[Note, ...] = ()  # what was taken because it was not said
    choice: Choice | None = None  # how an ambiguous name was read

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

    ``oil = mass * yield``, ``oil_i = oil * share_i``, with the mass in the state that the yield refers
    to. A fresh piece and the same piece dried hold the same dry matter, hence the same oil. The shares of
    a composition rarely reach 100 %: they are never scaled up, and the rest is ``unlisted_oil_g``. Yields
    differ between lots by a factor of two and more. A gram of the water in fresh material is taken as a
    millilitre (0.2 % off; its amount is known to a tenth at best).
    """
    botanical, choice = meant(dose, among)
    state = _state(dose, botanical)
    wet_g = _mass_as_put_in(dose, botanical, state)
    dry_g = botanical.mass_in_g("dried", wet_g, state)
    counted_g = botanical.mass_in_g(botanical.yield_state, wet_g, state)
    given = dose.oil_yield_pct
    oil_yield = botanical.oil_yield_pct if given is None else Spread(given, given, given)
    oil_g = counted_g * oil_yield.typical / 100 * dose.oil_factor
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
        notes=(*_choice_note(choice), *_notes(dose, botanical, state, prepared)),
        choice=choice,
    )


def labels(bill: Iterable[ResolvedDose]) -> tuple[str, ...]:
    """Return what to call each line of a bill: its common name, and what sets it apart."""
    lines = tuple(bill)
    names = [line.botanical.common_name for line in lines]
    told = list(names)
    for name in {name for name in names if names.count(name) > 1}:
        alike = [k for k, other in enumerate(names) if other == name]
        for k, words in zip(alike, _apart([lines[k] for k in alike]), strict=True):
            told[k] = f"{name} ({words})"
    return tuple(told)


def _apart(alike: Sequence[ResolvedDose]) -> list[str]:
    """What tells lines of one botanical apart: place, preparation, maceration; else their number."""
    told = [""] * len(alike)
    where = [one.dose.where for one in alike]
    soaked = ["macerated" if one.dose.macerated_h else "not macerated" for one in alike]
    numbers = [str(k + 1) for k in range(len(alike))]
    for sort in (where, [one.prepared for one in alike], soaked, numbers):
        if len(set(sort)) > 1 and len(set(told)) < len(alike):
            told = [f"{before}, {more}".lstrip(", ") for before, more in zip(told, sort, strict=True)]
    return told


def lines_called(bill: Iterable[ResolvedDose], name: str) -> list[int]:
    """Return the lines of a bill that a name means: what they are called, or any name of the botanical."""
    lines, wanted = tuple(bill), spelling(name)
    return [
        k
        for k, (line, label) in enumerate(zip(lines, labels(lines), strict=True))
        if wanted in {spelling(known) for known in (label, line.dose.name, *line.botanical.names)}
    ]


def solids(bill: Iterable[ResolvedDose]) -> float:
    """Return the volume of those botanicals that lie in the pot."""
    return sum(dose.solids_volume_l for dose in bill if dose.dose.where == "pot")


def _state(dose: BotanicalDose, botanical: Botanical) -> State:
    """State the dose is weighed in; refused where it cannot be converted."""
    if dose.state is None:
        return botanical.piece.state if dose.pieces is not None and botanical.piece else botanical.yield_state
    if dose.state in botanical.states:
        return dose.state
    if dose.state == "dried":
        raise RequestError.of("counted_fresh", f"botanical.{dose.name}", given="dried", allowed="fresh")
    raise RequestError.of("dried_only", f"botanical.{dose.name}", given="fresh", allowed="dried")


def _mass_as_put_in(dose: BotanicalDose, botanical: Botanical, state: State) -> float:
    """Mass of a dose in its state [g]."""
    if dose.mass_g is not None:
        return dose.mass_g
    piece = botanical.piece_counted(dose.counted)
    if piece is None or dose.pieces is None:
        raise RequestError.of(
            "no_piece_weight", f"botanical.{dose.name}", given=dose.pieces, name=botanical.common_name
        )
    return botanical.mass_in_g(state, dose.pieces * piece.mass_g, piece.state)


def _choice_note(choice: Choice | None) -> tuple[Note, ...]:
    """Which of several botanicals an ambiguous name was taken for."""
    if choice is None:
        return ()
    return (hint("taken_for", choice.name, taken=choice.taken, by=choice.by, others=list(choice.others)),)


def _notes(dose: BotanicalDose, botanical: Botanical, state: State, prepared: Prepared) -> tuple[Note, ...]:
    """What was taken because the line does not say it."""
    name, water = botanical.common_name, botanical.fresh_water_fraction
    piece = botanical.piece_counted(dose.counted)
    notes = [hint("like", name, like=botanical.like)] if botanical.like else []
    if not (dose.state and dose.prepared):
        taken = {"state": None if dose.state else state, "prepared": None if dose.prepared else prepared}
        notes.append(hint("taken_as", name, **taken))
    if 0.0 in (dose.mass_g, dose.pieces):
        notes.append(hint("dose_of_nothing", name))
    if dose.pieces is not None and piece is not None:
        each = {"mass_g": piece.mass_g, "state": piece.state, "source": piece.source}
        notes.append(hint("piece", name, pieces=dose.pieces, piece=piece.name, **each))
    if water is not None and (
        state == "fresh" or (dose.pieces is not None and piece and piece.state == "fresh")
    ):
        notes.append(hint("fresh_water", name, share=water, source=botanical.fresh_water_source))
    return tuple(notes)


def _by_compound(botanical: Botanical, basis: str, whole_g: float) -> dict[str, float]:
    """Grams of each compound in so much oil, or in so much of the plant."""
    return {s.compound_id: whole_g * s.pct.typical / 100 for s in botanical.composition if s.basis == basis}


def _known_prepared(name: str) -> Prepared:
    for known in PREPARED:
        if known == name:
            return known
    raise UnknownNameError("preparation", name, PREPARED)


# --- What a base spirit brings besides ethanol and water, by its kind.


@dataclass(frozen=True)
class Volatile:
    """One volatile of a kind of base spirit."""

    compound_id: str  # row of ``compounds.csv``
    g_per_hl: Spread  # content in grams per hectolitre of pure alcohol
    covers: str  # what it stands for besides the compound named; may be empty
    source: str  # where the figures come from
    confidence: str  # where the figures come from


@cache
def spirit_kinds() -> Mapping[str, tuple[Volatile, ...]]:
    """Return the kinds of base spirit and their volatiles."""
    kinds: dict[str, list[Volatile]] = {}
    for row in read_table("base_spirits.csv"):
        content = Spread(
            float(row["g_per_hl_low"]), float(row["g_per_hl_typical"]), float(row["g_per_hl_high"])
        )
        kinds.setdefault(row["kind"], []).append(
            Volatile(row["compound_id"], content, row["covers"], row["source"], row["confidence"])
        )
    return {kind: tuple(rows) for kind, rows in kinds.items()}


def composition(kind: str) -> tuple[Volatile, ...]:
    """Return the volatiles of a kind of base spirit, by its own or a plain word, with ranges and sources."""
    return spirit_kinds()[kind_named(kind)]


def kind_named(word: str) -> str:
    """Return the kind of base spirit that a word means: ``"pot rum"`` for ``"rum"``."""
    words = {spelling(known): known for known in spirit_kinds()}
    if spelling(word) in words:
        return words[spelling(word)]
    plain = {spelling(row["word"]): row["kind"] for row in read_table("spirit_words.csv")}
    if spelling(word) in plain:
        return plain[spelling(word)]
    known = [*spirit_kinds(), *(row["word"] for row in read_table("spirit_words.csv"))]
    raise UnknownNameError("base_spirit", word, known)


def volatiles(kind: str | None, ethanol_l: float, level: Level = "typical") -> dict[str, float]:
    """Return what a base spirit brings of each volatile [g]."""
    require("ethanol", ethanol_l, 0, 1e6, "L")
    if kind is None:
        return {}
    return {v.compound_id: v.g_per_hl.at(level) * ethanol_l / 100 for v in composition(kind)}
