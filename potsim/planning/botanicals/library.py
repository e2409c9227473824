"""The library of botanicals, and how a name finds its botanical.

Numbers come from ``botanicals.csv``, ``composition.csv``, ``parts.csv`` and ``cautions.csv`` of
`potsim.data`, each with its source; more than half of the composition is from memory and serves for a
rough picture only.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from functools import cache
from typing import Literal

from potsim.data import read_table
from potsim.errors import RequestError, UnknownNameError, nearest
from potsim.planning.botanicals.botanical import Botanical, Caution, Piece, Share, Spread, State, UsualDose
from potsim.planning.botanicals.names import key

__all__ = [
    "Botanical",
    "Caution",
    "Library",
    "Piece",
    "Share",
    "Spread",
    "UsualDose",
    "extend",
    "find",
    "library",
]


class Library(Mapping[str, Botanical]):
    """Botanicals by id, with an index of all their names.

    Parameters
    ----------
    botanicals : collection of Botanical
        The botanicals; ids must differ.
    """

    def __init__(self, botanicals: Collection[Botanical]) -> None:
        self._by_id = {b.id: b for b in botanicals}
        index: defaultdict[str, list[Botanical]] = defaultdict(list)
        for botanical in botanicals:
            for name_key in dict.fromkeys(key(name) for name in botanical.names):
                index[name_key].append(botanical)
        self._index = dict(index)

    def __getitem__(self, botanical_id: str) -> Botanical:
        return self._by_id[botanical_id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_id)

    def __len__(self) -> int:
        return len(self._by_id)

    def called(self, name: str) -> tuple[Botanical, ...]:
        """Return all botanicals that go by a name; empty if none does."""
        return tuple(self._index.get(key(name), ()))


def find(name: str, among: Library | None = None, state: State | None = None) -> Botanical:
    """Return the one botanical that a name means.

    Parameters
    ----------
    name : str
        Common name, Latin name, alias or id; case, plural, hyphens and spaces do not count.
    among : Library, optional
        Where to look; the library of the package if left out.
    state : {'dried', 'fresh'}, optional
        State it is dosed in, which tells fresh from dried ginger.

    Raises
    ------
    UnknownNameError
        If nothing goes by that name; the nearest names are suggested.
    RequestError
        If several do; they are named.

    Examples
    --------
    >>> find("Juniper berries").latin_names
    ('Juniperus communis',)
    """
    among = library() if among is None else among
    found = among.called(name)
    if len(found) > 1 and state is not None:
        found = tuple(b for b in found if b.yield_state == state) or found
    if len(found) == 1:
        return found[0]
    if not found:
        raise UnknownNameError(
            "botanical", name, _nearest(name, among) or [b.common_name for b in among.values()]
        )
    choices = " or ".join(f"'{b.common_name}'" for b in found)
    raise RequestError(f"The name '{name}' is ambiguous: it may mean {choices}.", "Use one of these names.")


def extend(among: Library, own: Mapping[str, Botanical], compounds: Collection[str] = ()) -> Library:
    """Return a library with the distiller's own botanicals added.

    Parameters
    ----------
    among : Library
        The library to add to; it stays as it is.
    own : mapping of str to Botanical
        The botanicals added.
    compounds : collection of str
        Ids of the compounds known; if given, others are refused.

    Raises
    ------
    RequestError
        If a name is taken already.
    UnknownNameError
        If a composition names an unknown compound.
    """
    for botanical in own.values():
        for name in botanical.names:
            taken = among.called(name)
            if taken:
                raise RequestError(
                    f"The name '{name}' of your own botanical already means {taken[0].common_name}.",
                    f"Choose another, such as 'my {name}'.",
                )
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


def _state(cell: str) -> State:
    return "fresh" if cell == "fresh" else "dried"


def _optional(cell: str) -> float | None:
    return float(cell) if cell else None


def _compositions() -> dict[str, tuple[Share, ...]]:
    found: defaultdict[str, list[Share]] = defaultdict(list)
    for row in read_table("composition.csv"):
        basis: Literal["oil", "plant"] = "oil" if row["basis"] == "oil" else "plant"
        share = Share(row["compound_id"], _spread(row, "pct"), basis, row["source"], row["confidence"])
        found[row["botanical_id"]].append(share)
    return {botanical_id: tuple(shares) for botanical_id, shares in found.items()}


def _cautions() -> dict[str, tuple[Caution, ...]]:
    found: defaultdict[str, list[Caution]] = defaultdict(list)
    for row in read_table("cautions.csv"):
        limit = _optional(row["limit_mg_per_kg"])
        found[row["botanical_id"]].append(Caution(row["text"], row["source"], row["compound_id"], limit))
    return {botanical_id: tuple(cautions) for botanical_id, cautions in found.items()}


@cache
def library() -> Library:
    """Return the library of the package."""
    compositions, cautions = _compositions(), _cautions()
    return Library(
        [
            Botanical(
                id=row["id"],
                common_name=row["common_name"],
                category=row["category"],
                oil_yield_pct=_spread(row, "yield_pct"),
                composition=compositions[row["id"]],
                latin_names=_split(row["latin_names"]),
                aliases=_split(row["aliases"]),
                part=row["part"],
                yield_state=_state(row["yield_state"]),
                yield_source=row["yield_source"],
                yield_confidence=row["yield_confidence"],
                piece=Piece(
                    float(row["piece_g"]), row["piece_name"], _state(row["piece_state"]), row["piece_source"]
                ),
                fresh_water_fraction=_optional(row["fresh_water_fraction"]),
                fresh_water_source=row["fresh_water_source"],
                prepared_usually=row["usual_prepared"],
                usual_dose=UsualDose(
                    float(row["dose_g_per_l_low"]), float(row["dose_g_per_l_high"]), row["dose_source"]
                ),
                cautions=cautions.get(row["id"], ()),
                remarks=row["remarks"],
            )
            for row in read_table("botanicals.csv")
        ]
    )
