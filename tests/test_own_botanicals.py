"""Botanicals of the distiller's own: they join the library, and what cannot be is refused."""

from __future__ import annotations

import pytest
from refusals import Record, refused

from potsim.data import read_table
from potsim.planning.botanicals import (
    Botanical,
    Piece,
    Share,
    Spread,
    UsualDose,
    extend,
    library,
    resolve,
)
from potsim.planning.notes import for_dose
from potsim.planning.plan import BotanicalDose

COMPOUNDS = {row["id"] for row in read_table("compounds.csv")}


def own(**changes: object) -> Botanical:
    asked: dict[str, object] = {
        "id": "spruce_tip",
        "common_name": "spruce tip",
        "category": "leaf",
        "oil_yield_pct": Spread(0.2, 0.4, 0.8),
        "composition": (Share("bornyl_acetate", Spread(20, 30, 40)),),
    }
    return Botanical(**{**asked, **changes})  # type: ignore[arg-type]


def test_own_botanicals_join_a_copy() -> None:
    among = extend(library(), {"spruce_tip": own()}, COMPOUNDS)
    assert len(among) == 58
    assert "spruce_tip" not in library()
    spruce = resolve(BotanicalDose("Spruce tips", mass_g=10), among)
    assert spruce.oil_g == pytest.approx({"bornyl_acetate": 0.012})
    assert spruce.unlisted_oil_g == pytest.approx(0.028)
    with refused("no_piece_weight", "botanical.spruce tip", 3):
        resolve(BotanicalDose("spruce tip", pieces=3), among)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"common_name": "Junipers"}, ("name_taken", "", "Junipers")),
        ({"aliases": ("coriander",)}, ("name_taken", "", "coriander")),
        ({"composition": (Share("pinen", Spread(1, 2, 3)),)}, ("unknown_name", "", "pinen")),
    ],
)
def test_own_botanicals_that_clash_are_refused(changes: dict[str, object], text: Record) -> None:
    with refused(*text):
        extend(library(), {"x": own(**changes)}, COMPOUNDS)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        (
            {"composition": (Share("a", Spread(0, 60, 70)), Share("b", Spread(0, 41, 50)))},
            ("more_than_oil", "own_botanical.composition", 101),
        ),
        ({"category": "leave"}, ("unknown_name", "", "leave", None, "leaf")),
        ({"oil_yield_pct": Spread(-1, 1, 2)}, ("range", "own_botanical.oil_yield", "-1 %")),
        ({"oil_yield_pct": Spread(1, 1, 200)}, ("range", "own_botanical.oil_yield", "200 %")),
        ({"composition": (Share("a", Spread(-1, 1, 2)),)}, ("range", "own_botanical.composition.a", "-1 %")),
        ({"fresh_water_fraction": 1.0}, ("range", "own_botanical.fresh_water", "1 of the whole (0 to 1)")),
        ({"yield_state": "fresh"}, ("no_fresh_water", "own_botanical.fresh_water")),
        ({"piece": Piece(1, state="fresh")}, ("no_fresh_water", "own_botanical.fresh_water")),
    ],
)
def test_botanicals_that_cannot_be_are_refused(changes: dict[str, object], text: Record) -> None:
    with refused(*text):
        own(**changes)


def test_a_spread_rises() -> None:
    with refused("not_rising", "", "[2, 1, 3]"):
        Spread(2, 1, 3)
    assert [Spread(1, 2, 3).at(level) for level in ("low", "typical", "high")] == [1, 2, 3]


def test_own_botanical_with_all_its_figures() -> None:
    spruce = own(
        fresh_water_fraction=0.6,
        piece=Piece(0.5, "tip", "fresh"),
        usual_dose=UsualDose(1, 5),
        prepared_usually="ground",
    )
    resolved = resolve(BotanicalDose("spruce tip", pieces=10), extend(library(), {"spruce_tip": spruce}))
    assert (resolved.wet_mass_g, resolved.dry_mass_g) == pytest.approx((5, 2))
    assert resolved.prepared == "ground"
    assert len(for_dose(resolved, 0.1)) == 1


def test_a_dose_without_a_usual_range_is_not_judged() -> None:
    among = extend(library(), {"spruce_tip": own()})
    assert for_dose(resolve(BotanicalDose("spruce tip", mass_g=1e4), among), 1) == ()
